"""The slow twin of `area`: the light of panels, tubes and bare heads by one random ray at a time, nothing shared and no
closed form, so that the fast way can be held to it.
"""

from __future__ import annotations

import math

from projector.geometry import dot, subtract
from projector.jit import kernel
from projector.optics.scattering import kept_share
from projector.tracing.light.area import row_of
from projector.tracing.light.glossy import is_glossy, sent_back, view_from
from projector.tracing.light.shine import ray_to, taken_by
from projector.tracing.rays.bvh import any_hit
from projector.tracing.rays.sampling import point_key, uniform
from projector.tracing.sight.outline import outline_point


@kernel
def light_by_rays(shine, bvh, points, n_side, seed, start, stop, out):
    """E/L (sr) on points start … stop into out (n,) float64: n_side² rays a point, one in each cell of the unit square,
    at a random place in it.
    """
    for i in range(start, stop):
        out[i] = 0.0
        if points.materials[i] < 0:
            continue
        point, normal, origin = row_of(points.positions, i), row_of(points.normals, i), row_of(points.origins, i)
        key = point_key(seed, i)
        total = 0.0
        for sample in range(n_side * n_side):
            u = (sample % n_side + uniform(key, sample, 0)) / n_side
            v = (sample // n_side + uniform(key, sample, 1)) / n_side
            x, y = outline_point(shine.emitter.outline, u, v)
            goal, value = ray_to(shine, point, x, y)
            way = subtract(goal, point)
            value *= taken_by(points.receiver, normal, way) * kept_share(shine.extinction, math.sqrt(dot(way, way)))
            if value > 0.0 and not any_hit(bvh, origin, subtract(goal, origin), shine.emitter.ray_start, 1.0):
                total += value
        out[i] = total / (n_side * n_side)


@kernel
def glossy_light_by_rays(shine, bvh, points, glossy, n_side, seed, start, stop, out):
    """The same of what goes to the eye: out (n, 2) float64, what the body under a skin gets to send back, and the lobe
    over it in the same sr; points without a skin have no lobe.
    """
    for i in range(start, stop):
        out[i, 0] = out[i, 1] = 0.0
        material = points.materials[i]
        if material < 0:
            continue
        point, normal, origin = row_of(points.positions, i), row_of(points.normals, i), row_of(points.origins, i)
        view = view_from(glossy, point, normal)
        key = point_key(seed, i)
        for sample in range(n_side * n_side):
            u = (sample % n_side + uniform(key, sample, 0)) / n_side
            v = (sample // n_side + uniform(key, sample, 1)) / n_side
            x, y = outline_point(shine.emitter.outline, u, v)
            goal, value = ray_to(shine, point, x, y)
            way = subtract(goal, point)
            value *= taken_by(points.receiver, normal, way) / (n_side * n_side)
            value *= kept_share(shine.extinction, math.sqrt(dot(way, way)))
            if value > 0.0 and not any_hit(bvh, origin, subtract(goal, origin), shine.emitter.ray_start, 1.0):
                body, skin = 1.0, 0.0
                if is_glossy(glossy, material):
                    body, skin = sent_back(glossy.gloss, material, normal, view, way)
                out[i, 0] += value * body
                out[i, 1] += value * skin
