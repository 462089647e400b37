"""Pictures that Pillow decodes: every kind but the TIFFs in `by_tifffile`. What Pillow would lose of them is kept.

It hands 16-bit colours on with 8 bits, and would need a picture's bytes named by another unpacker for the other half;
its limits against huge pictures and long texts give way to ours, which know more and say what to do.
"""

from __future__ import annotations

import os
import threading
import warnings
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from pathlib import Path

import numpy as np

from projector.files.bitmaps.bands import Band, OpenPicture, checked_shares
from projector.files.bitmaps.kinds import fault, note_another_ending, refuse_too_large
from projector.files.bitmaps.png_chunks import PngChunks

# Only readers that are themselves plain decoders; a drawing in PostScript would start another program.
_FORMATS = ("PNG", "JPEG", "TIFF", "WEBP", "GIF", "BMP", "PPM", "JPEG2000")
# What a pixel takes: in Pillow's memory by its mode (4 bytes for any other), and beside it in the decoder's own.
_MODE_BYTES = {"1": 1, "L": 1, "P": 1, "I;16": 2, "I;16B": 2, "I;16L": 2, "I;16N": 2}
_DECODER_BYTES = {"WEBP": 4, "JPEG2000": 16}
_BITS_PER_SAMPLE, _PHOTOMETRIC, _ORIENTATION = 258, 262, 0x0112

_reading = threading.Lock()


@contextmanager
def decoding(kind: str | None):
    """Around all that Pillow opens and decodes, one picture at a time.

    Pillow's guard against huge pictures gives way to refuse_too_large, which knows a higher limit and names the size.
    It is a global of Pillow's and is asked again while a TIFF is decoded, hence the lock around both.
    """
    from PIL import Image

    with _reading:
        guard, Image.MAX_IMAGE_PIXELS = Image.MAX_IMAGE_PIXELS, None
        try:
            with warnings.catch_warnings(), _libtiff_hushed() if kind == "TIFF" else nullcontext():
                warnings.simplefilter("ignore", UserWarning)
                yield
        finally:
            Image.MAX_IMAGE_PIXELS = guard


@contextmanager
def _libtiff_hushed():
    """libtiff writes what it thinks of a file on the process's stderr, past Python: what matters is said in a fault."""
    try:
        kept = os.dup(2)
    except OSError:
        # No stderr, nothing to hush.
        yield
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
        os.close(nowhere)


def open_by_pillow(path: Path, kind: str | None, largest_side: int, notes: list[str]) -> OpenPicture:
    """The picture at `path`, decoded; a JPEG with a longer side than largest_side is halved while it is decoded.

    Raises what Pillow raises on a damaged file, and SceneError for one that is too large or of a kind without meaning.
    """
    from PIL import Image

    Image.init()
    with decoding(kind):
        if kind == "PNG":
            return _open_png(path, notes)
        # An open file and not a path: Pillow maps a TIFF named by its path, and then takes the sides of a turned one
        # for each other.
        with path.open("rb") as file:
            image = Image.open(file, formats=[name for name in _FORMATS if name in Image.OPEN])
            _refuse_costly(path, image)
            note_another_ending(path, "JPEG" if image.format == "MPO" else image.format, notes)
            n_pictures = 1 if image.format == "MPO" else getattr(image, "n_frames", 1)
            if n_pictures > 1:
                _note_pictures(path, n_pictures, notes)
                image.seek(0)
            orientation = _orientation(path, image, notes)
            meaning = _deep_meaning(image, path)
            if image.format in ("JPEG", "MPO") and max(image.size) > largest_side:
                whole = image.size
                image.draft(None, tuple(max(1, size * largest_side // max(whole)) for size in whole))
                if image.size != whole:
                    notes.append(
                        f"{path.name} has {whole[0]} × {whole[1]} pixels; it was read at {image.size[0]} ×"
                        f" {image.size[1]}."
                    )
            image.load()
    # Pillow turns a TIFF itself while it decodes it.
    turn = 1 if image.format == "TIFF" else orientation
    return OpenPicture(*image.size, turn, lambda rows: _bands(image, rows, meaning, path))


def _note_pictures(path: Path, count: int, notes: list[str]) -> None:
    notes.append(f"{path.name} holds {count} pictures; the first one is used.")


def _refuse_costly(path: Path, image) -> None:
    width, height = image.size
    each = _MODE_BYTES.get(image.mode, 4) + _DECODER_BYTES.get(image.format, 0)
    of = f"a {image.format} picture"
    if image.format in ("JPEG", "MPO") and image.info.get("progressive"):
        # All coefficients of all channels wait in memory for the last scan.
        each += 2 * len(image.getbands())
        of = "a progressive JPEG"
    refuse_too_large(path, image.size, width * height * each, of)


def _orientation(path: Path, image, notes: list[str]) -> int:
    """The orientation tag, 1 (upright) without one; a note where it should be turned, or cannot be known."""
    try:
        found = image.getexif().get(_ORIENTATION, 1)
    except Exception:  # broken metadata raise errors of many kinds, and the picture is whole
        _note_broken_metadata(path, notes)
        return 1
    if found not in range(2, 9):
        return 1
    note_turned(path, found, notes)
    return found


def note_turned(path: Path, orientation: int, notes: list[str]) -> None:
    """Note that a picture is turned as its file says."""
    notes.append(f"{path.name} was turned upright as its orientation tag ({orientation}) says.")


def _note_broken_metadata(path: Path, notes: list[str]) -> None:
    notes.append(
        f"{path.name}: what the file says about itself (EXIF) is damaged; if it lies on its side, turn it and save it"
        " again."
    )


# --- PNG -----------------------------------------------------------------------------------------------------------


def _open_png(path: Path, notes: list[str]) -> OpenPicture:
    chunks = PngChunks(path)
    two_bytes = chunks.bits == 16 and chunks.colour_type in (2, 4, 6)
    grey_and_alpha = two_bytes and chunks.colour_type == 4
    try:
        image, orientation = _png(path, chunks, chunks.has_metadata, grey_and_alpha, notes)
    except Exception:  # as above; without metadata it is the picture that is at fault
        if not chunks.has_metadata:
            raise
        image, _ = _png(path, chunks, False, grey_and_alpha, [])
        orientation = 1
        _note_broken_metadata(path, notes)
    note_another_ending(path, "PNG", notes)
    if chunks.n_pictures > 1:
        _note_pictures(path, chunks.n_pictures, notes)
    if grey_and_alpha:
        return OpenPicture(*image.size, orientation, lambda rows: _grey_alpha_bands(image, rows))
    if two_bytes:
        low, _ = _png(path, chunks, False, False, [], lower_bytes=True)
        clear = image.info.get("transparency")
        return OpenPicture(*image.size, orientation, lambda rows: _two_byte_bands(image, low, rows, clear))
    meaning = _deep_meaning(image, path)
    return OpenPicture(*image.size, orientation, lambda rows: _bands(image, rows, meaning, path))


def _png(
    path: Path, chunks: PngChunks, with_metadata: bool, as_8_bit_rgba: bool, notes: list[str], lower_bytes: bool = False
):
    """A PNG decoded, and its orientation. lower_bytes: of 16-bit colours the lower halves, where Pillow takes the
    upper.
    """
    from PIL import Image

    with chunks.stream(with_metadata, as_8_bit_rgba) as file:
        image = Image.open(file, formats=["PNG"])
        deep_colour = chunks.bits == 16 and chunks.colour_type in (2, 6)
        refuse_too_large(
            path,
            image.size,
            image.width * image.height * (8 if deep_colour else _MODE_BYTES.get(image.mode, 4)),
            "a PNG",
        )
        if lower_bytes:
            # The same pixels, unpacked as if the lower byte came first.
            image.tile = [tile._replace(args=tile.args.replace(";16B", ";16L")) for tile in image.tile]
        image.load()
        found: list[str] = []
        orientation = _orientation(path, image, found) if with_metadata else 1
        notes += found
    return image, orientation


def _cropped(image, rows: int) -> Iterator:
    for top in range(0, image.height, rows):
        yield image.crop((0, top, image.width, min(top + rows, image.height)))


def _two_byte_bands(high, low, rows: int, clear) -> Iterator[Band]:
    for upper, lower in zip(_cropped(high, rows), _cropped(low, rows), strict=True):
        planes = [
            np.asarray(a, np.uint16) << 8 | np.asarray(b) for a, b in zip(upper.split(), lower.split(), strict=True)
        ]
        alpha = None
        if len(planes) == 4:
            alpha = np.multiply(planes.pop(), np.float32(1.0 / 65535.0), dtype=np.float32)
        elif clear is not None:
            # One colour of the picture stands for nothing (PNG, tRNS).
            alpha = (
                ~np.logical_and.reduce([plane == value for plane, value in zip(planes, clear, strict=True)])
            ).astype(np.float32)
        yield Band(tuple(planes), 65535.0, alpha)


def _grey_alpha_bands(image, rows: int) -> Iterator[Band]:
    """Grey and alpha of 16 bits that were decoded as if they were red, green, blue and alpha of 8."""
    for strip in _cropped(image, rows):
        values = np.asarray(strip).view(">u2").astype(np.uint16)
        yield Band((values[..., 0],), 65535.0, np.multiply(values[..., 1], np.float32(1.0 / 65535.0), dtype=np.float32))


# --- pixels of every mode ------------------------------------------------------------------------------------------


def _is_deep(image) -> bool:
    return image.mode in ("I", "F") or image.mode.startswith("I;16")


def _deep_meaning(image, path: Path) -> tuple[float, bool, int | None]:
    """Of numbers deeper than 8 bit: the value of white, whether the file counts from white down, the value that is
    clear.
    """
    if not _is_deep(image) or image.mode == "F":
        return 1.0, getattr(image, "tag_v2", {}).get(_PHOTOMETRIC) == 0, None
    tags = getattr(image, "tag_v2", {})
    if image.mode == "I" and image.format == "TIFF":
        raise fault(
            path, "grey in signed or 32-bit whole numbers", "8 or 16 bit a channel", "save it as a 16-bit grey PNG"
        )
    bits = tags.get(_BITS_PER_SAMPLE, (16,))[0]
    # Pillow turns round 8-bit and 1-bit pictures that count from white down, but not deeper ones.
    return 2.0**bits - 1.0, tags.get(_PHOTOMETRIC) == 0, image.info.get("transparency")


def _bands(image, rows: int, meaning, path: Path) -> Iterator[Band]:
    for strip in _cropped(image, rows):
        yield _deep_band(np.asarray(strip), *meaning, path) if _is_deep(strip) else _band(strip, path)


def _band(strip, path: Path) -> Band:
    """8-bit planes and alpha of a strip: one branch a mode, never a count of channels."""
    mode = strip.mode
    if mode == "LAB":
        raise fault(path, "the picture is in Lab colour", "grey, RGB or CMYK", "save it as a grey PNG")
    if mode == "1" and "transparency" not in strip.info:
        return Band((np.asarray(strip).astype(np.uint8),), 1.0)
    if mode == "L" and "transparency" not in strip.info:
        return Band((np.asarray(strip),), 255.0)
    has_alpha = mode in ("LA", "La", "PA", "RGBA", "RGBa") or "transparency" in strip.info
    if mode == "La":
        # Pillow has no way from grey multiplied by alpha to any other mode but through grey and alpha.
        strip = strip.convert("LA")
    planes = [np.asarray(plane) for plane in strip.convert("RGBA" if has_alpha else "RGB").split()]
    alpha = np.multiply(planes.pop(), np.float32(1.0 / 255.0), dtype=np.float32) if has_alpha else None
    return Band(tuple(planes), 255.0, alpha)


def _deep_band(values: np.ndarray, full: float, white_is_zero: bool, clear: int | None, path: Path) -> Band:
    alpha = None if clear is None else (values != clear).astype(np.float32)
    grey = checked_shares(values, full, path)
    return Band((1.0 - grey if white_is_zero else grey,), 1.0, alpha)
