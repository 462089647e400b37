"""Rays from points to whatever they meet, and the light that comes back along them."""

from __future__ import annotations

import math

import numpy as np

from projector.geometry import add_scaled
from projector.jit import formula, kernel
from projector.tracing.bounce.cells import side_of
from projector.tracing.rays.bvh import closest_hit
from projector.tracing.rays.sampling import point_key, uniform
from projector.tracing.sight.outline import disc_point

FAR = 1e6
# What a ray meets is one word: the side of a cell in the lower 24 bits, above it how far away it is, on a scale of
# logarithms from a millimetre to 65 m.
NOTHING_MET = 0xFFFFFFFF
MOST_SIDES = 1 << 24
_SIDE_BITS = 24
_NEAREST, _STEPS_PER_OCTAVE = 0.001, 16.0
# 1/distance (1/m) of each step.
NEARNESS = (1.0 / (_NEAREST * 2.0 ** (np.arange(256) / _STEPS_PER_OCTAVE))).astype(np.float32)


@formula
def _met(side, distance):
    """The word of a side at a distance (m)."""
    step = int(_STEPS_PER_OCTAVE * math.log2(max(distance, _NEAREST) / _NEAREST) + 0.5)
    return side | (min(step, 254) << _SIDE_BITS)


@formula
def over_normal(normal, x, y):
    """The unit vector over a point (x, y) of the unit disc in the plane across a unit normal: even places on the disc
    are directions that go with the cosine (T. Malley's way: M. Pharr, W. Jakob, G. Humphreys, Physically Based
    Rendering, 3rd ed. 2016, 13.6.3).
    """
    # Axes across a normal without a branch: T. Duff and others, "Building an orthonormal basis, revisited" (JCGT 6(1),
    # 2017).
    sign = math.copysign(1.0, normal[2])
    a = -1.0 / (sign + normal[2])
    b = normal[0] * normal[1] * a
    across = (1.0 + sign * normal[0] * normal[0] * a, sign * b, -sign * normal[0])
    up = (b, sign + normal[1] * normal[1] * a, -normal[1])
    height = math.sqrt(max(0.0, 1.0 - x * x - y * y))
    return (
        x * across[0] + y * up[0] + height * normal[0],
        x * across[1] + y * up[1] + height * normal[1],
        x * across[2] + y * up[2] + height * normal[2],
    )


@formula
def normal_of(points, i):
    """The unit normal of a point as float64."""
    x, y, z = float(points.normals[i, 0]), float(points.normals[i, 1]), float(points.normals[i, 2])
    scale = 1.0 / math.sqrt(max(x * x + y * y + z * z, 1e-30))
    return x * scale, y * scale, z * scale


@formula
def origin_of(points, i):
    """Where rays of a point start, as float64."""
    return float(points.origins[i, 0]), float(points.origins[i, 1]), float(points.origins[i, 2])


@kernel
def trace_sides(bvh, cells, points, numbers, patterns, n_side, n_apart, seed, start, stop, met):
    """n_side² rays from each of the points start … stop, one in each cell of the unit square, spread with the cosine.

    A cell is cut again into n_apart² parts, of which patterns (n,) int32 choose one: n_apart² points with different
    patterns have together one ray in each part. numbers (n,) int64: what tells points apart, wherever they are listed.
    met (n, n_side²) uint32: what each ray meets, or NOTHING_MET.
    """
    for i in range(start, stop):
        if points.materials[i] < 0:
            for ray in range(n_side * n_side):
                met[i, ray] = NOTHING_MET
            continue
        key = point_key(seed, numbers[i])
        normal = normal_of(points, i)
        origin = origin_of(points, i)
        part = patterns[i] % (n_apart * n_apart)
        for ray in range(n_side * n_side):
            u = (ray % n_side + (part % n_apart + uniform(key, ray, 0)) / n_apart) / n_side
            v = (ray // n_side + (part // n_apart + uniform(key, ray, 1)) / n_apart) / n_side
            x, y = disc_point(u, v)
            direction = over_normal(normal, x, y)
            t, triangle, _, _ = closest_hit(bvh, origin, direction, 0.0, FAR)
            if triangle < 0:
                met[i, ray] = NOTHING_MET
                continue
            place = add_scaled(origin, direction, t)
            across, up = uniform(key, ray, 2) - 0.5, uniform(key, ray, 3) - 0.5
            met[i, ray] = _met(side_of(cells, triangle, place, direction, across, up), t)


@kernel
def nearness_met(met, nearness_of, start, stop, nearness):
    """nearness (n,) of points start … stop: the mean of 1/distance (1/m) over their rays. nearness_of: NEARNESS."""
    for i in range(start, stop):
        near = 0.0
        for ray in range(met.shape[1]):
            if met[i, ray] != NOTHING_MET:
                near += nearness_of[met[i, ray] >> _SIDE_BITS]
        nearness[i] = near / met.shape[1]


@kernel
def arriving(met, sent, nearness_of, rows, places, start, stop, out, spread):
    """What arrives at the points rows[start … stop]: out (n, n_channels) at their places (n,), the mean over their rays
    of what the sides that they meet send back, sent (n_sides, n_channels); a matte side sends the same everywhere.

    spread (n, 2) float32: how fast it may change along the surface, 1/m, and how much of it is chance, both by its
    second channel. The first is 1/distance on the mean to what sends it, less where few rays bring it; or to all that
    may hide what sends it. nearness_of: NEARNESS.
    """
    n_rays = met.shape[1]
    n_channels = sent.shape[1]
    for at in range(start, stop):
        row = rows[at]
        i = places[row]
        for channel in range(n_channels):
            out[i, channel] = 0.0
        near = 0.0
        all_near = 0.0
        squares = 0.0
        for ray in range(n_rays):
            word = met[row, ray]
            if word != NOTHING_MET:
                side = word & (MOST_SIDES - 1)
                for channel in range(n_channels):
                    out[i, channel] += sent[side, channel]
                nearness = nearness_of[word >> _SIDE_BITS]
                all_near += nearness
                near += sent[side, 1] * nearness
                squares += float(sent[side, 1]) * float(sent[side, 1])
        total = max(float(out[i, 1]), 1e-30)
        # As many rays as would bring it if each brought the same.
        n_equal = max(total * total / max(squares, 1e-60), 1.0)
        spread[i, 0] = max(near / total * math.sqrt(math.sqrt(n_equal / n_rays)), all_near / n_rays)
        spread[i, 1] = math.sqrt(max(1.0 - n_equal / n_rays, 0.0) / n_equal)
        for channel in range(n_channels):
            out[i, channel] /= n_rays


@kernel
def share_among_kin(kin, shares, values, start, stop, out):
    """Values (n, n_channels) evened out among neighbours kin (n, k) int32, by shares (n, k), in rows start … stop."""
    for i in range(start, stop):
        for channel in range(values.shape[1]):
            value = values[i, channel]
            for place in range(kin.shape[1]):
                value += shares[i, place] * (values[kin[i, place], channel] - values[i, channel])
            out[i, channel] = value
