"""The slow twin: the light on points by one ray at a time through the lens and the raw bitmap.

A plain Monte-Carlo estimate of E = τ ∫ L · T · V · cosθ_A · cosθ_P / |P − A|² dA over the pupil. Nothing is blurred,
classified or looked up, so that the fast way can be held to it.
"""

from __future__ import annotations

import math

from projector.geometry import subtract
from projector.jit import formula, kernel
from projector.tracing.gate.gate_image import bitmap_value, hot_spot, is_inside_gate
from projector.tracing.gate.lens_law import (
    blade_passes,
    field_radius_squared,
    place_in_gate,
    pupil_geometry,
    share_through_air,
    straight_slopes,
)
from projector.tracing.light.area import row_of
from projector.tracing.light.glossy import is_glossy, sent_back, view_from
from projector.tracing.rays.bvh import any_hit
from projector.tracing.rays.sampling import point_key, uniform
from projector.tracing.sight.emitter import direction_in_light_frame, in_light_frame, in_world
from projector.tracing.sight.outline import outline_point


@formula
def gate_light(light, wavelength, slope_x, slope_y, field_squared, inverse_distance, ax, ay):
    """Relative radiance of one ray of straight slopes: where it left the gate, what stands there, and whether the
    blades let it pass.
    """
    gx, gy = place_in_gate(light, wavelength, slope_x, slope_y, field_squared, inverse_distance, ax, ay)
    if not is_inside_gate(light.gate, gx, gy):
        return 0.0
    for blade in range(light.blades.limits.shape[0]):
        if not blade_passes(light, blade, wavelength, slope_x, slope_y, field_squared, inverse_distance, ax, ay):
            return 0.0
    return hot_spot(light.gate, gx, gy) * bitmap_value(light.bitmap, gx, gy)


@formula
def is_seen(bvh, origin, light, ax, ay):
    """Whether the pupil point (ax, ay) is seen from a place in the world."""
    goal = in_world(light.emitter, ax, ay)
    direction = (goal[0] - origin[0], goal[1] - origin[1], goal[2] - origin[2])
    return not any_hit(bvh, origin, direction, light.emitter.ray_start, 1.0)


@formula
def _to_the_eye(light, points, glossy, i, ax, ay):
    """What goes to the eye of light from a place of the pupil, see `glossy.sent_back`; no lobe without a skin."""
    if not is_glossy(glossy, points.materials[i]):
        return 1.0, 0.0
    point, normal = row_of(points.positions, i), row_of(points.normals, i)
    way = subtract(in_world(light.emitter, ax, ay), point)
    return sent_back(glossy.gloss, points.materials[i], normal, view_from(glossy, point, normal), way)


@kernel
def add_light_by_rays(light, bvh, points, weights, n_side, seed, start, stop, out, glossy=None):
    """The same sums as `pattern.add_light`, from n_side² rays a point, one in each cell of the pupil's unit square.

    points.receiver says what takes the light; a surface, a dome or a point in the air alike. glossy: with skins the
    first three channels are what bodies send to the eye, three more, of white materials, what lobes send.
    """
    area = math.pi * light.emitter.radius * light.emitter.radius * light.emitter.outline.area / (n_side * n_side)
    for i in range(start, stop):
        x, y, z = in_light_frame(light.emitter, points.positions[i, 0], points.positions[i, 1], points.positions[i, 2])
        if points.materials[i] < 0 or not z > light.nearest:
            continue
        nx, ny, nz = direction_in_light_frame(
            light.emitter, points.normals[i, 0], points.normals[i, 1], points.normals[i, 2]
        )
        slope_x, slope_y = straight_slopes(light, x / z, y / z)
        field_squared = field_radius_squared(light, slope_x, slope_y)
        origin = (float(points.origins[i, 0]), float(points.origins[i, 1]), float(points.origins[i, 2]))
        key = point_key(seed, i)
        for sample in range(n_side * n_side):
            u = (sample % n_side + uniform(key, sample, 0)) / n_side
            v = (sample // n_side + uniform(key, sample, 1)) / n_side
            px, py = outline_point(light.emitter.outline, u, v)
            ax = light.emitter.radius * px
            ay = light.emitter.radius * py
            geometry = pupil_geometry(points.receiver, x, y, z, nx, ny, nz, ax, ay)
            if geometry <= 0.0 or not is_seen(bvh, origin, light, ax, ay):
                continue
            geometry *= share_through_air(light, x - ax, y - ay, z)
            body, skin = 1.0, 1.0
            if glossy is not None:
                body, skin = _to_the_eye(light, points, glossy, i, ax, ay)
            for wavelength in range(light.inverse_sharp.shape[0]):
                value = (
                    area * geometry * gate_light(light, wavelength, slope_x, slope_y, field_squared, 1.0 / z, ax, ay)
                )
                for channel in range(weights.shape[2]):
                    share = body if channel < 3 else skin
                    out[i, channel] += weights[points.materials[i], wavelength, channel] * value * share
