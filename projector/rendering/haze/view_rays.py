"""The rays of the camera along which light in haze is summed: a coarse grid, and finer ones where that is uneven."""

from __future__ import annotations

import numpy as np

from projector.rendering import sampling
from projector.rendering.sampling import PointSet
from projector.tracing.light.air import Air, Sums, ViewRays, mark_uneven
from projector.tracing.rays.first_hits import NOTHING
from projector.tracing.rays.surfaces import PinholeCamera

# Where light changes its slope from one ray of the coarse grid to the next by more than this share of it, there are
# finer rays: halfway between two rays it is else wrong by an eighth of that, 1 %, where it bends evenly.
UNEVEN = 0.08


def ends_of(points: PointSet, camera: PinholeCamera, air: Air) -> np.ndarray:
    """How far (m) the camera's rays to the points of a set go, (n,) float64: to them, or as deep as the haze is."""
    ends = np.linalg.norm(points.points.positions.astype(float) - np.array(camera.position), axis=1)
    ends[points.points.owners == NOTHING] = air.depth
    return ends


def view_rays(work, air: Air, across: int, *view) -> ViewRays:
    """A coarse grid of rays over a View, about so many across, and one more all round: it lies the same whatever rows
    are looked at.
    """
    arrays, camera, window, _ = view
    stride = max(1, camera.width // across)
    first = window.first // stride * stride - stride
    last, right = -(-window.last // stride) * stride + stride, -(-camera.width // stride) * stride + stride
    # Yet one more, for how far neighbours look.
    down = np.arange(first - stride, last + stride + 1, stride) + 0.5
    aside = np.arange(-2 * stride, right + stride + 1, stride) + 0.5
    rows, columns = np.meshgrid(down, aside, indexing="ij")
    points, triangles = sampling.shoot(
        arrays, camera, columns.ravel(), rows.ravel(), float(stride), work.workers, work.progress
    )
    ends = ends_of(PointSet(points, triangles, None, 1), camera, air).reshape(rows.shape)
    farthest = np.lib.stride_tricks.sliding_window_view(ends, (3, 3)).max(axis=(2, 3))
    inside = (slice(1, -1), slice(1, -1))
    return ViewRays(
        place=tuple(map(float, camera.position)),
        directions=directions_through(camera, columns[inside].ravel(), rows[inside].ravel()),
        ends=ends[inside].flatten(),
        farthest=farthest.flatten(),
        owners=points.owners.reshape(rows.shape)[inside].flatten(),
        numbers=np.arange(farthest.size, dtype=np.int32).reshape(farthest.shape),
        first_row=first,
        first_column=-stride,
        stride=stride,
    )


def finer_rays(work, air: Air, rays: ViewRays, light: Sums, fine: int, *view) -> ViewRays | None:
    """Rays through every `fine`-th pixel of those cells of a coarse grid in which its light, of one channel, is not
    even; None where the grid is as fine as that.
    """
    arrays, camera, _, _ = view
    stride = rays.stride // fine
    if stride <= 1:
        return None
    totals = np.append(light.sums[:, -1, 0], np.float32(0.0))[light.rows].reshape(rays.numbers.shape)
    marks = np.zeros((totals.shape[0] - 1, totals.shape[1] - 1), np.bool_)
    mark_uneven(totals, UNEVEN, 0, len(marks), marks)
    wanted = np.zeros([(size - 1) * stride + 1 for size in totals.shape], np.bool_)
    farthest = np.zeros(wanted.shape)
    ends = rays.farthest.reshape(totals.shape)
    for i, j in np.argwhere(marks):
        part = (slice(i * stride, (i + 1) * stride + 1), slice(j * stride, (j + 1) * stride + 1))
        wanted[part] = True
        farthest[part] = np.maximum(farthest[part], ends[i : i + 2, j : j + 2].max())
    numbers = np.full(wanted.shape, -1, np.int32)
    rows, columns = np.nonzero(wanted)
    numbers[rows, columns] = np.arange(rows.size)
    columns, lines = fine * columns + rays.first_column + 0.5, fine * rows + rays.first_row + 0.5
    points, triangles = sampling.shoot(arrays, camera, columns, lines, float(fine), work.workers, work.progress)
    own = ends_of(PointSet(points, triangles, None, 1), camera, air)
    return ViewRays(
        place=rays.place,
        directions=directions_through(camera, columns, lines),
        ends=own,
        farthest=np.maximum(farthest[wanted], own),
        owners=points.owners,
        numbers=numbers,
        first_row=rays.first_row,
        first_column=rays.first_column,
        stride=fine,
    )


def directions_through(camera: PinholeCamera, columns: np.ndarray, rows: np.ndarray) -> np.ndarray:
    """Directions (n, 3) of length 1 through picture positions (n,), in pixels."""
    pixel = _pixel(camera)
    x, y = (columns - 0.5 * camera.width) * pixel, (rows - 0.5 * camera.height) * pixel
    along = np.outer(x, camera.right) + np.outer(y, camera.down) + np.array(camera.forward)
    return along / np.linalg.norm(along, axis=1, keepdims=True)


def _pixel(camera: PinholeCamera) -> float:
    """Width of a pixel at distance 1."""
    return 2.0 * camera.half_width / camera.width
