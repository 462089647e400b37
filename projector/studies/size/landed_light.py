"""On whom a projector's light lands: whose share is how large, how large the pattern is there, and how it compares with
a sitter.

Of a lens chief rays stand for the light: even steps of direction seen from the pupil, each with what stencil, blades
and hot spot let through and with cos⁴ of its angle, the far-field form of flux (R. Siegel & J. Howell, Thermal
Radiation Heat Transfer). Of a bare lamp, whose edges are wide, rays come from even places of all its opening.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from projector.optics.dispersion import LINE_D_NM
from projector.scene.placement import placed_figure
from projector.shown import Shown
from projector.stage.optics import opening_before
from projector.stage.stage import AnyProjector, SceneOrStage, projector_on
from projector.stage.surfaces import SceneArrays
from projector.studies.edges.sharpness import stencil_detail
from projector.studies.size.landing import pattern_size
from projector.tracing.gate.chief_rays import (
    gate_points_of_slopes,
    is_in_opening,
    landed_slopes,
    opening_half_sizes,
    passes_blades,
)
from projector.tracing.gate.gate_image import hot_spot
from projector.tracing.gate.lens_law import Projection, has_lens, without_blades
from projector.tracing.rays.bvh import closest_hits
from projector.tracing.sight.outline import outline_point

# Directions across the opening; places across it where it is looked for without a stencil.
_N_RAYS, _N_PLACES = 320, 1024
_ROWS = 128
# Places along each side of a bare lamp's opening; its rays are as many as there are chief rays.
_N_OPENING = 8


@dataclass(frozen=True, repr=False)
class Opening(Shown):
    """What lets light through in the gate, mm: the box round the open part of stencil, gate and blades, and its finest
    common detail.

    bitmap_*: the whole bitmap, cut by the gate or not; None without a stencil, as is detail_mm; box_mm: left, top,
    right and bottom of the open part from the axis, as landed; NaN where nothing is open.
    """

    in_one_line = "{width_mm:.2f} × {height_mm:.2f} mm open in the gate"

    width_mm: float
    height_mm: float
    bitmap_width_mm: float | None
    bitmap_height_mm: float | None
    detail_mm: float | None
    box_mm: tuple[float, float, float, float]


@dataclass(frozen=True, repr=False)
class Sitter(Shown):
    """A sitter's own measures, m, between landmarks (ear to ear, chin to crown, shoulder to shoulder; None of a head
    alone), and the share of a projector's light on the head."""

    in_one_line = "face {face_width_m:.3f} m wide, head {head_height_m:.3f} m high, {head_share:.2f} of it lit"

    face_width_m: float
    head_height_m: float
    shoulder_width_m: float | None
    head_share: float


@dataclass(frozen=True, repr=False)
class LandedOn(Shown):
    """A projector's light on one thing in the scene.

    share: of all light that leaves the gate. distance_m: along the axis, where the axis lands on it, else where its
    light does on average; pattern (gate and bitmap), opening and detail are as large as on a plane square to the
    axis there. sitter: None for anything else.
    """

    in_one_line = "{name} gets {share:.2f} of the light, {distance_m:.3f} m away"

    name: str
    share: float
    distance_m: float
    pattern_width_m: float
    pattern_height_m: float
    opening_width_m: float
    opening_height_m: float
    detail_mm: float | None
    sitter: Sitter | None


def opening(stage: SceneOrStage, projector: AnyProjector = None) -> Opening:
    """What lets light through in the gate of a projector: transmission above half of the stencil's largest.

    >>> opening("01-square-wall", "window")
    <Opening: 18.14 × 21.59 mm open in the gate>
    """
    staged = projector_on(stage, projector)
    spec, light = staged.spec, staged.light([LINE_D_NM])
    half = opening_half_sizes(light)
    rows, columns = light.bitmap.transmission.shape
    box = (-half[0], -half[1], half[0], half[1])
    if spec.stencil is not None or spec.blade:
        box = _open_box(light, half, spec.stencil is not None, 0.5)
    bitmap = light.bitmap if spec.stencil is not None else None
    detail = None if bitmap is None else stencil_detail(bitmap.transmission, bitmap.pitch)
    return Opening(
        width_mm=1e3 * (box[2] - box[0]),
        height_mm=1e3 * (box[3] - box[1]),
        bitmap_width_mm=None if bitmap is None else 1e3 * columns * bitmap.pitch,
        bitmap_height_mm=None if bitmap is None else 1e3 * rows * bitmap.pitch,
        detail_mm=None if detail is None else 1e3 * detail,
        box_mm=(1e3 * box[0], 1e3 * box[1], 1e3 * box[2], 1e3 * box[3]),
    )


@dataclass(frozen=True, repr=False)
class LandedOpening(Shown):
    """How large the opening and its finest common detail land on a plane square to the axis; None where nothing is
    open, and no detail without a stencil."""

    in_one_line = "opening {opening_width_m} × {opening_height_m} m"

    opening_width_m: float | None
    opening_height_m: float | None
    detail_mm: float | None


def landed_opening(stage: SceneOrStage, projector: AnyProjector, distance_m: float) -> LandedOpening:
    """The opening of a projector's gate as it lands at a distance (m) along the axis.

    The distance counts as a Landing's throw: from the pupil; of a lamp far away from its card.
    """
    staged = projector_on(stage, projector)
    if staged.spec.lens is None:
        distance_m -= opening_before(staged.spec)
    found = opening(stage, staged)
    if not math.isfinite(found.width_mm):
        return LandedOpening(None, None, None)
    return LandedOpening(*_sizes(staged.light([LINE_D_NM]), found, distance_m)[2:])


def _open_box(
    light: Projection, half: tuple[float, float], has_stencil: bool, least: float
) -> tuple[float, float, float, float]:
    """Left, top, right and bottom (m) of what lets more through than a share of the most; NaN where nothing does."""
    rows, columns = light.bitmap.transmission.shape
    steps = [light.bitmap.pitch] * 2 if has_stencil else [2.0 * size / _N_PLACES for size in half]
    counts = (columns, rows) if has_stencil else (_N_PLACES, _N_PLACES)
    x, y = ((np.arange(count) - 0.5 * (count - 1)) * step for count, step in zip(counts, steps, strict=True))
    # In bands of rows: a large bitmap's places would fill the memory.
    let_through = np.empty((y.size, x.size), np.float32)
    for first in range(0, y.size, _ROWS):
        gate = np.column_stack([axis.ravel() for axis in np.meshgrid(x, y[first : first + _ROWS])])
        let_through[first : first + _ROWS] = _let_through(light, gate).reshape(-1, x.size)
    is_open = let_through > least * let_through.max()
    if not is_open.any():
        return (math.nan,) * 4
    ends = []
    for places, step, open_there, size in (
        (x, steps[0], is_open.any(axis=0), half[0]),
        (y, steps[1], is_open.any(axis=1), half[1]),
    ):
        found = places[open_there]
        ends.append((max(float(found[0]) - 0.5 * step, -size), min(float(found[-1]) + 0.5 * step, size)))
    return ends[0][0], ends[1][0], ends[0][1], ends[1][1]


def _let_through(light: Projection, gate: np.ndarray, places: np.ndarray | None = None) -> np.ndarray:
    """Share (n,) of light that stencil, gate and blades let through along rays of gate points (n, 2) m, from places
    (n, 2) m of a bare lamp's opening; along chief rays without.
    """
    rows, columns = light.bitmap.transmission.shape
    row = np.floor(gate[:, 1] / light.bitmap.pitch + 0.5 * rows).astype(int)
    column = np.floor(gate[:, 0] / light.bitmap.pitch + 0.5 * columns).astype(int)
    slope_x, slope_y = gate.T / light.tube_length
    ax, ay = (0.0, 0.0) if places is None else places.T
    # To the gate's own plane, where a ray of a bare lamp has these slopes.
    passes = is_in_opening(light, gate) & passes_blades(light, slope_x, slope_y, 1.0 / light.tube_length, ax, ay)
    return light.bitmap.transmission[np.clip(row, 0, rows - 1), np.clip(column, 0, columns - 1)] * passes


def landed_light(stage: SceneOrStage, projector: AnyProjector = None) -> list[LandedOn]:
    """Everything that a projector's light lands on, nearest first; empty if none leaves the gate.

    What is left of 1 lands on nothing.

    >>> landed_light("01-square-wall", "window")
    [<LandedOn: wall gets 1.00 of the light, 2.500 m away>]
    """
    staged = projector_on(stage, projector)
    stage, scene, spec, light = staged.stage, staged.stage.scene, staged.spec, staged.light([LINE_D_NM])
    arrays, found = stage.arrays, opening(stage, staged)
    if not math.isfinite(found.width_mm):
        return []
    rays = _chief_rays(light, found, spec) if has_lens(light) else _rays_of_a_lamp(light, spec)
    glow = hot_spot(light.gate, *rays.gate.T)
    weights = _let_through(light, rays.gate, rays.places) * glow / (1.0 + (rays.slopes**2).sum(axis=1)) ** 2
    passing = weights > 0.0
    if not passing.any():
        return []
    places, slopes, weights = rays.places[passing], rays.slopes[passing], weights[passing] / weights.sum()
    distances, owners = _hits(light, arrays, places, slopes)
    on_axis, axis_owner = (values[0] for values in _hits(light, arrays, np.zeros((1, 2)), np.zeros((1, 2))))
    rows = []
    for owner in np.unique(owners[owners >= 0]):
        here = owners == owner
        share = float(weights[here].sum())
        distance = float(on_axis) if owner == axis_owner else float(weights[here] @ distances[here] / share)
        sitter = None
        if owner >= len(scene.surface):
            points = _starts(light, places[here]) + distances[here, None] * _world(light, slopes[here])
            sitter = _sitter(scene.figure[owner - len(scene.surface)], points, weights[here])
        away = distance if spec.lens is not None else distance + opening_before(spec)
        rows.append(LandedOn(arrays.names[owner], share, away, *_sizes(light, found, distance), sitter))
    return sorted(rows, key=lambda row: row.distance_m)


def _sizes(light: Projection, found: Opening, distance: float) -> tuple[float, float, float, float, float | None]:
    """Pattern and opening (m, width and height) and detail (mm) on a plane square to the axis."""
    left, top, right, bottom = (1e-3 * side for side in found.box_mm)
    middle = (0.5 * (left + right), 0.5 * (top + bottom))
    ends = landed_slopes(
        light, np.array([[left, middle[1]], [right, middle[1]], [middle[0], top], [middle[0], bottom]])
    )
    width, height = float(ends[1, 0] - ends[0, 0]), float(ends[3, 1] - ends[2, 1])
    detail = None if found.detail_mm is None else found.detail_mm * distance / light.tube_length
    return *pattern_size(light, distance), width * distance, height * distance, detail


class _Rays(NamedTuple):
    """Rays (n, 2): places (m) in the pupil from where they come, their slopes X/Z and Y/Z, and where (m) they left the
    gate.
    """

    places: np.ndarray
    slopes: np.ndarray
    gate: np.ndarray


def _chief_rays(light: Projection, found: Opening, spec) -> _Rays:
    """Chief rays in even steps of direction over a lens's opening, whatever lets any light through counted."""
    left, top, right, bottom = (1e-3 * side for side in found.box_mm)
    if spec.stencil is not None:
        left, top, right, bottom = _open_box(light, opening_half_sizes(light), True, 0.0)
    slopes = _directions(light, (left, top, right, bottom))
    return _Rays(np.zeros_like(slopes), slopes, gate_points_of_slopes(light, slopes))


def _rays_of_a_lamp(light: Projection, spec) -> _Rays:
    """Rays from even places of a bare lamp's opening in even steps over the hole of its card; from each place the steps
    are shifted by another part of one, so that together they are as fine as chief rays are.
    """
    half = opening_half_sizes(light)
    left, top, right, bottom = -half[0], -half[1], *half
    if spec.stencil is not None:
        # A blade in a plane of its own may stop a place's chief ray and let others pass.
        left, top, right, bottom = _open_box(light._replace(blades=without_blades(1)), half, True, 0.0)
    n_steps, parts = _N_RAYS // _N_OPENING, (np.arange(_N_OPENING) + 0.5) / _N_OPENING
    places, gate = [], []
    for i, u in enumerate(parts):
        for j, v in enumerate(parts):
            shift_x, shift_y = (parts[(3 * i + j) % _N_OPENING], parts[(i + 3 * j) % _N_OPENING])
            x, y = (np.arange(n_steps) + shift_x) / n_steps, (np.arange(n_steps) + shift_y) / n_steps
            grid = np.meshgrid(left + (right - left) * x, top + (bottom - top) * y)
            gate.append(np.column_stack([axis.ravel() for axis in grid]))
            place = light.emitter.radius * np.array(outline_point(light.emitter.outline, u, v))
            places.append(np.tile(place, (n_steps**2, 1)))
    starts, ends = np.concatenate(places), np.concatenate(gate)
    return _Rays(starts, (ends - starts) / light.tube_length, ends)


def _starts(light: Projection, places: np.ndarray) -> np.ndarray:
    """Places (n, 2) m of the pupil as points (n, 3) of the world."""
    return np.array(light.emitter.position) + places @ np.array([light.emitter.right, light.emitter.down])


def _directions(light: Projection, box: tuple[float, float, float, float]) -> np.ndarray:
    """Even steps (n, 2) of X/Z and Y/Z over a box in the gate (left, top, right, bottom, m)."""
    left, top, right, bottom = box
    along = np.linspace(0.0, 1.0, 33)
    sides = [np.column_stack([left + (right - left) * along, np.full(33, y)]) for y in (top, bottom)]
    sides += [np.column_stack([np.full(33, x), top + (bottom - top) * along]) for x in (left, right)]
    border = landed_slopes(light, np.concatenate(sides))
    low, high = border.min(axis=0), border.max(axis=0)
    steps = (np.arange(_N_RAYS) + 0.5) / _N_RAYS
    return np.column_stack(
        [axis.ravel() for axis in np.meshgrid(*(low[i] + (high[i] - low[i]) * steps for i in range(2)))]
    )


def _world(light: Projection, slopes: np.ndarray) -> np.ndarray:
    """Directions (n, 3) in the world, of length 1 along the axis."""
    return np.ascontiguousarray(
        slopes @ np.array([light.emitter.right, light.emitter.down]) + np.array(light.emitter.forward)
    )


def _hits(
    light: Projection, arrays: SceneArrays, places: np.ndarray, slopes: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Distances along the axis (n,) m at which rays land, NaN for never, and on which object (n,), −1 for none."""
    n = len(slopes)
    t, faces, u, v = np.empty(n), np.empty(n, np.int32), np.empty(n), np.empty(n)
    closest_hits(
        arrays.bvh,
        _starts(light, places),
        _world(light, slopes),
        0.0,
        1e6,
        0,
        n,
        t,
        faces,
        u,
        v,
    )
    return np.where(faces >= 0, t, np.nan), np.where(faces >= 0, arrays.surfaces.owners[np.maximum(faces, 0)], -1)


def _sitter(figure, points: np.ndarray, weights: np.ndarray) -> Sitter:
    """A figure's measures, and what of the light (weights (n,) at points (n, 3)) lies above its chin."""
    marks = placed_figure(figure).landmarks

    def between(one: str, other: str) -> float:
        return float(np.linalg.norm(marks[one] - marks[other]))

    up = marks["top_of_head"] - marks["chin"]
    head = weights[(points - marks["chin"]) @ up > 0.0].sum()
    shoulders = between("left_shoulder", "right_shoulder") if "left_shoulder" in marks else None
    return Sitter(between("left_ear", "right_ear"), between("top_of_head", "chin"), shoulders, float(head))
