"""A stencil drawn askew so that it lands straight: what a tilted wall does to the picture is undone, the whole projective map.

Every place of the new stencil is followed along its chief ray (with the lens's distortion) to the wall's plane, and takes
what the wanted picture has there. The picture is the largest upright one whose open parts both the light and the wall hold.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from projector.scene.faults import Fault, SceneError
from projector.scene.placement import placed_surface, stencil_of
from projector.studies.landing import axis_hits
from projector.tracing.arrays import SceneArrays, gate_of, light_arrays, scene_arrays
from projector.tracing.chief_rays import gate_points, gate_rays, opening_border

# The new bitmap is at least so wide, and every pixel is the mean of so many places squared.
_LEAST_COLUMNS, _N_PLACES = 1024, 3
# What transmits less does not count as open.
_LEAST_OPEN = 0.02


@dataclass(frozen=True)
class Straightened:
    """A new stencil (h, w) float32 of transmission 0..1, as it lands, for the same `width_mm` in the gate.

    wall: the surface's name; width_m, height_m: of the whole bitmap on it; corners_m (4, 3): the bitmap's top left, top
    right, bottom right and bottom left corner there, as the projector sees them; corners_mm (4, 2): where these lie in the
    gate, right and down from its middle, as landed (NaN behind the lens); open_width_m, open_height_m: of what is open in it.
    """

    transmission: np.ndarray
    wall: str
    width_m: float
    height_m: float
    corners_m: np.ndarray
    corners_mm: np.ndarray
    open_width_m: float
    open_height_m: float


def straightened(scene, spec, arrays: SceneArrays | None = None) -> Straightened:
    """The stencil that lands a projector's picture straight, upright in the room, on the flat surface that its axis meets.

    SceneError without a stencil, where the axis meets no flat surface, or where part of the beam runs along its plane.
    """
    if spec.stencil is None:
        raise SceneError(Fault(found=f"{spec.name} has no stencil to straighten", allowed="a projector with a stencil", try_=f"--with projector.{spec.name}.stencil.file=window"))
    arrays = arrays or scene_arrays(scene)
    light = light_arrays(scene, spec, [587.5618])
    plane = _plane_of(scene, spec, light, arrays)
    picture = _within_the_gate(spec, stencil_of(scene, spec).transmission)
    shape = picture.shape[0] / picture.shape[1]
    open_part = _open_part(spec, picture, shape)
    centre, half_width = _largest(plane, light, open_part)
    lowest, highest = open_part.min(axis=0), open_part.max(axis=0)
    corners = centre + half_width * np.array([[-1.0, shape], [1.0, shape], [1.0, -shape], [-1.0, -shape]])
    corners_m = plane.points(corners)
    return Straightened(
        _drawn(plane, light, spec, picture, centre, half_width),
        plane.name,
        2.0 * half_width,
        2.0 * half_width * shape,
        corners_m,
        1e3 * gate_points(light, corners_m),
        half_width * (highest[0] - lowest[0]),
        half_width * (highest[1] - lowest[1]),
    )


@dataclass(frozen=True)
class _Plane:
    """A flat surface: a point of it, its right and up as the projector sees it (3,), and the surface's own outline (n, 2)."""

    name: str
    origin: np.ndarray
    right: np.ndarray
    up: np.ndarray
    outline: np.ndarray

    def points(self, places: np.ndarray) -> np.ndarray:
        """World points (n, 3) of places (n, 2) on it."""
        return self.origin + places @ np.array([self.right, self.up])

    def met_by(self, light, directions: np.ndarray) -> np.ndarray:
        """Places (n, 2) where rays from the pupil meet it; SceneError if one never does."""
        normal = np.cross(self.right, self.up)
        towards = directions @ normal
        if not towards.max() < -1e-3:
            raise SceneError(Fault(found=f"part of the beam runs along {self.name} and never lands", allowed="a beam that lands whole", try_="turn the projector towards it, a longer lens, or a smaller gate"))
        along = ((self.origin - np.array(light.position)) @ normal) / towards
        points = np.array(light.position) + along[:, None] * directions - self.origin
        return points @ np.array([self.right, self.up]).T


def _plane_of(scene, spec, light, arrays: SceneArrays) -> _Plane:
    distance, name = axis_hits(light, arrays)
    surface = next((item for item in scene.surface if item.name == name and item.shape == "flat"), None)
    if surface is None:
        raise SceneError(Fault(found=f"the axis of {spec.name} meets {name or 'nothing'}", allowed="a flat surface", try_="aim it at a flat wall"))
    vertices = placed_surface(scene, surface).vertices
    normal = np.cross(vertices[1] - vertices[0], vertices[2] - vertices[0])
    normal /= np.linalg.norm(normal)
    forward = np.array(light.forward)
    normal = -normal if normal @ forward > 0.0 else normal
    # Upright in the room; on a floor or a ceiling away from the projector is up.
    upright = np.array([0.0, 1.0, 0.0])
    up = upright - (upright @ normal) * normal
    if np.linalg.norm(up) < 0.1:
        up = forward - (forward @ normal) * normal
    if np.linalg.norm(up) < 0.1:
        # Straight down, or up, up is the projector's own.
        up = -np.array(light.down)
        up -= (up @ normal) * normal
    up /= np.linalg.norm(up)
    right = np.cross(up, normal)
    origin = np.array(light.position) + distance * forward
    return _Plane(name, origin, right, up, (vertices - origin) @ np.array([right, up]).T)


def _within_the_gate(spec, picture: np.ndarray) -> np.ndarray:
    """The bitmap with what the gate covers as metal: a round gate is to land as a circle."""
    gate, pitch = gate_of(spec), 1e-3 * spec.stencil.width_mm / picture.shape[1]
    y, x = ((np.arange(count) - 0.5 * (count - 1)) * pitch for count in picture.shape)
    inward = gate.half_width - np.hypot(x[None, :], y[:, None]) if gate.is_round else np.minimum(gate.half_width - np.abs(x)[None, :], gate.half_height - np.abs(y)[:, None])
    return picture * np.clip(inward / pitch + 0.5, 0.0, 1.0).astype(np.float32)


def _open_part(spec, picture: np.ndarray, shape: float) -> np.ndarray:
    """Corners (n, 2) of the hull round what is open in a picture, right and up, in half widths of it."""
    from scipy.spatial import ConvexHull

    rows, columns = np.nonzero(picture > _LEAST_OPEN)
    if rows.size == 0:
        raise SceneError(Fault(found=f"the stencil {spec.stencil.file} of {spec.name} lets no light through its gate", allowed="one with an open part", try_="inverted = true, or a smaller width_mm"))
    half = 0.5 * picture.shape[1]
    middles = np.column_stack([columns + 0.5 - half, shape * half - rows - 0.5])
    # Of a hull's candidates only the ends of each row matter; each is a whole pixel.
    starts = np.flatnonzero(np.diff(rows, prepend=-1))
    low, high = np.minimum.reduceat(middles[:, 0], starts), np.maximum.reduceat(middles[:, 0], starts)
    height = middles[starts, 1]
    corners = np.concatenate([np.column_stack([x, y]) for x in (low - 0.5, high + 0.5) for y in (height - 0.5, height + 0.5)])
    return corners[ConvexHull(corners).vertices] / half


def _largest(plane: _Plane, light, open_part: np.ndarray) -> tuple[np.ndarray, float]:
    """Middle (2,) and half width (m) of the largest upright picture whose open part lies within the light and the wall: a linear programme.

    A hull of corners p lies within a convex outline if for each side n·c + a·max(n·p) is at most that side's distance.
    """
    from scipy.optimize import linprog
    from scipy.spatial import ConvexHull

    border = opening_border(light, 64)[:, :-1].reshape(-1, 2)
    lit = plane.met_by(light, gate_rays(light, border[:, 0], border[:, 1]))
    sides = np.concatenate([_straight_sides(lit), ConvexHull(plane.outline).equations])
    reach = (sides[:, :2] @ open_part.T).max(axis=1)
    found = linprog([0.0, 0.0, -1.0], np.column_stack([sides[:, :2], reach]), -sides[:, 2], bounds=[(None, None), (None, None), (0.0, None)])
    if not found.success or not found.x[2] > 0.0:
        raise SceneError(Fault(found=f"no upright picture fits where the light lands on {plane.name}", allowed="a beam that lands on it", try_="aim at its middle"))
    return found.x[:2], float(found.x[2])


def _straight_sides(outline: np.ndarray) -> np.ndarray:
    """Lines (k, 3), normal outwards and offset, round a convex part of an outline (n, 2) whose points go round it in order.

    The sides of its hull; where pincushion bends the outline inwards between two of the hull's corners, the line moves in to
    the innermost point there.
    """
    from scipy.spatial import ConvexHull

    hull = ConvexHull(outline)
    count = len(outline)
    lines = hull.equations.copy()
    for line, (first, last) in zip(lines, hull.simplices, strict=True):
        first, last = (first, last) if (last - first) % count <= (first - last) % count else (last, first)
        between = outline[np.arange(first, first + (last - first) % count + 1) % count]
        line[2] = -float((between @ line[:2]).min())
    return lines


def _drawn(plane: _Plane, light, spec, picture: np.ndarray, centre: np.ndarray, half_width: float) -> np.ndarray:
    """The new stencil: each pixel the mean of the picture at the places that its parts land on."""
    from scipy.ndimage import map_coordinates

    rows, columns = picture.shape
    finer = max(1, math.ceil(_LEAST_COLUMNS / columns))
    pitch = 1e-3 * spec.stencil.width_mm / (columns * finer)
    x, y = ((np.arange(count * finer) - 0.5 * (count * finer - 1)) * pitch for count in (columns, rows))
    values = np.zeros((y.size, x.size))
    parts = ((np.arange(_N_PLACES) + 0.5) / _N_PLACES - 0.5) * pitch
    gate = gate_of(spec)
    for row, middle in enumerate(y):
        gx, gy = (axis.ravel() for axis in np.meshgrid((x[:, None] + parts).ravel(), middle + parts))
        # What the gate covers may land anywhere, or nowhere.
        seen = np.hypot(gx, gy) <= gate.half_width if gate.is_round else (np.abs(gx) <= gate.half_width) & (np.abs(gy) <= gate.half_height)
        if not seen.any():
            continue
        places = (plane.met_by(light, gate_rays(light, gx[seen], gy[seen])) - centre) / half_width
        at = [0.5 * rows - 0.5 - 0.5 * columns * places[:, 1], 0.5 * columns - 0.5 + 0.5 * columns * places[:, 0]]
        line = np.zeros(gx.size)
        line[seen] = map_coordinates(picture, at, order=1, mode="constant", cval=0.0, output=float)
        values[row] = line.reshape(_N_PLACES, x.size, _N_PLACES).mean(axis=(0, 2))
    return values.astype(np.float32)


__all__ = ["Straightened", "straightened"]
