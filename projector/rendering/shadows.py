"""Who sees how much of which pupil: visibility found once for a projector's place and kept while it stands still."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from projector.rendering.workers import Progress, Workers
from projector.stage.surfaces import SceneArrays
from projector.tracing.gate.lens_law import Projection, beam_bounds, with_pupil_radius
from projector.tracing.light.patches import mark_unlit
from projector.tracing.rays.first_hits import NOTHING
from projector.tracing.sight.emitter import Emitter, resized
from projector.tracing.sight.outline import BITMAP, RING
from projector.tracing.sight.points import DARK, Points, Visibility
from projector.tracing.sight.sharing import look_closely_in_squares, look_first_in_squares
from projector.tracing.sight.squares import Squares, in_one_row, n_squares, squares_of
from projector.tracing.sight.visibility import (
    UNDECIDED,
    Onlookers,
    aims_at,
    look_closely,
    look_first,
    number_penumbrae,
    settle_rows,
)

# Shadow rays differ a hundredfold in cost between points: small pieces keep both cores busy.
_CLOSE_PIECE = 1024
_SQUARES_PIECE, _CLOSE_SQUARES_PIECE = 256, 16
# Half stops, each a little wider than the number that lenses are marked with there: f/13 is really f/13.45, f/2.8
# f/2.83.
_WIDEST_RUNG, _F_NUMBER_STEP = 0.965, 2.0**0.25
_SLOPE_STEP = 1.25


class Sweep(NamedTuple):
    """How large a pupil and how wide a beam a first look is made for: radius (m), slope and reach (m) of the beam.

    Each is the light's own, rounded up to a rung of a fixed ladder: near settings of a lens share a first look, and
    which one they share follows from the scene alone, not from what was looked at before.
    """

    radius: float
    slope: float
    reach: float


def sweep_of(light: Projection, focal_length: float | None) -> Sweep:
    """The first look that serves a light whose lens has a focal length (m); None: without a lens, its own."""
    radius = light.emitter.radius
    if focal_length is not None and light.emitter.outline.kind not in (RING, BITMAP):
        # Of these a smaller one does not lie within a larger: what sees all of that, or nothing, tells nothing of this.
        f_number = focal_length / (2.0 * radius)
        radius = focal_length / (
            2.0 * _WIDEST_RUNG * _F_NUMBER_STEP ** _rungs(f_number / _WIDEST_RUNG, _F_NUMBER_STEP, math.floor)
        )
    slope, reach = beam_bounds(with_pupil_radius(light, radius))
    return Sweep(radius, _SLOPE_STEP ** _rungs(slope, _SLOPE_STEP, math.ceil), reach)


def _rungs(ratio: float, step: float, whole) -> int:
    """How many steps of a ladder a ratio is, rounded by math.floor or math.ceil; what stands on a rung stays there."""
    steps = math.log(ratio) / math.log(step)
    return round(steps) if abs(steps - round(steps)) < 1e-6 else whole(steps)


@dataclass(frozen=True)
class FirstLook:
    """What points see of every pupil within a Sweep, as far as a cone or a few rays tell.

    state (n,) int32: DARK, LIT, UNKNOWN, or, of a point that may be in penumbra, its row; rows (p,): those points;
    squares: how the points lie in rows, None if they form none
    """

    state: np.ndarray
    rows: np.ndarray
    n_side: int
    squares: Squares | None


def _undecided(points: Points) -> np.ndarray:
    """States (n,) int32 of points that nobody has looked at."""
    return np.where(points.materials == NOTHING, np.int32(DARK), np.int32(UNDECIDED))


def lit_by_pattern(light: Projection, image, points: Points, squares: Squares | None, workers: Workers) -> np.ndarray:
    """States (n,) int32 for a first look: points that the pattern leaves dark under this one setting are left out."""
    state = _undecided(points)
    lie = squares if squares is not None else in_one_row(state.size)
    workers.run_pieces(
        n_squares(lie.width, lie.height),
        lambda start, stop: mark_unlit(light, image, points, lie, start, stop, state),
        piece=_SQUARES_PIECE,
    )
    return state


def first_look(
    arrays: SceneArrays,
    emitter: Emitter,
    sweep: Sweep,
    points: Points,
    n_side: int,
    workers: Workers,
    progress: Progress | None = None,
    state: np.ndarray | None = None,
    squares: Squares | None = None,
) -> FirstLook:
    """Sort points into dark, lit, outside the beam and perhaps in penumbra, for an emitter in n_side² cells.

    state (n,) int32: what is known beforehand, see `lit_by_pattern`; filled here.
    squares: where the points form rows, neighbours share what they agree on (see `tracing.sight.sharing`).
    """
    state = _undecided(points) if state is None else state
    widest = resized(emitter, sweep.radius)
    beam, aims = (sweep.slope, sweep.reach), aims_at(widest, n_side)

    def work(start, stop):
        look_first(arrays.bvh, widest, aims, points, beam, start, stop, state)

    def work_in_squares(start, stop):
        look_first_in_squares(onlookers, beam, start, stop, state)

    if squares is not None:
        onlookers = Onlookers(arrays.bvh, widest, aims, points, squares.width, squares.height)
        workers.run_pieces(
            n_squares(squares.width, squares.height), work_in_squares, "shadows", progress, piece=_SQUARES_PIECE
        )
    else:
        workers.run_pieces(state.size, work, "shadows", progress)
    return FirstLook(state, number_penumbrae(state), n_side, squares)


def _traced(arrays, emitter, points, state, rows, squares, n_side, workers, progress) -> np.ndarray:
    """Rays (p, n_side²) of the points in penumbra (rows; state[rows] numbers them); those that see all or nothing are
    settled in `state`.
    """
    seen = np.empty((rows.size, n_side * n_side), np.uint8)
    aims = aims_at(emitter, n_side)

    def work(start, stop):
        look_closely(arrays.bvh, emitter, aims, points, rows, n_side, start, stop, seen)

    if squares is not None:
        chosen = squares_of(rows, squares.width)
        onlookers = Onlookers(arrays.bvh, emitter, aims, points, squares.width, squares.height)

        def work_in_squares(start, stop):
            look_closely_in_squares(onlookers, n_side, chosen, start, stop, state, seen)

        workers.run_pieces(chosen.size, work_in_squares, "soft shadows", progress, piece=_CLOSE_SQUARES_PIECE)
    else:
        workers.run_pieces(rows.size, work, "soft shadows", progress, piece=_CLOSE_PIECE)
    workers.run_pieces(rows.size, lambda start, stop: settle_rows(rows, seen, start, stop, state))
    return seen


def visibility_from(
    look: FirstLook,
    arrays: SceneArrays,
    emitter: Emitter,
    points: Points,
    workers: Workers,
    progress: Progress | None = None,
) -> Visibility:
    """What points see of the emitter as it is now: those that may be in penumbra are traced."""
    state = look.state.copy()
    return Visibility(
        state,
        _traced(arrays, emitter, points, state, look.rows, look.squares, look.n_side, workers, progress),
        look.n_side,
    )


def find_visibility(
    arrays: SceneArrays,
    light: Projection,
    points: Points,
    n_side: int,
    workers: Workers,
    progress: Progress | None = None,
    image=None,
    squares: Squares | None = None,
) -> Visibility:
    """What points see of a projector's pupil, in one go; with the gate's picture only where the
    pattern throws light.
    """
    state = None if image is None else lit_by_pattern(light, image, points, squares, workers)
    sweep = Sweep(light.emitter.radius, *beam_bounds(light))
    look = first_look(arrays, light.emitter, sweep, points, n_side, workers, progress, state, squares)
    return visibility_from(look, arrays, light.emitter, points, workers, progress)
