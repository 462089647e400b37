"""PLY files, text and binary of either byte order (G. Turk, "The PLY polygon file format", Stanford, 1994)."""

from __future__ import annotations

import functools
import itertools
from array import array
from dataclasses import dataclass

import numpy as np

from projector.meshes.formats.raw_mesh import (
    MOST_TRIANGLES,
    RawMesh,
    as_places,
    cut_short,
    lines_of_words,
    refuse_too_many,
    shortened,
    text_of,
    unusable,
    whole_number,
)

_TYPES = {
    "char": "i1", "uchar": "u1", "short": "i2", "ushort": "u2", "int": "i4", "uint": "u4", "float": "f4",
    "double": "f8", "int8": "i1", "uint8": "u1", "int16": "i2", "uint16": "u2", "int32": "i4", "uint32": "u4",
    "float32": "f4", "float64": "f8",
}  # fmt: skip
_WHOLE_TYPES = {name: kind for name, kind in _TYPES.items() if kind[0] != "f"}
_BYTE_ORDERS = {"ascii": "", "binary_little_endian": "<", "binary_big_endian": ">"}
_LONGEST_HEADER = 1_000_000
_LISTS_OF_CORNERS = ("vertex_indices", "vertex_index")
_AXES = ("x", "y", "z")


@dataclass
class _Property:
    """One value of an element, or a list of them: its type, and that of the list's length (None for one value)."""

    name: str
    type: str
    length_type: str | None = None


def _many(name: str) -> str:
    """What an element is called in a message."""
    return {"vertex": "vertices", "face": "faces"}.get(name, f'"{shortened(name, 20)}"')


@dataclass
class _Element:
    """A table of the file: its name, how many rows it claims, and what stands in each."""

    name: str
    count: int
    properties: list[_Property]

    @property
    def has_lists(self) -> bool:
        """Whether a row's length differs from row to row."""
        return any(item.length_type is not None for item in self.properties)

    @functools.cached_property
    def columns_of_axes(self) -> list[int]:
        """Which words of a row are x, y and z."""
        names = [item.name for item in self.properties]
        return [names.index(axis) for axis in _AXES]


def read_ply(content: bytes) -> RawMesh:
    """Corners and faces of a PLY; anything else in it is passed over."""
    byte_order, elements, start = _header(content)
    by_name = {element.name: element for element in elements}
    vertex, face = by_name.get("vertex"), by_name.get("face")
    if vertex is None or not set(_AXES) <= {item.name for item in vertex.properties}:
        raise unusable("its header names no corners with x, y and z")
    if vertex.has_lists:
        raise unusable("its corners hold lists, which a PLY of a mesh does not")
    if face is None or face.count == 0:
        raise unusable(
            "there is no surface in this file",
            "export it with its faces, not as a cloud of points",
            "a mesh with faces",
        )
    if _list_of_corners(face) is None:
        raise unusable("its faces have no list of corners (vertex_indices, of whole numbers)")
    refuse_too_many(face.count)
    refuse_too_many(vertex.count // 3)
    # What follows the last of the two is not read.
    wanted = elements[: max(elements.index(vertex), elements.index(face)) + 1]
    return (
        _read_text(content[start:], wanted, vertex, face)
        if byte_order == ""
        else _read_binary(content, start, byte_order, wanted, vertex, face)
    )


def _list_of_corners(face: _Element) -> str | None:
    """Name of the property that lists a face's corners."""
    lists = [item.name for item in face.properties if item.length_type is not None and item.type[0] != "f"]
    return next((name for name in _LISTS_OF_CORNERS if name in lists), None)


def _header(content: bytes):
    """(byte order, elements, where the body starts)."""
    head = content[:_LONGEST_HEADER]
    marker = head.find(b"end_header")
    if head[:3] != b"ply":
        raise unusable("this is not a PLY file: it does not begin with ply")
    if marker < 0:
        raise cut_short("its header does not end")
    start = marker + len(b"end_header")
    start += 2 if content[start : start + 2] == b"\r\n" else 1
    byte_order, elements = None, []
    for line in head[:marker].replace(b"\r", b"\n").decode("ascii", errors="replace").split("\n")[1:]:
        words = line.split()
        if not words or words[0] in ("comment", "obj_info"):
            continue
        try:
            if words[0] == "format":
                byte_order = _BYTE_ORDERS[words[1]]
            elif words[0] == "element":
                elements.append(_Element(words[1], whole_number(words[2], f"its number of {_many(words[1])}"), []))
            elif words[0] == "property" and words[1] == "list":
                elements[-1].properties.append(_Property(words[4], _TYPES[words[3]], _WHOLE_TYPES[words[2]]))
            elif words[0] == "property":
                elements[-1].properties.append(_Property(words[2], _TYPES[words[1]]))
        except (KeyError, IndexError):
            raise unusable(f"a line of its header cannot be read: {shortened(line)}") from None
    if byte_order is None:
        raise unusable("its header does not say whether it is text or binary")
    for element in elements:
        if element.count < 0:
            raise unusable(f"its header names {element.count} {_many(element.name)}")
    if len({element.name for element in elements}) < len(elements):
        raise unusable("its header names the same kind of element twice")
    return byte_order, elements, start


def _read_text(body: bytes, wanted, vertex: _Element, face: _Element) -> RawMesh:
    lines = lines_of_words(text_of(body))
    places, corners, sizes = array("d"), array("q"), array("q")
    for element in wanted:
        n_rows = 0
        for n_rows, words in enumerate(itertools.islice(lines, element.count), 1):
            if element is vertex:
                _take_place(words, vertex, n_rows, places)
            elif element is face:
                _take_face(words, face, n_rows, corners, sizes)
        if n_rows < element.count:
            raise cut_short(f"it names {element.count} {_many(element.name)} and holds {n_rows}")
    return RawMesh(
        np.frombuffer(places, np.float64).reshape(-1, 3),
        np.frombuffer(corners, np.int64),
        np.frombuffer(sizes, np.int64),
    )


def _take_place(words, vertex: _Element, number: int, places: array) -> None:
    try:
        places.extend([float(words[column]) for column in vertex.columns_of_axes])
    except (ValueError, IndexError):
        raise unusable(f"corner {number} cannot be read: {shortened(' '.join(words))}") from None


def _take_face(words, face: _Element, number: int, corners: array, sizes: array) -> None:
    wanted, at = _list_of_corners(face), 0
    for item in face.properties:
        if item.length_type is None:
            at += 1
            continue
        size = whole_number(words[at], f"the number of corners of face {number}") if at < len(words) else -1
        if size < 0 or at + 1 + size > len(words):
            raise cut_short(f"face {number} has fewer numbers than it names")
        if item.name == wanted:
            corners.extend([whole_number(word, f"a corner of face {number}") for word in words[at + 1 : at + 1 + size]])
            sizes.append(size)
        at += 1 + size


def _read_binary(content: bytes, start: int, byte_order: str, wanted, vertex: _Element, face: _Element) -> RawMesh:
    places = corners = sizes = None
    for element in wanted:
        if element.has_lists:
            found, start = _rows_with_lists(content, start, byte_order, element, _list_of_corners(element))
            if element is face:
                corners, sizes = found
        else:
            layout = np.dtype([(item.name, byte_order + item.type) for item in _named_apart(element.properties)])
            there = (len(content) - start) // max(layout.itemsize, 1)
            if there < element.count:
                raise cut_short(f"it names {element.count} {_many(element.name)} and holds {there}")
            if element is vertex:
                rows = np.frombuffer(content, layout, element.count, start)
                places = np.stack([as_places(rows[axis]) for axis in _AXES], axis=1)
            start += layout.itemsize * element.count
    return RawMesh(places, corners, sizes)


def _named_apart(properties):
    """Properties whose names differ: a second one of the same name, or of none, is read past."""
    seen: set[str] = set()
    for number, item in enumerate(properties):
        name = item.name if item.name not in seen else f"{item.name} {number}"
        seen.add(name)
        yield _Property(name, item.type, item.length_type)


def _rows_with_lists(content: bytes, start: int, byte_order: str, element: _Element, wanted: str | None):
    """((values of the wanted list in a row, its lengths), where the next element starts)."""
    same = _rows_alike(content, start, byte_order, element, wanted)
    if same is not None:
        return same
    types = [
        (
            item,
            np.dtype(byte_order + item.type),
            None if item.length_type is None else np.dtype(byte_order + item.length_type),
        )
        for item in element.properties
    ]
    values, sizes, n_corners = [], array("q"), 0
    for number in range(1, element.count + 1):
        for item, kind, length_kind in types:
            size = 1
            if length_kind is not None:
                if start + length_kind.itemsize > len(content):
                    raise cut_short(f"it names {element.count} {_many(element.name)} and holds {number - 1}")
                size = int(np.frombuffer(content, length_kind, 1, start)[0])
                start += length_kind.itemsize
            if size < 0 or start + size * kind.itemsize > len(content):
                raise cut_short(f"it names {element.count} {_many(element.name)} and holds {number - 1}")
            if item.name == wanted and length_kind is not None:
                values.append(np.frombuffer(content, kind, size, start))
                sizes.append(size)
                n_corners += size
                refuse_too_many(n_corners // 3)
            start += size * kind.itemsize
    joined = np.concatenate(values).astype(np.int64) if values else np.zeros(0, np.int64)
    return (joined, np.frombuffer(sizes, np.int64)), start


def _rows_alike(content: bytes, start: int, byte_order: str, element: _Element, wanted: str | None):
    """The same where every row's lists are as long as the first row's, as in a mesh of triangles alone; else None."""
    fields, lengths, at = [], [], start
    for number, item in enumerate(element.properties):
        kind = byte_order + item.type
        if item.length_type is None:
            fields.append((f"{number}", kind))
            at += np.dtype(kind).itemsize
            continue
        length_kind = np.dtype(byte_order + item.length_type)
        if at + length_kind.itemsize > len(content):
            return None
        size = int(np.frombuffer(content, length_kind, 1, at)[0])
        if not 0 < size <= MOST_TRIANGLES:
            return None
        fields += [(f"length {number}", length_kind), (f"{number}", kind, (size,))]
        lengths.append((f"length {number}", size))
        at += length_kind.itemsize + size * np.dtype(kind).itemsize
    layout = np.dtype(fields)
    if (len(content) - start) // max(layout.itemsize, 1) < element.count:
        return None
    rows = np.frombuffer(content, layout, element.count, start)
    if not all((rows[name] == size).all() for name, size in lengths):
        return None
    end = start + layout.itemsize * element.count
    number = next(
        (n for n, item in enumerate(element.properties) if item.name == wanted and item.length_type is not None), None
    )
    if number is None:
        return (np.zeros(0, np.int64), np.zeros(0, np.int64)), end
    found = rows[f"{number}"].astype(np.int64)
    return (found.reshape(-1), np.full(len(found), found.shape[1], np.int64)), end
