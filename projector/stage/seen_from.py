"""The points of one object as a projector sees them: the map of a mesh that has no map of its own."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from projector.meshes.surfaces import check_map_size
from projector.stage.surfaces import SceneArrays
from projector.tracing.gate.chief_rays import landed_slopes, opening_border
from projector.tracing.gate.gate_image import open_bitmap
from projector.tracing.gate.lens_law import Projection
from projector.tracing.rays.first_hits import NOTHING, camera_points, empty_points
from projector.tracing.rays.surfaces import PinholeCamera
from projector.tracing.sight.points import Points

# Rays across the beam that look for the object first.
_N_LOOKING = 256


class Seen(NamedTuple):
    """One object as a projector sees it, cropped to it.

    points: in rows, of material 0, or NOTHING where a ray meets nothing or something else; they stand for no area
    shape: rows and columns; extent_m: left, right, bottom, top from the beam's axis at `distance_m`, the object's mean
        distance along it.
    """

    points: Points
    shape: tuple[int, int]
    extent_m: tuple[float, float, float, float]
    distance_m: float


def points_seen_from(light: Projection, arrays: SceneArrays, owner: int, n_across: int) -> Seen | None:
    """The object's points by rays from the pupil's centre, n_across over its own width; None where none of them meets
    it. SceneError for more than a map may hold.
    """
    # As far out as any of the gate lands: with pincushion the corners, with barrel the middles of the sides.
    whole = light._replace(bitmap=open_bitmap(light.gate))
    half_width, half_height = np.abs(landed_slopes(light, opening_border(whole, 64).reshape(-1, 2))).max(axis=0)
    camera = PinholeCamera(
        light.emitter.position,
        light.emitter.right,
        light.emitter.down,
        light.emitter.forward,
        half_width,
        half_height,
        _N_LOOKING,
        math.ceil(_N_LOOKING * half_height / half_width),
    )
    points = _met(arrays, camera, np.arange(camera.width) + 0.5, np.arange(camera.height) + 0.5)
    rows, columns = np.nonzero(points.owners.reshape(camera.height, camera.width) == owner)
    if rows.size == 0:
        return None
    # A ray more on every side: what lies between the outermost that meet it and their neighbours.
    left, right = max(columns.min() - 1, 0), min(columns.max() + 2, camera.width)
    top, bottom = max(rows.min() - 1, 0), min(rows.max() + 2, camera.height)
    step = (right - left) / n_across
    height = max(1, round((bottom - top) / step))
    check_map_size(arrays.names[owner], n_across, height)
    points = _met(arrays, camera, left + step * (np.arange(n_across) + 0.5), top + step * (np.arange(height) + 0.5))
    is_it = points.owners == owner
    if not is_it.any():
        return None
    points.materials[:] = np.where(is_it, 0, NOTHING)
    points.owners[:] = np.where(is_it, owner, NOTHING)
    distance = float(((points.positions[is_it] - light.emitter.position) @ np.array(light.emitter.forward)).mean())
    pixel = 2.0 * half_width / camera.width * distance
    middle_x, middle_y = 0.5 * camera.width, 0.5 * camera.height
    extent = (
        (left - middle_x) * pixel,
        (right - middle_x) * pixel,
        (middle_y - top - height * step) * pixel,
        (middle_y - top) * pixel,
    )
    return Seen(points, (height, n_across), extent, distance)


def _met(arrays: SceneArrays, camera: PinholeCamera, columns: np.ndarray, rows: np.ndarray) -> Points:
    """What rays through all crossings of columns and rows (pixels of a camera) meet, row after row."""
    down, across = np.meshgrid(rows, columns, indexing="ij")
    points = empty_points(down.size)
    camera_points(
        arrays.bvh,
        arrays.surfaces,
        camera,
        across.ravel(),
        down.ravel(),
        0.0,
        0,
        down.size,
        points,
        np.empty(down.size, np.int32),
    )
    return points
