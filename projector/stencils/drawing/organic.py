"""Drawn stencils that look grown: leaves, fronds, twigs, broken light, ripples and clouds.

Each function takes the grid x, y of stencil_shapes. The metal ones return the signed distance to their openings, the
glass ones transmission 0..1. Chance comes from fixed numbers: a drawing never changes.
"""

from __future__ import annotations

import math

import numpy as np

from projector.stencils.drawing.geometric import within_rim
from projector.stencils.drawing.shapes import (
    FAR,
    direction,
    fixed_random,
    lay_over,
    leaf_blade,
    segment,
    smooth_maximum,
    smooth_noise,
    spread_points,
    tuck_under,
    turned,
    union,
    window_of,
)


def _bent(x, y, base, degrees, length, bend):
    """Leaf coordinates from a base: u along the midrib, v across, the midrib bent aside by `bend` times its length."""
    u, v = turned(x - float(base[0]), y - float(base[1]), degrees)
    share = u / length
    return u, v - bend * length * share * (1.0 - share)


def _veined_leaf(base, degrees, length, width, bend):
    """A leaf, cut open but for a midrib that joins the sheet at both ends and side veins that spring from it."""

    def shape(x, y):
        u, v = _bent(x, y, base, degrees, length, bend)
        blade, half = leaf_blade(u, v, length, width, 0.38)
        across = np.abs(v)
        midrib = across - (0.0062 - 0.0035 * np.clip(u / length, 0.0, 1.0))
        spacing = 0.15 * length
        fade = 1.0 - across / np.maximum(0.86 * half, 1e-4)
        root = u - 0.75 * across
        veins = np.abs((root / spacing) % 1.0 - 0.5) * spacing * 0.8 - 0.0036 * (0.65 + 0.35 * np.clip(fade, 0.0, 1.0))
        veins = np.maximum.reduce([smooth_maximum(veins, -0.05 * fade, 0.008), spacing - root, root - 5.0 * spacing])
        return np.maximum(blade, -np.minimum(midrib, veins)), blade

    return shape


def leaves(x, y):
    """Leaves, one before the other, each with a rim of metal around it that ties its veins to the sheet."""
    random = fixed_random(71)
    open_ = np.full(x.shape, FAR, np.float32)
    leaves_, stalks = [], []
    for place in spread_points(21, 0.135, 0.88):
        degrees = math.degrees(math.atan2(place[1] + 0.3, place[0] + 1.4)) + 25.0 + random.uniform(-70, 70)
        length = random.uniform(0.22, 0.36)
        width, bend = length * random.uniform(0.42, 0.56), random.uniform(-0.16, 0.16)
        base, tip = (place + half * length * direction(degrees) for half in (-0.5, 0.5))
        if max(math.hypot(*base), math.hypot(*tip)) > 0.9:
            continue
        leaves_.append((place, 0.3, _veined_leaf(base, degrees, length, width, bend)))
        # A stalk begins a little behind the blade: the metal between them is the midrib's hold.
        heading = degrees + math.degrees(math.atan(bend))
        ends = [base - away * direction(heading) for away in (0.016, 0.075)]
        stalks.append((base, 0.13, lambda x, y, ends=ends: segment(x, y, *ends, 0.0055, 0.0035)))
    for part in leaves_:
        lay_over(x, y, open_, part, 0.013)
    for part in stalks:
        tuck_under(x, y, open_, part, 0.011)
    return within_rim(x, y, open_)


def palm(x, y):
    """A frond: leaflets that stand off a bent midrib on both sides, longest in the middle, the upper ones over the
    lower.
    """
    foot, knee, tip = np.array([-0.52, 0.74]), np.array([-0.24, 0.02]), np.array([0.54, -0.5])
    open_ = np.full(x.shape, FAR, np.float32)
    for share in np.linspace(0.04, 0.96, 22).tolist():
        place = (1 - share) ** 2 * foot + 2 * share * (1 - share) * knee + share**2 * tip
        tangent = 2 * (1 - share) * (knee - foot) + 2 * share * (tip - knee)
        heading = math.degrees(math.atan2(tangent[1], tangent[0]))
        for side in (-1, 1):
            degrees = heading + side * (66.0 - 44.0 * share)
            length = 0.68 * math.sin(math.pi * (0.22 + 0.7 * share)) ** 0.9
            base = place + (0.017 - 0.008 * share) * direction(heading + side * 90.0)
            # Leaflets hang a little, whichever way they point.
            bend = -0.08 * math.cos(math.radians(degrees))
            middle = base + 0.5 * length * direction(degrees)
            lay_over(x, y, open_, (middle, 0.6 * length + 0.05, _leaflet(base, degrees, length, bend)), 0.009)
    return within_rim(x, y, open_)


def _leaflet(base, degrees, length, bend):
    def shape(x, y):
        u, v = _bent(x, y, base, degrees, length, bend)
        blade = leaf_blade(u, v, length, 0.062, 0.32)[0]
        return blade, blade

    return shape


def branches(x, y):
    """A bough from the rim before an open sky, forking into twigs with leaves: metal, all of it hanging together."""
    random = fixed_random(15)
    parts = []

    def bar(start, end, first, last):
        reach = 0.5 * math.dist(start, end) + first + 0.05
        parts.append((0.5 * (start + end), reach, lambda x, y: segment(x, y, start, end, first, last)))

    def leaf(base, degrees, length):
        base = base - 0.006 * direction(degrees)
        bend, width = random.uniform(-0.2, 0.2), random.uniform(0.34, 0.46) * length
        shape = lambda x, y: leaf_blade(*_bent(x, y, base, degrees, length, bend), length, width)[0]  # noqa: E731
        parts.append((base + 0.5 * length * direction(degrees), 0.75 * length, shape))

    def grow(start, degrees, length, radius, depth):
        place, n = start, 4
        for step in range(n):
            degrees += random.uniform(-11, 11)
            end = place + length / n * direction(degrees)
            first = radius * (1.0 - 0.35 * step / n)
            bar(place, end, first, radius * (1.0 - 0.35 * (step + 1) / n))
            place = end
            if depth <= 1 and random.uniform() < 0.6:
                leaf(place, degrees + random.choice([-1, 1]) * random.uniform(35, 65), random.uniform(0.085, 0.125))
            if depth > 1 and step in (1, 2) and random.uniform() < 0.6:
                side = random.choice([-1, 1]) * random.uniform(35, 58)
                grow(place, degrees + side, 0.55 * length, 0.5 * first, depth - 1 if step == 1 else 1)
        if depth == 0:
            leaf(place, degrees, random.uniform(0.1, 0.13))
            return
        for side in (random.uniform(12, 26), -random.uniform(14, 30)):
            grow(place, degrees + side, 0.72 * length, 0.62 * radius, depth - 1)

    for angle, heading, length, radius, depth in (
        (122, -70, 0.52, 0.05, 4),
        (196, 8, 0.3, 0.024, 2),
        (318, 150, 0.3, 0.026, 2),
    ):
        grow(1.0 * direction(angle), heading, length, radius, depth)
    return within_rim(x, y, -union(x, y, parts))


def breakup(x, y):
    """Uneven flakes of light with round corners: the web between them is the metal, and a web always hangs together."""
    from scipy.spatial import Delaunay

    random = fixed_random(3)
    # Bending the plane bends the flakes' sides and leaves the web whole.
    u = x + 0.09 * smooth_noise(2.6 * x, 2.6 * y, 1) + 0.03 * smooth_noise(8.0 * x, 8.0 * y, 2)
    v = y + 0.09 * smooth_noise(2.6 * x, 2.6 * y, 4) + 0.03 * smooth_noise(8.0 * x, 8.0 * y, 5)
    places = spread_points(
        11, lambda place: 0.125 + 0.055 * math.sin(4.1 * place[0] + 1.0) * math.cos(3.7 * place[1]), 1.1, 6000
    )
    first, neighbours = Delaunay(places).vertex_neighbor_vertices
    open_ = np.full(x.shape, FAR, np.float32)
    for index, place in enumerate(places):
        margin, radius, shut = random.uniform(0.007, 0.022), random.uniform(0.025, 0.06), random.uniform() < 0.1
        if shut or np.hypot(*place) > 1.0:
            continue
        window = window_of(x, y, place, 0.24)
        du, dv = u[window] - float(place[0]), v[window] - float(place[1])
        cell = np.full(du.shape, -FAR, np.float32)
        for across, down in (places[neighbours[first[index] : first[index + 1]]] - place).tolist():
            apart = math.hypot(across, down)
            cell = smooth_maximum(cell, du * (across / apart) + dv * (down / apart) - 0.5 * apart, radius)
        open_[window] = np.minimum(open_[window], cell + margin)
    return within_rim(x, y, open_)


def _soft_round(x, y):
    """1 in the middle, 0 from the rim on, with a soft edge."""
    share = np.clip((0.93 - np.hypot(x, y)) / 0.12, 0.0, 1.0)
    return share * share * (3.0 - 2.0 * share)


def ripples(x, y):
    """The bright net that waves throw on the ground of shallow water: glass, in greys.

    Parallel rays, more than one a pixel, are bent by the slope of a sum of plane waves and counted where they land.
    """
    from scipy.ndimage import gaussian_filter

    random = fixed_random(12)
    n_waves, size = 48, x.shape[0]
    number = random.uniform(12.0, 46.0, n_waves)
    heading = random.uniform(0.0, 2.0 * math.pi, n_waves)
    phase = random.uniform(0.0, 2.0 * math.pi, n_waves)
    # Rays start on a grid finer than the pixels and wider than the picture, so that none is missing at its edge.
    n_rays, reach = int(2.5 * size), 1.25
    start = (((np.arange(n_rays) + 0.5) / n_rays * 2.0 - 1.0) * reach).astype(np.float32)
    across, down = start[:, None] * (number * np.cos(heading)), start[:, None] * (number * np.sin(heading)) + phase
    across, down = across.astype(np.float32), down.astype(np.float32)
    push = 0.85 * math.sqrt(2.0 / n_waves) / number * np.sqrt(22.0 / number)

    def landed(weight, along_rows):
        # Σ weight·cos(k·position + phase), by the sum of angles: two thin matrices in place of a sine for each ray.
        weight = weight.astype(np.float32)
        sum_ = (weight * np.cos(down)) @ np.cos(across).T - (weight * np.sin(down)) @ np.sin(across).T
        sum_ += start[None, :] if along_rows else start[:, None]
        return (sum_ + 1.0) * (0.5 * size) - 0.5

    column, row = landed(push * np.cos(heading), True), landed(push * np.sin(heading), False)
    # The sun's disc blurs the net a little, and with it the grain of counted rays.
    light = gaussian_filter(_splat(column.ravel(), row.ravel(), size), 0.0008 * size) * (reach * size / n_rays) ** 2
    return np.clip(0.32 * (light - 0.25), 0.0, 1.0) * _soft_round(x, y)


def _splat(column, row, size):
    """How many of the points at fractional pixels land on each pixel (size, size),
    each shared among its four nearest.
    """
    total = np.zeros(size * size)
    left, top = np.floor(column), np.floor(row)
    right_share, lower_share = column - left, row - top
    for right in (0, 1):
        for lower in (0, 1):
            i, j = left.astype(np.int32) + right, top.astype(np.int32) + lower
            share = np.abs(1 - right - right_share) * np.abs(1 - lower - lower_share)
            within = (i >= 0) & (i < size) & (j >= 0) & (j < size)
            total += np.bincount(j[within] * size + i[within], share[within], size * size)
    return total.reshape(size, size).astype(np.float32)


def clouds(x, y):
    """Clouds, thick and thin: glass, in greys."""
    total = np.zeros(x.shape, np.float32)
    for octave in range(6):
        scale = 1.7 * 2.0**octave
        total += 0.55**octave * smooth_noise(scale * x + 3.1, 1.35 * scale * y + 7.7, 31 + octave)
    share = np.clip(0.5 + 1.15 * total, 0.0, 1.0)
    return share * share * (3.0 - 2.0 * share) * _soft_round(x, y)
