"""The slow twin of light in haze: single scattering along a view ray, one random place and one ray at a time.

A plain Monte-Carlo estimate of ∫ exp(−σ·t) · σ·ϖ · p(cosθ) · ∫ L · T · V · exp(−σ·d) · cosθ_A / d² dA dt. A place is
drawn evenly in the angle seen from the light's middle, a pupil point evenly over the pupil; nothing is cut to the beam,
shared between rays or looked up.
"""

from __future__ import annotations

import math

from projector.geometry import add_scaled, dot, subtract
from projector.jit import kernel
from projector.optics.scattering import kept_share, phase
from projector.tracing.gate.lens_law import field_radius_squared, pupil_geometry, share_through_air, straight_slopes
from projector.tracing.light.reference import gate_light, is_seen
from projector.tracing.light.shine import ray_to
from projector.tracing.rays.bvh import any_hit
from projector.tracing.rays.sampling import point_key, uniform
from projector.tracing.sight.emitter import in_light_frame, in_world
from projector.tracing.sight.outline import outline_point
from projector.tracing.sight.points import IN_AIR


@kernel
def add_haze_by_rays(light, bvh, air, place, directions, ends, weights, n_samples, seed, start, stop, out):
    """Add to out (n, n_channels) what the air sends to `place` along directions (n, 3) up to ends (n,) m.

    n_samples: places along each ray, one in each part of the angle. In the convention of surfaces: times π, as a white
    one has a radiance of 1/π of what it receives. weights (1, n_wavelengths, n_channels).
    """
    emitter = light.emitter
    area = math.pi * emitter.radius * emitter.radius * emitter.outline.area
    for i in range(start, stop):
        x = place[0] - emitter.position[0]
        y = place[1] - emitter.position[1]
        z = place[2] - emitter.position[2]
        along = (directions[i, 0], directions[i, 1], directions[i, 2])
        foot = -(x * along[0] + y * along[1] + z * along[2])
        aside = math.sqrt(max(x * x + y * y + z * z - foot * foot, 1e-12))
        first, last = math.atan(-foot / aside), math.atan((ends[i] - foot) / aside)
        key = point_key(seed, i)
        for sample in range(n_samples):
            angle = first + (last - first) * (sample + uniform(key, sample, 0)) / n_samples
            distance = foot + aside * math.tan(angle)
            step = (last - first) / n_samples * aside / math.cos(angle) ** 2
            here = (
                place[0] + distance * along[0],
                place[1] + distance * along[1],
                place[2] + distance * along[2],
            )
            px, py, pz = in_light_frame(emitter, here[0], here[1], here[2])
            if not pz > light.nearest:
                continue
            ux, uy = outline_point(emitter.outline, uniform(key, sample, 1), uniform(key, sample, 2))
            ax, ay = emitter.radius * ux, emitter.radius * uy
            if not is_seen(bvh, here, light, ax, ay):
                continue
            goal = in_world(emitter, ax, ay)
            away = math.sqrt((here[0] - goal[0]) ** 2 + (here[1] - goal[1]) ** 2 + (here[2] - goal[2]) ** 2)
            cosine = (
                (goal[0] - here[0]) * along[0] + (goal[1] - here[1]) * along[1] + (goal[2] - here[2]) * along[2]
            ) / away
            slope_x, slope_y = straight_slopes(light, px / pz, py / pz)
            field_squared = field_radius_squared(light, slope_x, slope_y)
            common = math.pi * air.extinction * air.albedo * phase(cosine, air.asymmetry) * step
            common *= kept_share(air.extinction, distance) * share_through_air(light, px - ax, py - ay, pz)
            common *= area * pupil_geometry(IN_AIR, px, py, pz, 0.0, 0.0, -1.0, ax, ay)
            for wavelength in range(light.inverse_sharp.shape[0]):
                value = common * gate_light(light, wavelength, slope_x, slope_y, field_squared, 1.0 / pz, ax, ay)
                for channel in range(weights.shape[2]):
                    out[i, channel] += weights[0, wavelength, channel] * value


@kernel
def add_shine_haze_by_rays(shine, bvh, air, place, directions, ends, n_samples, seed, start, stop, out):
    """The same of a light without a gate, of luminance 1: out (n,)."""
    emitter = shine.emitter
    for i in range(start, stop):
        along = (directions[i, 0], directions[i, 1], directions[i, 2])
        from_light = subtract(place, emitter.position)
        foot = -dot(from_light, along)
        aside = math.sqrt(max(dot(from_light, from_light) - foot * foot, 1e-12))
        first, last = math.atan(-foot / aside), math.atan((ends[i] - foot) / aside)
        key = point_key(seed, i)
        for sample in range(n_samples):
            angle = first + (last - first) * (sample + uniform(key, sample, 0)) / n_samples
            distance = foot + aside * math.tan(angle)
            step = (last - first) / n_samples * aside / math.cos(angle) ** 2
            here = add_scaled(place, along, distance)
            x, y = outline_point(emitter.outline, uniform(key, sample, 1), uniform(key, sample, 2))
            goal, value = ray_to(shine, here, x, y)
            way = subtract(goal, here)
            if value <= 0.0 or any_hit(bvh, here, way, emitter.ray_start, 1.0):
                continue
            away = math.sqrt(dot(way, way))
            turned = phase(dot(way, along) / away, air.asymmetry)
            kept = kept_share(air.extinction, distance + away)
            out[i] += math.pi * air.extinction * air.albedo * turned * kept * step * value
