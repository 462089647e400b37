"""Points of the scene that want light, and what each of them sees of a pupil: flat arrays for kernels."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from projector.jit import formula

# What a point sees of a projector's pupil. Numbers from 0 on count the points in penumbra: rows of `seen`.
DARK, LIT, UNKNOWN = -1, -2, -3
RAYS_PER_CELL = 4
# What receives the light at a point: a surface or a flat meter (cosθ of its normal), a meter's dome ((1 + cosθ)/2 of
# its axis, the projected area of a hemisphere), or a point in the air (from everywhere alike).
SURFACE, DOME, IN_AIR = 0, 1, 2
ALL_RAYS = (1 << RAYS_PER_CELL) - 1


class Points(NamedTuple):
    """n points that want light.

    positions (n, 3) float32 m; normals (n, 3) float32, the smooth normal on the side that is looked at; a meter's axis
    facets    (n, 3) float32, the triangle's own normal on the same side
    origins   (n, 3) float32 m, where shadow rays start: over the smooth surface (see `smooth_surface`)
    areas     (n,) float32 m², the patch of surface that the point stands for (0: the point alone)
    materials (n,) int32, row of the weights
    owners    (n,) int32, which object they lie on: outlines run between owners, not between materials
    receiver  SURFACE, DOME or IN_AIR, of all of them
    """

    positions: np.ndarray
    normals: np.ndarray
    facets: np.ndarray
    origins: np.ndarray
    areas: np.ndarray
    materials: np.ndarray
    owners: np.ndarray
    receiver: int = SURFACE


class Visibility(NamedTuple):
    """What n points see of a pupil.

    state  (n,) int32: DARK, LIT, UNKNOWN or a row of `seen`
    seen   (p, n_side²) uint8: which of the RAYS_PER_CELL shadow rays to each cell of the pupil arrived, a bit for each.
           The cells form a square of n_side × n_side over the unit square of `outline_point`, row after row
    """

    state: np.ndarray
    seen: np.ndarray
    n_side: int


@formula
def n_arrived(rays):
    """How many of a cell's RAYS_PER_CELL rays arrived."""
    return (rays & 1) + (rays >> 1 & 1) + (rays >> 2 & 1) + (rays >> 3 & 1)


def n_points(points: Points) -> int:
    """How many points there are."""
    return points.positions.shape[0]


def joined(parts: list[Points]) -> Points:
    """Several lists of points of one receiver as one."""
    if len(parts) == 1:
        return parts[0]
    columns = zip(*(part[:-1] for part in parts), strict=True)
    return Points(*(np.concatenate(column) for column in columns), receiver=parts[0].receiver)


def chosen(points: Points, rows: np.ndarray) -> Points:
    """Some of the points: by number, or by a mask (n,)."""
    return Points(*(column[rows] for column in points[:-1]), receiver=points.receiver)


def all_lit(count: int, n_side: int = 4) -> Visibility:
    """Points that nothing can shadow."""
    return Visibility(np.full(count, LIT, np.int32), np.zeros((0, n_side * n_side), np.uint8), n_side)
