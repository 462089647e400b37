"""Distortion where it lands: a border measured in maps, lumens counted on a wall, the fast way against single rays."""

from __future__ import annotations

import math

import numpy as np
import pytest

from projector.optics.dispersion import LINE_D_NM
from projector.rendering.maps.irradiance import irradiance_map
from projector.stage.optics import light_arrays
from projector.studies.size.landing import landing
from projector.studies.size.throw import landed_outline
from projector.tracing.gate.chief_rays import gate_points, gate_rays, opening_border
from tests.conftest import mostly_slow

PER_CENT = [-30.0, -20.0, -10.0, 5.0, 10.0, 14.0, 20.0, 30.0]


def distorting(studio, percent, wall_m=2.2, power=None, projector=None, height_m=None, **lens):
    base = {
        "lens": {"f_number": 16.0, "distortion_percent": percent, **lens},
        "gate": {"diameter_mm": 40.0},
        **(power or {}),
    }
    return studio.scene({**base, **(projector or {})}, {"width_m": wall_m, "height_m": height_m or wall_m})


def half_width(found, ruler) -> float:
    """How far out the light reaches along the middle row (m), at half of what it is just inside."""
    x, _ = ruler.axes(found)
    row = found.illuminance[found.illuminance.shape[0] // 2].astype(float)
    full = row[row > 0.3 * row.max()][2]
    ends = ruler.crossings(x, row, 0.5 * full)
    return 0.5 * float(ends[-1] - ends[0])


@pytest.mark.parametrize("percent", PER_CENT)
@pytest.mark.parametrize("n_rays_side", [None, 6], ids=["fast", "by rays"])
def test_the_gates_edge_lands_farther_out_by_its_per_cent(studio, ruler, percent, n_rays_side):
    """A round gate of 40 mm, 2 m away, in a map: within 0.5 % of s·(1 + p) of geometry, a texel being 0.2 % of it."""
    found = irradiance_map(distorting(studio, percent, height_m=0.02), n_across=1024, n_rays_side=n_rays_side)
    straight = 0.020 * 2.0 * (1.0 / 0.085 - 1.0 / 2.0)
    assert half_width(found, ruler) / straight == pytest.approx(1.0 + percent / 100.0, rel=0.005)


@pytest.mark.parametrize("percent", PER_CENT)
def test_beyond_the_gates_edge_there_is_no_light(studio, percent):
    """No second picture round the first, with either way of counting; the wall reaches to 2.8 times the edge."""
    for n_rays_side in (None, 3):
        found = irradiance_map(distorting(studio, percent, 5.0), n_across=240, n_rays_side=n_rays_side)
        x = (np.arange(240) + 0.5) / 240 * 5.0 - 2.5
        r = np.hypot(*np.meshgrid(x, x)) / (0.020 * 2.0 * (1.0 / 0.085 - 1.0 / 2.0)) / (1.0 + percent / 100.0)
        level = found.illuminance / found.illuminance.max()
        assert level[r < 0.94].min() > 0.3 and level[r > 1.06].max() == 0.0


@pytest.mark.parametrize("percent", mostly_slow(sorted(PER_CENT, key=abs, reverse=True), 3))
def test_a_thousand_lumens_put_a_thousand_on_a_wall(studio, percent):
    """Summed over a map that catches the whole beam; 0.3 % for the border's texels.

    The pupil is 5 mm wide, 0.001 % of its distance squared.
    """
    power = {"reading": None, "output": {"lumens": 1000.0}}
    rectangle = {
        "gate": {
            "shape": "rectangle",
            "diameter_mm": None,
            "width_mm": 36.0,
            "height_mm": 24.0,
            "edge_falloff_stops": 0.7,
        }
    }
    for projector in ({}, rectangle):
        found = irradiance_map(distorting(studio, percent, 2.4, power, projector), n_across=800)
        assert float(found.illuminance.sum(dtype=float)) * (2.4 / 800) ** 2 == pytest.approx(1000.0, rel=0.003)


@pytest.mark.parametrize("percent", [-30.0, -20.0, 10.0, 30.0])
def test_the_level_on_the_wall_is_that_of_a_straight_lens(studio, percent):
    """What is held fixed is the radiance on the scene's side: E = L·A·cos⁴θ/Z² at any lit point."""
    plain, bent = (irradiance_map(distorting(studio, value, 1.8), n_across=120) for value in (0.0, percent))
    x = (np.arange(120) + 0.5) / 120 * 1.8 - 0.9
    inner = np.hypot(*np.meshgrid(x, x)) < 0.62 * 0.020 * 2.0 * (1.0 / 0.085 - 1.0 / 2.0)
    assert bent.illuminance[inner] == pytest.approx(plain.illuminance[inner], rel=1e-5)


def relative_rmse(fast, first, second, level):
    bright = first > 0.02 * level
    return math.sqrt(max(float(np.mean((fast - first)[bright] * (fast - second)[bright], dtype=float)), 0.0)) / float(
        np.mean(fast[bright], dtype=float)
    )


@pytest.mark.slow
@pytest.mark.parametrize("percent", mostly_slow([30.0, -30.0, -20.0, 14.0]))
@pytest.mark.parametrize(
    "blade", [(), ({"side": "right", "insertion_mm": 14.0, "offset_mm": 6.0},)], ids=["stencil", "and a blade"]
)
def test_the_fast_way_agrees_with_single_rays(studio, percent, blade):
    """Dots over the whole gate, soft, on a tilted wall, with softer corners; two references, as for every scene, within
    1 %.
    """
    rows, columns = np.indices((512, 512))
    dots = ((rows // 24 + columns // 24) % 2).astype(float)
    projector = {
        "lens": {"f_number": 2.0, "distortion_percent": percent, "corner_softness_mm": 0.5},
        "focus": {"distance_m": 1.9},
        "stencil": {"file": studio.bitmap("dots.png", dots), "width_mm": 40.0},
        "gate": {"diameter_mm": 38.0},
        "blade": list(blade),
    }
    scene = studio.scene(projector, {"width_m": 1.3, "height_m": 1.0, "yaw_deg": 20.0})
    fast = irradiance_map(scene, None, 120)
    first, second = (irradiance_map(scene, None, 120, n_rays_side=14, seed=seed) for seed in (11, 12))
    assert relative_rmse(fast.illuminance, first.illuminance, second.illuminance, fast.open_level) < 0.01


@pytest.mark.parametrize("percent", [-20.0, 0.0, 14.0, 30.0])
def test_chief_rays_go_out_and_come_back(studio, percent):
    scene = distorting(studio, percent)
    light = light_arrays(scene, scene.projector[0], [LINE_D_NM])
    places = np.random.default_rng(1).uniform(-0.02, 0.02, (200, 2))
    points = np.array(light.emitter.position) + 3.1 * gate_rays(light, *places.T)
    assert gate_points(light, points) == pytest.approx(places, abs=1e-12)
    assert np.isnan(gate_points(light, np.array(light.emitter.position) - gate_rays(light, *places.T))).all()


@pytest.mark.parametrize("percent", PER_CENT)
def test_sizes_that_are_printed_are_those_of_the_map(studio, ruler, percent):
    """Pattern, outline and beam angle against a map's border, 0.5 % as above."""
    scene = distorting(studio, percent)
    found, outline = landing(scene, scene.projector[0]), landed_outline(scene, scene.projector[0])
    measured = 2.0 * half_width(irradiance_map(distorting(studio, percent, height_m=0.02), n_across=1024), ruler)
    assert (found.pattern_width_m, found.pattern_height_m, outline.width_m, outline.height_m) == pytest.approx(
        [measured] * 4, rel=0.005
    )
    assert 2.0 * 2.0 * math.tan(math.radians(0.5 * found.beam_angle_deg)) == pytest.approx(measured, rel=0.005)


def test_a_round_gate_is_followed_along_its_circle(studio):
    """Square on, each quarter of the rim is as long as another: π/4 of the width; no corner of a square that is not
    there.
    """
    scene = distorting(studio, 10.0)
    found = landed_outline(scene, scene.projector[0])
    assert found.is_round
    radii = np.hypot(found.points[:, 0], found.points[:, 1] - 1.5)
    assert radii == pytest.approx(np.full(radii.size, 0.5 * found.width_m), rel=1e-9)
    # Chords of 200 parts instead of arcs: under 1e-4.
    assert found.sides_m == pytest.approx([math.pi / 4.0 * found.width_m] * 4, rel=1e-4)


def test_a_stencil_in_a_round_gate_ends_at_whichever_comes_first(studio):
    scene = distorting(
        studio, 0.0, projector={"stencil": {"file": studio.bitmap("white.png", np.ones((64, 64))), "width_mm": 32.0}}
    )
    light = light_arrays(scene, scene.projector[0], [LINE_D_NM])
    border = opening_border(light, 8)
    assert border[0][4] == pytest.approx([0.0, -0.016], abs=1e-12)
    assert np.linalg.norm(border[0][0]) == pytest.approx(0.020, abs=1e-12)
    assert not landed_outline(scene, scene.projector[0]).is_round


def test_what_a_mesh_shows_is_as_wide_as_the_beam_lands(studio):
    """A map as the projector sees it covers the corners of a rectangle, farthest out with pincushion."""
    for percent in (-20.0, 20.0):
        gate = {"shape": "rectangle", "diameter_mm": None, "width_mm": 36.0, "height_mm": 24.0}
        scene = distorting(studio, percent, projector={"gate": gate}).model_copy(update={"figure": ()})
        light = light_arrays(scene, scene.projector[0], [LINE_D_NM])
        from projector.stage.seen_from import points_seen_from
        from projector.stage.stage import Stage

        extent = points_seen_from(light, Stage(scene).arrays, 0, 64).extent_m
        share = (0.018**2 / light.gate.norm**2) if percent < 0.0 else 1.0
        assert extent[1] == pytest.approx(0.018 / light.tube_length * 2.0 * (1.0 + percent / 100.0 * share), rel=2e-3)
