"""The slow twin: light that comes over other surfaces, by one path at a time.

From each point a ray goes out with the cosine; where it ends, one ray goes to a random place of the pupil and through
the lens and the raw bitmap, as in `light.reference`. Nothing is kept, shared or smoothed.
"""

from __future__ import annotations

import math

from projector.jit import formula, kernel
from projector.tracing.bounce.rays import FAR, normal_of, origin_of, over_normal
from projector.tracing.gate.lens_law import field_radius_squared, pupil_geometry, straight_slopes
from projector.tracing.light.reference import gate_light, is_seen
from projector.tracing.rays.bvh import closest_hit
from projector.tracing.rays.first_hits import store_surface_point
from projector.tracing.rays.sampling import point_key, uniform
from projector.tracing.sight.emitter import direction_in_light_frame, in_light_frame
from projector.tracing.sight.outline import disc_point, outline_point


@formula
def _add_light_of_one_ray(light, bvh, points, i, u, v, through, out, row):
    """Add to a row of out what one ray to the pupil brings to point i, by wavelength, times `through`[row]."""
    x, y, z = in_light_frame(light.emitter, points.positions[i, 0], points.positions[i, 1], points.positions[i, 2])
    if not z > light.nearest:
        return
    nx, ny, nz = direction_in_light_frame(
        light.emitter, points.normals[i, 0], points.normals[i, 1], points.normals[i, 2]
    )
    slope_x, slope_y = straight_slopes(light, x / z, y / z)
    field_squared = field_radius_squared(light, slope_x, slope_y)
    px, py = outline_point(light.emitter.outline, u, v)
    ax = light.emitter.radius * px
    ay = light.emitter.radius * py
    geometry = pupil_geometry(points.receiver, x, y, z, nx, ny, nz, ax, ay)
    if geometry <= 0.0 or not is_seen(bvh, origin_of(points, i), light, ax, ay):
        return
    area = math.pi * light.emitter.radius * light.emitter.radius * light.emitter.outline.area
    for wavelength in range(out.shape[1]):
        value = gate_light(light, wavelength, slope_x, slope_y, field_squared, 1.0 / z, ax, ay)
        out[row, wavelength] += through[row, wavelength] * area * geometry * value


@kernel
def add_bounces_by_paths(
    light, bvh, surfaces, reflectances, points, scratch, through, n_side, n_bounces, seed, start, stop, out
):
    """What comes to points start … stop over 1 … n_bounces other surfaces: out (n, n_wavelengths) float64, in the unit
    of `light.reference` with weights of one.

    reflectances (k, n_wavelengths) of materials at the light's wavelengths; n_side² paths a point; scratch: Points and
    through (n, n_wavelengths) float64: a row of each for every point.
    """
    for i in range(start, stop):
        if points.materials[i] < 0:
            continue
        key = point_key(seed, i)
        for path in range(n_side * n_side):
            normal = normal_of(points, i)
            origin = origin_of(points, i)
            for wavelength in range(out.shape[1]):
                through[i, wavelength] = 1.0 / (n_side * n_side)
            for bounce in range(n_bounces):
                u = uniform(key, path * n_bounces + bounce, 0)
                v = uniform(key, path * n_bounces + bounce, 1)
                if bounce == 0:
                    u = (path % n_side + u) / n_side
                    v = (path // n_side + v) / n_side
                x, y = disc_point(u, v)
                direction = over_normal(normal, x, y)
                _, triangle, u, v = closest_hit(bvh, origin, direction, 0.0, FAR)
                if triangle < 0:
                    break
                towards = (-direction[0], -direction[1], -direction[2])
                store_surface_point(bvh, surfaces, scratch, i, triangle, u, v, towards, 0.0)
                for wavelength in range(out.shape[1]):
                    through[i, wavelength] *= reflectances[surfaces.materials[triangle], wavelength]
                u = uniform(key, path * n_bounces + bounce, 2)
                v = uniform(key, path * n_bounces + bounce, 3)
                _add_light_of_one_ray(light, bvh, scratch, i, u, v, through, out, i)
                normal = normal_of(scratch, i)
                origin = origin_of(scratch, i)
