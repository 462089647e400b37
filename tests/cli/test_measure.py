"""The command that learns a lens from photographs: from files on disk to a lens file that a scene can use."""

from __future__ import annotations

import json
import tomllib

import numpy as np
import pytest
from typer.testing import CliRunner

from projector.cli import app
from projector.optics.thin_lens import conjugate_distance, disc_edge_spread

THROW_M, FOCAL_LENGTH_MM, F_NUMBER, MM_PER_PIXEL = 2.0, 85.0, 4.0, 0.4


@pytest.fixture
def photographs(tmp_path):
    """Three photographs of an edge behind a lens without dispersion, in closed form: discs of D·|Z/z_f − 1|."""
    from PIL import Image

    from projector.photometry.colour import encode_srgb

    found = []
    focal_length, random = 1e-3 * FOCAL_LENGTH_MM, np.random.default_rng(9)
    rows, columns = np.indices((140, 180))
    angle = np.radians(6.0)
    distance = ((columns - 89.5) * np.cos(angle) - (rows - 69.5) * np.sin(angle)) * MM_PER_PIXEL
    for offset in (-1.5, 0.4, 1.5):
        tube = conjugate_distance(focal_length, THROW_M) + 1e-3 * offset
        blur_mm = 1e3 * focal_length / F_NUMBER * abs(THROW_M * (1.0 / focal_length - 1.0 / tube) - 1.0)
        rise = np.vectorize(lambda place, blur_mm=blur_mm: disc_edge_spread(place / blur_mm))(distance)
        linear = 0.01 + 0.6 * rise + random.normal(0.0, 0.004, rise.shape)
        # A lamp and a white balance that do not quite agree: three channels that are not the same.
        coded = encode_srgb(np.clip(linear[..., None] * (1.0, 0.95, 0.85), 0, 1))
        path = tmp_path / f"offset{offset:+g}.png"
        Image.fromarray(np.round(coded * 255).astype(np.uint8)).save(path)
        found.append(str(path))
    return found


def run(*arguments):
    return CliRunner().invoke(app, ["measure", *map(str, arguments)])


def fitted(photographs, *more):
    return run(
        *photographs,
        "--mm-per-pixel",
        MM_PER_PIXEL,
        "--offsets-mm",
        "-1.5,0.4,1.5",
        "--throw-m",
        THROW_M,
        "--focal-length-mm",
        FOCAL_LENGTH_MM,
        *more,
    )


def test_the_lens_of_a_data_sheet_comes_back_and_its_file_serves_a_scene(photographs, tmp_path):
    answer = fitted(
        photographs, "-o", tmp_path / "shelf-lens", "--title", "Lens from the shelf", "--model", "single", "--json"
    )
    assert answer.exit_code == 0, answer.output
    found = json.loads(answer.stdout)["result"]["lens"]
    assert abs(found["pupil_mm"]["value"] - FOCAL_LENGTH_MM / F_NUMBER) <= found["pupil_mm"]["uncertainty"] < 1.0
    assert (tmp_path / "shelf-lens.png").stat().st_size > 20_000
    written = tomllib.loads((tmp_path / "shelf-lens.toml").read_text())
    assert written["title"] == "Lens from the shelf"
    assert written["lens"]["f_number"] == pytest.approx(F_NUMBER, rel=0.04)
    assert "dispersion" not in written["lens"]
    assert written["measured"]["pupil_mm"][1] > 0
    other = CliRunner().invoke(
        app,
        [
            "sharpness",
            "01-square-wall",
            "--with",
            f'projector.window.lens.file="{tmp_path / "shelf-lens.toml"}"',
            "--json",
        ],
    )
    assert other.exit_code == 0, other.output


@pytest.mark.slow
def test_a_lens_that_was_measured_before_is_measured_again(photographs, tmp_path):
    for _ in range(2):
        answer = fitted(photographs, "-o", tmp_path / "again")
        assert answer.exit_code == 0, answer.output


def test_edges_alone_are_told_where_no_lens_is_asked_for(photographs):
    answer = run(photographs[0], "--scale", "10,20,110,20,40", "--json")
    assert answer.exit_code == 0, answer.output
    answer_read = json.loads(answer.stdout)
    assert answer_read["result"]["mm_per_pixel"] == pytest.approx(0.4)
    assert answer_read["result"]["lens"] is None
    assert answer_read["result"]["photographs"][0]["width_green_mm"] > 1.0
    assert "--throw-m, --focal-length-mm" in answer_read["warnings"][0]


def test_a_lens_file_of_somebody_is_not_replaced(photographs, tmp_path):
    kept = tmp_path / "mine.toml"
    kept.write_text("title = 'mine'\n")
    answer = fitted(photographs, "-o", tmp_path / "mine")
    assert answer.exit_code == 1
    assert "is there already" in answer.output
    assert kept.read_text() == "title = 'mine'\n"


def test_every_photograph_that_cannot_be_read_is_named_at_once(photographs, tmp_path):
    from PIL import Image

    flat, notes = tmp_path / "wall.png", tmp_path / "notes.txt"
    Image.fromarray(np.full((100, 100, 3), 120, np.uint8)).save(flat)
    notes.write_text("edges, Tuesday")
    answer = run(flat, notes, photographs[0], "--mm-per-pixel", 0.4, "--json")
    assert answer.exit_code == 1
    errors = json.loads(answer.stdout)["errors"]
    assert [error["file"].rsplit("/", 1)[-1] for error in errors] == ["wall.png", "notes.txt"]
    assert "no edge" in errors[0]["found"]
    assert "Traceback" not in answer.output


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([], "--mm-per-pixel"),
        (["--mm-per-pixel", "0.4", "--scale", "0,0,1,1,5"], "one of the two"),
        (["--scale", "0,0,1"], "is not 5 numbers"),
        (["--mm-per-pixel", "0.4", "--offsets-mm", "0,1"], "is not 1 numbers"),
        (["--mm-per-pixel", "0.4", "--source", "candle"], "is not a lamp"),
        (["--mm-per-pixel", "0.4", "--source", "tungsten", "--source-k", "5600"], "no filament gives 5600 K"),
        (["--mm-per-pixel", "0.4", "--source", "led", "--source-k", "1500"], "outside 2000 to 20000 K"),
    ],
)
def test_a_wrong_command_line_is_explained(ask, photographs, arguments, words):
    assert words in ask("measure", photographs[0], *arguments, code=2)


def test_wrong_values_are_the_users_to_mend(photographs):
    for arguments, words in (
        (["--mm-per-pixel", "-1"], "mm a pixel"),
        (["--mm-per-pixel", "0.4", "--coding", "log"], "is not a coding"),
        (["--scale", "1,1,2,2,5"], "pixels and 5 mm apart"),
    ):
        answer = run(photographs[0], *arguments)
        assert answer.exit_code == 1, answer.output
        assert words in answer.output


def greys(photographs, tmp_path):
    from PIL import Image

    paths = [tmp_path / f"grey{index}.png" for index in range(len(photographs))]
    for photograph, path in zip(photographs, paths, strict=True):
        Image.open(photograph).convert("L").save(path)
    return paths


def test_grey_photographs_are_read_and_fitted_by_nobody(photographs, tmp_path):
    found = run(*greys(photographs, tmp_path), "--mm-per-pixel", MM_PER_PIXEL, "--json")
    assert found.exit_code == 0
    answer_read = json.loads(found.stdout)
    assert answer_read["result"]["photographs"][0]["grey"] is True
    assert answer_read["result"]["photographs"][0]["width_mm"] > 1.0
    assert "shift_red_mm" not in answer_read["result"]["photographs"][0]
    assert any("nothing about colour" in warning for warning in answer_read["warnings"])
    refused = fitted(greys(photographs, tmp_path), "-o", tmp_path / "lens")
    assert refused.exit_code == 1
    assert "grey photographs (all of them)" in refused.output and "in colour" in refused.output
    assert not (tmp_path / "lens.toml").exists()


def test_without_axial_colour_it_is_said_that_the_way_of_the_offsets_cannot_be_seen(photographs):
    """The three offsets as they were, counted from another place: the sharp one is then 0.3 mm from where it is said to
    be.
    """
    answer = run(
        *photographs,
        "--mm-per-pixel",
        MM_PER_PIXEL,
        "--offsets-mm=-1.2,0.7,1.8",
        "--throw-m",
        THROW_M,
        "--focal-length-mm",
        FOCAL_LENGTH_MM,
        "--model",
        "single",
    )
    assert answer.exit_code == 0, answer.output
    assert "which way the offsets run" in answer.stderr
    assert "sharp at -0.30 mm and not at +0.30 mm" in answer.stderr


def test_how_far_it_is_is_said_without_a_terminal(photographs):
    answer = fitted(photographs, "--json")
    assert answer.exit_code == 0
    assert "reading the photographs: 1 of 3" in answer.stderr
    assert "fitting the lens: 1 of 8" in answer.stderr
    json.loads(answer.stdout)


def test_all_16_bits_of_a_png_give_what_a_tiff_gives(photographs, tmp_path):
    """A dark edge in linear coding, of which 8 bits would hold some ten steps."""
    import struct
    import zlib

    import tifffile
    from PIL import Image

    from projector.photometry.colour import decode_srgb

    linear = decode_srgb(np.asarray(Image.open(photographs[0]), float) / 255.0)
    deep = np.round(65535 * (0.002 + 0.05 * linear)).astype(">u2")
    tifffile.imwrite(tmp_path / "deep.tif", deep.astype(np.uint16), photometric="rgb")

    def chunk(kind, data):
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    rows = b"".join(b"\0" + row.tobytes() for row in deep)
    header = struct.pack(">IIBBBBB", deep.shape[1], deep.shape[0], 16, 2, 0, 0, 0)
    content = b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(rows)) + chunk(b"IEND", b"")
    (tmp_path / "deep.png").write_bytes(content)
    answers = []
    for ending in ("tif", "png"):
        answer = run(tmp_path / f"deep.{ending}", "--mm-per-pixel", MM_PER_PIXEL, "--coding", "linear", "--json")
        assert answer.exit_code == 0, answer.output
        row = json.loads(answer.stdout)["result"]["photographs"][0]
        answers.append([row[f"width_{channel}_mm"] for channel in ("red", "green", "blue")])
    assert answers[0] == answers[1]
