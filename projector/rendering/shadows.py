"""Who sees how much of which pupil: visibility found once for a projector's place and kept while it stands still."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from projector.rendering.tiles import Progress, Workers
from projector.tracing.arrays import SceneArrays
from projector.tracing.first_hits import NOTHING
from projector.tracing.light_path import Light
from projector.tracing.points import DARK, Points, Visibility
from projector.tracing.projection import mark_unlit
from projector.tracing.shared_sight import look_closely_in_squares, look_first_in_squares
from projector.tracing.squares import Squares, in_one_row, n_squares, squares_of
from projector.tracing.visibility import BEAM_MARGIN, UNDECIDED, aims_at, beam_bounds, look_closely, look_first, number_penumbrae, settle_rows

# Shadow rays differ a hundredfold in cost between points: small pieces keep both cores busy.
_CLOSE_PIECE = 1024
_SQUARES_PIECE, _CLOSE_SQUARES_PIECE = 256, 16


@dataclass(frozen=True)
class FirstLook:
    """What points see of the widest pupil (m), for the beam that it was made for.

    widest: state (n,) and rays of the points in penumbra; they alone are traced again when the pupil gets smaller
    rows (p,): those points; squares: how the points lie in rows, None if they form none
    """

    widest: Visibility
    rows: np.ndarray
    radius: float
    beam: tuple[float, float]
    squares: Squares | None

    def serves(self, light: Light) -> bool:
        """Whether it still holds for a light at the same place with another lens setting."""
        slope, reach = beam_bounds(light)
        within = (1.0 + BEAM_MARGIN) * (1.0 + 1e-9)
        return light.radius <= self.radius * (1 + 1e-9) and slope <= self.beam[0] * within and reach <= self.beam[1] * within


def first_look(
    arrays: SceneArrays, light: Light, radius: float, points: Points, n_side: int, workers: Workers, progress: Progress | None = None, image=None, squares: Squares | None = None
) -> FirstLook:
    """Sort points into dark, lit, outside the beam and penumbra, for a pupil of up to `radius` (m) in n_side² cells.

    With the gate's picture, points that the pattern leaves dark are left out too: for one map under one setting.
    squares: where the points form rows, neighbours share what they agree on (see `shared_sight`).
    """
    state = np.where(points.materials == NOTHING, np.int32(DARK), np.int32(UNDECIDED))
    if image is not None:
        lie = squares if squares is not None else in_one_row(state.size)
        workers.run_pieces(n_squares(lie.width, lie.height), lambda start, stop: mark_unlit(light, image, points, lie, start, stop, state), piece=_SQUARES_PIECE)
    widest = light._replace(radius=max(radius, light.radius))
    beam, aims = beam_bounds(widest), aims_at(widest, n_side)

    def work(start, stop):
        look_first(arrays.bvh, widest, aims, points, beam, start, stop, state)

    def work_in_squares(start, stop):
        look_first_in_squares(arrays.bvh, widest, aims, points, beam, squares.width, squares.height, start, stop, state)

    if squares is not None:
        workers.run_pieces(n_squares(squares.width, squares.height), work_in_squares, "shadows", progress, piece=_SQUARES_PIECE)
    else:
        workers.run_pieces(state.size, work, "shadows", progress)
    seen = _traced(arrays, widest, points, state, number_penumbrae(state), squares, n_side, workers, progress)
    # What sees all of the widest pupil, or nothing of it, need not be asked again of a smaller one.
    rows = np.flatnonzero(state >= 0)
    seen = seen[state[rows]]
    state[rows] = np.arange(rows.size, dtype=np.int32)
    return FirstLook(Visibility(state, seen, n_side), rows, widest.radius, beam, squares)


def _traced(arrays, light, points, state, rows, squares, n_side, workers, progress) -> np.ndarray:
    """Rays (p, n_side²) of the points in penumbra (rows; state[rows] numbers them); those that see all or nothing are settled in `state`."""
    seen = np.empty((rows.size, n_side * n_side), np.uint8)
    aims = aims_at(light, n_side)

    def work(start, stop):
        look_closely(arrays.bvh, light, aims, points, rows, n_side, start, stop, seen)

    if squares is not None:
        chosen = squares_of(rows, squares.width)

        def work_in_squares(start, stop):
            look_closely_in_squares(arrays.bvh, light, aims, points, state, squares.width, squares.height, n_side, chosen, start, stop, seen)

        workers.run_pieces(chosen.size, work_in_squares, "soft shadows", progress, piece=_CLOSE_SQUARES_PIECE)
    else:
        workers.run_pieces(rows.size, work, "soft shadows", progress, piece=_CLOSE_PIECE)
    workers.run_pieces(rows.size, lambda start, stop: settle_rows(rows, seen, start, stop, state))
    return seen


def visibility_from(look: FirstLook, arrays: SceneArrays, light: Light, points: Points, workers: Workers, progress: Progress | None = None) -> Visibility:
    """What points see of the pupil as it is now: under a smaller one than at the first look, the penumbrae are traced again."""
    if light.radius >= look.radius * (1.0 - 1e-9):
        return look.widest
    state, n_side = look.widest.state.copy(), look.widest.n_side
    return Visibility(state, _traced(arrays, light, points, state, look.rows, look.squares, n_side, workers, progress), n_side)


def find_visibility(
    arrays: SceneArrays, light: Light, points: Points, n_side: int, workers: Workers, progress: Progress | None = None, image=None, squares: Squares | None = None
) -> Visibility:
    """What points see of a projector's pupil, in one go; with the gate's picture only where the pattern throws light."""
    return first_look(arrays, light, light.radius, points, n_side, workers, progress, image, squares).widest
