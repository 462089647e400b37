"""The words of the command line: options by the names that were typed, nothing left out in silence, errors that say
what to try.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.conftest import answered


def projector(*arguments, folder):
    return answered(*arguments, folder=folder, columns=300)


def result(run):
    assert run.returncode == 0, run.stderr
    return json.loads(run.stdout)["result"]


LENS_AND_THROW = ["--focal-length-mm", 85, "--throw-m", 2]


@pytest.mark.parametrize(
    ("arguments", "option"),
    [
        (["throw", "01-square-wall", "-o", "thr"], "--out"),
        (["throw", *LENS_AND_THROW, "-o", "thr"], "--out"),
        (["throw", *LENS_AND_THROW, "--width-m", 1.2], "--width-m"),
        (["throw", *LENS_AND_THROW, "--to-m", 8, "--lit-width-mm", 28], "--lit-width-mm"),
        (["throw", *LENS_AND_THROW, "--lit-width-mm", 28, "--f-number", 4], "--f-number"),
        (["throw", *LENS_AND_THROW, "--lit-width-mm", 28, "--height-m", 1], "--height-m"),
        (["throw", *LENS_AND_THROW, "--lit-width-mm", 28, "-w", "camera.iso=100"], "--with"),
        (["throw", "--beam-angle-deg", 36, *LENS_AND_THROW], "--focal-length-mm"),
        (["throw", "--beam-angle-deg", 36, "--throw-m", 2, "--width-m", 1], "--width-m"),
        (["throw", "--beam-angle-deg", 36, "-o", "thr"], "--out"),
        (["throw", "--focal-length-mm", 85, "--travel-mm", 4, "--f-number", 4], "--f-number"),
        (["sharpness", *LENS_AND_THROW, "--f-number", 1.8, "-o", "nothing"], "--out"),
        (["sharpness", *LENS_AND_THROW, "--f-number", 1.8, "--at", "sitter.left_eye"], "--at"),
        (["contrast", "--open-share", 0.3, "--projector", "window"], "--projector"),
        (["timing", "--speed-m-per-s", 1, "--flash-t01-s", 0.001, "--flash-t05-s", 0.001], "--flash-t05-s"),
        (["timing", "--speed-m-per-s", 1, "--flash-t01-s", 0.001, "--lamp-hz", 100], "--lamp-hz"),
        (["timing", "--speed-m-per-s", 1, "--flash-t01-s", 0.001, "--sync-s", 0.005], "--sync-s"),
    ],
)
def test_an_option_that_would_be_left_out_is_refused_by_its_name(tmp_path, arguments, option):
    run = projector(*arguments, folder=tmp_path)
    assert run.returncode == 1 and run.stdout == ""
    assert run.stderr.startswith(f"{option} would not be used: ") and "    try: " in run.stderr
    assert list(tmp_path.iterdir()) == []


def test_a_beam_angle_and_a_width_answer_with_the_throw(tmp_path):
    # W = 2·D·tan(θ/2), any school book: 1.2 m of a beam of 36°.
    found = result(projector("throw", "--beam-angle-deg", 36, "--width-m", 1.2, "--json", folder=tmp_path))
    assert found["throw_m"] == pytest.approx(1.84661, rel=1e-5)


def test_a_lens_that_cannot_focus_so_near_says_its_blur_beside_the_size(tmp_path):
    arguments = ["--focal-length-mm", 55, "--travel-mm", 4, "--throw-m", 0.5, "--f-number", 2]
    alone = result(projector("throw", *arguments, "--json", folder=tmp_path))
    beside = result(projector("throw", *arguments, "--lit-width-mm", 28, "--json", folder=tmp_path))
    assert alone["blur_mm"] > 0.0 and {name: beside[name] for name in alone} == alone and beside["width_m"] > 0.0


def test_a_flash_and_a_shutter_together_say_which_of_them_freezes(tmp_path):
    # Smear is speed times time: by the shorter of the two.
    short = projector(
        "timing", "--speed-m-per-s", 1, "--shutter-s", "1/200", "--flash-t01-s", "1/1000", folder=tmp_path
    )
    assert (
        "1.00 mm in the 0.001 s of the flash" in short.stdout
        and "only light other than the flash's smears over 5.00 mm" in short.stdout
    )
    long = result(
        projector(
            "timing",
            "--speed-m-per-s",
            1,
            "--shutter-s",
            "1/2000",
            "--flash-t01-s",
            "1/1000",
            "--json",
            folder=tmp_path,
        )
    )
    assert long["frozen_by"] == "shutter" and long["smear_mm"] == pytest.approx(0.5)


def test_a_shutter_beyond_sync_does_not_reassure(tmp_path):
    """1/400 s where blinds cross in 1/200 s: half of the frame (geometry of a shutter with two blinds), and no word
    that all of it is frozen.
    """
    moving = projector(
        "timing", "--speed-m-per-s", 1, "--shutter-s", "1/400", "--flash-t01-s", "1/1000", folder=tmp_path
    )
    assert "where the flash lights the frame at all" in moving.stdout
    assert "about 50 % of the frame" in moving.stdout and "an estimate" in moving.stdout
    alone = result(projector("timing", "--shutter-s", "1/400", "--sync-s", "1/320", "--json", folder=tmp_path))
    assert alone["lit_frame_share"] == pytest.approx(0.8) and "1/320 s" in alone["lit_frame_note"]
    assert "whole frame" in projector("timing", "--shutter-s", "1/400", "--sync-s", "1/500", folder=tmp_path).stdout
    assert (
        "a sync time needs a shutter"
        in projector("timing", "--speed-m-per-s", 1, "--flash-t01-s", 0.001, "--sync-s", 0.005, folder=tmp_path).stderr
    )
    noted = projector("check", "01-square-wall", "-w", "camera.shutter_s=0.001", folder=tmp_path)
    assert noted.returncode == 0 and "a flash lights about 20 % of the frame" in noted.stderr


def test_times_may_be_typed_as_a_share_of_a_second(tmp_path):
    assert result(projector("timing", "--shutter-s", "1/125", "--lamp-hz", 100, "--json", folder=tmp_path))[
        "cycles"
    ] == pytest.approx(0.8)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (
            ["throw", "--focal-length-mm", "eighty"],
            '"eighty" is not a number\n    allowed: a number in millimetres, such as 85',
        ),
        (["throw", "--throw-m", "2,5"], "write 2.5, with a point"),
        (["sharpness", "--f-number", "f/4"], "write 4 for f/4"),
        (["timing", "--shutter-s", "fast"], "such as 0.008 or 1/125"),
        (["timing", "--shutter-s", "1/0"], '"1/0" is not a number'),
    ],
)
def test_what_is_not_a_number_is_quoted_with_what_to_write(tmp_path, arguments, words):
    run = projector(*arguments, folder=tmp_path)
    assert run.returncode == 2 and words in run.stderr and "parse" not in run.stderr


@pytest.mark.parametrize(
    "arguments",
    [
        ["throw", "--focal-length-mm", 85, "--throw-m", -2],
        ["throw", "--throw-m", 2, "--lit-width-mm", 28, "--width-m", -1],
        ["throw", "--focal-length-mm", "nan", "--throw-m", 2],
        ["sharpness", "--focal-length-mm", 85, "--f-number", 2, "--throw-m", -2],
        ["timing", "--shutter-s", 0.01, "--speed-m-per-s", -1],
        ["place", "03-cabin-window", "--edge-mm", 5, "--width-m", -1],
        ["fringe", "03-cabin-window", "--tolerance-pixels", 0],
    ],
)
def test_a_number_out_of_range_names_the_option_as_typed(tmp_path, arguments):
    run = projector(*arguments, folder=tmp_path)
    name = arguments[arguments.index("nan") - 1] if "nan" in arguments else arguments[-2]
    assert run.returncode == 1 and run.stderr.startswith(f"{name}: ")
    assert "above zero" in run.stderr and f"try: {name} " in run.stderr and "_" not in run.stderr


@pytest.mark.parametrize(
    ("command", "ending", "name"), [("scenes", ".toml", "01-square-wall"), ("stencils", ".png", "window")]
)
def test_scenes_and_stencils_say_the_folder_to_copy_from(tmp_path, command, ending, name):
    folder = result(projector(command, "--json", folder=tmp_path))["folder"]
    assert (Path(folder) / f"{name}{ending}").is_file()
    assert f"They are in {folder}. Copy one" in projector(command, folder=tmp_path).stdout
    assert folder in projector(command, "--help", folder=tmp_path).stdout


@pytest.fixture
def faulty(tmp_path):
    """A scene with a wrong field, a stencil that is not there and a landmark that nothing has."""
    from projector.files.finding import shipped_folder

    text = (shipped_folder("scene") / "03-cabin-window.toml").read_text()
    start, camera, rest = text.partition("[camera]\n")
    text = (
        start
        + camera
        + "isso = 400\n"
        + rest.replace('stencil = { file = "arched-window"', 'stencil = { file = "arched-windw"').replace(
            'aim = "pilot.mouth"', 'aim = "pilot.mout"'
        )
    )
    path = tmp_path / "faulty.toml"
    path.write_text(text)
    return path


def test_check_tells_missing_stencils_and_landmarks_beside_wrong_fields(faulty, tmp_path):
    run = projector("check", faulty.name, folder=tmp_path)
    lines = faulty.read_text().splitlines()
    assert run.returncode == 1
    for word in ("isso", '"arched-windw"', '"pilot.mout"'):
        assert word in run.stderr
        number = next(index for index, line in enumerate(lines, 1) if word in line)
        assert f"faulty.toml, line {number}, " in run.stderr
    for words in (
        "did you mean iso?",
        "did you mean arched-window?",
        "did you mean pilot.mouth?",
        "things to put right.",
        "more may appear then",
    ):
        assert words in run.stderr
    assert "nothing was written" not in run.stderr
    assert "things to put right; nothing was written." in projector("preview", faulty.name, folder=tmp_path).stderr


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["check", "03-cabin-window", "-w", "chapel.f=2"], "projector.NAME.lens.f_number=2"),
        (["check", "01-square-wall", "-w", "window.lens.f_number=2"], "did you mean projector.window.lens.f_number?"),
        (["check", "01-square-wall", "-w", "projector.window.lens.f=2"], "projector.NAME.lens.f_number=2"),
        (["check", "nothere"], "`projector scenes` lists the shipped ones"),
        (["check", "cabin"], "did you mean 03-cabin-window?"),
        (["check", "01-square-wall", "-w", "projector.window.stencil.file=missing"], "look for a typing mistake"),
        (["sharpness", "03-cabin-window", "--at", "1,2"], "x,y,z in metres"),
        (["sharpness", "03-cabin-window", "--at", "elbow"], "or a point x,y,z in metres"),
        (["timing", "--shutter-s", 0.01, "--lamp-hz", 100, "--modulation", 3], "--modulation: 3\n"),
        (
            ["place", "01-square-wall", "--width-m", 1, "--edge-mm", 5, "--room", "1x1x1"],
            "outside the room of 1 × 1 × 1 m: by 0.50 m in height",
        ),
    ],
)
def test_hints_say_what_to_do_about_it(tmp_path, arguments, words):
    run = projector(*arguments, folder=tmp_path)
    assert run.returncode == 1 and words in run.stderr and "take it out" not in run.stderr


def test_a_picture_that_is_not_meant_is_not_suggested(tmp_path):
    (tmp_path / "evening.png").write_bytes(b"a photograph")
    (tmp_path / "mine.toml").write_text("format = 1\n")
    from projector.faults import SceneError
    from projector.files.finding import find_file

    with pytest.raises(SceneError) as caught:
        find_file("missing", tmp_path, "stencil")
    assert "did you mean" not in str(caught.value)
    with pytest.raises(SceneError) as caught:
        find_file("evenig", tmp_path, "stencil")
    assert "did you mean evening.png?" in str(caught.value)


def test_a_misspelt_key_of_a_sheet_is_told_once(tmp_path):
    run = projector(
        "sheet",
        "01-square-wall",
        "--rows",
        "projector.window.fokus.offset_mm=1,2",
        "--columns",
        "camera.iso=100,200",
        folder=tmp_path,
    )
    assert run.returncode == 1 and run.stderr.count("fokus is not a key here") == 1


def test_light_that_falls_short_is_told_as_what_a_meter_reads(tmp_path):
    arguments = ["--width-m", 1.2, "--edge-mm", 5, "--f-number", 22, "--iso", 100, "--lens", "achromat", "--json"]
    found = result(projector("place", "03-cabin-window", *arguments, folder=tmp_path))
    assert (
        "a meter would read f/" in found["relaxations"][0]["words"]
        and "and f/22 at ISO " in found["relaxations"][0]["words"]
    )


def test_one_projector_is_not_several(tmp_path):
    assert "1 projector, 1 surface, no figures" in projector("check", "01-square-wall", folder=tmp_path).stdout
