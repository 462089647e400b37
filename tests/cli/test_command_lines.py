"""Odd command lines over all commands: each is answered by its exit code and in words, never by a fault of ours."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys

import pytest

from projector.cli import app
from projector.cli.console import plain_letters
from projector.cli.running import run_command_line
from tests.conftest import mostly_slow

SIZE = ["throw", "--focal-length-mm", "85", "--lit-width-mm", "28", "--throw-m", "2.5"]
WRITING = {
    "preview": ["preview", "01-square-wall", "--size", "32x24", "--quality", "quick"],
    "map": ["map", "01-square-wall", "--across", "16"],
    "schema": ["schema"],
    "throw": SIZE,
    "straighten": ["straighten", "06-oblique-wall"],
    "sharpness": ["sharpness", "01-square-wall"],
    "fringe": ["fringe", "01-square-wall"],
    "sheet": ["sheet", "01-square-wall", "--rows=camera.iso=100,200", "--columns=camera.f_number=4,8", "--size=32x24"],
    "place": ["place", "01-square-wall", "--width-m", "1", "--edge-mm", "5"],
    "measure": ["measure", "edge.png", "--mm-per-pixel", "0.25"],
}  # fmt: skip
LONG = "a" * 300


@pytest.fixture
def console(tmp_path, monkeypatch):
    """Run a command line in an empty folder, in this process, on a console of some encoding: exit code, stdout and
    stderr as bytes.
    """
    monkeypatch.chdir(tmp_path)

    def on_console(encoding, *arguments):
        with monkeypatch.context() as patch:
            streams = [io.TextIOWrapper(io.BytesIO(), encoding=encoding) for _ in range(2)]
            patch.setattr(sys, "stdout", streams[0])
            patch.setattr(sys, "stderr", streams[1])
            code = run_command_line(app, [str(argument) for argument in arguments])
        return code, *(stream.buffer.getvalue() for stream in streams)

    return on_console


@pytest.fixture
def run(console):
    """The same on a console that has every letter, and no fault of ours: exit code, stdout and stderr as text."""

    def run(*arguments):
        code, *said = console("utf-8", *arguments)
        out, err = (text.decode(errors="surrogateescape") for text in said)
        assert "fault of the program" not in err and "Traceback" not in err, err
        return code, out, err

    return run


def one_object(text: str) -> dict:
    """The one JSON object that a text is."""
    assert text.count("\n") == 1 and text.endswith("\n")
    return json.loads(text)


@pytest.mark.parametrize(
    "out",
    mostly_slow(
        [".", LONG, "there", "file/inside", "missing/inside", "..", "/", "folder/", "", "/proc/self/inside"], quick=5
    ),
)
@pytest.mark.parametrize("command", WRITING)
def test_a_place_that_cannot_be_written_to_is_said_before_the_work(run, tmp_path, command, out):
    for ending in ("", ".png", ".npz", ".pdf", ".toml"):
        (tmp_path / f"there{ending}").mkdir()
    (tmp_path / "file").write_text("")
    before = sorted(tmp_path.rglob("*"))
    code, said, _ = run(*WRITING[command], "-o", out, "--json")
    errors = one_object(said)["errors"]
    assert code == 1 and errors
    words = " ".join(f"{error['found']} {error['try']}" for error in errors)
    assert any(reason in words for reason in ("folder", "too long", "nothing was typed", "cannot be written"))
    assert sorted(tmp_path.rglob("*")) == before


def test_a_file_that_may_only_be_read_stays_as_it_is(run, tmp_path, monkeypatch):
    """Whoever may do everything may write here too, so the question is answered for them."""
    (tmp_path / "wall.json").write_text("{}")
    monkeypatch.setattr(os, "access", lambda path, mode: False)
    code, _, said = run("schema", "-o", "wall.json", "--overwrite")
    assert code == 1 and "this may not be written to" in said


def test_a_disk_that_is_full_is_a_sentence_and_leaves_nothing_half_written(run, tmp_path, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    code, _, said = run("schema", "-o", "schema.json")
    assert code == 1 and "this cannot be written: no space left on device" in said
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("arguments", "command", "key", "words"),
    [
        (["dance"], None, None, 'there is no command "dance"'),
        ([], None, "--json", "there is no such option"),
        (["preview"], "preview", "SCENE", "this is missing"),
        (["preview", "01-square-wall", "--sise", "9"], "preview", "--sise", "there is no such option"),
        (["preview", "01-square-wall", "--size", "big"], "preview", "--size", '"big" is not a size'),
        (["preview", "01-square-wall", "--size", "0x0"], "preview", "--size", "0 × 0 pixels"),
        (["preview", "01-square-wall", "--quality", "best"], "preview", "--quality", '"best" is not a quality'),
        (["preview", "01-square-wall", "extra"], "preview", None, "nothing takes extra"),
        (["map", "01-square-wall", "--across", "2"], "map", "--across", "2"),
        (["map", "01-square-wall", "--across", "1e3"], "map", "--across", "1e3"),
        (["map", "01-square-wall", "--seed", "9" * 40], "map", "--seed", "9" * 40),
        (["map", "01-square-wall", "--threads", "0"], "map", "--threads", "0"),
        (["throw", "--throw-m", "far"], "throw", "--throw-m", '"far" is not a number'),
        (["throw", "--throw-m", "1_0"], "throw", "--throw-m", '"1_0" is not a number'),
        (["throw", "--throw-m", "1:2:1"], "throw", "--throw-m", "a range is first:last:count"),
        (["timing", "--shutter-s", "1/0"], "timing", "--shutter-s", '"1/0" is not a number'),
        (["sharpness", "01-square-wall", "-o"], "sharpness", "--out", "--json in the place of a name"),
        (["scenes", "--json=3"], "scenes", "--json", "it takes no value"),
        (
            [
                "sheet",
                "01-square-wall",
                "--size",
                "1x1",
                "--rows",
                "camera.iso=1,2",
                "--columns",
                "camera.f_number=4,8",
            ],
            "sheet",
            "--size",
            "1 × 1 pixels",
        ),
        (
            ["place", "01-square-wall", "--width-m", "1", "--edge-mm", "5", "--room", "large"],
            "place",
            "--room",
            '"large" is not a room',
        ),
        (
            ["measure", "a.png", "--mm-per-pixel", "1", "--offsets-mm", "1,nan"],
            "measure",
            "--offsets-mm",
            '"1,nan" is not 1 numbers',
        ),
        (["measure", "a.png", "--mm-per-pixel", "1", "--box", "1,2,3"], "measure", "--box", '"1,2,3" is not 4 numbers'),
        (["measure", "a.png", "--mm-per-pixel", "1", "--source-k", "9"], "measure", "--source-k", "9"),
        (["measure", "a.png"], "measure", "--mm-per-pixel", "one of the two"),
    ],
)
def test_a_wrong_command_line_with_json_prints_one_object_too(run, tmp_path, arguments, command, key, words):
    code, said, for_people = run(*arguments, "--json")
    answer = one_object(said)
    (error,) = answer["errors"]
    assert code == 2 and answer["command"] == command and set(answer) == {"command", "version", "errors"}
    assert set(error) == {"file", "line", "key", "found", "allowed", "try"}
    assert error["key"] == key and words in error["found"]
    assert words in for_people and "    try: " in for_people
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "command",
    [
        "preview",
        "map",
        "check",
        "scenes",
        "stencils",
        "gear",
        "schema",
        "throw",
        "straighten",
        "sharpness",
        "fringe",
        "contrast",
        "filters",
        "timing",
        "measure",
        "sheet",
        "place",
        "verify",
    ],
)
@pytest.mark.parametrize(
    "odd",
    [
        ["--no-such-option"],
        ["--json=yes"],
        ["\udcff\udcfe"],
        ["é", "×", "Δ"],
        ["-o"],
        ["--", "-o", "--json"],
        ["--with"],
        ["-w", "="],
    ],
)
def test_whatever_is_typed_is_answered_in_words_and_by_1_or_2(run, tmp_path, command, odd):
    code, said, for_people = run(command, *odd)
    assert code in (1, 2) and said == "" and for_people.strip()
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "arguments",
    [
        ["check", ""], ["check", "."], ["check", "/"], ["check", LONG], ["check", "/dev/null"], ["check", "\udcff"],
        ["check", "01-square-wall", "-w", ""], ["check", "01-square-wall", "-w", "camera.iso=" + "9" * 400],
        ["check", "01-square-wall", "-w", "camera.iso=1e999"],
        ["check", "01-square-wall", "-w", f"projector.window.stencil.file={LONG}"],
        ["check", "01-square-wall", "-w", "camera.iso=1:2:1"], ["check", "01-square-wall", "-w", "camera.iso=1:2:200"],
        ["map", "01-square-wall", "-s", ""], ["map", "01-square-wall", "-s", "wall.top"],
        ["map", "01-square-wall", "-s", LONG], ["sharpness", "01-square-wall", "--at", ""],
        ["sharpness", "01-square-wall", "--at", "1,2,nan"], ["sharpness", "01-square-wall", "--at", LONG],
        ["sharpness", "01-square-wall", "--projector", ""], ["fringe", "01-square-wall", "--lens", ""],
        ["fringe", "01-square-wall", "--lens", LONG], ["fringe", "01-square-wall", "--lens", "."],
        ["throw", "--focal-length-mm", "1e400", "--throw-m", "2"],
        ["throw", "--focal-length-mm", "85", "--throw-m", "-0.0"], ["contrast", "--open-share", "inf"],
        ["contrast", "--open-share", "2"], ["contrast", "--open-share", "0.3", "--ambient-stops-under", "nan"],
        ["timing", "--shutter-s", "inf", "--lamp-hz", "100"],
        ["timing", "--speed-m-per-s", "1e-400", "--shutter-s", "1"], ["measure", "missing.png", "--mm-per-pixel", "1"],
        ["measure", ".", "--mm-per-pixel", "1"], ["measure", LONG, "--mm-per-pixel", "1"],
        ["measure", "a.png", "--mm-per-pixel", "1", "--box", "1e99,0,1,1"],
        ["sheet", "01-square-wall", "--rows", "camera.iso=1:2:0", "--columns", "camera.f_number=4"],
        ["sheet", "01-square-wall", "--rows", "=", "--columns", "="],
        ["sheet", "01-square-wall", "--rows", "camera.iso=1:2:999", "--columns", "camera.f_number=1:2:999"],
        ["place", "01-square-wall", "--width-m", "1", "--edge-mm", "5", "--room", "nanxnanxnan"],
        ["place", "01-square-wall", "--width-m", "inf", "--edge-mm", "5"],
        ["place", "01-square-wall", "--width-m", "1", "--edge-mm", "5", "--lens", ""],
    ],
    ids=lambda arguments: " ".join(arguments)[:60].encode("ascii", "replace").decode(),
)  # fmt: skip
def test_odd_values_are_theirs_to_put_right(run, tmp_path, arguments):
    code, said, _ = run(*arguments, "--json")
    assert code in (1, 2) and one_object(said)["errors"]
    assert list(tmp_path.iterdir()) == []


def test_a_console_without_a_sign_gets_plain_letters(console):
    code, said, _ = console("ascii", *SIZE)
    assert (
        code == 0
        and b"28 mm through 85.00 mm at 2.500 m: 0.796 x 0.796 m (x 28.41)" in said
        and b"beam 18.1 deg full" in said
    )
    # This one has × and °, but no Δ.
    code, said, _ = console("cp1252", *SIZE)
    assert code == 0 and "0.796 × 0.796 m".encode("cp1252") in said
    assert plain_letters("ΔE*ab 4 µm ± 1 lx·s, −½ stop “é” 日") == 'delta E*ab 4 um +/- 1 lx*s, -.5 stop "e" ?'


@pytest.mark.parametrize(
    "arguments",
    [
        ["--help"],
        ["map", "--help"],
        ["scenes"],
        ["stencils"],
        ["check", "é×Δ\udcff"],
        ["throw", "--throw-m", "×"],
        ["dance", "Δ"],
        ["schema"],
    ],
)
def test_no_console_makes_a_command_fail(console, arguments):
    code, said, for_people = console("ascii", *arguments)
    assert code in (0, 1, 2) and b"fault of the program" not in for_people and said + for_people


def test_json_on_a_plain_console_keeps_every_letter(console):
    code, said, _ = console("ascii", "check", "fenêtre×", "--json")
    assert code == 1 and json.loads(said)["errors"][0]["file"] == "fenêtre×"


COMMAND = [sys.executable, "-c", "from projector.cli import main; main()"]


def test_an_ascii_console_of_the_systems_own_is_served_too(tmp_path):
    run = subprocess.run(
        [*COMMAND, *SIZE],
        cwd=tmp_path,
        capture_output=True,
        env={**os.environ, "PYTHONIOENCODING": "ascii"},
        timeout=120,
    )
    assert run.returncode == 0 and b"0.796 x 0.796 m" in run.stdout and run.stderr == b""


@pytest.mark.parametrize("arguments", [["scenes"], ["--help"], ["schema"], ["scenes", "--json"]])
def test_a_closed_pipe_is_quiet(tmp_path, arguments):
    """As `projector scenes | head -0`: nobody reads."""
    read, write = os.pipe()
    os.close(read)
    with os.fdopen(write, "wb") as closed:
        run = subprocess.run([*COMMAND, *arguments], cwd=tmp_path, stdout=closed, stderr=subprocess.PIPE, timeout=120)
    assert run.returncode == 0 and run.stderr == b""


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="a device that is always full")
def test_an_answer_that_finds_no_room_is_a_sentence(tmp_path):
    with open("/dev/full", "wb") as full:
        run = subprocess.run([*COMMAND, "scenes"], cwd=tmp_path, stdout=full, stderr=subprocess.PIPE, timeout=120)
    assert (
        run.returncode == 1
        and run.stderr.decode().startswith("the answer cannot be printed: ")
        and b"Traceback" not in run.stderr
    )


def test_work_that_is_stopped_says_what_is_left_of_it(run, monkeypatch):
    """Only a sheet keeps what was finished."""
    from projector.rendering.workers import Stopped

    def stop(*_, **__):
        raise Stopped

    monkeypatch.setattr("projector.rendering.preview.preview", stop)
    monkeypatch.setattr("projector.studies.choosing.comparison.comparison", stop)
    assert run(*WRITING["preview"])[::2] == (130, "stopped; nothing was written.\n")
    assert run(*WRITING["sheet"])[::2] == (
        130,
        "stopped; finished pictures are kept, and the same command goes on from them.\n",
    )
