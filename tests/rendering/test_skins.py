"""Skins in whole pictures: patterns of projectors on them, several materials of one object, and what maps leave out."""

import numpy as np
import pytest

from projector import irradiance_map
from projector.rendering import prepared_light
from projector.rendering.sampling import Window, grid_points, quality_called
from projector.rendering.session import RenderSession
from projector.rendering.shadows import find_visibility
from projector.rendering.skins import weights_with_lobes
from projector.rendering.workers import Workers
from projector.stage.stage import stage_of
from projector.stage.surfaces import SceneArrays
from projector.tracing.light.glossy import look_from_eye
from projector.tracing.light.reference import add_light_by_rays
from projector.tracing.sight.points import chosen

FACE = {"name": "sitter", "kind": "head", "finish": "oily skin", "position_m": [0.0, 0.0, 0.0]}
ACROSS = {"aim": "sitter.nose_tip", "position_m": [0.9, 1.9, 1.2], "focus": {"distance_m": 1.5}}
CLOSE = {"aim": "sitter.nose_tip", "position_m": [0.0, 1.6, 1.6]}


@pytest.fixture
def workers():
    with Workers(2) as found:
        yield found


def face(studio, finish="oily skin", **others):
    projector = {**ACROSS, "stencil": {"file": studio.half_plane(512), "width_mm": 30.0}}
    return studio.scene(projector, camera=CLOSE, figures=[{**FACE, "finish": finish}], **others)


def relative_rmse(fast, first, second):
    """By two independent references, whose noise drops out of the product (see `test_fast_against_reference`)."""
    squared = np.mean((fast - first) * (fast - second), dtype=float)
    return np.sqrt(max(squared, 0.0)) / np.mean(fast[first > 0.02 * first.max()], dtype=float)


def test_a_pattern_on_a_glossy_face_agrees_with_single_rays(studio, workers):
    """Stencil, shadows and lobe together, under 1 %; what the lobe changes across the pupil is in it."""
    stage = stage_of(face(studio))
    grid = grid_points(stage.arrays, stage.camera(240, 180), Window(0, 180), quality_called("quick"), workers)
    points = chosen(grid.points, np.flatnonzero(grid.points.owners == 1)[::5])
    prepared = prepared_light.prepare_light(stage, stage.scene.projector[0], 6)
    weights = weights_with_lobes(prepared.source, stage.reflectances, prepared_light.XYZ_CHANNELS)
    visibility = find_visibility(stage.arrays, prepared.light, points, 4, workers)
    reach = prepared_light.reach_of(prepared.light.emitter, points, visibility.state)
    values = np.zeros((len(points.materials), 6))
    with prepared_light.stacks_ready(prepared, reach) as stacks:
        prepared_light.light_points(prepared, points, visibility, stacks, weights, values, workers)
    fast = np.empty((len(values), 3))
    look_from_eye(stage.glossy, points, prepared.light.emitter.position, values, 0, len(values), fast)
    references = []
    for seed in (3, 4):
        sums = np.zeros_like(values)
        add_light_by_rays(
            prepared.light, stage.arrays.bvh, points, weights, 16, seed, 0, len(values), sums, stage.glossy
        )
        references.append(sums[:, :3] + sums[:, 3:])
    assert (fast - values[:, :3])[:, 1].max() > 0.1 * fast[:, 1].max()
    assert relative_rmse(fast[:, 1], *(item[:, 1] for item in references)) < 0.01


def half_glossy(scene, finish):
    """A stage whose wall has the first object's material on its first triangle, the sitter's on the second."""
    plain = stage_of(scene)
    arrays = plain.arrays
    materials = np.array(arrays.surfaces.materials)
    materials[1] = 1
    surfaces = arrays.surfaces._replace(materials=materials)
    return stage_of(scene).with_arrays(SceneArrays(surfaces, arrays.bvh, arrays.names))


def test_skins_go_by_material_and_not_by_object(studio, workers):
    """A wall of two triangles, one matte, one of the sitter's gloss: only that one sends more than a matte wall."""
    scenes = [
        studio.scene(
            {"position_m": [0.6, 1.5, 2.0]},
            camera={"position_m": [-0.6, 1.5, 2.0]},
            figures=[{**FACE, "finish": finish, "position_m": [0.0, 0.0, -3.0], "reflectance": 0.8}],
        )
        for finish in ("matte", "satin")
    ]
    matte, glossy = (
        RenderSession(half_glossy(scene, "satin"), 64, 48, "quick", workers).exposed()[0][..., 1] for scene in scenes
    )
    same = matte == glossy
    assert 0.2 < same.mean() < 0.8
    assert (glossy / matte)[~same].max() > 1.1


def test_what_falls_on_a_skin_is_measured_without_it(studio):
    found = [irradiance_map(face(studio, finish), "sitter", n_across=24).illuminance for finish in ("matte", "skin")]
    assert np.nanmax(found[0]) > 1.0 and np.array_equal(*found, equal_nan=True)


def test_a_finish_changed_traces_nothing_again(studio, workers):
    """In one session: the picture of a fresh one to the byte, and no shadow is looked for."""
    session = RenderSession(face(studio, "matte"), 64, 48, "quick", workers)
    session.rgb_bytes()
    session.kept.made.clear()
    session.change_to(face(studio, "skin"))
    changed = session.rgb_bytes()
    assert (changed == RenderSession(face(studio, "skin"), 64, 48, "quick", workers).rgb_bytes()).all()
    assert session.kept.made and not [name for name in session.kept.made if "seen" in name or "meshes" in name]
