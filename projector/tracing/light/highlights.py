"""The highlights of lights without a gate on glossy materials, and what their skins leave of the body.

Both are integrals over what shines, by Gauss's rule in slices. Where the lobe is narrow the places crowd where it
mirrors the eye (the sinh rule of P. Johnston & D. Elliott, Int. J. Numer. Meth. Engng 62, 564 (2005)), so that they
follow the highlight smoothly. In penumbra the share of the lobe that is seen is met by rays spread in the same way, and
summed over neighbours.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from projector.geometry import add_scaled, dot, subtract
from projector.jit import formula, kernel
from projector.optics.scattering import kept_share
from projector.tracing.light.area import N_PATTERNS, N_RAYS, SHARP_STEP, belong_together, pattern_at, row_of
from projector.tracing.light.glossy import N_RAYS_ALONE, is_glossy, sent_back, view_from
from projector.tracing.light.shine import BALL, TUBE, ray_to
from projector.tracing.rays.bvh import blocker
from projector.tracing.sight.emitter import direction_in_light_frame, in_light_frame
from projector.tracing.sight.outline import DISC, POLYGON, RECTANGLE

# From this span of the sinh rule on, the next count of places: each keeps the sum to about 0.5 %.
_SPANS = (0.8, 2.0, 5.0)


@formula
def _ends_across(outline):
    """(left, right) end of an outline, in its units."""
    if outline.kind == DISC:
        return -1.0, 1.0
    if outline.kind != POLYGON:
        return -outline.half_sizes[0], outline.half_sizes[0]
    left, right = 0.0, 0.0
    for corner in range(outline.n_blades):
        x = outline.circumradius * math.cos(outline.rotation + 2.0 * math.pi * corner / outline.n_blades)
        left, right = min(left, x), max(right, x)
    return left, right


@formula
def _ends_of_slice(outline, x):
    """(lowest, highest) y of an outline at x; the first is not below the second where there is nothing."""
    if outline.kind == DISC:
        half = math.sqrt(max(1.0 - x * x, 0.0))
        return -half, half
    if outline.kind != POLYGON:
        return -outline.half_sizes[1], outline.half_sizes[1]
    apothem = outline.circumradius * math.cos(math.pi / outline.n_blades)
    low, high = -outline.circumradius, outline.circumradius
    for side in range(outline.n_blades):
        angle = outline.rotation + 2.0 * math.pi * (side + 0.5) / outline.n_blades
        across, down = math.cos(angle), math.sin(angle)
        if abs(down) < 1e-9:
            continue
        end = (apothem - x * across) / down
        if down > 0.0:
            high = min(high, end)
        else:
            low = max(low, end)
    return low, high


class _Rim(NamedTuple):
    """The far edge of a frame round the front, drawn back to the front as a point sees it: x·share + shift there."""

    share: float
    x: float
    y: float


@formula
def _rim_seen(shine, here):
    """How a point (light's frame, m) sees the frame's edge; all of the front without a frame."""
    if shine.lip <= 0.0:
        return _Rim(1.0, 0.0, 0.0)
    step = shine.lip / max(here[2], 1e-9)
    radius = shine.emitter.radius
    return _Rim(1.0 - step, step * here[0] / radius, step * here[1] / radius)


@formula
def _mirror_place(shine, here, point, normal, towards):
    """Where in units of the outline a point mirrors the eye, and the width (same units) of a lobe of roughness 1."""
    emitter = shine.emitter
    mirrored = add_scaled((-towards[0], -towards[1], -towards[2]), normal, 2.0 * dot(normal, towards))
    if shine.form == TUBE:
        away = subtract(point, emitter.position)
        along = dot(away, emitter.right)
        facing = add_scaled(away, emitter.right, -along)
        distance = math.sqrt(dot(facing, facing))
        depth = min(dot(mirrored, facing) / distance, -0.05)
        reach = distance / -depth
        return (along + reach * dot(mirrored, emitter.right)) / emitter.radius, 0.0, reach / emitter.radius
    direction = direction_in_light_frame(emitter, mirrored[0], mirrored[1], mirrored[2])
    reach = here[2] / -min(direction[2], -0.05)
    return (
        (here[0] + reach * direction[0]) / emitter.radius,
        (here[1] + reach * direction[1]) / emitter.radius,
        min(reach, math.sqrt(dot(here, here)) * 2.0) / emitter.radius,
    )


class _Crowded(NamedTuple):
    """How places are spread over an outline, in its units: where the lobe peaks, its width there, how much of a way off
    the peak widens it, the ends across, and the frame round the front.
    """

    x: float
    y: float
    width: float
    widens: float
    left: float
    right: float
    rim: _Rim


@formula
def _spread_for(shine, glossy, material, point, normal, view):
    """The spread for a point's lobe; left and right of a light that it sees nothing of are one."""
    here = in_light_frame(shine.emitter, point[0], point[1], point[2])
    x, y, unit = _mirror_place(shine, here, point, normal, view[0])
    # Across the plane of incidence a lobe narrows with the cosine.
    widens = max(view[1], 0.2)
    width = 2.0 * glossy.gloss.roughness[material] * widens * unit
    if shine.form == BALL:
        x, y, width = 0.0, 0.0, max(width, 0.25)
    rim = _rim_seen(shine, here)
    if rim.share <= 0.0:
        return _Crowded(x, y, width, widens, 0.0, 0.0, rim)
    left, right = _ends_across(shine.emitter.outline)
    left, right = max(left, (left - rim.x) / rim.share), min(right, (right - rim.x) / rim.share)
    return _Crowded(x, y, width, widens, left, max(left, right), rim)


@formula
def _ends_down(outline, spread, x):
    """(lowest, highest) y that shines at x; the same where nothing does."""
    low, high = _ends_of_slice(outline, x)
    if spread.rim.share < 1.0:
        rim_low, rim_high = _ends_of_slice(outline, spread.rim.share * x + spread.rim.x)
        low = max(low, (rim_low - spread.rim.y) / spread.rim.share)
        high = min(high, (rim_high - spread.rim.y) / spread.rim.share)
    return low, max(low, high)


@formula
def _width_off(spread, off):
    """Width of the lobe along a line that passes its peak so far off: 1/(1 + (x² + y²)/w²)² is flatter there."""
    return math.sqrt(spread.width * spread.width + (spread.widens * off) ** 2)


@formula
def _width_across(outline, spread):
    """The same of the line across the outline that comes nearest to the peak."""
    return _width_off(spread, max(abs(spread.y) - outline.half_sizes[1], 0.0))


@formula
def _rule(low, high, middle, width):
    """The sinh rule from low to high: (the middle of its variable, half its span)."""
    first, last = math.asinh((low - middle) / width), math.asinh((high - middle) / width)
    return 0.5 * (first + last), 0.5 * (last - first)


@formula
def _count_for(rule):
    """How many of Gauss's places a rule takes."""
    span = 2.0 * rule[1]
    return 4 if span < _SPANS[0] else (8 if span < _SPANS[1] else (16 if span < _SPANS[2] else 32))


@formula
def _placed(rule, node, middle, width):
    """(place, length that a unit of the node's weight stands for) of a node in −1 … 1."""
    turn = rule[0] + rule[1] * node
    return middle + width * math.sinh(turn), rule[1] * width * math.cosh(turn)


@formula
def _arrives(shine, glossy, material, point, normal, view, x, y):
    """(way to a place of the light, what would arrive from it, the share of that for the body, and for the lobe)."""
    goal, value = ray_to(shine, point, x, y)
    way = subtract(goal, point)
    value *= max(dot(normal, way), 0.0) / math.sqrt(dot(way, way))
    if value <= 0.0:
        return goal, 0.0, 0.0, 0.0
    if shine.extinction > 0.0:
        value *= kept_share(shine.extinction, math.sqrt(dot(way, way)))
    left_over, mirrored = sent_back(glossy.gloss, material, normal, view, way)
    return goal, value, left_over, mirrored


@formula
def light_and_lobe(shine, glossy, material, point, normal):
    """(factor on what the body sends back, the lobe's light over the light's luminance in sr), nothing between."""
    outline, nodes = shine.emitter.outline, glossy.nodes
    view = view_from(glossy, point, normal)
    spread = _spread_for(shine, glossy, material, point, normal, view)
    wide = _width_across(outline, spread)
    across = _rule(spread.left, spread.right, spread.x, wide)
    n_across = _count_for(across)
    whole, body, skin, area = 0.0, 0.0, 0.0, 0.0
    for i in range(n_across - 4, 2 * n_across - 4):
        x, length_x = _placed(across, nodes[i, 0], spread.x, wide)
        low, high = _ends_down(outline, spread, x)
        tall = _width_off(spread, x - spread.x)
        down = _rule(low, high, spread.y, tall)
        n_down = _count_for(down)
        for j in range(n_down - 4, 2 * n_down - 4):
            y, length_y = _placed(down, nodes[j, 0], spread.y, tall)
            weight = nodes[i, 1] * length_x * nodes[j, 1] * length_y
            _, value, left_over, mirrored = _arrives(shine, glossy, material, point, normal, view, x, y)
            area += weight
            whole += weight * value
            body += weight * value * left_over
            skin += weight * value * mirrored
    if whole <= 0.0:
        return 1.0, 0.0
    # Gauss's rule takes a round end for a little too large, the lobe over it and the area alike.
    if outline.kind == RECTANGLE or shine.lip > 0.0:
        area = math.pi * outline.area
    return body / whole, skin / area


@kernel
def fill_open_sheen(shine, points, glossy, lit, start, stop, body, skin):
    """`light_and_lobe` of points start … stop that light (lit (n,)) may come to, into body (n,) and skin (n,) float32;
    1 and 0 where there is no skin.
    """
    for i in range(start, stop):
        body[i], skin[i] = 1.0, 0.0
        material = points.materials[i]
        if lit[i] > 0.0 and is_glossy(glossy, material):
            body[i], skin[i] = light_and_lobe(
                shine, glossy, material, row_of(points.positions, i), row_of(points.normals, i)
            )


@formula
def _look_along(shine, bvh, points, glossy, i, first, n_rays):
    """(what rays bring of a point's lobe, what they would with nothing between), in sr. They are spread as the lobe is,
    n_rays of them from number `first` on.
    """
    point, normal, origin = row_of(points.positions, i), row_of(points.normals, i), row_of(points.origins, i)
    material, outline = points.materials[i], shine.emitter.outline
    view = view_from(glossy, point, normal)
    spread = _spread_for(shine, glossy, material, point, normal, view)
    wide = _width_across(outline, spread)
    across = _rule(spread.left, spread.right, spread.x, wide)
    seen, whole, likely = 0.0, 0.0, 0
    for ray in range(first, first + n_rays):
        x, length_x = _placed(across, glossy.rays[ray, 0], spread.x, wide)
        low, high = _ends_down(outline, spread, x)
        tall = _width_off(spread, x - spread.x)
        down = _rule(low, high, spread.y, tall)
        y, length_y = _placed(down, glossy.rays[ray, 1], spread.y, tall)
        goal, value, _, mirrored = _arrives(shine, glossy, material, point, normal, view, x, y)
        value *= mirrored * length_x * length_y
        if value <= 0.0:
            continue
        whole += value
        found = blocker(bvh, origin, subtract(goal, origin), shine.emitter.ray_start, 1.0, likely)
        if found == 0:
            seen += value
        else:
            likely = found
    mean = 4.0 / (n_rays * math.pi * outline.area)
    return seen * mean, whole * mean


@kernel
def look_along_lobes(shine, bvh, points, glossy, shares, skin, width, first_row, start, stop, sums):
    """What points start … stop see of their lobes' light, over neighbours yet to be summed: sums (n, 2) float32.

    Rays go where a point sees a share (n,) of the light between none and all; width: of the picture's rows, 0 for
    points each on its own.
    """
    for i in range(start, stop):
        sums[i, 0] = sums[i, 1] = 0.0
        if skin[i] <= 0.0:
            continue
        if shares[i] <= 0.0 or shares[i] >= 1.0:
            sums[i, 0], sums[i, 1] = shares[i] * skin[i], skin[i]
        else:
            # In rows neighbours have the other patterns; a point on its own needs more rays.
            n_rays = N_RAYS if width > 0 else N_RAYS_ALONE
            pattern = pattern_at(first_row + i // width, i % width) if width > 0 else i
            first = n_rays * pattern % (N_PATTERNS * N_RAYS)
            sums[i, 0], sums[i, 1] = _look_along(shine, bvh, points, glossy, i, first, n_rays)


@kernel
def take_lobes_of_rows(points, shares, sums, width, height, start, stop, skin):
    """Of skin (n,) what is seen, over rows start … stop: in penumbra by the sums of the points round each, so wide that
    every pattern counts alike.
    """
    for row in range(start, stop):
        for column in range(width):
            i = row * width + column
            if skin[i] <= 0.0:
                continue
            if shares[i] <= 0.0 or shares[i] >= 1.0:
                skin[i] *= shares[i]
                continue
            seen, whole = 0.0, 0.0
            for other_row in range(max(row - 2, 0), min(row + 3, height)):
                for other_column in range(max(column - 2, 0), min(column + 3, width)):
                    j = other_row * width + other_column
                    if (
                        sums[j, 1] <= 0.0
                        or abs(shares[j] - shares[i]) > SHARP_STEP
                        or not belong_together(points, i, j)
                    ):
                        continue
                    weight = (0.5 if abs(other_row - row) == 2 else 1.0) * (
                        0.5 if abs(other_column - column) == 2 else 1.0
                    )
                    seen += weight * sums[j, 0]
                    whole += weight * sums[j, 1]
            skin[i] *= seen / whole if whole > 0.0 else shares[i]


@kernel
def take_lobes_alone(shares, sums, start, stop, skin):
    """Of skin (n,) what points start … stop see, each by its own sums."""
    for i in range(start, stop):
        skin[i] *= sums[i, 0] / sums[i, 1] if sums[i, 1] > 0.0 else shares[i]
