"""Bitmaps of every kind that will be handed over: each is read for what it is, or refused in words.

Sources: PNG (ISO/IEC 15948), TIFF 6.0 (photometric interpretation, bits per sample, orientation), Exif 2.3
(orientation), IEC 61966-2-1 (coded grey). Files are written here by Pillow or tifffile, or byte by byte where neither
writes the kind.
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
from projector.files import bitmap_file
from projector.stencils.stencil import load_pupil_bitmap, load_stencil

# An opening in the upper left quarter of a wide bitmap: no turn or mirroring of it looks the same.
SHAPE = np.zeros((420, 560), bool)
SHAPE[40:200, 60:240] = True
SHAPE[200:300, 60:120] = True
GREY8 = (SHAPE * 255).astype(np.uint8)


def saved(tmp_path, image, name="stencil.png", **how):
    path = tmp_path / name
    image.save(path, **how)
    return path


def only_fault(path, load=load_stencil):
    with pytest.raises(SceneError) as caught:
        load(path)
    (fault,) = caught.value.faults
    assert fault.file == str(path)
    assert fault.found and fault.allowed and fault.try_
    return fault


def noise_picture(mode="L", side=512):
    """A picture that no compression shortens much, so that a cut falls into its pixels."""
    channels = {"L": (), "RGB": (3,)}[mode]
    return Image.fromarray(np.random.default_rng(5).integers(0, 255, (side, side, *channels), dtype=np.uint8))


# --- plain pictures ---------------------------------------------------------------------------------------------------


def test_white_passes_black_stops_and_row_0_is_the_top(tmp_path):
    stencil = load_stencil(saved(tmp_path, Image.fromarray(GREY8)))
    assert stencil.transmission.dtype == np.float32
    assert np.array_equal(stencil.transmission, SHAPE)
    assert stencil.open_fraction == pytest.approx(SHAPE.mean(), abs=1e-7)
    assert stencil.notes == []


@pytest.mark.parametrize("ending", ["png", "tif", "bmp", "gif", "webp", "pgm"])
def test_the_same_shape_comes_out_of_every_lossless_format(tmp_path, ending):
    how = {"lossless": True} if ending == "webp" else {}
    path = saved(tmp_path, Image.fromarray(GREY8), f"stencil.{ending}", **how)
    assert np.array_equal(load_stencil(path).transmission, SHAPE)


def test_inverted_swaps_metal_and_opening(tmp_path):
    path = saved(tmp_path, Image.fromarray(GREY8))
    assert np.array_equal(load_stencil(path, inverted=True).transmission, ~SHAPE)


def test_the_digest_follows_pixels_and_shape_and_not_the_file(tmp_path):
    first = load_stencil(saved(tmp_path, Image.fromarray(GREY8), "a.png"))
    same = load_stencil(saved(tmp_path, Image.fromarray(GREY8), "b.tif"))
    changed = GREY8.copy()
    changed[0, 0] = 1
    other = load_stencil(saved(tmp_path, Image.fromarray(changed), "c.png"))
    black = [load_stencil(saved(tmp_path, Image.new("L", size), f"{size[0]}.png")) for size in ((500, 600), (600, 500))]
    assert first.digest == same.digest != other.digest
    assert black[0].digest != black[1].digest


# --- depth ------------------------------------------------------------------------------------------------------------


def test_half_transparent_edges_are_linear_coverage_for_metal_and_decoded_for_glass(tmp_path):
    """IEC 61966-2-1: code 128 of 255 is 0.2158605 linear (from its formula: ((128/255 + 0.055)/1.055)^2.4)."""
    path = saved(tmp_path, Image.new("L", (512, 512), 128))
    assert load_stencil(path).transmission == pytest.approx(128 / 255, abs=1e-6)
    assert load_stencil(path, grey="glass").transmission == pytest.approx(0.2158605, abs=1e-6)
    with pytest.raises(ValueError, match="coverage"):
        load_stencil(path, grey="gamma")


@pytest.mark.parametrize("ending", ["png", "tif"])
def test_16_bit_grey_is_scaled_and_not_clipped(tmp_path, ending):
    ramp = np.tile(np.linspace(0, 65535, 512).astype(np.uint16), (512, 1))
    path = saved(tmp_path, Image.fromarray(ramp), f"ramp.{ending}")
    assert np.allclose(load_stencil(path).transmission, ramp / 65535.0, atol=1e-6)


def test_16_bit_grey_that_is_dark_throughout_stays_dark(tmp_path):
    path = saved(tmp_path, Image.fromarray(np.full((512, 512), 200, np.uint16)), "dark.tif")
    assert load_stencil(path).transmission.max() == pytest.approx(200 / 65535, abs=1e-7)


@pytest.mark.parametrize("depth", [np.uint8, np.uint16, np.float32])
def test_white_is_zero_is_honoured_at_every_depth(tmp_path, depth):
    full = 1.0 if depth is np.float32 else np.iinfo(depth).max
    path = tmp_path / "white_is_zero.tif"
    tifffile.imwrite(path, ((1.0 - SHAPE) * full).astype(depth), photometric="miniswhite")
    assert np.array_equal(load_stencil(path).transmission, SHAPE)


@pytest.mark.parametrize("white_is_zero", [False, True])
def test_1_bit_tiff_reads_as_0_and_1(tmp_path, white_is_zero):
    path = tmp_path / "bits.tif"
    kind = "miniswhite" if white_is_zero else "minisblack"
    tifffile.imwrite(path, SHAPE ^ white_is_zero, photometric=kind)
    assert np.array_equal(load_stencil(path).transmission, SHAPE)


def one_strip_tiff(data: bytes, width: int, height: int, bits: int) -> bytes:
    """A grey TIFF 6.0 file with one uncompressed strip."""
    entries = [
        (256, width),
        (257, height),
        (258, bits),
        (259, 1),
        (262, 1),
        (273, 8),
        (277, 1),
        (278, height),
        (279, len(data)),
    ]
    directory = struct.pack("<H", len(entries)) + b"".join(
        struct.pack("<HHII", tag, 4, 1, value) for tag, value in entries
    )
    return struct.pack("<2sHI", b"II", 42, 8 + len(data)) + data + directory + bytes(4)


def test_12_bit_grey_reaches_full_white(tmp_path):
    path = tmp_path / "twelve.tif"
    path.write_bytes(one_strip_tiff(b"\xff\xf0\x00" * (512 * 256), 512, 512, 12))
    row = load_stencil(path).transmission[0]
    assert row[0] == 1.0 and row[1] == 0.0


def test_floating_point_outside_0_to_1_is_refused_with_its_range(tmp_path):
    path = tmp_path / "float.tif"
    tifffile.imwrite(path, np.linspace(-1, 3, 512 * 512, dtype=np.float32).reshape(512, 512))
    assert "-1" in only_fault(path).found
    tifffile.imwrite(path, np.full((512, 512), np.nan, np.float32))
    assert "not numbers" in only_fault(path).found


def test_32_bit_whole_numbers_are_refused(tmp_path):
    path = tmp_path / "long.tif"
    tifffile.imwrite(path, np.full((512, 512), 70000, np.int32))
    assert "32-bit" in only_fault(path).found


# --- transparency, palette, colour ------------------------------------------------------------------------------------


@pytest.mark.parametrize("colour", [0, 255, 90])
def test_a_shape_drawn_in_one_colour_on_nothing_is_its_transparency(tmp_path, colour):
    alpha = GREY8.copy()
    alpha[300, 60:240] = 128
    pixels = np.dstack([np.full_like(alpha, colour)] * 3 + [alpha])
    stencil = load_stencil(saved(tmp_path, Image.fromarray(pixels, "RGBA")))
    assert np.allclose(stencil.transmission, alpha / 255.0, atol=1e-6)
    assert any("transparency" in note and "inverted" in note for note in stencil.notes)


def test_clear_places_of_a_picture_in_several_greys_are_metal(tmp_path):
    pixels = np.dstack([GREY8, np.full_like(GREY8, 255)])
    pixels[:20, :, :] = (255, 0)
    stencil = load_stencil(saved(tmp_path, Image.fromarray(pixels, "LA")))
    assert np.array_equal(stencil.transmission, SHAPE)
    assert any("transparent places are taken as metal" in note for note in stencil.notes)


def test_an_opaque_alpha_channel_changes_nothing(tmp_path):
    stencil = load_stencil(saved(tmp_path, Image.fromarray(GREY8).convert("RGBA")))
    assert np.allclose(stencil.transmission, SHAPE, atol=1e-6)
    assert stencil.notes == []


def test_glass_is_decoded_before_it_is_multiplied_with_transparency(tmp_path):
    """Half-clear white passes half; half-clear code 128 passes half of 21.6 %."""
    pixels = np.zeros((512, 512, 2), np.uint8)
    pixels[..., 1] = 128
    pixels[:256, :, 0], pixels[256:, :, 0] = 255, 128
    transmission = load_stencil(saved(tmp_path, Image.fromarray(pixels, "LA")), grey="glass").transmission
    assert transmission[0, 0] == pytest.approx(128 / 255, abs=1e-5)
    assert transmission[-1, 0] == pytest.approx(0.2158605 * 128 / 255, abs=1e-5)


def test_black_ink_of_a_cmyk_jpeg_is_metal(tmp_path):
    """Branching on four channels would take black ink for transparency."""
    ink = np.zeros((*SHAPE.shape, 4), np.uint8)
    ink[..., 3] = np.where(SHAPE, 0, 255)
    path = saved(tmp_path, Image.fromarray(ink, "CMYK"), "ink.jpg", quality=95)
    assert Image.open(path).mode == "CMYK"
    assert np.abs(load_stencil(path).transmission - SHAPE).max() < 0.1  # what JPEG's own ringing leaves at an edge


def test_palette_entries_are_colours_and_not_grey_levels(tmp_path):
    image = Image.fromarray(SHAPE.astype(np.uint8))
    image.putpalette([0, 0, 0, 255, 255, 255])
    path = saved(tmp_path, image)
    assert Image.open(path).mode == "P"
    assert np.array_equal(load_stencil(path).transmission, SHAPE)


def test_palette_with_clear_entries_keeps_its_transparency(tmp_path):
    image = Image.fromarray(SHAPE.astype(np.uint8))
    image.putpalette([255, 255, 255, 255, 255, 255])
    path = saved(tmp_path, image, transparency=0)
    assert np.array_equal(load_stencil(path).transmission, SHAPE)


def test_a_coloured_stencil_says_that_only_brightness_counts(tmp_path):
    red = np.dstack([GREY8, np.zeros_like(GREY8), np.zeros_like(GREY8)])
    stencil = load_stencil(saved(tmp_path, Image.fromarray(red)))
    assert stencil.transmission.max() == pytest.approx(0.299, abs=1e-3)  # luma of red, ITU-R BT.601
    assert any("coloured" in note for note in stencil.notes)
    assert any("passes only 30 %" in note for note in stencil.notes)


# --- orientation ------------------------------------------------------------------------------------------------------

# Where the picture's row 0 and column 0 are to be shown, Exif 2.3 table 6, as what was done to the upright picture.
STORED_FROM_UPRIGHT = {
    2: np.fliplr,
    3: lambda a: np.rot90(a, 2),
    4: np.flipud,
    5: np.transpose,
    6: lambda a: np.rot90(a, 1),
    7: lambda a: np.rot90(a, 2).T,
    8: lambda a: np.rot90(a, -1),
}


@pytest.mark.parametrize("ending", ["jpg", "png", "tif"])
@pytest.mark.parametrize("orientation", sorted(STORED_FROM_UPRIGHT))
def test_a_picture_turned_by_its_orientation_tag_is_turned_once(tmp_path, orientation, ending):
    stored = np.ascontiguousarray(STORED_FROM_UPRIGHT[orientation](GREY8))
    exif = Image.Exif()
    exif[0x0112] = orientation
    stencil = load_stencil(saved(tmp_path, Image.fromarray(stored), f"turned.{ending}", exif=exif))
    assert stencil.transmission.shape == SHAPE.shape
    assert np.array_equal(stencil.transmission > 0.5, SHAPE)
    assert any("upright" in note for note in stencil.notes)


def test_an_orientation_tag_out_of_range_is_left_alone(tmp_path):
    exif = Image.Exif()
    exif[0x0112] = 0
    assert load_stencil(saved(tmp_path, Image.fromarray(GREY8), exif=exif)).notes == []


# --- size -------------------------------------------------------------------------------------------------------------


def png_of_bits(width: int, height: int) -> bytes:
    """A PNG of one bit a pixel, left half black and right half white, by the standard: a few kilobytes whatever its
    size.
    """

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    n_bytes = (width + 7) // 8
    row = b"\0" + b"\0" * (n_bytes // 2) + b"\xff" * (n_bytes - n_bytes // 2)
    header = struct.pack(">IIBBBBB", width, height, 1, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", header)
        + chunk(b"IDAT", zlib.compress(row * height, 9))
        + chunk(b"IEND", b"")
    )


def test_a_huge_bitmap_is_refused_before_it_is_decoded(tmp_path):
    path = tmp_path / "huge.png"
    path.write_bytes(png_of_bits(20000, 20000))
    guard = Image.MAX_IMAGE_PIXELS
    fault = only_fault(path)
    assert "20000 × 20000" in fault.found and "16384 × 16384" in fault.allowed and "8192" in fault.try_
    assert guard == Image.MAX_IMAGE_PIXELS


def test_a_very_large_bitmap_is_averaged_down_in_strips(tmp_path):
    path = tmp_path / "large.png"
    path.write_bytes(png_of_bits(10000, 700))
    stencil = load_stencil(path)
    assert stencil.transmission.shape == (350, 5000)
    assert np.array_equal(stencil.transmission[:, [0, 2499, 2500, -1]], np.tile([0, 0, 1, 1], (350, 1)))
    assert any("averaged down 2 times" in note for note in stencil.notes)


@pytest.mark.parametrize("kind", ["16 bit", "alpha", "palette"])
def test_every_kind_survives_being_averaged_down(tmp_path, monkeypatch, kind):
    """Blocks of 2 × 2 whose mean is known: a checkerboard gives one half, whatever carries it; odd sides keep their
    last row.
    """
    monkeypatch.setattr(bitmap_file, "LARGEST_SIDE", 300)
    checks = np.indices((501, 501)).sum(axis=0) % 2
    image = {
        "16 bit": lambda: Image.fromarray((checks * 65535).astype(np.uint16)),
        "alpha": lambda: Image.fromarray(np.dstack([np.full_like(checks, 40), checks * 255]).astype(np.uint8), "LA"),
        "palette": lambda: Image.fromarray(checks.astype(np.uint8)),
    }[kind]()
    if kind == "palette":
        image.putpalette([0, 0, 0, 255, 255, 255])
    transmission = load_stencil(saved(tmp_path, image)).transmission
    assert transmission.shape == (251, 251)
    assert np.allclose(transmission, np.where(np.indices((251, 251)).max(axis=0) == 250, transmission, 0.5), atol=1e-6)
    assert transmission[250, 250] == checks[500, 500] and transmission[250, 0] == 0.5


def test_a_tiny_bitmap_says_that_its_steps_may_show(tmp_path):
    assert any("64 × 64" in note for note in load_stencil(saved(tmp_path, Image.new("L", (64, 64), 128))).notes)


# --- what is refused --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("logo.svg", b'<?xml version="1.0"?><svg xmlns="http://www.w3.org/2000/svg"/>'),
        ("logo.png", b'<svg xmlns="http://www.w3.org/2000/svg"/>'),
        ("plan.pdf", b"%PDF-1.7\n"),
        ("plan.eps", b"%!PS-Adobe-3.0 EPSF-3.0\n"),
        ("bound.eps", b"\xc5\xd0\xd3\xc6" + bytes(28)),
        ("cut.dxf", b"  0\r\nSECTION\r\n"),
    ],
)
def test_a_vector_drawing_is_named_and_told_how_to_be_exported(tmp_path, name, content):
    path = tmp_path / name
    path.write_bytes(content)
    fault = only_fault(path)
    assert "vector" in fault.found and "2048 × 2048" in fault.try_ and "white" in fault.try_


@pytest.mark.parametrize(
    ("content", "word"),
    [
        (b"PK\x03\x04" + bytes(40), "ZIP"),
        (b"<!DOCTYPE html><html>", "web page"),
        (b"\0\0\0\x18ftypheic" + bytes(40), "HEIC"),
        (b"8BPS\0\1" + bytes(40), "layered"),
        (b"just some words, no picture", "not a picture"),
        (b"RIFF\x24\0\0\0WAVEfmt " + bytes(40), "not a picture"),
    ],
)
def test_a_wrong_ending_is_refused_for_what_the_file_really_is(tmp_path, content, word):
    path = tmp_path / "stencil.png"
    path.write_bytes(content)
    assert word in only_fault(path).found


def test_a_picture_under_another_pictures_ending_is_read_and_noted(tmp_path):
    path = tmp_path / "stencil.jpg"
    saved(tmp_path, Image.fromarray(GREY8)).rename(path)
    stencil = load_stencil(path)
    assert np.array_equal(stencil.transmission, SHAPE)
    assert any("really a PNG" in note for note in stencil.notes)


def test_empty_missing_and_folder_are_told_apart(tmp_path):
    path = tmp_path / "stencil.png"
    assert "no such file" in only_fault(path).found
    path.write_bytes(b"")
    assert "empty" in only_fault(path).found
    assert "folder" in only_fault(tmp_path).found


CUT_KINDS = {
    "cut.png": {},
    "cut.jpg": {"quality": 90},
    "progressive.jpg": {"quality": 90, "progressive": True},
    "cut.tif": {},
    "lzw.tif": {"compression": "tiff_lzw"},
    "deflate.tif": {"compression": "tiff_adobe_deflate"},
    "cut.bmp": {},
    "cut.gif": {},
    "cut.webp": {"lossless": True},
}


@pytest.mark.parametrize("share", [0.02, 0.3, 0.6, 0.97])
@pytest.mark.parametrize("name", sorted(CUT_KINDS))
def test_a_file_cut_short_is_refused_and_never_filled_up(tmp_path, name, share):
    path = saved(tmp_path, noise_picture("L" if name.endswith("gif") else "RGB"), name, **CUT_KINDS[name])
    whole = path.read_bytes()
    path.write_bytes(whole[: int(share * len(whole))])
    assert "cut short" in only_fault(path).found


def test_a_png_with_wrong_bytes_inside_is_refused(tmp_path):
    path = saved(tmp_path, noise_picture())
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 0xFF
    path.write_bytes(content)
    assert "damaged" in only_fault(path).found


def test_several_pictures_in_one_file_use_the_first_and_say_so(tmp_path):
    first, second = Image.fromarray(GREY8), Image.fromarray(255 - GREY8)
    path = saved(tmp_path, first, "two.tif", save_all=True, append_images=[second])
    stencil = load_stencil(path)
    assert np.array_equal(stencil.transmission, SHAPE)
    assert any("2 pictures" in note for note in stencil.notes)


def test_a_negative_is_suspected_and_a_shut_stencil_is_named(tmp_path):
    assert any("negative" in note for note in load_stencil(saved(tmp_path, Image.new("L", (512, 512), 255))).notes)
    assert any("no light" in note for note in load_stencil(saved(tmp_path, Image.new("L", (512, 512), 0))).notes)


# --- pupil, and start-up ----------------------------------------------------------------------------------------------


def test_a_pupil_bitmap_is_read_with_the_same_care(tmp_path):
    path = saved(tmp_path, Image.fromarray((SHAPE * 65535).astype(np.uint16)), "pupil.png")
    pupil = load_pupil_bitmap(path)
    assert pupil.dtype == np.float64 and np.array_equal(pupil, SHAPE)
    assert "black" in only_fault(saved(tmp_path, Image.new("L", (512, 512))), load_pupil_bitmap).found


def test_importing_the_module_brings_in_no_picture_library():
    code = (
        "import sys, projector.stencils.stencil; sys.exit(any(n in sys.modules for n in ('PIL', 'imageio',"
        " 'tifffile')))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
