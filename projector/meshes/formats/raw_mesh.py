"""What a mesh file holds before it is cleaned and shaded, and how a reader says that it cannot be read."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from projector.faults import Fault, SceneError

MOST_TRIANGLES = 2_000_000


def unusable(
    found: str, try_: str = "export it again", allowed: str = "a mesh as STL, OBJ, PLY, OFF or GLB"
) -> SceneError:
    """The error of a mesh file that cannot be used; whoever opened the file adds its name."""
    return SceneError(Fault(found, allowed, try_))


@dataclass
class RawMesh:
    """Corners and faces as a file gives them, in its own unit and axes.

    vertices  (n, 3) float64
    corners   (k,) int64, rows of `vertices`, face after face; not yet held against n
    sizes     (m,) int64, how many corners each face has
    notes     what the user should know about the reading
    materials names of material files that the mesh asks for
    first_number  what the file calls its first vertex: 0, or 1
    """

    vertices: np.ndarray
    corners: np.ndarray
    sizes: np.ndarray
    notes: list[str] = field(default_factory=list)
    materials: list[str] = field(default_factory=list)
    first_number: int = 0


def of_triangles(vertices, triangles, notes=()) -> RawMesh:
    """A RawMesh whose faces are triangles (m, 3)."""
    triangles = np.asarray(triangles, np.int64).reshape(-1, 3)
    return RawMesh(
        as_places(vertices).reshape(-1, 3), triangles.reshape(-1), np.full(len(triangles), 3, np.int64), list(notes)
    )


def as_places(values) -> np.ndarray:
    """Numbers of a file as float64; what is no number stays none, to be found and reported later."""
    with np.errstate(invalid="ignore"):
        return np.asarray(values).astype(np.float64)


def shortened(text: str, most: int = 60) -> str:
    """A piece of a file as a message may show it: one line of printable letters, cut where it is long."""
    plain = "".join(letter if letter.isprintable() else " " for letter in text[: most + 1]).strip()
    return plain if len(text) <= most else plain[:most] + "…"


def refuse_too_many(n_triangles: int) -> None:
    """SceneError where a file holds, or claims, more faces than can be worked with."""
    if n_triangles > MOST_TRIANGLES:
        raise unusable(f"{n_triangles} faces", "thin it out in a mesh editor", f"at most {MOST_TRIANGLES} triangles")


def cut_short(what: str) -> SceneError:
    """The fault of a file that ends before what it names."""
    return unusable(f"the file is cut short: {what}", "copy or export it again")


def whole_number(word, what: str) -> int:
    """A count or index in a file's text, of up to twelve digits; SceneError names what else was found."""
    digits = word.lstrip("+-")
    if not digits.isascii() or not digits.isdigit() or len(word) - len(digits) > 1:
        raise unusable(f'{what} is "{shortened(word, 20)}", which is no whole number')
    if len(digits) > 12:
        raise unusable(f"{what} is {shortened(word, 20)}, far more than any mesh has")
    return int(word)


def text_of(content: bytes) -> str:
    """The text of a file, whatever marks its beginning and ends its lines: those become plain."""
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        text = content.decode("utf-16", errors="replace")
    else:
        text = content.decode("utf-8-sig", errors="replace")
    return text.replace("\r\n", "\n").replace("\r", "\n")


def lines_of_words(text: str) -> Iterator[list[str]]:
    """The words of each line that says something, comments left out; one line at a time, as a list of all would fill
    the memory.
    """
    for line in io.StringIO(text):
        words = line.partition("#")[0].split()
        if words:
            yield words
