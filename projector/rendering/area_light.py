"""The light of panels, tubes and bare heads on points, as the fast way finds it: how much would arrive, and the
share of it that is seen.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from projector.rendering.workers import Progress, Workers
from projector.stage.surfaces import SceneArrays
from projector.tracing.light.area import (
    N_RAYS,
    SQUARE,
    fill_open,
    fill_shares_alone,
    fill_shares_of_rows,
    gather_flags,
    look_again_at_rows,
    look_alone_where_few,
    look_first_at_rows,
)
from projector.tracing.light.area_reference import glossy_light_by_rays, light_by_rays
from projector.tracing.light.glossy import Glossy
from projector.tracing.light.highlights import (
    fill_open_sheen,
    look_along_lobes,
    take_lobes_alone,
    take_lobes_of_rows,
)
from projector.tracing.light.shine import N_RAYS_MADE, Shine
from projector.tracing.sight.points import Points, n_points

_ROWS_PIECE, _ALONE_PIECE = 8, 2048
# Rays of a point that is measured, not looked at: as many as a light has.
MEASURED_RAYS = N_RAYS_MADE


class Rows(NamedTuple):
    """How points lie: in rows of `width`, the first of them number `first` of the whole picture."""

    width: int
    first: int = 0


class Received(NamedTuple):
    """What n points get of a light: value (n,) float32, E/L in sr, and the share (n,) float32 of it that they see."""

    value: np.ndarray
    share: np.ndarray


class Sheen(NamedTuple):
    """What the skins of n points do with a light: body (n,) float32, the factor on what the body sends back (1 without
    a skin); lobe (n,) float32, what shines to the eye over it, in the sr of `Received.value` on a white matte surface.
    """

    body: np.ndarray
    lobe: np.ndarray


def received(
    arrays: SceneArrays,
    shine: Shine,
    points: Points,
    workers: Workers,
    progress: Progress | None = None,
    *,
    rows: Rows | None = None,
    n_rays: int = N_RAYS,
) -> Received:
    """The light of one panel, tube or head on points, per luminance straight ahead: ∫ f·V·cosθ_A·(receiver)/d² dA, sr.

    rows: where the points form a picture's rows, neighbours share what they see (N_RAYS rays each). Else each point is
    on its own with n_rays (a power of 4): by default those of a picture, whose mean counts over points of one pixel.
    """
    count = n_points(points)
    lit = np.empty(count, np.float32)
    workers.run_pieces(count, lambda start, stop: fill_open(shine, points, start, stop, lit), piece=_ALONE_PIECE)
    sums, rays, shares = np.empty((count, 2), np.float32), np.empty(count, np.uint8), np.empty(count, np.float32)
    if rows is not None:
        _look_at_rows(arrays, shine, points, lit, rows, workers, progress, sums, rays, shares)
    else:

        def look(start, stop):
            fill_shares_alone(shine, arrays.bvh, points, lit, n_rays, start, stop, sums, rays, shares)

        workers.run_pieces(count, look, "soft shadows", progress, piece=max(16 * _ALONE_PIECE // n_rays, 16))
    return Received(lit * shares, shares)


def _look_at_rows(arrays, shine, points, lit, rows: Rows, workers, progress, sums, rays, shares) -> None:
    """Rays of points in rows: a first quarter of all, the rest where neighbours do not agree, then the means."""
    width, height = rows.width, len(lit) // rows.width
    flags = np.empty((-(-height // SQUARE), -(-width // SQUARE)), np.uint8)

    def look_first(start, stop):
        look_first_at_rows(shine, arrays.bvh, points, lit, width, rows.first, start, stop, sums, rays)

    def look_again(start, stop):
        look_again_at_rows(shine, arrays.bvh, points, lit, width, rows.first, flags, start, stop, sums, rays)

    def look_alone(start, stop):
        look_alone_where_few(shine, arrays.bvh, points, start, stop, sums, rays, shares)

    def take_means(start, stop):
        fill_shares_of_rows(points, lit, sums, rays, width, height, start, stop, shares)

    workers.run_pieces(height, look_first, "shadows", progress, piece=_ROWS_PIECE)
    gather_flags(rays, width, height, 0, len(flags), flags)
    workers.run_pieces(height, look_again, "soft shadows", progress, piece=_ROWS_PIECE)
    workers.run_pieces(height, take_means, piece=_ROWS_PIECE)
    workers.run_pieces(len(lit), look_alone, "soft shadows", progress, piece=_ALONE_PIECE)


def sheen(
    arrays: SceneArrays,
    shine: Shine,
    points: Points,
    found: Received,
    glossy: Glossy,
    workers: Workers,
    progress: Progress | None = None,
    *,
    rows: Rows | None = None,
) -> Sheen:
    """What skins send to the eye of one light that points were found to get; rows as in `received`."""
    count = n_points(points)
    body, lobe, sums = np.empty(count, np.float32), np.empty(count, np.float32), np.empty((count, 2), np.float32)
    width, first = (rows.width, rows.first) if rows is not None else (0, 0)

    def look_open(start, stop):
        fill_open_sheen(shine, points, glossy, found.value, start, stop, body, lobe)

    def look_along(start, stop):
        look_along_lobes(shine, arrays.bvh, points, glossy, found.share, lobe, width, first, start, stop, sums)

    workers.run_pieces(count, look_open, "highlights", progress, piece=_ALONE_PIECE)
    workers.run_pieces(count, look_along, "highlights", progress, piece=_ALONE_PIECE)
    if rows is None:
        take_lobes_alone(found.share, sums, 0, count, lobe)
        return Sheen(body, lobe)
    height, seen = count // width, lobe.copy()

    def take_means(start, stop):
        take_lobes_of_rows(points, found.share, sums, width, height, start, stop, seen)

    workers.run_pieces(height, take_means, piece=_ROWS_PIECE)
    return Sheen(body, seen)


def received_by_rays(
    arrays: SceneArrays,
    shine: Shine,
    points: Points,
    n_side: int,
    seed: int,
    workers: Workers,
    progress: Progress | None = None,
    glossy: Glossy | None = None,
) -> np.ndarray:
    """The same (n,) by n_side² random rays a point and nothing else: what the fast way is held to.

    With skins (n, 2): body · value, and the lobe.
    """
    out = np.empty(n_points(points) if glossy is None else (n_points(points), 2))

    def work(start, stop):
        if glossy is not None:
            return glossy_light_by_rays(shine, arrays.bvh, points, glossy, n_side, seed, start, stop, out)
        light_by_rays(shine, arrays.bvh, points, n_side, seed, start, stop, out)

    workers.run_pieces(len(out), work, "rays", progress, piece=2048)
    return out
