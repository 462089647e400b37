"""The stages of a picture, each a function of its inputs alone.

None sees the scene: what a stage reads is what it is given, so what a session keeps of it goes by its inputs.
`work` says who works; no result depends on that.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple, TypeAlias

import numpy as np

from projector.rendering import area_light, prepared_light, sampling, shadows
from projector.rendering.area_light import Received, Rows, Sheen
from projector.rendering.haze import seen as haze_seen
from projector.rendering.haze import summed as haze_summed
from projector.rendering.haze.seen import SeenInAir
from projector.rendering.haze.view_rays import ends_of, finer_rays
from projector.rendering.prepared_light import PreparedLight, Reach
from projector.rendering.sampling import PointSet, Quality, Window
from projector.rendering.shadows import FirstLook, Sweep
from projector.rendering.workers import Progress, Workers
from projector.stage.surfaces import SceneArrays
from projector.tracing.light import area
from projector.tracing.light.air import Air, Beam, Sums, ViewRays
from projector.tracing.light.glossy import Glossy, fill_even_lobes, look_from_eye, tint_glossy
from projector.tracing.light.shine import Shine
from projector.tracing.rays.surfaces import PinholeCamera
from projector.tracing.sight.emitter import Emitter
from projector.tracing.sight.points import UNKNOWN, Visibility
from projector.tracing.sight.squares import Squares
from projector.tracing.sight.visibility import mark_steps, seen_shares

# Neighbouring points that see shares of a pupil this far apart stand at a shadow's edge that one point a pixel would
# tear.
SHADOW_STEP = 0.5
# Rows of a picture whose layers are summed at once.
_ROWS_SUMMED = 16


# Of a light without a gate there are so many rays along each side of a cell of the coarse grid where it is uneven.
FINER = 4
# Rays and the light along them, the finest first.
Grids: TypeAlias = tuple[tuple[ViewRays, Sums], ...]


class Work(NamedTuple):
    """The threads that work on a stage, and whoever hears how far they are."""

    workers: Workers
    progress: Progress | None


class View(NamedTuple):
    """What a picture shows: the meshes, its camera, its rows, and how many points stand for a pixel."""

    arrays: SceneArrays
    camera: PinholeCamera
    window: Window
    quality: Quality


class Layer(NamedTuple):
    """The light of one of a scene's lights as a picture (h, w, 3) float32, whether it is a flash, and whether it is a
    projector's pattern.
    """

    picture: np.ndarray
    is_flash: bool
    is_pattern: bool


def grid(work: Work, *view) -> PointSet:
    """The regular points of a View."""
    arrays, camera, window, quality = view
    return sampling.grid_points(arrays, camera, window, quality, work.workers, work.progress)


def outlines(work: Work, grid: PointSet, *view) -> PointSet:
    """More points in the pixels where an outline or a fold runs."""
    arrays, camera, window, quality = view
    marks = sampling.outline_marks(grid, camera, window, quality, work.workers)
    return sampling.edge_points(arrays, camera, window, np.flatnonzero(marks), quality, work.workers)


def shadow_edges(work: Work, seen: tuple[Visibility, ...], grid: PointSet, outlines: PointSet, *view) -> PointSet:
    """More points in the pixels where the edge of any light's shadow runs, as its grid has seen it."""
    arrays, camera, window, quality = view
    width, height = camera.width * quality.grid, (window.last - window.first) * quality.grid
    marks = np.zeros(width * height, np.bool_)
    for visibility in seen:
        shares = seen_shares(visibility)
        shares[visibility.state == UNKNOWN] = 1.0
        _mark_shadow_steps(work, shares, grid, width, height, marks)
    pixels = sampling.pixels_marked(marks, camera.width, quality.grid)
    pixels[outlines.pixels] = False
    return sampling.edge_points(arrays, camera, window, np.flatnonzero(pixels), quality, work.workers)


def _mark_shadow_steps(work: Work, shares: np.ndarray, grid: PointSet, width: int, height: int, marks) -> None:
    """Mark the grid's points where what is seen of a light takes a step."""
    work.workers.run_pieces(
        height,
        lambda start, stop: mark_steps(shares, grid.points.owners, width, height, SHADOW_STEP, start, stop, marks),
        piece=sampling.ROWS_PER_PIECE,
    )


def squares(work: Work, emitter: Emitter, points: PointSet, width: int) -> Squares:
    """The squares of points in rows of `width` as an emitter at this place sees them, however large it is."""
    return prepared_light.squares_seen_by(emitter, points.points, width, work.workers)


def first_look(
    work: Work,
    arrays: SceneArrays,
    emitter: Emitter,
    sweep: Sweep,
    points: PointSet,
    n_side: int,
    squares: Squares | None,
) -> FirstLook:
    """What points see of every emitter within a sweep; `emitter` is as large as that."""
    return shadows.first_look(
        arrays, emitter, sweep, points.points, n_side, work.workers, work.progress, squares=squares
    )


def seen(work: Work, arrays: SceneArrays, emitter: Emitter, points: PointSet, look: FirstLook) -> Visibility:
    """What points see of the emitter as it is now."""
    return shadows.visibility_from(look, arrays, emitter, points.points, work.workers, work.progress)


def reach(emitter: Emitter, points: PointSet, look: FirstLook) -> Reach:
    """What the stacks have to serve for points, as a light at this place meets them, however large it is."""
    return prepared_light.reach_of(emitter, points.points, look.state)


def projected(
    work: Work,
    prepare: Callable[[], PreparedLight],
    weights: np.ndarray,
    sets: tuple[PointSet, ...],
    seen: tuple[Visibility, ...],
    squares: Squares,
    reach: Reach,
    camera: PinholeCamera,
    quality: Quality,
    left: tuple[np.ndarray, ...] | None = None,
    glossy: Glossy | None = None,
) -> np.ndarray:
    """One light over all sets as a picture (h, w, 3) float32. prepare: gives the light as its inputs say; left: see
    `left_by_haze`; glossy: with skins the weights have three more channels, of white materials.
    """
    prepared = prepare()
    values = []
    with prepared_light.stacks_ready(prepared, reach) as stacks:
        for item, visibility in zip(sets, seen, strict=True):
            out = np.zeros((item.count, weights.shape[2]), np.float32)
            lie = squares if item.pixels is None else None
            prepared_light.light_points(
                prepared, item.points, visibility, stacks, weights, out, work.workers, work.progress, lie
            )
            values.append(out if glossy is None else _from_eye(work, glossy, prepared.light.emitter, item, out))
    return as_picture(values, left, sets, camera, quality)


def _from_eye(work: Work, glossy: Glossy, emitter: Emitter, item: PointSet, values: np.ndarray) -> np.ndarray:
    out = np.empty((item.count, 3), np.float32)
    work.workers.run_pieces(
        item.count,
        lambda start, stop: look_from_eye(glossy, item.points, emitter.position, values, start, stop, out),
    )
    return out


def even(
    table: np.ndarray,
    sets: tuple[PointSet, ...],
    camera: PinholeCamera,
    quality: Quality,
    left: tuple[np.ndarray, ...] | None = None,
    from_air: np.ndarray | None = None,
    skins: tuple[tuple[np.ndarray, ...], np.ndarray] | None = None,
) -> np.ndarray:
    """The light that each object sends back of even light, by a table (k + 1, 3) over objects, as a picture.

    In haze, of which `left` gets through, that sends from_air (3,) of the same light where it is deep without end.
    skins: the share of it that each point's skin sends back (see `even_lobes`), and what white would (3,).
    """
    values = [table[item.points.materials] for item in sets]
    if skins is not None:
        shares, white = skins
        values = [value + share[:, None] * (white - value) for value, share in zip(values, shares, strict=True)]
    values = _dimmed(values, left)
    if left is not None:
        for value, share in zip(values, left, strict=True):
            value += (1.0 - share)[:, None] * from_air
    return _gathered(values, sets, camera, quality)


def even_lobes(work: Work, glossy: Glossy, sets: tuple[PointSet, ...]) -> tuple[np.ndarray, ...]:
    """Share (n,) float32 of even light that the skin of each point of the sets sends to the eye."""
    shares = []
    for item in sets:
        out = np.empty(item.count, np.float32)
        fill_even_lobes(glossy, item.points, 0, item.count, out)
        shares.append(out)
    return tuple(shares)


def received(work: Work, arrays: SceneArrays, shine: Shine, points: PointSet, view_rows: Rows | None) -> Received:
    """What points get of a light without a gate; view_rows: how they lie, if they are a picture's grid."""
    return area_light.received(arrays, shine, points.points, work.workers, work.progress, rows=view_rows)


def sheen(
    work: Work,
    arrays: SceneArrays,
    shine: Shine,
    points: PointSet,
    found: Received,
    glossy: Glossy,
    view_rows: Rows | None,
) -> Sheen:
    """What the skins of points send to the eye of a light without a gate that they were found to get."""
    return area_light.sheen(arrays, shine, points.points, found, glossy, work.workers, work.progress, rows=view_rows)


def shadow_edges_of(work: Work, on_grid: Received, grid: PointSet, outlines: PointSet, *view) -> PointSet:
    """More points in the pixels where the edge of one light's shadow runs, outlines aside."""
    arrays, camera, window, quality = view
    width, height = camera.width * quality.grid, (window.last - window.first) * quality.grid
    marks = np.zeros(width * height, np.bool_)
    _mark_shadow_steps(work, on_grid.share, grid, width, height, marks)
    pixels = sampling.pixels_marked(marks, camera.width, quality.grid)
    pixels[outlines.pixels] = False
    return sampling.edge_points(arrays, camera, window, np.flatnonzero(pixels), quality, work.workers)


def tinted(
    work: Work,
    table: np.ndarray,
    sets: tuple[PointSet, ...],
    received: tuple[Received, ...],
    camera: PinholeCamera,
    quality: Quality,
    left: tuple[np.ndarray, ...] | None = None,
    skins: tuple[tuple[Sheen, ...], np.ndarray] | None = None,
) -> np.ndarray:
    """One light without a gate as a picture (h, w, 3) float32, by a table (k, 3) of what each material sends back.

    skins: what they do of it, and what a white material sends back (3,).
    """
    if skins is not None:
        return as_picture(_tinted_glossy(work, table, sets, received, *skins), left, sets, camera, quality)
    values = []
    for item, light in zip(sets, received, strict=True):
        out = np.empty((item.count, 3), np.float32)
        work.workers.run_pieces(
            item.count,
            lambda start, stop, item=item, light=light, out=out: area.tint(
                light.value, item.points.materials, table, start, stop, out
            ),
        )
        values.append(out)
    return _gathered(_dimmed(values, left), sets, camera, quality)


def _tinted_glossy(work: Work, table, sets, received, sheens, white) -> list[np.ndarray]:
    values = []
    for item, light, skin in zip(sets, received, sheens, strict=True):
        out = np.empty((item.count, 3), np.float32)
        work.workers.run_pieces(
            item.count,
            lambda start, stop, item=item, light=light, skin=skin, out=out: tint_glossy(
                light.value, skin.body, skin.lobe, item.points.materials, table, white, start, stop, out
            ),
        )
        values.append(out)
    return values


def left_by_haze(air: Air, sets: tuple[PointSet, ...], camera: PinholeCamera) -> tuple[np.ndarray, ...]:
    """Share (n,) float32 of what each point of the sets sends to the camera that the haze between them leaves."""
    ends = (ends_of(item, camera, air) for item in sets)
    return tuple(np.exp(-air.extinction * end).astype(np.float32) for end in ends)


def seen_in_haze(work: Work, arrays: SceneArrays, emitter: Emitter, beam: Beam, *rays) -> SeenInAir:
    """What the air along rays sees of a lens's pupil; rays: these, and the coarser ones and what they see."""
    return haze_seen.seen_in_air(work, haze_seen.pupil_from(work, arrays, emitter), emitter, beam, *rays)


def rays_in_haze(work: Work, prepare: Callable[[], PreparedLight], air: Air, rays: ViewRays, seen: SeenInAir, *view):
    """More rays where a light's pattern or shadows make the light in the air uneven, see `finer_rays`.

    prepare: gives the light at one wavelength, so that neither its power nor its colour plays a part.
    """
    light = haze_summed.summed(work, prepare(), np.ones((1, 1, 1)), air, rays, seen)
    return finer_rays(work, air, rays, light, 1, *view)


def hazed(
    work: Work,
    prepare: Callable[[], PreparedLight],
    weights: np.ndarray,
    air: Air,
    grids: tuple[tuple[ViewRays, SeenInAir], ...],
    sets: tuple[PointSet, ...],
    *view,
) -> np.ndarray:
    """What the haze sends to the camera of one light, as a picture (h, w, 3) float32. grids: the finest first."""
    prepared = prepare()
    found = tuple((rays, haze_summed.summed(work, prepared, weights, air, rays, seen)) for rays, seen in grids)
    values = haze_summed.scattered(work, air, found, sets, *view)
    return _gathered(values, sets, view[1], view[3])


def shine_in_haze(work: Work, arrays: SceneArrays, shine: Shine, air: Air, rays: ViewRays, *view) -> Grids:
    """What the haze sends to the camera of a light without a gate, along rays, the finest first; luminance 1."""
    look, beam = haze_seen.shine_from(work, arrays, shine), haze_summed.beam_of_shine(shine)
    fewer = {"n_steps": haze_seen.FEWER_STEPS, "n_first": haze_seen.FEWER_PLACES}
    seen = haze_seen.seen_in_air(work, look, shine.emitter, beam, rays, **fewer)
    light = haze_summed.summed_of_shine(work, shine, air, rays, seen)
    finer = finer_rays(work, air, rays, light, max(1, rays.stride // FINER), *view)
    if finer is None:
        return ((rays, light),)
    finely_seen = haze_seen.seen_in_air(work, look, shine.emitter, beam, finer, rays, seen, **fewer)
    return ((finer, haze_summed.summed_of_shine(work, shine, air, finer, finely_seen)), (rays, light))


def hazed_evenly(work: Work, air: Air, grids: Grids, sets: tuple[PointSet, ...], *view) -> np.ndarray:
    """The same as a picture (h, w, 3) float32, all three channels alike: whatever its power and colour."""
    values = [np.repeat(value, 3, axis=1) for value in haze_summed.scattered(work, air, grids, sets, *view)]
    return _gathered(values, sets, view[1], view[3])


def summed(work: Work, layers: list[Layer], shape: tuple[int, int, int], shutter_s: float) -> np.ndarray:
    """Light of layers together (h, w, 3) float32: steady light counts for as long as the shutter is open."""
    total, opened = np.zeros(shape, np.float32), np.float32(shutter_s)

    def add(start: int, stop: int) -> None:
        # A few rows of all layers at a time: they stay in the cache.
        part = total[start:stop]
        for layer in layers:
            rows = layer.picture[start:stop]
            part += rows if layer.is_flash else rows * opened

    work.workers.run_pieces(len(total), add, piece=_ROWS_SUMMED)
    return total


def _dimmed(values: list[np.ndarray], left: tuple[np.ndarray, ...] | None) -> list[np.ndarray]:
    if left is None:
        return values
    return [value * share[:, None] for value, share in zip(values, left, strict=True)]


def as_picture(values: list[np.ndarray], left, sets, camera: PinholeCamera, quality: Quality) -> np.ndarray:
    """Values (n, 3) of sets as a picture (h, w, 3) float32, dimmed by what haze leaves of each, if there is any."""
    return _gathered(_dimmed(values, left), sets, camera, quality)


def _gathered(values, sets, camera: PinholeCamera, quality: Quality) -> np.ndarray:
    return sampling.gathered(values[0], list(zip(sets[1:], values[1:], strict=True)), camera, quality)
