"""Lights without a gate as points in the air take them: all of it seen for certain, and what of it haze turns."""

from __future__ import annotations

import math

from projector.geometry import dot, subtract
from projector.jit import formula, kernel
from projector.optics.scattering import kept_share, phase
from projector.tracing.light.area import places_level
from projector.tracing.light.shine import FLAT, ray_to
from projector.tracing.rays.cone import cone_may_touch
from projector.tracing.sight.emitter import in_light_frame
from projector.tracing.sight.points import DARK

HIDDEN, CLEAR, UNSURE = 0, 1, 2


@formula
def _place(points, i):
    return float(points.positions[i, 0]), float(points.positions[i, 1]), float(points.positions[i, 2])


@kernel
def mark_clear(shine, bvh, points, start, stop, state):
    """Into state (n,) uint8 for points in the air start … stop: HIDDEN behind the plane of a flat light, CLEAR where
    nothing stands near the way to any of it, else UNSURE.
    """
    emitter = shine.emitter
    for i in range(start, stop):
        here = _place(points, i)
        if shine.form == FLAT and in_light_frame(emitter, here[0], here[1], here[2])[2] <= 0.0:
            state[i] = HIDDEN
            continue
        towards = subtract(emitter.position, here)
        length = math.sqrt(dot(towards, towards) + 1e-12)
        facing = (towards[0] / length, towards[1] / length, towards[2] / length)
        touched = cone_may_touch(bvh, here, facing, emitter.position, emitter.reach, emitter.ray_start)
        state[i] = UNSURE if touched else CLEAR


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
        onwards = subtract(eye, here)
        length = math.sqrt(dot(onwards, onwards) + 1e-12)
        level, total = places_level(shine, here), 0.0
        for place in range(shine.levels[level], shine.levels[level + 1]):
            goal, value = ray_to(shine, here, shine.places[place, 0], shine.places[place, 1])
            if value <= 0.0:
                continue
            way = subtract(here, goal)
            distance = math.sqrt(dot(way, way) + 1e-12)
            turned = phase(dot(way, onwards) / (distance * length), air.asymmetry)
            total += shine.places[place, 2] * value * turned * kept_share(air.extinction, distance)
        out[i, 0] = 4.0 * math.pi * total
