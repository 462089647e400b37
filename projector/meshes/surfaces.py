"""Walls, sweeps and boxes as meshes in the world, and how each is laid out flat as a map."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from projector.faults import Fault, SceneError
from projector.geometry import figure_rotation
from projector.meshes.mesh import Mesh

DEFAULT_SIZES = {"flat": (3.0, 2.7), "sweep": (2.7, 2.7), "box": (1.0, 1.0)}
DEFAULT_DEPTH, DEFAULT_FOOT, DEFAULT_FLOOR = 1.0, 0.5, 2.0
# A point of a map takes up to 300 bytes while it is made, with the shadows on it.
MOST_MAP_POINTS, FEWEST_ACROSS = 5_000_000, 16
# Flat strips that a sweep's foot is made of.
_FOOT_STRIPS = 96


def _rotation(spec):
    return figure_rotation(spec.yaw_deg, spec.pitch_deg, spec.tilt_deg)


def _placed(spec, points):
    return np.asarray(points, float) @ _rotation(spec).T + np.asarray(spec.position_m, float)


def _sizes(spec):
    width, height = DEFAULT_SIZES[spec.shape]
    return spec.width_m or width, spec.height_m or height


def _sweep_profile(spec):
    """(y, z, normal_y, normal_z, arc length below the wall's foot) along the sweep, from the top of the wall to the
    floor's end.
    """
    _, height = _sizes(spec)
    radius = spec.foot_radius_m or DEFAULT_FOOT
    floor = spec.floor_length_m or DEFAULT_FLOOR
    angles = np.linspace(0.0, 0.5 * math.pi, _FOOT_STRIPS + 1)
    y = np.concatenate([[height], radius - radius * np.sin(angles), [0.0]])
    z = np.concatenate([[0.0], radius - radius * np.cos(angles), [radius + floor]])
    ny = np.concatenate([[0.0], np.sin(angles), [1.0]])
    nz = np.concatenate([[1.0], np.cos(angles), [0.0]])
    arc = np.concatenate([[radius - height], radius * angles, [0.5 * math.pi * radius + floor]])
    return y, z, ny, nz, arc


def build_surface(spec, mesh: Mesh | None = None) -> Mesh:
    """The mesh of a surface in the world; `mesh` is the loaded file of a shape "mesh"."""
    rotation = _rotation(spec)
    if spec.shape == "mesh":
        normals = None if mesh.normals is None else mesh.normals @ rotation.T
        return Mesh(_placed(spec, mesh.vertices), mesh.triangles, normals, list(mesh.notes))
    width, height = _sizes(spec)
    if spec.shape == "flat":
        corners = [
            [-width / 2, -height / 2, 0],
            [width / 2, -height / 2, 0],
            [width / 2, height / 2, 0],
            [-width / 2, height / 2, 0],
        ]
        return Mesh(_placed(spec, corners), np.array([[0, 1, 2], [0, 2, 3]], np.int32), None, [])
    if spec.shape == "box":
        half = 0.5 * np.array([width, height, spec.depth_m or DEFAULT_DEPTH])
        corners = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)]) * half
        quads = [(1, 5, 7, 3), (4, 0, 2, 6), (0, 1, 3, 2), (5, 4, 6, 7), (3, 7, 6, 2), (0, 4, 5, 1)]
        triangles = [t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))]
        return Mesh(_placed(spec, corners), np.array(triangles, np.int32), None, [])
    y, z, ny, nz, _ = _sweep_profile(spec)
    n = y.size
    points = np.concatenate([np.stack([np.full(n, side * width / 2), y, z], axis=1) for side in (-1, 1)])
    normals = np.concatenate([np.stack([np.zeros(n), ny, nz], axis=1)] * 2)
    i = np.arange(n - 1)
    triangles = np.concatenate([np.stack([i, i + 1, i + n + 1], axis=1), np.stack([i, i + n + 1, i + n], axis=1)])
    return Mesh(_placed(spec, points), triangles.astype(np.int32), normals @ rotation.T, [])


def surface_centre(spec, mesh: Mesh | None = None) -> np.ndarray:
    """The point that "<name>.centre" means: the middle of a plate, a box or a mesh's bounds, or of a sweep's wall."""
    if spec.shape == "mesh":
        placed = build_surface(spec, mesh).vertices
        return 0.5 * (placed.min(axis=0) + placed.max(axis=0))
    if spec.shape == "sweep":
        return _placed(spec, [[0.0, 0.5 * _sizes(spec)[1], 0.0]])[0]
    return np.asarray(spec.position_m, float)


def check_map_size(name: str, n_across: int, n_down: int) -> None:
    """SceneError for a map of more points than its memory has room for, with the number across that would do."""
    if n_across * n_down <= MOST_MAP_POINTS:
        return
    fewer = math.floor(n_across * math.sqrt(MOST_MAP_POINTS / (n_across * n_down)))
    raise SceneError(
        Fault(
            f"a map of {name} with {n_across} × {n_down} points, more than memory has room for",
            f"{MOST_MAP_POINTS / 1e6:g} million points",
            "" if fewer >= FEWEST_ACROSS else f"{name} is too narrow for its height to be mapped",
            key="across",
            example=f"{fewer}" if fewer >= FEWEST_ACROSS else "",
        )
    )


@dataclass(frozen=True)
class MapLayout:
    """A surface unrolled: extent (left, right, bottom, top in m along it), labels of both axes, and its points.

    height_m: height above the floor where the vertical axis is 0; None where that axis is no height.
    """

    name: str
    extent_m: tuple[float, float, float, float]
    axis_labels: tuple[str, str]
    spec: object
    face: str | None = None
    height_m: float | None = None

    @property
    def facets_rise_m(self) -> float:
        """How far (m) the flat facets of the mesh rise over this surface: a sweep's foot is a hollow, and its strips
        are chords.
        """
        if self.spec.shape != "sweep":
            return 0.0
        return (self.spec.foot_radius_m or DEFAULT_FOOT) * (1.0 - math.cos(0.25 * math.pi / _FOOT_STRIPS))

    def grid(self, n_across: int):
        """Points (h, w, 3) and normals (h, w, 3) at the middles of square texels, row 0 at the top.

        Raises SceneError where that would be more than a map may hold.
        """
        left, right, bottom, top = self.extent_m
        rows = max(1, round(n_across * (top - bottom) / (right - left)))
        check_map_size(self.name, n_across, rows)
        x = left + (np.arange(n_across) + 0.5) * (right - left) / n_across
        y = top - (np.arange(rows) + 0.5) * (top - bottom) / rows
        across, up = np.meshgrid(x, y)
        points, normals = _unrolled(self.spec, self.face, across, up)
        rotation = _rotation(self.spec)
        return points @ rotation.T + np.asarray(self.spec.position_m, float), normals @ rotation.T


_FACES = {
    "front": ((1, 0, 0), (0, 1, 0), (0, 0, 1)), "back": ((-1, 0, 0), (0, 1, 0), (0, 0, -1)),
    "left": ((0, 0, 1), (0, 1, 0), (-1, 0, 0)), "right": ((0, 0, -1), (0, 1, 0), (1, 0, 0)),
    "top": ((1, 0, 0), (0, 0, -1), (0, 1, 0)), "bottom": ((1, 0, 0), (0, 0, 1), (0, -1, 0)),
}  # fmt: skip


def _unrolled(spec, face, across, up):
    if spec.shape == "sweep":
        _y, _z, ny, nz, arc = _sweep_profile(spec)
        at = -up
        normal = np.stack([np.interp(at, arc, values) for values in (ny, nz)])
        normal /= np.linalg.norm(normal, axis=0)
        radius = spec.foot_radius_m or DEFAULT_FOOT
        angle = np.clip(at / radius, 0.0, 0.5 * math.pi)
        wall, floor = np.minimum(at, 0.0), np.maximum(at - 0.5 * math.pi * radius, 0.0)
        points = np.stack(
            [across, radius - wall - radius * np.sin(angle), radius - radius * np.cos(angle) + floor], axis=-1
        )
        return points, np.stack([np.zeros_like(at), np.sin(angle), np.cos(angle)], axis=-1)
    along, upward, outward = (np.array(axis, float) for axis in _FACES[face or "front"])
    depth = 0.0
    if spec.shape == "box":
        width, height = _sizes(spec)
        depth = 0.5 * abs(outward @ np.array([width, height, spec.depth_m or DEFAULT_DEPTH]))
    points = across[..., None] * along + up[..., None] * upward + depth * outward
    return points, np.broadcast_to(outward, points.shape)


def surface_layout(spec, face: str | None = None) -> MapLayout | None:
    """How a surface is mapped; a mesh has no layout (None). A box by face: front, back, left, right, top, bottom."""
    if spec.shape == "mesh":
        return None
    width, height = _sizes(spec)
    if spec.shape == "flat":
        return MapLayout(spec.name, (-width / 2, width / 2, -height / 2, height / 2), *_axes(spec, "front"))
    if spec.shape == "sweep":
        arc = _sweep_profile(spec)[4]
        labels, _, _, height_m = _axes(spec, "front")
        # Its foot is where the straight wall ends, above the curve.
        height_m = None if height_m is None else height_m + (spec.foot_radius_m or DEFAULT_FOOT)
        return MapLayout(
            spec.name,
            (-width / 2, width / 2, -arc[-1], -arc[0]),
            (labels[0], "along the sweep, m (0: foot of the straight wall)"),
            spec,
            None,
            height_m,
        )
    face = face or "front"
    if face not in _FACES:
        raise SceneError(Fault(found=f'a box has no face "{face}"', allowed=", ".join(_FACES)))
    sizes = np.array([width, height, spec.depth_m or DEFAULT_DEPTH])
    wide, high = (abs(np.array(axis) @ sizes) for axis in _FACES[face][:2])
    return MapLayout(f"{spec.name}.{face}", (-wide / 2, wide / 2, -high / 2, high / 2), *_axes(spec, face))


def faces_of(spec) -> list[str]:
    """The names that a surface's maps go by: a box has one for each face."""
    return [f"{spec.name}.{face}" for face in _FACES] if spec.shape == "box" else [spec.name]


def _axes(spec, face: str) -> tuple[tuple[str, str], object, str | None, float | None]:
    """Of a plate or a box's face: the labels of its two axes, spec and face, and the height of its middle if one axis
    is a height.
    """
    along, upward = (_rotation(spec) @ np.array(axis, float) for axis in _FACES[face][:2])
    is_upright = upward[1] > 1.0 - 1e-9
    return (
        (_axis_label(along), _axis_label(upward)),
        spec,
        face if spec.shape == "box" else None,
        float(spec.position_m[1]) if is_upright else None,
    )


# The room's directions: x to the right as the camera sees it, z towards the camera.
_DIRECTIONS = (
    ("to the right", (1, 0, 0)),
    ("to the left", (-1, 0, 0)),
    ("to the front", (0, 0, 1)),
    ("to the back", (0, 0, -1)),
    ("up", (0, 1, 0)),
    ("down", (0, -1, 0)),
)


def _axis_label(direction) -> str:
    """What an axis of a map runs along, by the room's own directions: the nearest of them, or up and down a slope."""
    if 0.02 < abs(direction[1]) < 0.999:
        return f"{'up' if direction[1] > 0.0 else 'down'} the slope, m (0: its middle)"
    return f"{max(_DIRECTIONS, key=lambda item: float(np.dot(item[1], direction)))[0]}, m (0: its middle)"


def flat_half_sizes(spec) -> tuple[float, float]:
    """Half width and half height (m) of a plate."""
    width, height = _sizes(spec)
    return width / 2, height / 2


def box_half_sizes(spec) -> tuple[float, float, float]:
    """Half width, height and depth (m) of a box."""
    width, height = _sizes(spec)
    return width / 2, height / 2, (spec.depth_m or DEFAULT_DEPTH) / 2
