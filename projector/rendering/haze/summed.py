"""The light of a projector, or of a light without a gate, that haze sends to the camera: summed along rays, and read
from them at the points of a picture.
"""

from __future__ import annotations

import math

import numpy as np

from projector.optics.distortion import landed_radius
from projector.rendering import prepared_light, sampling
from projector.rendering.haze.seen import CELLS_SIDE, N_STEPS, SeenInAir, room_for_points, spans_in
from projector.rendering.haze.view_rays import ends_of
from projector.rendering.prepared_light import PreparedLight, Reach
from projector.rendering.sampling import PointSet
from projector.rendering.shadows import Sweep
from projector.tracing.gate.gate_image import GateImage
from projector.tracing.gate.lens_law import Projection
from projector.tracing.light.air import Air, Beam, Sums, ViewRays, add_from_rays, place_steps, sum_steps
from projector.tracing.light.shine import FLAT, Shine, angles_of_table
from projector.tracing.light.shine_in_air import fill_scattered
from projector.tracing.sight.emitter import Emitter, in_light_frame
from projector.tracing.sight.points import Points, Visibility

# Steps that are looked up at once, so that their points need not all be held.
_AT_ONCE = 2**18
_STEPS_PIECE = 256
# A beam ends where its light has fallen to this share; wider ones than this angle (radians) count as all before it.
_DIM, _WIDEST = 1e-3, 1.4


def beam_of_sweep(sweep: Sweep, nearest: float) -> Beam:
    """Where the light of every lens near a light's own may be."""
    return Beam(-sweep.slope, sweep.slope, -sweep.slope, sweep.slope, sweep.reach, 0.0, 0.0, nearest)


def beam_of(light: Projection, image: GateImage) -> Beam:
    """Where the light of a projector is, from the lit part of its gate.

    A ray through pupil point A and gate point g lands at Z·g/s − A·(Z·(1/z_f + κ·r² + σ·|A|²/s) − 1), distortion and
    lateral colour aside, which move g.
    """
    rim = light.emitter.reach
    height, width = image.values.shape
    bent = (abs(light.spherical) * rim**3 + 4.0 * rim * abs(light.curvature) * light.tube_length) / light.tube_length
    edges = (
        (image.left, image.left + (width - 1) * image.pitch),
        (image.top, image.top + (height - 1) * image.pitch),
    )
    farthest = np.hypot(*(max(map(abs, pair)) for pair in edges)) / light.gate.norm
    drawn = landed_radius(light.distortion, farthest) / farthest if farthest > 0.0 else 1.0
    slopes = []
    for low, high in edges:
        shares = [share / lateral for share in (1.0, drawn) for lateral in light.lateral_range]
        slopes.append(min(share * low for share in shares) / light.tube_length - bent)
        slopes.append(max(share * high for share in shares) / light.tube_length + bent)
    return Beam(*slopes, rim * max(1.0, 1.0 + 3.0 * light.distortion), *light.inverse_sharp_range, light.nearest)


def beam_of_shine(shine: Shine) -> Beam:
    """Where a light without a gate shines: all round, before its plane, or, where that is narrow, in a cone."""
    if shine.form != FLAT:
        return Beam(-math.inf, math.inf, -math.inf, math.inf, 0.0, 0.0, 0.0, -math.inf)
    brightest = shine.fall.max(axis=0)
    widest = float(angles_of_table()[np.flatnonzero(brightest > _DIM * brightest.max())[-1]])
    if widest > _WIDEST:
        return Beam(-math.inf, math.inf, -math.inf, math.inf, 0.0, 0.0, 0.0, 0.0)
    slope = math.tan(widest)
    return Beam(-slope, slope, -slope, slope, shine.emitter.reach, 0.0, 0.0, 0.0)


def summed(work, prepared: PreparedLight, weights: np.ndarray, air: Air, rays: ViewRays, seen: SeenInAir) -> Sums:
    """The light of a projector that the haze sends to the camera along rays, by weights (1, n_wavelengths, n_channels).

    In the convention of surfaces: the light that a white one would have to receive to look as bright.
    """
    emitter = prepared.light.emitter
    spans = spans_in(work, emitter, beam_of(prepared.light, prepared.image), rays)
    kept = (spans[seen.chosen, 3] > spans[seen.chosen, 2]) & (seen.up_to[:, -1] > 0.0)
    chosen, up_to = seen.chosen[kept], seen.up_to[kept]
    rows = np.full(rays.ends.size, -1, np.int32)
    rows[chosen] = np.arange(chosen.size)
    sums = np.empty((chosen.size, N_STEPS + 1, weights.shape[2]), np.float32)
    with prepared_light.stacks_ready(prepared, _reach(emitter, rays, spans, chosen)) as stacks:

        def light_on(points: Points, state: np.ndarray) -> np.ndarray:
            light = np.zeros((len(state), weights.shape[2]), np.float32)
            visibility = Visibility(state, np.zeros((0, CELLS_SIDE**2), np.uint8), CELLS_SIDE)
            prepared_light.light_points(
                prepared, points, visibility, stacks, weights, light, work.workers, work.progress
            )
            return light

        _sum_along(work, emitter, air, rays, spans, chosen, seen.spans, up_to, light_on, sums)
    return Sums(spans, rows, sums)


def summed_of_shine(work, shine: Shine, air: Air, rays: ViewRays, seen: SeenInAir) -> Sums:
    """The same of a light without a gate, of luminance 1: one channel."""
    chosen = seen.chosen
    rows = np.full(rays.ends.size, -1, np.int32)
    rows[chosen] = np.arange(chosen.size)
    sums = np.empty((*seen.up_to.shape, 1), np.float32)

    def light_on(points: Points, state: np.ndarray) -> np.ndarray:
        light = np.empty((len(state), 1), np.float32)
        work.workers.run_pieces(
            len(state),
            lambda start, stop: fill_scattered(shine, air, rays.place, points, state, start, stop, light),
            piece=_STEPS_PIECE * N_STEPS,
        )
        return light

    # Where it goes to is counted with each part of the light, as that may be wide: here it goes evenly to all sides.
    even = air._replace(asymmetry=0.0)
    _sum_along(work, shine.emitter, even, rays, seen.spans, chosen, seen.spans, seen.up_to, light_on, sums)
    return Sums(seen.spans, rows, sums)


def _sum_along(work, emitter, air, rays, spans, chosen, wide_spans, up_to, light_on, sums) -> None:
    """Fill sums over the steps of the rays `chosen`; light_on: the light (m, n_channels) on points of some states."""
    n_steps = sums.shape[1] - 1
    shares = np.empty((chosen.size, n_steps), np.float32)
    at_once = _AT_ONCE // n_steps
    points, state = room_for_points(at_once * n_steps), np.empty(at_once * n_steps, np.int32)
    for first in range(0, chosen.size, at_once):
        last = min(first + at_once, chosen.size)

        def place(start, stop, first=first):
            part = slice(start * n_steps, stop * n_steps)
            own = _some(points, part)
            inputs = (emitter, air, rays, spans, chosen, wide_spans, up_to)
            place_steps(*inputs, first + start, first + stop, own, state[part], shares)

        work.workers.run_pieces(last - first, place, piece=_STEPS_PIECE)
        here = slice(0, (last - first) * n_steps)
        sum_steps(light_on(_some(points, here), state[here]), shares, first, last, sums)


def _some(points: Points, part: slice) -> Points:
    return Points(*(column[part] for column in points[:-1]), receiver=points.receiver)


def scattered(
    work, air: Air, grids: tuple[tuple[ViewRays, Sums], ...], sets: tuple[PointSet, ...], *view
) -> list[np.ndarray]:
    """What the haze sends to the camera along the rays of all sets of points: (n, n_channels) float32 each, by the
    first of the grids that has rays all round a point.
    """
    _, camera, window, quality = view
    found = []
    for item in sets:
        out = np.zeros((item.count, grids[0][1].sums.shape[2]), np.float32)
        is_done = np.zeros(item.count, np.bool_)
        columns, lines = sampling.places_of(item, camera, window, quality)
        ends = ends_of(item, camera, air)
        for rays, light in grids:
            inputs = (rays, light, columns, lines, ends, item.points.owners)
            work.workers.run_pieces(
                item.count,
                lambda start, stop, inputs=inputs, is_done=is_done, out=out: add_from_rays(
                    *inputs, start, stop, is_done, out
                ),
            )
        found.append(out)
    return found


def _reach(emitter: Emitter, rays: ViewRays, spans: np.ndarray, chosen: np.ndarray) -> Reach:
    """What the stacks have to serve for the steps of rays; nearer to the light than it is wide, they are all blur."""
    if chosen.size == 0:
        return prepared_light.NO_REACH
    distances = spans[chosen, :1] + spans[chosen, 1:2] * np.tan(spans[chosen, 2:])
    places = np.array(rays.place) + distances[:, :, None] * rays.directions[chosen, None, :]
    depths = in_light_frame(emitter, places[..., 0], places[..., 1], places[..., 2])[2]
    nearest = max(float(depths.min()), 2.0 * emitter.reach)
    return Reach(nearest, max(float(depths.max()), nearest), 0.0)
