"""The building blocks of the figure's field against distances that geometry gives in closed form."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator

from projector.figures.field.fields import (
    ellipsoid,
    loft,
    lopsided_ellipsoid,
    rounded_cone,
    smooth_cut,
    smooth_intersection,
    smooth_union,
    swelling,
    table,
    tube,
)

RANDOM = np.random.default_rng(3)
POINTS = RANDOM.uniform(-60.0, 60.0, (400, 3))
XYZ = tuple(POINTS.T)


def test_ellipsoid_of_equal_axes_is_the_distance_from_a_sphere():
    distance = np.linalg.norm(POINTS - [5.0, -3.0, 8.0], axis=1) - 20.0
    # The field keeps clear of 0/0 at the centre with 1e-9 of its radius.
    assert ellipsoid(XYZ, (5.0, -3.0, 8.0), (20.0, 20.0, 20.0)) == pytest.approx(distance, abs=1e-5)


def test_ellipsoid_is_zero_at_its_half_axes_along_turned_axes():
    turn = np.linalg.qr(RANDOM.normal(size=(3, 3)))[0]
    ends = turn * np.array([[4.0], [9.0], [15.0]]) + [1.0, 2.0, 3.0]
    assert ellipsoid(tuple(ends.T), (1.0, 2.0, 3.0), (4.0, 9.0, 15.0), turn) == pytest.approx(np.zeros(3), abs=1e-6)


def test_lopsided_ellipsoid_reaches_its_two_radii_on_either_side():
    ends = np.array([[-4.0, 0, 0], [6.0, 0, 0], [0, -7.0, 0], [0, 8.0, 0], [0, 0, -9.0], [0, 0, 10.0]])
    field = lopsided_ellipsoid(tuple(ends.T), (0.0, 0.0, 0.0), (4.0, 7.0, 9.0), (6.0, 8.0, 10.0), 2.25)
    assert field == pytest.approx(np.zeros(6), abs=1e-4)


def test_rod_of_one_radius_is_the_distance_from_a_line_segment():
    start, end = np.array([-20.0, 5.0, 0.0]), np.array([30.0, -10.0, 12.0])
    # The nearest of very many points of the segment; between two of them the distance errs by far less than 1e-3.
    segment = start + np.linspace(0.0, 1.0, 4001)[:, None] * (end - start)
    distance = np.array([np.linalg.norm(segment - point, axis=1).min() for point in POINTS]) - 6.0
    assert rounded_cone(XYZ, start, end, 6.0, 6.0) == pytest.approx(distance, abs=1e-3)


def test_tube_through_a_straight_row_is_a_rod():
    stations = np.linspace([-20.0, 0.0, 0.0], [20.0, 10.0, 5.0], 5)
    rod = rounded_cone(XYZ, stations[0], stations[-1], 3.0, 3.0)
    assert tube(XYZ, stations, [3.0] * 5) == pytest.approx(rod, abs=1e-3)


def test_blends_keep_clear_of_fields_that_differ_by_more_than_their_width():
    first, second = RANDOM.uniform(-50.0, 50.0, (2, 1000))
    apart = np.abs(first - second) >= 8.0
    assert np.array_equal(smooth_union(first, second, 8.0)[apart], np.minimum(first, second)[apart])
    assert np.array_equal(smooth_intersection(first, second, 8.0)[apart], np.maximum(first, second)[apart])
    cut = np.abs(first + second) >= 8.0
    assert np.array_equal(smooth_cut(first, second, 8.0)[cut], np.maximum(first, -second)[cut])


def test_blend_adds_most_where_two_fields_are_equal_and_never_takes_away():
    first, second = RANDOM.uniform(-50.0, 50.0, (2, 1000))
    added = np.minimum(first, second) - smooth_union(first, second, 8.0)
    assert added.min() >= 0.0
    # A cubic blend of width w fills w/6 at the crease.
    assert smooth_union(2.0, 2.0, 8.0) == pytest.approx(2.0 - 8.0 / 6.0)
    assert added.max() <= 8.0 / 6.0


def test_blend_has_no_edge_in_slope_or_curvature_where_it_begins():
    step = 1e-3
    difference = 8.0 + step * np.arange(-3, 4)
    field = smooth_union(0.0 * difference, difference, 8.0)
    curvature = np.diff(field, 2) / step**2
    # The cubic's curvature near its end is (width - d)/width² per mm of distance from the end: 4 steps at most.
    assert np.abs(curvature).max() < 5.0 * step / 8.0**2


def test_table_without_smoothing_goes_through_its_values_and_holds_its_ends():
    positions, values = [0.0, 2.0, 5.0, 9.0], [1.0, 4.0, 4.5, 2.0]
    curve = table(positions[::-1], values[::-1])
    wanted = np.linspace(0.0, 9.0, 500)
    # 4000 straight pieces over a curve whose second derivative is about 1: off by 1/8 of (9/4000)².
    assert curve(wanted) == pytest.approx(PchipInterpolator(positions, values)(wanted), abs=2e-6)
    assert curve(np.array([-5.0, 20.0])) == pytest.approx([1.0, 2.0])


def test_smoothing_keeps_a_straight_line_straight():
    curve = table([0.0, 100.0], [10.0, 60.0], 4.0)
    inside = np.linspace(25.0, 75.0, 50)
    assert curve(inside) == pytest.approx(10.0 + 0.5 * inside, abs=1e-9)


def test_loft_reaches_its_width_front_and_back():
    ends = np.array([[30.0, 7.0, -5.0], [-30.0, 7.0, -5.0], [0.0, 7.0, 40.0], [0.0, 7.0, -60.0]])
    assert loft(tuple(ends.T), -5.0, 30.0, 40.0, -60.0, 2.3, 2.6) == pytest.approx(np.zeros(4), abs=1e-4)
    inside, outside = loft((np.array([0.0, 0.0]), np.zeros(2), np.array([39.0, 41.0])), -5.0, 30.0, 40.0, -60.0, 2.3)
    assert inside == pytest.approx(-1.0, abs=1e-3)
    assert outside == pytest.approx(1.0, abs=1e-3)


def test_swelling_is_a_bell_of_its_height_and_spread():
    there = (np.array([1.0, 4.0]), np.array([2.0, 2.0]), np.array([3.0, 3.0]))
    assert swelling(there, (1.0, 2.0, 3.0), (3.0, 5.0, 7.0), 2.5) == pytest.approx([2.5, 2.5 / np.e])
