"""How much of a light the air along view rays sees: asked apart from what the light throws, and kept."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from projector.rendering import shadows
from projector.rendering.area_light import received
from projector.rendering.shadows import Sweep
from projector.stage.surfaces import SceneArrays
from projector.tracing.light.air import SPAN, Beam, ViewRays, cut_rays, guess_seen, place_on_rays
from projector.tracing.light.shine import Shine
from projector.tracing.rays.first_hits import empty_points
from projector.tracing.sight.emitter import Emitter
from projector.tracing.sight.points import IN_AIR, Points
from projector.tracing.sight.visibility import seen_shares

# Steps along a ray that the pattern is looked up at (of lights that throw none fewer), and steps between which what is
# seen of the light is kept.
N_STEPS, FEWER_STEPS = 64, 32
# What is seen of the light is asked first at so many places along a ray (of lights that throw no pattern at fewer), and
# then between those that differ by this.
FIRST_PLACES, FEWER_PLACES, _DIFFERENT = 32, 16, 0.02
# Steps in which it changes by more than this are looked at in their middle, too.
_EDGE = 0.1
# Cells along each side of a pupil's unit square, and rays to any other light: points along a ray even out what few rays
# leave rough.
CELLS_SIDE = 3
_N_RAYS = 64
_RAYS_PIECE = 2048


class SeenInAir(NamedTuple):
    """How much of a light the rays `chosen` (k,) see, those that pass through its beam.

    spans (n, SPAN) of all rays, see `cut_rays`; up_to (k, n_steps + 1) float32: mean share seen up to each step, as a
    share of the span
    """

    spans: np.ndarray
    chosen: np.ndarray
    up_to: np.ndarray


def spans_in(work, emitter: Emitter, beam: Beam, rays: ViewRays) -> np.ndarray:
    """The part of each ray (n, SPAN) that lies in a beam, see `cut_rays`."""
    spans = np.empty((rays.ends.size, SPAN))
    work.workers.run_pieces(
        rays.ends.size,
        lambda start, stop: cut_rays(emitter, beam, rays, start, stop, spans),
        piece=_RAYS_PIECE,
    )
    return spans


def seen_in_air(
    work,
    look_from: Callable[[Points], np.ndarray],
    emitter: Emitter,
    beam: Beam,
    rays: ViewRays,
    coarse: ViewRays | None = None,
    known: SeenInAir | None = None,
    n_steps: int = N_STEPS,
    n_first: int = FIRST_PLACES,
) -> SeenInAir:
    """What the air along view rays sees of an emitter within a beam.

    Asked at n_first places of each ray, and where neighbours differ in between, down to half of its n_steps steps.
    look_from: share (m,) of the emitter that points see; known: what the rays of a coarser grid see; where those round
    a ray agree it is not asked.
    """
    spans = spans_in(work, emitter, beam, rays)
    chosen = np.flatnonzero(spans[:, 3] > spans[:, 2])

    def look(rows: np.ndarray, places: np.ndarray) -> np.ndarray:
        if rows.size == 0:
            return np.zeros(0, np.float32)
        points, ray = room_for_points(rows.size), chosen[rows]
        work.workers.run_pieces(
            rows.size, lambda start, stop: place_on_rays(rays, spans, ray, places, start, stop, points.positions)
        )
        return look_from(points)

    at = np.empty((chosen.size, n_steps + 1), np.float32)
    stride = n_steps // n_first
    first = np.full((chosen.size, n_first + 1), -1.0, np.float32)
    if known is not None:
        _guess(work, rays, spans, chosen, coarse, known, first)
    rows, places = np.nonzero(first < 0.0)
    first[rows, places] = look(rows, places / n_first)
    at[:, ::stride] = first
    while stride > 1:
        half = stride // 2
        before, after = at[:, :-1:stride], at[:, stride::stride]
        between = 0.5 * (before + after)
        rows, steps = np.nonzero(np.abs(before - after) > _DIFFERENT)
        between[rows, steps] = look(rows, (steps * stride + half) / n_steps)
        at[:, half::stride] = between
        stride = half
    means = 0.5 * (at[:, :-1] + at[:, 1:])
    rows, steps = np.nonzero(np.abs(at[:, :-1] - at[:, 1:]) > _EDGE)
    middles = look(rows, (steps + 0.5) / n_steps)
    means[rows, steps] = 0.5 * (means[rows, steps] + middles)
    up_to = np.zeros_like(at)
    np.cumsum(means / np.float32(n_steps), axis=1, out=up_to[:, 1:])
    return SeenInAir(spans, chosen, up_to)


def _guess(work, rays: ViewRays, spans, chosen, coarse: ViewRays, known: SeenInAir, first: np.ndarray) -> None:
    """Fill in of first (k, places) what the rays of a coarser grid agree on."""
    coarse_rows = np.full(coarse.ends.size, -1, np.int32)
    coarse_rows[known.chosen] = np.arange(known.chosen.size)
    lines, columns = np.nonzero(rays.numbers >= 0)
    inputs = (rays, spans, chosen, coarse, known.spans, coarse_rows, known.up_to, lines, columns)
    reach = (known.up_to.shape[1] - 1) // (first.shape[1] - 1)
    work.workers.run_pieces(
        chosen.size, lambda start, stop: guess_seen(*inputs, reach, start, stop, first), piece=_RAYS_PIECE
    )


def pupil_from(work, arrays: SceneArrays, emitter: Emitter) -> Callable[[Points], np.ndarray]:
    """What points in the air see of a lens's pupil."""

    def look(points: Points) -> np.ndarray:
        everywhere = Sweep(emitter.radius, np.inf, 0.0)
        first = shadows.first_look(arrays, emitter, everywhere, points, CELLS_SIDE, work.workers, work.progress)
        return seen_shares(shadows.visibility_from(first, arrays, emitter, points, work.workers, work.progress))

    return look


def shine_from(work, arrays: SceneArrays, shine: Shine) -> Callable[[Points], np.ndarray]:
    """The same of a light without a gate, by rays. As each sends the same ones, neighbours do not differ by chance."""
    return lambda points: received(arrays, shine, points, work.workers, work.progress, n_rays=_N_RAYS).share


def room_for_points(count: int) -> Points:
    """Points in the air, their places to be filled in: shadow rays start at them."""
    points = empty_points(count)
    points.materials[:] = 0
    points.owners[:] = 0
    return points._replace(origins=points.positions, facets=points.normals, receiver=IN_AIR)
