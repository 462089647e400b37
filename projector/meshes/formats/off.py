"""OFF files (Geomview's object file format, text)."""

from __future__ import annotations

import itertools
import re
from array import array

import numpy as np

from projector.meshes.formats.raw_mesh import (
    RawMesh,
    cut_short,
    lines_of_words,
    refuse_too_many,
    shortened,
    text_of,
    unusable,
    whole_number,
)

# What may stand before OFF: texture, colours and normals of the corners, which come after each place on its line.
_KEYWORD = re.compile(r"(ST)?(C)?(N)?(4)?(n)?OFF")


def read_off(content: bytes) -> RawMesh:
    """Corners and faces of an OFF, COFF, NOFF or CNOFF; a line for each, as they are written, or words anyhow in a
    plain OFF.
    """
    text = text_of(content)
    lines = lines_of_words(text)
    head = next(lines, [""])
    # A small n before OFF is not a capital one; otherwise small letters will do.
    keyword = _KEYWORD.fullmatch(head[0]) or _KEYWORD.fullmatch(head[0].upper())
    if keyword is None:
        raise unusable("this is not an OFF file: it does not begin with OFF")
    if [word.upper() for word in head[1:2]] == ["BINARY"]:
        raise unusable("this is a binary OFF file, which is not read", "export it as text, or as PLY")
    if keyword[4] or keyword[5]:
        raise unusable(
            f"its corners have more than three coordinates ({head[0]})", "export it as a plain OFF, or as OBJ"
        )
    counts = head[1:] or next(lines, [])
    if len(counts) < 2:
        raise cut_short("it does not say how many corners and faces it has")
    n_vertices, n_faces = (_count(word, what) for word, what in zip(counts, ("corners", "faces"), strict=False))
    refuse_too_many(n_faces)
    refuse_too_many(n_vertices // 3)
    n_lines = sum(1 for _ in lines_of_words(text)) - (1 if head[1:] else 2)
    if n_lines >= n_vertices + n_faces:
        return _by_lines(lines, n_vertices, n_faces)
    if any(keyword.groups()):
        raise cut_short(f"it names {n_vertices} corners and {n_faces} faces, and {n_lines} lines follow")
    return _by_words(itertools.chain(counts[3:], (word for words in lines for word in words)), n_vertices, n_faces)


def _count(word: str, what: str) -> int:
    count = whole_number(word, f"its number of {what}")
    if count < 0:
        raise unusable(f"it names {count} {what}")
    return count


def _by_lines(lines, n_vertices: int, n_faces: int) -> RawMesh:
    """A line for each corner and face; after a place come its normal and colour, after a face's corners its colour."""
    places, corners, sizes = array("d"), array("q"), array("q")
    for number, words in enumerate(itertools.islice(lines, n_vertices), 1):
        _take_place(words, number, places)
    for number, words in enumerate(itertools.islice(lines, n_faces), 1):
        size = whole_number(words[0], f"the number of corners of face {number}")
        if not 0 <= size <= len(words) - 1:
            raise cut_short(f"face {number} names {size} corners and has {len(words) - 1}")
        corners.extend([whole_number(word, f"a corner of face {number}") for word in words[1 : 1 + size]])
        sizes.append(size)
    return _made(places, corners, sizes)


def _by_words(words, n_vertices: int, n_faces: int) -> RawMesh:
    """Numbers in a row, however they are broken into lines; there can be no colours then."""
    places, corners, sizes = array("d"), array("q"), array("q")
    for number in range(1, n_vertices + 1):
        place = list(itertools.islice(words, 3))
        if len(place) < 3:
            raise cut_short(f"it names {n_vertices} corners and holds {number - 1}")
        _take_place(place, number, places)
    for number in range(1, n_faces + 1):
        size = next((whole_number(word, f"the number of corners of face {number}") for word in words), -1)
        face = list(itertools.islice(words, max(size, 0)))
        if size < 0 or len(face) < size:
            raise cut_short(f"it names {n_faces} faces and holds {number - 1}")
        corners.extend([whole_number(word, f"a corner of face {number}") for word in face])
        sizes.append(size)
    return _made(places, corners, sizes)


def _take_place(words, number: int, places: array) -> None:
    try:
        x, y, z = words[:3]
        places.extend((float(x), float(y), float(z)))
    except ValueError:
        raise unusable(f"corner {number} cannot be read: {shortened(' '.join(words))}") from None


def _made(places: array, corners: array, sizes: array) -> RawMesh:
    return RawMesh(
        np.frombuffer(places, np.float64).reshape(-1, 3),
        np.frombuffer(corners, np.int64),
        np.frombuffer(sizes, np.int64),
    )
