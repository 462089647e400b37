"""Stencils and drawn pupils from a photographer's bitmap: how much light each place passes.

White passes light, black stops it; a stencil is stored as it lands, upright, row 0 at the top.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

import numpy as np

from projector.files.bitmap_file import read_bitmap
from projector.files.bitmaps.kinds import fault
from projector.photometry.colour import decode_srgb
from projector.phrases import percent

# Outside these shares of open area a bitmap is more often a negative than meant so (common practice, no source).
_MOSTLY_OPEN, _HARDLY_OPEN = 0.9, 0.02

# A point of the wall is lit through all of the pupil: what is finer than this in it shows nowhere.
LARGEST_PUPIL_SIDE = 2048


@dataclass(frozen=True)
class StencilBitmap:
    """A stencil as it lands: transmission (h, w) float32 0..1, row 0 at the top.

    notes: what was found and done, for the user; open_fraction: mean transmission; digest: hash of the transmission.
    """

    transmission: np.ndarray
    notes: list[str] = field(default_factory=list)
    open_fraction: float = 0.0
    digest: str = ""


def load_stencil(path, grey: Literal["coverage", "glass"] = "coverage", inverted: bool = False) -> StencilBitmap:
    """Read a stencil from a bitmap file.

    grey "coverage": grey is the share of metal cut away, linear, as at the edge of a cut; "glass": half-tone glass
    drawn in the usual coded grey of IEC 61966-2-1, where 128 passes 21.6 %. inverted: black passes light. Raises
    SceneError for a file that is missing, empty, cut short, too large, not a picture, or a vector drawing; ValueError
    for another grey.
    """
    path = Path(path)
    decode = None
    if grey == "glass":
        decode = decode_srgb
    elif grey != "coverage":
        raise ValueError(f'grey is "coverage" or "glass", not "{grey}"')
    values, notes = read_bitmap(path, "stencil", decode)
    if inverted:
        np.subtract(np.float32(1.0), values, out=values)
    share = float(values.mean(dtype=np.float64))
    _note_doubts(path, values, share, notes)
    digest = hashlib.sha256(repr(values.shape).encode())
    digest.update(values)
    return StencilBitmap(values, notes, share, digest.hexdigest())


def load_pupil_bitmap(path) -> np.ndarray:
    """Transmission (h, w) float64 0..1 of a drawn pupil; the same files are read, and refused, as for a stencil."""
    path = Path(path)
    values, _ = read_bitmap(path, "pupil", largest_side=LARGEST_PUPIL_SIDE)
    if not values.max() > 0.0:
        raise fault(
            path,
            "the pupil bitmap is black: no light would pass",
            "white where the pupil is open",
            "paint the opening white",
        )
    return values.astype(float)


def _note_doubts(path: Path, values: np.ndarray, share: float, notes: list[str]) -> None:
    """Words on a stencil that can be used, but may not be what was meant."""
    brightest = float(values.max())
    if brightest == 0.0:
        notes.append(f"{path.name} passes no light at all; white is what passes light.")
    elif share < _HARDLY_OPEN:
        notes.append(
            f"{path.name} is only {percent(share)} open; if it should be mostly bright, it may be a negative"
            f" (inverted ="
            " true)."
        )
    elif share > _MOSTLY_OPEN:
        notes.append(
            f"{path.name} is {percent(share)} open; if it should be mostly dark, it may be a negative (inverted ="
            f" true)."
        )
    if 0.0 < brightest < 0.9:
        notes.append(
            f"The brightest place of {path.name} passes only {percent(brightest)}; paint it white if it should be fully"
            " open."
        )


__all__ = ["StencilBitmap", "load_pupil_bitmap", "load_stencil"]
