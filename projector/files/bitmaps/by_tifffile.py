"""TIFFs of plain samples, read with tifffile one row of strips or tiles after the other, so that none stands whole in
memory.

TIFF 6.0: photometric interpretation (page 37), planar configuration (38), extra samples (31, 77), sample format (80),
horizontal differencing (64). What is compressed in other ways, or stores colours by a palette, is left to Pillow.
"""

from __future__ import annotations

import io
import logging
import struct
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np

from projector.files.bitmaps.bands import Band, OpenPicture, checked_shares
from projector.files.bitmaps.by_pillow import decoding, note_turned
from projector.files.bitmaps.kinds import Damaged, fault, note_another_ending, refuse_too_large

_NONE, _LZW, _PACKBITS = 1, 5, 32773
_DEFLATE = (8, 32946)
_WHITE_IS_ZERO, _BLACK_IS_ZERO, _RGB, _SEPARATED = 0, 1, 2, 5
_ASSOCIATED, _UNASSOCIATED = 1, 2
_UNSIGNED, _SIGNED, _FLOATING = 1, 2, 3
_COLOURS = {_WHITE_IS_ZERO: 1, _BLACK_IS_ZERO: 1, _RGB: 3, _SEPARATED: 4}
_INK_SET, _NEW_SUBFILE_TYPE, _ORIENTATION, _DNG_VERSION = 332, 254, 274, 50706
# A row of strips or tiles has to fit beside what is made of it.
_MOST_SEGMENT_BYTES = 1 << 29


def open_by_tifffile(path: Path, notes: list[str]) -> OpenPicture | None:
    """The picture at `path`, or None if it is of a kind that Pillow reads.

    Damaged, or what tifffile raises, on damaged files.
    """
    import tifffile

    with _quiet(), tifffile.TiffFile(path) as file:
        page = file.pages[0]
        n_pictures = len(file.pages)
        _refuse_previews(path, page)
        _refuse_numbers(path, page)
        if not _is_ours(page):
            return None
        samples = page.samplesperpixel
        each = max(1, page.bitspersample // 8)
        refuse_too_large(
            path, (page.imagewidth, page.imagelength), page.imagewidth * page.imagelength * samples * each, "a TIFF"
        )
        tall, wide = _segment_shape(page)
        in_one_row = tall * max(wide, page.imagewidth) * samples * each
        if in_one_row > _MOST_SEGMENT_BYTES:
            refuse_too_large(path, (page.imagewidth, page.imagelength), 4 * in_one_row, "a TIFF in one piece")
        _refuse_without_meaning(path, page)
    note_another_ending(path, "TIFF", notes)
    if n_pictures > 1:
        notes.append(f"{path.name} holds {n_pictures} pictures; the first one is used.")
    tag = page.tags.get(_ORIENTATION)
    orientation = tag.value if tag is not None and tag.value in range(2, 9) else 1
    if orientation != 1:
        note_turned(path, orientation, notes)
    return OpenPicture(page.imagewidth, page.imagelength, orientation, lambda rows: _bands(path, rows))


@contextmanager
def _quiet():
    """tifffile writes its doubts to a log, which would reach the user's terminal; what matters is said in notes and
    faults.
    """
    log = logging.getLogger("tifffile")
    before, log.disabled = log.disabled, True
    try:
        yield
    finally:
        log.disabled = before


def _is_ours(page) -> bool:
    """Whether the first picture is made of plain samples in a compression that is undone here."""
    plain = (
        page.compression in (_NONE, _LZW, _PACKBITS, *_DEFLATE) and page.predictor in (1, 2) and page.imagedepth == 1
    )
    bits, kind = page.bitspersample, page.sampleformat
    known = (kind == _UNSIGNED and bits in (1, 8, 16)) or (kind == _FLOATING and bits in (16, 32, 64))
    return plain and known and page.dtype is not None and page.photometric in _COLOURS and not page.is_subsampled


def _refuse_previews(path: Path, page) -> None:
    subfile = page.tags.get(_NEW_SUBFILE_TYPE)
    if _DNG_VERSION in page.tags or (subfile is not None and isinstance(subfile.value, int) and subfile.value & 1):
        raise fault(
            path,
            "this is a camera's raw file, or a file whose first picture is only a small preview",
            "a developed picture",
            "develop it to a 16-bit TIFF",
        )


def _refuse_numbers(path: Path, page) -> None:
    """Refuse numbers whose white nobody states."""
    bits, kind = page.bitspersample, page.sampleformat
    if kind == _SIGNED or (kind == _UNSIGNED and bits > 16):
        signed = "signed " if kind == _SIGNED else ""
        raise fault(
            path,
            f"pixels in {signed}{bits}-bit whole numbers",
            "8 or 16 bit a channel, or floating-point numbers from 0 to 1",
            "save it as a 16-bit grey PNG",
        )


def described(path: Path) -> str | None:
    """What kind of TIFF it is that nothing here reads, in a few words; None if the file is damaged."""
    import tifffile

    try:
        with _quiet(), tifffile.TiffFile(path) as file:
            page = file.pages[0]
            ends = [offset + count for offset, count in zip(page.dataoffsets, page.databytecounts, strict=True)]
            if not ends or max(ends) > file.filehandle.size or min(page.databytecounts) <= 0:
                return None
            packed = str(getattr(page.compression, "name", page.compression)).lower().replace("_", " ")
            kind = " in floating point" if page.sampleformat == _FLOATING else ""
            channels = (
                f"{page.samplesperpixel} channel{'s' if page.samplesperpixel != 1 else ''} of {page.bitspersample}"
                f" bits{kind}"
            )
            return channels if page.compression == _NONE else f"{channels}, compression {packed}"
    except Exception:  # only asked for after a decoder gave up
        return None


def _refuse_without_meaning(path: Path, page) -> None:
    """Refuse samples that stand for inks or channels that nobody has named."""
    colours = _COLOURS[page.photometric]
    inks = page.tags.get(_INK_SET)
    if page.samplesperpixel < colours or (page.photometric == _SEPARATED and inks is not None and inks.value != 1):
        raise fault(
            path,
            f"{page.samplesperpixel} channels of inks or colours without a known meaning",
            "grey, RGB or CMYK",
            "save it as a grey PNG",
        )


# --- samples -------------------------------------------------------------------------------------------------------


def _bands(path: Path, rows: int) -> Iterator[Band]:
    """Bands of so many rows out of rows of strips or tiles of another height."""
    import tifffile

    with _quiet(), tifffile.TiffFile(path) as file:
        page = file.pages[0]
        left = None
        for values in _segment_rows(page):
            left = values if left is None or not len(left) else np.concatenate([left, values])
            while len(left) >= rows:
                yield _band(left[:rows], page, path)
                left = left[rows:]
        if left is not None and len(left):
            yield _band(left, page, path)


def _segment_shape(page) -> tuple[int, int]:
    """Rows and columns of a strip or tile."""
    return (
        (page.tilelength, page.tilewidth)
        if page.is_tiled
        else (min(page.rowsperstrip, page.imagelength), page.imagewidth)
    )


def _stored_type(page) -> np.dtype:
    return np.dtype(np.uint8 if page.bitspersample == 1 else page.dtype)


def _segment_rows(page) -> Iterator[np.ndarray]:
    """Samples (rows, width, samples) of one row of strips or tiles after the other, differencing undone."""
    width, height, samples = page.imagewidth, page.imagelength, page.samplesperpixel
    tall, wide = _segment_shape(page)
    across, down = -(-width // wide), -(-height // tall)
    planes = samples if page.planarconfig == 2 and samples > 1 else 1
    if len(page.dataoffsets) < across * down * planes or len(page.databytecounts) < across * down * planes:
        raise Damaged("parts of it are missing")
    for row in range(down):
        # A strip ends with the picture; a tile is padded.
        rows = min(tall, height - row * tall)
        stored = tall if page.is_tiled else rows
        values = np.empty((rows, width, samples), _stored_type(page))
        for plane in range(planes):
            for column in range(across):
                data = _segment(page, (plane * down + row) * across + column, stored, wide, samples // planes)
                left = column * wide
                values[:, left : left + wide, plane : plane + samples // planes] = data[:rows, : width - left]
        yield values


def _segment(page, index: int, rows: int, columns: int, samples: int) -> np.ndarray:
    """Samples (rows, columns, samples) of one strip or tile."""
    bits = page.bitspersample
    row_bytes = (columns * samples * bits + 7) // 8
    data = _unpacked(page, index, rows * row_bytes)
    if len(data) < rows * row_bytes:
        raise Damaged(f"part {index + 1} holds {len(data)} of {rows * row_bytes} bytes")
    stored = np.frombuffer(data, np.uint8, rows * row_bytes).reshape(rows, row_bytes)
    if bits == 1:
        return np.unpackbits(stored, axis=1, count=columns * samples).reshape(rows, columns, samples)
    values = stored.view(_stored_type(page).newbyteorder(page.parent.byteorder)).reshape(rows, columns, samples)
    if page.predictor != 2:
        return values
    whole = values.view(np.dtype(f"{values.dtype.byteorder}u{values.dtype.itemsize}"))
    return np.cumsum(whole, axis=1, dtype=whole.dtype.newbyteorder("=")).view(_stored_type(page))


def _unpacked(page, index: int, wanted: int) -> bytes:
    """The bytes of one strip or tile without their compression, hardly more than wanted."""
    offset, count = page.dataoffsets[index], page.databytecounts[index]
    if offset <= 0 or count <= 0:
        raise Damaged(f"part {index + 1} is missing")
    file = page.parent.filehandle
    file.seek(offset)
    # What is stored can be longer than its pixels, but not by much.
    data = file.read(min(count, 2 * wanted + 65536))
    if page.fillorder == 2:
        data = data.translate(_MIRRORED)
    if page.compression == _NONE:
        return data
    if page.compression in _DEFLATE:
        return zlib.decompressobj().decompress(data, wanted)
    return _unpacked_by_pillow(data, page.compression, wanted)


# Bytes with their bits in the other order.
_MIRRORED = bytes(int(f"{byte:08b}"[::-1], 2) for byte in range(256))


def _unpacked_by_pillow(data: bytes, compression: int, wanted: int) -> bytes:
    """LZW and PackBits are undone by libtiff: the bytes are handed to it as one strip of an 8-bit grey picture."""
    from PIL import Image

    entries = [
        (256, wanted),
        (257, 1),
        (258, 8),
        (259, compression),
        (262, 1),
        (273, 8),
        (277, 1),
        (278, 1),
        (279, len(data)),
    ]
    directory = (
        struct.pack("<H", len(entries))
        + b"".join(struct.pack("<HHII", tag, 4, 1, value) for tag, value in entries)
        + bytes(4)
    )
    padded = data + bytes(len(data) % 2)
    strip = struct.pack("<2sHI", b"II", 42, 8 + len(padded)) + padded + directory
    with decoding("TIFF"), Image.open(io.BytesIO(strip), formats=["TIFF"]) as image:
        return image.tobytes()


def _band(values: np.ndarray, page, path: Path) -> Band:
    """What samples (rows, width, samples) stand for."""
    colours = _COLOURS[page.photometric]
    floating = page.sampleformat == _FLOATING
    full = 1.0 if floating or page.bitspersample == 1 else 2.0**page.bitspersample - 1.0
    planes = [values[..., index] for index in range(colours)]
    planes = [checked_shares(plane, 1.0, path) if floating else np.ascontiguousarray(plane) for plane in planes]
    if page.photometric == _WHITE_IS_ZERO:
        planes = [(np.float32(1.0) if floating else values.dtype.type(full)) - plane for plane in planes]
    if page.photometric == _SEPARATED:
        # Ink lets through what it does not take, and black takes the same of every colour.
        paper = [np.float32(1.0) - np.multiply(plane, np.float32(1.0 / full), dtype=np.float32) for plane in planes]
        planes, full = [plane * paper[3] for plane in paper[:3]], 1.0
    alpha = _alpha(values, page, colours, path)
    if alpha is not None and page.extrasamples[0] == _ASSOCIATED:
        shares = [np.multiply(plane, np.float32(1.0 / full), dtype=np.float32) for plane in planes]
        planes, full = (
            [np.minimum(share / np.maximum(alpha, np.float32(1e-6)), np.float32(1.0)) for share in shares],
            1.0,
        )
    return Band(tuple(planes), full, alpha)


def _alpha(values: np.ndarray, page, colours: int, path: Path) -> np.ndarray | None:
    """Alpha 0..1 if the first extra sample is one."""
    if values.shape[2] == colours or not page.extrasamples or page.extrasamples[0] not in (_ASSOCIATED, _UNASSOCIATED):
        return None
    alpha = values[..., colours]
    if page.sampleformat == _FLOATING:
        return checked_shares(alpha, 1.0, path)
    return np.multiply(alpha, np.float32(1.0 / (2.0**page.bitspersample - 1.0)), dtype=np.float32)
