"""All surfaces cut into small cells, each with two sides: what of the light that surfaces send back is looked up.

A cell holds what its places send back on the mean. A ray that meets a triangle finds its cell at once: triangles belong
to charts, small ones in the same few centimetres and facing the same way to a chart of one cell, large ones that lie in
a plane to a chart that is cut like squared paper. Nothing is looked up by distance, so light neither leaks through a
wall nor round the edge of a board.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from projector.jit import formula
from projector.tracing.rays.surfaces import Surfaces

# Of normals, per unit: how finely triangles of one chart are told apart by where they face. Small ones into 26
# directions, large ones into steps of about ten degrees.
_SMALL_FACING, _LARGE_FACING = 1.2, 6.0
_MOST_TRIES = 60


class Cells(NamedTuple):
    """Charts of all triangles. Side 0 of cell i is 2 · i, side 1, away from the normals, 2 · i + 1.

    charts  (m,) int32, of each triangle; facings (m, 3) float32, its unit facet on the side of its corners' normals
    origins, across, up (c, 3) float64: of each chart the point round which it is cut, m, and its axes
    lows    (c, 2) float64: where its squares begin, in steps; counts (c, 2) int32: how many there are along its axes
    steps   (c,) float64: side of a square near the origin, m
    firsts  (c,) int32: its first square; numbers (n_squares,) int32: the cell that a square belongs to
    radius  m: squares farther from the origin than this are larger, with the square of the distance
    """

    charts: np.ndarray
    facings: np.ndarray
    origins: np.ndarray
    across: np.ndarray
    up: np.ndarray
    lows: np.ndarray
    counts: np.ndarray
    steps: np.ndarray
    firsts: np.ndarray
    numbers: np.ndarray
    radius: float

    @property
    def n_sides(self) -> int:
        """Sides of all cells."""
        return 2 * (int(self.numbers.max(initial=-1)) + 1)


class Grain(NamedTuple):
    """How fine cells are: of each object its step (k,) m near a centre (3,), growing beyond a radius (m)."""

    steps: np.ndarray
    centre: np.ndarray
    radius: float


@formula
def warped(x, radius):
    """A place along an axis of a chart (m) as its squares count it: even within the radius; beyond it they grow with
    the square of the distance, so that the largest plane has an end.
    """
    if x > radius:
        return radius * (2.0 - radius / x)
    if x < -radius:
        return -radius * (2.0 + radius / x)
    return x


@formula
def square_of(cells, triangle, x, y, z, aside_across, aside_up):
    """The square that a place (m) on a triangle lies in, or the one so many squares aside in its chart: with numbers
    even between −½ and ½ each square is met in proportion to how near it is, and what is looked up has no steps.
    """
    chart = cells.charts[triangle]
    first = cells.firsts[chart]
    n_across = cells.counts[chart, 0]
    n_up = cells.counts[chart, 1]
    if n_across * n_up == 1:
        return first
    dx = x - cells.origins[chart, 0]
    dy = y - cells.origins[chart, 1]
    dz = z - cells.origins[chart, 2]
    a = dx * cells.across[chart, 0] + dy * cells.across[chart, 1] + dz * cells.across[chart, 2]
    b = dx * cells.up[chart, 0] + dy * cells.up[chart, 1] + dz * cells.up[chart, 2]
    column = int(warped(a, cells.radius) / cells.steps[chart] - cells.lows[chart, 0] + aside_across)
    row = int(warped(b, cells.radius) / cells.steps[chart] - cells.lows[chart, 1] + aside_up)
    return first + min(max(row, 0), n_up - 1) * n_across + min(max(column, 0), n_across - 1)


@formula
def side_of(cells, triangle, place, direction, aside_across, aside_up):
    """The side of a cell that a ray along a direction meets at a place (m) on a triangle; see `square_of`."""
    cell = cells.numbers[square_of(cells, triangle, place[0], place[1], place[2], aside_across, aside_up)]
    facing = (
        direction[0] * cells.facings[triangle, 0]
        + direction[1] * cells.facings[triangle, 1]
        + direction[2] * cells.facings[triangle, 2]
    )
    return 2 * cell + (1 if facing > 0.0 else 0)


class _Facets(NamedTuple):
    """Of all triangles: corners (m, 3, 3), unit facets (m, 3) on the side of the normals, areas, longest edges, middles
    and the step of cells there.
    """

    corners: np.ndarray
    facings: np.ndarray
    areas: np.ndarray
    longest: np.ndarray
    middles: np.ndarray
    steps: np.ndarray


def _facets_of(surfaces: Surfaces, grain: Grain) -> _Facets:
    corners = surfaces.vertices[surfaces.triangles]
    product = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    doubled = np.linalg.norm(product, axis=1)
    facings = product / np.maximum(doubled, 1e-300)[:, None]
    smooth = surfaces.normals[surfaces.triangles].sum(axis=1)
    facings[np.einsum("ij,ij->i", facings, smooth) < 0.0] *= -1.0
    longest = np.linalg.norm(corners - np.roll(corners, -1, axis=1), axis=2).max(axis=1, initial=0.0)
    middles = corners.mean(axis=1)
    steps = local_steps(middles, grain.steps[surfaces.owners], grain)
    return _Facets(corners, facings, 0.5 * doubled, longest, middles, steps)


def local_steps(places: np.ndarray, steps: np.ndarray, grain: Grain) -> np.ndarray:
    """Steps (n,) m of cells at places (n, 3), as they grow from what they are near the centre (n,)."""
    far = np.linalg.norm(places - grain.centre, axis=1) / grain.radius
    return steps * np.maximum(far, 1.0) ** 2


def make_cells(surfaces: Surfaces, grain: Grain, most: int) -> tuple[Cells, Grain]:
    """Cells of all surfaces, at most about so many squares: coarser than the grain where there would be more.

    Returns them with the grain that they have. Their numbers are those of their squares: see `numbered`.
    """
    for _ in range(_MOST_TRIES):
        cells = _cells_of(surfaces, grain)
        n_squares = cells.numbers.size
        if n_squares <= most:
            break
        grain = grain._replace(steps=grain.steps * max(1.05 * (n_squares / most) ** 0.5, 1.1))
    return cells, grain


def _cells_of(surfaces: Surfaces, grain: Grain) -> Cells:
    facets = _facets_of(surfaces, grain)
    is_small = facets.longest < facets.steps
    charts, first_rows = _charts_of(surfaces, facets, is_small)
    n_charts = len(first_rows)
    steps, normals = facets.steps[first_rows], _chart_normals(facets, charts, n_charts)
    flat = np.flatnonzero(~is_small)
    steps[charts[flat]] = grain.steps[surfaces.owners[flat]]
    across, up = _chart_axes(facets, charts, flat, normals)
    middles = facets.middles[first_rows]
    origins = grain.centre + normals * np.einsum("ij,ij->i", middles - grain.centre, normals)[:, None]
    lows, counts = np.zeros((n_charts, 2)), np.ones((n_charts, 2), np.int32)
    if flat.size:
        owners = np.repeat(charts[flat], 3)
        away = facets.corners[flat].reshape(-1, 3) - origins[owners]
        places = np.stack([np.einsum("ij,ij->i", away, axis[owners]) for axis in (across, up)], axis=1)
        places = np.vectorize(warped)(places, grain.radius) / steps[owners, None]
        low, high = np.full((n_charts, 2), np.inf), np.full((n_charts, 2), -np.inf)
        np.minimum.at(low, owners, places)
        np.maximum.at(high, owners, places)
        of_flat = np.unique(owners)
        counts[of_flat] = np.maximum(np.ceil(high[of_flat] - low[of_flat] - 1e-6), 1.0)
        # Half of what the last squares stand over is left before the first.
        lows[of_flat] = low[of_flat] - 0.5 * (counts[of_flat] - (high[of_flat] - low[of_flat]))
    sizes = counts.prod(axis=1, dtype=np.int64)
    firsts = np.concatenate([[0], np.cumsum(sizes)[:-1]]).astype(np.int32) if n_charts else np.zeros(0, np.int32)
    numbers = np.arange(sizes.sum(), dtype=np.int32)
    facings = np.ascontiguousarray(facets.facings.astype(np.float32))
    return Cells(charts, facings, origins, across, up, lows, counts, steps, firsts, numbers, float(grain.radius))


def _charts_of(surfaces: Surfaces, facets: _Facets, is_small: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The chart (m,) int32 of each triangle, and the first triangle of each chart."""
    level = np.ceil(np.log2(np.maximum(facets.steps, 1e-6))).astype(np.int64)
    places = np.floor(facets.middles / facets.steps[:, None]).astype(np.int64)
    small_facing = np.rint(facets.facings * _SMALL_FACING).astype(np.int64)
    large_facing = np.rint(facets.facings * _LARGE_FACING).astype(np.int64)
    towards = large_facing / np.maximum(np.linalg.norm(large_facing, axis=1, keepdims=True), 1.0)
    depth = np.floor(np.einsum("ij,ij->i", facets.middles, towards) / facets.steps + 0.5).astype(np.int64)
    columns = [is_small.astype(np.int64), surfaces.owners, surfaces.materials, np.where(is_small, level, 0)]
    columns += [np.where(is_small, small_facing[:, i], large_facing[:, i]) for i in range(3)]
    columns += [np.where(is_small, places[:, i], depth if i == 0 else 0) for i in range(3)]
    mixed = np.zeros(len(is_small), np.uint64)
    for column in columns:
        # The finalizer of a 64-bit hash (D. Stafford's variant 13 of MurmurHash3): rows that differ seldom meet, and
        # then share a cell.
        mixed = (mixed ^ column.astype(np.int64).view(np.uint64)) + np.uint64(0x9E3779B97F4A7C15)
        mixed = (mixed ^ (mixed >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
        mixed = (mixed ^ (mixed >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
        mixed ^= mixed >> np.uint64(31)
    _, first_rows, charts = np.unique(mixed, return_index=True, return_inverse=True)
    return charts.astype(np.int32).ravel(), first_rows


def _chart_normals(facets: _Facets, charts: np.ndarray, n_charts: int) -> np.ndarray:
    weighted = facets.facings * (facets.areas + 1e-30)[:, None]
    sums = np.stack([np.bincount(charts, weighted[:, axis], n_charts) for axis in range(3)], axis=1)
    return sums / np.maximum(np.linalg.norm(sums, axis=1, keepdims=True), 1e-300)


def _chart_axes(facets: _Facets, charts: np.ndarray, flat: np.ndarray, normals: np.ndarray):
    """Axes (c, 3) of charts in their planes, along an edge of one of their triangles: the middle one by length, which
    of half a rectangle is a side of it.
    """
    edges = np.roll(facets.corners[flat], -1, axis=1) - facets.corners[flat]
    along = edges[np.arange(flat.size), np.linalg.norm(edges, axis=2).argsort(axis=1)[:, 1]]
    across = np.zeros_like(normals)
    across[:, 0] = 1.0
    across[charts[flat]] = along
    across -= normals * np.einsum("ij,ij->i", across, normals)[:, None]
    across /= np.maximum(np.linalg.norm(across, axis=1, keepdims=True), 1e-300)
    return across, np.cross(normals, across)
