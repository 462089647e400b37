"""What a camera sees first: rays through its pixels, and the points on surfaces where they end."""

from __future__ import annotations

import math

import numpy as np

from projector.jit import formula, kernel
from projector.tracing.rays.bvh import closest_hit
from projector.tracing.rays.smooth_surface import rows_of_corners, shadow_ray_start
from projector.tracing.sight.points import Points

NOTHING = -1
_FAR = 1e6
# Below this cosine the patch of surface under a pixel is taken as if seen at it: a grazing patch would have no end.
_LEAST_COSINE = 0.05


def empty_points(count: int) -> Points:
    """Room for `count` points."""
    return Points(
        np.zeros((count, 3), np.float32),
        np.zeros((count, 3), np.float32),
        np.zeros((count, 3), np.float32),
        np.zeros((count, 3), np.float32),
        np.zeros(count, np.float32),
        np.full(count, NOTHING, np.int32),
        np.full(count, NOTHING, np.int32),
    )


@formula
def _blend(a, b, c, weights):
    return (
        weights[0] * a[0] + weights[1] * b[0] + weights[2] * c[0],
        weights[0] * a[1] + weights[1] * b[1] + weights[2] * c[1],
        weights[0] * a[2] + weights[1] * b[2] + weights[2] * c[2],
    )


@formula
def _unit(x, y, z):
    scale = 1.0 / max(math.sqrt(x * x + y * y + z * z), 1e-300)
    return x * scale, y * scale, z * scale


@formula
def _facet(a, b, c):
    e = (b[0] - a[0], b[1] - a[1], b[2] - a[2])
    f = (c[0] - a[0], c[1] - a[1], c[2] - a[2])
    return _unit(e[1] * f[2] - e[2] * f[1], e[2] * f[0] - e[0] * f[2], e[0] * f[1] - e[1] * f[0])


@formula
def store_surface_point(bvh, surfaces, points, row, triangle, u, v, towards, area_facing):
    """Fill one row of `points` with the surface at barycentric (u, v) of a triangle, on the side of `towards`.

    towards: direction from the surface to whoever looks; area_facing: the patch (m²) across the view that the point
    stands for. Where its shadow rays start, `smooth_surface` says.
    """
    weights = (1.0 - u - v, u, v)
    a, b, c = rows_of_corners(surfaces.vertices, surfaces.triangles, triangle)
    na, nb, nc = rows_of_corners(surfaces.normals, surfaces.triangles, triangle)
    place = _blend(a, b, c, weights)
    facet = _facet(a, b, c)
    smooth = _blend(na, nb, nc, weights)
    smooth = _unit(smooth[0], smooth[1], smooth[2])
    if facet[0] * smooth[0] + facet[1] * smooth[1] + facet[2] * smooth[2] < 0.0:
        facet = (-facet[0], -facet[1], -facet[2])
    facing = facet[0] * towards[0] + facet[1] * towards[1] + facet[2] * towards[2]
    side = 1.0 if facing >= 0.0 else -1.0
    start = shadow_ray_start(bvh, surfaces, triangle, weights, place, smooth, facet, side)
    for axis in range(3):
        points.positions[row, axis] = place[axis]
        points.normals[row, axis] = side * smooth[axis]
        points.facets[row, axis] = side * facet[axis]
        points.origins[row, axis] = start[axis]
    points.areas[row] = area_facing / max(abs(facing), _LEAST_COSINE)
    points.materials[row] = surfaces.materials[triangle]
    points.owners[row] = surfaces.owners[triangle]


@kernel
def camera_points(bvh, surfaces, camera, columns, rows, spread, start, stop, points, triangles):
    """Rays through picture positions (columns, rows in pixels, from the top left corner), start … stop.

    spread: side, in pixels, of the square that each ray stands for. Fills `points` and triangles (n,) int32, NOTHING
    where nothing is met.
    """
    pixel = 2.0 * camera.half_width / camera.width
    for i in range(start, stop):
        x = (columns[i] - 0.5 * camera.width) * pixel
        y = (rows[i] - 0.5 * camera.height) * pixel
        direction = (
            x * camera.right[0] + y * camera.down[0] + camera.forward[0],
            x * camera.right[1] + y * camera.down[1] + camera.forward[1],
            x * camera.right[2] + y * camera.down[2] + camera.forward[2],
        )
        depth, triangle, u, v = closest_hit(bvh, camera.position, direction, 0.0, _FAR)
        triangles[i] = triangle
        points.materials[i] = NOTHING
        points.owners[i] = NOTHING
        if triangle < 0:
            continue
        length = math.sqrt(1.0 + x * x + y * y)
        towards = (-direction[0] / length, -direction[1] / length, -direction[2] / length)
        # A square pixel at distance 1 along the axis, carried to the depth of the hit and turned across the ray.
        area = (spread * pixel * depth) ** 2 / length
        store_surface_point(bvh, surfaces, points, i, triangle, u, v, towards, area)


@kernel
def mark_outlines(triangles, points, width, height, start, stop, marks):
    """Mark the pixels of rows start … stop whose neighbours lie on another object, another facing or another depth."""
    for row in range(start, stop):
        for column in range(width):
            i = row * width + column
            marks[i] = False
            for step in range(4):
                other_row = row + (step == 0) - (step == 1)
                other_column = column + (step == 2) - (step == 3)
                if other_row < 0 or other_column < 0 or other_row >= height or other_column >= width:
                    continue
                if _differs(points, triangles, i, other_row * width + other_column):
                    marks[i] = True


@formula
def _differs(points, triangles, i, j):
    """Whether two neighbouring points belong to different surfaces or to a fold of one."""
    if triangles[i] == triangles[j]:
        return False
    if points.owners[i] != points.owners[j]:
        return True
    cosine = 0.0
    height = 0.0
    for axis in range(3):
        cosine += points.normals[i, axis] * points.normals[j, axis]
        height += points.facets[i, axis] * (points.positions[j, axis] - points.positions[i, axis])
    return cosine < 0.9 or height * height > 4.0 * (points.areas[i] + points.areas[j])
