"""OBJ files (Wavefront, text): corners and faces; materials are not needed."""

from __future__ import annotations

import io
from array import array

import numpy as np

from projector.meshes.formats.raw_mesh import MOST_TRIANGLES, RawMesh, refuse_too_many, shortened, text_of, unusable


def read_obj(content: bytes) -> RawMesh:
    """The corners and faces of an OBJ; its words in any case, lines continued by a backslash."""
    vertices, corners, sizes, materials = array("d"), array("q"), array("q"), []
    for number, line in _lines(text_of(content)):
        words = line.split()
        keyword = words[0].lower()
        if keyword == "v":
            vertices.extend(_place(words, number, line))
        elif keyword == "f":
            words = line.partition("#")[0].split()
            n_vertices = len(vertices) // 3
            corners.extend(_rows(words[1:], n_vertices, number))
            sizes.append(len(words) - 1)
        elif keyword == "mtllib" and len(words) > 1:
            materials.append(line.split(None, 1)[1].strip())
        if len(sizes) > MOST_TRIANGLES or len(vertices) > 9 * MOST_TRIANGLES:
            refuse_too_many(max(len(sizes), len(vertices) // 3))
    places = np.frombuffer(vertices, np.float64).reshape(-1, 3)
    return RawMesh(
        places, np.frombuffer(corners, np.int64), np.frombuffer(sizes, np.int64), [], materials, first_number=1
    )


def _lines(text: str):
    """Number and content of each line that says something."""
    begun, first = "", 0
    for number, line in enumerate(io.StringIO(text), 1):
        line = line.rstrip("\n")
        if not begun and line.lstrip().startswith("#"):
            continue
        first = first or number
        if line.endswith("\\"):
            begun += line[:-1] + " "
            continue
        line = begun + line
        if line and not line.isspace():
            yield first, line
        begun, first = "", 0
    if begun and not begun.isspace():
        yield first, begun


def _place(words, number: int, line: str):
    try:
        place = [float(word) for word in words[1:4]]
    except ValueError:
        place = []
    if len(place) != 3:
        raise unusable(f"line {number} cannot be read: {shortened(line)}")
    return place


def _rows(words, n_vertices: int, number: int) -> list[int]:
    """Rows of the vertices that a face's words name: counted from 1, or backwards from the last one so far."""
    try:
        found = [int(word.partition("/")[0]) for word in words]
    except ValueError:
        found = []
    if not found or not -n_vertices <= min(found) <= max(found) <= 3 * MOST_TRIANGLES or 0 in found:
        raise unusable(
            f"line {number}: a face names its vertices so: {shortened(' '.join(words))}; {n_vertices} stand before it"
        )
    return [index - 1 if index > 0 else n_vertices + index for index in found]
