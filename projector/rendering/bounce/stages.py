"""Light that surfaces send to each other, in stages that are functions of their inputs, as those of `rendering.stages`.

    cells      the meshes alone: all surfaces in cells, and places spread over them
    between    the same: what rays from those places meet, for what bounces more than once
    gather     the camera too: what rays from points of the picture meet
    sent       a light: what it puts on the places and they send back, and what of that bounces on, band by band
    layer      what the picture's points get of it

A light's level plays no part in them: it scales the layer. Its colour, its lens or its place trace no ray anew here.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy.spatial import cKDTree

from projector.photometry.spectra import STEPS_NM
from projector.photometry.wavelength_nodes import choose_nodes
from projector.rendering import prepared_light
from projector.rendering.area_light import Received
from projector.rendering.prepared_light import XYZ_CHANNELS, PreparedLight, Reach
from projector.rendering.sampling import PointSet, Quality
from projector.rendering.stages import Work, as_picture
from projector.stage.surfaces import SceneArrays
from projector.tracing.bounce.cells import Cells, Grain, make_cells
from projector.tracing.bounce.rays import NEARNESS, arriving, nearness_met, share_among_kin, trace_sides
from projector.tracing.bounce.samples import SurfacePlaces, spread_samples
from projector.tracing.bounce.smoothing import NEAREST, smooth_rows, smooth_spread, spread_to_points
from projector.tracing.rays.first_hits import camera_points, empty_points
from projector.tracing.rays.surfaces import PinholeCamera
from projector.tracing.sight.points import Points, Visibility, chosen

# Side of a cell in metres, on sitters and on all else, within this distance of the middle; places in each.
_SITTER_STEP, _STEP, _RADIUS = 0.007, 0.02, 3.0
_MOST_SQUARES, _PER_CELL = 250_000, 2
# Rays of each place, and into how many parts their directions are told among the places of a cell.
_PLACE_SIDE, _PLACE_APART = 4, 2
# Points of the picture of two by two, and four side by side, have all parts of the directions between them: weights 1 2
# 1 both ways take as much of each. Strides of smoothing.
_POINT_APART, _STRIDES = 2, (1, 2, 4, 8)
# Cells whose light is taken together where it bounces once more, and metres that others of another facing or object
# seem to be away.
_KIN, _FACING_APART, _OBJECT_APART = 9, 0.3, 1.0
# Points whose rays go less far than 1/so much (m) on the mean get twice as many.
_CLOSE = 4.0
# The relative chance of a point's own rays at which its neighbour's light counts as much as they.
_OWN_CHANCE = 0.25
_PATTERNS = np.array([0, 3, 2, 1], np.int32)
_SEED = 0
_POINTS_PER_PIECE, _ROWS_PER_PIECE = 1024, 16
# So many that a second surface meets a red wall's light where that lies within a band: twelve are 3.5 % off.
N_BANDS = 32


def _bands() -> np.ndarray:
    """Bands (N_BANDS, 71) of all lights: hats that sum to 1 at every wavelength, narrow where the eye is keen."""
    return choose_nodes(np.ones(STEPS_NM.size), N_BANDS).hat


BANDS = _bands()
# Sums (71, N_BANDS) of power in the bands.
BAND_CHANNELS = (BANDS * STEPS_NM).T


@dataclass(frozen=True)
class Cloud:
    """All surfaces in cells, and the places on them where light is looked for."""

    cells: Cells
    samples: SurfacePlaces

    @property
    def points(self) -> Points:
        """The places."""
        return self.samples.points

    @property
    def materials(self) -> np.ndarray:
        """Material (n_sides,) of each side of a cell."""
        found = np.zeros(self.cells.n_sides, np.int32)
        found[self.samples.sides] = self.points.materials
        return found

    def means(self, values: np.ndarray) -> np.ndarray:
        """Means (n_sides, n_channels) float32 over each side of a cell of values (n, n_channels) at its places."""
        sides, areas, n_sides = self.samples.sides, self.samples.areas, self.cells.n_sides
        total = np.maximum(np.bincount(sides, areas, n_sides), 1e-300)
        sums = [np.bincount(sides, areas * column, n_sides) / total for column in values.T]
        return np.ascontiguousarray(np.stack(sums, axis=1), np.float32)


class Gather(NamedTuple):
    """Points of a coarse grid over the whole picture, and what their rays (n, n_rays) meet.

    nearness (n,): mean 1/distance (1/m) to that; close (p,): points with things near them, where light changes in
    little space; met_close (p, more rays) of them
    """

    points: Points
    width: int
    height: int
    met: np.ndarray
    nearness: np.ndarray
    close: np.ndarray
    met_close: np.ndarray


def cloud(work: Work, arrays: SceneArrays, n_figures: int) -> Cloud:
    """The cells of all surfaces; the last n_figures objects are sitters, which get finer ones."""
    surfaces = arrays.surfaces
    is_sitter = np.arange(len(arrays.names)) >= len(arrays.names) - n_figures
    steps = np.where(is_sitter, _SITTER_STEP, _STEP)
    cells, grain = make_cells(surfaces, Grain(steps, *_middle_of(surfaces, is_sitter)), _MOST_SQUARES)
    run = work.workers.run_pieces
    return Cloud(*spread_samples(surfaces, arrays.bvh, cells, grain, _PER_CELL, run))


def _middle_of(surfaces, is_sitter: np.ndarray) -> tuple[np.ndarray, float]:
    """Where the scene plays, and how far round that cells are fine: about the sitters, or about everything."""
    owners = np.flatnonzero(is_sitter) if is_sitter.any() else np.arange(is_sitter.size)
    middles, half = [], 0.0
    for owner in owners:
        corners = surfaces.vertices[surfaces.triangles[surfaces.owners == owner].ravel()]
        low, high = corners.min(axis=0), corners.max(axis=0)
        middles.append(0.5 * (low + high))
        half = max(half, float(np.linalg.norm(high - low)))
    middle = np.mean(middles, axis=0)
    apart = max(float(np.linalg.norm(place - middle)) for place in middles)
    return middle, max(_RADIUS, apart + half if is_sitter.any() else 0.0)


def on_cloud(
    work: Work,
    prepare: Callable[[], PreparedLight],
    weights: np.ndarray,
    cloud: Cloud,
    seen: Visibility,
    reach: Reach,
) -> np.ndarray:
    """One light on the places of a cloud: (n, n_channels) float32."""
    prepared = prepare()
    out = np.zeros((len(cloud.samples.sides), weights.shape[2]), np.float32)
    with prepared_light.stacks_ready(prepared, reach) as stacks:
        prepared_light.light_points(prepared, cloud.points, seen, stacks, weights, out, work.workers, work.progress)
    return out


def tinted_cloud(table: np.ndarray, cloud: Cloud, received: Received) -> np.ndarray:
    """A light without a gate on the places of a cloud: (n, n_channels) float32, by a table (k, n_channels) of what each
    material sends back.
    """
    return (table[cloud.points.materials] * received.value[:, None]).astype(np.float32)


class Between(NamedTuple):
    """What rays (n, n_rays) from a cloud's places meet; of each side those near it (n_sides, _KIN) int32, and shares of
    each (n_sides, _KIN) float32 that it takes the difference to.
    """

    met: np.ndarray
    kin: np.ndarray
    shares: np.ndarray


def between(work: Work, arrays: SceneArrays, cloud: Cloud) -> Between:
    """Rays from the cloud's places, for what bounces more than once."""
    met = _traced(work, arrays, cloud, cloud.points, cloud.samples.patterns, _PLACE_SIDE, _PLACE_APART)
    points = cloud.points
    middles = cloud.means(
        np.concatenate(
            [points.positions, _FACING_APART * points.facets, _OBJECT_APART * points.owners[:, None]], axis=1
        )
    )
    count = min(_KIN, len(middles))
    _, kin = cKDTree(middles).query(middles, count, workers=work.workers.threads)
    kin = kin.reshape(len(middles), count).astype(np.int32)
    # Only where each is near the other, and by the smaller area of both: what one gains the other loses.
    mutual = (kin[kin] == np.arange(len(kin))[:, None, None]).any(axis=2)
    areas = np.bincount(cloud.samples.sides, cloud.samples.areas, cloud.cells.n_sides)
    shares = mutual * np.minimum(areas[kin] / np.maximum(areas, 1e-30)[:, None], 1.0) / count
    return Between(met, kin, shares.astype(np.float32))


def gather(work: Work, arrays: SceneArrays, cloud: Cloud, camera: PinholeCamera, quality: Quality) -> Gather:
    """Rays from points all over the picture, as many points as the quality asks for or one a pixel."""
    step = max(1.0, np.sqrt(camera.width * camera.height / quality.bounce_points))
    width, height = (int(np.ceil(side / step)) for side in (camera.width, camera.height))
    columns, rows = np.meshgrid((np.arange(width) + 0.5), (np.arange(height) + 0.5))
    points, triangles = empty_points(width * height), np.empty(width * height, np.int32)
    coarse = camera._replace(width=width, height=height)
    columns, rows = columns.ravel(), rows.ravel()
    # Rows of the coarse grid fill the picture's height exactly, whatever the ratio of both.
    rows = (rows - 0.5 * height) * (camera.half_height / height) / (camera.half_width / width) + 0.5 * height
    work.workers.run_pieces(
        columns.size,
        lambda start, stop: camera_points(
            arrays.bvh, arrays.surfaces, coarse, columns, rows, 1.0, start, stop, points, triangles
        ),
    )
    index = np.arange(width * height)
    patterns = _PATTERNS[(index % width + 2 * (index // width)) % 4]
    met = _traced(work, arrays, cloud, points, patterns, quality.bounce_side, _POINT_APART)
    nearness = np.empty(len(met), np.float32)
    work.workers.run_pieces(len(met), lambda start, stop: nearness_met(met, NEARNESS, start, stop, nearness))
    close = np.flatnonzero(nearness > _CLOSE)
    more = chosen(points, close)
    met_close = _traced(work, arrays, cloud, more, patterns[close], _close_side(quality), _POINT_APART)
    return Gather(points, width, height, met, nearness, close, met_close)


def _close_side(quality: Quality) -> int:
    """Rays of points with things near them along each side of the square: twice as many as of others in all."""
    return quality.bounce_side * 3 // 2


def _traced(work: Work, arrays: SceneArrays, cloud: Cloud, points: Points, patterns, n_side: int, n_apart: int):
    met = np.empty((len(points.materials), n_side * n_side), np.uint32)
    numbers = _numbers_of(points)
    work.workers.run_pieces(
        len(met),
        lambda start, stop: trace_sides(
            arrays.bvh, cloud.cells, points, numbers, patterns, n_side, n_apart, _SEED, start, stop, met
        ),
        "light between surfaces",
        work.progress,
        piece=_POINTS_PER_PIECE,
    )
    return met


def _numbers_of(points: Points) -> np.ndarray:
    """A number (n,) int64 of each point, from its place alone: the same in whichever rows of a picture it stands."""
    bits = np.ascontiguousarray(points.positions).view(np.uint32).astype(np.int64)
    return (bits[:, 0] * 73_856_093 ^ bits[:, 1] * 19_349_663 ^ bits[:, 2] * 83_492_791) & 0x7FFF_FFFF_FFFF


class Alone(NamedTuple):
    """Of a set of points those rows (p,) that no point of a Gather stands for, and what their rays (p, n_rays) meet."""

    rows: np.ndarray
    met: np.ndarray


def alone(
    work: Work,
    arrays: SceneArrays,
    cloud: Cloud,
    gather: Gather,
    points: PointSet,
    camera: PinholeCamera,
    quality: Quality,
) -> Alone:
    """Rays of the points that have no neighbour like them: of thin things, and in corners seen at a slant."""
    nothing = np.zeros((len(gather.met), 3), np.float32)
    _, is_alone = _spread(work, gather, nothing, points, camera)
    rows = np.flatnonzero(is_alone)
    own = chosen(points.points, rows)
    patterns = (_numbers_of(own) % _POINT_APART**2).astype(np.int32)
    return Alone(rows, _traced(work, arrays, cloud, own, patterns, _close_side(quality), _POINT_APART))


def shape_of(spectrum: np.ndarray) -> tuple[np.ndarray, float]:
    """A light's spectrum (71,) scaled to a largest value of 1, and what it was: of another level it is the same."""
    level = float(spectrum.max())
    return np.round(spectrum / level, 9), level


def _in_bands(shape: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Mean of values (…, 71) over the light of a shape in each band (…, N_BANDS)."""
    power = BANDS * (shape * STEPS_NM)
    return values @ (power / np.maximum(power.sum(axis=1, keepdims=True), 1e-30)).T


def bounced_on(
    work: Work,
    first: np.ndarray,
    shape: np.ndarray,
    reflectances: np.ndarray,
    cloud: Cloud,
    between: Between | None,
    n_bounces: int,
) -> np.ndarray:
    """What the sides of cells send back (n_sides, N_BANDS) float32: of the light itself, first (n, N_BANDS) at the
    cloud's places, and of what comes to them over up to n_bounces − 1 others.
    """
    reflected = _in_bands(shape, reflectances)[cloud.materials].astype(np.float32)
    sent = cloud.means(first)
    total = sent.copy()
    for _ in range(n_bounces - 1):
        # A cell has few rays of its own; light that has bounced is even enough to be taken together with neighbours.
        sent = reflected * _among_kin(work, between, cloud.means(arriving_at(work, between.met, sent)))
        total += sent
    return total


def arriving_at(work: Work, met: np.ndarray, sent: np.ndarray) -> np.ndarray:
    """What arrives (n, n_channels) at places whose rays meet (n, n_rays), of what sides send (n_sides, n_channels)."""
    out, spread = np.empty((len(met), sent.shape[1]), np.float32), np.empty((len(met), 2), np.float32)
    rows = np.arange(len(met))
    work.workers.run_pieces(
        len(rows), lambda start, stop: arriving(met, sent, NEARNESS, rows, rows, start, stop, out, spread)
    )
    return out


def _among_kin(work: Work, between: Between, values: np.ndarray) -> np.ndarray:
    out, kin, shares = np.empty_like(values), between.kin, between.shares
    work.workers.run_pieces(len(kin), lambda start, stop: share_among_kin(kin, shares, values, start, stop, out))
    return out


def layer(
    work: Work,
    gather: Gather,
    sent: np.ndarray,
    shape: np.ndarray,
    reflectances: np.ndarray,
    sets: tuple[PointSet, ...],
    alone: tuple[Alone, ...],
    camera: PinholeCamera,
    quality: Quality,
    left: tuple[np.ndarray, ...] | None,
) -> np.ndarray:
    """What comes over other surfaces as a picture (h, w, 3) float32, XYZ sent back. alone: of each of the sets; left:
    what haze leaves of each, see `rendering.stages.left_by_haze`.
    """
    tables = _tables(sent, shape, reflectances)
    found = np.zeros((len(gather.met), 3), np.float32), np.zeros((len(gather.met), 2), np.float32)
    _arrive(work, gather.points, gather.met, np.arange(len(gather.met)), tables, found)
    _arrive(work, gather.points, gather.met_close, gather.close, tables, found)
    coarse = _smoothed(work, gather, *found)
    values = []
    for item, (rows, met) in zip(sets, alone, strict=True):
        out, is_alone = _spread(work, gather, coarse, item, camera)
        own = np.zeros((item.count, 3), np.float32), np.zeros((item.count, 2), np.float32)
        _arrive(work, item.points, met, rows, tables, own)
        # Few rays are worth less than what a neighbour has of many.
        chance = np.where(is_alone[rows] == NEAREST, own[1][rows, 1] / _OWN_CHANCE, 0.0)[:, None] ** 2
        out[rows] = (own[0][rows] + chance * out[rows]) / (1.0 + chance)
        values.append(out)
    return as_picture(values, left, sets, camera, quality)


def _spread(work: Work, gather: Gather, coarse: np.ndarray, points: PointSet, camera: PinholeCamera):
    """Light (n, 3) of points from the values of a Gather's, and which (n,) no such point stands for."""
    out, alone = np.empty((points.count, 3), np.float32), np.empty(points.count, np.uint8)
    of_grid = (gather.points, gather.nearness, coarse, gather.width, gather.height)
    work.workers.run_pieces(
        points.count,
        lambda start, stop: spread_to_points(camera, *of_grid, points.points, start, stop, out, alone),
    )
    return out, alone


def _tables(sent: np.ndarray, shape: np.ndarray, reflectances: np.ndarray) -> np.ndarray:
    """XYZ (k, n_sides, 3) float32 that each material sends back of what comes from each side."""
    folded = _in_bands(shape, reflectances[:, None, :] * (XYZ_CHANNELS / STEPS_NM[:, None]).T[None])
    return np.einsum("sb,kcb->ksc", sent, folded.astype(np.float32), optimize=True)


def _arrive(work: Work, points: Points, met: np.ndarray, places: np.ndarray, tables: np.ndarray, found: tuple) -> None:
    """Put what points at places (k,) send back of what their rays (k, n_rays) meet into found: values (n, 3) and
    their spread (n, 2).
    """
    materials = points.materials[places]
    for material, table in enumerate(tables):
        rows = np.flatnonzero(materials == material)
        work.workers.run_pieces(
            rows.size,
            lambda start, stop, table=table, rows=rows: arriving(
                met, table, NEARNESS, rows, places, start, stop, *found
            ),
        )


def _smoothed(work: Work, gather: Gather, values: np.ndarray, spread: np.ndarray) -> np.ndarray:
    points, width, height = gather.points, gather.width, gather.height
    even = np.empty_like(spread)
    work.workers.run_pieces(
        height,
        lambda start, stop: smooth_spread(points, spread, width, height, start, stop, even),
        piece=_ROWS_PER_PIECE,
    )
    for stride in _STRIDES:
        out = np.empty_like(values)
        work.workers.run_pieces(
            height,
            lambda start, stop, values=values, out=out, stride=stride: smooth_rows(
                points, even, width, height, stride, values, start, stop, out
            ),
            piece=_ROWS_PER_PIECE,
        )
        values = out
    return values
