"""GLB files: glTF 2.0 in one binary file (Khronos Group, glTF 2.0 specification, ISO/IEC 12113:2022). Geometry only."""

from __future__ import annotations

import json
import struct

import numpy as np

from projector.meshes.formats.raw_mesh import (
    MOST_TRIANGLES,
    RawMesh,
    as_places,
    cut_short,
    of_triangles,
    refuse_too_many,
    shortened,
    unusable,
)

_JSON, _BINARY = 0x4E4F534A, 0x004E4942
_COMPONENTS = {5120: "<i1", 5121: "<u1", 5122: "<i2", 5123: "<u2", 5125: "<u4", 5126: "<f4"}
_N_COMPONENTS = {"SCALAR": 1, "VEC3": 3}
_TRIANGLES, _STRIP, _FAN = 4, 5, 6
# What a file may ask for that changes where its corners lie, in words.
_UNREAD = {
    "KHR_draco_mesh_compression": "its geometry is compressed (Draco)",
    "EXT_meshopt_compression": "its geometry is compressed (meshopt)",
    "KHR_meshopt_compression": "its geometry is compressed (meshopt)",
    "EXT_mesh_gpu_instancing": "it repeats its meshes by a list of instances (EXT_mesh_gpu_instancing)",
}
_UNCOMPRESSED = "export it without compression, or as OBJ, PLY or STL"
_MOST_NODES = 100_000


def read_glb(content: bytes) -> RawMesh:
    """The triangles of a GLB's scene, its nodes placed; in metres, y up, as the format has it."""
    tree, binary = _chunks(content)
    for name in _list(tree, "extensionsRequired"):
        if name in _UNREAD:
            raise unusable(_UNREAD[name], _UNCOMPRESSED)
    vertices, triangles, n_vertices, n_triangles = [], [], 0, 0
    for mesh, transform in _placed_meshes(tree):
        for primitive in _list(mesh, "primitives", dict):
            found = _primitive(tree, binary, primitive, MOST_TRIANGLES - n_triangles)
            if found is None:
                continue
            places, corners = found
            with np.errstate(invalid="ignore", over="ignore"):
                vertices.append(places @ transform[:3, :3].T + transform[:3, 3])
            triangles.append(corners + n_vertices)
            n_vertices, n_triangles = n_vertices + len(places), n_triangles + len(corners)
            refuse_too_many(n_triangles)
            refuse_too_many(n_vertices // 3)
    if not triangles:
        raise unusable(
            "there is no surface in this file",
            "export it with its faces, not as a cloud of points",
            "a mesh with faces",
        )
    notes = (
        ["its skeleton is left out: the pose is the one that the mesh was built in."] if _list(tree, "skins") else []
    )
    return of_triangles(np.concatenate(vertices), np.concatenate(triangles), notes)


def _chunks(content: bytes):
    """(the description as a dictionary, the binary part)."""
    if content[:4] != b"glTF":
        raise unusable("this is not a GLB file: it does not begin with glTF")
    if len(content) < 20:
        raise cut_short(f"{len(content)} bytes, and a GLB begins with 20")
    version, length, n_json, kind = struct.unpack_from("<IIII", content, 4)
    if version != 2:
        raise unusable(f"this is glTF of version {version}, which cannot be read", "export it as glTF 2.0")
    if len(content) < length:
        raise cut_short(f"it names {length} bytes and holds {len(content)}")
    if kind != _JSON or 20 + n_json > len(content):
        raise unusable("its first part is not the description that it should be")
    try:
        tree = json.loads(content[20 : 20 + n_json])
    except (ValueError, RecursionError):
        raise unusable("its description cannot be read: it is no JSON") from None
    if not isinstance(tree, dict):
        raise unusable("its description is no table")
    at = 20 + n_json
    while at + 8 <= len(content):
        n_bytes, kind = struct.unpack_from("<II", content, at)
        if kind == _BINARY:
            return tree, memoryview(content)[at + 8 : at + 8 + n_bytes]
        at += 8 + n_bytes
    return tree, memoryview(b"")


def _list(table, key: str, of=object) -> list:
    """A list in the description, empty if there is none; SceneError if it is something else, or of something else."""
    value = table.get(key, [])
    if not isinstance(value, list) or not all(isinstance(item, of) for item in value):
        raise unusable(f"{key} in its description is not the list that it should be")
    return value


def _number(table, key: str, default: int | None = None) -> int:
    """A count or an index in the description."""
    value = table.get(key, default)
    if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value < 2**40:
        raise unusable(f"{key} in its description is {shortened(json.dumps(value), 20)}, which is no count")
    return value


def _item(tree, key: str, index: int) -> dict:
    """One of the description's accessors, meshes and so on."""
    items = _list(tree, key, dict)
    if index >= len(items):
        raise unusable(f"it names number {index} of its {key}, and has {len(items)}")
    return items[index]


def _placed_meshes(tree):
    """Each mesh of the scene with the matrix (4, 4) of the node that it hangs on."""
    nodes = _list(tree, "nodes", dict)
    scenes = _list(tree, "scenes", dict)
    if scenes:
        roots = _list(_item(tree, "scenes", _number(tree, "scene", 0)), "nodes", int)
    else:
        children = {child for node in nodes for child in _list(node, "children", int)}
        roots = [index for index in range(len(nodes)) if index not in children]
    waiting, n_visited = [(index, np.eye(4)) for index in reversed(roots)], 0
    while waiting:
        index, above = waiting.pop()
        n_visited += 1
        if n_visited > _MOST_NODES or not 0 <= index < len(nodes):
            raise unusable("its nodes hang on each other in a ring, or on one that is not there")
        node = nodes[index]
        for name in _table(node, "extensions"):
            if name in _UNREAD:
                raise unusable(_UNREAD[name], _UNCOMPRESSED)
        here = above @ _transform(node)
        if "mesh" in node:
            yield _item(tree, "meshes", _number(node, "mesh")), here
        waiting += [(child, here) for child in reversed(_list(node, "children", int))]
    if not nodes:
        yield from ((mesh, np.eye(4)) for mesh in _list(tree, "meshes", dict))


def _table(parent, key: str) -> dict:
    value = parent.get(key, {})
    if not isinstance(value, dict):
        raise unusable(f"{key} in its description is not the table that it should be")
    return value


def _numbers(node, key: str, default) -> np.ndarray:
    value = node.get(key, default)
    if (
        not isinstance(value, list)
        or len(value) != len(default)
        or not all(isinstance(x, (int, float)) and abs(x) < 1e12 for x in value)
    ):
        raise unusable(f"{key} of a node is not {len(default)} numbers")
    return np.array(value, float)


def _transform(node) -> np.ndarray:
    """Matrix (4, 4) of a node against the one that it hangs on: its own, or from shift,
    turn (a quaternion) and scale.
    """
    if "matrix" in node:
        return _numbers(node, "matrix", list(np.eye(4).reshape(-1))).reshape(4, 4).T
    x, y, z, w = _numbers(node, "rotation", [0.0, 0.0, 0.0, 1.0])
    length = x * x + y * y + z * z + w * w
    result = np.eye(4)
    if length > 0.0:
        s = 2.0 / length
        result[:3, :3] = [
            [1 - s * (y * y + z * z), s * (x * y - z * w), s * (x * z + y * w)],
            [s * (x * y + z * w), 1 - s * (x * x + z * z), s * (y * z - x * w)],
            [s * (x * z - y * w), s * (y * z + x * w), 1 - s * (x * x + y * y)],
        ]
    result[:3, :3] *= _numbers(node, "scale", [1.0, 1.0, 1.0])
    result[:3, 3] = _numbers(node, "translation", [0.0, 0.0, 0.0])
    return result


def _primitive(tree, binary, primitive, room: int):
    """(places (n, 3), triangles (m, 3)) of one part of a mesh; None for points and lines. room: how many triangles it
    may have.
    """
    mode = _number(primitive, "mode", _TRIANGLES)
    attributes = _table(primitive, "attributes")
    if mode not in (_TRIANGLES, _STRIP, _FAN) or "POSITION" not in attributes:
        return None
    compressed = [name for name in _table(primitive, "extensions") if name in _UNREAD]
    places = _accessor(tree, binary, _number(attributes, "POSITION"), "VEC3", 3 * MOST_TRIANGLES, compressed)
    if "indices" in primitive:
        corners = (
            _accessor(tree, binary, _number(primitive, "indices"), "SCALAR", 3 * room + 3, compressed)
            .reshape(-1)
            .astype(np.int64)
        )
    else:
        corners = np.arange(len(places))
    if mode == _TRIANGLES:
        triangles = corners[: len(corners) // 3 * 3].reshape(-1, 3)
    else:
        first = corners[:-2] if mode == _STRIP else np.full(max(len(corners) - 2, 0), corners[0] if len(corners) else 0)
        triangles = np.stack([first, corners[1:-1], corners[2:]], axis=1)
        if mode == _STRIP:
            # Every second triangle of a strip runs the other way round.
            triangles[1::2] = triangles[1::2, ::-1]
    if len(triangles) and not 0 <= triangles.min() <= triangles.max() < len(places):
        raise unusable(f"a face names corner {int(triangles.max())}, counted from 0, of {len(places)}")
    return places, triangles


def _accessor(tree, binary, index: int, kind: str, most: int, compressed) -> np.ndarray:
    """Values (n, 1 or 3) of an accessor; whole numbers that stand for −1 … 1 or 0 … 1 (`normalized`) become those."""
    accessor = _item(tree, "accessors", index)
    count, component = _number(accessor, "count"), _number(accessor, "componentType")
    wanted = ("SCALAR",) if kind == "SCALAR" else ("VEC3",)
    if (
        accessor.get("type") not in wanted
        or component not in _COMPONENTS
        or (kind == "SCALAR" and component not in (5121, 5123, 5125))
    ):
        raise unusable(
            f"its list of {'faces' if kind == 'SCALAR' else 'corners'} is of another kind than the format has"
        )
    if count > most:
        refuse_too_many(count // 3 + 1)
    if "sparse" in accessor:
        raise unusable(
            "its geometry is stored as differences (sparse accessors), which are not read",
            "export it again, or as OBJ, PLY or STL",
        )
    if "bufferView" not in accessor:
        raise unusable(
            _UNREAD[compressed[0]] if compressed else "its geometry is compressed, or missing", _UNCOMPRESSED
        )
    view = _item(tree, "bufferViews", _number(accessor, "bufferView"))
    for name in _table(view, "extensions"):
        if name in _UNREAD:
            raise unusable(_UNREAD[name], _UNCOMPRESSED)
    if _number(view, "buffer") != 0 or "uri" in _item(tree, "buffers", 0):
        raise unusable("its geometry lies in another file", "export it as one GLB")
    dtype, n = np.dtype(_COMPONENTS[component]), _N_COMPONENTS[kind]
    size = n * dtype.itemsize
    stride = _number(view, "byteStride", 0) or size
    start, length = _number(view, "byteOffset", 0) + _number(accessor, "byteOffset", 0), _number(view, "byteLength")
    end = start + max(count - 1, 0) * stride + size
    if stride < size or (count and end > min(len(binary), _number(view, "byteOffset", 0) + length)):
        raise cut_short(f"a list of {count} values runs past the end of its data")
    values = (
        np.ndarray((count, n), dtype, binary, start, (stride, dtype.itemsize)) if count else np.zeros((0, n), dtype)
    )
    if kind == "SCALAR":
        return values
    if dtype.kind != "f" and accessor.get("normalized") is True:
        return np.maximum(values / np.iinfo(dtype).max, -1.0)
    return as_places(values)
