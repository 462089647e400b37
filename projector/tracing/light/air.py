"""Light that haze sends towards the camera: steps along view rays, and the sum over them.

A ray is cut to the part of it that lies in a light's beam and stepped there evenly in the angle seen from the light:
the light falls with the square of its distance, and so every step counts alike (C. Kulla & M. Fajardo, "Importance
Sampling Techniques for Path Tracing in Participating Media", EGSR 2012). How much of the light a step gets is asked
elsewhere; here stand its place, its weight and the sum along the ray. Sums are kept up to every step, so that rays
through neighbouring pixels, which may end sooner, read theirs from them.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from projector.jit import formula, kernel
from projector.optics.scattering import kept_share, phase
from projector.tracing.sight.emitter import direction_in_light_frame, in_light_frame
from projector.tracing.sight.points import DARK, LIT

# A ray that passes a light more closely than this share of its reach is stepped as if it passed at that distance.
_NEAREST = 0.5
# A ray that ends on another thing before the pixel's own does counts as little as this beside those that do not.
_BEHIND = 1e-3
# Columns of a ray's span.
SPAN = 4


class Air(NamedTuple):
    """Haze: extinction (1/m), asymmetry of `optics.scattering.phase`, albedo, and its depth (m) where a view ray meets
    nothing.
    """

    extinction: float
    asymmetry: float
    albedo: float
    depth: float


class Beam(NamedTuple):
    """Where a light's rays may be, in its frame: at depth z > nearest (m) from low·z to high·z along x and y, and up to
    a margin of rim·|z·sharp − 1| (m) beyond, whichever of the two `sharp` (1/m) gives more.
    """

    low_x: float
    high_x: float
    low_y: float
    high_y: float
    rim: float
    sharp_low: float
    sharp_high: float
    nearest: float


class ViewRays(NamedTuple):
    """Rays of a coarse grid over a picture, from one place: one through the first of every `stride` × `stride` pixels.

    place (3); directions (n, 3) of length 1, row after row, `across` in each; first_row: of the picture, in pixels;
    ends (n,) m, where each meets something, or the haze ends; farthest (n,) m: the same of it and its eight neighbours;
    owners (n,) what it meets, as of Points
    """

    place: tuple
    directions: np.ndarray
    ends: np.ndarray
    farthest: np.ndarray
    owners: np.ndarray
    across: int
    first_row: int
    stride: int


@formula
def _cut(low, high, at_start, change):
    """The part of low … high on which at_start + change · t is at least 0."""
    if change > 0.0:
        return max(low, -at_start / change), high
    if change < 0.0:
        return low, min(high, -at_start / change)
    return (low, high) if at_start >= 0.0 else (low, -math.inf)


@formula
def _in_beam(beam, start, along, end):
    """(first, last) distance at which a ray from `start` along `along` (in the light's frame) is in a beam, 0 … end."""
    low, high = _cut(0.0, end, start[2] - beam.nearest, along[2])
    if not high > low:
        return low, low
    # The margin bulges downwards between any two depths: its chord holds it.
    near, far = start[2] + low * along[2], start[2] + high * along[2]
    near, far = min(near, far), max(near, far)
    at_near = beam.rim * max(abs(near * beam.sharp_low - 1.0), abs(near * beam.sharp_high - 1.0))
    at_far = beam.rim * max(abs(far * beam.sharp_low - 1.0), abs(far * beam.sharp_high - 1.0))
    slope = (at_far - at_near) / max(far - near, 1e-9)
    margin = at_near - slope * near
    low, high = _cut(
        low, high, start[0] - (beam.low_x - slope) * start[2] + margin, along[0] - (beam.low_x - slope) * along[2]
    )
    low, high = _cut(
        low, high, (beam.high_x + slope) * start[2] + margin - start[0], (beam.high_x + slope) * along[2] - along[0]
    )
    low, high = _cut(
        low, high, start[1] - (beam.low_y - slope) * start[2] + margin, along[1] - (beam.low_y - slope) * along[2]
    )
    return _cut(
        low, high, (beam.high_y + slope) * start[2] + margin - start[1], (beam.high_y + slope) * along[2] - along[1]
    )


@kernel
def cut_rays(emitter, beam, rays, start, stop, spans):
    """The part of the rays start … stop that lies in a beam: spans (n, SPAN) float64.

    A span: distance (m) along the ray to where it passes the light's middle, how closely (m) it does, and the angles
    (radians) from there, as seen from the light, at which it enters and leaves the beam; the first is the larger where
    it never does.
    """
    begin = in_light_frame(emitter, rays.place[0], rays.place[1], rays.place[2])
    for i in range(start, stop):
        along = direction_in_light_frame(emitter, rays.directions[i, 0], rays.directions[i, 1], rays.directions[i, 2])
        low, high = _in_beam(beam, begin, along, rays.farthest[i])
        foot = -(begin[0] * along[0] + begin[1] * along[1] + begin[2] * along[2])
        squared = begin[0] * begin[0] + begin[1] * begin[1] + begin[2] * begin[2] - foot * foot
        aside = max(math.sqrt(max(squared, 0.0)), _NEAREST * emitter.reach)
        spans[i, 0], spans[i, 1] = foot, aside
        if high > low:
            spans[i, 2], spans[i, 3] = math.atan((low - foot) / aside), math.atan((high - foot) / aside)
        else:
            spans[i, 2], spans[i, 3] = 1.0, -1.0


@formula
def _distance_at(spans, ray, share):
    """Distance (m) along a ray at a share of its span."""
    return spans[ray, 0] + spans[ray, 1] * math.tan(spans[ray, 2] + share * (spans[ray, 3] - spans[ray, 2]))


@kernel
def place_on_rays(rays, spans, chosen, shares, start, stop, positions):
    """Positions (k, 3) float32 on the rays `chosen` (k,) at shares (k,) of their spans, start … stop."""
    for k in range(start, stop):
        ray = chosen[k]
        distance = _distance_at(spans, ray, shares[k])
        for axis in range(3):
            positions[k, axis] = rays.place[axis] + distance * rays.directions[ray, axis]


@formula
def _seen_up_to(seen, row, share):
    """Sum of what a row of `seen` holds up to a share of its length."""
    n_steps = seen.shape[1] - 1
    place = min(max(share, 0.0), 1.0) * n_steps
    step = min(int(place), n_steps - 1)
    return seen[row, step] + (place - step) * (seen[row, step + 1] - seen[row, step])


@kernel
def place_steps(emitter, air, rays, spans, chosen, wide_spans, seen, start, stop, points, state, shares):
    """The middles of the steps of the rays chosen[start … stop], as Points and their states, and what a unit of light
    there sends to the camera.

    points, state: one for each step, ray after ray of chosen[start … stop]; shares (k, n_steps) float32, rows start …
    stop: radiance at the camera over fluence there, times π, as a white surface has one of 1/π.
    seen (k, n + 1) float32: how much of the light the ray sees up to each step of wide_spans, which hold the spans.
    """
    n_steps = shares.shape[1]
    for row in range(start, stop):
        ray = chosen[row]
        step = (spans[ray, 3] - spans[ray, 2]) / n_steps
        wide = wide_spans[ray, 3] - wide_spans[ray, 2]
        for j in range(n_steps):
            k = (row - start) * n_steps + j
            shares[row, j] = 0.0
            state[k] = DARK
            from_angle = spans[ray, 2] + j * step
            first = (from_angle - wide_spans[ray, 2]) / wide
            part = _seen_up_to(seen, row, first + step / wide) - _seen_up_to(seen, row, first)
            if not part > 0.0:
                continue
            angle = from_angle + 0.5 * step
            distance = spans[ray, 0] + spans[ray, 1] * math.tan(angle)
            x = rays.place[0] + distance * rays.directions[ray, 0] - emitter.position[0]
            y = rays.place[1] + distance * rays.directions[ray, 1] - emitter.position[1]
            z = rays.place[2] + distance * rays.directions[ray, 2] - emitter.position[2]
            away = math.sqrt(x * x + y * y + z * z)
            # Straight on is from the light, by way of the step, to the camera.
            turned = (x * rays.directions[ray, 0] + y * rays.directions[ray, 1] + z * rays.directions[ray, 2]) / away
            length = spans[ray, 1] / math.cos(angle) ** 2 * part * wide
            scattered = air.extinction * air.albedo * phase(-turned, air.asymmetry)
            shares[row, j] = math.pi * scattered * kept_share(air.extinction, distance) * length
            state[k] = LIT
            for axis in range(3):
                points.positions[k, axis] = rays.place[axis] + distance * rays.directions[ray, axis]


@kernel
def sum_steps(light, shares, start, stop, sums):
    """Sums (k, n_steps + 1, n_channels) float32 over the steps of the rows start … stop up to each; light (·, c)
    float32: fluence of their steps, row after row.
    """
    n_steps = shares.shape[1]
    for row in range(start, stop):
        for channel in range(light.shape[1]):
            total = 0.0
            sums[row, 0, channel] = 0.0
            for j in range(n_steps):
                total += shares[row, j] * light[(row - start) * n_steps + j, channel]
                sums[row, j + 1, channel] = total


@kernel
def add_from_rays(rays, spans, rows, sums, columns, lines, ends, owners, start, stop, out):
    """Add to out (m, n_channels) float32 the light that the air sends along the rays through picture positions columns,
    lines (m,) in pixels, start … stop, that end at `ends` (m,) m on `owners` (m,).

    rows (n,): row of `sums` of each of the rays, below 0 without any. Between four of them it is interpolated, at the
    same distance; one that ends before that on another thing counts where no other is left.
    """
    height = rays.ends.shape[0] // rays.across
    n_steps = sums.shape[1] - 1
    for i in range(start, stop):
        column = max((columns[i] - 0.5) / rays.stride, 0.0)
        line = max((lines[i] - rays.first_row - 0.5) / rays.stride, 0.0)
        left, top = min(int(column), rays.across - 2), min(int(line), height - 2)
        right_share, lower_share = min(column - left, 1.0), min(line - top, 1.0)
        total = 0.0
        for corner in range(4):
            total += _corner_weight(rays, left, top, right_share, lower_share, corner, ends[i], owners[i])
        for corner in range(4):
            ray = (top + corner // 2) * rays.across + left + corner % 2
            row = rows[ray]
            if row < 0:
                continue
            weight = _corner_weight(rays, left, top, right_share, lower_share, corner, ends[i], owners[i]) / total
            angle = math.atan((ends[i] - spans[ray, 0]) / spans[ray, 1])
            place = (angle - spans[ray, 2]) / (spans[ray, 3] - spans[ray, 2]) * n_steps
            place = min(max(place, 0.0), float(n_steps))
            step = min(int(place), n_steps - 1)
            for channel in range(out.shape[1]):
                low, high = sums[row, step, channel], sums[row, step + 1, channel]
                out[i, channel] += weight * (low + (place - step) * (high - low))


@formula
def _corner_weight(rays, left, top, right_share, lower_share, corner, end, owner):
    """Weight of one of the four rays round a place."""
    across = right_share if corner % 2 == 1 else 1.0 - right_share
    down = lower_share if corner // 2 == 1 else 1.0 - lower_share
    ray = (top + corner // 2) * rays.across + left + corner % 2
    weight = max(across * down, 1e-6)
    return weight * _BEHIND if rays.owners[ray] != owner and rays.ends[ray] < end else weight
