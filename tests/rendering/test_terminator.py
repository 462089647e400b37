"""The border of light and shade on coarse meshes: no row of black triangles, judged by the field that the figure is
built from.
"""

from __future__ import annotations

import numpy as np
import pytest

from projector.figures.field.surface import field_gradient, figure_field
from projector.figures.figure import EYE_HEIGHT_M
from projector.optics.dispersion import LINE_D_NM
from projector.photometry.spectra import N_WAVELENGTHS
from projector.rendering.maps.irradiance import irradiance_map
from projector.rendering.prepared_light import MAP_CHANNELS, light_points, prepare_light, reach_of, stacks_ready
from projector.rendering.sampling import QUALITIES, Window, grid_points
from projector.rendering.shadows import find_visibility
from projector.rendering.workers import Workers
from projector.scene.placement import layout_of
from projector.stage.camera import camera_arrays
from projector.stage.optics import light_arrays
from projector.stage.surfaces import scene_arrays
from projector.tracing.light.reference import add_light_by_rays
from projector.tracing.sight.visibility import seen_shares

KIND = "head_and_torso"
AIM = np.array([0.0, 1.38, 0.0])
SIZE = 200
# Along a ray (mm): near its start the skin may be as close as it likes, farther on within 0.5 mm counts as a graze that
# facets decide.
NEAR, FAR = np.geomspace(0.5, 30.0, 24), np.linspace(32.0, 700.0, 160)
GRAZE = 0.5


def from_aim(azimuth_deg, slope, distance):
    angle = np.radians(azimuth_deg)
    direction = np.array([np.sin(angle), slope, np.cos(angle)])
    return (AIM + distance * direction / np.linalg.norm(direction)).tolist()


def is_lit(positions, lamp):
    """Whether points (n, 3) m of the figure see a lamp clearly, over its field; no triangle is asked."""
    origin = np.array([0.0, EYE_HEIGHT_M, 0.0])
    places = (positions - origin) * 1e3
    for _ in range(3):
        gradient = field_gradient(places, KIND)
        places = places - gradient * (figure_field(tuple(places.T), KIND) / (gradient**2).sum(axis=1))[:, None]
    normals = field_gradient(places, KIND)
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    ways = (np.asarray(lamp) - origin) * 1e3 - places
    ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    clear = np.einsum("ij,ij->i", ways, normals) > 0.05
    for steps, least in ((NEAR, 0.0), (FAR, GRAZE)):
        along = places[:, None] + steps[None, :, None] * ways[:, None]
        clear &= (figure_field(tuple(along.reshape(-1, 3).T), KIND).reshape(len(places), -1) > least).all(axis=1)
    return clear


@pytest.mark.slow
def test_no_tooth_on_the_sitter_under_a_ring_of_lights(studio):
    """A tooth is a pixel that sees less than half of the lamp although the skin's own field leaves its way to it free.

    One pixel in 100 000 is allowed: the lamp's own half shadow crosses the rim that `is_lit` draws.
    """
    arrays, teeth, n_points = None, 0, 0
    with Workers() as workers:
        for camera_azimuth in (0.0, 180.0, 250.0):
            camera = {"position_m": from_aim(camera_azimuth, 0.15, 2.0), "aim": AIM.tolist(), "focal_length_mm": 120.0}
            for azimuth, slope in [(camera_azimuth + 10.0 + 40.0 * k, (-0.2, 0.3, 0.8)[k % 3]) for k in range(9)]:
                scene = studio.scene(
                    {"position_m": from_aim(azimuth, slope, 1.9), "aim": AIM.tolist()},
                    camera=camera,
                    surfaces=[],
                    figures=[{"name": "sitter", "kind": KIND}],
                )
                arrays = arrays or scene_arrays(scene)
                points = grid_points(
                    arrays, camera_arrays(scene, SIZE, SIZE), Window(0, SIZE), QUALITIES["quick"], workers
                ).points
                light = light_arrays(scene, scene.projector[0], [LINE_D_NM])
                share = seen_shares(find_visibility(arrays, light, points, 4, workers))
                ways = np.array(light.emitter.position) - points.positions
                cosine = np.einsum("ij,ij->i", ways, points.normals) / np.linalg.norm(ways, axis=1)
                lit_side = (points.materials >= 0) & (cosine > 0.06)
                doubtful = np.flatnonzero(lit_side & (cosine < 0.5) & (share < 0.5))
                n_points += int(lit_side.sum())
                if doubtful.size:
                    teeth += int(is_lit(points.positions[doubtful].astype(float), light.emitter.position).sum())
    assert n_points > 200_000
    assert teeth <= 1e-5 * n_points


def test_fast_way_and_rays_agree_on_the_neck_under_light_from_behind(studio):
    """What a picture's points get in the fast way, and by two independent sets of plain rays from the same starts:
    within 1 %.
    """
    scene = studio.scene(
        {
            "position_m": [1.0, 2.2, -1.2],
            "aim": [0.0, 1.45, 0.0],
            "gate": {"diameter_mm": 40.0},
            "focus": {"distance_m": 1.6},
        },
        camera={"position_m": [0.2, 1.5, 1.6], "aim": [0.1, 1.4, 0.0], "focal_length_mm": 135.0},
        surfaces=[],
        figures=[{"name": "sitter", "kind": KIND}],
    )
    arrays = scene_arrays(scene)
    with Workers() as workers:
        prepared = prepare_light(scene, scene.projector[0], 6, workers.threads)
        points = grid_points(
            arrays, camera_arrays(scene, SIZE, SIZE), Window(0, SIZE), QUALITIES["quick"], workers
        ).points
        # A picture's points stand for patches of surface, a ray for none.
        points.areas[:] = 0.0
        visibility = find_visibility(arrays, prepared.light, points, 8, workers)
        weights = prepared.weights(np.ones((1, N_WAVELENGTHS)), MAP_CHANNELS)
        fast, first, second = np.zeros((3, len(points.areas), 3))
        with stacks_ready(prepared, reach_of(prepared.light.emitter, points, visibility.state)) as stacks:
            light_points(prepared, points, visibility, stacks, weights, fast, workers)
    for seed, out in ((11, first), (12, second)):
        add_light_by_rays(prepared.light, arrays.bvh, points, weights, 14, seed, 0, len(out), out)
    bright = first[:, 1] > 0.02 * first[:, 1].max()
    assert bright.sum() > 1000
    # The rays' own noise drops out of the product of two differences.
    squared = np.mean((fast - first)[bright, 1] * (fast - second)[bright, 1])
    assert np.sqrt(max(squared, 0.0)) < 0.01 * fast[bright, 1].mean()


def test_the_map_of_a_sweep_has_no_stripes_under_grazing_light(studio):
    """The strips of a sweep's foot are chords over the true curve: light that comes down along its wall must reach
    between them.

    Where nothing shadows it, an open gate's light is cosine on the lens · cosine on the surface / distance² (the lens
    is 18 mm wide at half a metre or more: under 1 %).
    """
    sweep = {"name": "sweep", "shape": "sweep", "position_m": [0.0, 0.0, 0.0], "foot_radius_m": 0.5}
    position, aim = np.array([0.0, 2.0, 0.12]), np.array([0.0, 0.2, 0.16])
    projector = {
        "position_m": position.tolist(),
        "aim": aim.tolist(),
        "lens": {"focal_length_mm": 50.0, "f_number": 2.8},
        "focus": {"distance_m": 1.6},
    }
    scene = studio.scene(projector, surfaces=[sweep])
    found = irradiance_map(scene, "sweep", 300)
    places, normals = (grid[:, 150] for grid in layout_of(scene, "sweep").grid(300))
    forward = (aim - position) / np.linalg.norm(aim - position)
    ways = places - position
    distance = np.linalg.norm(ways, axis=1)
    expected = (ways @ forward) * -np.einsum("ij,ij->i", ways, normals) / distance**4
    foot = (places[:, 1] < 0.5) & (places[:, 2] < 0.5)
    assert foot.sum() > 80
    ratio = found.illuminance[foot, 150] / expected[foot]
    assert ratio.min() > 0.99 * ratio.max()
