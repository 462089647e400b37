"""Layouts of samples that a picture may be stored in: every one gives the values that it was made of.

Sources: TIFF 6.0 (planar configuration, extra samples, sample format, differencing, LZW, fill order); PNG, ISO/IEC
15948 (filters, interlace, transparency, chunks). Files are written by tifffile, or byte by byte where no library writes
them.
"""

from __future__ import annotations

import struct
import subprocess
import sys
import zlib

import numpy as np
import pytest
import tifffile
from PIL import Image

from projector.faults import SceneError
from projector.files.bitmap_file import read_bitmap, read_colours
from projector.files.bitmaps import kinds
from projector.stencils.stencil import LARGEST_PUPIL_SIDE, load_pupil_bitmap, load_stencil

# Every share is a whole number in 8 and in 16 bits. No turn or mirroring of the shape looks the same; odd sides.
RANDOM = np.random.default_rng(11)
GREY = RANDOM.integers(0, 6, (43, 61)) / 5.0
COLOUR = RANDOM.integers(0, 6, (43, 61, 3)) / 5.0
ALPHA = RANDOM.integers(1, 6, (43, 61)) / 5.0
LUMA = np.array([0.299, 0.587, 0.114])
FULL = {np.dtype(np.uint8): 255, np.dtype(np.uint16): 65535}
DEPTHS = (np.uint8, np.uint16, np.float16, np.float32, np.float64)
# Half floats hold a share to half a step, 2.4e-4, and two are multiplied; the other depths to a few steps of float32.
EXACT = {np.float16: 5e-4}


def stored(shares, depth):
    """Shares 0..1 in the numbers of a depth."""
    full = FULL.get(np.dtype(depth), 1)
    return np.round(shares * full).astype(depth) if full > 1 else np.asarray(shares).astype(depth)


def only_fault(path, read=load_stencil):
    with pytest.raises(SceneError) as caught:
        read(path)
    (fault,) = caught.value.faults
    assert fault.file == str(path) and fault.found and fault.allowed and fault.try_
    return fault


# --- TIFF -------------------------------------------------------------------------------------------------------------

INK = np.stack([COLOUR[..., 0], COLOUR[..., 1], COLOUR[..., 2], 1.0 - ALPHA], axis=-1)
LAYOUTS = {
    "grey": (GREY, {"photometric": "minisblack"}, GREY),
    "white is zero": (1.0 - GREY, {"photometric": "miniswhite"}, GREY),
    "colour": (COLOUR, {"photometric": "rgb"}, COLOUR @ LUMA),
    "colour and a mask": (
        np.dstack([COLOUR, ALPHA]),
        {"photometric": "rgb", "extrasamples": ["unspecified"]},
        COLOUR @ LUMA,
    ),
    "colour, alpha": (
        np.dstack([COLOUR, ALPHA]),
        {"photometric": "rgb", "extrasamples": ["unassalpha"]},
        COLOUR @ LUMA * ALPHA,
    ),
    "colour times alpha": (
        np.dstack([COLOUR * ALPHA[..., None], ALPHA]),
        {"photometric": "rgb", "extrasamples": ["assocalpha"]},
        COLOUR @ LUMA * ALPHA,
    ),
    "grey, alpha": (
        np.dstack([GREY, ALPHA]),
        {"photometric": "minisblack", "planarconfig": "contig", "extrasamples": ["unassalpha"]},
        GREY * ALPHA,
    ),
    "grey times alpha": (
        np.dstack([GREY * ALPHA, ALPHA]),
        {"photometric": "minisblack", "planarconfig": "contig", "extrasamples": ["assocalpha"]},
        GREY * ALPHA,
    ),
    "ink": (INK, {"photometric": "separated"}, (1.0 - INK[..., :3]) @ LUMA * ALPHA),
}


@pytest.mark.parametrize("byteorder", ["<", ">"])
@pytest.mark.parametrize("depth", DEPTHS)
@pytest.mark.parametrize("name", LAYOUTS)
def test_a_tiff_gives_the_values_it_was_made_of(tmp_path, name, depth, byteorder):
    shares, how, wanted = LAYOUTS[name]
    path = tmp_path / "layout.tif"
    tifffile.imwrite(path, stored(shares, depth), byteorder=byteorder, rowsperstrip=7, **how)
    # A product of alpha is rounded to the depth's steps before it is stored.
    exact = max(EXACT.get(depth, 2e-6), 0.6 / FULL.get(np.dtype(depth), 1e9) if "times" in name else 0.0)
    assert np.abs(load_stencil(path).transmission - wanted).max() < exact


@pytest.mark.parametrize("compression", [None, "deflate"])
@pytest.mark.parametrize("tile", [None, (16, 32)])
@pytest.mark.parametrize("depth", [np.uint8, np.uint16, np.float32])
@pytest.mark.parametrize("name", ["colour", "colour, alpha", "ink"])
def test_channels_in_planes_of_their_own_and_tiles_are_put_together(tmp_path, name, depth, tile, compression):
    shares, how, wanted = LAYOUTS[name]
    path = tmp_path / "planes.tif"
    tifffile.imwrite(
        path,
        np.moveaxis(stored(shares, depth), -1, 0),
        planarconfig="separate",
        tile=tile,
        compression=compression,
        **how,
    )
    assert np.abs(load_stencil(path).transmission - wanted).max() < 2e-6


@pytest.mark.parametrize("depth", [np.uint8, np.uint16])
@pytest.mark.parametrize("byteorder", ["<", ">"])
@pytest.mark.parametrize("planar", ["contig", "separate"])
def test_differences_are_summed_up(tmp_path, depth, byteorder, planar):
    path = tmp_path / "differences.tif"
    values = stored(COLOUR, depth)
    values = values if planar == "contig" else np.moveaxis(values, -1, 0)
    tifffile.imwrite(
        path, values, photometric="rgb", planarconfig=planar, compression="deflate", predictor=2, byteorder=byteorder
    )
    assert np.abs(read_colours(path, "photograph")[0] - COLOUR).max() < 1e-6


def lzw(data: bytes) -> bytes:
    """TIFF 6.0, section 13, without finding any repetition: literals, and a clear code before the codes would grow to
    10 bits.
    """
    codes = []
    for start in range(0, len(data), 200):
        codes += [256, *data[start : start + 200]]
    bits = "".join(f"{code:09b}" for code in [*codes, 257])
    bits += "0" * (-len(bits) % 8)
    return int(bits, 2).to_bytes(len(bits) // 8, "big")


def packbits(data: bytes) -> bytes:
    """TIFF 6.0, section 9, without finding any repetition."""
    return b"".join(
        bytes([len(data[start : start + 128]) - 1]) + data[start : start + 128] for start in range(0, len(data), 128)
    )


def one_strip_tiff(
    data: bytes,
    width: int,
    height: int,
    samples: int,
    bits: int,
    compression: int,
    fill_order: int = 1,
    planar: int = 1,
) -> bytes:
    """A TIFF 6.0 file with one strip (or one for each of `samples` planes of equal length)."""
    strips = samples if planar == 2 else 1
    tags = [
        (256, 4, 1, width),
        (257, 4, 1, height),
        (258, 3, samples, bits),
        (259, 3, 1, compression),
        (262, 3, 1, 2 if samples == 3 else 1),
        (266, 3, 1, fill_order),
        (273, 4, strips, 8),
        (277, 3, 1, samples),
        (278, 4, 1, height),
        (279, 4, strips, len(data) // strips),
        (284, 3, 1, planar),
    ]
    after, entries, extra = 8 + len(data), b"", b""
    directory_end = after + 2 + 12 * len(tags) + 4
    for tag, kind, count, value in tags:
        if count == 1:
            entries += struct.pack("<HHII", tag, kind, 1, value)
            continue
        each = value if tag != 273 else None
        numbers = [value + index * (len(data) // strips) if each is None else each for index in range(count)]
        entries += struct.pack("<HHII", tag, kind, count, directory_end + len(extra))
        extra += struct.pack(f"<{count}{'H' if kind == 3 else 'I'}", *numbers)
    return struct.pack("<2sHI", b"II", 42, after) + data + struct.pack("<H", len(tags)) + entries + bytes(4) + extra


@pytest.mark.parametrize(("compression", "packed"), [(5, lzw), (32773, packbits)])
@pytest.mark.parametrize("planar", [1, 2])
@pytest.mark.parametrize("bits", [8, 16])
def test_lzw_and_packbits_are_undone_at_every_depth_and_in_planes(tmp_path, bits, planar, compression, packed):
    values = stored(COLOUR, np.uint8 if bits == 8 else np.dtype("<u2"))
    planes = [values] if planar == 1 else np.ascontiguousarray(np.moveaxis(values, -1, 0))
    parts = [packed(np.ascontiguousarray(plane).tobytes()) for plane in planes]
    assert len({len(part) for part in parts}) == 1
    path = tmp_path / "packed.tif"
    path.write_bytes(one_strip_tiff(b"".join(parts), 61, 43, 3, bits, compression, planar=planar))
    assert np.abs(read_colours(path, "photograph")[0] - COLOUR).max() < 1e-6


def test_the_order_of_bits_in_a_byte_is_honoured(tmp_path):
    shape = RANDOM.random((43, 61)) < 0.5
    path = tmp_path / "bits.tif"
    path.write_bytes(
        one_strip_tiff(np.packbits(shape, axis=1, bitorder="little").tobytes(), 61, 43, 1, 1, 1, fill_order=2)
    )
    assert np.array_equal(load_stencil(path).transmission, shape)


def test_a_big_tiff_is_a_tiff(tmp_path):
    path = tmp_path / "big.tif"
    tifffile.imwrite(path, stored(GREY, np.uint16), bigtiff=True)
    assert np.abs(load_stencil(path).transmission - GREY).max() < 1e-6


@pytest.mark.parametrize("name", ["fax", "jpeg", "palette"])
def test_what_is_left_to_pillow_is_still_read(tmp_path, name):
    shape = np.zeros((64, 96), np.uint8)
    shape[8:40, 16:32] = 255
    image = Image.fromarray(shape)
    path = tmp_path / f"{name}.tif"
    if name == "palette":
        image.convert("P").save(path)
    else:
        (image.convert("1") if name == "fax" else image).save(path, compression="group4" if name == "fax" else "jpeg")
    assert np.abs(load_stencil(path).transmission - shape / 255.0).max() < (
        0.1 if name == "jpeg" else 1e-6
    )  # JPEG's own ringing


REFUSED_TIFFS = {
    "signed": (np.zeros((40, 40), np.int8), {}, "signed 8-bit"),
    "long": (np.zeros((40, 40), np.uint32), {}, "32-bit whole numbers"),
    "complex": (np.zeros((40, 40), np.complex64), {}, "kind that cannot be read (1 channel of 64 bits)"),
    "inks": (
        np.zeros((40, 40, 5), np.uint8),
        {"photometric": "separated", "extratags": [(332, 3, 1, 2, True)]},
        "without a known meaning",
    ),
    "preview": (np.zeros((40, 40), np.uint8), {"subfiletype": 1}, "raw file"),
    "range": (np.full((40, 40, 3), 1.5, np.float16), {"photometric": "rgb"}, "from 1.5 to 1.5"),
    "not numbers": (np.full((40, 40, 3), np.nan, np.float64), {"photometric": "rgb"}, "not numbers"),
}


@pytest.mark.parametrize("name", REFUSED_TIFFS)
def test_a_tiff_without_a_sure_meaning_is_refused_for_what_it_is(tmp_path, name):
    values, how, words = REFUSED_TIFFS[name]
    path = tmp_path / "odd.tif"
    tifffile.imwrite(path, values, **how)
    assert words in only_fault(path).found


def test_a_damaged_tiff_leaves_nothing_on_the_terminal_but_our_words(tmp_path, capfd):
    """libtiff and tifffile would write their own lines there."""
    packed = lzw(stored(COLOUR, np.uint8).tobytes())
    whole = one_strip_tiff(packed, 61, 43, 3, 8, 5)
    path = tmp_path / "damaged.tif"
    path.write_bytes(whole[:8] + bytes(200) + whole[208:])
    assert "cut short or damaged" in only_fault(path).found
    assert capfd.readouterr() == ("", "")


# --- PNG --------------------------------------------------------------------------------------------------------------

SIGNATURE = b"\x89PNG\r\n\x1a\n"
ADAM7 = ((0, 0, 8, 8), (4, 0, 8, 8), (0, 4, 4, 8), (2, 0, 4, 4), (0, 2, 2, 4), (1, 0, 2, 2), (0, 1, 1, 2))


def chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def filtered(values: np.ndarray) -> bytes:
    """Rows of a PNG, each with another of the five filters (ISO/IEC 15948, clause 9)."""
    rows = values.reshape(values.shape[0], values.shape[1], -1).view(np.uint8).astype(int)
    out, above = [], np.zeros_like(rows[0])
    for index, row in enumerate(rows):
        left, corner = (np.vstack([np.zeros_like(line[:1]), line[:-1]]) for line in (row, above))
        estimate = left + above - corner
        distances = [np.abs(estimate - other) for other in (left, above, corner)]
        nearest = np.where(
            (distances[0] <= distances[1]) & (distances[0] <= distances[2]),
            left,
            np.where(distances[1] <= distances[2], above, corner),
        )
        taken = (0, left, above, (left + above) // 2, nearest)[index % 5]
        out.append(bytes([index % 5]) + ((row - taken) % 256).astype(np.uint8).tobytes())
        above = row
    return b"".join(out)


def png(
    values: np.ndarray, colour_type: int, before: bytes = b"", after: bytes = b"", interlaced: bool = False
) -> bytes:
    """A PNG of values (h, w[, channels]) uint8 or uint16; more chunks before and after its pixels."""
    bits = 8 * values.dtype.itemsize
    big = values.astype(values.dtype.newbyteorder(">")).reshape(*values.shape[:2], -1)
    parts = [big[y::dy, x::dx] for x, y, dx, dy in ADAM7] if interlaced else [big]
    data = b"".join(filtered(np.ascontiguousarray(part)) for part in parts if part.size)
    header = struct.pack(">IIBBBBB", values.shape[1], values.shape[0], bits, colour_type, 0, 0, int(interlaced))
    return (
        SIGNATURE + chunk(b"IHDR", header) + before + chunk(b"IDAT", zlib.compress(data)) + after + chunk(b"IEND", b"")
    )


DEEP = {
    "colour": (RANDOM.integers(0, 65536, (43, 61, 3), dtype=np.uint16), 2),
    "colour, alpha": (RANDOM.integers(0, 65536, (43, 61, 4), dtype=np.uint16), 6),
    "grey, alpha": (RANDOM.integers(0, 65536, (43, 61, 2), dtype=np.uint16), 4),
    "grey": (RANDOM.integers(0, 65536, (43, 61), dtype=np.uint16), 0),
}


@pytest.mark.parametrize("interlaced", [False, True])
@pytest.mark.parametrize("name", DEEP)
def test_all_16_bits_of_a_png_are_read(tmp_path, name, interlaced):
    values, colour_type = DEEP[name]
    path = tmp_path / "deep.png"
    path.write_bytes(png(values, colour_type, interlaced=interlaced))
    shares = values / 65535.0
    colour = shares if shares.ndim == 2 else shares[..., :3] if shares.shape[2] > 2 else shares[..., 0]
    coded, _ = read_colours(path, "photograph")
    assert np.abs(coded - (colour if colour.ndim == 3 else colour[..., None])).max() < 1e-6
    light = colour @ LUMA if colour.ndim == 3 else colour
    alpha = shares[..., -1] if "alpha" in name else 1.0
    assert np.abs(load_stencil(path).transmission - light * alpha).max() < 1e-6


def test_one_colour_that_stands_for_nothing_is_clear_at_16_bits(tmp_path):
    values = np.full((43, 61, 3), 40000, np.uint16)
    values[10:20, 10:30] = (300, 301, 302)
    values[30:35] = (300, 301, 303)
    path = tmp_path / "clear.png"
    path.write_bytes(png(values, 2, before=chunk(b"tRNS", struct.pack(">HHH", 300, 301, 302))))
    found = load_stencil(path)
    assert found.transmission[15, 15] == 0.0 and found.transmission[32, 15] == pytest.approx(301 / 65535, abs=1e-4)
    assert any("transparent places are taken as metal" in note for note in found.notes)


NOISE = RANDOM.integers(0, 256, 3_000_000, dtype=np.uint8).tobytes()
EIGHT = RANDOM.integers(0, 256, (43, 61), dtype=np.uint8)
BESIDE_THE_PICTURE = {
    "a long text": (chunk(b"zTXt", b"Comment\0\0" + zlib.compress(bytes(70_000_000))), b""),
    "a long text behind": (b"", chunk(b"tEXt", b"Comment\0" + b"words " * 400_000)),
    "a large profile": (chunk(b"iCCP", b"scanner\0\0" + zlib.compress(NOISE)), b""),
    "a profile that is none": (chunk(b"iCCP", b"scanner\0\7 nothing"), b""),
    "a wrong checksum": (chunk(b"tEXt", b"Comment\0words")[:-1] + b"?", b""),
    "a private block": (chunk(b"prVt", NOISE[:1000]), b""),
}


@pytest.mark.parametrize("name", BESIDE_THE_PICTURE)
def test_what_stands_beside_the_pixels_of_a_png_does_not_matter(tmp_path, name):
    path = tmp_path / "whole.png"
    path.write_bytes(png(EIGHT, 0, *BESIDE_THE_PICTURE[name]))
    found = load_stencil(path)
    assert np.array_equal(found.transmission, EIGHT.astype(np.float32) * np.float32(1 / 255))
    assert not any("damaged" in note for note in found.notes)


BROKEN_EXIF = {
    "garbage": b"\x01\x02garbage",
    "empty": b"",
    "points nowhere": b"II*\0\xff\xff\xff\x7f",
    "cut": b"MM\0*\0\0\0\x08\0\x05\x01\x12\0\x03",
}


@pytest.mark.parametrize("ending", ["png", "jpg", "webp"])
@pytest.mark.parametrize("name", BROKEN_EXIF)
def test_a_broken_exif_block_does_not_spoil_a_whole_picture(tmp_path, name, ending):
    path = tmp_path / f"whole.{ending}"
    if ending == "png":
        path.write_bytes(png(EIGHT, 0, chunk(b"eXIf", BROKEN_EXIF[name])))
    else:
        Image.fromarray(EIGHT).save(
            path, exif=b"Exif\0\0" + BROKEN_EXIF[name] if ending == "jpg" else BROKEN_EXIF[name]
        )
    assert load_stencil(path).transmission.shape == EIGHT.shape


def test_a_picture_that_may_lie_on_its_side_says_so(tmp_path):
    path = tmp_path / "whole.png"
    path.write_bytes(png(EIGHT, 0, chunk(b"eXIf", BROKEN_EXIF["garbage"])))
    assert any("EXIF" in note and "turn it" in note for note in load_stencil(path).notes)


def test_an_orientation_in_a_text_is_still_honoured(tmp_path):
    exif = Image.Exif()
    exif[0x0112] = 6
    hexadecimal = exif.tobytes().hex()
    text = f"\nexif\n{len(hexadecimal) // 2:8d}\n{hexadecimal}\n".encode()
    path = tmp_path / "turned.png"
    path.write_bytes(png(EIGHT, 0, chunk(b"zTXt", b"Raw profile type exif\0\0" + zlib.compress(text))))
    assert load_stencil(path).transmission.shape == (61, 43)


def test_a_wrong_checksum_of_the_pixels_is_damage(tmp_path):
    whole = bytearray(png(EIGHT, 0))
    whole[-17] ^= 1
    path = tmp_path / "damaged.png"
    path.write_bytes(whole)
    assert "the checksum of its IDAT block is wrong" in only_fault(path).found


def test_a_moving_png_shows_its_first_picture_and_says_so(tmp_path):
    path = tmp_path / "moving.png"
    Image.fromarray(EIGHT).save(path, save_all=True, append_images=[Image.fromarray(255 - EIGHT)])
    found = load_stencil(path)
    assert np.abs(found.transmission - EIGHT / 255.0).max() < 1e-6
    assert any("2 pictures" in note for note in found.notes)


# --- cost -------------------------------------------------------------------------------------------------------------


def flat_png(side: int, colour_type: int, bits: int) -> bytes:
    """A black PNG of a few hundred kilobytes, whatever its side."""
    channels = {0: 1, 2: 3, 6: 4}[colour_type]
    row = bytes(1 + side * channels * bits // 8)
    packer = zlib.compressobj(1)
    data = b"".join(packer.compress(row) for _ in range(side)) + packer.flush()
    header = struct.pack(">IIBBBBB", side, side, bits, colour_type, 0, 0, 0)
    return SIGNATURE + chunk(b"IHDR", header) + chunk(b"IDAT", data) + chunk(b"IEND", b"")


@pytest.mark.slow
def test_a_picture_that_would_take_too_much_memory_is_refused_by_its_cost(tmp_path):
    path = tmp_path / "deep.png"
    path.write_bytes(flat_png(16384, 2, 16))
    fault = only_fault(path)
    assert (
        "16384 × 16384" in fault.found
        and "2.1 GB" in fault.found
        and "8192" in fault.try_
        and "8-bit grey" in fault.try_
    )


@pytest.mark.parametrize(("ending", "how"), [("jpg", {"progressive": True}), ("webp", {}), ("jp2", {}), ("tif", {})])
def test_every_kind_counts_what_its_decoder_takes(tmp_path, monkeypatch, ending, how):
    monkeypatch.setattr(kinds, "MOST_BYTES", 61 * 43 * 2)
    path = tmp_path / f"costly.{ending}"
    Image.fromarray(np.dstack([EIGHT] * 3)).save(path, **how)
    assert "of memory to read" in only_fault(path).found


@pytest.mark.slow
def test_the_largest_picture_that_is_read_stays_under_2_gib(tmp_path):
    """16384² in colour with transparency, read, averaged down and checked in a process of its own."""
    path = tmp_path / "largest.png"
    path.write_bytes(flat_png(16384, 6, 8))
    code = (
        "import resource, sys; from projector.stencils.stencil import load_stencil;"
        " print(load_stencil(sys.argv[1]).transmission.shape); print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss"
        " * 1024)"
    )
    shape, memory = subprocess.run(
        [sys.executable, "-c", code, str(path)], check=True, capture_output=True, text=True
    ).stdout.splitlines()
    assert shape == "(8192, 8192)"
    assert int(memory) < 2 << 30


def test_a_pupil_is_averaged_down_to_what_a_pupil_can_show(tmp_path):
    path = tmp_path / "pupil.png"
    Image.fromarray(np.full((64, 3 * LARGEST_PUPIL_SIDE), 255, np.uint8)).save(path)
    assert load_pupil_bitmap(path).shape == (22, LARGEST_PUPIL_SIDE)


def test_a_large_jpeg_is_halved_while_it_is_decoded_and_says_so(tmp_path):
    path = tmp_path / "large.jpg"
    Image.fromarray(np.full((60, 4000), 255, np.uint8)).save(path)
    values, notes = read_bitmap(path, "stencil", largest_side=2000)
    assert values.shape == (30, 2000)
    assert any("4000 × 60 pixels; it was read at 2000 × 30" in note for note in notes)


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("ending", ["jpg", "tif"])
def test_a_box_of_a_turned_photograph_counts_in_the_upright_one(tmp_path, ending, orientation):
    exif = Image.Exif()
    exif[0x0112] = orientation
    path = tmp_path / f"turned.{ending}"
    Image.fromarray(np.dstack([EIGHT] * 3)).save(path, exif=exif, **({"quality": 95} if ending == "jpg" else {}))
    whole, _ = read_colours(path, "photograph")
    part, _ = read_colours(path, "photograph", (5, 11, 20, 30))
    assert np.array_equal(part, whole[11:41, 5:25])
    with pytest.raises(SceneError, match=f"leaves the photograph of {whole.shape[1]} × {whole.shape[0]} pixels"):
        read_colours(path, "photograph", (40, 40, 20, 4))


def test_a_photograph_of_more_pixels_than_can_be_worked_on_asks_for_a_box(tmp_path):
    path = tmp_path / "large.png"
    path.write_bytes(flat_png(7000, 0, 8))
    assert "--box" in only_fault(path, lambda path: read_colours(path, "photograph")).typed
    assert read_colours(path, "photograph", (6000, 6900, 900, 100))[0].shape == (100, 900, 3)


# --- damage -----------------------------------------------------------------------------------------------------------


@pytest.mark.slow
def test_damaged_files_are_read_or_refused_and_never_more(tmp_path):
    """A few hundred mutants of every kind in a process of its own: a traceback, a crash, a hang or much memory would
    show.

    benchmarks/mutated_bitmaps.py tries thousands.
    """
    code = """
import resource, sys
from pathlib import Path
from projector.files.bitmap_file import read_bitmap, read_colours
from projector.faults import SceneError
from tests.scene.mutated_bitmaps import mutants
outcomes = {"read": 0, "refused": 0}
for name, content in mutants(3, 600):
    path = Path(sys.argv[1]) / name
    path.write_bytes(content)
    for read in (read_bitmap, read_colours):
        try:
            read(path, "stencil")
            outcomes["read"] += 1
        except SceneError as error:
            assert str(path) in str(error)
            outcomes["refused"] += 1
print(outcomes["read"], outcomes["refused"], resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024)
"""
    done = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path)], check=False, capture_output=True, text=True, timeout=120
    )
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    n_read, n_refused, memory = map(int, done.stdout.split())
    assert n_read > 100 and n_refused > 100
    assert memory < 2 << 30
