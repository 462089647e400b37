"""A straight edge of the stencil at one point of a surface: how its light rises, wavelength by wavelength.

By formula, for a pupil of any shape on a tilted surface, and measured through the same kernels that render.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from projector.faults import Fault, SceneError
from projector.photometry.spectra import K_M, OBSERVER_STEPS, WAVELENGTHS_NM
from projector.phrases import listed
from projector.rendering import prepared_light
from projector.stage.camera import camera_arrays
from projector.stage.stage import AnyProjector, SceneOrStage, projector_on, stage_of
from projector.stage.surfaces import SceneArrays
from projector.tracing.gate.gate_image import draw_gate, open_bitmap
from projector.tracing.gate.lens_law import Blades, Projection, field_radius_squared, patch_scale, straight_slopes
from projector.tracing.light.pattern import Pattern, add_light
from projector.tracing.light.pupil_cells import pupil_parts
from projector.tracing.rays.bvh import closest_hits
from projector.tracing.sight.outline import N_PROJECTION_STEPS, projection_table
from projector.tracing.sight.points import Points, all_lit
from projector.tracing.sight.squares import in_one_row, n_squares


@dataclass(frozen=True)
class Place:
    """A point on a surface as one projector meets it.

    point, normal, along, across (3,): world; `along` lies in the surface where the distance changes fastest, `across`
    at right angles to it. local (3,): the point in the projector's frame. gate (2,): m, where its chief ray left the
        gate at 587.56 nm; per_metre_along, per_metre_across (2,): how that moves for a metre on the surface.
    """

    name: str
    point: np.ndarray
    normal: np.ndarray
    along: np.ndarray
    across: np.ndarray
    local: np.ndarray
    gate: np.ndarray
    per_metre_along: np.ndarray
    per_metre_across: np.ndarray

    @property
    def distance(self) -> float:
        """Distance along the projector's axis (m)."""
        return float(self.local[2])

    def per_metre(self, direction: str) -> np.ndarray:
        """How the gate point moves for a metre along or across the tilt."""
        return self.per_metre_along if direction == "along" else self.per_metre_across

    def vector(self, direction: str) -> np.ndarray:
        """The direction on the surface, world."""
        return self.along if direction == "along" else self.across


# How far from a surface (m, along the light's way) a landmark or a typed point still means that surface.
NEAR_SURFACE_M = 0.03


class OnSurface(NamedTuple):
    """A point (3,) m on a surface: the unit smooth normal (3,) on the surface's own front, and the row of its object in
    `SceneArrays.names`.
    """

    point: np.ndarray
    normal: np.ndarray
    owner: int


def name_of(reference, goal) -> str:
    """What a landmark or a point (m) is called."""
    return reference if isinstance(reference, str) else "({:.2f}, {:.2f}, {:.2f})".format(*goal)


class NothingThere(SceneError):
    """No surface is at a point that was asked about. beside: what is there instead, and how far, in words."""

    def __init__(self, name: str, beside: list[str]):
        self.name, self.beside = name, beside
        allowed = f"a landmark, or a point within {100 * NEAR_SURFACE_M:g} cm of a surface"
        super().__init__(Fault(self.words(f"at {name}"), allowed, key=name))

    def words(self, where: str) -> str:
        """What is said of it; where: how the point is called there."""
        instead = f": as the projector sees it there is {listed(self.beside)}" if self.beside else ""
        return f"nothing is {where} for light to fall on{instead}"

    def __reduce__(self):
        return type(self), (self.name, self.beside)


def surface_near(arrays: SceneArrays, origin, goal, name: str) -> OnSurface:
    """The surface at a goal (3,) m, where the line from `origin` through it meets that, within 3 cm. SceneError if
    nothing is there.

    Of one object's layers there, such as the two sides of an ear, the one that `origin` sees is meant.
    """
    origin, goal = np.asarray(origin, float), np.asarray(goal, float)
    distance = float(np.linalg.norm(goal - origin))
    if not distance > 1e-6:
        raise SceneError(
            Fault(
                found=f"{name} is where the projector itself stands",
                allowed="a landmark or point on a surface",
                key=name,
            )
        )
    way = (goal - origin) / distance
    # A little before the goal and a little behind it, so that a goal on the surface itself is met both ways; and from
    # afar.
    starts, ways = np.array([goal - 1e-4 * way, goal + 1e-4 * way, origin]), np.array([way, -way, way])
    t, faces, u, v = np.empty(3), np.empty(3, np.int32), np.empty(3), np.empty(3)
    closest_hits(arrays.bvh, starts, ways, 0.0, 1e6, 0, 3, t, faces, u, v)
    owners = np.where(faces >= 0, arrays.surfaces.owners[faces], -1)
    t = np.where(faces < 0, np.inf, t)
    nearest = int(np.argmin(t[:2]))
    if not t[nearest] <= NEAR_SURFACE_M:
        beside = [
            f"{arrays.names[owners[i]]} {t[i]:.2f} m {where}"
            for i, where in enumerate(("behind it", "before it"))
            if owners[i] >= 0 and (i == 0 or t[i] < distance)
        ]
        raise NothingThere(name, beside)
    if owners[2] == owners[nearest] and abs(t[2] - distance) <= NEAR_SURFACE_M:
        nearest = 2
    face = int(faces[nearest])
    weights = np.array([1.0 - u[nearest] - v[nearest], u[nearest], v[nearest]])
    normal = weights @ arrays.surfaces.normals[arrays.surfaces.triangles[face]]
    return OnSurface(
        starts[nearest] + t[nearest] * ways[nearest], normal / np.linalg.norm(normal), int(owners[nearest])
    )


def place_on_surface(stage: SceneOrStage, light: Projection, reference) -> Place:
    """The surface at a landmark or a point (metres) as the projector meets it, whether or not its light gets there (see
    `light_at`).

    SceneError if there is no surface, or if it lies behind the lens.
    """
    stage = stage_of(stage)
    goal = stage.point(reference)
    name = name_of(reference, goal)
    if not (goal - np.array(light.emitter.position)) @ np.array(light.emitter.forward) > 0.0:
        raise SceneError(
            Fault(found=f"{name} lies behind the lens", allowed="a landmark or point in front of it", key=name)
        )
    return place_at(light, name, surface_near(stage.arrays, light.emitter.position, goal, name))


def place_at(light: Projection, name: str, surface: OnSurface) -> Place:
    """A point of a surface in front of a projector as that meets it, its normal turned to the side that the projector
    sees.
    """
    axes = np.array([light.emitter.right, light.emitter.down, light.emitter.forward])
    local = axes @ (surface.point - np.array(light.emitter.position))
    normal = surface.normal if surface.normal @ (axes.T @ local) <= 0.0 else -surface.normal
    along = axes[2] - (axes[2] @ normal) * normal
    along = along / np.linalg.norm(along) if np.linalg.norm(along) > 1e-6 else axes[0] - (axes[0] @ normal) * normal
    along /= np.linalg.norm(along)
    across = np.cross(normal, along)
    return Place(
        name=name,
        point=surface.point,
        normal=normal,
        along=along,
        across=across,
        local=local,
        gate=_gate_point(light, local),
        per_metre_along=_movement(light, local, axes @ along),
        per_metre_across=_movement(light, local, axes @ across),
    )


def _gate_point(light: Projection, local: np.ndarray) -> np.ndarray:
    return light.tube_length * np.array(straight_slopes(light, local[0] / local[2], local[1] / local[2]))


def _movement(light: Projection, local: np.ndarray, direction: np.ndarray) -> np.ndarray:
    """Central difference of the gate point for a step on the surface, per metre."""
    step = 1e-4
    return (_gate_point(light, local + step * direction) - _gate_point(light, local - step * direction)) / (2.0 * step)


def place_on_axis(light: Projection, distance: float) -> Place:
    """A wall square to the beam where the axis meets it, `distance` (m) from the pupil."""
    right, down, forward = (np.array(axis) for axis in (light.emitter.right, light.emitter.down, light.emitter.forward))
    per_metre = light.tube_length / distance
    point = np.array(light.emitter.position) + distance * forward
    return Place(
        name="axis",
        point=point,
        normal=-forward,
        along=right,
        across=down,
        local=np.array([0.0, 0.0, distance]),
        gate=np.zeros(2),
        per_metre_along=np.array([per_metre, 0.0]),
        per_metre_across=np.array([0.0, per_metre]),
    )


@dataclass(frozen=True)
class EdgeOfLight:
    """Positions (n,) m along a direction on the surface and the share of the open gate's light there, per wavelength
    (n, k).
    """

    positions: np.ndarray
    shares: np.ndarray

    def width(self, weights=None) -> float:
        """10–90 % width (m) of the edge, its wavelengths weighted (k,) (evenly without)."""
        weights = np.ones(self.shares.shape[1]) if weights is None else np.asarray(weights, float)
        rise = self.shares @ (weights / weights.sum())
        low, high = (np.interp(level, rise, self.positions) for level in (0.1, 0.9))
        return float(abs(high - low))


def patch_diameters(light: Projection, place: Place) -> np.ndarray:
    """Signed diameters (k,) m, in the gate, of the pupil's patch at a place, per wavelength."""
    slopes = place.gate / light.tube_length
    squared = field_radius_squared(light, slopes[0], slopes[1])
    return np.array(
        [
            2.0 * light.emitter.radius * patch_scale(light, value, 1.0 / place.distance, squared)
            for value in light.inverse_sharp
        ]
    )


def edge_by_formula(
    light: Projection, place: Place, direction: str, n: int = 2001, least_span: float = 0.0
) -> EdgeOfLight:
    """The edge through the place's own gate point, square to `direction` on the surface: pupil-shaped blur of each
    wavelength.

    It is given as far as it reaches, and at least to ± least_span (m on the surface). The spherical term widens each
    patch to its outermost ray, a bound rather than a shape.
    """
    movement = place.per_metre(direction)
    per_metre = float(np.linalg.norm(movement))
    unit = movement / per_metre
    diameters = patch_diameters(light, place)
    bend = light.spherical * light.emitter.radius**3 * np.sign(diameters)
    halves = np.maximum(np.abs(0.5 * diameters + bend), 1e-9) * np.where(diameters < 0.0, -1.0, 1.0)
    shifts = (light.lateral - 1.0) * float(unit @ place.gate)
    reach = light.emitter.outline.reach
    limit = max(1.2 * (np.abs(halves).max() * reach + np.abs(shifts).max()), least_span * per_metre)
    offsets = np.linspace(-limit, limit, n)
    steps = np.linspace(-reach, reach, N_PROJECTION_STEPS + 1)
    table = projection_table(light.emitter.outline, float(unit[0]), float(unit[1]))
    shares = np.empty((n, halves.size))
    for i, half in enumerate(halves):
        at = (offsets + shifts[i]) / half
        above = np.interp(-at, steps, table)
        shares[:, i] = above if half > 0.0 else 1.0 - above
    return EdgeOfLight(offsets / per_metre, shares)


def axial_edge_width(light: Projection, weights, distance: float) -> float:
    """10–90 % width (m) of an edge on the axis, on a wall square to the beam; weights (k,): what each wavelength adds
    to the luminance.
    """
    return edge_by_formula(light, place_on_axis(light, distance), "across", 801).width(weights)


def edge_measured(light: Projection, place: Place, direction: str, span: float, n: int = 801) -> EdgeOfLight:
    """The same edge measured: points on the surface's tangent plane over ± span (m), lit through the kernels that
    render.

    The edge is a half-plane in the stencil's own plane; light with it over light without it, wavelength by wavelength.
    """
    movement = place.per_metre(direction)
    unit = movement / np.linalg.norm(movement)
    count = light.inverse_sharp.size
    tube = np.array([light.tube_length])
    normal = -unit
    table = projection_table(light.emitter.outline, float(normal[0]), float(normal[1]))[None, :]
    blade = Blades(
        normal[None, :], np.array([float(normal @ place.gate)]), tube, light.inverse_sharp[None, :].copy(), table
    )
    gate = light.gate._replace(is_round=False, half_width=0.5, half_height=0.5, falloff_stops=0.0)
    bitmap = open_bitmap(gate)
    image = draw_gate(gate, bitmap)
    open_light = light._replace(
        gate=gate._replace(norm=light.gate.norm),
        bitmap=bitmap,
        blades=light.blades._replace(
            normals=np.zeros((0, 2)),
            limits=np.zeros(0),
            tube_lengths=np.zeros(0),
            inverse_sharp=np.zeros((0, count)),
            tables=np.zeros((0, table.shape[1])),
        ),
    )
    cut_light = open_light._replace(blades=blade)
    positions = np.linspace(-span, span, n)
    world = place.point + positions[:, None] * place.vector(direction)
    normals = np.tile(place.normal, (n, 1)).astype(np.float32)
    points = Points(
        world.astype(np.float32),
        normals,
        normals,
        world.astype(np.float32),
        np.zeros(n, np.float32),
        np.zeros(n, np.int32),
        np.zeros(n, np.int32),
    )
    stack = prepared_light.stacks_for(open_light, image, 1)[0].stack(0.0, 1e-3)
    rows = in_one_row(n)
    parts = pupil_parts(open_light, all_lit(n).n_side)
    shares = np.empty((n, count))
    for i in range(count):
        weights = np.zeros((1, count, 1))
        weights[0, i, 0] = 1.0
        levels = []
        for item in (cut_light, open_light):
            out = np.zeros((n, 1))
            pattern = Pattern(item, parts, stack, stack, image)
            add_light(pattern, points, rows, all_lit(n), weights, 0, n_squares(n, 1), out)
            levels.append(out[:, 0])
        shares[:, i] = levels[0] / np.maximum(levels[1], 1e-300)
    return EdgeOfLight(positions, shares)


def full_spectrum(stage: SceneOrStage, projector: AnyProjector = None) -> tuple[Projection, np.ndarray]:
    """The projector at all 71 wavelengths of the grid and its weights (71, 3): XYZ that each adds to full light."""
    staged = projector_on(stage, projector)
    return staged.open_light(WAVELENGTHS_NM), staged.power.spectrum[:, None] * OBSERVER_STEPS * K_M


def camera_pixel_at(scene, point) -> float:
    """Size (m) of a pixel of the real camera, square to its view, at a point of the scene."""
    camera = camera_arrays(scene, 36, 24)
    depth = float((np.asarray(point) - np.array(camera.position)) @ np.array(camera.forward))
    return 2.0 * camera.half_width / scene.camera.pixels_across * max(depth, 1e-6)


def arc_minutes(scene, point, length: float) -> float:
    """The angle (arc-minutes) under which the camera sees a length (m) at a point, square to its view."""
    distance = float(np.linalg.norm(np.asarray(point) - np.asarray(scene.camera.position_m)))
    return math.degrees(length / distance) * 60.0
