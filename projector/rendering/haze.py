"""Haze in a picture: what of a light it sends to the camera, with the beam's own shape and shadows.

Light in the air is a smooth function of place but for edges of shafts and shadows; only where a pixel's ray ends is
sharp. So it is summed along the rays of a coarser grid, as far as any neighbour looks, where that is not even along one
through every pixel, and every point of the picture reads the sums of the four rays round it up to its own end: outlines
stay as sharp as they are. No stage sees the scene.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from projector.optics.distortion import landed_radius
from projector.rendering import prepared_light, sampling, shadows
from projector.rendering.prepared_light import PreparedLight, Reach
from projector.rendering.sampling import PointSet
from projector.rendering.shadows import Sweep
from projector.stage.surfaces import SceneArrays
from projector.tracing.gate.gate_image import GateImage
from projector.tracing.gate.lens_law import Projection
from projector.tracing.light.air import (
    SPAN,
    Air,
    Beam,
    Sums,
    ViewRays,
    add_from_rays,
    cut_rays,
    guess_seen,
    mark_uneven,
    place_on_rays,
    place_steps,
    sum_steps,
)
from projector.tracing.rays.first_hits import NOTHING, empty_points
from projector.tracing.rays.surfaces import PinholeCamera
from projector.tracing.sight.emitter import Emitter, in_light_frame
from projector.tracing.sight.points import IN_AIR, Points, Visibility
from projector.tracing.sight.visibility import seen_shares

# Steps along a ray that the pattern is looked up at, and steps between which what is seen of the light is kept.
N_STEPS = 64
# What is seen of the light is asked first at so many places along a ray, and then between those that differ by this.
_FIRST_PLACES, _DIFFERENT = 32, 0.02
# Steps in which it changes by more than this are looked at in their middle, too.
_EDGE = 0.1
# Cells along each side of the light's unit square: points along a ray even out what few rays leave rough.
_CELLS_SIDE = 3
# Steps that are looked up at once, so that their points need not all be held.
_AT_ONCE = 2**18
_RAYS_PIECE, _STEPS_PIECE = 2048, 256
# Where light changes its slope from one ray of the coarse grid to the next by more than this share of it, every pixel
# gets a ray: halfway between two rays it is else wrong by an eighth of that, 1 %, where it bends evenly.
UNEVEN = 0.08


def ends_of(points: PointSet, camera: PinholeCamera, air: Air) -> np.ndarray:
    """How far (m) the camera's rays to the points of a set go, (n,) float64: to them, or as deep as the haze is."""
    ends = np.linalg.norm(points.points.positions.astype(float) - np.array(camera.position), axis=1)
    ends[points.points.owners == NOTHING] = air.depth
    return ends


def view_rays(work, air: Air, *view) -> ViewRays:
    """The coarse grid of rays over a View, and one ray more all round; it lies the same whatever rows are looked at."""
    arrays, camera, window, quality = view
    stride = max(1, camera.width // quality.air)
    first = window.first // stride * stride - stride
    last, right = -(-window.last // stride) * stride + stride, -(-camera.width // stride) * stride + stride
    # Yet one more, for how far neighbours look.
    down = np.arange(first - stride, last + stride + 1, stride) + 0.5
    across = np.arange(-2 * stride, right + stride + 1, stride) + 0.5
    rows, columns = np.meshgrid(down, across, indexing="ij")
    points, triangles = sampling.shoot(
        arrays, camera, columns.ravel(), rows.ravel(), float(stride), work.workers, work.progress
    )
    ends = ends_of(PointSet(points, triangles, None, 1), camera, air).reshape(rows.shape)
    farthest = np.lib.stride_tricks.sliding_window_view(ends, (3, 3)).max(axis=(2, 3))
    inside = (slice(1, -1), slice(1, -1))
    return ViewRays(
        place=tuple(map(float, camera.position)),
        directions=directions_through(camera, columns[inside].ravel(), rows[inside].ravel()),
        ends=ends[inside].flatten(),
        farthest=farthest.flatten(),
        owners=points.owners.reshape(rows.shape)[inside].flatten(),
        numbers=np.arange(farthest.size, dtype=np.int32).reshape(farthest.shape),
        first_row=first,
        first_column=-stride,
        stride=stride,
    )


def finer_rays(work, air: Air, rays: ViewRays, light: Sums, *view) -> ViewRays | None:
    """Rays through every pixel of those cells of a coarse grid in which its light, of one channel, is not even; None
    where the grid is as fine as the picture.
    """
    arrays, camera, _, _ = view
    stride = rays.stride
    if stride == 1:
        return None
    totals = np.append(light.sums[:, -1, 0], np.float32(0.0))[light.rows].reshape(rays.numbers.shape)
    marks = np.zeros((totals.shape[0] - 1, totals.shape[1] - 1), np.bool_)
    mark_uneven(totals, UNEVEN, 0, len(marks), marks)
    wanted = np.zeros([(size - 1) * stride + 1 for size in totals.shape], np.bool_)
    farthest = np.zeros(wanted.shape)
    ends = rays.farthest.reshape(totals.shape)
    for i, j in np.argwhere(marks):
        part = (slice(i * stride, (i + 1) * stride + 1), slice(j * stride, (j + 1) * stride + 1))
        wanted[part] = True
        farthest[part] = np.maximum(farthest[part], ends[i : i + 2, j : j + 2].max())
    numbers = np.full(wanted.shape, -1, np.int32)
    rows, columns = np.nonzero(wanted)
    numbers[rows, columns] = np.arange(rows.size)
    columns, lines = columns + rays.first_column + 0.5, rows + rays.first_row + 0.5
    points, triangles = sampling.shoot(arrays, camera, columns, lines, 1.0, work.workers, work.progress)
    own = ends_of(PointSet(points, triangles, None, 1), camera, air)
    return ViewRays(
        place=rays.place,
        directions=directions_through(camera, columns, lines),
        ends=own,
        farthest=np.maximum(farthest[wanted], own),
        owners=points.owners,
        numbers=numbers,
        first_row=rays.first_row,
        first_column=rays.first_column,
        stride=1,
    )


def directions_through(camera: PinholeCamera, columns: np.ndarray, rows: np.ndarray) -> np.ndarray:
    """Directions (n, 3) of length 1 through picture positions (n,), in pixels."""
    pixel = _pixel(camera)
    x, y = (columns - 0.5 * camera.width) * pixel, (rows - 0.5 * camera.height) * pixel
    along = np.outer(x, camera.right) + np.outer(y, camera.down) + np.array(camera.forward)
    return along / np.linalg.norm(along, axis=1, keepdims=True)


def _pixel(camera: PinholeCamera) -> float:
    """Width of a pixel at distance 1."""
    return 2.0 * camera.half_width / camera.width


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


class SeenInAir(NamedTuple):
    """How much of a light the rays `chosen` (k,) see, those that pass through its beam.

    spans (n, SPAN) of all rays, see `cut_rays`; up_to (k, N_STEPS + 1) float32: mean share seen up to each step, as a
    share of the span
    """

    spans: np.ndarray
    chosen: np.ndarray
    up_to: np.ndarray


def _spans(work, emitter: Emitter, beam: Beam, rays: ViewRays) -> np.ndarray:
    spans = np.empty((rays.ends.size, SPAN))
    work.workers.run_pieces(
        rays.ends.size,
        lambda start, stop: cut_rays(emitter, beam, rays, start, stop, spans),
        piece=_RAYS_PIECE,
    )
    return spans


def seen_in_air(
    work,
    arrays: SceneArrays,
    emitter: Emitter,
    beam: Beam,
    rays: ViewRays,
    coarse: ViewRays | None = None,
    known: SeenInAir | None = None,
) -> SeenInAir:
    """What the air along view rays sees of an emitter within a beam.

    Asked at a few places of each ray, and where neighbours differ in between, down to half a step. known: what
    the rays of a coarser grid see; where those round a ray agree it is not asked.
    """
    spans = _spans(work, emitter, beam, rays)
    chosen = np.flatnonzero(spans[:, 3] > spans[:, 2])

    def look(rows: np.ndarray, places: np.ndarray) -> np.ndarray:
        return _shares_seen(work, arrays, emitter, rays, spans, chosen[rows], places)

    at = np.empty((chosen.size, N_STEPS + 1), np.float32)
    stride = N_STEPS // _FIRST_PLACES
    first = np.full((chosen.size, _FIRST_PLACES + 1), -1.0, np.float32)
    if known is not None:
        _guess(work, rays, spans, chosen, coarse, known, first)
    rows, places = np.nonzero(first < 0.0)
    first[rows, places] = look(rows, places / _FIRST_PLACES)
    at[:, ::stride] = first
    while stride > 1:
        half = stride // 2
        before, after = at[:, :-1:stride], at[:, stride::stride]
        between = 0.5 * (before + after)
        rows, steps = np.nonzero(np.abs(before - after) > _DIFFERENT)
        between[rows, steps] = look(rows, (steps * stride + half) / N_STEPS)
        at[:, half::stride] = between
        stride = half
    means = 0.5 * (at[:, :-1] + at[:, 1:])
    rows, steps = np.nonzero(np.abs(at[:, :-1] - at[:, 1:]) > _EDGE)
    middles = look(rows, (steps + 0.5) / N_STEPS)
    means[rows, steps] = 0.5 * (means[rows, steps] + middles)
    up_to = np.zeros_like(at)
    np.cumsum(means / np.float32(N_STEPS), axis=1, out=up_to[:, 1:])
    return SeenInAir(spans, chosen, up_to)


def _guess(work, rays: ViewRays, spans, chosen, coarse: ViewRays, known: SeenInAir, first: np.ndarray) -> None:
    """Fill in of first (k, places) what the rays of a coarser grid agree on."""
    coarse_rows = np.full(coarse.ends.size, -1, np.int32)
    coarse_rows[known.chosen] = np.arange(known.chosen.size)
    lines, columns = np.nonzero(rays.numbers >= 0)
    inputs = (rays, spans, chosen, coarse, known.spans, coarse_rows, known.up_to, lines, columns)
    reach = N_STEPS // _FIRST_PLACES
    work.workers.run_pieces(
        chosen.size, lambda start, stop: guess_seen(*inputs, reach, start, stop, first), piece=_RAYS_PIECE
    )


def _shares_seen(work, arrays, emitter: Emitter, rays: ViewRays, spans, chosen, places) -> np.ndarray:
    """Share of an emitter (m,) float32 seen from places (m,) of the spans of rays `chosen` (m,)."""
    if chosen.size == 0:
        return np.zeros(0, np.float32)
    points = _room_for_points(chosen.size)
    work.workers.run_pieces(
        chosen.size,
        lambda start, stop: place_on_rays(rays, spans, chosen, places, start, stop, points.positions),
    )
    everywhere = Sweep(emitter.radius, np.inf, 0.0)
    look = shadows.first_look(arrays, emitter, everywhere, points, _CELLS_SIDE, work.workers, work.progress)
    return seen_shares(shadows.visibility_from(look, arrays, emitter, points, work.workers, work.progress))


def _room_for_points(count: int) -> Points:
    """Points in the air, their places to be filled in: shadow rays start at them."""
    points = empty_points(count)
    points.materials[:] = 0
    points.owners[:] = 0
    return points._replace(origins=points.positions, facets=points.normals, receiver=IN_AIR)


def summed(work, prepared: PreparedLight, weights: np.ndarray, air: Air, rays: ViewRays, seen: SeenInAir) -> Sums:
    """The light of a projector that the haze sends to the camera along rays, by weights (1, n_wavelengths, n_channels).

    In the convention of surfaces: the light that a white one would have to receive to look as bright.
    """
    emitter = prepared.light.emitter
    spans = _spans(work, emitter, beam_of(prepared.light, prepared.image), rays)
    kept = (spans[seen.chosen, 3] > spans[seen.chosen, 2]) & (seen.up_to[:, -1] > 0.0)
    chosen, up_to = seen.chosen[kept], seen.up_to[kept]
    rows = np.full(rays.ends.size, -1, np.int32)
    rows[chosen] = np.arange(chosen.size)
    sums = np.empty((chosen.size, N_STEPS + 1, weights.shape[2]), np.float32)
    with prepared_light.stacks_ready(prepared, _reach(emitter, rays, spans, chosen)) as stacks:

        def light_on(points: Points, state: np.ndarray) -> np.ndarray:
            light = np.zeros((len(state), weights.shape[2]), np.float32)
            visibility = Visibility(state, np.zeros((0, _CELLS_SIDE**2), np.uint8), _CELLS_SIDE)
            prepared_light.light_points(
                prepared, points, visibility, stacks, weights, light, work.workers, work.progress
            )
            return light

        _sum_along(work, emitter, air, rays, spans, chosen, seen.spans, up_to, light_on, sums)
    return Sums(spans, rows, sums)


def _sum_along(work, emitter, air, rays, spans, chosen, wide_spans, up_to, light_on, sums) -> None:
    """Fill sums over the steps of the rays `chosen`; light_on: the light (m, n_channels) on points of some states."""
    n_steps = sums.shape[1] - 1
    shares = np.empty((chosen.size, n_steps), np.float32)
    at_once = _AT_ONCE // n_steps
    points, state = _room_for_points(at_once * n_steps), np.empty(at_once * n_steps, np.int32)
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
