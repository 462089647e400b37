"""A projector without a lens: a lamp's opening of radius R through a card at distance c.

The ray from A to (X, Y, Z) crosses the card at A + ((X, Y) − A)·c/Z (similar triangles): upright, Z/c times as large,
and an edge of the card has a penumbra of 2R·(Z − c)/c on a square wall.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from projector.rendering.maps.irradiance import irradiance_map
from projector.rendering.preview import preview
from projector.stage.optics import light_arrays
from projector.stage.power import open_gate_flux, open_gate_on_axis
from projector.tracing.light.reference import gate_light
from tests.conftest import mostly_slow

OPENING, CARD, WALL = 0.04, 0.5, 2.0
LAMP = {"opening_mm": 40.0, "card_mm": 500.0}
MAGNIFICATION, PENUMBRA = 4.0, 0.120


def bare(studio, projector=None, **others):
    """A lamp at 2 m from the wall, square to it."""
    spec = {"lens": None, "focus": None, "lamp": LAMP, "gate": {"shape": "rectangle", "width_mm": 300.0}}
    spec["gate"] |= {"height_mm": 300.0, "diameter_mm": None}
    spec["position_m"], spec["aim"] = [0.0, 1.5, WALL], [0.0, 1.5, 0.0]
    return studio.scene(spec | (projector or {}), **others)


@pytest.mark.parametrize("seed", range(5))
def test_a_ray_crosses_the_card_where_similar_triangles_say(studio, seed):
    """The law in the reference against the straight line from opening to point; a stencil that is a ramp says where."""
    random = np.random.default_rng(seed)
    ramp = np.tile(np.linspace(0.0, 1.0, 256), (8, 1))
    scene = bare(studio, {"stencil": {"file": studio.bitmap("ramp.png", ramp), "width_mm": 600.0}})
    light = light_arrays(scene, scene.projector[0], [550.0])
    x, z = random.uniform(-0.5, 0.5), random.uniform(0.6, 4.0)
    ax = random.uniform(-0.02, 0.02)
    crossing = ax + (x - ax) * CARD / z
    found = gate_light(light, 0, x / z, 0.0, 0.0, 1.0 / z, ax, 0.0)
    # Eight bits of a ramp of 0.6 m: half a step is 1.2 mm of it, 0.002.
    assert found == pytest.approx(0.5 + crossing / 0.6 * 255 / 256, abs=0.003)


def test_magnification_and_penumbra_of_a_cut_card(studio, ruler):
    """Opening 40 mm, card 0.5 m before it, wall at 2 m: magnification 4, penumbra 120 mm. The 10–90 % rise of a disc's
    edge is 0.687 of its width (chord area, closed form).
    """
    scene = bare(studio, {"stencil": {"file": studio.half_plane(), "width_mm": 340.0}}, wall={"width_m": 1.6})
    found = irradiance_map(scene, n_across=800, n_rays_side=None)
    x, _ = ruler.axes(found)
    row = found.illuminance[found.illuminance.shape[0] // 2]
    inner = np.abs(x) < 0.3
    flat = row * (x**2 + WALL**2) ** 2
    assert ruler.edge_width(x[inner], flat[inner]) == pytest.approx(0.68697 * PENUMBRA, rel=0.02)
    # The bright side lies as the bitmap says, upright: to the right as seen from behind the lamp; its own edge, 150 mm
    # from the axis in the card, lands at 600 mm.
    assert flat[x < -0.1].max() < 1e-3 * flat.max()
    (gate_edge,) = ruler.crossings(x[x > 0.3], flat[x > 0.3], 0.5 * flat.max())
    assert gate_edge == pytest.approx(MAGNIFICATION * 0.150, abs=0.003)


def test_a_bars_full_shadow_is_lost_where_the_opening_looks_wider(studio):
    """A 20 mm bar leaves full shadow only where bar·Z > opening·(Z − c): up to Z = 1 m for 40 mm and c = 0.5 m."""
    bar = np.ones((64, 512))
    bar[:, 256 - 17 : 256 + 17] = 0.0
    width_mm = 20.0 * 512 / 34
    for distance, is_dark in ((0.9, True), (1.15, False)):
        scene = bare(
            studio,
            {"stencil": {"file": studio.bitmap("bar.png", bar), "width_mm": width_mm}},
            wall={"position_m": [0.0, 1.5, WALL - distance], "width_m": 0.4, "height_m": 0.02},
        )
        found = irradiance_map(scene, n_across=401).illuminance
        share = found.min() / found.max()
        assert (share < 1e-3) == is_dark


@pytest.mark.slow
@pytest.mark.parametrize(
    "changes",
    mostly_slow(
        [
            {},
            {"blade": [{"side": "left", "insertion_mm": 60.0, "angle_deg": 10.0, "offset_mm": -150.0}]},
            {"lamp": {"opening_deg": 0.53}, "position_m": [0.0, 1.5, 1.5]},
            {"lamp": {"opening_mm": 150.0, "card_mm": 500.0}},
            {"lamp": {"opening_deg": 3.0}, "position_m": [0.0, 1.5, 1.5], "aim": [0.4, 1.5, 0.0]},
        ],
        quick=3,
    ),
    ids=["card", "barn door", "sun", "wide", "far"],
)
def test_the_fast_way_is_that_of_single_rays(studio, changes):
    """Within 1 % of full light and three times the rays' own scatter, with a post's shadow, on a wall."""
    values = np.zeros((256, 256))
    values[40:220:60, :] = values[60:240:60, :] = 1.0
    values[:, 100:150] = 1.0
    post = {"name": "post", "shape": "box", "position_m": [0.1, 1.5, 0.5], "width_m": 0.05, "height_m": 1.0}
    wall = {"name": "wall", "shape": "flat", "position_m": [0.0, 1.5, 0.0], "width_m": 1.4, "height_m": 1.0}
    stencil = {"file": studio.bitmap("bars.png", values), "width_mm": 300.0}
    scene = bare(studio, {"stencil": stencil, **changes}, surfaces=[wall, {**post, "depth_m": 0.05}])
    fast = irradiance_map(scene, "wall", n_across=70).illuminance
    first, second = (
        irradiance_map(scene, "wall", n_across=70, n_rays_side=24, seed=seed).illuminance for seed in (1, 2)
    )
    full = float(first.max())
    scatter = float(np.sqrt(((first - second) ** 2).mean() / 2.0))
    off = np.abs(fast - 0.5 * (first + second))
    assert full > 0.0 and (first > 0.3 * full).mean() > 0.01
    assert np.sqrt((off**2).mean()) < 0.004 * full + scatter
    assert np.percentile(off, 99) < 0.01 * full + 3.0 * scatter


def test_what_stands_before_the_card_gets_nothing(studio):
    """A wall 0.4 m from the lamp, its card at 0.5 m; and half a metre behind, the same wall is lit."""
    for distance, is_lit in ((0.4, False), (0.6, True)):
        wall = {"name": "wall", "shape": "flat", "position_m": [0.0, 1.5, WALL - distance]}
        scene = bare(studio, surfaces=[{**wall, "width_m": 0.1, "height_m": 0.1}])
        for n_rays_side in (None, 4):
            found = irradiance_map(scene, n_across=16, n_rays_side=n_rays_side)
            assert bool((found.illuminance > 0.0).all()) == is_lit == bool((found.illuminance > 0.0).any())


def test_a_reading_is_what_a_meter_at_its_place_shows(studio):
    """f/8 at ISO 100, 2 m from the lamp: H = C·N²/S lx·s (ISO 2720, C = 250), in the middle of the wall there."""
    scene = bare(studio, {"reading": {"f_number": 8.0, "iso": 100.0, "distance_m": 2.0}})
    found = irradiance_map(scene, n_across=101).illuminance
    assert found[found.shape[0] // 2, 50] == pytest.approx(250.0 * 64.0 / 100.0, rel=2e-3)


def test_a_snout_narrower_than_its_lamp_shows_a_part_of_it(studio):
    """A hole of 10 mm radius at 0.5 m before an opening of 100 mm: at 2 m on the axis a disc of 10·4/3 mm of it
    is seen.
    """
    scene = bare(
        studio,
        {
            "lamp": {"opening_mm": 100.0, "card_mm": 500.0},
            "gate": {"shape": "round", "diameter_mm": 20.0, "width_mm": None, "height_mm": None},
        },
    )
    light = light_arrays(scene, scene.projector[0], [550.0])
    seen = 0.010 * 2.0 / 1.5
    assert open_gate_on_axis(light, 2.0) == pytest.approx(math.pi * seen**2 / 4.0, rel=0.01)
    assert open_gate_on_axis(light, 0.5) == 0.0


def test_flux_through_the_card_is_that_of_coaxial_discs(studio):
    """Radii 0.1 and 0.2 m, 0.5 m apart: F = 0.1339313 (R. Siegel & J. Howell; Incropera, table 13.2); Φ = π·L·A·F."""
    scene = bare(
        studio,
        {
            "lamp": {"opening_mm": 200.0, "card_mm": 500.0},
            "gate": {"shape": "round", "diameter_mm": 400.0, "width_mm": None, "height_mm": None},
        },
    )
    light = light_arrays(scene, scene.projector[0], [550.0])
    assert open_gate_flux(light) == pytest.approx(math.pi * math.pi * 0.1**2 * 0.1339313, rel=2e-3)


def test_a_bare_lamps_picture_is_that_of_its_map(studio):
    """The preview draws it, and more light where the card is open."""
    scene = bare(studio, {"stencil": {"file": studio.half_plane(), "width_mm": 340.0}})
    picture = preview(scene, width=160, height=120, quality="quick").pixels.astype(float)
    left, right = picture[50:70, 30:60].mean(), picture[50:70, 100:130].mean()
    assert max(left, right) > 3.0 * min(left, right)
