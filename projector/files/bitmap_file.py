"""Any bitmap that a photographer brings, as grey 0 to 1: mode, depth, transparency and orientation as the file states
them.

Nothing is guessed from a count of channels. What cannot be read for certain is refused in words; what was done to a
readable picture is noted. Large pictures are read in bands, so that one never stands in memory as floating-point
numbers.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np

from projector.faults import Fault, SceneError
from projector.files.bitmaps.bands import Band, OpenPicture, stored_box, upright
from projector.files.bitmaps.by_pillow import open_by_pillow
from projector.files.bitmaps.by_tifffile import described, open_by_tifffile
from projector.files.bitmaps.kinds import (
    MOST_PIXELS,
    WANTED_SIDE,
    fault,
    picture_kind,
    refuse_other_kinds,
    start_of,
    unreadable,
)

# Larger bitmaps are averaged down to this side: finer detail than a gate can show.
LARGEST_SIDE = WANTED_SIDE
SMALL_SIDE = 400
# A part in colour beyond this would take too much memory to be worked on.
MOST_COLOUR_PIXELS = 40_000_000
# A band of about so many pixels stays in the processor's cache while it is worked on.
_BAND_PIXELS = 1 << 19

# ITU-R BT.601 luma weights, as Pillow's own conversion to grey has them.
_LUMA = (np.float32(0.299), np.float32(0.587), np.float32(0.114))
# Channels further apart than this are a colour; JPEG leaves less in what was grey.
_COLOURED_FROM = 0.06


def read_bitmap(
    path, purpose: str, decode: Callable[[np.ndarray], np.ndarray] | None = None, largest_side: int | None = None
) -> tuple[np.ndarray, list[str]]:
    """The picture at `path` as (h, w) float32 0..1, row 0 at the top, and notes on what was found and done.

    purpose names the picture in messages ("stencil"); decode, if given, maps coded grey to linear before anything is
    averaged or multiplied with transparency. A picture with a longer side than largest_side (LARGEST_SIDE if None) is
    averaged down. Raises SceneError for a file that cannot be read for certain, or only at too great a cost.
    """
    side = largest_side or LARGEST_SIDE
    return _read(
        Path(path), purpose, side, lambda picture, notes: _grey_picture(picture, Path(path), notes, decode, side)
    )


def read_colours(path, purpose: str, box: tuple[int, int, int, int] | None = None) -> tuple[np.ndarray, list[str]]:
    """The picture at `path` as it is coded, (h, w, 3) float32 0..1, row 0 at the top, and notes. Raises SceneError as
    `read_bitmap`.

    All 16 bits of a channel are kept. Grey pictures have three equal channels; transparent places keep their colour.
    box: (left, top, width, height) in pixels of the upright picture, the part that is wanted.
    """
    return _read(Path(path), purpose, MOST_PIXELS, lambda picture, notes: _colour_picture(picture, Path(path), box))


def _read(
    path: Path, purpose: str, side: int, made_of: Callable[[OpenPicture, list[str]], np.ndarray]
) -> tuple[np.ndarray, list[str]]:
    """What is made of a picture file's pixels, of which the longer side need be no more than `side`, and the notes.

    Every failure of a decoder is put in words.
    """
    notes: list[str] = []
    start = start_of(path)
    refuse_other_kinds(path, start, purpose)
    try:
        kind = picture_kind(start)
        picture = open_by_tifffile(path, notes) if kind == "TIFF" else None
        if picture is None:
            picture = open_by_pillow(path, kind, side, notes)
        return made_of(picture, notes), notes
    except SceneError:
        raise
    except MemoryError:
        allowed = f"{LARGEST_SIDE} × {LARGEST_SIDE} pixels or less"
        raise fault(path, "the picture does not fit into this computer's memory", allowed, "scale it down") from None
    except Exception as error:  # decoders raise errors of many kinds on damaged files
        kind = described(path) if picture_kind(start) == "TIFF" else None
        raise unreadable(path, start, purpose, error, kind) from None


# --- colour --------------------------------------------------------------------------------------------------------


def _colour_picture(picture: OpenPicture, path: Path, box) -> np.ndarray:
    width, height = (picture.height, picture.width) if picture.orientation >= 5 else (picture.width, picture.height)
    box = checked_box(box, width, height, str(path))
    if box[2] * box[3] > MOST_COLOUR_PIXELS:
        raise fault(
            path,
            f"{box[2]} × {box[3]} pixels to work on",
            f"{MOST_COLOUR_PIXELS / 1e6:.0f} million pixels",
            "name the part that matters by a box: left, top, width, height",
            typed="name the part that matters: --box left,top,width,height",
        )
    left, top, across, down = stored_box(box, width, height, picture.orientation)
    coded = np.empty((down, across, 3), np.float32)
    row = -top
    for band in picture.bands(_band_rows(picture.width, 1)):
        rows = band.planes[0].shape[0]
        wanted = slice(max(0, -row), min(rows, down - row))
        if wanted.start < wanted.stop:
            for channel in range(3):
                plane = band.planes[channel % len(band.planes)][wanted, left : left + across]
                coded[row + wanted.start : row + wanted.stop, :, channel] = band.shares(plane)
        row += rows
    return upright(coded, picture.orientation)


def checked_box(box, width: int, height: int, file: str) -> tuple[int, int, int, int]:
    """The box, or all of a picture of that size for None. SceneError if it leaves the picture."""
    left, top, across, down = box if box is not None else (0, 0, width, height)
    if left < 0 or top < 0 or across < 1 or down < 1 or left + across > width or top + down > height:
        found = f"the box {left},{top},{across},{down} leaves the photograph of {width} × {height} pixels"
        raise SceneError(Fault(found=found, allowed="left,top,width,height inside it", file=file))
    return left, top, across, down


# --- grey ----------------------------------------------------------------------------------------------------------


def _grey_picture(picture: OpenPicture, path: Path, notes: list[str], decode, side: int) -> np.ndarray:
    """Grey 0..1 of a picture, averaged down to the largest side."""
    larger = max(picture.width, picture.height)
    if larger < SMALL_SIDE:
        notes.append(f"{path.name} has only {picture.width} × {picture.height} pixels: its steps may show on the wall.")
    factor = -(-larger // side)
    if factor > 1:
        notes.append(f"{path.name} has {picture.width} × {picture.height} pixels; it was averaged down {factor} times.")
    gathered = _Gathered(-(-picture.height // factor), -(-picture.width // factor), factor, decode)
    for band in picture.bands(_band_rows(picture.width, factor)):
        gathered.add(band)
    return upright(gathered.result(path, notes), picture.orientation)


def _band_rows(width: int, factor: int) -> int:
    return max(1, _BAND_PIXELS // (width * factor)) * factor


class _Gathered:
    """What the bands of a picture give: light = grey × alpha and alpha, averaged down, and what was seen on the way."""

    def __init__(self, height: int, width: int, factor: int, decode):
        self._factor, self._decode = factor, decode
        self._light = np.zeros((height, width), np.float32)
        self._alpha: np.ndarray | None = None
        self._top = 0
        self._darkest, self._brightest, self._least_alpha = 1.0, 0.0, 1.0
        self._coloured = False

    def add(self, band: Band) -> None:
        """Count the next band in."""
        rows = -(-band.planes[0].shape[0] // self._factor)
        here = slice(self._top, self._top + rows)
        self._top += rows
        self._coloured |= _is_coloured(band)
        if band.alpha is None:
            if self._alpha is not None:
                self._alpha[here] = 1.0
            self._light[here] = self._opaque(band)
            return
        if self._alpha is None:
            self._alpha = np.ones_like(self._light)
        grey = _grey(band.planes, band)
        # Nearly clear pixels have lost their colour to rounding; the others tell whether the colour is one throughout.
        shown = grey[band.alpha >= 0.5]
        if shown.size:
            self._darkest, self._brightest = (
                min(self._darkest, float(shown.min())),
                max(self._brightest, float(shown.max())),
            )
        self._least_alpha = min(self._least_alpha, float(band.alpha.min()))
        linear = grey if self._decode is None else np.asarray(self._decode(grey), np.float32)
        self._light[here] = _averaged(linear * band.alpha, self._factor)
        self._alpha[here] = _averaged(band.alpha, self._factor)

    def _opaque(self, band: Band) -> np.ndarray:
        if self._decode is not None:
            return _averaged(np.asarray(self._decode(_grey(band.planes, band)), np.float32), self._factor)
        # Averaging and weighing may change places, and there is less to weigh after it.
        return _grey([_averaged(plane, self._factor) for plane in band.planes], band)

    def result(self, path: Path, notes: list[str]) -> np.ndarray:
        """The picture's light 0..1, or its transparency where that is what was drawn."""
        if self._coloured:
            notes.append(f"{path.name} is coloured; only its brightness counts.")
        if self._alpha is None or self._least_alpha == 1.0:
            return self._light
        if self._brightest - self._darkest <= 3.0 / 255.0:
            # One colour on nothing: what is drawn is the shape, whatever its colour.
            notes.append(
                f"{path.name}: all in one colour, so the shape is its transparency: drawn places are open, clear ones"
                " metal (inverted = true for the opposite)."
            )
            return self._alpha
        notes.append(f"{path.name}: transparent places are taken as metal.")
        return self._light


def _is_coloured(band: Band) -> bool:
    """Whether any place that can be seen has a colour."""
    if len(band.planes) == 1:
        return False
    red, green, blue = band.planes
    spread = np.maximum(np.maximum(red, green), blue) - np.minimum(np.minimum(red, green), blue)
    if band.alpha is None:
        return bool(spread.max() > _COLOURED_FROM * band.full)
    return bool((spread * band.alpha).max() > _COLOURED_FROM * band.full)


def _grey(planes, band: Band) -> np.ndarray:
    """Luma 0..1 of planes in a band's numbers."""
    if len(planes) == 1:
        return band.shares(planes[0])
    grey = planes[0] * np.float32(_LUMA[0] / band.full)
    for plane, weight in zip(planes[1:], _LUMA[1:], strict=True):
        grey += plane * np.float32(weight / band.full)
    return np.clip(grey, 0.0, 1.0, out=grey)


def _averaged(values: np.ndarray, factor: int) -> np.ndarray:
    """Means of factor × factor blocks as float32; blocks at the right and lower edge may be smaller."""
    if factor == 1:
        return values
    total = np.zeros([-(-size // factor) for size in values.shape], np.float32)
    for row in range(factor):
        for column in range(factor):
            part = values[row::factor, column::factor]
            total[: part.shape[0], : part.shape[1]] += part
    rows, columns = (np.diff(np.append(np.arange(0, size, factor), size)).astype(np.float32) for size in values.shape)
    return total / (rows[:, None] * columns)
