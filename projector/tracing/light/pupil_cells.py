"""A pupil cut into cells, for points that see only a part of it or see it through more than one soft edge."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from projector.jit import formula, kernel
from projector.tracing.gate.patch_lanes import LANES
from projector.tracing.sight.outline import outline_point
from projector.tracing.sight.points import RAYS_PER_CELL, n_arrived

# Cells along each side of the pupil's unit square where a point sees all of it: where only the geometry changes across
# it, and where the mean of a product is wanted.
N_SIDE_LIT = 4
N_SIDE_PRODUCT = 10


class PupilParts(NamedTuple):
    """A light's wavelengths in whole vectors, and its pupil in cells: what look-ups of all points share.

    inverse_sharp (m,) float32 1/m and lateral (m,) float32: those of the light, the last one repeated up to a multiple
    of LANES lit (N_SIDE_LIT², 2), product (N_SIDE_PRODUCT², 2), seen (n_side², 2): centres of cells in the pupil, m
    fine_product, fine_seen: those of their quarters, cell after cell
    """

    inverse_sharp: np.ndarray
    lateral: np.ndarray
    lit: np.ndarray
    product: np.ndarray
    seen: np.ndarray
    fine_product: np.ndarray
    fine_seen: np.ndarray


def pupil_parts(light, n_side: int) -> PupilParts:
    """The parts of a light's pupil; n_side: cells along each side where a shadow falls across it."""
    spare = (0, -light.inverse_sharp.size % LANES)
    cells = []
    for side, parts in ((N_SIDE_LIT, 1), (N_SIDE_PRODUCT, 1), (n_side, 1), (N_SIDE_PRODUCT, 2), (n_side, 2)):
        centres = np.empty((side * side * parts * parts, 2))
        _fill_centres(light.emitter.outline, light.emitter.radius, side, parts, centres)
        cells.append(centres)
    return PupilParts(
        *(np.pad(values, spare, mode="edge").astype(np.float32) for values in (light.inverse_sharp, light.lateral)),
        *cells,
    )


@kernel
def _fill_centres(pupil, radius, n_side, n_parts, centres):
    """Places (n_side² · n_parts², 2) in the pupil (m) of the centres of its cells or of their parts, those of a cell in
    the order of its shadow rays.
    """
    fine = n_side * n_parts
    for i in range(centres.shape[0]):
        cell, part = i // (n_parts * n_parts), i % (n_parts * n_parts)
        column = n_parts * (cell % n_side) + part % n_parts
        row = n_parts * (cell // n_side) + part // n_parts
        x, y = outline_point(pupil, (column + 0.5) / fine, (row + 0.5) / fine)
        centres[i, 0] = radius * x
        centres[i, 1] = radius * y


@formula
def share_arrived(visibility, state, cell, n_cells):
    """Share of the shadow rays of a cell that arrived; state: the point's row of them, or below 0 where it sees the
    whole pupil.

    n_cells: how many cells there are; of quarters of cells each has one of the rays to itself.
    """
    if state < 0:
        return 1.0
    if n_cells == RAYS_PER_CELL * visibility.n_side * visibility.n_side:
        return float(visibility.seen[state, cell // RAYS_PER_CELL] >> (cell % RAYS_PER_CELL) & 1)
    return n_arrived(visibility.seen[state, cell]) / RAYS_PER_CELL


@formula
def share_seen(visibility, state):
    """Share of all of a point's shadow rays that arrived."""
    total = 0
    n_cells = visibility.n_side * visibility.n_side
    for cell in range(n_cells):
        total += n_arrived(visibility.seen[state, cell])
    return total / (n_cells * RAYS_PER_CELL)
