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
# Rays see the same whose shares lie within this; sums of single precision round off by less.
_AGREE = 0.005
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
    a margin of rim·|z·sharp − 1| (m) beyond, whichever of the two `sharp` (1/m) gives more. high_x = ∞: anywhere there.
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
    """Rays of a grid over a picture, from one place, all or some: through the first of `stride` × `stride` pixels each.

    place (3); directions (k, 3) of length 1; ends (k,) m, where each meets something, or the haze ends; farthest (k,)
    m, how far it or its neighbours look; owners (k,) what it meets, as of Points; numbers (rows, across) int32: which
    of the k each place of the grid has, below 0 for none; first_row, first_column: of the picture, in pixels
    """

    place: tuple
    directions: np.ndarray
    ends: np.ndarray
    farthest: np.ndarray
    owners: np.ndarray
    numbers: np.ndarray
    first_row: int
    first_column: int
    stride: int


class Sums(NamedTuple):
    """Light in the air summed along rays: sums (j, n_steps + 1, n_channels) float32 up to each step of the spans (k,
    SPAN); rows (k,) int32: which of the j a ray has, below 0 where none of the light is on it.
    """

    spans: np.ndarray
    rows: np.ndarray
    sums: np.ndarray


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
    if not high > low or beam.high_x == math.inf:
        return low, high
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
def guess_seen(rays, spans, chosen, coarse, coarse_spans, coarse_rows, up_to, lines, columns, reach, start, stop, at):
    """What the rays chosen[start … stop] of a finer grid see of a light at even places of their spans: at (k, n), −1
    where those of the coarse grid round them do not agree, or none of them is in the beam.

    lines, columns (m,): where in the finer grid its rays are; coarse_rows (j,): rows of up_to (·, n_steps + 1) of the
    coarse grid's rays, below 0 for none; reach: steps on either side within which they have to agree.
    """
    n_places, n_steps = at.shape[1], up_to.shape[1] - 1
    stride = coarse.stride // rays.stride
    for row in range(start, stop):
        ray = chosen[row]
        top = min(lines[ray] // stride, coarse.numbers.shape[0] - 2)
        left = min(columns[ray] // stride, coarse.numbers.shape[1] - 2)
        for place in range(n_places):
            angle = spans[ray, 2] + place / (n_places - 1) * (spans[ray, 3] - spans[ray, 2])
            lowest, highest = 2.0, -1.0
            for corner in range(4):
                other = coarse.numbers[top + corner // 2, left + corner % 2]
                if coarse_rows[other] < 0:
                    continue
                wide = coarse_spans[other, 3] - coarse_spans[other, 2]
                step = int((angle - coarse_spans[other, 2]) / wide * n_steps)
                for near in range(max(step - reach, 0), min(step + reach + 1, n_steps)):
                    mean = n_steps * (up_to[coarse_rows[other], near + 1] - up_to[coarse_rows[other], near])
                    lowest, highest = min(lowest, mean), max(highest, mean)
            at[row, place] = 0.5 * (lowest + highest) if abs(highest - lowest) < _AGREE else -1.0


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


@formula
def _cell_of(rays, column, line):
    """(row, column) of the grid's corner above and to the left of a place in the picture, and the shares beyond it."""
    across = max((column - rays.first_column - 0.5) / rays.stride, 0.0)
    down = max((line - rays.first_row - 0.5) / rays.stride, 0.0)
    left, top = min(int(across), rays.numbers.shape[1] - 2), min(int(down), rays.numbers.shape[0] - 2)
    return top, left, min(across - left, 1.0), min(down - top, 1.0)


@formula
def _corner_weight(rays, ray, corner, right_share, lower_share, end, owner):
    """Weight of one of the four rays round a place."""
    across = right_share if corner % 2 == 1 else 1.0 - right_share
    down = lower_share if corner // 2 == 1 else 1.0 - lower_share
    weight = max(across * down, 1e-6)
    return weight * _BEHIND if rays.owners[ray] != owner and rays.ends[ray] < end else weight


@kernel
def add_from_rays(rays, light, columns, lines, ends, owners, start, stop, is_done, out):
    """Add to out (m, n_channels) float32 the light that the air sends along the rays through picture positions columns,
    lines (m,) in pixels, start … stop, that end at `ends` (m,) m on `owners` (m,).

    light: Sums of the rays. Between four of them it is interpolated, at the same distance; one that ends before that on
    another thing counts where no other is left. Where any of the four is missing, nothing is added; is_done (m,) says
    where something was, and there nothing is added again.
    """
    n_steps = light.sums.shape[1] - 1
    for i in range(start, stop):
        if is_done[i]:
            continue
        top, left, right_share, lower_share = _cell_of(rays, columns[i], lines[i])
        total, is_whole = 0.0, True
        for corner in range(4):
            ray = rays.numbers[top + corner // 2, left + corner % 2]
            if ray < 0:
                is_whole = False
            else:
                total += _corner_weight(rays, ray, corner, right_share, lower_share, ends[i], owners[i])
        if not is_whole:
            continue
        is_done[i] = True
        for corner in range(4):
            ray = rays.numbers[top + corner // 2, left + corner % 2]
            row = light.rows[ray]
            if row < 0:
                continue
            weight = _corner_weight(rays, ray, corner, right_share, lower_share, ends[i], owners[i]) / total
            span = (light.spans[ray, 0], light.spans[ray, 1], light.spans[ray, 2], light.spans[ray, 3])
            place = (math.atan((ends[i] - span[0]) / span[1]) - span[2]) / (span[3] - span[2]) * n_steps
            place = min(max(place, 0.0), float(n_steps))
            step = min(int(place), n_steps - 1)
            for channel in range(out.shape[1]):
                low, high = light.sums[row, step, channel], light.sums[row, step + 1, channel]
                out[i, channel] += weight * (low + (place - step) * (high - low))


@kernel
def mark_uneven(totals, threshold, start, stop, marks):
    """Mark the cells of rows start … stop of a grid of totals (h, w) between whose corners light is not even: where the
    slope along a row or a column changes, there or next to it, by more than a share of the brightest near.

    marks (h − 1, w − 1); the outermost cells, whose neighbours are not known, stay as they are.
    """
    height, width = totals.shape
    for i in range(max(start, 1), min(stop, height - 2)):
        for j in range(1, width - 2):
            brightest, change = 0.0, 0.0
            for down in range(-1, 3):
                for across in range(-1, 3):
                    brightest = max(brightest, totals[i + down, j + across])
            for along in range(2):
                for side in range(2):
                    before, first = totals[i + along, j - 1 + side], totals[i + along, j + side]
                    change = max(change, abs(before - 2.0 * first + totals[i + along, j + 1 + side]))
                    before, first = totals[i - 1 + side, j + along], totals[i + side, j + along]
                    change = max(change, abs(before - 2.0 * first + totals[i + 1 + side, j + along]))
            marks[i, j] = change > threshold * brightest
