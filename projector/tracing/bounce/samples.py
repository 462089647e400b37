"""Places spread evenly over all surfaces, so many to a cell, on both sides of each."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from projector.jit import kernel
from projector.tracing.bounce.cells import Cells, Grain, local_steps, square_of
from projector.tracing.rays.first_hits import empty_points, store_surface_point
from projector.tracing.rays.smooth_surface import row_of, rows_of_corners
from projector.tracing.rays.surfaces import Surfaces
from projector.tracing.sight.points import Points

# Large triangles are cut until their longest edge is so many steps of a cell: places are then spread as cells are.
_LONGEST_PIECE = 2.0
_MOST_CUTS = 60
# R2, the even sequence of the plastic number in two dimensions: M. Roberts, "The unreasonable effectiveness of
# quasirandom sequences" (2018).
_R2 = (0.7548776662466927, 0.5698402909980532)


class SurfacePlaces(NamedTuple):
    """n places, n / 2 of them on the first side and the same ones again on the other.

    points    Points; areas (n,) float64: m² that each stands for
    sides     (n,) int32: the side of a cell that each lies on
    patterns  (n,) int32: a number that neighbours differ by, see `rays.trace_sides`
    """

    points: Points
    areas: np.ndarray
    sides: np.ndarray
    patterns: np.ndarray


class _Spread(NamedTuple):
    """Places on triangles (n,), at barycentric u and v, each for an area (m²)."""

    triangles: np.ndarray
    u: np.ndarray
    v: np.ndarray
    areas: np.ndarray


@kernel
def _find_squares(cells, surfaces, triangles, u, v, start, stop, squares):
    for i in range(start, stop):
        a, b, c = rows_of_corners(surfaces.vertices, surfaces.triangles, triangles[i])
        w = 1.0 - u[i] - v[i]
        x = w * a[0] + u[i] * b[0] + v[i] * c[0]
        y = w * a[1] + u[i] * b[1] + v[i] * c[1]
        z = w * a[2] + u[i] * b[2] + v[i] * c[2]
        squares[i] = square_of(cells, triangles[i], x, y, z, 0.0, 0.0)


@kernel
def _store_samples(bvh, surfaces, cells, triangles, u, v, areas, start, stop, points):
    n = triangles.shape[0]
    for i in range(start, stop):
        facing = row_of(cells.facings, triangles[i])
        away = (-facing[0], -facing[1], -facing[2])
        store_surface_point(bvh, surfaces, points, i, triangles[i], u[i], v[i], facing, areas[i])
        store_surface_point(bvh, surfaces, points, n + i, triangles[i], u[i], v[i], away, areas[i])


def spread_samples(
    surfaces: Surfaces, bvh, cells: Cells, grain: Grain, per_cell: int, run
) -> tuple[Cells, SurfacePlaces]:
    """The cells with those numbers that have places, and about `per_cell` places in each.

    run(n, work): calls work(start, stop) over 0 … n, in pieces.
    """
    spread = _with_all_charts(_spread_over(surfaces, grain, per_cell), surfaces, cells)
    n = spread.triangles.size
    squares = np.empty(n, np.int32)
    run(n, lambda start, stop: _find_squares(cells, surfaces, *spread[:3], start, stop, squares))
    points = empty_points(2 * n)
    run(n, lambda start, stop: _store_samples(bvh, surfaces, cells, *spread, start, stop, points))
    cells = cells._replace(numbers=_numbered(cells, squares))
    own = cells.numbers[squares]
    patterns = _places_in_groups(own)
    sides = np.concatenate([2 * own, 2 * own + 1]).astype(np.int32)
    return cells, SurfacePlaces(points, np.tile(spread.areas, 2), sides, np.tile(patterns, 2))


def _spread_over(surfaces: Surfaces, grain: Grain, per_cell: int) -> _Spread:
    """Places as even as cells are large: along all triangles and pieces of triangles one after the other, in equal
    steps of the share of a cell that they cover.
    """
    triangles, corners = _pieces(surfaces, grain)
    world = surfaces.vertices[surfaces.triangles][triangles]
    u, v = corners[:, :, 0], corners[:, :, 1]
    weights = np.stack([1.0 - u - v, u, v], axis=2)
    places = np.einsum("pij,pjx->pix", weights, world)
    areas = 0.5 * np.linalg.norm(np.cross(places[:, 1] - places[:, 0], places[:, 2] - places[:, 0]), axis=1)
    steps = local_steps(places.mean(axis=1), grain.steps[surfaces.owners[triangles]], grain)
    wanted = np.cumsum(per_cell * areas / steps**2)
    count = int(np.ceil(wanted[-1])) if wanted.size else 0
    index = np.arange(count)
    at = np.minimum(
        np.searchsorted(wanted, (index + 0.5) / max(count, 1) * (wanted[-1] if count else 0.0)), len(wanted)
    )
    one, other = (0.5 + _R2[0] * index) % 1.0, (0.5 + _R2[1] * index) % 1.0
    folded = one + other > 1.0
    one, other = np.where(folded, 1.0 - one, one), np.where(folded, 1.0 - other, other)
    a, b, c = (corners[at, i] for i in range(3))
    uv = a + one[:, None] * (b - a) + other[:, None] * (c - a)
    each = steps[at] ** 2 / per_cell * (wanted[-1] / count if count else 1.0)
    return _Spread(triangles[at].astype(np.int32), np.ascontiguousarray(uv[:, 0]), np.ascontiguousarray(uv[:, 1]), each)


def _pieces(surfaces: Surfaces, grain: Grain) -> tuple[np.ndarray, np.ndarray]:
    """Triangles cut in half across their longest edge until none is longer than a few cells: the triangle (p,) of each
    piece, and its corners (p, 3, 2) at barycentric u and v.
    """
    triangles = np.arange(len(surfaces.triangles))
    corners = np.tile(np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]), (len(triangles), 1, 1))
    world = surfaces.vertices[surfaces.triangles]
    done = []
    for _ in range(_MOST_CUTS):
        lengths = np.linalg.norm(world - np.roll(world, -1, axis=1), axis=2)
        steps = local_steps(world.mean(axis=1), grain.steps[surfaces.owners[triangles]], grain)
        is_long = lengths.max(axis=1, initial=0.0) > _LONGEST_PIECE * steps
        done.append((triangles[~is_long], corners[~is_long]))
        if not is_long.any():
            break
        triangles, corners, world = triangles[is_long], corners[is_long], world[is_long]
        longest, rows = lengths[is_long].argmax(axis=1), np.arange(len(triangles))
        first, second, third = longest, (longest + 1) % 3, (longest + 2) % 3
        halves = []
        for values in (corners, world):
            middle = 0.5 * (values[rows, first] + values[rows, second])
            halves.append(
                np.concatenate(
                    [
                        np.stack([values[rows, first], middle, values[rows, third]], axis=1),
                        np.stack([middle, values[rows, second], values[rows, third]], axis=1),
                    ]
                )
            )
        corners, world = halves
        triangles = np.tile(triangles, 2)
    else:
        done.append((triangles, corners))
    triangles, corners = (np.concatenate(parts) for parts in zip(*done, strict=True))
    # Pieces of one triangle stay together, in the order in which it was cut.
    order = np.argsort(triangles, kind="stable")
    return triangles[order], corners[order]


def _with_all_charts(spread: _Spread, surfaces: Surfaces, cells: Cells) -> _Spread:
    """The same with a place on one triangle of each chart that has none."""
    charts, rows = np.unique(cells.charts, return_index=True)
    bare = rows[~np.isin(charts, cells.charts[spread.triangles])].astype(np.int32)
    a, b, c = np.moveaxis(surfaces.vertices[surfaces.triangles[bare]], 1, 0)
    areas = 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1)
    middle = np.full(bare.size, 1.0 / 3.0)
    return _Spread(*map(np.concatenate, zip(spread, (bare, middle, middle, areas), strict=True)))


def _numbered(cells: Cells, squares: np.ndarray) -> np.ndarray:
    """The cell (n_squares,) int32 of each square: those with places in the order of their squares; one without takes
    the cell of the nearest before or after it in its chart.
    """
    count = cells.numbers.size
    has_places = np.zeros(count, bool)
    has_places[squares] = True
    index = np.arange(count)
    charts = np.repeat(np.arange(len(cells.firsts)), np.diff(np.append(cells.firsts, count)))
    before = np.maximum.accumulate(np.where(has_places, index, -1))
    after = np.minimum.accumulate(np.where(has_places, index, count)[::-1])[::-1]
    gap_before = np.where((before >= 0) & (charts[before] == charts), index - before, count)
    gap_after = np.where(charts[np.minimum(after, count - 1)] == charts, after - index, count)
    nearest = np.where(gap_before <= gap_after, before, np.minimum(after, count - 1))
    return (np.cumsum(has_places) - 1).astype(np.int32)[nearest]


def _places_in_groups(groups: np.ndarray) -> np.ndarray:
    """The place (n,) int32 of each item among those of its group (n,), counted from a number that is the group's own:
    so that the first places are not all alike.
    """
    order = np.argsort(groups, kind="stable")
    counts = np.bincount(groups)
    starts = np.cumsum(counts) - counts
    places = np.empty(len(groups), np.int32)
    places[order] = np.arange(len(groups)) - starts[groups[order]]
    # Knuth's multiplicative hash: The Art of Computer Programming 3, 6.4.
    return places + (groups.astype(np.uint32) * np.uint32(2654435761) >> np.uint32(24)).astype(np.int32)
