"""The questions a photographer asks, put to the command line."""

from __future__ import annotations

import csv
import json

import numpy as np
import pytest
from PIL import Image

from tests.cli.conftest import answered


def projector(*arguments, folder):
    return answered(*arguments, folder=folder, columns=200)


def result(run):
    assert run.returncode == 0, run.stderr
    return json.loads(run.stdout)["result"]


@pytest.mark.parametrize(
    ("arguments", "key", "value"),
    [
        # Thin-lens law (OpenStax, University Physics 3, Thin Lenses), inputs and answers as people ask.
        (["--focal-length-mm", 171, "--lit-width-mm", 34.3, "--throw-m", 4.77], "width_m", 0.9225),
        (["--width-m", 2.70, "--lit-width-mm", 36, "--throw-m", 7.5], "focal_length_mm", 98.68),
        (
            ["--width-m", 4, "--height-m", 4, "--lit-width-mm", 24, "--lit-height-mm", 36, "--throw-m", 15],
            "focal_length_mm",
            133.8,
        ),
        (["--beam-angle-deg", 19, "--throw-m", 3], "width_m", 1.004),
        (["--beam-angle-deg", 36, "--throw-m", 3], "camera_lens_like_mm", 66.6),
        (["--focal-length-mm", 55, "--travel-mm", 4], "nearest_focus_m", 0.811),
    ],
)
def test_throw_answers_forwards_and_backwards(tmp_path, arguments, key, value):
    assert result(projector("throw", *arguments, "--json", folder=tmp_path))[key] == pytest.approx(value, rel=1e-3)


def test_throw_on_a_scene_tells_its_outline(tmp_path):
    found = result(projector("throw", "01-square-wall", "--json", folder=tmp_path))["projectors"][0]
    assert found["width_m"] == pytest.approx(found["square_width_m"], rel=1e-3)
    assert found["missed_share"] == 0.0


def test_throw_draws_a_figure(tmp_path):
    run = projector(
        "throw", "--focal-length-mm", 85, "--lit-width-mm", 28, "--throw-m", 2.5, "-o", "sizes", folder=tmp_path
    )
    assert run.returncode == 0 and Image.open(tmp_path / "sizes.png").size[0] > 800


def test_sharpness_and_fringe_answer_with_units(tmp_path):
    found = result(
        projector(
            "sharpness",
            "03-cabin-window",
            "--at",
            "pilot.left_eye",
            "--within-mm",
            5,
            "--json",
            "-o",
            "soft",
            folder=tmp_path,
        )
    )["points"][0]
    assert found["edge_across_mm"] == pytest.approx(found["measured_across_mm"], rel=0.02)
    assert (tmp_path / "soft.png").is_file()
    rows = result(
        projector(
            "fringe",
            "03-cabin-window",
            "--at",
            "pilot.left_eye",
            "--lens",
            "achromat",
            "--json",
            "-o",
            "edges",
            folder=tmp_path,
        )
    )["points"]
    assert rows[0]["width_mm"] > 5.0 * rows[1]["width_mm"] and rows[0]["cures"]
    assert (tmp_path / "edges.png").is_file()


def test_fringe_says_which_edges_show_it_and_draws_a_lens_without_one(tmp_path):
    lateral = [
        "fringe",
        "01-square-wall",
        "-w",
        "projector.window.lens.lateral_colour_mm=0.2",
        "--at",
        "0.3,1.5,0",
        "--at",
        "0,1.8,0",
    ]
    words = projector(*lateral, folder=tmp_path).stdout
    assert "shows most on upright edges, bright side" in words and "shows most on level edges, bright side" in words
    right, above = result(projector(*lateral, "--json", folder=tmp_path))["points"]
    assert (right["edge_deg"], above["edge_deg"]) == pytest.approx((0.0, 90.0), abs=0.05)
    assert (
        right["largest_delta_e"] == pytest.approx(above["largest_delta_e"], rel=0.01)
        and right["largest_delta_e"] > 20.0
    )
    without = projector("fringe", "01-square-wall", "-o", "none", folder=tmp_path)
    assert "edges of all directions alike" in without.stdout
    shown = np.asarray(Image.open(tmp_path / "none.png").convert("L")).astype(int)
    # Half of the band is black, half is white: not one white box.
    assert (shown < 8).mean() > 0.1 and (shown > 247).mean() > 0.3


def test_a_sheet_has_its_pictures_and_numbers_and_is_replaced_by_itself(tmp_path):
    arguments = [
        "sheet",
        "01-square-wall",
        "--rows",
        "projector.window.stencil.file=window,circle",
        "--columns",
        "projector.window.focus.offset_mm=0,2",
        "--size",
        "96x72",
        "-o",
        "all",
    ]
    for _ in range(2):
        run = projector(*arguments, folder=tmp_path)
        assert run.returncode == 0, run.stderr
    assert Image.open(tmp_path / "all.png").size[0] > 200
    assert (tmp_path / "all.pdf").read_bytes().startswith(b"%PDF")
    with (tmp_path / "all.csv").open() as file:
        next(file)
        assert len(list(csv.DictReader(file))) == 4
    assert len(json.loads((tmp_path / "all.json").read_text())["cells"]) == 4


def test_place_draws_the_room(tmp_path):
    run = projector(
        "place",
        "03-cabin-window",
        "--width-m",
        1.2,
        "--edge-mm",
        5,
        "--lens",
        "achromat",
        "-o",
        "where",
        "--json",
        folder=tmp_path,
    )
    assert len(result(run)["answers"]) == 1
    assert Image.open(tmp_path / "where.png").size[0] > 1000
    again = projector(
        "place", "03-cabin-window", "--width-m", 9, "--edge-mm", 5, "--lens", "achromat", "-o", "where", folder=tmp_path
    )
    assert again.returncode == 0 and "nothing fits" in again.stdout


def test_place_says_what_has_to_give(tmp_path):
    found = result(
        projector(
            "place",
            "03-cabin-window",
            "--width-m",
            3,
            "--edge-mm",
            5,
            "--room",
            "4x3x2.7",
            "--lens",
            "achromat",
            "--json",
            folder=tmp_path,
        )
    )
    assert found["answers"] == [] and found["relaxations"][0]["wish"] == "width"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["throw"], "not enough to answer from"),
        (["throw", "--focal-length-mm", 85, "--lit-width-mm", 28, "--throw-m", -2], "above zero"),
        (["throw", "01-square-wall", "--throw-m", 2], "--throw-m beside a scene"),
        (["sharpness"], "not enough to answer from"),
        (["sharpness", "--focal-length-mm", 85, "--f-number", 0, "--throw-m", 2], "above zero"),
        (["sharpness", "01-square-wall", "--f-number", 4], "--f-number beside a scene"),
        (["sharpness", "--focal-length-mm", 85, "--f-number", 2, "--throw-m", 2, "--glass", "window"], "known are"),
        (["contrast", "--open-share", 0.3, "--wanted-stops", 0], "more than 0 stops"),
        (["timing", "--shutter-s", 0.01], "not enough to answer from"),
        (["straighten", "05-two-projectors"], "--projector blinds"),
        (["straighten", "02-slit-over-the-eyes"], "a flat surface"),
        (["straighten", "01-square-wall", "-o", "askew.pdf"], "is not a PNG"),
        (["sharpness", "03-cabin-window", "--at", "pilot.left_knee"], "no landmark"),
        (["sharpness", "03-cabin-window", "--within-mm", 0], "above zero, in millimetres"),
        (["fringe", "03-cabin-window", "--tolerance-arcmin", 0], "above zero"),
        (["fringe", "03-cabin-window", "--lens", "acromat"], "did you mean achromat"),
        (["sheet", "01-square-wall", "--rows", "camera.iso=1", "--columns", "nothing"], "is not an axis"),
        (["place", "03-cabin-window", "--width-m", 1, "--edge-mm", 0], "above zero"),
    ],
)
def test_bad_wishes_get_one_clear_line(tmp_path, arguments, words):
    run = projector(*arguments, folder=tmp_path)
    assert run.returncode == 1 and words in run.stderr and "Traceback" not in run.stderr
    assert list(tmp_path.iterdir()) == []


def test_a_wanted_softness_leads_with_the_focus_that_gives_it(tmp_path):
    """From numbers and in a scene; the first line, in metres and as an offset."""
    run = projector(
        "sharpness", "--focal-length-mm", 85, "--f-number", 2, "--throw-m", 2, "--within-mm", 8, folder=tmp_path
    )
    assert run.stdout.startswith("8 mm at 2 m: focus at 1.57 or 2.75 m (stencil +1.09 or -1.07 mm")
    run = projector("sharpness", "03-cabin-window", "--within-mm", 8, folder=tmp_path)
    assert run.stdout.startswith(
        "window at pilot.right_cheek: 8 mm: focus at 2.04 or 3.48 m (offset +0.54 or -1.04 mm)"
    )
    assert (
        "focus past infinity (offset -6.82 or -9.15 mm)"
        in projector("sharpness", "08-framed-head", "--within-mm", 8, folder=tmp_path).stdout
    )
    assert (
        "no focus gives it; its sharpest"
        in projector("sharpness", "03-cabin-window", "--within-mm", 1, folder=tmp_path).stdout
    )
