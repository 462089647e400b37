"""A stencil that was dropped on the page: taken within bounds, looked at, and put beside the scene under a new name."""

from __future__ import annotations

import re
import tempfile
from collections.abc import AsyncIterator
from pathlib import Path

from projector.faults import Fault, SceneError
from projector.files.bitmap_file import read_bitmap

MOST_BYTES = 40_000_000
_ENDINGS = (".png", ".jpg", ".jpeg", ".tif", ".tiff", ".webp", ".bmp", ".gif")
_MOST_LETTERS = 80


async def taken(name: str, pieces: AsyncIterator[bytes], folder: Path) -> str:
    """Take a bitmap piece by piece and put it into a folder; returns the name that it has there, no file is replaced.

    SceneError, and nothing is left, for one with too many bytes, of another kind, or that is no stencil.
    """
    plain = plain_name(name)
    with tempfile.TemporaryDirectory(dir=folder, prefix=".dropped-") as place:
        waiting = Path(place) / plain
        with waiting.open("wb") as file:
            n_bytes = 0
            async for piece in pieces:
                n_bytes += len(piece)
                if n_bytes > MOST_BYTES:
                    raise too_large()
                file.write(piece)
        read_bitmap(waiting, "stencil")
        return _put(waiting, folder)


def too_large() -> SceneError:
    """That a bitmap has more bytes than are taken."""
    return SceneError(Fault("too large a file", f"at most {MOST_BYTES // 1_000_000} MB", "save it smaller, as a PNG"))


def plain_name(name: str) -> str:
    """A name for a bitmap that every system takes, without folders. SceneError for another kind of file."""
    last = name.replace("\\", "/").rpartition("/")[2]
    stem, dot, ending = last.rpartition(".")
    if f".{ending.lower()}" not in _ENDINGS or not dot:
        raise SceneError(
            Fault(f'"{last[:_MOST_LETTERS]}" is no bitmap', f"a file with the ending {', '.join(_ENDINGS)}")
        )
    stem = re.sub(r"[^\w-]+", "-", stem).strip("-.")[:_MOST_LETTERS] or "stencil"
    return f"{stem}.{ending.lower()}"


def _put(path: Path, folder: Path) -> str:
    """Give a file a place under its name, or the first one with a number that is free."""
    number = 1
    while True:
        goal = folder / (path.name if number == 1 else f"{path.stem}-{number}{path.suffix}")
        try:
            # A link fails where the name is taken, by whomever and whenever.
            goal.hardlink_to(path)
        except FileExistsError:
            number += 1
        else:
            return goal.name
