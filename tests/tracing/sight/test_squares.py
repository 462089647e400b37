"""Squares of a picture: their bounds hold every point, and the short way over corners finds the
same as the long one.
"""

from __future__ import annotations

import numpy as np
import pytest

from projector.optics.dispersion import LINE_D_NM
from projector.stage.optics import light_arrays
from projector.tracing.sight.points import Points
from projector.tracing.sight.squares import BOUNDS, SQUARE, bound_squares, n_squares, part_of_square, squares_of

WIDTH, HEIGHT = 37, 21


def plane(tilt, offset=(0.0, 1.5, 0.0), areas=0.0):
    """An even grid of points on a plane turned about x by so much."""
    across, up = np.meshgrid(np.linspace(-0.8, 0.8, WIDTH), np.linspace(0.5, -0.5, HEIGHT))
    positions = np.stack([across, up * np.cos(tilt), up * np.sin(tilt)], axis=2).reshape(-1, 3) + offset
    normals = np.tile([0.0, -np.sin(tilt), np.cos(tilt)], (len(positions), 1)).astype(np.float32)
    return Points(
        positions.astype(np.float32),
        normals,
        normals,
        positions.astype(np.float32),
        np.full(len(positions), areas, np.float32),
        np.zeros(len(positions), np.int32),
        np.zeros(len(positions), np.int32),
    )


def bounded(light, points, is_plane):
    bounds = np.empty((n_squares(WIDTH, HEIGHT), BOUNDS))
    bound_squares(light.emitter, points, WIDTH, HEIGHT, is_plane, 0, len(bounds), bounds)
    return bounds


def test_every_point_is_in_exactly_one_square_and_in_one_quarter_of_it():
    seen = np.zeros((2, HEIGHT, WIDTH), int)
    for square in range(n_squares(WIDTH, HEIGHT)):
        for part in range(5):
            first_row, last_row, first_column, last_column = part_of_square(square, part, WIDTH, HEIGHT)
            seen[min(part, 1), first_row:last_row, first_column:last_column] += 1
    assert (seen == 1).all()
    assert squares_of(np.array([0, 1, SQUARE, SQUARE * WIDTH]), WIDTH).tolist() == [0, 1, 5]


@pytest.mark.parametrize("tilt", [0.0, 0.7, -1.2])
def test_bounds_hold_every_point(studio, tilt):
    light = light_arrays(studio.scene(), studio.scene().projector[0], [LINE_D_NM])
    points = plane(tilt, areas=1e-6)
    bounds = bounded(light, points, False)
    local = points.positions.astype(float) - light.emitter.position
    x, y, z = (
        local @ np.array(light.emitter.right),
        local @ np.array(light.emitter.down),
        local @ np.array(light.emitter.forward),
    )
    for square, found in enumerate(bounds):
        rows = (
            np.flatnonzero([square in squares_of(np.array([i]), WIDTH) for i in range(WIDTH * HEIGHT)])
            if square < 2
            else None
        )
        if rows is not None:
            assert found[:6] == pytest.approx(
                [f(v[rows]) for v in (x / z, y / z, 1 / z) for f in (np.min, np.max)], rel=1e-6, abs=1e-9
            )
    assert (bounds[:, 6] > 0).all()


@pytest.mark.parametrize("tilt", [0.0, 0.7, -1.2])
def test_on_a_plane_the_corners_tell_the_bounds(studio, tilt):
    light = light_arrays(studio.scene(), studio.scene().projector[0], [LINE_D_NM])
    points = plane(tilt)
    assert bounded(light, points, True) == pytest.approx(bounded(light, points, False), rel=1e-6, abs=1e-7)


def test_a_plane_that_runs_behind_the_lens_is_bounded_by_what_lies_before_it(studio):
    light = light_arrays(studio.scene(), studio.scene().projector[0], [LINE_D_NM])
    points = plane(np.pi / 2, offset=(0.0, 1.3, 2.0))
    assert np.array_equal(bounded(light, points, True), bounded(light, points, False))
    bounds = bounded(light, points, False)
    assert np.isinf(bounds[:, 4]).any() and np.isfinite(bounds[:, 4]).any()
