"""What lights without a gate give with nothing between, held to published closed forms."""

import math

import numpy as np
import pytest

from projector.optics.honeycomb import honeycomb_transmission
from projector.scene.model import Light
from projector.stage.shines import flux_of, light_of, shine_of, turned_to


class _Room:
    folder, figure, surface = ".", (), ()


def shine(**keys):
    """A light at the origin that points along +z."""
    return shine_of(_Room(), Light(name="light", position_m=(0, 0, 0), aim=(0, 0, 1), **keys))


def facing(source, place):
    """E/L on a wall across the light's axis at a place."""
    return float(light_of(source, np.array(place), np.array((0.0, 0.0, -1.0)))[0])


# Lambert's polygon formula and the disc (R. Siegel & J. Howell, Thermal Radiation Heat Transfer), recomputed to six
# figures; positions travel as float32, which leaves 1e-6.
@pytest.mark.parametrize(
    "keys, distance, expected",
    [
        ({"kind": "panel", "width_m": 1.0, "height_m": 1.0}, 1.0, 0.752275),
        ({"kind": "strip", "width_m": 0.35, "height_m": 1.0}, 1.5, 0.143817),
        ({"kind": "panel", "diameter_m": 1.2}, 1.5, 0.433323),
    ],
)
def test_panels_on_their_axis_give_what_lamberts_formula_says(keys, distance, expected):
    assert facing(shine(**keys), (0, 0, distance)) == pytest.approx(expected, rel=3e-6)


def test_a_thin_tube_gives_the_integral_over_its_length():
    """L·d·∫D²/(D² + x²)² dx, 0.0345459·L for 40 mm at 1 m, taken for thin; one of 2 mm is so within 0.08 %."""
    found = facing(shine(kind="tube", length_m=1.0, diameter_m=0.002), (0, 0, 1.0))
    assert found == pytest.approx(0.0345459 * 0.002 / 0.04, rel=1e-3)


@pytest.mark.parametrize("place", [(0.0, 0.0, 1.2), (0.3, 0.1, 0.4), (0.9, 0.0, 0.5), (0.1, 0.2, 0.09)])
def test_a_thick_tube_gives_the_sum_over_its_own_surface(place):
    """Parts of a Lambertian cylinder's side, each as a point (J. H. Lambert): 2000 × 400 of them leave 5e-4. A flat
    strip of its diameter through its axis would be 1.6 % too dim at 1.2 m for 50 mm.
    """
    length, thick = 0.8, 0.025
    turns = (np.arange(2000) + 0.5) / 2000 * 2.0 * math.pi
    along = ((np.arange(400) + 0.5) / 400 - 0.5) * length
    outwards = np.stack([np.zeros(turns.size), np.sin(turns), np.cos(turns)], axis=-1)
    parts = thick * outwards[:, None, :] + along[None, :, None] * np.array([1.0, 0.0, 0.0])
    way = np.array(place) - parts
    squared = (way**2).sum(axis=-1)
    leaving = np.maximum((way * outwards[:, None, :]).sum(axis=-1), 0.0)
    arriving = np.maximum(way[..., 2], 0.0)
    summed = (leaving * arriving / squared**2).mean() * 2.0 * math.pi * thick * length
    found = facing(shine(kind="tube", length_m=length, diameter_m=2.0 * thick), place)
    assert found == pytest.approx(summed, rel=1e-3)


@pytest.mark.parametrize("aside, lux", [(0.25, 58.7824), (0.5, 36.9505), (1.0, 10.4501)])
def test_a_disc_off_its_axis(aside, lux):
    """J. R. Howell, A Catalog of Radiation Heat Transfer Configuration Factors, section B: 700 lm/m², radius 0.25 m."""
    found = 700.0 / math.pi * facing(shine(kind="panel", diameter_m=0.5), (aside, 0, 0.75))
    assert found == pytest.approx(lux, rel=1e-5)


def test_a_bare_head_follows_the_square_of_the_distance_from_its_middle_however_near():
    """π·L·(R/d)² of a sphere of one luminance (I. E. Irodov, Problems in General Physics, 5.11, by its solid angle)."""
    head = shine(kind="bare", diameter_m=0.1)
    for distance in (0.06, 0.2, 2.0):
        assert facing(head, (0, 0, distance)) == pytest.approx(math.pi * (0.05 / distance) ** 2, rel=2e-6)


@pytest.mark.parametrize(
    "keys, area, factor",
    [
        ({"kind": "panel", "width_m": 0.6, "height_m": 0.9}, 0.54, math.pi),
        ({"kind": "panel", "diameter_m": 1.0, "n_sides": 8}, 2.0 * math.sqrt(2.0) * 0.25, math.pi),
        ({"kind": "bare", "diameter_m": 0.1}, math.pi * 0.05**2, 4.0 * math.pi),
        # A cylinder's side: π·d·l, each part of it π·L; its ends do not shine.
        ({"kind": "tube", "length_m": 1.0, "diameter_m": 0.04}, 0.04, math.pi**2),
    ],
)
def test_the_flux_of_an_even_light_is_pi_times_its_luminance_and_surface(keys, area, factor):
    assert flux_of(shine(**keys)) == pytest.approx(area * factor, rel=2e-4)


def test_intensity_is_half_at_the_edge_of_the_beam_and_a_tenth_at_that_of_the_field():
    """CIE terms of beam and field angle; read off at 20 m, where an opening of 0.15 m is a point."""
    spot = shine(kind="spot", beam_deg=20.0, field_deg=32.0)

    def intensity(angle_deg):
        angle = math.radians(angle_deg)
        place = 20.0 * np.array((math.sin(angle), 0.0, math.cos(angle)))
        return turned_to(spot, place)

    assert intensity(10.0) / intensity(0.0) == pytest.approx(0.5, abs=2e-3)
    assert intensity(16.0) / intensity(0.0) == pytest.approx(0.1, abs=1e-3)


def test_a_grid_passes_half_at_the_edge_of_its_beam_and_nothing_beyond_its_cut_off():
    """Overlap of a tube's two ends: half at u = 0.403973; a beam of 20° ends at 47.2° (plane geometry of circles)."""
    bare, gridded = (shine(kind="panel", width_m=0.02, height_m=0.02, grid=grid) for grid in (None, {"beam_deg": 20.0}))

    def share(angle_deg):
        place = 5.0 * np.array((math.sin(math.radians(angle_deg)), 0.0, math.cos(math.radians(angle_deg))))
        return turned_to(gridded, place) / turned_to(bare, place)

    assert share(0.0) == pytest.approx(1.0, abs=5e-3)
    assert share(10.0) == pytest.approx(0.5, abs=5e-3)
    assert share(24.0) == 0.0
    cells = shine(kind="panel", width_m=0.02, height_m=0.02, grid={"cell_mm": 10.0, "depth_mm": 23.0})
    place = 5.0 * np.array((math.sin(0.2), 0.0, math.cos(0.2)))
    assert turned_to(cells, place) / turned_to(bare, place) == pytest.approx(
        honeycomb_transmission(math.tan(0.2), 2.3), abs=5e-3
    )


def test_a_frame_in_front_hides_the_panel_from_the_side_only():
    deep = shine(kind="panel", width_m=0.6, height_m=0.6, recess_m=0.2)
    flush = shine(kind="panel", width_m=0.6, height_m=0.6)
    ahead, aside = np.array((0.0, 0.0, 3.0)), np.array((3.0, 0.0, 0.3))
    assert turned_to(deep, ahead) == pytest.approx(turned_to(flush, ahead), rel=2e-3)
    assert turned_to(deep, aside) < 0.02 * turned_to(flush, aside)


@pytest.mark.parametrize("place", [(0.0, 0.0, 3.0), (1.0, 0.4, 1.5), (2.0, 0.3, 0.8), (0.2, 0.1, 0.3)])
def test_behind_a_frame_shines_what_is_seen_over_it(place):
    """The sum over 400² parts whose straight way to the point crosses the frame's opening (plane geometry)."""
    width, height, depth = 0.6, 0.9, 0.1
    steps = (np.arange(400) + 0.5) / 400 - 0.5
    x, y = np.meshgrid(steps * width, steps * height)
    way_x, way_y = place[0] - x, place[1] - y
    over_x, over_y = x + way_x * depth / place[2], y + way_y * depth / place[2]
    squared = way_x**2 + way_y**2 + place[2] ** 2
    # Facing the wall that the light faces: both cosines are z over the way.
    parts = place[2] ** 2 / squared**2 * (np.abs(over_x) < width / 2) * (np.abs(over_y) < height / 2)
    found = facing(shine(kind="panel", width_m=width, height_m=height, recess_m=depth), place)
    assert found == pytest.approx(parts.mean() * width * height, rel=4e-3)


def test_one_layer_has_a_hot_middle():
    """A rim one stop dimmer lowers the mean; close before the middle, where a third of the light comes from farther
    out, much less.
    """
    one, two = (shine(kind="panel", diameter_m=1.0, layers=layers) for layers in (1, 2))
    assert facing(one, (0, 0, 0.05)) == pytest.approx(facing(two, (0, 0, 0.05)), rel=0.05)
    assert 0.6 < facing(one, (0, 0, 3.0)) / facing(two, (0, 0, 3.0)) < 0.8


def test_a_disc_on_walls_of_any_facing_is_the_sum_over_its_parts():
    """The light vector of a disc against 400 × 400 parts of it, each as a point (Lambert); parts leave 1e-4."""
    disc = shine(kind="panel", diameter_m=1.0)
    steps = (np.arange(400) + 0.5) / 400 - 0.5
    x, y = (part.ravel() for part in np.meshgrid(steps, steps))
    inside = x * x + y * y < 0.25
    parts = np.stack([x[inside], y[inside], np.zeros(inside.sum())], axis=-1)
    for place, normal in (((0.3, -0.2, 0.6), (0.1, 0.3, -1.0)), ((1.2, 0.4, 0.9), (-0.8, 0.1, -0.6))):
        normal = np.array(normal) / np.linalg.norm(normal)
        way = parts - np.array(place)
        squared = (way**2).sum(axis=1)
        summed = (-way[:, 2] * (way @ normal) / squared**2).sum() * math.pi * 0.25 / inside.sum()
        assert light_of(disc, np.array(place), normal)[0] == pytest.approx(summed, rel=3e-4)


@pytest.mark.parametrize("distance", [0.05, 0.3, 3.0])
def test_a_long_tube_close_by_is_summed_as_well_as_one_far_away(distance):
    """L·d·(x/(D² + x²) + atan(x/D)/D) with x half the length (thin tube); its thickness leaves (d/2D)²."""
    found = facing(shine(kind="tube", length_m=4.0, diameter_m=0.002), (0, 0, distance))
    half = 2.0
    exact = 0.002 * (half / (distance**2 + half**2) * 1.0 + math.atan(half / distance) / distance)
    assert found == pytest.approx(exact, rel=1e-3)
