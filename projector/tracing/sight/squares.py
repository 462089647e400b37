"""Points that form the rows of a picture or a map, taken in squares: what holds for a whole square is found once.

Points that form no rows count as one long row, in squares one point high.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from projector.jit import formula, kernel
from projector.tracing.sight.emitter import direction_in_light_frame, in_light_frame

SQUARE = 8
"""Points along a square's side."""
POINTS_IN_SQUARE = SQUARE * SQUARE
BOUNDS = 7
"""Columns of a square's bounds."""
LARGEST_FOOTPRINT = 0.1
"""A patch of surface counts as no wider than this in the gate, over the tube length:
a picture so coarse shows no pattern.
"""


class Squares(NamedTuple):
    """How points lie in rows, and what their squares span as one projector sees them.

    width, height: points across and down; bounds (n_squares, BOUNDS), or (0, BOUNDS) where none are known: smallest and
    largest X/Z, Y/Z and 1/Z (1/m) and the largest footprint over the tube length, in the projector's frame. A square
    that the projector cannot reach has 1/Z from +inf to −inf.
    """

    width: int
    height: int
    bounds: np.ndarray


def in_one_row(count: int) -> Squares:
    """Points that lie anyhow."""
    return Squares(count, 1, np.zeros((0, BOUNDS)))


def n_squares(width: int, height: int) -> int:
    """How many squares cover so many rows."""
    return -(-width // SQUARE) * -(-height // SQUARE)


def squares_of(rows: np.ndarray, width: int) -> np.ndarray:
    """Numbers of the squares that hold these points (k,), each once, in order."""
    across = -(-width // SQUARE)
    return np.unique(rows // width // SQUARE * across + rows % width // SQUARE)


@formula
def part_of_square(square, part, width, height):
    """First and last row and column (last not included) of a square (part 0) or of one of its quarters (1 … 4)."""
    across = (width + SQUARE - 1) // SQUARE
    row = SQUARE * (square // across)
    column = SQUARE * (square % across)
    side = SQUARE
    if part > 0:
        side = SQUARE // 2
        row += side * ((part - 1) // 2)
        column += side * ((part - 1) % 2)
    return row, min(row + side, height), column, min(column + side, width)


@formula
def footprint_per_tube(area, height, z):
    """Diameter of a patch of surface as the gate sees it, over the tube length; height: cosine on the surface times
    distance.
    """
    if area <= 0.0:
        return 0.0
    inverse = 1.0 / z
    return min(math.sqrt(4.0 / math.pi * area * max(height, 0.0) * inverse * inverse * inverse), LARGEST_FOOTPRINT)


@formula
def _bounds_of(emitter, points, width, part, row_step, column_step):
    """(bounds of a square over every so many of its rows and columns, whether all those points lie before the lens)."""
    first_row, last_row, first_column, last_column = part
    low_x = low_y = low_d = math.inf
    high_x = high_y = high_d = -math.inf
    footprint, all_before = 0.0, True
    for row in range(first_row, last_row, row_step):
        for i in range(row * width + first_column, row * width + last_column, column_step):
            x, y, z = in_light_frame(emitter, points.positions[i, 0], points.positions[i, 1], points.positions[i, 2])
            if points.owners[i] < 0 or not z > 1e-6:
                all_before = False
                continue
            inverse = 1.0 / z
            low_x, high_x = min(low_x, x * inverse), max(high_x, x * inverse)
            low_y, high_y = min(low_y, y * inverse), max(high_y, y * inverse)
            low_d, high_d = min(low_d, inverse), max(high_d, inverse)
            if points.areas[i] > 0.0:
                normal = direction_in_light_frame(
                    emitter, points.normals[i, 0], points.normals[i, 1], points.normals[i, 2]
                )
                footprint = max(
                    footprint, footprint_per_tube(points.areas[i], -(normal[0] * x + normal[1] * y + normal[2] * z), z)
                )
    return (low_x, high_x, low_y, high_y, low_d, high_d, footprint), all_before


@kernel
def bound_squares(emitter, points, width, height, is_plane, start, stop, bounds):
    """Fill the bounds of squares start … stop; they depend on where the projector stands, not on its lens.

    is_plane: the points are an even grid on one plane and stand for no area; X/Z, Y/Z and 1/Z then are largest and
    smallest at corners.
    """
    for square in range(start, stop):
        part = part_of_square(square, 0, width, height)
        row_step, column_step = max(part[1] - part[0] - 1, 1), max(part[3] - part[2] - 1, 1)
        found, all_before = _bounds_of(
            emitter, points, width, part, row_step if is_plane else 1, column_step if is_plane else 1
        )
        if is_plane and not all_before:
            found, all_before = _bounds_of(emitter, points, width, part, 1, 1)
        for column in range(BOUNDS):
            bounds[square, column] = found[column]
