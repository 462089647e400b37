"""Haze in a picture: what of a light it sends to the camera, with the beam's own shape and shadows.

Light in the air is a smooth function of place but for edges of shafts and shadows; only where a pixel's ray ends is
sharp. So it is summed along the rays of a coarser grid, as far as any neighbour looks, and every point of the picture
reads the sums of the four rays round it up to its own end: outlines stay as sharp as they are. No stage sees the scene.
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
    ViewRays,
    add_from_rays,
    cut_rays,
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
_FIRST_PLACES, _DIFFERENT = 16, 0.02
# Steps in which it changes by more than this are looked at in quarters.
_EDGE = 0.1
# Cells along each side of the light's unit square: points along a ray even out what few rays leave rough.
_CELLS_SIDE = 3
# Steps that are looked up at once, so that their points need not all be held.
_AT_ONCE = 2**18
_RAYS_PIECE = 2048


def ends_of(points: PointSet, camera: PinholeCamera, air: Air) -> np.ndarray:
    """How far (m) the camera's rays to the points of a set go, (n,) float64: to them, or as deep as the haze is."""
    ends = np.linalg.norm(points.points.positions.astype(float) - np.array(camera.position), axis=1)
    ends[points.points.owners == NOTHING] = air.depth
    return ends


def view_rays(work, air: Air, *view) -> ViewRays:
    """The coarse grid of rays over a View: it lies the same whatever rows of the picture are looked at."""
    arrays, camera, window, quality = view
    stride = max(1, camera.width // quality.air)
    first = window.first // stride * stride
    last, right = -(-window.last // stride) * stride, -(-camera.width // stride) * stride
    # One ray more all round, for how far neighbours look.
    down = np.arange(first - stride, last + stride + 1, stride) + 0.5
    across = np.arange(-stride, right + stride + 1, stride) + 0.5
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
        ends=np.ascontiguousarray(ends[inside]).ravel(),
        farthest=np.ascontiguousarray(farthest).ravel(),
        owners=np.ascontiguousarray(points.owners.reshape(rows.shape)[inside]).ravel(),
        across=across.size - 2,
        first_row=first,
        stride=stride,
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


def seen_in_air(work, arrays: SceneArrays, emitter: Emitter, beam: Beam, rays: ViewRays) -> SeenInAir:
    """What the air along view rays sees of an emitter within a beam.

    Asked at a few places of each ray, and where neighbours differ in between, down to quarters of a step.
    """
    spans = _spans(work, emitter, beam, rays)
    chosen = np.flatnonzero(spans[:, 3] > spans[:, 2])

    def look(rows: np.ndarray, places: np.ndarray) -> np.ndarray:
        return _shares_seen(work, arrays, emitter, rays, spans, chosen[rows], places)

    at = np.empty((chosen.size, N_STEPS + 1), np.float32)
    stride = N_STEPS // _FIRST_PLACES
    rows, edges = np.meshgrid(np.arange(chosen.size), np.arange(0, N_STEPS + 1, stride), indexing="ij")
    at[:, ::stride] = look(rows.ravel(), edges.ravel() / N_STEPS).reshape(rows.shape)
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
    quarters = look(np.repeat(rows, 3), (steps[:, None] + np.array([0.25, 0.5, 0.75])).ravel() / N_STEPS)
    means[rows, steps] = 0.5 * means[rows, steps] * 0.5 + 0.25 * quarters.reshape(-1, 3).sum(axis=1)
    up_to = np.zeros_like(at)
    np.cumsum(means / np.float32(N_STEPS), axis=1, out=up_to[:, 1:])
    return SeenInAir(spans, chosen, up_to)


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


def scattered(
    work,
    prepared: PreparedLight,
    weights: np.ndarray,
    air: Air,
    rays: ViewRays,
    seen: SeenInAir,
    sets: tuple[PointSet, ...],
    *view,
) -> list[np.ndarray]:
    """What the haze sends to the camera of one light along the rays of all sets of points: (n, n_channels) float32
    each.

    In the convention of surfaces: the light that a white one would have to receive to look as bright.
    """
    _, camera, window, quality = view
    emitter = prepared.light.emitter
    spans = _spans(work, emitter, beam_of(prepared.light, prepared.image), rays)
    kept = (spans[seen.chosen, 3] > spans[seen.chosen, 2]) & (seen.up_to[:, -1] > 0.0)
    chosen, up_to = seen.chosen[kept], seen.up_to[kept]
    rows = np.full(rays.ends.size, -1, np.int32)
    rows[chosen] = np.arange(chosen.size)
    sums = np.empty((chosen.size, N_STEPS + 1, weights.shape[2]), np.float32)
    shares = np.empty((chosen.size, N_STEPS), np.float32)
    at_once = _AT_ONCE // N_STEPS
    points, state = _room_for_points(_AT_ONCE), np.empty(_AT_ONCE, np.int32)
    with prepared_light.stacks_ready(prepared, _reach(emitter, rays, spans, chosen)) as stacks:
        for first in range(0, chosen.size, at_once):
            last = min(first + at_once, chosen.size)
            count = (last - first) * N_STEPS
            here = Points(*(column[:count] for column in points[:-1]), receiver=IN_AIR)

            def place(start, stop, first=first, here=here):
                part = slice(start * N_STEPS, stop * N_STEPS)
                own = Points(*(column[part] for column in here[:-1]), receiver=IN_AIR)
                place_steps(
                    emitter, air, rays, spans, chosen, seen.spans, up_to, first + start, first + stop,
                    own, state[part], shares,
                )  # fmt: skip

            work.workers.run_pieces(last - first, place, piece=256)
            light = np.zeros((count, weights.shape[2]), np.float32)
            visibility = Visibility(state[:count], np.zeros((0, _CELLS_SIDE**2), np.uint8), _CELLS_SIDE)
            prepared_light.light_points(prepared, here, visibility, stacks, weights, light, work.workers, work.progress)
            sum_steps(light, shares, first, last, sums)
    found = []
    for item in sets:
        out = np.zeros((item.count, weights.shape[2]), np.float32)
        columns, lines = sampling.places_of(item, camera, window, quality)
        ends = ends_of(item, camera, air)

        def add(start, stop, item=item, columns=columns, lines=lines, ends=ends, out=out):
            add_from_rays(rays, spans, rows, sums, columns, lines, ends, item.points.owners, start, stop, out)

        if chosen.size:
            work.workers.run_pieces(item.count, add)
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
