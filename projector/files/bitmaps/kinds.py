"""What kind of file it is that was handed over as a picture: known by its first bytes, and named when it is none."""

from __future__ import annotations

from pathlib import Path

from projector.faults import Fault, SceneError

MOST_PIXELS = 16384 * 16384
# What a picture may take while it is decoded; what is read of it comes on top.
MOST_BYTES = 5 << 28
WANTED_SIDE = 8192

PICTURES = "a PNG, TIFF, JPEG, WebP, BMP or GIF picture"
PICTURE_STARTS = {
    b"\x89PNG": "PNG",
    b"\xff\xd8\xff": "JPEG",
    b"II*\x00": "TIFF",
    b"MM\x00*": "TIFF",
    b"II+\x00": "TIFF",
    b"MM\x00+": "TIFF",
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
_ENDINGS = {
    ".png": "PNG",
    ".jpg": "JPEG",
    ".jpeg": "JPEG",
    ".tif": "TIFF",
    ".tiff": "TIFF",
    ".gif": "GIF",
    ".bmp": "BMP",
    ".webp": "WEBP",
}


class Damaged(Exception):
    """A picture's file that ends too early or does not hold what it says; the message tells a photographer what was
    found.
    """


def fault(path: Path, found: str, allowed: str, try_: str, typed: str = "") -> SceneError:
    """A SceneError with one fault about this file."""
    return SceneError(Fault(found=found, allowed=allowed, try_=try_, file=str(path), typed=typed))


def start_of(path: Path) -> bytes:
    """The first bytes of the file; refuses what cannot be opened or holds nothing."""
    try:
        if path.is_dir():
            raise fault(path, "this is a folder", PICTURES, "name the file in it")
        if not path.exists():
            raise fault(path, "there is no such file", PICTURES, "look for a typing mistake in the name")
        if not path.is_file():
            raise fault(path, "this is not a file but a device or a pipe", PICTURES, "name a picture's file")
        with path.open("rb") as file:
            start = file.read(4096)
    except OSError as error:
        raise fault(path, f"the file cannot be opened ({error.strerror})", PICTURES, "check who may read it") from None
    if not start:
        raise fault(path, "the file is empty (0 bytes)", PICTURES, "copy or export it again")
    return start


def picture_kind(start: bytes) -> str | None:
    """The kind of picture that begins like this, or None."""
    if start.startswith(b"RIFF") and start[8:12] == b"WEBP":
        return "WEBP"
    return next((kind for known, kind in PICTURE_STARTS.items() if start.startswith(known)), None)


def refuse_other_kinds(path: Path, start: bytes, purpose: str) -> None:
    """Vector drawings and files of another kind are named for what they are, whatever their ending says."""
    if picture_kind(start):
        return
    text = start.lstrip(b"\xef\xbb\xbf \t\r\n")
    if b"<svg" in text or text.startswith(_VECTOR_STARTS) or path.suffix.lower() in _VECTOR_ENDINGS:
        export = f"export it as a PNG of 2048 × 2048 pixels or more, with the openings of the {purpose} white"
        raise fault(path, "this is a vector drawing, not a bitmap", PICTURES, export)
    kind = next((kind for known, kind in _OTHER_STARTS.items() if text.startswith(known)), None)
    if start[4:8] == b"ftyp":
        kind = "a HEIC or AVIF photograph or a film"
    if kind:
        raise fault(
            path,
            f"this is really {kind}, not a picture that can be read",
            PICTURES,
            "export the picture itself as a PNG",
        )


def refuse_too_large(path: Path, size: tuple[int, int], bytes_needed: int, of: str) -> None:
    """Refuse a picture of more pixels than are worth it, or one that takes too much memory; of: its kind, for the
    message.
    """
    width, height = size
    if width * height > MOST_PIXELS:
        side = round(MOST_PIXELS**0.5)
        raise fault(
            path,
            f"the picture has {width} × {height} pixels",
            f"{side} × {side} pixels, or as many in another shape",
            f"scale it down to {WANTED_SIDE} pixels a side or less: no lens shows finer detail than that",
        )
    if bytes_needed > MOST_BYTES:
        raise fault(
            path,
            f"{of} of {width} × {height} pixels would take {bytes_needed / 1e9:.1f} GB of memory to read",
            f"{MOST_BYTES / 1e9:.1f} GB",
            f"scale it down to {WANTED_SIDE} pixels a side or less, or save it as an 8-bit grey PNG",
        )


def unreadable(path: Path, start: bytes, purpose: str, error: Exception, described: str | None = None) -> SceneError:
    """What to say when a decoder gave up on the file; described: what the file says of itself where that is rare, not
    damaged.
    """
    from PIL import UnidentifiedImageError

    kind = picture_kind(start)
    if kind is None:
        return fault(path, f"this is not a picture that can be read as a {purpose}", PICTURES, "export it as a PNG")
    if isinstance(error, UnidentifiedImageError) and described:
        found = f"a {kind} of a kind that cannot be read ({described})"
        return fault(
            path,
            found,
            "8 or 16 bits a channel, or floating-point numbers, in grey, RGB or CMYK",
            "save it again as an 8-bit or 16-bit grey PNG",
        )
    if isinstance(error, UnidentifiedImageError):
        found = f"the {kind} is cut short, damaged, or of a kind that cannot be read"
    else:
        # What a library says of a file is for its programmers.
        found = f"the {kind} is cut short or damaged{f': {error}' if isinstance(error, Damaged) else ''}"
    return fault(path, found, f"{PICTURES}, whole", "copy it again, or save it again as an 8-bit or 16-bit grey PNG")


def note_another_ending(path: Path, kind: str, notes: list[str]) -> None:
    """Note a picture under the ending of another kind."""
    ending = path.suffix.lower()
    said = _ENDINGS.get(ending)
    if path.suffix and kind != said and (said or ending in _VECTOR_ENDINGS):
        notes.append(f"{path.name} is really a {kind} picture and was read as one.")
