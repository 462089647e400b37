"""A stencil drawn askew so that it lands straight: what a tilted wall does to the picture is undone, the whole
projective map.

Every place of the new stencil is followed along its chief ray (with the lens's distortion) to the wall's plane, and
takes what the wanted picture has there. The picture is the largest upright one whose open parts both the light and the
wall hold, or one as large as on a wall square to the beam. It stays where the old one lands if it fits there, else as
near as it fits; what fits nowhere hangs so that the least of it reaches beyond light and wall.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from projector.faults import Fault, SceneError
from projector.optics.dispersion import LINE_D_NM
from projector.shown import Shown
from projector.stage.stage import AnyProjector, SceneOrStage, StagedProjector, projector_on
from projector.studies.size.held_picture import Held, held_by, largest, least_beyond, nearest
from projector.studies.size.landing import axis_hits
from projector.tracing.gate.chief_rays import gate_points, gate_rays, is_in_opening, opening_border
from projector.tracing.gate.gate_image import is_inside_gate, open_bitmap
from projector.tracing.gate.lens_law import Projection

# The new bitmap is at least so wide, and every pixel is the mean of so many places squared.
_LEAST_COLUMNS, _N_PLACES = 1024, 3
# What transmits less does not count as open.
_LEAST_OPEN = 0.02


@dataclass(frozen=True, repr=False)
class Straightened(Shown):
    """A new stencil (h, w) float32 of transmission 0..1, as it lands, `stencil_width_mm` wide in the gate.

    size_factor: its size on the wall over that of the old one on a wall square to the beam where the axis lands;
        cut_share: part of its open area that gate or wall cut off. wall: the surface's name; width_m, height_m: of the
        whole bitmap on it; corners_m (4, 3): the bitmap's top left, top right, bottom right and bottom left corner
        there, as the projector sees them; corners_mm (4, 2): where these lie in the gate, right and down from its
        middle, as landed (NaN behind the lens); open_width_m, open_height_m: of what is open in it; moved_m (2,): how
        far to the right and up, as the projector sees them, its middle lies from where that of the old one lands.
    """

    in_one_line = (
        "lands straight on {wall}, {width_m:.3f} × {height_m:.3f} m, from a stencil {stencil_width_mm:.1f} mm wide"
    )

    transmission: np.ndarray
    stencil_width_mm: float
    size_factor: float
    cut_share: float
    wall: str
    width_m: float
    height_m: float
    corners_m: np.ndarray
    corners_mm: np.ndarray
    open_width_m: float
    open_height_m: float
    moved_m: np.ndarray


def straightened(stage: SceneOrStage, projector: AnyProjector = None, keep_size: bool = False) -> Straightened:
    """The stencil that lands a projector's picture straight, and upright, on the flat surface that its axis meets.

    keep_size: as large as the old one on a wall square to the beam, even if the gate then cuts some of it off, and
    drawn on a larger bitmap where the gate has room for one; else as large as goes without.

    SceneError without a stencil, where the axis meets no flat surface, or where part of the beam runs along its plane.

    >>> straightened("01-square-wall", "window")
    <Straightened: lands straight on wall, 1.453 × 1.453 m, from a stencil 36.0 mm wide>
    """
    staged = projector_on(stage, projector)
    spec = staged.spec
    if spec.stencil is None:
        raise SceneError(
            Fault(
                found=f"{spec.name} has no stencil to straighten",
                allowed="a projector with a stencil",
                try_=f"give it one: projector.{spec.name}.stencil.file=window",
                typed=f"--with projector.{spec.name}.stencil.file=window",
            )
        )
    light = staged.light([LINE_D_NM])
    plane = _plane_of(staged, light)
    picture = _within_the_gate(staged, staged.bitmap.transmission)
    shape = picture.shape[0] / picture.shape[1]
    open_part = _open_part(spec, picture, shape)
    # The old bitmap's own size on a wall square to the beam where the axis lands: W = G·Z/s.
    square = 0.5e-3 * spec.stencil.width_mm * plane.distance / light.tube_length
    lowest, highest = open_part.min(axis=0), open_part.max(axis=0)
    # Where the middle of what is open lands now is where it is to stay.
    middle = 0.5 * (lowest + highest)
    x, y = 0.5e-3 * spec.stencil.width_mm * middle
    (landed,) = plane.met_by(light, gate_rays(light, [x], [-y]))
    if keep_size:
        light = light._replace(bitmap=open_bitmap(light.gate))
    held = _held(plane, light, open_part)
    half_width = square if keep_size else _largest(plane, held)
    centre = _hung(held, half_width, landed - half_width * middle)
    placed = _Placed(plane, light, picture, centre, half_width)
    corners = centre + half_width * np.array([[-1.0, shape], [1.0, shape], [1.0, -shape], [-1.0, -shape]])
    corners_m = plane.points(corners)
    across, pitch = (
        _canvas(spec, placed, plane.points(centre + half_width * open_part))
        if keep_size
        else _same_canvas(spec, picture)
    )
    return Straightened(
        transmission=_drawn(placed, across, pitch),
        stencil_width_mm=1e3 * across[0] * pitch,
        size_factor=half_width / square,
        cut_share=_cut_share(placed) if keep_size else 0.0,
        wall=plane.name,
        width_m=2.0 * half_width,
        height_m=2.0 * half_width * shape,
        corners_m=corners_m,
        corners_mm=1e3 * gate_points(light, corners_m),
        open_width_m=half_width * (highest[0] - lowest[0]),
        open_height_m=half_width * (highest[1] - lowest[1]),
        moved_m=centre + half_width * middle - landed,
    )


@dataclass(frozen=True)
class _Plane:
    """A flat surface: the point of it that the axis meets and its distance, its right and up as the projector sees it
    (3,), and its own outline (n, 2).
    """

    name: str
    distance: float
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
            raise SceneError(
                Fault(
                    found=f"part of the beam runs along {self.name} and never lands",
                    allowed="a beam that lands whole",
                    try_="turn the projector towards it, a longer lens, or a smaller gate",
                )
            )
        along = ((self.origin - np.array(light.emitter.position)) @ normal) / towards
        points = np.array(light.emitter.position) + along[:, None] * directions - self.origin
        return points @ np.array([self.right, self.up]).T


def _plane_of(staged: StagedProjector, light) -> _Plane:
    distance, name = axis_hits(light, staged.stage.arrays)
    flat = staged.stage.flat(name)
    if name is None or flat is None:
        raise SceneError(
            Fault(
                found=f"the axis of {staged.name} meets {name or 'nothing'}",
                allowed="a flat surface",
                try_="aim it at a flat wall",
            )
        )
    vertices = flat.vertices
    normal = np.cross(vertices[1] - vertices[0], vertices[2] - vertices[0])
    normal /= np.linalg.norm(normal)
    forward = np.array(light.emitter.forward)
    normal = -normal if normal @ forward > 0.0 else normal
    # Upright in the room; on a floor or a ceiling away from the projector is up.
    upright = np.array([0.0, 1.0, 0.0])
    up = upright - (upright @ normal) * normal
    if np.linalg.norm(up) < 0.1:
        up = forward - (forward @ normal) * normal
    if np.linalg.norm(up) < 0.1:
        # Straight down, or up, up is the projector's own.
        up = -np.array(light.emitter.down)
        up -= (up @ normal) * normal
    up /= np.linalg.norm(up)
    right = np.cross(up, normal)
    origin = np.array(light.emitter.position) + distance * forward
    return _Plane(
        name=name,
        distance=distance,
        origin=origin,
        right=right,
        up=up,
        outline=(vertices - origin) @ np.array([right, up]).T,
    )


def _within_the_gate(staged: StagedProjector, picture: np.ndarray) -> np.ndarray:
    """The bitmap with what the gate covers as metal: a round gate is to land as a circle."""
    gate, pitch = staged.gate, staged.bitmap.pitch
    y, x = ((np.arange(count) - 0.5 * (count - 1)) * pitch for count in picture.shape)
    inward = (
        gate.half_width - np.hypot(x[None, :], y[:, None])
        if gate.is_round
        else np.minimum(gate.half_width - np.abs(x)[None, :], gate.half_height - np.abs(y)[:, None])
    )
    return picture * np.clip(inward / pitch + 0.5, 0.0, 1.0).astype(np.float32)


def _open_part(spec, picture: np.ndarray, shape: float) -> np.ndarray:
    """Corners (n, 2) of the hull round what is open in a picture, right and up, in half widths of it."""
    from scipy.spatial import ConvexHull

    rows, columns = np.nonzero(picture > _LEAST_OPEN)
    if rows.size == 0:
        raise SceneError(
            Fault(
                found=f"the stencil {spec.stencil.file} of {spec.name} lets no light through its gate",
                allowed="one with an open part",
                try_="inverted = true, or a smaller width_mm",
            )
        )
    half = 0.5 * picture.shape[1]
    middles = np.column_stack([columns + 0.5 - half, shape * half - rows - 0.5])
    # Of a hull's candidates only the ends of each row matter; each is a whole pixel.
    starts = np.flatnonzero(np.diff(rows, prepend=-1))
    low, high = np.minimum.reduceat(middles[:, 0], starts), np.maximum.reduceat(middles[:, 0], starts)
    height = middles[starts, 1]
    corners = np.concatenate(
        [np.column_stack([x, y]) for x in (low - 0.5, high + 0.5) for y in (height - 0.5, height + 0.5)]
    )
    return corners[ConvexHull(corners).vertices] / half


def _held(plane: _Plane, light, open_part: np.ndarray) -> Held:
    """What holds the open part on the wall: all that the light through the gate's opening meets of it."""
    border = opening_border(light, 64)[:, :-1].reshape(-1, 2)
    return held_by(plane.met_by(light, gate_rays(light, border[:, 0], border[:, 1])), plane.outline, open_part)


def _largest(plane: _Plane, held: Held) -> float:
    """Half width (m) of the largest upright picture whose open part is held."""
    found = largest(held)
    if found is None:
        raise SceneError(
            Fault(
                found=f"no upright picture fits where the light lands on {plane.name}",
                allowed="a beam that lands on it",
                try_="aim at its middle",
            )
        )
    return found


def _hung(held: Held, half_width: float, wanted: np.ndarray) -> np.ndarray:
    """Middle (2,) of the picture: as near to a wanted one as it is held whole, else where least of it is cut off."""
    place = nearest(held, half_width, wanted)
    return least_beyond(held, half_width) if place is None else place


class _Placed(NamedTuple):
    """A picture (h, w) hung upright on a plane: its middle (2,) and half width there, m, and the light that is to draw
    it.
    """

    plane: _Plane
    light: Projection
    picture: np.ndarray
    centre: np.ndarray
    half_width: float

    def values(self, places: np.ndarray) -> np.ndarray:
        """What the picture has at places (n, 2) m on the plane (n,)."""
        from scipy.ndimage import map_coordinates

        rows, columns = self.picture.shape
        x, y = ((places - self.centre) / self.half_width).T
        at = [0.5 * rows - 0.5 - 0.5 * columns * y, 0.5 * columns - 0.5 + 0.5 * columns * x]
        return map_coordinates(self.picture, at, order=1, mode="constant", cval=0.0, output=float)


def _same_canvas(spec, picture: np.ndarray) -> tuple[tuple[int, int], float]:
    """Columns and rows of a bitmap as large as the old one and at least as fine, and its pitch (m)."""
    rows, columns = picture.shape
    finer = max(1, math.ceil(_LEAST_COLUMNS / columns))
    return (columns * finer, rows * finer), 1e-3 * spec.stencil.width_mm / (columns * finer)


def _canvas(spec, placed: _Placed, hull: np.ndarray) -> tuple[tuple[int, int], float]:
    """The same, grown where the open part's hull (n, 3) m on the wall needs more and the gate has room."""
    (columns, rows), pitch = _same_canvas(spec, placed.picture)
    gate = placed.light.gate
    # Straight lines on the wall are straight in the gate but for distortion: sides are followed, not only corners.
    share = np.linspace(0.0, 1.0, 17)[:, None, None]
    sides = ((1.0 - share) * hull + share * np.roll(hull, -1, axis=0)).reshape(-1, 3)
    reach = np.abs(gate_points(placed.light, sides))
    limits = np.array([gate.half_width, gate.half_height])
    # What lies behind the lens is beyond every gate.
    needed = np.minimum(np.where(np.isnan(reach), np.inf, reach).max(axis=0), limits)
    grown = 2 * np.ceil(needed / pitch).astype(int)
    return (max(columns, int(grown[0])), max(rows, int(grown[1]))), pitch


def _drawn(placed: _Placed, across: tuple[int, int], pitch: float) -> np.ndarray:
    """The new stencil: each pixel the mean of the picture at the places that its parts land on."""
    x, y = ((np.arange(count) - 0.5 * (count - 1)) * pitch for count in across)
    values = np.zeros((y.size, x.size))
    parts = ((np.arange(_N_PLACES) + 0.5) / _N_PLACES - 0.5) * pitch
    for row, middle in enumerate(y):
        gx, gy = (axis.ravel() for axis in np.meshgrid((x[:, None] + parts).ravel(), middle + parts))
        # What the gate covers may land anywhere, or nowhere.
        seen = is_inside_gate(placed.light.gate, gx, gy)
        if not seen.any():
            continue
        line = np.zeros(gx.size)
        line[seen] = placed.values(placed.plane.met_by(placed.light, gate_rays(placed.light, gx[seen], gy[seen])))
        values[row] = line.reshape(_N_PLACES, x.size, _N_PLACES).mean(axis=(0, 2))
    return values.astype(np.float32)


def _cut_share(placed: _Placed) -> float:
    """Part of the picture's open area that gate or wall cut off."""
    from scipy.spatial import ConvexHull

    rows, columns = placed.picture.shape
    x, y = np.meshgrid(
        (np.arange(columns) + 0.5) / (0.5 * columns) - 1.0, (0.5 * rows - np.arange(rows) - 0.5) / (0.5 * columns)
    )
    is_open = placed.picture.ravel() > _LEAST_OPEN
    places = placed.centre + placed.half_width * np.column_stack([x.ravel(), y.ravel()])[is_open]
    sides = ConvexHull(placed.plane.outline).equations
    held = np.all(places @ sides[:, :2].T + sides[:, 2] <= 1e-9, axis=1)
    held &= is_in_opening(placed.light, gate_points(placed.light, placed.plane.points(places)))
    weights = placed.picture.ravel()[is_open]
    return float(1.0 - weights[held].sum() / weights.sum())


__all__ = ["Straightened", "straightened"]
