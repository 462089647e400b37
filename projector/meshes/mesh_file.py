"""Mesh files that a photographer brings: read, measured in metres, cleaned, smoothly shaded, and refused in plain
words.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from projector.faults import Fault, SceneError
from projector.meshes.formats.glb import read_glb
from projector.meshes.formats.obj import read_obj
from projector.meshes.formats.off import read_off
from projector.meshes.formats.ply import read_ply
from projector.meshes.formats.polygons import triangles_of
from projector.meshes.formats.raw_mesh import shortened, unusable
from projector.meshes.formats.stl import read_stl
from projector.meshes.mesh import Mesh
from projector.meshes.shading import joined_vertices, smoothed

METRES_PER_UNIT = {"mm": 1e-3, "cm": 1e-2, "m": 1.0, "inch": 0.0254, "foot": 0.3048}
_READERS = {".stl": read_stl, ".obj": read_obj, ".ply": read_ply, ".off": read_off, ".glb": read_glb}
ENDINGS = tuple(_READERS)
_OTHER_KINDS = (
    (b"\x89PNG", "a PNG picture"),
    (b"\xff\xd8\xff", "a JPEG picture"),
    (b"%PDF", "a PDF"),
    (b"PK\x03\x04", "a ZIP archive"),
    (b"glTF", "a GLB"),
    (b"BLENDER", "a scene of a mesh editor"),
)
_LARGEST_FILE = 300_000_000
# Farther (m) from its origin no mesh of a studio reaches.
_FARTHEST = 1e5
# Sizes (m) outside of which the unit is probably another one.
_LARGEST, _SMALLEST = 10.0, 0.01


def load_mesh(path, unit: str = "m", up: str = "y") -> Mesh:
    """Read a mesh file: vertices in metres with y up, triangles, smooth normals, and notes about what was found.

    unit: what one unit of the file is ("mm", "cm", "m", "inch", "foot"); up: which of its axes points up ("y", "z").
    Raises SceneError for a file that is missing, empty, cut short, of another kind, without surface, or with vertices
    that are not numbers.
    """
    path = Path(path)
    _refuse_what_is_no_mesh(path)
    notes: list[str] = []
    try:
        raw = _READERS[path.suffix.lower()](path.read_bytes())
        raw.vertices = raw.vertices * METRES_PER_UNIT[unit]
        _refuse_bad_vertices(raw.vertices, unit)
        triangles = triangles_of(raw)
    except SceneError as error:
        raise SceneError([replace(fault, file=str(path)) for fault in error.faults]) from None
    except OSError as error:
        raise _fault(path, f"the file cannot be read ({error.strerror})", try_="see who may read it") from None
    if len(triangles) == 0:
        raise _fault(
            path,
            "there is no surface in this file",
            "a mesh with faces",
            "export it with its faces, not as a cloud of points",
        )
    vertices = raw.vertices
    if up == "z":
        vertices = np.stack([vertices[:, 0], vertices[:, 2], -vertices[:, 1]], axis=1)
    notes += [f"{path.name}: {note}" for note in raw.notes] + _missing_materials(path, raw.materials)
    triangles = _without_slivers(vertices, triangles, notes)
    if len(triangles) == 0:
        raise _fault(path, "every face in this file has no area", "a mesh with faces", "export it again")
    _question_size(vertices[triangles], unit, notes)
    notes.append(f"{path.name}: read in {unit}, {up} up.")
    return Mesh(*smoothed(*joined_vertices(vertices, triangles)), notes)


def _fault(
    path: Path, found: str, allowed: str = "a mesh as STL, OBJ, PLY, OFF or GLB", try_: str = "export it again"
) -> SceneError:
    return SceneError(Fault(found=found, allowed=allowed, try_=try_, file=str(path)))


def _refuse_what_is_no_mesh(path: Path) -> None:
    if path.is_dir():
        raise _fault(path, "this is a folder", try_="name the file in it")
    if not path.exists():
        raise _fault(path, "there is no such file", try_="look for a typing mistake in the name")
    size = path.stat().st_size
    if size == 0:
        raise _fault(path, "the file is empty (0 bytes)", try_="copy or export it again")
    if size > _LARGEST_FILE:
        raise _fault(
            path, f"the file has {size} bytes", f"at most {_LARGEST_FILE} bytes", "thin it out in a mesh editor"
        )
    if path.suffix.lower() not in ENDINGS:
        raise _fault(
            path, f'the ending "{path.suffix}" is none of a mesh that can be read', try_="export it as OBJ, PLY or STL"
        )
    with path.open("rb") as file:
        start = file.read(16)
    for known, what in _OTHER_KINDS:
        if start.startswith(known) and not (known == b"glTF" and path.suffix.lower() == ".glb"):
            raise _fault(path, f"this is really {what}", try_="name the mesh file, by the ending that it should have")


def _missing_materials(path: Path, names: list[str]) -> list[str]:
    """A note for each material file that is asked for and not there."""
    notes = []
    for name in dict.fromkeys(names):
        try:
            there = (path.parent / name).is_file()
        except (OSError, ValueError):  # a name that no file can have
            there = False
        if not there:
            notes.append(
                f"{path.name}: its material file {shortened(name)} is not there; the surface takes the scene's"
                " reflectance."
            )
    return notes


def _refuse_bad_vertices(vertices: np.ndarray, unit: str) -> None:
    """Vertices (n, 3) in metres that are no numbers, or so far out that their unit must be another."""
    bad = ~np.isfinite(vertices).all(axis=1)
    if bad.any():
        raise unusable(
            f"{int(bad.sum())} vertices are not numbers, the first is number {int(np.argmax(bad)) + 1}",
            "repair it in a mesh editor",
            "finite coordinates",
        )
    farthest = float(np.abs(vertices).max(initial=0.0))
    if farthest > _FARTHEST:
        raise unusable(
            f"a vertex lies {farthest:.3g} m from the file's origin when read in {unit}",
            "look at its unit, or repair it in a mesh editor",
            f"at most {_FARTHEST:g} m",
        )


def _without_slivers(vertices, triangles, notes: list[str]) -> np.ndarray:
    corners = vertices[triangles]
    doubled = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
    longest = np.max([np.sum((corners[:, i] - corners[:, (i + 1) % 3]) ** 2, axis=1) for i in range(3)], axis=0)
    flat = doubled <= 1e-12 * longest
    if flat.any():
        notes.append(f"{int(flat.sum())} faces without area were left out.")
    return triangles[~flat]


def _question_size(corners: np.ndarray, unit: str, notes: list[str]) -> None:
    size = float(np.ptp(corners.reshape(-1, 3), axis=0).max())
    if _SMALLEST <= size <= _LARGEST:
        return
    others = [
        other
        for other, metres in METRES_PER_UNIT.items()
        if _SMALLEST * 10 <= size * metres / METRES_PER_UNIT[unit] <= _LARGEST
    ]
    hint = (
        f'; with unit = "{others[0]}" it would be {size * METRES_PER_UNIT[others[0]] / METRES_PER_UNIT[unit]:.3g} m'
        if others
        else ""
    )
    notes.append(f"its longest side is {size:.4g} m when read in {unit}: is that right?{hint}")
