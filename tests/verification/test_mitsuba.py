"""Mitsuba 3 as a judge: the light of a stencil through a lens, on a plane behind a head and on the head itself.

Mitsuba has no lens that projects, so 64 of its pinhole projectors stand evenly over the pupil, each with its stencil
shifted so that all of them meet at the distance in focus: a thin lens drawn out in points. Its projector's absolute
scale is off by π (known), so both are scaled to the same mean: ratios only.

Relative RMSE as everywhere: the mean of (F − R1)·(F − R2), two independent pictures of Mitsuba's, over the root-mean
level. Budget of the 2 %: 64 points for a disc at edges 7 mm soft, drawn on pixels of 4 mm, 1.3 %; 16 points of ours for
a pixel's box 0.5 %; on the head 64 small shadows for one soft one 0.5 %.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from projector.figures.figure import build_figure
from projector.files.finding import shipped_folder
from projector.rendering.prepared_light import MAP_CHANNELS, light_points, prepare_light, reach_of, stacks_ready
from projector.rendering.shadows import find_visibility
from projector.rendering.workers import Workers
from projector.scene.reading.reader import load_text
from projector.stage.surfaces import scene_arrays
from projector.tracing.rays.first_hits import camera_points, empty_points
from projector.tracing.rays.surfaces import PinholeCamera
from projector.tracing.sight.outline import make_outline, outline_point

WIDTH, HEIGHT = 240, 180
PUPIL, FOCUS, BACKDROP = 0.060, 1.7, 2.4
GATE, FOCAL_LENGTH = 0.040, 0.085
TUBE = 1.0 / (1.0 / FOCAL_LENGTH - 1.0 / FOCUS)
SIDE = 8
FINER = 4

SCENE = f"""
format = 1
[camera]
position_m = [0.0, 1.55, 2.5]
aim = [0.0, 1.55, 0.0]
[[projector]]
name = "lens"
position_m = [0.0, 1.55, 1.6]
aim = [0.0, 1.55, 0.0]
gate = {{ shape = "rectangle", width_mm = {1000 * GATE}, height_mm = {1000 * GATE} }}
stencil = {{ file = "window", width_mm = {1000 * GATE} }}
lens = {{ focal_length_mm = {1000 * FOCAL_LENGTH}, f_number = {FOCAL_LENGTH / PUPIL} }}
focus = {{ distance_m = {FOCUS} }}
[[surface]]
name = "backdrop"
position_m = [0.0, 1.55, {1.6 - BACKDROP}]
width_m = 6.0
height_m = 6.0
[[figure]]
name = "sitter"
kind = "head"
position_m = [0.12, 0.0, 0.0]
"""


def ours(near: float):
    """Our light, FINER² points a pixel, seen from the lens's own place, beyond `near` metres, and what each pixel
    shows.
    """
    scene = load_text(SCENE, "judge")
    arrays = scene_arrays(scene)
    if near > 0.0:
        keep = arrays.surfaces.owners[:] == 0
    half = 0.55 * GATE / TUBE
    camera = PinholeCamera(
        (0.0, 1.55, 1.6),
        (1.0, 0.0, 0.0),
        (0.0, -1.0, 0.0),
        (0.0, 0.0, -1.0),
        half,
        half * HEIGHT / WIDTH,
        WIDTH * FINER,
        HEIGHT * FINER,
    )
    rows, columns = np.meshgrid(np.arange(HEIGHT * FINER) + 0.5, np.arange(WIDTH * FINER) + 0.5, indexing="ij")
    points, triangles = empty_points(rows.size), np.empty(rows.size, np.int32)
    seen = arrays
    if near > 0.0:
        from projector.tracing.rays.bvh import build_bvh

        surfaces = arrays.surfaces._replace(
            triangles=np.ascontiguousarray(arrays.surfaces.triangles[keep]),
            owners=np.ascontiguousarray(arrays.surfaces.owners[keep]),
        )
        seen = type(arrays)(surfaces, build_bvh(surfaces.vertices, surfaces.triangles), arrays.names)
    camera_points(seen.bvh, seen.surfaces, camera, columns.ravel(), rows.ravel(), 0.0, 0, rows.size, points, triangles)
    with Workers(2) as workers:
        prepared = prepare_light(scene, scene.projector[0], 1)
        visibility = find_visibility(arrays, prepared.light, points, 8, workers)
        out = np.zeros((rows.size, 3))
        weights = prepared.weights(np.ones((2, 71)), MAP_CHANNELS)
        with stacks_ready(prepared, reach_of(prepared.light.emitter, points, visibility.state)) as stacks:
            light_points(prepared, points, visibility, stacks, weights, out, workers)
    light = out[:, 1].reshape(HEIGHT, FINER, WIDTH, FINER).mean(axis=(1, 3))
    shown = points.materials.reshape(HEIGHT, FINER, WIDTH, FINER)
    # A pixel that shows two things belongs to neither.
    first = shown[:, 0, :, 0]
    return light, np.where((shown == first[:, None, :, None]).all(axis=(1, 3)), first, -2)


def theirs(near: float, seeds):
    """Mitsuba's pictures of a white backdrop and head from the same place, one a seed."""
    import mitsuba as mi
    from PIL import Image

    mi.set_variant("llvm_ad_rgb")
    figure = build_figure("head")
    head = mi.Mesh("head", len(figure.mesh.vertices), len(figure.mesh.triangles), has_vertex_normals=True)
    values = mi.traverse(head)
    values["vertex_positions"] = (figure.mesh.vertices + np.array([0.12, 0.0, 0.0])).astype(np.float32).ravel()
    values["vertex_normals"] = figure.mesh.normals.astype(np.float32).ravel()
    values["faces"] = figure.mesh.triangles.astype(np.uint32).ravel()
    values.update()
    stencil = np.asarray(Image.open(shipped_folder("stencil") / "window.png"), np.float32) / 255.0
    bitmap = mi.Bitmap(stencil[..., None])
    T = mi.ScalarTransform4f
    white = {"type": "diffuse", "reflectance": {"type": "rgb", "value": 1.0}}
    half = 0.55 * GATE / TUBE
    scene = {
        "type": "scene",
        "integrator": {"type": "direct", "bsdf_samples": 0, "emitter_samples": 4},
        "backdrop": {
            "type": "rectangle",
            "to_world": T().translate([0, 1.55, 1.6 - BACKDROP]).scale([3, 3, 1]),
            "bsdf": white,
        },
        "head": head,
        "sensor": {
            "type": "perspective",
            "near_clip": max(near, 0.1),
            "far_clip": 10.0,
            "fov": math.degrees(2 * math.atan(half)),
            "fov_axis": "x",
            "to_world": T().look_at([0, 1.55, 1.6], [0, 1.55, 0], [0, 1, 0]),
            "sampler": {"type": "stratified", "sample_count": 256},
            "film": {
                "type": "hdrfilm",
                "width": WIDTH,
                "height": HEIGHT,
                "pixel_format": "luminance",
                "rfilter": {"type": "box"},
            },
        },
    }
    for index in range(SIDE * SIDE):
        px, py = outline_point(make_outline(), (index % SIDE + 0.5) / SIDE, (index // SIDE + 0.5) / SIDE)
        x, down = 0.5 * PUPIL * px, 0.5 * PUPIL * py
        # All pinholes look along the axis; the stencil shifts by s·A/z_f, in bitmap widths.
        shift = [x / FOCUS * TUBE / GATE, down / FOCUS * TUBE / GATE]
        scene[f"pinhole{index}"] = {
            "type": "projector",
            "fov": math.degrees(2 * math.atan(0.5 * GATE / TUBE)),
            "to_world": T().look_at([x, 1.55 - down, 1.6], [x, 1.55 - down, 0], [0, 1, 0]),
            "irradiance": {
                "type": "bitmap",
                "bitmap": bitmap,
                "raw": True,
                "wrap_mode": "clamp",
                "to_uv": mi.ScalarTransform3f().translate(shift),
            },
        }
    loaded = mi.load_dict(scene)
    return [np.array(mi.render(loaded, seed=seed))[..., 0].astype(float) for seed in seeds]


@pytest.mark.parametrize(("near", "owner"), [(1.95, 0), (0.0, 1)], ids=["the backdrop behind the head", "the head"])
@pytest.mark.slow
def test_a_stencil_through_a_lens_lights_what_mitsubas_pinholes_light(near, owner):
    fast, shown = ours(near)
    first, second = theirs(near, (1, 2))
    lit = (shown == owner) & (first > 0.02 * first.max())
    assert lit.mean() > 0.03
    first, second = (item * fast[lit].mean() / item[lit].mean() for item in (first, second))
    squared = np.mean((fast - first)[lit] * (fast - second)[lit])
    assert math.sqrt(max(squared, 0.0)) / fast[lit].mean() < 0.02
