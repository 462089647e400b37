"""Size: which lens, gate and throw make which pattern, forwards and backwards, on a square wall and on what really
stands there.

Source of the laws: OpenStax, University Physics Volume 3, "Thin Lenses" (magnification (D − f)/f, conjugate distances).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from projector.faults import Fault, SceneError, check_above_zero
from projector.meshes.mesh import Mesh
from projector.optics import thin_lens
from projector.optics.dispersion import LINE_D_NM
from projector.shown import Drawn, Shown
from projector.stage.stage import AnyProjector, SceneOrStage, Stage, projector_on
from projector.stage.surfaces import SceneArrays
from projector.studies.size.beam import edge_stops
from projector.tracing.gate.chief_rays import gate_rays, opening_border, opening_half_sizes
from projector.tracing.gate.gate_image import hot_spot
from projector.tracing.rays.bvh import closest_hits

# Distances are printed to the millimetre: what differs by less than half of one is the printed distance, typed back.
PRINTED_M = 1e-3


@dataclass(frozen=True, repr=False)
class Throw(Drawn):
    """A lens focused at a square wall: lengths in metres (tube in mm where named), full beam angle in degrees.

    edge_stops: light at the ends of the width against the middle, of an evenly lit gate.
    """

    in_one_line = (
        "{lit_width_mm:g} mm through {focal_length_mm:.4g} mm at {throw_m:.4g} m: {width_m:.3f} × "
        "{height_m:.3f} m, beam {beam_angle_deg:.1f}°"
    )

    focal_length_mm: float
    lit_width_mm: float
    lit_height_mm: float
    throw_m: float
    magnification: float
    width_m: float
    height_m: float
    tube_length_mm: float
    beam_angle_deg: float
    edge_stops: float


def throw(focal_length_mm: float, lit_width_mm: float, throw_m: float, lit_height_mm: float | None = None) -> Throw:
    """What a lens focused at its throw puts on a square wall: W = G·(D − f)/f.

    Focal length and lit size of the stencil in mm, throw in m; the lit height is the width if it is not given.
    SceneError for a number that is not above zero, or a throw within the focal length.

    >>> round(throw(focal_length_mm=85, lit_width_mm=36, throw_m=2.5).width_m, 3)
    1.023
    """
    check_above_zero(
        focal_length_mm=focal_length_mm, lit_width_mm=lit_width_mm, throw_m=throw_m, lit_height_mm=lit_height_mm
    )
    focal_length = 1e-3 * focal_length_mm
    if throw_m <= focal_length:
        raise SceneError(
            Fault(
                found=f"a throw of {throw_m:g} m with a lens of {focal_length_mm:g} mm",
                allowed="more than the focal length",
                try_="go back",
            )
        )
    lit_height_mm = lit_width_mm if lit_height_mm is None else lit_height_mm
    tube = thin_lens.conjugate_distance(focal_length, throw_m)
    magnification = thin_lens.magnification(tube, throw_m)
    beam_angle_deg = math.degrees(thin_lens.beam_angle(1e-3 * lit_width_mm, tube))
    return Throw(
        focal_length_mm=focal_length_mm,
        lit_width_mm=lit_width_mm,
        lit_height_mm=lit_height_mm,
        throw_m=throw_m,
        magnification=magnification,
        width_m=1e-3 * lit_width_mm * magnification,
        height_m=1e-3 * lit_height_mm * magnification,
        tube_length_mm=1e3 * tube,
        beam_angle_deg=beam_angle_deg,
        edge_stops=edge_stops(beam_angle_deg),
    )


def lens_for(
    wanted_width_m: float,
    lit_width_mm: float,
    throw_m: float,
    wanted_height_m: float | None = None,
    lit_height_mm: float | None = None,
) -> Throw:
    """The lens that fills a wanted width at a throw: f = D/(M + 1).

    Wanted size and throw in m, lit size in mm; with a wanted height too, the side that needs the smaller picture rules.
    SceneError for a number that is not above zero.

    >>> round(lens_for(wanted_width_m=1.2, lit_width_mm=36, throw_m=2.5).focal_length_mm, 2)
    72.82
    """
    check_above_zero(
        wanted_width_m=wanted_width_m,
        lit_width_mm=lit_width_mm,
        throw_m=throw_m,
        wanted_height_m=wanted_height_m,
        lit_height_mm=lit_height_mm,
    )
    magnification = wanted_width_m / (1e-3 * lit_width_mm)
    if wanted_height_m is not None:
        magnification = min(magnification, wanted_height_m / (1e-3 * (lit_height_mm or lit_width_mm)))
    return throw(1e3 * thin_lens.focal_length_for(magnification, throw_m), lit_width_mm, throw_m, lit_height_mm)


def place_for(
    wanted_width_m: float, lit_width_mm: float, focal_length_mm: float, lit_height_mm: float | None = None
) -> Throw:
    """How far a lens has to stand for a wanted width: D = f·(M + 1).

    Wanted width in m, lit size and focal length in mm; the answer's throw_m is the distance. SceneError for a number
    that is not above zero.

    >>> round(place_for(wanted_width_m=1.2, lit_width_mm=36, focal_length_mm=85).throw_m, 3)
    2.918
    """
    check_above_zero(wanted_width_m=wanted_width_m, lit_width_mm=lit_width_mm, focal_length_mm=focal_length_mm)
    magnification = wanted_width_m / (1e-3 * lit_width_mm)
    return throw(focal_length_mm, lit_width_mm, 1e-3 * focal_length_mm * (magnification + 1.0), lit_height_mm)


def stops_for_distance(from_m: float, to_m: float) -> float:
    """Stops that going from one throw to another costs, by the inverse square counted from the lens (negative: dimmer).

    Both in m. SceneError for one that is not above zero.

    >>> stops_for_distance(from_m=2, to_m=4)
    -2.0
    """
    check_above_zero(from_m=from_m, to_m=to_m)
    return 2.0 * math.log2(from_m / to_m)


def nearest_focus(focal_length_mm: float, travel_mm: float) -> float:
    """Nearest distance (m) that a lens (mm) reaches with so much travel past infinity (mm): f·(f + t)/t.

    SceneError for a number that is not above zero.

    >>> nearest_focus(focal_length_mm=85, travel_mm=4)
    1.89125
    """
    check_above_zero(focal_length_mm=focal_length_mm, travel_mm=travel_mm)
    return 1e-3 * focal_length_mm * (focal_length_mm + travel_mm) / travel_mm


def can_focus(focal_length_mm: float, travel_mm: float, throw_m: float) -> bool:
    """Whether a lens (mm) with so much travel (mm) focuses at a throw (m).

    The nearest focus as it is printed, to the millimetre, counts as reached. SceneError for a number that is not above
    zero.

    >>> can_focus(focal_length_mm=85, travel_mm=4, throw_m=1.8)
    False
    """
    check_above_zero(throw_m=throw_m)
    return throw_m >= nearest_focus(focal_length_mm, travel_mm) - 0.501 * PRINTED_M


def blur_out_of_reach(focal_length_mm: float, travel_mm: float, throw_m: float, f_number: float) -> float:
    """Blur disc (mm) on a wall that may be nearer than the lens focuses, focused as near to it as its travel lets it.

    D·|Z − z|/z; focal length and travel in mm, throw in m. SceneError for a number that is not above zero.

    >>> round(blur_out_of_reach(focal_length_mm=85, travel_mm=4, throw_m=1.8, f_number=1.8), 2)
    2.28
    """
    check_above_zero(throw_m=throw_m, f_number=f_number)
    nearest = nearest_focus(focal_length_mm, travel_mm)
    return thin_lens.blur_circle_diameter(focal_length_mm / f_number, max(nearest, throw_m), throw_m)


def refocused_growth(focal_length_mm: float, from_m: float, to_m: float) -> tuple[float, float]:
    """How much larger a pattern gets from one throw to another: with the tube untouched, and after refocusing.

    Focal length in mm, throws in m. SceneError for a throw within the focal length, or a number that is not above zero.

    >>> untouched, refocused = refocused_growth(focal_length_mm=100, from_m=2, to_m=8)
    >>> untouched, round(refocused, 3)
    (4.0, 4.158)
    """
    check_above_zero(focal_length_mm=focal_length_mm, from_m=from_m, to_m=to_m)
    focal_length = 1e-3 * focal_length_mm
    for metres in (from_m, to_m):
        if not metres > focal_length:
            raise SceneError(
                Fault(
                    found=f"a throw of {metres:g} m with a lens of {focal_length_mm:g} mm",
                    allowed="a throw longer than the focal length",
                    try_=f"{2.0 * focal_length:g} m or more",
                )
            )
    return to_m / from_m, (to_m - focal_length) / (from_m - focal_length)


@dataclass(frozen=True, repr=False)
class LandedOutline(Shown):
    """Where the border of a pattern lands on real surfaces.

    points (n, 3) m, NaN where a border ray meets nothing; lands_on: what the axis meets; is_round: a round gate bounds
    it on all sides, and what is called a side is a quarter of its rim. All else holds for the surface `on`, as if
    nothing stood before it, NaN where it has no value: sides_m: lengths of the landed top, right, bottom and left side
    along it; width_m, height_m: middle to middle of opposite sides; keystone_across: left over right, keystone_up: top
    over bottom; side_stops: light of the open gate at the middle of the top, right, bottom and left side against that
    on the axis (cosines, distances and the gate's hot spot). goes_on: it is flat, and taken to go on past its edges.
    """

    points: np.ndarray
    sides_m: tuple[float, float, float, float]
    width_m: float
    height_m: float
    keystone_across: float
    keystone_up: float
    side_stops: tuple[float, float, float, float]
    lands_on: str | None
    on: str | None
    goes_on: bool
    is_round: bool

    def _line(self) -> str:
        if self.on is None:
            return f"on {self.lands_on}, which has no outline" if self.lands_on else "it lands on nothing"
        return f"{self.width_m:.3f} × {self.height_m:.3f} m on {self.on}, keystone {self.keystone_across:.3f} across"


def landed_outline(
    stage: SceneOrStage, projector: AnyProjector = None, n_side: int = 200, on: str | None = None
) -> LandedOutline:
    """The true outline of a projector's lit part on the scene's meshes, by rays through the pupil's middle.

    It is bounded by the gate, a round one along its circle, and by the stencil's rectangle where that is smaller.
    on: the surface to follow it on; without, the one that the axis meets first (no figure).

    >>> landed_outline("01-square-wall", "window")
    <LandedOutline: 1.023 × 1.023 m on wall, keystone 1.000 across>
    """
    staged = projector_on(stage, projector)
    stage, arrays, light = staged.stage, staged.stage.arrays, staged.light([LINE_D_NM])
    half_width, half_height = opening_half_sizes(light)
    sides = opening_border(light, n_side)
    axis = int(_landed(light, arrays, [0.0], [0.0]).owners[0])
    lands_on = arrays.names[axis] if axis >= 0 else None
    on = lands_on if on is None and 0 <= axis < len(stage.scene.surface) else on
    landed = [_landed(light, arrays, *side.T) for side in sides]
    where = _alone(stage, light, on)
    border = [where(*side.T).points for side in sides]
    top, right, bottom, left = (float(np.linalg.norm(np.diff(side, axis=0), axis=1).sum()) for side in border)
    middle = n_side // 2
    # The axis and the middles of the sides: top, right, bottom, left.
    levels = where(
        half_width * np.array([0.0, 0.0, 1.0, 0.0, -1.0]), half_height * np.array([0.0, -1.0, 0.0, 1.0, 0.0])
    ).levels
    stops = np.log2(levels[1:] / levels[0]).tolist()
    flat = stage.flat(on)
    return LandedOutline(
        points=np.concatenate([side.points for side in landed]),
        sides_m=(top, right, bottom, left),
        width_m=float(np.linalg.norm(border[1][middle] - border[3][middle])),
        height_m=float(np.linalg.norm(border[0][middle] - border[2][middle])),
        keystone_across=left / right,
        keystone_up=top / bottom,
        side_stops=(stops[0], stops[1], stops[2], stops[3]),
        lands_on=lands_on,
        on=on,
        goes_on=flat is not None and not _holds(flat, np.concatenate(border)),
        is_round=light.gate.is_round and half_width == half_height == light.gate.half_width,
    )


def _holds(flat: Mesh, points: np.ndarray) -> bool:
    """Whether points (n, 3) of a flat surface's plane all lie on it."""
    corners = flat.vertices
    middle, sides = corners.mean(axis=0), (corners[1] - corners[0], corners[3] - corners[0])
    return all(np.all(np.abs((points - middle) @ side) <= 0.5000001 * (side @ side)) for side in sides)


def _alone(stage: Stage, light, name: str | None):
    """Where gate points land on one surface as if it stood alone, a flat one taken to go on without end."""
    plane = _plane_of(stage, name)
    if plane is not None:
        return lambda gate_x, gate_y: _landed_on_plane(light, *plane, gate_x, gate_y)
    if name is None or all(item.name != name for item in stage.scene.surface):
        return lambda gate_x, _: _Landed(
            np.full((len(gate_x), 3), np.nan), np.full(len(gate_x), -1), np.full(len(gate_x), np.nan)
        )
    bare = stage.alone(name)
    return lambda gate_x, gate_y: _landed(light, bare, gate_x, gate_y)


def _plane_of(stage: Stage, name: str | None) -> tuple[np.ndarray, np.ndarray] | None:
    """A point and the normal of a flat surface of that name; None for any other."""
    flat = stage.flat(name)
    if flat is None:
        return None
    vertices = flat.vertices
    return vertices[0], np.cross(vertices[1] - vertices[0], vertices[2] - vertices[0])


class _Landed(NamedTuple):
    """points (n, 3) m, NaN where a ray meets nothing; owners (n,), −1 for none; levels (n,): open gate's light over its
    luminance and the pupil's area, NaN for none."""

    points: np.ndarray
    owners: np.ndarray
    levels: np.ndarray


def _landed(light, arrays: SceneArrays, gate_x, gate_y) -> _Landed:
    """Where chief rays of gate points (m) land."""
    gate_x, gate_y = np.asarray(gate_x, float), np.asarray(gate_y, float)
    directions = gate_rays(light, gate_x, gate_y)
    origins = np.tile(np.array(light.emitter.position), (len(directions), 1))
    n = len(directions)
    t, faces, u, v = np.empty(n), np.empty(n, np.int32), np.empty(n), np.empty(n)
    closest_hits(arrays.bvh, origins, np.ascontiguousarray(directions), 0.0, 1e6, 0, n, t, faces, u, v)
    met = faces >= 0
    t, faces = np.where(met, t, np.nan), np.maximum(faces, 0)
    normals = (
        np.column_stack([1.0 - u - v, u, v])[:, :, None] * arrays.surfaces.normals[arrays.surfaces.triangles[faces]]
    ).sum(axis=1)
    return _Landed(
        origins + t[:, None] * directions,
        np.where(met, arrays.surfaces.owners[faces], -1),
        _levels(light, gate_x, gate_y, directions, t, normals),
    )


def _landed_on_plane(light, point, normal, gate_x, gate_y) -> _Landed:
    """Where they land on a plane without end; NaN where they never do."""
    directions = gate_rays(light, gate_x, gate_y)
    origin = np.array(light.emitter.position)
    with np.errstate(divide="ignore"):
        t = ((point - origin) @ normal) / (directions @ normal)
    t = np.where(t > 0.0, t, np.nan)
    levels = _levels(
        light, np.asarray(gate_x, float), np.asarray(gate_y, float), directions, t, np.tile(normal, (len(t), 1))
    )
    return _Landed(origin + t[:, None] * directions, np.zeros(len(t), int), levels)


def _levels(light, gate_x, gate_y, directions, t, normals) -> np.ndarray:
    """The open gate's light (n,) over its luminance and the pupil's area where rays meet surfaces after t of their
    directions.
    """
    lengths = np.linalg.norm(directions, axis=1)
    # cosθ at the pupil is 1 over a ray's length at Z = 1; cosθ on the surface its share along the normal.
    on_surface = np.abs((directions * normals).sum(axis=1)) / (lengths * np.linalg.norm(normals, axis=1))
    with np.errstate(invalid="ignore"):
        return hot_spot(light.gate, gate_x, gate_y) * on_surface / lengths / (t * lengths) ** 2
