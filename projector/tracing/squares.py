"""Points that form the rows of a picture or a map, taken in squares: what holds for a whole square is found once.

Points that form no rows count as one long row, in squares one point high.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from projector.jit import formula, kernel
from projector.tracing.light_path import direction_in_light_frame, in_light_frame

SQUARE = 8
"""Points along a square's side."""
BOUNDS = 7
"""Columns of a square's bounds."""


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
    """Diameter of a patch of surface as the gate sees it, over the tube length; height: cosine on the surface times distance."""
    if area <= 0.0:
        return 0.0
    return 2.0 * math.sqrt(area * max(height, 0.0) / (z * z * z) / math.pi)


@kernel
def bound_squares(light, points, width, height, start, stop, bounds):
    """Fill the bounds of squares start … stop; they depend on where the projector stands, not on its lens."""
    for square in range(start, stop):
        first_row, last_row, first_column, last_column = part_of_square(square, 0, width, height)
        low_x = low_y = low_d = math.inf
        high_x = high_y = high_d = -math.inf
        footprint = 0.0
        for row in range(first_row, last_row):
            for i in range(row * width + first_column, row * width + last_column):
                if points.materials[i] < 0:
                    continue
                x, y, z = in_light_frame(light, points.positions[i, 0], points.positions[i, 1], points.positions[i, 2])
                if not z > 1e-6:
                    continue
                normal = direction_in_light_frame(light, points.normals[i, 0], points.normals[i, 1], points.normals[i, 2])
                low_x, high_x = min(low_x, x / z), max(high_x, x / z)
                low_y, high_y = min(low_y, y / z), max(high_y, y / z)
                low_d, high_d = min(low_d, 1.0 / z), max(high_d, 1.0 / z)
                footprint = max(footprint, footprint_per_tube(points.areas[i], -(normal[0] * x + normal[1] * y + normal[2] * z), z))
        bounds[square, 0], bounds[square, 1] = low_x, high_x
        bounds[square, 2], bounds[square, 3] = low_y, high_y
        bounds[square, 4], bounds[square, 5] = low_d, high_d
        bounds[square, 6] = footprint
