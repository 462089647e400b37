"""The points of one object as a projector sees them: the map of a mesh that has no map of its own."""

from __future__ import annotations

import math

import numpy as np

from projector.tracing.arrays import Camera, SceneArrays, focus_of, light_arrays
from projector.tracing.chief_rays import landed_slopes, opening_border
from projector.tracing.first_hits import NOTHING, camera_points, empty_points
from projector.tracing.gate_image import open_bitmap
from projector.tracing.points import Points


def points_seen_from(scene, spec, arrays: SceneArrays, owner: int, n_across: int) -> tuple[Points, tuple[int, int], tuple[float, float, float, float]]:
    """Points in rows, (rows, columns) and extent (left, right, bottom, top in m at the focus distance).

    Rays go from the pupil's centre evenly over the beam; those that meet nothing or another object give points of no
    material, the others have material 0. The points stand for no area.
    """
    light = light_arrays(scene, spec, [587.5618])
    # As far out as any of the gate lands: with pincushion the corners, with barrel the middles of the sides.
    whole = light._replace(bitmap=open_bitmap(light.gate))
    half_width, half_height = np.abs(landed_slopes(light, opening_border(whole, 64).reshape(-1, 2))).max(axis=0)
    height = max(1, math.ceil(n_across * half_height / half_width))
    camera = Camera(light.position, light.right, light.down, light.forward, half_width, half_height, n_across, height)
    rows, columns = np.meshgrid(np.arange(height) + 0.5, np.arange(n_across) + 0.5, indexing="ij")
    points = empty_points(rows.size)
    triangles = np.empty(rows.size, np.int32)
    camera_points(arrays.bvh, arrays.surfaces, camera, columns.ravel(), rows.ravel(), 0.0, 0, rows.size, points, triangles)
    points.materials[:] = np.where(points.materials == owner, 0, NOTHING)
    across = half_width * abs(focus_of(scene, spec).sharp_distance)
    up = across * height / n_across
    return points, (height, n_across), (-across, across, -up, up)
