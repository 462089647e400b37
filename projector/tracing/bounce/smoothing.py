"""Light found at few points of a picture: smoothed among neighbours that it can be taken from, and spread to all.

Neighbours are taken from where they lie on the same object in about the same plane. How far, follows from how near the
things are that the light comes from: it changes along a surface over a share of that distance (G. Ward, F. Rubinstein,
R. Clear, "A ray tracing solution for diffuse interreflection", SIGGRAPH 1988), so it stays sharp in corners and where
things touch.
"""

from __future__ import annotations

import math

from projector.jit import formula, kernel

# The share of the distance to what sends the light over which it is taken as even.
EVEN_SHARE = 0.2
# What passes of smoothing before one at a stride leave of a point's own chance, times the stride.
_LEFT_BY_CHANCE = 1.5
# A point's own chance, relative, below which it is told from a change, and above which it is not: 25 and 8 rays.
_TOLD_APART, _NOT_TOLD_APART = 0.2, 0.35
# A neighbour farther over or under a point's plane than this share of its distance lies on another fold.
_STEEPEST = 0.35
NEAREST, NONE_LIKE = 1, 2
# Points that no neighbour is so much like stand for themselves.
_LEAST_LIKENESS = 0.75
# A neighbour so far away, in units of the distance to what rays from it meet, stands for nobody.
_FARTHEST = 0.05


@formula
def likeness(points, i, others, j):
    """How far light at point j of others stands for that at point i, 0 … 1: same object, near plane, near normal; and
    how far apart (m) they are.
    """
    if points.owners[i] != others.owners[j] or points.materials[i] != others.materials[j]:
        return 0.0, 0.0
    cosine = 0.0
    height = 0.0
    squared = 0.0
    for axis in range(3):
        away = others.positions[j, axis] - points.positions[i, axis]
        cosine += points.normals[i, axis] * others.normals[j, axis]
        height += points.normals[i, axis] * away
        squared += away * away
    if cosine <= 0.5 or height * height > _STEEPEST * _STEEPEST * squared + 1e-8:
        return 0.0, 0.0
    # cos¹⁶: half at 17°.
    cosine *= cosine
    cosine *= cosine
    cosine *= cosine
    return cosine * cosine, math.sqrt(squared)


@formula
def _alikeness(one, other, chance):
    """How likely two values differ by chance alone, 0 … 1."""
    difference = (one - other) / max(0.5 * (one + other) * chance, 1e-30)
    return max(1.0 - 0.25 * difference * difference, 0.0)


@kernel
def smooth_rows(points, spread, width, height, stride, values, start, stop, out):
    """One pass over rows start … stop of a grid: values (n, 3) to out, weights 1 2 1 both ways at a stride.

    The first pass, at stride 1, joins the patterns of neighbouring rays; wider ones are taken as far as the light is
    even, by the spread (n, 2) of `rays.arriving`, and where two points differ by no more than chance.
    """
    for row in range(start, stop):
        for column in range(width):
            i = row * width + column
            for channel in range(3):
                out[i, channel] = values[i, channel]
            if points.materials[i] < 0:
                continue
            # Metres over which light is even.
            even = EVEN_SHARE / max(spread[i, 0], 1e-9)
            chance = _LEFT_BY_CHANCE / stride * spread[i, 1]
            # Where few rays bring the light nobody can tell chance from what is there: all is taken together.
            least = min(max((spread[i, 1] - _TOLD_APART) / (_NOT_TOLD_APART - _TOLD_APART), 0.0), 1.0)
            total = 4.0
            red = 4.0 * values[i, 0]
            green = 4.0 * values[i, 1]
            blue = 4.0 * values[i, 2]
            for down in range(-1, 2):
                for right in range(-1, 2):
                    r = row + down * stride
                    c = column + right * stride
                    if (down == 0 and right == 0) or r < 0 or c < 0 or r >= height or c >= width:
                        continue
                    j = r * width + c
                    like, apart = likeness(points, i, points, j)
                    weight = (2 - abs(down)) * (2 - abs(right)) * like
                    if weight > 0.0:
                        weight *= min(max(even / max(apart, 1e-9) - 0.5, 0.0), 1.0)
                    if weight > 0.0 and stride > 1:
                        weight *= max(_alikeness(values[i, 1], values[j, 1], chance), least)
                    if weight > 0.0:
                        total += weight
                        red += weight * values[j, 0]
                        green += weight * values[j, 1]
                        blue += weight * values[j, 2]
            out[i, 0] = red / total
            out[i, 1] = green / total
            out[i, 2] = blue / total


@kernel
def smooth_spread(points, spread, width, height, start, stop, out):
    """Slopes and chance (n, 2) as rows start … stop have them on the mean with their neighbours."""
    for row in range(start, stop):
        for column in range(width):
            i = row * width + column
            slope = 0.0
            chance = 0.0
            weights = 0.0
            for r in range(max(row - 2, 0), min(row + 3, height)):
                for c in range(max(column - 2, 0), min(column + 3, width)):
                    j = r * width + c
                    if points.owners[j] == points.owners[i]:
                        slope += spread[j, 0]
                        chance += spread[j, 1]
                        weights += 1.0
            out[i, 0] = slope / weights
            out[i, 1] = chance / weights


@formula
def _place_in_grid(camera, points, i, width, height):
    """Column and row of a point in a coarse grid of the picture; whole numbers are the grid's own points."""
    dx = points.positions[i, 0] - camera.position[0]
    dy = points.positions[i, 1] - camera.position[1]
    dz = points.positions[i, 2] - camera.position[2]
    depth = dx * camera.forward[0] + dy * camera.forward[1] + dz * camera.forward[2]
    scale = 1.0 / max(depth, 1e-9)
    x = scale * (dx * camera.right[0] + dy * camera.right[1] + dz * camera.right[2]) / camera.half_width
    y = scale * (dx * camera.down[0] + dy * camera.down[1] + dz * camera.down[2]) / camera.half_height
    return 0.5 * (x + 1.0) * width - 0.5, 0.5 * (y + 1.0) * height - 0.5


@kernel
def spread_to_points(camera, coarse, nearness, values, width, height, points, start, stop, out, alone):
    """The light of points start … stop from the grid's points round each: out (n, 3).

    coarse: Points of a grid of width × height over the whole picture; values (width · height, 3). nearness (width ·
    height,): mean 1/distance (1/m) to what rays from them meet. alone (n,) uint8: those that have no neighbour that
    stands for them are marked, NEAREST if there is one on the same object, whose light they get, else NONE_LIKE.
    """
    for i in range(start, stop):
        alone[i] = 0
        for channel in range(3):
            out[i, channel] = 0.0
        if points.materials[i] < 0:
            continue
        x, y = _place_in_grid(camera, points, i, width, height)
        column = math.floor(x)
        row = math.floor(y)
        total = 0.0
        red = 0.0
        green = 0.0
        blue = 0.0
        likest = 0.0
        nearest = 0.0
        for r in range(max(row, 0), min(row + 2, height)):
            for c in range(max(column, 0), min(column + 2, width)):
                j = r * width + c
                like, apart = likeness(points, i, coarse, j)
                weight = max(1.0 - abs(c - x), 1e-3) * max(1.0 - abs(r - y), 1e-3) * like
                if weight > nearest:
                    nearest = weight
                    for channel in range(3):
                        out[i, channel] = values[j, channel]
                if apart * nearness[j] > _FARTHEST:
                    continue
                likest = max(likest, like)
                total += weight
                red += weight * values[j, 0]
                green += weight * values[j, 1]
                blue += weight * values[j, 2]
        if likest >= _LEAST_LIKENESS:
            out[i, 0] = red / total
            out[i, 1] = green / total
            out[i, 2] = blue / total
        else:
            alone[i] = NEAREST if nearest > 0.0 else NONE_LIKE
