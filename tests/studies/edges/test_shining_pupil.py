"""The part of the lens that shines on a point: closed forms, single rays, and the shadows it casts."""

from __future__ import annotations

import math

import numpy as np
import pytest

from projector.optics.dispersion import LINE_D_NM
from projector.stage.optics import light_arrays
from projector.studies.edges.profile import place_on_surface
from projector.studies.edges.shining_pupil import lit_pupil
from projector.tracing.light.reference import gate_light
from projector.tracing.sight.outline import inside


def shining(scene, point=(0.0, 1.5, 0.0)):
    light = light_arrays(scene, scene.projector[0], [LINE_D_NM])
    place = place_on_surface(scene, light, point)
    return light, place, lit_pupil(light, place)


def slit(studio, width_mm, stencil_mm=30.0, size=2048):
    centres = (np.arange(size) + 0.5) / size * stencil_mm - 0.5 * stencil_mm
    return {
        "file": studio.bitmap("slit.png", np.tile((np.abs(centres) <= 0.5 * width_mm).astype(float), (size, 1))),
        "width_mm": stencil_mm,
    }


def test_an_open_gate_shows_the_whole_pupil(studio):
    """85 mm, f/1.8 at 2.00 m: 47.22 mm, 1.353° (plane geometry)."""
    _, _, found = shining(studio.scene({"lens": {"f_number": 1.8}, "focus": {"distance_m": 1.5}}))
    assert found.share == 1.0
    assert (found.longest_mm, found.shortest_mm) == pytest.approx((47.22, 47.22), rel=2e-3)
    assert found.longest_deg == pytest.approx(math.degrees(2.0 * math.atan(0.02361 / 2.0)), rel=2e-3)
    # 47.22 mm · 50 / 1950, similar triangles.
    assert found.shadow_mm == pytest.approx(47.22 * 50.0 / 1950.0, rel=2e-3)


def test_a_slit_out_of_focus_leaves_a_strip_of_the_width_that_similar_triangles_give(studio):
    """The strip is slit over u·|1/z − 1/Z| wide: 0.5 mm of slit, 85 mm sharp at 1.3 m, seen at 2.0 m.

    3 %: half a pixel of the slit, 0.015 mm, on either side.
    """
    scene = studio.scene({"lens": {"f_number": 1.8}, "focus": {"distance_m": 1.3}, "stencil": slit(studio, 0.5)})
    _, _, found = shining(scene)
    tube = 1.0 / (1.0 / 0.085 - 1.0 / 1.3)
    assert found.shortest_mm == pytest.approx(0.5 / (tube * (1.0 / 1.3 - 1.0 / 2.0)), rel=0.03)
    assert found.longest_mm == pytest.approx(47.2, rel=0.01)


def test_each_sample_is_the_ray_that_the_reference_traces(studio):
    """Share of the pupil against single rays of the slow twin through stencil, blade and a lens with faults: within 1
    %, 2000 rays of a share near a half.
    """
    lens = {
        "f_number": 2.0,
        "corner_softness_mm": 0.4,
        "distortion_percent": 4.0,
        "spherical_mm": 0.3,
        "pupil": {"shape": "polygon", "n_blades": 5},
    }
    blade = [{"side": "left", "insertion_mm": 29.0, "offset_mm": 5.0}]
    scene = studio.scene({"lens": lens, "focus": {"distance_m": 1.5}, "stencil": slit(studio, 3.0), "blade": blade})
    light, place, found = shining(scene, (0.03, 1.45, 0.0))
    random = np.random.default_rng(5)
    x, y = random.uniform(-1.0, 1.0, (2, 6000))
    open_there = inside(light.emitter.outline, x, y) > 0.5
    slopes = place.local[:2] / place.local[2]
    squared = float(slopes @ slopes) * (light.tube_length / light.gate.norm) ** 2
    rays = [
        gate_light(
            light, 0, *slopes, squared, 1.0 / place.distance, light.emitter.radius * px, light.emitter.radius * py
        )
        for px, py in zip(x[open_there], y[open_there], strict=True)
    ]
    assert 0.2 < found.share < 0.9
    # Four standard errors of that many rays.
    assert found.share == pytest.approx(np.mean(rays), abs=4.0 * 0.5 / math.sqrt(len(rays)))


def test_in_the_dark_nothing_shines(studio):
    _, _, found = shining(
        studio.scene({"stencil": {"file": studio.bitmap("dark.png", np.zeros((64, 64))), "width_mm": 30.0}})
    )
    assert (found.share, found.longest_mm, found.longest_deg, found.shadow_mm) == (0.0, 0.0, 0.0, 0.0)
