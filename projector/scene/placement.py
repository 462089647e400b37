"""Where everything of a scene stands in the world: placed meshes, landmarks, and the files that it names."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Literal

import numpy as np

from projector.faults import Fault, SceneError
from projector.figures.figure import BuiltFigure, build_figure, place_figure
from projector.files.filter_table import FilterTable, read_filter_table
from projector.files.finding import find_file
from projector.meshes.mesh import Mesh
from projector.meshes.mesh_file import load_mesh
from projector.meshes.surfaces import build_surface, faces_of, surface_centre, surface_layout
from projector.phrases import ONE_OF_THESE, did_you_mean, nearest
from projector.scene import model
from projector.stencils.stencil import load_pupil_bitmap, load_stencil


@dataclass(frozen=True)
class PlacedObject:
    """A surface or a figure of the scene with its mesh in the world (metres)."""

    spec: model.Surface | model.Figure
    mesh: Mesh


@dataclass(frozen=True)
class SeenLayout:
    """A mesh or a figure has no flat map of its own: it is mapped as a projector sees it."""

    name: str


# As many as a scene may have, and as many again changed: with fewer each would be placed anew whenever it is asked for.
@lru_cache(maxsize=40)
def placed_figure(spec) -> BuiltFigure:
    """A figure of the scene, built (or taken from the cache) and placed."""
    return place_figure(
        build_figure(spec.kind),
        spec.position_m,
        spec.stature_m,
        spec.yaw_deg,
        spec.pitch_deg,
        spec.tilt_deg,
        spec.torso_yaw_deg,
    )


def placed_surface(scene, spec) -> Mesh:
    """A surface of the scene as a mesh in the world."""

    return build_surface(spec, loaded_mesh(scene, spec))


def mesh_path(scene, spec) -> Path:
    """The file of a surface that is a mesh."""
    return find_file(spec.file, scene.folder, "mesh")


def loaded_mesh(scene, spec) -> Mesh | None:
    """The mesh file of a surface as it is stored, in metres; None for other shapes."""
    if spec.shape != "mesh":
        return None
    path = mesh_path(scene, spec)
    return _mesh_file(*file_stamp(path), spec.unit, spec.up)


@lru_cache(maxsize=8)
def _mesh_file(path: str, _changed: int, _size: int, unit: str, up: str) -> Mesh:
    return load_mesh(path, unit, up)


def placed_objects(scene) -> list[PlacedObject]:
    """Everything that light can fall on: surfaces first, then figures, in the order of the file."""
    surfaces = [PlacedObject(spec, placed_surface(scene, spec)) for spec in scene.surface]
    return surfaces + [PlacedObject(spec, placed_figure(spec).mesh) for spec in scene.figure]


def landmarks_of(scene) -> dict[str, np.ndarray]:
    """All named points of a scene: "sitter.left_eye", "backdrop.centre" and so on, (3,) float, metres."""

    named = {
        f"{spec.name}.{name}": place for spec in scene.figure for name, place in placed_figure(spec).landmarks.items()
    }
    for spec in scene.surface:
        named[f"{spec.name}.centre"] = np.asarray(surface_centre(spec, loaded_mesh(scene, spec)), float)
    return named


def _coordinates(given) -> np.ndarray:
    try:
        point = np.asarray(given, float)
    except (TypeError, ValueError):
        point = np.zeros(0)
    if point.shape != (3,) or not np.isfinite(point).all():
        raise SceneError(
            Fault(f"{given!r} is not a place", 'a landmark, "sitter.nose_tip", or a point x, y, z in metres')
        )
    return point


def point_of(scene, reference) -> np.ndarray:
    """A point (3,) float, metres, from coordinates or a landmark's name. SceneError if there is no such landmark."""
    if not isinstance(reference, str):
        return _coordinates(reference)
    owner, _, name = reference.rpartition(".")
    for spec in scene.figure:
        if spec.name == owner and name in (places := placed_figure(spec).landmarks):
            return places[name]
    for spec in scene.surface:
        if spec.name == owner and name == "centre":
            return np.asarray(surface_centre(spec, loaded_mesh(scene, spec)), float)
    known = sorted(landmarks_of(scene))
    allowed = (
        f"{', '.join(known)}; or a point x,y,z in metres"
        if known
        else "a point x,y,z in metres; this scene has no landmarks"
    )
    raise SceneError(
        Fault(
            found=f'there is no landmark "{reference}"',
            allowed=allowed,
            try_=did_you_mean(nearest(reference, known), otherwise="a point: 0.1,1.5,-0.9"),
        )
    )


def stencil_path(scene, spec) -> Path:
    """The bitmap file of a projector's stencil."""
    return find_file(spec.stencil.file, scene.folder, "stencil")


def stencil_of(scene, spec):
    """The stencil of a projector, read from its file."""
    path = stencil_path(scene, spec)
    return _stencil_file(*file_stamp(path), spec.stencil.grey, spec.stencil.inverted)


@lru_cache(maxsize=4)
def _stencil_file(path: str, _changed: int, _size: int, grey: Literal["coverage", "glass"], inverted: bool):
    return load_stencil(path, grey, inverted)


def filter_path(folder, item) -> Path:
    """The file of a filter that was measured; folder: the scene's own."""
    return find_file(item.file, folder, "filter")


def filter_table_of(folder, item) -> FilterTable:
    """A filter as its file has it. SceneError with all that is wrong with the file."""
    return _filter_file(*file_stamp(filter_path(folder, item)))


@lru_cache(maxsize=32)
def _filter_file(path: str, _changed: int, _size: int) -> FilterTable:
    return read_filter_table(path)


def pupil_path(scene, shape) -> Path:
    """The bitmap file of a drawn pupil."""
    return find_file(shape.file, scene.folder, "pupil")


def file_stamp(path: Path) -> tuple[str, int, int]:
    """A file as it is now (where, when it was last written, how large): an edited one is read again."""
    stat = path.stat()
    return str(path), stat.st_mtime_ns, stat.st_size


def files_of(scene) -> list[Path]:
    """The bitmaps, meshes and filters' tables that a scene names, which its own text does not hold."""
    meshes = [mesh_path(scene, item) for item in scene.surface if item.shape == "mesh"]
    stencils = [stencil_path(scene, item) for item in scene.projector if item.stencil is not None]
    shapes = [item.pupil_shape for item in scene.projector if item.pupil_shape is not None]
    tables = [filter_path(scene.folder, one) for item in scene.projector for one in item.filter if one.file is not None]
    return meshes + stencils + [pupil_path(scene, shape) for shape in shapes if shape.file is not None] + tables


def pupil_bitmap(scene, shape) -> np.ndarray:
    """The bitmap (h, w) float of a drawn pupil."""

    return load_pupil_bitmap(pupil_path(scene, shape))


def layout_of(scene, name: str | None):
    """How a surface (or "box.face", or a figure) is laid out as a map; a scene's only surface need not be named."""

    if name is None and len(scene.surface) == 1:
        name = scene.surface[0].name
    owner, _, face = (name or "").partition(".")
    for spec in scene.surface:
        if name == spec.name or owner == spec.name:
            if spec.shape == "mesh":
                return SeenLayout(spec.name)
            if not face or spec.shape == "box":
                return surface_layout(spec, face or None)
    for spec in scene.figure:
        if name == spec.name:
            return SeenLayout(spec.name)
    known = [name for item in scene.surface for name in faces_of(item)] + [item.name for item in scene.figure]
    unnamed = (
        f"the scene has {len(scene.surface)} surfaces, and none of them is named"
        if scene.surface
        else "this scene has no surface to map unless it is named"
    )
    raise SceneError(
        Fault(
            f'there is no surface "{name}"' if name else unnamed,
            ", ".join(known) or "a scene with a surface or a figure",
            did_you_mean(nearest(name or "", known), otherwise=ONE_OF_THESE),
        )
    )
