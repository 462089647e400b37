"""A picture as its decoder hands it on: bands of rows in the numbers that the file holds, with what those mean."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from projector.files.bitmaps.kinds import fault


@dataclass(frozen=True)
class Band:
    """Consecutive rows of a picture.

    planes: grey alone, or red, green and blue, each (rows, width) of uint8, uint16 or float32; full: the value of
    white; alpha (rows, width) float32 0..1, or None where everything is opaque. Colours are as painted, not multiplied
    by alpha.
    """

    planes: tuple[np.ndarray, ...]
    full: float
    alpha: np.ndarray | None = None

    def shares(self, plane: np.ndarray) -> np.ndarray:
        """A plane as float32, 0..1."""
        return (
            np.multiply(plane, np.float32(1.0 / self.full), dtype=np.float32)
            if self.full != 1.0
            else plane.astype(np.float32, copy=False)
        )


@dataclass(frozen=True)
class OpenPicture:
    """A picture whose pixels can be had: width and height as stored, orientation (Exif 2.3; 1: upright), and
    bands(rows): an iterator over consecutive bands of so many rows, the last one perhaps smaller."""

    width: int
    height: int
    orientation: int
    bands: Callable[[int], Iterator[Band]]


def upright(values: np.ndarray, orientation: int) -> np.ndarray:
    """Pixels (h, w, …) as they are to be shown: Exif 2.3, table 6, undone."""
    if orientation in (5, 6, 7, 8):
        values = np.swapaxes(values, 0, 1)
    if orientation in (2, 3, 6, 7):
        values = values[:, ::-1]
    if orientation in (3, 4, 7, 8):
        values = values[::-1]
    return np.ascontiguousarray(values)


def stored_box(box, width: int, height: int, orientation: int) -> tuple[int, int, int, int]:
    """Where a box (left, top, width, height) of the upright picture, of that size,
    lies in the picture as it is stored.
    """
    left, top, across, down = box
    if orientation in (3, 4, 7, 8):
        top = height - top - down
    if orientation in (2, 3, 6, 7):
        left = width - left - across
    return (top, left, down, across) if orientation >= 5 else (left, top, across, down)


def checked_shares(values: np.ndarray, full: float, path: Path) -> np.ndarray:
    """Floating-point samples, or whole ones that may go beyond white, as float32 0..1. SceneError outside."""
    if not np.isfinite(values).all():
        raise fault(path, "pixels that are not numbers", "grey values from 0 to 1", "save it as a 16-bit grey PNG")
    if values.size and (values.min() < 0.0 or values.max() > full):
        raise fault(
            path,
            f"grey values from {values.min():g} to {values.max():g}",
            f"0 to {full:g} in this kind of picture",
            "scale the values, or save it as a 16-bit grey PNG",
        )
    return (values / full).astype(np.float32) if full != 1.0 else values.astype(np.float32, copy=False)
