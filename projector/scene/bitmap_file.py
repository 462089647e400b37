"""Any bitmap that a photographer brings, as grey 0 to 1: mode, depth, transparency and orientation as the file states them.

Nothing is guessed from a count of channels. What cannot be read for certain is refused in words; what was done to a
readable picture is noted.
"""

from __future__ import annotations

import threading
import warnings
from collections.abc import Callable
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from projector.scene.faults import Fault, SceneError

MOST_PIXELS = 16384 * 16384
# Larger bitmaps are averaged down to this side, strip by strip: finer detail than a gate can show.
LARGEST_SIDE = 8192
SMALL_SIDE = 400
_STRIP_ROWS = 256

_PICTURES = "a PNG, TIFF, JPEG, WebP, BMP or GIF picture"
# Only readers that are themselves plain decoders; a drawing in PostScript would start another program.
_FORMATS = ("PNG", "JPEG", "TIFF", "WEBP", "GIF", "BMP", "PPM", "JPEG2000")
_PICTURE_STARTS = {
    b"\x89PNG": "PNG",
    b"\xff\xd8\xff": "JPEG",
    b"II*\x00": "TIFF",
    b"MM\x00*": "TIFF",
    b"GIF8": "GIF",
    b"BM": "BMP",
}
_OTHER_STARTS = {
    b"8BPS": "a layered picture document",
    b"PK\x03\x04": "a ZIP archive or an office document",
    b"\x1f\x8b": "a compressed archive",
    b"7z\xbc\xaf": "a compressed archive",
    b"Rar!": "a compressed archive",
    b"glTF": "a 3-D model",
    b"<!DOCTYPE": "a web page",
    b"<!doctype": "a web page",
    b"<html": "a web page",
    b"<?xml": "an XML text",
}
_VECTOR_STARTS = (b"%PDF", b"%!PS", b"\xc5\xd0\xd3\xc6", b"0\nSECTION", b"0\r\nSECTION")
_VECTOR_ENDINGS = {".svg", ".svgz", ".ai", ".eps", ".ps", ".pdf", ".dxf", ".cdr"}
_ENDINGS = {".png": "PNG", ".jpg": "JPEG", ".jpeg": "JPEG", ".tif": "TIFF", ".tiff": "TIFF", ".gif": "GIF", ".bmp": "BMP", ".webp": "WEBP"}

# ITU-R BT.601 luma weights, as Pillow's own conversion to grey has them.
_LUMA = np.array([0.299, 0.587, 0.114], np.float32)
_BITS_PER_SAMPLE, _PHOTOMETRIC, _ORIENTATION = 258, 262, 0x0112

_reading = threading.Lock()


def read_bitmap(path, purpose: str, decode: Callable[[np.ndarray], np.ndarray] | None = None) -> tuple[np.ndarray, list[str]]:
    """The picture at `path` as (h, w) float32 0..1, row 0 at the top, and notes on what was found and done.

    purpose names the picture in messages ("stencil"); decode, if given, maps coded grey to linear before anything is
    averaged or multiplied with transparency. Raises SceneError for a file that cannot be read for certain.
    """
    path = Path(path)
    notes: list[str] = []
    start = _start_of(path)
    _refuse_other_kinds(path, start, purpose)
    try:
        image, coding, orientation = _decoded(path, notes)
        if max(image.size) < SMALL_SIDE:
            notes.append(f"{path.name} has only {image.size[0]} × {image.size[1]} pixels: its steps may show on the wall.")
        return _grey(_upright(image, orientation, path, notes), coding, path, notes, decode), notes
    except SceneError:
        raise
    except MemoryError:
        raise fault(path, "the picture does not fit into this computer's memory", "8192 × 8192 pixels or less", "scale it down") from None
    except Exception as error:  # noqa: BLE001 - decoders raise errors of many kinds on damaged files
        raise _unreadable(path, start, purpose, error) from None


def read_colours(path, purpose: str) -> tuple[np.ndarray, list[str]]:
    """The picture at `path` as it is coded, (h, w, 3) float32 0..1, row 0 at the top, and notes. Raises SceneError as `read_bitmap`.

    16-bit colours are kept in a TIFF; Pillow reads a PNG's with 8 bits. Transparent places keep their colour.
    """
    path = Path(path)
    notes: list[str] = []
    start = _start_of(path)
    _refuse_other_kinds(path, start, purpose)
    try:
        deep = _deep_colours(path) if _picture_kind(start) == "TIFF" else None
        if deep is not None:
            return deep, notes
        image, coding, orientation = _decoded(path, notes)
        image = _upright(image, orientation, path, notes)
        if image.mode == "F" or image.mode == "I" or image.mode.startswith("I;16"):
            grey, _, _ = _deep_planes(np.asarray(image), coding, path)
            return np.repeat(grey[..., None], 3, axis=2), notes
        return np.asarray(image.convert("RGB"), np.float32) / np.float32(255.0), notes
    except SceneError:
        raise
    except MemoryError:
        raise fault(path, "the picture does not fit into this computer's memory", "8192 × 8192 pixels or less", "crop it to the edge") from None
    except Exception as error:  # noqa: BLE001 - decoders raise errors of many kinds on damaged files
        raise _unreadable(path, start, purpose, error) from None


def _deep_colours(path: Path) -> np.ndarray | None:
    """The colours of a TIFF with 16 bits a channel, which Pillow does not read; None for any other."""
    import tifffile

    try:
        with tifffile.TiffFile(path) as file:
            page = file.pages[0]
            if page.bitspersample != 16 or page.samplesperpixel < 3 or len(page.shape) != 3:
                return None
            _refuse_too_large(path, (page.imagewidth, page.imagelength))
            values = page.asarray()
    except (tifffile.TiffFileError, ValueError, KeyError):
        return None
    if values.shape[0] in (3, 4) and values.shape[2] not in (3, 4):
        values = np.moveaxis(values, 0, -1)
    return values[..., :3].astype(np.float32) / np.float32(65535.0)


def fault(path: Path, found: str, allowed: str, try_: str) -> SceneError:
    """A SceneError with one fault about this file."""
    return SceneError(Fault(found=found, allowed=allowed, try_=try_, file=str(path)))


# --- what kind of file it is ---------------------------------------------------------------------------------------


def _start_of(path: Path) -> bytes:
    """The first bytes of the file; refuses what cannot be opened or holds nothing."""
    try:
        if path.is_dir():
            raise fault(path, "this is a folder", _PICTURES, "name the file in it")
        if not path.exists():
            raise fault(path, "there is no such file", _PICTURES, "look for a typing mistake in the name")
        with path.open("rb") as file:
            start = file.read(4096)
    except OSError as error:
        raise fault(path, f"the file cannot be opened ({error.strerror})", _PICTURES, "check who may read it") from None
    if not start:
        raise fault(path, "the file is empty (0 bytes)", _PICTURES, "copy or export it again")
    return start


def _picture_kind(start: bytes) -> str | None:
    if start.startswith(b"RIFF") and start[8:12] == b"WEBP":
        return "WEBP"
    return next((kind for known, kind in _PICTURE_STARTS.items() if start.startswith(known)), None)


def _refuse_other_kinds(path: Path, start: bytes, purpose: str) -> None:
    """Vector drawings and files of another kind are named for what they are, whatever their ending says."""
    if _picture_kind(start):
        return
    text = start.lstrip(b"\xef\xbb\xbf \t\r\n")
    if b"<svg" in text or text.startswith(_VECTOR_STARTS) or path.suffix.lower() in _VECTOR_ENDINGS:
        export = f"export it as a PNG of 2048 × 2048 pixels or more, with the openings of the {purpose} white"
        raise fault(path, "this is a vector drawing, not a bitmap", _PICTURES, export)
    kind = next((kind for known, kind in _OTHER_STARTS.items() if text.startswith(known)), None)
    if start[4:8] == b"ftyp":
        kind = "a HEIC or AVIF photograph or a film"
    if kind:
        raise fault(path, f"this is really {kind}, not a picture that can be read", _PICTURES, "export the picture itself as a PNG")


def _unreadable(path: Path, start: bytes, purpose: str, error: Exception) -> SceneError:
    from PIL import UnidentifiedImageError

    kind = _picture_kind(start)
    if kind is None:
        return fault(path, f"this is not a picture that can be read as a {purpose}", _PICTURES, "export it as a PNG")
    if isinstance(error, UnidentifiedImageError):
        found = f"the {kind} is cut short, damaged, or of a kind that cannot be read"
    else:
        found = f"the {kind} is cut short or damaged ({error})"
    return fault(path, found, f"{_PICTURES}, whole", "copy it again, or save it again as an 8-bit or 16-bit grey PNG")


@contextmanager
def _own_size_guard():
    """Pillow's guard against huge pictures gives way to _refuse_too_large, which knows a higher limit and names the size.

    The guard is a global of Pillow's and is asked again while a TIFF is decoded, hence the lock around both.
    """
    from PIL import Image

    with _reading:
        guard, Image.MAX_IMAGE_PIXELS = Image.MAX_IMAGE_PIXELS, None
        try:
            yield
        finally:
            Image.MAX_IMAGE_PIXELS = guard


def _decoded(path: Path, notes: list[str]):
    """The picture with all its pixels, its coding, and the orientation tag that it carried."""
    from PIL import Image

    Image.init()
    formats = [name for name in _FORMATS if name in Image.OPEN]
    # An open file and not a path: Pillow maps a TIFF named by its path, and then takes the sides of a turned one for each other.
    with path.open("rb") as file, _own_size_guard(), warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)
        image = Image.open(file, formats=formats)
        _refuse_too_large(path, image.size)
        _note_container(path, image, notes)
        coding, orientation = _Coding.of(image, path), image.getexif().get(_ORIENTATION, 1)
        if image.format in ("JPEG", "MPO") and max(image.size) > LARGEST_SIDE:
            image.draft(None, (LARGEST_SIDE, LARGEST_SIDE))
        image.load()
    return image, coding, orientation


def _refuse_too_large(path: Path, size: tuple[int, int]) -> None:
    width, height = size
    if width * height > MOST_PIXELS:
        side = round(MOST_PIXELS**0.5)
        raise fault(
            path,
            f"the picture has {width} × {height} pixels",
            f"{side} × {side} pixels, or as many in another shape",
            f"scale it down to {LARGEST_SIDE} pixels a side or less: no lens shows finer detail than that",
        )


def _note_container(path: Path, image, notes: list[str]) -> None:
    said = _ENDINGS.get(path.suffix.lower())
    kind = "JPEG" if image.format == "MPO" else image.format
    if path.suffix and kind != said and (said or path.suffix.lower() in _VECTOR_ENDINGS):
        notes.append(f"{path.name} is really a {kind} picture and was read as one.")
    if image.format != "MPO" and getattr(image, "n_frames", 1) > 1:
        notes.append(f"{path.name} holds {image.n_frames} pictures; the first one is used.")
        image.seek(0)


# --- pixels --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Coding:
    """How numbers deeper than 8 bit stand for grey: the value of white, and whether the file counts from white down."""

    full: float = 255.0
    white_is_zero: bool = False
    clear_value: int | None = None

    @classmethod
    def of(cls, image, path: Path) -> _Coding:
        deep = image.mode == "I" or image.mode.startswith("I;16")
        if not deep and image.mode != "F":
            return cls()
        tags = getattr(image, "tag_v2", {})
        if image.mode == "I" and image.format == "TIFF":
            raise fault(path, "grey in signed or 32-bit whole numbers", "8 or 16 bit a channel", "save it as a 16-bit grey PNG")
        bits = tags.get(_BITS_PER_SAMPLE, (16,))[0] if deep else 0
        clear = image.info.get("transparency") if deep else None
        # Pillow turns round 8-bit and 1-bit pictures that count from white down, but not deeper ones.
        return cls(2.0**bits - 1.0 if deep else 1.0, tags.get(_PHOTOMETRIC) == 0, clear)


def _upright(image, orientation: int, path: Path, notes: list[str]):
    """Honour the camera's orientation tag once; Pillow turns a TIFF itself while it decodes it."""
    from PIL import ImageOps

    if orientation not in range(2, 9):
        return image
    notes.append(f"{path.name} was turned upright as its orientation tag ({orientation}) says.")
    return image if image.format == "TIFF" else ImageOps.exif_transpose(image)


@dataclass
class _Gathered:
    """What the strips of a picture give: light = grey × alpha and alpha, averaged down, and what was seen on the way."""

    light: list[np.ndarray] = field(default_factory=list)
    alpha: list[np.ndarray] = field(default_factory=list)
    darkest: float = 1.0
    brightest: float = 0.0
    coloured: bool = False
    least_alpha: float = 1.0

    def add(self, grey: np.ndarray, alpha: np.ndarray | None, factor: int, decode) -> None:
        if alpha is None:
            alpha = np.ones((1, 1), np.float32)
        # Nearly clear pixels have lost their colour to rounding; the others tell whether the colour is one throughout.
        shown = grey[np.broadcast_to(alpha, grey.shape) >= 0.5]
        if shown.size:
            self.darkest, self.brightest = min(self.darkest, float(shown.min())), max(self.brightest, float(shown.max()))
        self.least_alpha = min(self.least_alpha, float(alpha.min()))
        linear = grey if decode is None else np.asarray(decode(grey), np.float32)
        self.light.append(_averaged(linear * alpha, factor))
        self.alpha.append(_averaged(np.broadcast_to(alpha, grey.shape), factor) if alpha.size > 1 else alpha)


def _grey(image, coding: _Coding, path: Path, notes: list[str], decode) -> np.ndarray:
    """Grey 0..1 of a decoded picture, in strips so that a huge one never stands in memory as floating-point numbers."""
    factor = -(-max(image.size) // LARGEST_SIDE)
    if factor > 1:
        notes.append(f"{path.name} has {image.size[0]} × {image.size[1]} pixels; it was averaged down {factor} times.")
    gathered = _Gathered()
    width, height = image.size
    for top in range(0, height, _STRIP_ROWS * factor):
        strip = image.crop((0, top, width, min(top + _STRIP_ROWS * factor, height)))
        grey, alpha, coloured = _planes(strip, coding, path)
        gathered.coloured |= coloured
        gathered.add(grey, alpha, factor, decode)
    if gathered.coloured:
        notes.append(f"{path.name} is coloured; only its brightness counts.")
    light = np.concatenate(gathered.light)
    if gathered.least_alpha == 1.0:
        return light
    if gathered.brightest - gathered.darkest <= 3.0 / 255.0:
        # One colour on nothing: what is drawn is the shape, whatever its colour.
        notes.append(
            f"{path.name}: all in one colour, so the shape is its transparency: drawn places are open, clear ones metal"
            " (inverted = true for the opposite)."
        )
        return np.concatenate([np.broadcast_to(alpha, part.shape) for alpha, part in zip(gathered.alpha, gathered.light, strict=True)])
    notes.append(f"{path.name}: transparent places are taken as metal.")
    return light


def _planes(strip, coding: _Coding, path: Path) -> tuple[np.ndarray, np.ndarray | None, bool]:
    """Grey, alpha (None: opaque), and whether there is colour, of a strip: one branch a mode, values 0..1."""
    mode = strip.mode
    if mode == "F" or mode == "I" or mode.startswith("I;16"):
        return _deep_planes(np.asarray(strip), coding, path)
    if mode == "LAB":
        raise fault(path, "the picture is in Lab colour", "grey, RGB or CMYK", "save it as a grey PNG")
    if mode == "1" and "transparency" not in strip.info:
        return np.asarray(strip, np.float32), None, False
    if mode == "L" and "transparency" not in strip.info:
        return np.asarray(strip, np.float32) / 255.0, None, False
    has_alpha = mode in ("LA", "La", "PA", "RGBA", "RGBa") or "transparency" in strip.info
    pixels = np.asarray(strip.convert("RGBA" if has_alpha else "RGB"), np.float32) / 255.0
    colour = pixels[..., :3]
    alpha = pixels[..., 3] if has_alpha else None
    spread = np.ptp(colour, axis=-1) if alpha is None else np.ptp(colour, axis=-1) * alpha
    return np.clip(colour @ _LUMA, 0.0, 1.0), alpha, bool(spread.max() > 0.06)


def _deep_planes(values: np.ndarray, coding: _Coding, path: Path) -> tuple[np.ndarray, np.ndarray | None, bool]:
    alpha = None if coding.clear_value is None else (values != coding.clear_value).astype(np.float32)
    grey = values.astype(np.float32) / np.float32(coding.full)
    if not np.isfinite(grey).all():
        raise fault(path, "pixels that are not numbers", "grey values from 0 to 1", "save it as a 16-bit grey PNG")
    if grey.min() < 0.0 or grey.max() > 1.0:
        raise fault(
            path,
            f"grey values from {values.min():g} to {values.max():g}",
            f"0 to {coding.full:g} in this kind of picture",
            "scale the values, or save it as a 16-bit grey PNG",
        )
    return (1.0 - grey if coding.white_is_zero else grey), alpha, False


def _averaged(values: np.ndarray, factor: int) -> np.ndarray:
    """Means of factor × factor blocks; blocks at the right and lower edge may be smaller."""
    if factor == 1:
        return values
    for axis in (0, 1):
        starts = np.arange(0, values.shape[axis], factor)
        counts = np.diff(np.append(starts, values.shape[axis])).astype(np.float32)
        values = np.add.reduceat(values, starts, axis=axis) / (counts[:, None] if axis == 0 else counts)
    return values
