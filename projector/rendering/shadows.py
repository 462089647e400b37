"""Who sees how much of which pupil: visibility found once for a projector's place and kept while it stands still."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from projector.rendering.tiles import Progress, Workers
from projector.tracing.arrays import SceneArrays
from projector.tracing.first_hits import NOTHING
from projector.tracing.light_path import Light
from projector.tracing.points import DARK, Points, Visibility, n_points
from projector.tracing.projection import mark_unlit
from projector.tracing.visibility import BEAM_MARGIN, PENUMBRA, beam_bounds, look_closely, look_first, number_penumbrae

# Shadow rays differ a hundredfold in cost between points: small pieces keep both cores busy.
_CLOSE_PIECE = 1024


@dataclass(frozen=True)
class FirstLook:
    """State of each point (n,) int32 under the widest pupil, for a pupil radius (m) and a beam that it was made for.

    rows (p,): the points in penumbra; they alone are traced again when the pupil gets smaller.
    """

    state: np.ndarray
    rows: np.ndarray
    radius: float
    beam: tuple[float, float]

    def serves(self, light: Light) -> bool:
        """Whether it still holds for a light at the same place with another lens setting."""
        slope, reach = beam_bounds(light)
        within = (1.0 + BEAM_MARGIN) * (1.0 + 1e-9)
        return light.radius <= self.radius * (1 + 1e-9) and slope <= self.beam[0] * within and reach <= self.beam[1] * within


def first_look(
    arrays: SceneArrays, light: Light, radius: float, points: Points, workers: Workers, progress: Progress | None = None, image=None
) -> FirstLook:
    """Sort points into dark, lit, outside the beam and penumbra, for a pupil of up to `radius` (m).

    With the gate's picture, points that the pattern leaves dark are left out too: for one map under one setting.
    """
    state = np.full(n_points(points), PENUMBRA, np.int32)
    if image is not None:
        workers.run_pieces(state.size, lambda start, stop: mark_unlit(light, image, points, start, stop, state))
    widest = light._replace(radius=max(radius, light.radius))
    beam = beam_bounds(widest)

    def work(start, stop):
        look_first(arrays.bvh, widest, points, beam, start, stop, state)

    workers.run_pieces(state.size, work, "shadows", progress)
    state[points.materials == NOTHING] = DARK
    rows = number_penumbrae(state)
    return FirstLook(state, rows, widest.radius, beam)


def visibility_from(
    look: FirstLook, arrays: SceneArrays, light: Light, points: Points, n_side: int, workers: Workers, progress: Progress | None = None
) -> Visibility:
    """Trace the penumbrae of a first look for the pupil as it is now."""
    seen = np.empty((look.rows.size, n_side * n_side), np.uint8)

    def work(start, stop):
        look_closely(arrays.bvh, light, points, look.rows, n_side, start, stop, seen)

    workers.run_pieces(look.rows.size, work, "soft shadows", progress, piece=_CLOSE_PIECE)
    return Visibility(look.state, seen, n_side)


def find_visibility(
    arrays: SceneArrays, light: Light, points: Points, n_side: int, workers: Workers, progress: Progress | None = None, image=None
) -> Visibility:
    """What points see of a projector's pupil, in one go; with the gate's picture only where the pattern throws light."""
    look = first_look(arrays, light, light.radius, points, workers, progress, image)
    return visibility_from(look, arrays, light, points, n_side, workers, progress)
