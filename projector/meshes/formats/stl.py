"""STL files, binary and text. The format has no standard; the layout is the one of its inventors (3D Systems, 1988)."""

from __future__ import annotations

import re
import struct
from array import array

import numpy as np

from projector.meshes.formats.raw_mesh import RawMesh, cut_short, of_triangles, refuse_too_many, unusable

_HEAD, _ROW = 84, 50
# More bytes than this after the last triangle belong to something else.
_LONGEST_TAIL = 4096
_TRIANGLE = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
_LINE_OF_NAME = re.compile(rb"^[ \t]*(?:end)?solid\b[^\r\n]*", re.MULTILINE)
_LOOP = re.compile(rb"\bouter\s+loop\b")
_THREE_CORNERS = re.compile(
    rb"\bouter\s+loop\s+" + rb"\s+".join([rb"vertex\s+(\S+)\s+(\S+)\s+(\S+)"] * 3) + rb"\s+endloop\b"
)


def read_stl(content: bytes) -> RawMesh:
    """The triangles of an STL, of either kind. Many binary ones begin with "solid" as well: the length decides."""
    claimed = struct.unpack_from("<I", content, 80)[0] if len(content) >= _HEAD else 0
    exact = claimed > 0 and len(content) == _HEAD + _ROW * claimed
    return _read_binary(content, claimed) if exact or not _is_text(content) else _read_text(content)


def _is_text(content: bytes) -> bool:
    """Text begins with "solid", and no text holds a zero byte, of which the numbers of a binary file are full."""
    return content[:2048].lstrip(b"\xef\xbb\xbf \t\r\n")[:5].lower() == b"solid" and b"\0" not in content[:4096]


def _read_binary(content: bytes, claimed: int) -> RawMesh:
    if len(content) < _HEAD:
        raise cut_short(f"{len(content)} bytes, and an STL begins with {_HEAD}")
    there = (len(content) - _HEAD) // _ROW
    if there < claimed:
        raise cut_short(f"it names {claimed} triangles and holds {there}")
    tail = len(content) - _HEAD - _ROW * claimed
    if tail > _LONGEST_TAIL:
        raise unusable(f"the file names {claimed} triangles and is {tail} bytes longer than they are")
    refuse_too_many(claimed)
    corners = np.frombuffer(content, _TRIANGLE, claimed, _HEAD)["corners"].reshape(-1, 3)
    notes = [f"{tail} bytes after its last triangle were left out."] if tail else []
    return of_triangles(corners, np.arange(len(corners)), notes)


def _read_text(content: bytes) -> RawMesh:
    # Some write it in capitals, and a solid's name may hold any word.
    text = content.lower().replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    if text.rfind(b"endsolid") <= text.rfind(b"facet"):
        raise cut_short("it has no endsolid at its end")
    text = _LINE_OF_NAME.sub(b"", text)
    n_loops = len(_LOOP.findall(text))
    refuse_too_many(n_loops)
    numbers, n_whole = array("d"), 0
    for match in _THREE_CORNERS.finditer(text):
        try:
            numbers.extend(map(float, match.groups()))
        except ValueError:
            raise unusable(f"triangle {n_whole + 1} has a corner that is not three numbers") from None
        n_whole += 1
    if n_whole != n_loops:
        raise unusable(
            f"{n_loops - n_whole} of its {n_loops} triangles do not have three corners of three numbers each"
        )
    return of_triangles(np.frombuffer(numbers, np.float64), np.arange(3 * n_whole))
