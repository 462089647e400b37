"""Bitmaps that a photographer brings: how much light each place of a stencil passes, whatever kind of picture it came in.

White passes light, black stops it. Modes, bit depths, transparency and orientation are told apart by what the file says
of itself, never guessed from a count of channels.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from projector.scene.faults import Fault, SceneError

MOST_PIXELS = 16384 * 16384
# Larger bitmaps are averaged down to this side while they are read: finer detail than a gate can show.
LARGEST_SIDE = 8192
_VECTOR_ENDINGS = {".svg", ".ai", ".eps", ".pdf", ".dxf", ".cdr"}
_VECTOR_STARTS = (b"<svg", b"<?xml", b"%PDF", b"%!PS", b"  0\nSECTION", b"0\nSECTION")


@dataclass(frozen=True)
class Stencil:
    """A stencil as it lands: transmission (h, w) float32 0..1, row 0 at the top.

    notes: what was found and done, for the user; open_fraction: mean transmission; digest: hash of the transmission.
    """

    transmission: np.ndarray
    notes: list[str] = field(default_factory=list)
    open_fraction: float = 0.0
    digest: str = ""


def load_stencil(path, grey: str = "coverage", inverted: bool = False) -> Stencil:
    """Read a stencil from any bitmap.

    grey "coverage": grey is the share of metal cut away, linear; "glass": half-tone glass, grey coded as in sRGB.
    Raises SceneError for a file that is missing, empty, cut short, too large, not a picture, or a vector drawing.
    """
    path = Path(path)
    values, notes = _read_grey(path, "stencil")
    if grey == "glass":
        from projector.photometry.colour import decode_srgb

        values = decode_srgb(values)
    if inverted:
        values = 1.0 - values
    values = np.ascontiguousarray(values, np.float32)
    share = float(values.mean())
    if share > 0.9:
        notes.append(f"{path.name} is {share:.0%} open; if it should be mostly dark, it may be a negative (inverted = true).")
    elif share < 0.02:
        notes.append(f"{path.name} is only {share:.1%} open; if it should be mostly bright, it may be a negative (inverted = true).")
    return Stencil(values, notes, share, hashlib.sha256(values.tobytes()).hexdigest())


def load_pupil_bitmap(path) -> np.ndarray:
    """Transmission (h, w) float64 0..1 of a drawn pupil; the same files are read, and refused, as for a stencil."""
    path = Path(path)
    values, _ = _read_grey(path, "pupil")
    if not values.max() > 0.0:
        raise SceneError(Fault(found="the pupil bitmap is black: no light would pass", allowed="white where the pupil is open", file=str(path)))
    return values.astype(float)


def _fault(path: Path, found: str, allowed: str, try_: str) -> SceneError:
    return SceneError(Fault(found=found, allowed=allowed, try_=try_, file=str(path)))


_PICTURES = "a PNG, TIFF, JPEG, WebP, BMP or GIF picture"


def _read_grey(path: Path, what: str) -> tuple[np.ndarray, list[str]]:
    """The picture as grey 0..1 (h, w) float32 and notes about what was done to it."""
    _refuse_what_is_no_picture(path, what)
    import warnings

    from PIL import Image

    notes: list[str] = []
    previous = Image.MAX_IMAGE_PIXELS
    Image.MAX_IMAGE_PIXELS = None
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(path) as image:
                _refuse_too_large(path, image)
                _note_ending(path, image, notes)
                image = _decoded(path, image)
                image = _upright(image, path, notes)
                image = _reduced(image, path, notes)
                return _grey_of(image, path, notes), notes
    except SceneError:
        raise
    except (OSError, ValueError, SyntaxError, EOFError, MemoryError, ZeroDivisionError, OverflowError) as error:
        if _is_known_start(path):
            raise _fault(path, f"the picture is cut short or damaged ({error})", _PICTURES, "save it again from the program that made it") from None
        raise _fault(path, f"this is not a picture that can be read as a {what}", _PICTURES, "export it as a PNG") from None
    finally:
        Image.MAX_IMAGE_PIXELS = previous


def _refuse_what_is_no_picture(path: Path, what: str) -> None:
    if path.is_dir():
        raise _fault(path, "this is a folder", _PICTURES, "name the file in it")
    if not path.exists():
        raise _fault(path, "there is no such file", _PICTURES, "look for a typing mistake in the name")
    if path.stat().st_size == 0:
        raise _fault(path, "the file is empty (0 bytes)", _PICTURES, "copy or export it again")
    with path.open("rb") as file:
        start = file.read(512).lstrip()
    if path.suffix.lower() in _VECTOR_ENDINGS or start.startswith(_VECTOR_STARTS) or b"<svg" in start:
        raise _fault(
            path,
            "this is a vector drawing, not a bitmap",
            _PICTURES,
            f"export it as a PNG of 2048 × 2048 pixels or more, the {what}'s openings white",
        )


_STARTS = {b"\x89PNG": "PNG", b"\xff\xd8\xff": "JPEG", b"II*\x00": "TIFF", b"MM\x00*": "TIFF", b"GIF8": "GIF", b"BM": "BMP", b"RIFF": "WebP"}
_ENDINGS = {".png": "PNG", ".jpg": "JPEG", ".jpeg": "JPEG", ".tif": "TIFF", ".tiff": "TIFF", ".gif": "GIF", ".bmp": "BMP", ".webp": "WEBP"}


def _is_known_start(path: Path) -> bool:
    with path.open("rb") as file:
        start = file.read(8)
    return any(start.startswith(known) for known in _STARTS)


def _refuse_too_large(path: Path, image) -> None:
    width, height = image.size
    if width * height > MOST_PIXELS:
        raise _fault(
            path,
            f"the picture has {width} × {height} pixels",
            f"at most {MOST_PIXELS:,} pixels (16384 × 16384)".replace(",", " "),
            "scale it down to 8192 × 8192 or less: finer detail than that is lost in any lens",
        )


def _note_ending(path: Path, image, notes: list[str]) -> None:
    said = _ENDINGS.get(path.suffix.lower())
    if said is not None and image.format not in (said, "MPO" if said == "JPEG" else said):
        notes.append(f"{path.name} is really a {image.format} picture; it was read as one.")


def _decoded(path: Path, image):
    """The picture fully read. JPEGs are reduced while decoding; a file that ends early is refused, not filled with grey."""
    from PIL import ImageFile

    if image.format == "JPEG" and max(image.size) > LARGEST_SIDE:
        image.draft(None, (LARGEST_SIDE, LARGEST_SIDE))
    allowed = ImageFile.LOAD_TRUNCATED_IMAGES
    ImageFile.LOAD_TRUNCATED_IMAGES = False
    try:
        image.load()
    finally:
        ImageFile.LOAD_TRUNCATED_IMAGES = allowed
    if getattr(image, "n_frames", 1) > 1:
        image.seek(0)
    return image


def _upright(image, path: Path, notes: list[str]):
    from PIL import ImageOps

    if image.getexif().get(0x0112, 1) != 1:
        notes.append(f"{path.name} was turned upright as its EXIF orientation says.")
        # The tag is honoured once: the copy carries none.
        return ImageOps.exif_transpose(image)
    return image


def _reduced(image, path: Path, notes: list[str]):
    factor = -(-max(image.size) // LARGEST_SIDE)
    if factor <= 1:
        return image
    notes.append(f"{path.name} has {image.size[0]} × {image.size[1]} pixels; it was averaged down {factor} times.")
    if image.mode == "1":
        return _reduced_bits(image, factor)
    if image.mode == "P":
        image = image.convert("RGBA" if "transparency" in image.info else "RGB")
    return image.reduce(factor)


def _reduced_bits(image, factor: int):
    """A one-bit picture averaged down strip by strip, so that it never stands in memory as bytes or floats."""
    from PIL import Image

    width, height = image.size
    out = Image.new("L", (-(-width // factor), -(-height // factor)))
    strip = 64 * factor
    for top in range(0, height, strip):
        part = image.crop((0, top, width, min(top + strip, height))).convert("L").reduce(factor)
        out.paste(part, (0, top // factor))
    return out


def _grey_of(image, path: Path, notes: list[str]) -> np.ndarray:
    """Grey 0..1 by the picture's mode."""
    mode = image.mode
    if mode == "P" or (mode in ("L", "RGB", "1") and "transparency" in image.info):
        image = image.convert("RGBA")
        mode = "RGBA"
    if mode == "1":
        return np.asarray(image, np.float32)
    if mode.startswith("I;16") or mode == "I":
        return _deep_grey(np.asarray(image), path)
    if mode == "F":
        return _float_grey(np.asarray(image), path)
    if mode in ("CMYK", "LAB", "HSV", "YCbCr"):
        return np.asarray(image.convert("RGB").convert("L"), np.float32) / 255.0
    if mode in ("LA", "La", "RGBA", "RGBa", "PA"):
        return _with_alpha(image.convert("RGBA"), path, notes)
    return np.asarray(image.convert("L"), np.float32) / 255.0


def _deep_grey(values: np.ndarray, path: Path) -> np.ndarray:
    """16-bit grey (Pillow hands some of it over as 32-bit integers)."""
    values = values.astype(np.float64)
    if values.min() < 0:
        raise _fault(path, f"grey values from {values.min():g}", "0 to 65535", "save it as a 16-bit or 8-bit grey PNG")
    full = 65535.0 if values.max() <= 65535.0 else 4294967295.0
    return (values / full).astype(np.float32)


def _float_grey(values: np.ndarray, path: Path) -> np.ndarray:
    bad = ~np.isfinite(values)
    if bad.any():
        raise _fault(path, f"{bad.sum()} pixels are not numbers", "grey values from 0 to 1", "save it as a 16-bit grey PNG")
    if values.min() < 0.0 or values.max() > 1.0:
        raise _fault(path, f"grey values from {values.min():g} to {values.max():g}", "0 to 1 in a floating-point picture", "scale it, or save it as a 16-bit PNG")
    return values.astype(np.float32)


def _with_alpha(image, path: Path, notes: list[str]) -> np.ndarray:
    """Grey with transparency: where all colour is the same, the shape is in the transparency; else clear places are metal."""
    pixels = np.asarray(image, np.float32) / 255.0
    alpha = pixels[..., 3]
    grey = pixels[..., :3] @ np.array([0.299, 0.587, 0.114], np.float32)
    if np.ptp(alpha) == 0.0 and alpha.flat[0] == 1.0:
        return grey
    shown = grey[alpha > 0.0]
    if shown.size == 0 or np.ptp(shown) < 1.0 / 255.0 + 1e-6:
        # A cut shape drawn in one colour on nothing: drawn places are the openings, whatever their colour.
        notes.append(f"{path.name}: the shape is in its transparency; drawn places are taken as open, clear ones as metal.")
        return alpha
    notes.append(f"{path.name}: transparent places are taken as metal.")
    return grey * alpha


__all__ = ["LARGEST_SIDE", "MOST_PIXELS", "Stencil", "load_pupil_bitmap", "load_stencil"]
