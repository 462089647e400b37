"""Mesh files that a photographer brings: read, measured in metres, cleaned, smoothly shaded, and refused in plain words."""

from __future__ import annotations

import re
import struct
from pathlib import Path

import numpy as np

from projector.scene.faults import Fault, SceneError
from projector.scene.mesh_data import Mesh

METRES_PER_UNIT = {"mm": 1e-3, "cm": 1e-2, "m": 1.0, "inch": 0.0254, "foot": 0.3048}
ENDINGS = (".stl", ".obj", ".ply", ".off", ".glb")
MOST_TRIANGLES = 5_000_000
_LARGEST_FILE = 1_500_000_000
# Neighbouring triangles that meet at less than this angle are shaded as one smooth surface.
CREASE_ANGLE_DEG = 40.0
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
    vertices, triangles = _read(path, notes)
    _refuse_bad_vertices(path, vertices)
    if len(triangles) == 0:
        raise _fault(path, "there is no surface in this file", "a mesh with faces", "export it with its faces, not as a cloud of points")
    if len(triangles) > MOST_TRIANGLES:
        raise _fault(path, f"{len(triangles)} triangles", f"at most {MOST_TRIANGLES}", "thin it out in a mesh editor")
    vertices = vertices * METRES_PER_UNIT[unit]
    if up == "z":
        vertices = np.stack([vertices[:, 0], vertices[:, 2], -vertices[:, 1]], axis=1)
    triangles = _without_slivers(vertices, triangles, notes)
    if len(triangles) == 0:
        raise _fault(path, "every face in this file has no area", "a mesh with faces", "export it again")
    _question_size(vertices[triangles], unit, notes)
    notes.append(f"{path.name}: read in {unit}, {up} up.")
    vertices, triangles = _joined_vertices(vertices, triangles)
    return Mesh(*_smoothed(vertices, triangles), notes)


def _fault(path: Path, found: str, allowed: str = "a mesh as STL, OBJ, PLY, OFF or GLB", try_: str = "export it again") -> SceneError:
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
        raise _fault(path, f"the file has {size} bytes", f"at most {_LARGEST_FILE} bytes", "thin it out in a mesh editor")
    if path.suffix.lower() not in ENDINGS:
        raise _fault(path, f'the ending "{path.suffix}" is none of a mesh that can be read', try_="export it as OBJ, PLY or STL")
    with path.open("rb") as file:
        start = file.read(16)
    for known, what in ((b"\x89PNG", "a PNG picture"), (b"\xff\xd8\xff", "a JPEG picture"), (b"%PDF", "a PDF"), (b"PK\x03\x04", "a ZIP archive")):
        if start.startswith(known):
            raise _fault(path, f"this is really {what}", try_="name the mesh file")
    if path.suffix.lower() == ".stl":
        _check_stl_length(path, size)


def _check_stl_length(path: Path, size: int) -> None:
    """A binary STL says how many triangles follow, 50 bytes each after 84; an ASCII one ends with endsolid."""
    with path.open("rb") as file:
        head = file.read(84)
        if head[:5].lower() == b"solid":
            file.seek(max(size - 200, 0))
            text = head + file.read()
            if b"facet" in text or b"endsolid" in text:
                if b"endsolid" not in text[-300:]:
                    raise _fault(path, "the file is cut short: it has no endsolid at its end", try_="copy or export it again")
                return
    if len(head) < 84:
        raise _fault(path, f"the file is cut short: {size} bytes, and an STL begins with 84", try_="copy or export it again")
    count = struct.unpack("<I", head[80:84])[0]
    if size < 84 + 50 * count:
        there = max(size - 84, 0) // 50
        raise _fault(path, f"the file is cut short: it names {count} triangles and holds {there}", try_="copy or export it again")
    if size > 84 + 50 * count + 4096:
        raise _fault(path, f"the file names {count} triangles and is {size - 84 - 50 * count} bytes longer than they are", try_="export it again")


def _read(path: Path, notes: list[str]) -> tuple[np.ndarray, np.ndarray]:
    """Vertices (n, 3) and triangles (m, 3) of a file, polygons cut up rightly."""
    if path.suffix.lower() == ".obj":
        return _read_obj(path, notes)
    if path.suffix.lower() == ".off":
        return _read_off(path)
    import trimesh

    try:
        loaded = trimesh.load(path, process=False, force=None)
        mesh = loaded.to_geometry() if isinstance(loaded, trimesh.Scene) else loaded
    except Exception as error:  # the readers raise many kinds; whatever it is, the file cannot be used
        raise _fault(path, f"the file cannot be read as a mesh ({type(error).__name__}: {str(error)[:80]})") from None
    if not isinstance(mesh, trimesh.Trimesh):
        raise _fault(path, "there is no surface in this file", "a mesh with faces", "export it with its faces, not as a cloud of points")
    if path.suffix.lower() == ".ply":
        polygons = mesh.metadata.get("_ply_raw", {}).get("face", {}).get("data")
        cut = _ply_polygons(polygons, np.asarray(mesh.vertices, float))
        if cut is not None:
            return np.asarray(mesh.vertices, float), cut
    return np.asarray(mesh.vertices, float), np.asarray(mesh.faces, np.int64)


def _ply_polygons(data, vertices) -> np.ndarray | None:
    """Triangles of a PLY whose faces have more than three corners; None where the reader's own are right."""
    rows = None
    if isinstance(data, dict):
        for name in ("vertex_indices", "vertex_index"):
            rows = data.get(name, rows)
    elif getattr(data, "dtype", None) is not None and data.dtype.names:
        name = next((item for item in ("vertex_indices", "vertex_index") if item in data.dtype.names), None)
        rows = data[name] if name else None
        if rows is not None and rows.dtype.names:
            rows = rows[rows.dtype.names[-1]]
    if rows is None:
        return None
    polygons = [np.atleast_1d(np.asarray(row)).astype(np.int64) for row in rows]
    if all(len(polygon) == 3 for polygon in polygons):
        return None
    return _cut_polygons(vertices, polygons)


def _read_obj(path: Path, notes: list[str]) -> tuple[np.ndarray, np.ndarray]:
    """Vertices and polygons of an OBJ; materials are not needed, and a missing library is said once."""
    vertices, polygons = [], []
    try:
        lines = path.read_text(errors="replace").splitlines()
    except OSError as error:
        raise _fault(path, f"the file cannot be read ({error})") from None
    for number, line in enumerate(lines, 1):
        words = line.split()
        if not words:
            continue
        try:
            if words[0] == "v":
                vertices.append([float(word) for word in words[1:4]])
                if len(vertices[-1]) != 3:
                    raise ValueError
            elif words[0] == "f":
                polygon = [int(word.split("/")[0]) for word in words[1:]]
                polygons.append([index - 1 if index > 0 else len(vertices) + index for index in polygon])
            elif words[0] == "mtllib" and not (path.parent / line.split(None, 1)[1].strip()).is_file():
                notes.append(f"{path.name}: its material file {line.split(None, 1)[1].strip()} is not there; the surface takes the scene's reflectance.")
        except ValueError:
            raise _fault(path, f"line {number} cannot be read: {line[:60]}") from None
    points = np.array(vertices, float).reshape(-1, 3)
    return points, _cut_polygons(points, polygons, path)


def _read_off(path: Path) -> tuple[np.ndarray, np.ndarray]:
    """Vertices and polygons of an OFF file (text)."""
    text = re.sub(r"#.*", "", path.read_text(errors="replace"))
    words = text.split()
    if not words or not words[0].upper().endswith("OFF"):
        raise _fault(path, "this is not an OFF file: it does not begin with OFF")
    try:
        n_vertices, n_faces = int(words[1]), int(words[2])
        numbers = words[4:]
        vertices = np.array(numbers[: 3 * n_vertices], float).reshape(n_vertices, 3)
        polygons = list(_off_face_lines(text, n_vertices, n_faces))
    except (ValueError, IndexError):
        raise _fault(path, "the file is cut short or damaged: fewer numbers than its header names", try_="copy or export it again") from None
    return vertices, _cut_polygons(vertices, polygons, path)


def _off_face_lines(text: str, n_vertices: int, n_faces: int):
    """Corner numbers of each face; a face's line may end in colours."""
    lines = [line.split() for line in text.splitlines() if line.split()]
    first = 2 if len(lines[0]) == 1 else 1
    faces = lines[first + n_vertices : first + n_vertices + n_faces]
    if len(faces) != n_faces:
        raise ValueError
    for words in faces:
        count = int(words[0])
        polygon = [int(word) for word in words[1 : 1 + count]]
        if len(polygon) != count:
            raise ValueError
        yield polygon


def _cut_polygons(vertices: np.ndarray, polygons, path: Path | None = None) -> np.ndarray:
    """Triangles (m, 3) of polygons, ears cut in each one's own plane so that corners turned inward keep their shape."""
    triangles = []
    for polygon in polygons:
        polygon = np.asarray(polygon, np.int64)
        if polygon.size and (polygon.min() < 0 or polygon.max() >= len(vertices)):
            raise _fault(path or Path("mesh"), f"a face names vertex {int(polygon.max()) + 1} of {len(vertices)}", try_="copy or export it again")
        if polygon.size == 3:
            triangles.append(polygon[None, :])
        elif polygon.size > 3:
            triangles.append(_cut_polygon(vertices, polygon))
    return np.concatenate(triangles) if triangles else np.zeros((0, 3), np.int64)


def _cut_polygon(vertices: np.ndarray, polygon: np.ndarray) -> np.ndarray:
    corners = vertices[polygon]
    following = np.roll(corners, -1, axis=0)
    # Newell's normal: right for polygons that are not convex, or not quite flat.
    normal = np.array([((corners[:, (i + 1) % 3] - following[:, (i + 1) % 3]) * (corners[:, (i + 2) % 3] + following[:, (i + 2) % 3])).sum() for i in range(3)])
    if not np.all(np.isfinite(normal)) or not normal.any():
        fan = np.arange(1, polygon.size - 1)
        return polygon[np.stack([np.zeros_like(fan), fan, fan + 1], axis=1)]
    import mapbox_earcut

    drop = int(np.argmax(np.abs(normal)))
    kept = [(drop + 1) % 3, (drop + 2) % 3]
    flat = np.ascontiguousarray(corners[:, kept])
    cut = np.asarray(mapbox_earcut.triangulate_float64(flat, np.array([polygon.size], np.uint32)), np.int64).reshape(-1, 3)
    a, b, c = (flat[cut[:, i]] for i in range(3))
    area = ((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]).sum()
    if area * normal[drop] < 0.0:
        cut = cut[:, ::-1]
    return polygon[cut]


def _refuse_bad_vertices(path: Path, vertices: np.ndarray) -> None:
    bad = ~np.isfinite(vertices).all(axis=1)
    if bad.any():
        raise _fault(path, f"{int(bad.sum())} vertices are not numbers, the first is number {int(np.argmax(bad)) + 1}", "finite coordinates", "repair it in a mesh editor")


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
    others = [other for other, metres in METRES_PER_UNIT.items() if _SMALLEST * 10 <= size * metres / METRES_PER_UNIT[unit] <= _LARGEST]
    hint = f"; with unit = \"{others[0]}\" it would be {size * METRES_PER_UNIT[others[0]] / METRES_PER_UNIT[unit]:.3g} m" if others else ""
    notes.append(f"its longest side is {size:.4g} m when read in {unit}: is that right?{hint}")


def _joined_vertices(vertices, triangles):
    """Corners at exactly the same place made one, so that neighbours know each other."""
    unique, inverse = np.unique(vertices, axis=0, return_inverse=True)
    return unique, inverse.reshape(-1)[triangles].astype(np.int32)


def _smoothed(vertices, triangles):
    """Vertices, triangles and normals, split where faces meet at a crease; each normal is weighted by the faces' corner angles."""
    corners = vertices[triangles]
    facets = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    facets /= np.maximum(np.linalg.norm(facets, axis=1, keepdims=True), 1e-300)
    angles = _corner_angles(corners)
    normals = _corner_normals(triangles, facets, angles, len(vertices))
    rows = np.concatenate([triangles.reshape(-1, 1).astype(float), np.round(normals.reshape(-1, 3), 6)], axis=1)
    _, first, inverse = np.unique(rows, axis=0, return_index=True, return_inverse=True)
    split = np.ascontiguousarray(vertices[triangles.reshape(-1)[first]])
    return split, inverse.reshape(-1, 3).astype(np.int32), np.ascontiguousarray(normals.reshape(-1, 3)[first])


def _corner_angles(corners: np.ndarray) -> np.ndarray:
    result = np.empty(corners.shape[:2])
    for i in range(3):
        a = corners[:, (i + 1) % 3] - corners[:, i]
        b = corners[:, (i + 2) % 3] - corners[:, i]
        cosine = np.einsum("ij,ij->i", a, b) / np.maximum(np.linalg.norm(a, axis=1) * np.linalg.norm(b, axis=1), 1e-300)
        result[:, i] = np.arccos(np.clip(cosine, -1.0, 1.0))
    return result


def _corner_normals(triangles, facets, angles, n_vertices: int) -> np.ndarray:
    """Normal (m, 3, 3) of each triangle's corners: the mean over the vertex's faces within the crease angle of this one.

    Faces of a vertex are compared in pairs, vertex by vertex in order of how many faces they have.
    """
    flat = triangles.reshape(-1)
    order = np.argsort(flat, kind="stable")
    starts = np.searchsorted(flat[order], np.arange(n_vertices))
    counts = np.diff(np.append(starts, flat.size))
    owner = np.repeat(np.arange(len(triangles)), 3)
    weighted = facets[owner] * angles.reshape(-1, 1)
    limit = np.cos(np.radians(CREASE_ANGLE_DEG))
    normals = np.zeros((flat.size, 3))
    for count in np.unique(counts[counts > 0]):
        if count > 256:
            continue
        chosen = order[starts[counts == count][:, None] + np.arange(count)[None, :]]
        for at in range(0, len(chosen), max(1, 2_000_000 // int(count * count))):
            rows = chosen[at : at + max(1, 2_000_000 // int(count * count))]
            faces = facets[owner[rows]]
            close = np.einsum("nij,nkj->nik", faces, faces) >= limit
            normals[rows] = np.einsum("nik,nkj->nij", close, weighted[rows])
    lengths = np.linalg.norm(normals, axis=1, keepdims=True)
    normals = np.where(lengths > 1e-12, normals / np.maximum(lengths, 1e-300), facets[owner])
    return normals.reshape(-1, 3, 3)
