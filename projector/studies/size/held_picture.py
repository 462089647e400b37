"""Where an upright picture may hang on a wall so that light and wall hold all that is open in it, and how large.

Places are (x, y) m on the wall, right and up. A picture is its middle c and half width a, its open part a convex hull
of corners p in half widths from the middle. It lies within a convex outline if for each side n·x + d ≤ 0 of that
n·c + d + a·max(n·p) is not above zero: all that is asked here is linear in c and a.
"""

from __future__ import annotations

import itertools
from typing import NamedTuple

import numpy as np

# How far beyond a side (m) still counts as within it: what linear programmes leave.
_SLACK_M = 1e-7


class Held(NamedTuple):
    """What holds a picture: sides (k, 3) of a convex part of the wall, normals outwards and offsets, and how far across
    each of them the picture's open part reaches (k,) for a half width of 1.
    """

    sides: np.ndarray
    reach: np.ndarray

    def beyond(self, places: np.ndarray, half_width: float) -> np.ndarray:
        """How far beyond its worst side (m; below zero: within) a picture with its middle at each place (n, 2) is."""
        across = places @ self.sides[:, :2].T + self.sides[:, 2] + half_width * self.reach
        return across.max(axis=1)


def held_by(lit: np.ndarray, wall: np.ndarray, open_part: np.ndarray) -> Held:
    """What holds an open part (p, 2), of the outlines (n, 2) of the light, its points in order round it, and the
    wall.
    """
    from scipy.spatial import ConvexHull

    sides = np.concatenate([_straight_sides(lit), ConvexHull(wall).equations])
    return Held(sides, (sides[:, :2] @ open_part.T).max(axis=1))


def largest(held: Held) -> float | None:
    """Half width (m) of the largest picture that is held: a linear programme. None if none is."""
    from scipy.optimize import linprog

    found = linprog(
        [0.0, 0.0, -1.0],
        np.column_stack([held.sides[:, :2], held.reach]),
        -held.sides[:, 2],
        bounds=[(None, None), (None, None), (0.0, None)],
    )
    return float(found.x[2]) if found.success and found.x[2] > 0.0 else None


def nearest(held: Held, half_width: float, wanted: np.ndarray) -> np.ndarray | None:
    """The middle (2,) nearest to a wanted one at which a picture of a half width (m) is held; None if it is nowhere.

    The nearest point of a convex polygon is the wanted one itself, its foot on a side, or a corner of two sides.
    """
    normals, room = held.sides[:, :2], -held.sides[:, 2] - half_width * held.reach
    feet = wanted + (room - normals @ wanted)[:, None] * normals
    first, second = np.array(list(itertools.combinations(range(len(room)), 2))).T
    turn = normals[first, 0] * normals[second, 1] - normals[first, 1] * normals[second, 0]
    first, second, turn = (values[np.abs(turn) > 1e-9] for values in (first, second, turn))
    corners = np.column_stack(
        [
            (room[first] * normals[second, 1] - room[second] * normals[first, 1]) / turn,
            (normals[first, 0] * room[second] - normals[second, 0] * room[first]) / turn,
        ]
    )
    places = np.concatenate([wanted[None], feet, corners])
    places = places[held.beyond(places, half_width) <= _SLACK_M]
    return places[np.linalg.norm(places - wanted, axis=1).argmin()] if len(places) else None


def least_beyond(held: Held, half_width: float) -> np.ndarray:
    """Middle (2,) of the picture of a half width (m) that reaches least beyond what holds it, on its worst side."""
    from scipy.optimize import linprog

    found = linprog(
        [0.0, 0.0, 1.0],
        np.column_stack([held.sides[:, :2], -np.ones(len(held.sides))]),
        -held.sides[:, 2] - half_width * held.reach,
        bounds=[(None, None)] * 3,
    )
    return found.x[:2]


def _straight_sides(outline: np.ndarray) -> np.ndarray:
    """Lines (k, 3), normal outwards and offset, round a convex part of an outline (n, 2) whose points go round it in
    order.

    The sides of its hull; where pincushion bends the outline inwards between two of the hull's corners, the line moves
    in to the innermost point there.
    """
    from scipy.spatial import ConvexHull

    hull = ConvexHull(outline)
    count = len(outline)
    lines = hull.equations.copy()
    for line, (first, last) in zip(lines, hull.simplices, strict=True):
        first, last = (first, last) if (last - first) % count <= (first - last) % count else (last, first)
        between = outline[np.arange(first, first + (last - first) % count + 1) % count]
        line[2] = -float((between @ line[:2]).min())
    return lines
