"""The sitter: a plaster-like head, or head and torso, of a neutral adult, with the landmarks that lights are aimed at.

The figure is built once from its own field (figure_surface), kept in the cache folder and loaded from there afterwards.
It stands in metres on the floor at the origin, 1.70 m tall if it had legs, faces +z, and has its left at +x.
"""

from __future__ import annotations

import contextlib
import hashlib
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from projector import jit
from projector.faults import SceneError
from projector.figures.landmarks import find_landmarks
from projector.files.records import written_whole
from projector.geometry import figure_rotation
from projector.meshes.mesh import Mesh

KINDS = ("head", "head_and_torso")
STATURE_M = 1.70
# The height of the eyes, where the millimetre frame of the field has its origin.
EYE_HEIGHT_M = 1.588
# The head turns about a point in the neck; above the upper level it follows wholly, below the lower one not at all.
NECK_PIVOT_M = np.array([0.0, 1.453, -0.035])
NECK_BASE_M = np.array([0.0, 1.398, -0.035])
# Levels (m) along an axis that leans with the neck, so that the chin moves with the skull and the pit of the neck with
# the chest.
_NECK_LEAN = 0.45
_NECK_LEVELS_M = (1.388, 1.494)

LANDMARKS = (
    "left_eye", "right_eye", "nose_tip", "nose_bridge", "mouth", "chin", "left_ear", "right_ear", "left_cheek",
    "right_cheek", "forehead", "top_of_head", "throat", "left_shoulder", "right_shoulder", "chest",
)  # fmt: skip


@dataclass(frozen=True)
class BuiltFigure:
    """A sitter: mesh (metres), landmarks by name ((3,) float, metres, on the skin) and the kind it was built as."""

    mesh: Mesh
    landmarks: dict[str, np.ndarray]
    kind: str


def build_figure(kind: str) -> BuiltFigure:
    """The figure of the given kind ("head" or "head_and_torso"), from the cache if it is there.

    A cache that cannot be read or written costs time, never the figure.
    Raises ValueError for another kind.
    """
    if kind not in KINDS:
        raise ValueError(f'figure kind "{kind}" is not known; allowed: {", ".join(KINDS)}')
    path = jit.cache_folder() / "figures" / f"{kind}-{_sources_digest()}.npz"
    kept = _read_kept(path)
    if kept is None:
        kept = _build(kind)
        _keep(path, kept)
    vertices, triangles, normals, names, places = kept
    return BuiltFigure(Mesh(vertices, triangles, normals), dict(zip(names, places, strict=True)), kind)


def _sources_digest() -> str:
    """Short hash of the modules that shape the figure; an edit of any gives another one."""
    digest = hashlib.sha256()
    for path in sorted(Path(__file__).parent.rglob("*.py")):
        digest.update(path.name.encode() + path.read_bytes())
    return digest.hexdigest()[:16]


def _build(kind):
    from projector.figures.field.surface import build_surface

    vertices, triangles, normals = build_surface(kind)
    found = find_landmarks(kind)
    return _to_world(vertices), triangles, normals, list(found), _to_world(np.array(list(found.values())))


def _to_world(points_mm):
    return points_mm * 1e-3 + np.array([0.0, EYE_HEIGHT_M, 0.0])


_KEPT_ARRAYS = ("vertices", "triangles", "normals", "names", "places")


def _read_kept(path):
    """The arrays of a kept figure, or None if there is none or it is damaged."""
    try:
        with np.load(path, allow_pickle=False) as kept:
            return [kept[name].tolist() if name == "names" else kept[name] for name in _KEPT_ARRAYS]
    except Exception:  # numpy raises several kinds on a cut file; whatever is wrong, building again mends it
        return None


def _keep(path, arrays):
    """Write the arrays as a whole file; where there is no room for it the figure is built again next time."""
    with contextlib.suppress(OSError, SceneError):
        path.parent.mkdir(parents=True, exist_ok=True)
        with written_whole(path) as temporary, temporary.open("wb") as file:
            np.savez(file, **dict(zip(_KEPT_ARRAYS, arrays, strict=True)))


def place_figure(
    figure: BuiltFigure,
    position_m=(0.0, 0.0, 0.0),
    stature_m: float = STATURE_M,
    yaw_deg: float = 0.0,
    pitch_deg: float = 0.0,
    tilt_deg: float = 0.0,
    torso_yaw_deg: float = 0.0,
) -> BuiltFigure:
    """The figure at `position_m` (where its origin on the floor goes), scaled to `stature_m`, with the head turned.

    Yaw, pitch and tilt (degrees, as in geometry.figure_rotation) are the head's, against the world. Of a head and torso
    only the head takes them, the neck bends between; the torso is turned about the same neck by `torso_yaw_deg`.
    A head alone turns as a whole about the base of its neck.
    """
    if figure.kind == "head":
        rotation = figure_rotation(yaw_deg, pitch_deg, tilt_deg)

        def turned(points):
            return (points - NECK_BASE_M) @ rotation.T + NECK_BASE_M

    else:

        def turned(points):
            share = _head_share(points)
            yaw = torso_yaw_deg + share * (yaw_deg - torso_yaw_deg)
            return _rotated(points - NECK_PIVOT_M, yaw, share * pitch_deg, share * tilt_deg) + NECK_PIVOT_M

    scale = stature_m / STATURE_M

    def placed(points):
        return turned(points) * scale + np.asarray(position_m, float)

    mesh = figure.mesh
    normals = _turned_normals(turned, mesh.vertices, mesh.normals)
    landmarks = {name: placed(place[None, :])[0] for name, place in figure.landmarks.items()}
    return BuiltFigure(Mesh(placed(mesh.vertices), mesh.triangles, normals, list(mesh.notes)), landmarks, figure.kind)


def _head_share(points):
    """How much of the head's turn each point (n, 3) takes: 1 on the head, 0 on the torso, smooth along the neck."""
    low, high = _NECK_LEVELS_M
    level = points[:, 1] + _NECK_LEAN * (points[:, 2] - 0.03)
    share = np.clip((level - low) / (high - low), 0.0, 1.0)
    return share**3 * (10.0 - 15.0 * share + 6.0 * share**2)


def _rotated(points, yaw_deg, pitch_deg, tilt_deg):
    """Points (n, 3) turned each by its own angles (n,): geometry.figure_rotation, point by point."""
    yaw, pitch, tilt = np.radians(yaw_deg), np.radians(pitch_deg), np.radians(tilt_deg)
    x, y, z = points.T
    x, y = np.cos(tilt) * x + np.sin(tilt) * y, np.cos(tilt) * y - np.sin(tilt) * x
    y, z = np.cos(pitch) * y + np.sin(pitch) * z, np.cos(pitch) * z - np.sin(pitch) * y
    x, z = np.cos(yaw) * x + np.sin(yaw) * z, np.cos(yaw) * z - np.sin(yaw) * x
    return np.column_stack([x, y, z])


def _turned_normals(turned, vertices, normals):
    """Unit normals after a bend: two tangents are carried through it, and their cross product stands on the new
    surface.
    """
    sideways = np.where(np.abs(normals[:, [1]]) < 0.7, [[0.0, 1.0, 0.0]], [[1.0, 0.0, 0.0]])
    first = np.cross(sideways, normals)
    first /= np.linalg.norm(first, axis=1, keepdims=True)
    second = np.cross(normals, first)
    step = 1e-5
    carried = [turned(vertices + step * tangent) - turned(vertices - step * tangent) for tangent in (first, second)]
    bent = np.cross(*carried)
    return bent / np.linalg.norm(bent, axis=1, keepdims=True)
