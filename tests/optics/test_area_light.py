"""Panels in closed form against published factors and a plain sum over small pieces."""

from __future__ import annotations

import math

import numpy as np
import pytest

from projector.optics import area_light
from projector.optics.area_light import RECTANGLE

FACING = (0.0, 0.0, -1.0)


def rectangle(width, height):
    return RECTANGLE, 0.0, 0.5 * width, 0.5 * height


@pytest.mark.parametrize(("x", "y", "factor"), [(1.0, 1.0, 0.1385316), (0.5, 0.5, 0.0598641), (2.0, 1.0, 0.1673750)])
def test_a_rectangle_over_its_corner_has_the_published_factor(x, y, factor):
    """Howell's catalogue, section B, and Tregenza & Sharples, daylight algorithm 3.14: a parallel element 1 under a
    corner.
    """
    found = area_light.panel_on_flat(rectangle(x, y), (0.5 * x, 0.5 * y, 1.0), FACING)
    assert found / math.pi == pytest.approx(factor, abs=1e-7)


def test_soft_panels_on_their_axis_light_by_their_published_factors():
    """Lambert's polygon formula (R. Siegel & J. Howell): a square, a strip, and a disc as a polygon of many sides."""
    assert area_light.panel_on_flat(rectangle(1.0, 1.0), (0.0, 0.0, 1.0), FACING) == pytest.approx(0.752275, abs=1e-6)
    assert area_light.panel_on_flat(rectangle(0.35, 1.0), (0.0, 0.0, 1.5), FACING) == pytest.approx(0.143817, abs=1e-6)
    disc = (720, 0.0, 0.6, 0.6)
    # A polygon of 720 sides covers 1 − (2π/720)²/6 of its disc: 1.3e-5.
    assert area_light.panel_on_flat(disc, (0.0, 0.0, 1.5), FACING) == pytest.approx(0.433323, rel=3e-5)


@pytest.mark.parametrize(("aside", "lux"), [(0.0, 70.0), (0.25, 58.7824), (0.5, 36.9505), (1.0, 10.4501)])
def test_a_disc_lights_beside_its_axis_as_howell_prints(aside, lux):
    """J. R. Howell, A Catalog of Radiation Heat Transfer Configuration Factors, section B; on the axis Irodov 5.11."""
    found = area_light.panel_on_flat((720, 0.0, 0.25, 0.25), (aside, 0.0, 0.75), FACING) * 700.0 / math.pi
    assert found == pytest.approx(lux, rel=5e-5)


def summed(panel, point, normal, response, n=900):
    """The same by small pieces: the plain integral over the panel."""
    n_sides, _rotation, half_width, half_height = panel
    x, y = np.meshgrid(
        ((np.arange(n) + 0.5) / n * 2.0 - 1.0) * half_width, ((np.arange(n) + 0.5) / n * 2.0 - 1.0) * half_height
    )
    inside = np.ones(x.shape, bool)
    if n_sides != RECTANGLE:
        corners = np.array([area_light.panel_corner(*panel, i) for i in range(n_sides)])
        for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
            inside &= (b[0] - a[0]) * (y - a[1]) - (b[1] - a[1]) * (x - a[0]) >= 0.0
    towards = np.stack([x - point[0], y - point[1], np.full(x.shape, -point[2])], axis=-1)
    squared = (towards**2).sum(axis=-1)
    cosine = towards @ np.asarray(normal) / np.sqrt(squared)
    return float((inside * response(cosine) * point[2] / squared**1.5).sum() * 4.0 * half_width * half_height / n**2)


PLACES = [
    ((0.3, -0.2, 1.1), (0.2, 0.5, -0.8)),
    # The horizon cuts these panels: a receiver turned away, and one beside the panel looking along it.
    ((0.9, 0.4, 0.5), (0.9, 0.1, -0.3)),
    ((-0.1, 0.0, 0.7), (0.0, 1.0, 0.0)),
    ((0.2, 0.1, 0.6), (0.0, 0.98, 0.2)),
]


@pytest.mark.parametrize("panel", [rectangle(1.0, 0.6), (5, 0.3, 0.5, 0.5), (8, 0.0, 0.7, 0.4)])
@pytest.mark.parametrize(("point", "normal"), PLACES)
def test_closed_forms_are_the_sum_over_small_pieces(panel, point, normal):
    """A grid of 900² pieces cuts slanted sides to 1/900 of the panel: 0.3 % of its light at most, and so is the
    horizon's cut.
    """
    normal = tuple(np.asarray(normal) / np.linalg.norm(normal))
    flat = summed(panel, point, normal, lambda cosine: np.maximum(cosine, 0.0))
    dome = summed(panel, point, normal, lambda cosine: 0.5 * (1.0 + cosine))
    whole = summed(panel, point, normal, np.ones_like)
    assert area_light.panel_on_flat(panel, point, normal) == pytest.approx(flat, abs=3e-3 * whole)
    assert area_light.panel_on_dome(panel, point, normal) == pytest.approx(dome, abs=3e-3 * whole)
    assert area_light.panel_solid_angle(panel, point) == pytest.approx(whole, rel=3e-3)


@pytest.mark.parametrize(("angle_deg", "share"), [(60.0, 0.75), (90.0, 0.5), (120.0, 0.25), (0.0, 1.0), (180.0, 0.0)])
def test_a_dome_counts_the_projected_area_of_a_hemisphere(angle_deg, share):
    assert area_light.dome_response(math.cos(math.radians(angle_deg))) == pytest.approx(share)
    # A small panel far away, seen at that angle, against the same faced.
    panel, point = rectangle(0.02, 0.02), (0.0, 0.0, 5.0)
    turned = (math.sin(math.radians(angle_deg)), 0.0, -math.cos(math.radians(angle_deg)))
    faced = area_light.panel_on_dome(panel, point, FACING)
    assert area_light.panel_on_dome(panel, point, turned) == pytest.approx(share * faced, abs=1e-5 * faced)


def test_under_an_even_sky_a_dome_gets_half_as_much_again_as_a_flat_receiver():
    """Projected area of a hemisphere over an even hemisphere of light: 1.5·π against π."""
    sky, point = rectangle(2000.0, 2000.0), (0.0, 0.0, 0.5)
    assert area_light.panel_on_flat(sky, point, FACING) == pytest.approx(math.pi, rel=1e-5)
    assert area_light.panel_on_dome(sky, point, FACING) == pytest.approx(1.5 * math.pi, rel=1e-3)


def test_a_tube_lights_as_its_integral_says():
    assert area_light.tube_on_flat(0.04, 0.5, 1.0) == pytest.approx(0.0345459, abs=1e-7)


def test_nothing_comes_from_the_back_of_a_panel():
    assert area_light.panel_on_flat(rectangle(1.0, 1.0), (0.0, 0.0, -1.0), (0.0, 0.0, 1.0)) == 0.0
    assert area_light.panel_on_dome(rectangle(1.0, 1.0), (0.0, 0.0, -1.0), (0.0, 0.0, 1.0)) == 0.0
