"""Lights without a gate as points in the air take them, and what of that haze turns towards the camera."""

from __future__ import annotations

import math

from projector.geometry import dot, subtract
from projector.jit import formula, kernel
from projector.optics.scattering import kept_share, phase
from projector.tracing.light.area import places_level
from projector.tracing.light.shine import ray_to
from projector.tracing.sight.points import DARK

# Places that stand for less than this share of a light are asked at points close by.
_SMALL_SHARE = 0.01


@formula
def _place(points, i):
    return float(points.positions[i, 0]), float(points.positions[i, 1]), float(points.positions[i, 2])


@formula
def _turned(shine, air, here, onwards, x, y, share):
    """What one place of a light, a share of it, gives to `here` and what of that haze turns along `onwards`.

    Right before the light it is taken as spread over its share of the surface: no place shines as a point.
    """
    goal, value = ray_to(shine, here, x, y)
    if value <= 0.0:
        return 0.0
    way = subtract(here, goal)
    squared = dot(way, way) + 1e-12
    distance = math.sqrt(squared)
    spread = share * shine.emitter.radius * shine.emitter.radius * shine.emitter.outline.area
    if share < _SMALL_SHARE:
        value *= squared / (squared + spread)
    turned = phase(dot(way, onwards) / (distance * math.sqrt(dot(onwards, onwards) + 1e-12)), air.asymmetry)
    return share * value * turned * kept_share(air.extinction, distance)


@kernel
def fill_scattered(shine, air, eye, points, state, start, stop, out):
    """E/L (sr) in the air on points start … stop that are not DARK, nothing between, each part of the light less what
    the haze takes and times 4π of the share that goes on to the eye (3): into out (n, 1) float32.
    """
    for i in range(start, stop):
        out[i, 0] = 0.0
        if state[i] == DARK:
            continue
        here = _place(points, i)
        onwards, level, total = subtract(eye, here), places_level(shine, here), 0.0
        for place in range(shine.levels[level], shine.levels[level + 1]):
            x, y, share = shine.places[place, 0], shine.places[place, 1], shine.places[place, 2]
            total += _turned(shine, air, here, onwards, x, y, share)
        out[i, 0] = 4.0 * math.pi * total
