"""The light of panels, tubes and bare heads on many points: what would arrive by closed form or few places, times the
share of it that rays see.

How much of a light a point sees is found with 16 rays a point in one of 16 patterns. All 256 together are evenly spread
over the light however it is cut, and so are the 16 of one pattern and its first four (see `shine.rays_to`). Where a
square of points and all squares round it agree on the first quarter of those rays, the rest are not sent. Then every
point takes the mean over its neighbours on the same object, facing and share: no noise, no steps, and no randomness.
"""

from __future__ import annotations

import math

import numpy as np

from projector.geometry import dot, subtract
from projector.jit import formula, kernel
from projector.optics.area_light import disc_on_flat, panel_on_dome, panel_on_flat, sees_whole_disc
from projector.optics.scattering import kept_share
from projector.tracing.light.shine import FLAT, N_LEVELS, TUBE, as_panel, is_polygon, ray_to, taken_by
from projector.tracing.rays.bvh import blocker
from projector.tracing.sight.emitter import direction_in_light_frame, in_light_frame
from projector.tracing.sight.outline import RECTANGLE
from projector.tracing.sight.points import IN_AIR, SURFACE

SQUARE = 4
"""Points along the side of a square that shares its first rays, and of the window that a share is the mean of."""
N_RAYS, N_FIRST = 16, 4
"""Rays that a point of a picture sends, and how many of them before the rest."""
N_PATTERNS = SQUARE * SQUARE
N_ALONE = 64
"""Rays that a point of a picture sends that has too few neighbours."""
ASK_AGAIN = -1.0
"""Stands for the share of such a point."""
SOME_SEEN, SOME_BLOCKED = 1, 2
# Which four of its sixteen rays a pattern sends first, two bits for each pattern: so chosen, by trying, that whatever a
# straight edge hides of a rectangular light, more than 0.2 % of it is met by one of a square's first 64 rays.
_FIRST_FOURS = 0xF058F5B8
# Where shares round a point lie farther apart, a sharp shadow's edge runs there; a mean of more than those near its own
# would blur it. By 16 rays a share scatters by up to 0.2 in a wide penumbra.
_SHARP_EDGE, SHARP_STEP = 0.5, 0.25
# Of the 16 that a whole window weighs; with fewer a mean is as rough as one point's own 16 rays.
_FEW = 5.0
# Neighbours belong together whose normals lie within 37° of each other: a lit cheek turns slowly.
_SAME_FACING = 0.8
_NODES, _WEIGHTS = (tuple(map(float, values)) for values in np.polynomial.legendre.leggauss(8))
# Two places ±t serve ∫ f(t)·cos t dt over ±π/2 up to t³ where t² = ∫ t²·cos t dt / ∫ cos t dt = π²/4 − 2.
_SINE_ACROSS = math.sin(math.sqrt(0.25 * math.pi**2 - 2.0))
# From this much of a light's reach over its distance on, more places stand for it.
_NEAR, _CLOSE = 0.25, 0.7


@formula
def row_of(values, i):
    """Row i of values (n, 3) as a tuple."""
    return float(values[i, 0]), float(values[i, 1]), float(values[i, 2])


@formula
def places_level(shine, point):
    """Which set of places stands for the whole of what shines, seen from a point."""
    return N_LEVELS - 1 if shine.lip > 0.0 else _level_by_nearness(shine, point)


@formula
def _level_by_nearness(shine, point):
    away = subtract(point, shine.emitter.position)
    looks = shine.emitter.reach / math.sqrt(dot(away, away) + 1e-12)
    return 0 if looks < _NEAR else (1 if looks < _CLOSE else N_LEVELS - 1)


@formula
def _seen_of_side(half, place, step):
    """From where to where a side of −half … half is seen over a lip as wide, which lies a share `step` of the way."""
    return max((-half - step * place) / (1.0 - step), -half), min((half - step * place) / (1.0 - step), half)


@formula
def _seen_over_lip(shine, point):
    """The part of a rectangle behind a lip that a point sees, itself one: its middle (x, y) in units of the outline,
    and its width and height over the whole, 0 or less where there is none.
    """
    emitter = shine.emitter
    x, y, away = in_light_frame(emitter, point[0], point[1], point[2])
    if away <= shine.lip:
        return 0.0, 0.0, 1.0, 1.0
    step, half = shine.lip / away, emitter.outline.half_sizes
    low_x, high_x = _seen_of_side(half[0], x / emitter.radius, step)
    low_y, high_y = _seen_of_side(half[1], y / emitter.radius, step)
    across, down = 0.5 * (high_x - low_x) / half[0], 0.5 * (high_y - low_y) / half[1]
    return 0.5 * (low_x + high_x), 0.5 * (low_y + high_y), across, down


@formula
def _sum_over_places(shine, receiver, point, normal):
    """E/L of what shines with nothing between, by as many places as its nearness asks for."""
    level, middle_x, middle_y, across, down = places_level(shine, point), 0.0, 0.0, 1.0, 1.0
    if shine.lip > 0.0 and shine.emitter.outline.kind == RECTANGLE:
        # All places on what is seen of it: few are enough, and none comes and goes at the lip.
        middle_x, middle_y, across, down = _seen_over_lip(shine, point)
        level = _level_by_nearness(shine, point)
        if across <= 0.0 or down <= 0.0:
            return 0.0
    total = 0.0
    for place in range(shine.levels[level], shine.levels[level + 1]):
        x, y = middle_x + across * shine.places[place, 0], middle_y + down * shine.places[place, 1]
        goal, value = ray_to(shine, point, x, y)
        if value > 0.0:
            total += shine.places[place, 2] * value * taken_by(receiver, normal, subtract(goal, point))
    return total * across * down


@formula
def _sum_along_tube(shine, receiver, point, normal):
    """E/L of a tube with nothing between: even steps of the angle under which its length is seen, so that a tube that
    passes close by is summed as well as one far away. By Gauss's rule; across it, two places that serve the
    weight cos t, where r·sin t is how far off its middle line it is met: its surface is even in t up to its rims.
    """
    emitter = shine.emitter
    away = subtract(point, emitter.position)
    along = dot(away, emitter.right)
    distance = math.sqrt(max(dot(away, away) - along * along, 0.0))
    if distance <= emitter.half_height:
        return 0.0
    seen = emitter.half_height / distance
    turn = math.asin(seen * _SINE_ACROSS)
    turns = math.asin(seen)
    side_share = 0.5 * seen / (turns * math.sqrt(1.0 - (seen * _SINE_ACROSS) ** 2))
    first = math.atan2(-emitter.half_width - along, distance)
    last = math.atan2(emitter.half_width - along, distance)
    total = 0.0
    for node in range(len(_NODES)):
        angle = 0.5 * (first + last + _NODES[node] * (last - first))
        place = along + distance * math.tan(angle)
        # d(place) over the whole length, for places that are even in the angle.
        share = 0.5 * _WEIGHTS[node] * (last - first) * distance / (math.cos(angle) ** 2 * 2.0 * emitter.half_width)
        for side in range(2):
            across = (2 * side - 1) * turn / turns * emitter.outline.half_sizes[1]
            goal, value = ray_to(shine, point, place / emitter.radius, across)
            if value > 0.0:
                total += side_share * share * value * taken_by(receiver, normal, subtract(goal, point))
    return total


@formula
def light_at(shine, receiver, point, normal):
    """E/L (sr) at a point of a receiver with a normal, nothing but air between."""
    value = _light_in_clear_air(shine, receiver, point, normal)
    if shine.extinction == 0.0:
        return value
    away = subtract(point, shine.emitter.position)
    return value * kept_share(shine.extinction, math.sqrt(dot(away, away)))


@formula
def _light_in_clear_air(shine, receiver, point, normal):
    """The same: closed forms of even panels, else a sum."""
    if shine.form == TUBE:
        return _sum_along_tube(shine, receiver, point, normal)
    if shine.is_even and shine.form == FLAT and receiver != IN_AIR:
        emitter = shine.emitter
        here = in_light_frame(emitter, point[0], point[1], point[2])
        facing = direction_in_light_frame(emitter, normal[0], normal[1], normal[2])
        if is_polygon(shine):
            if receiver == SURFACE:
                return panel_on_flat(as_panel(shine), here, facing)
            return panel_on_dome(as_panel(shine), here, facing)
        if receiver == SURFACE and sees_whole_disc(emitter.radius, here, facing):
            return disc_on_flat(emitter.radius, here, facing)
    return _sum_over_places(shine, receiver, point, normal)


@kernel
def fill_open(shine, points, start, stop, out):
    """E/L (sr) on points start … stop with nothing between, into out (n,)."""
    for i in range(start, stop):
        out[i] = 0.0
        if points.materials[i] >= 0:
            out[i] = light_at(shine, points.receiver, row_of(points.positions, i), row_of(points.normals, i))


@formula
def pattern_at(row, column):
    """The pattern of a point of a grid: any 4 × 4 neighbours have all of them, four in a square follow each other."""
    return (column & 1) + 2 * (row & 1) + 4 * ((column >> 1 & 1) + 2 * (row >> 1 & 1))


@formula
def _first_ray(pattern):
    """Where in the light's rays the four begin that a point sends first: another four of the sixteen by its pattern."""
    return N_RAYS * pattern + N_FIRST * (_FIRST_FOURS >> 2 * pattern & 3)


@formula
def _send_rays(shine, bvh, points, i, first, last, sums, rays, likely):
    """Send the light's rays first … last of a point: add to sums[i] what arrives and what would, note in rays[i] what
    was found.
    """
    point, normal, origin = row_of(points.positions, i), row_of(points.normals, i), row_of(points.origins, i)
    seen, whole, flags = 0.0, 0.0, 0
    for ray in range(first, last):
        goal, value = ray_to(shine, point, shine.rays[ray, 0], shine.rays[ray, 1])
        if value <= 0.0:
            continue
        value *= taken_by(points.receiver, normal, subtract(goal, point))
        if value <= 0.0:
            continue
        whole += value
        found = blocker(bvh, origin, subtract(goal, origin), shine.emitter.ray_start, 1.0, likely)
        if found == 0:
            seen += value
            flags |= SOME_SEEN
        else:
            likely = found
            flags |= SOME_BLOCKED
    sums[i, 0] += seen
    sums[i, 1] += whole
    rays[i] |= flags
    return likely


@kernel
def look_first_at_rows(shine, bvh, points, lit, width, first_row, start, stop, sums, rays):
    """The first quarter of the rays of every point of the grid's rows start … stop that light may come to.

    lit (n,): what would arrive; sums (n, 2) float32, rays (n,) uint8: filled. first_row: number of the first row in the
    whole picture, by which the patterns go.
    """
    likely = 0
    for row in range(start, stop):
        for column in range(width):
            i = row * width + column
            sums[i, 0] = sums[i, 1] = 0.0
            rays[i] = 0
            if lit[i] > 0.0:
                first = _first_ray(pattern_at(first_row + row, column))
                likely = _send_rays(shine, bvh, points, i, first, first + N_FIRST, sums, rays, likely)


@kernel
def gather_flags(rays, width, height, start, stop, flags):
    """What the points of each square found, over the squares of rows start … stop: flags (rows, across) uint8."""
    across = (width + SQUARE - 1) // SQUARE
    for square_row in range(start, stop):
        for square in range(across):
            found = 0
            for row in range(SQUARE * square_row, min(SQUARE * (square_row + 1), height)):
                for column in range(SQUARE * square, min(SQUARE * (square + 1), width)):
                    found |= rays[row * width + column]
            flags[square_row, square] = found


@formula
def _agree(flags, square_row, square):
    """Whether a square and all those round it found one thing only."""
    found = 0
    for row in range(max(square_row - 1, 0), min(square_row + 2, flags.shape[0])):
        for column in range(max(square - 1, 0), min(square + 2, flags.shape[1])):
            found |= flags[row, column]
    return found != (SOME_SEEN | SOME_BLOCKED)


@kernel
def look_again_at_rows(shine, bvh, points, lit, width, first_row, flags, start, stop, sums, rays):
    """The other rays of the points of rows start … stop whose squares do not agree: they may be in penumbra."""
    likely = 0
    for row in range(start, stop):
        for column in range(width):
            i = row * width + column
            if lit[i] > 0.0 and not _agree(flags, row // SQUARE, column // SQUARE):
                pattern = pattern_at(first_row + row, column)
                begin, first = N_RAYS * pattern, _first_ray(pattern)
                likely = _send_rays(shine, bvh, points, i, begin, first, sums, rays, likely)
                likely = _send_rays(shine, bvh, points, i, first + N_FIRST, begin + N_RAYS, sums, rays, likely)


@formula
def _share(sums, i):
    return sums[i, 0] / sums[i, 1] if sums[i, 1] > 0.0 else 0.0


@formula
def belong_together(points, i, j):
    """Whether two points lie on one object, face alike and lie about in one plane: their shadows then run on."""
    if points.owners[i] != points.owners[j]:
        return False
    return dot(row_of(points.normals, i), row_of(points.normals, j)) >= _SAME_FACING


@formula
def _mean_around(points, sums, rays, width, height, row, column, step):
    """Over the points round one that belong to it and whose share is within a step of its own: (sum of shares, weights,
    flags of their rays, lowest and highest share).
    """
    i = row * width + column
    own = _share(sums, i)
    total, weights, found, lowest, highest = 0.0, 0.0, 0, 1.0, 0.0
    for other_row in range(max(row - 2, 0), min(row + 3, height)):
        for other_column in range(max(column - 2, 0), min(column + 3, width)):
            j = other_row * width + other_column
            share = _share(sums, j)
            if sums[j, 1] <= 0.0 or abs(share - own) > step or not belong_together(points, i, j):
                continue
            weight = 1.0
            if abs(other_row - row) == 2:
                weight *= 0.5
            if abs(other_column - column) == 2:
                weight *= 0.5
            total += weight * share
            weights += weight
            found |= rays[j]
            lowest, highest = min(lowest, share), max(highest, share)
    return total, weights, found, lowest, highest


@kernel
def fill_shares_of_rows(points, lit, sums, rays, width, height, start, stop, shares):
    """The share of the light that each point of rows start … stop sees, into shares (n,) float32.

    The mean over the points round it, so wide that every pattern counts alike: 5 × 5, the outer ones by half. A point
    none of whose rays met a part that shines (a grid's last light) goes by its neighbours; one in penumbra that has
    too few of them, as in the folds of an ear, is left to `look_alone_where_few`.
    """
    for row in range(start, stop):
        for column in range(width):
            i = row * width + column
            shares[i] = 0.0
            if lit[i] <= 0.0:
                continue
            total, weights, found, lowest, highest = _mean_around(points, sums, rays, width, height, row, column, 2.0)
            if highest - lowest > _SHARP_EDGE and sums[i, 1] > 0.0:
                total, weights, found, _, _ = _mean_around(points, sums, rays, width, height, row, column, SHARP_STEP)
            # All seen is exact: no rounding between them.
            if found == SOME_SEEN:
                shares[i] = 1.0
            elif found == (SOME_SEEN | SOME_BLOCKED) and weights < _FEW:
                shares[i] = ASK_AGAIN
            elif weights > 0.0:
                shares[i] = total / weights


@kernel
def look_alone_where_few(shine, bvh, points, start, stop, sums, rays, shares):
    """Of points start … stop those that had too few neighbours for a mean (ASK_AGAIN) send more rays of their own."""
    likely = 0
    for i in range(start, stop):
        if shares[i] == ASK_AGAIN:
            sums[i, 0] = sums[i, 1] = 0.0
            likely = _send_rays(shine, bvh, points, i, 0, N_ALONE, sums, rays, likely)
            shares[i] = _share(sums, i)


@kernel
def fill_shares_alone(shine, bvh, points, lit, n_rays, start, stop, sums, rays, shares):
    """The share that points start … stop see, each by rays of its own and no neighbours: the light's first n_rays.

    With N_RAYS a point takes one pattern after another, so that the mean over N_PATTERNS points, as of one pixel, is as
    good as if each had sent the rays of all.
    """
    likely = 0
    for i in range(start, stop):
        sums[i, 0] = sums[i, 1] = 0.0
        rays[i] = 0
        shares[i] = 0.0
        if lit[i] > 0.0:
            first = N_RAYS * (i % N_PATTERNS) if n_rays == N_RAYS else 0
            likely = _send_rays(shine, bvh, points, i, first, first + n_rays, sums, rays, likely)
            shares[i] = 1.0 if rays[i] == SOME_SEEN or sums[i, 1] <= 0.0 else _share(sums, i)


@kernel
def tint(values, materials, table, start, stop, out):
    """What materials send back of one light: table (k, 3) over materials times values (n,), into out (n, 3) float32."""
    for i in range(start, stop):
        material = materials[i]
        for channel in range(3):
            out[i, channel] = values[i] * table[material, channel] if material >= 0 else 0.0
