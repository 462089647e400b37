"""The points that a picture is made of: a regular grid over the pixels,
and more of them where one a pixel is too few.
"""

from __future__ import annotations

import numbers
from dataclasses import dataclass

import numpy as np

from projector.faults import Fault, SceneError
from projector.phrases import either, within
from projector.rendering.workers import Progress, Workers
from projector.stage.surfaces import SceneArrays
from projector.tracing.rays.first_hits import camera_points, empty_points, mark_outlines
from projector.tracing.rays.surfaces import PinholeCamera
from projector.tracing.sight.points import Points, n_points

ROWS_PER_PIECE = 16


@dataclass(frozen=True)
class Quality:
    """How much work a picture is worth.

    n_wavelengths; grid: samples along each side of a pixel everywhere; edge: the same where outlines or shadow edges
    run; n_side: cells along each side of the pupil's unit square where a shadow falls across it; air: rays across the
    picture along which light in haze is gathered; bounce_points: from how many points of a picture rays go out for what
    comes over other surfaces, bounce_side² from each
    """

    name: str
    n_wavelengths: int
    grid: int
    edge: int
    n_side: int
    air: int
    bounce_points: int
    bounce_side: int


QUALITIES = {
    "quick": Quality("quick", 6, 1, 2, 4, 240, 172_800, 10),
    "fine": Quality("fine", 18, 2, 4, 4, 480, 172_800, 16),
}


# The most points along one side of a picture or a map.
MOST_ACROSS = 16384


def quality_called(name: str) -> Quality:
    """A quality by its name. SceneError for another word."""
    if name not in QUALITIES:
        raise SceneError(Fault(allowed=either(QUALITIES), key="quality", value=name))
    return QUALITIES[name]


def check_counts(**counts: int) -> None:
    """SceneError naming every count of points along a side that is not a whole number from 1 to MOST_ACROSS."""
    faults = [
        Fault(allowed=f"a whole number {within(1, MOST_ACROSS)}", key=key, value=count)
        for key, count in counts.items()
        if not isinstance(count, numbers.Integral) or not 1 <= count <= MOST_ACROSS
    ]
    if faults:
        raise SceneError(faults)


@dataclass(frozen=True)
class PointSet:
    """Points and where they belong: the grid of a window (pixels None) or `per_pixel` for each of the pixels (k,)."""

    points: Points
    triangles: np.ndarray
    pixels: np.ndarray | None
    per_pixel: int

    @property
    def count(self) -> int:
        """How many points there are."""
        return n_points(self.points)


@dataclass(frozen=True)
class Window:
    """The rows first … last of a picture (last not included), worked on at once."""

    first: int
    last: int


def shoot(
    arrays: SceneArrays, camera: PinholeCamera, columns, rows, spread, workers: Workers, progress: Progress | None
):
    """Points where rays through picture positions (n,), in pixels, first meet something, and the triangles (n,) met."""
    points = empty_points(columns.size)
    triangles = np.empty(columns.size, np.int32)

    def work(start, stop):
        camera_points(arrays.bvh, arrays.surfaces, camera, columns, rows, spread, start, stop, points, triangles)

    workers.run_pieces(columns.size, work, "what the camera sees", progress)
    return points, triangles


def grid_points(
    arrays: SceneArrays, camera: PinholeCamera, window: Window, quality: Quality, workers: Workers, progress=None
) -> PointSet:
    """One point (or quality.grid² of them) in every pixel of the window, row after row."""
    columns, rows = _grid_places(camera, window, quality)
    points, triangles = shoot(arrays, camera, columns, rows, 1.0 / quality.grid, workers, progress)
    return PointSet(points, triangles, None, quality.grid**2)


def outline_marks(
    grid: PointSet, camera: PinholeCamera, window: Window, quality: Quality, workers: Workers
) -> np.ndarray:
    """Which pixels (h · w,) of the window lie on an outline or a fold."""
    width, height = camera.width * quality.grid, (window.last - window.first) * quality.grid
    marks = np.empty(width * height, np.bool_)
    workers.run_pieces(
        height,
        lambda start, stop: mark_outlines(grid.triangles, grid.points, width, height, start, stop, marks),
        piece=ROWS_PER_PIECE,
    )
    return pixels_marked(marks, camera.width, quality.grid)


def pixels_marked(marks: np.ndarray, width: int, grid: int) -> np.ndarray:
    """Marks of grid points gathered to marks of pixels."""
    return marks.reshape(-1, grid, width, grid).any(axis=(1, 3)).ravel()


def edge_points(
    arrays: SceneArrays,
    camera: PinholeCamera,
    window: Window,
    pixels: np.ndarray,
    quality: Quality,
    workers: Workers,
    progress=None,
) -> PointSet:
    """quality.edge² points in each of the given pixels (k,) of the window, pixel after pixel."""
    side = quality.edge
    columns, rows = _edge_places(pixels, camera, window, quality)
    points, triangles = shoot(arrays, camera, columns, rows, 1.0 / side, workers, progress)
    return PointSet(points, triangles, pixels, side * side)


def places_of(points: PointSet, camera: PinholeCamera, window: Window, quality: Quality):
    """Where in the picture the points of a set are: columns and rows (n,) float64, in pixels."""
    if points.pixels is None:
        return _grid_places(camera, window, quality)
    return _edge_places(points.pixels, camera, window, quality)


def _grid_places(camera: PinholeCamera, window: Window, quality: Quality) -> tuple[np.ndarray, np.ndarray]:
    step = 1.0 / quality.grid
    across = (np.arange(camera.width * quality.grid) + 0.5) * step
    down = window.first + (np.arange((window.last - window.first) * quality.grid) + 0.5) * step
    rows, columns = np.meshgrid(down, across, indexing="ij")
    return columns.ravel(), rows.ravel()


def _edge_places(pixels: np.ndarray, camera: PinholeCamera, window: Window, quality: Quality):
    offsets = (np.arange(quality.edge) + 0.5) / quality.edge
    sub_rows, sub_columns = (item.ravel() for item in np.meshgrid(offsets, offsets, indexing="ij"))
    columns = (pixels % camera.width)[:, None] + sub_columns[None, :]
    rows = window.first + (pixels // camera.width)[:, None] + sub_rows[None, :]
    return columns.ravel().astype(float), rows.ravel().astype(float)


def gathered(
    grid_values: np.ndarray, edge_sets: list[tuple[PointSet, np.ndarray]], camera: PinholeCamera, quality: Quality
) -> np.ndarray:
    """Values (n, 3) of the grid and of the edge sets as a picture (h, w, 3) float32: each pixel the mean of its points.

    With one point a pixel the picture is made in grid_values itself: filling fresh memory would take as long again.
    """
    width, grid = camera.width, quality.grid
    if grid == 1:
        picture = grid_values.reshape(-1, width, 3)
    else:
        picture = grid_values.reshape(-1, grid, width, grid, 3).mean(axis=(1, 3), dtype=np.float32)
    for points, values in edge_sets:
        if points.pixels.size:
            means = values.reshape(-1, points.per_pixel, 3).mean(axis=1, dtype=np.float32)
            picture.reshape(-1, 3)[points.pixels] = means
    return picture
