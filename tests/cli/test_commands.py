"""The command line as its users meet it: files, words, JSON, exit codes, and nothing lost."""

from __future__ import annotations

import json
import os
import subprocess
import sys

import numpy as np
import pytest
import tifffile
from PIL import Image

from projector.files.finding import shipped_folder
from tests.cli.conftest import answered

SMALL = ["--size", "96x72", "--quality", "quick"]


def in_a_process_of_its_own(*arguments, folder):
    """Run the command in a folder as a shell would; returns the finished process."""
    command = [sys.executable, "-c", "from projector.cli import main; main()", *map(str, arguments)]
    return subprocess.run(
        command, cwd=folder, capture_output=True, text=True, env={**os.environ, "COLUMNS": "200"}, timeout=600
    )


@pytest.fixture
def scene_file(tmp_path):
    """A copy of a shipped scene in an empty folder."""
    path = tmp_path / "mine.toml"
    path.write_text((shipped_folder("scene") / "01-square-wall.toml").read_text())
    return path


def only_json(run):
    """The one JSON object on stdout."""
    assert run.stdout.count("\n") == 1
    return json.loads(run.stdout)


def test_preview_writes_a_picture_and_says_the_numbers_that_matter(scene_file, tmp_path):
    run = in_a_process_of_its_own("preview", "mine.toml", *SMALL, folder=tmp_path)
    assert run.returncode == 0, run.stderr
    assert Image.open(tmp_path / "mine.png").size == (96, 72)
    for words in (
        "throw 2.500 m",
        "pattern 1.023 × 1.023 m",
        "beam 25.6° full",
        "sharp at 2.500 m; blur at wall, 2.500 m: 0.00 mm",
        "camera: its own blur at wall",
        "wrote mine.png",
    ):
        assert words in run.stdout


def test_preview_answers_in_json_with_units_in_the_keys(scene_file, tmp_path):
    run = answered("preview", "mine.toml", *SMALL, "--json", "-o", "out", folder=tmp_path)
    answer = only_json(run)
    assert set(answer) == {"command", "version", "result", "files", "warnings"}
    assert answer["files"] == ["out.png"]
    # W = G·(D − f)/f by the thin-lens law: 36 mm · (2.5 − 0.085)/0.085.
    assert answer["result"]["projectors"][0]["pattern_width_m"] == pytest.approx(
        36e-3 * (2.5 - 0.085) / 0.085, rel=1e-6
    )


def test_map_writes_lossless_files_with_units_and_extent_and_a_figure(scene_file, tmp_path):
    run = answered("map", "mine.toml", "--surface", "wall", "--across", 96, "-o", "light", folder=tmp_path)
    assert run.returncode == 0, run.stderr
    with np.load(tmp_path / "light.npz") as kept:
        assert kept["extent_m"].tolist() == [-1.5, 1.5, -1.3, 1.3]
        light = kept["illuminance_lx_s"]
        assert light.shape == (83, 96) and light.dtype == np.float32
    with tifffile.TiffFile(tmp_path / "light.tif") as file:
        about = json.loads(file.pages[0].description)
        planes = file.asarray()
    assert planes.dtype == np.float32
    assert np.array_equal(planes[about["planes"].index("illuminance_lx_s")], light)
    assert Image.open(tmp_path / "light.png").size[0] > 600


def test_a_map_without_a_reading_is_in_stops_and_says_how_to_get_lux(scene_file, tmp_path):
    text = scene_file.read_text().replace("reading = { f_number = 8, iso = 400, distance_m = 2.5 }", "")
    scene_file.write_text(text)
    run = answered("map", "mine.toml", "--across", 64, "--json", folder=tmp_path)
    answer = only_json(run)
    assert "give each a reading to get lux" in answer["warnings"][0]
    with np.load(tmp_path / "mine-map.npz") as kept:
        assert "stops" in kept and not any("lx" in name for name in kept)


def test_check_says_everything_at_once_with_lines(scene_file, tmp_path):
    text = (
        scene_file.read_text()
        .replace("iso = 400\n\n", "isso = 400\n\n")
        .replace("focal_length_mm = 75", "focal_length_mm = -75")
    )
    scene_file.write_text(text.replace('shape = "flat"', 'shape = "plane"'))
    run = in_a_process_of_its_own("check", "mine.toml", "--json", folder=tmp_path)
    errors = only_json(run)["errors"]
    assert run.returncode == 1
    assert {error["key"] for error in errors} == {"camera.isso", "camera.focal_length_mm", "surface.wall.shape"}
    assert all(set(error) == {"file", "line", "key", "found", "allowed", "try"} and error["line"] for error in errors)
    lines = text.splitlines()
    for error in errors:
        assert error["key"].rsplit(".", 1)[1] in lines[error["line"] - 1]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["preview", "missing.toml"], "there is no such scene file"),
        (["preview", "mine.toml", "--with", "projector.windw.roll_deg=4"], "did you mean window?"),
        (["preview", "mine.toml", "--with", "nonsense"], "is not a change"),
        (["map", "mine.toml", "--surface", "ceiling"], 'no surface "ceiling"'),
        (["preview", "mine.toml", "-o", "nowhere/out"], "does not exist"),
        (["preview", "mine.toml", "--with", "projector.window.stencil.file=windo"], "did you mean window?"),
        (["preview", "mine.toml", "--with", "projector.window.focus.distance_m=0.05"], "nearest is"),
        (["preview", "mine.toml", "--with", "projector.window.output.lumens=400"], "two statements of power"),
    ],
)
def test_wrong_input_gets_plain_words_and_exit_code_1(scene_file, tmp_path, arguments, words):
    run = answered(*arguments, folder=tmp_path)
    assert run.returncode == 1
    assert words in run.stderr
    assert "Traceback" not in run.stderr
    assert sorted(path.name for path in tmp_path.iterdir()) == ["mine.toml"]


@pytest.mark.parametrize(
    "arguments",
    [
        ["preview"],
        ["preview", "mine.toml", "--size", "big"],
        ["preview", "mine.toml", "--quality", "best"],
        ["dance"],
        ["map", "mine.toml", "--across", "2"],
    ],
)
def test_a_wrong_command_line_is_exit_code_2(scene_file, tmp_path, arguments):
    run = answered(*arguments, folder=tmp_path)
    assert run.returncode == 2
    assert "Traceback" not in run.stderr


@pytest.mark.slow
def test_a_process_of_its_own_says_and_returns_the_same(scene_file, tmp_path):
    """What is asked in one process everywhere else is what a shell gets."""
    for arguments in (["scenes"], ["check", "mine.toml"], ["preview", "missing.toml"], ["dance"], ["dance", "--json"]):
        alone, here = in_a_process_of_its_own(*arguments, folder=tmp_path), answered(*arguments, folder=tmp_path)
        assert (alone.returncode, alone.stdout, alone.stderr) == (here.returncode, here.stdout, here.stderr)


def test_somebody_elses_file_is_not_replaced_unless_asked(scene_file, tmp_path):
    target = tmp_path / "mine.png"
    target.write_bytes(b"a photograph")
    run = answered("preview", "mine.toml", *SMALL, folder=tmp_path)
    assert run.returncode == 1 and "--overwrite" in run.stderr
    assert target.read_bytes() == b"a photograph"
    assert answered("preview", "mine.toml", *SMALL, "--overwrite", folder=tmp_path).returncode == 0
    # Made from this scene now: replaced without asking, even after the scene was edited.
    scene_file.write_text(scene_file.read_text().replace("iso = 400\n\n", "iso = 200\n\n"))
    assert answered("preview", "mine.toml", *SMALL, folder=tmp_path).returncode == 0


def test_scenes_and_stencils_are_listed_with_a_line_each(tmp_path):
    for command, count in (("scenes", 6), ("stencils", 12)):
        run = answered(command, folder=tmp_path)
        assert run.returncode == 0
        assert len(run.stdout.splitlines()) >= count
        assert len(only_json(answered(command, "--json", folder=tmp_path))["result"][command]) >= count


def test_the_schema_accepts_the_shipped_scenes_keys(tmp_path):
    run = answered("schema", "-o", "schema.json", folder=tmp_path)
    assert run.returncode == 0
    schema = json.loads((tmp_path / "schema.json").read_text())
    assert schema["properties"].keys() >= {"format", "camera", "projector", "surface", "figure", "ambient"}
    assert schema["$defs"]["Lens"]["properties"]["focal_length_mm"]["description"].endswith("mm.")
    assert schema["additionalProperties"] is False


def test_our_own_fault_is_exit_code_3_and_says_how_to_report_it(scene_file, tmp_path):
    script = (
        "import projector.rendering.preview as p\n"
        "def broken(*a, **k): raise RuntimeError('no such luck')\n"
        "p.preview = broken\n"
        "from projector.cli import main; main()\n"
    )
    run = subprocess.run(
        [sys.executable, "-c", script, "preview", "mine.toml"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        env={**os.environ, "TMPDIR": str(tmp_path)},
        timeout=300,
    )
    assert run.returncode == 3
    assert "please report it" in run.stderr and "Traceback" not in run.stderr
    (report,) = tmp_path.glob("projector-fault-*.txt")
    assert str(report) in run.stderr and "no such luck" in report.read_text()


def test_help_needs_no_heavy_library(tmp_path):
    script = (
        "import sys; sys.argv = ['projector', '--help']\nfrom projector.cli import main\ntry: main()\nexcept"
        " SystemExit: pass\nprint([name for name in ('numpy', 'numba', 'trimesh', 'matplotlib', 'scipy', 'pydantic') if"
        " name in sys.modules])"
    )
    run = subprocess.run([sys.executable, "-c", script], cwd=tmp_path, capture_output=True, text=True, timeout=60)
    assert run.stdout.splitlines()[-1] == "[]"


def test_importing_the_package_needs_no_heavy_library(tmp_path):
    script = (
        "import sys, projector, projector.rendering.preview\nprint([name for name in ('trimesh', 'matplotlib') if name"
        " in sys.modules])"
    )
    run = subprocess.run([sys.executable, "-c", script], cwd=tmp_path, capture_output=True, text=True, timeout=120)
    assert run.stdout.splitlines()[-1] == "[]"


def test_a_scheduler_that_is_not_there_is_one_line_and_nothing_is_written(tmp_path):
    arguments = [
        "sheet",
        "01-square-wall",
        "--rows",
        "projector.window.focus.offset_mm=0,1",
        "--columns",
        "camera.iso=100,200",
        "--size",
        "32x24",
        "-o",
        "wall",
    ]
    done = answered(*arguments, "--scheduler", "somewhere", "--json", folder=tmp_path)
    assert done.returncode == 1
    (error,) = json.loads(done.stdout)["errors"]
    assert error["key"] == "--scheduler" and "is not the address of a scheduler" in error["found"]
    assert not (tmp_path / "wall.png").exists()


def test_a_sheet_of_ten_thousand_pictures_is_one_line(tmp_path):
    values = ",".join(str(100 + step) for step in range(100))
    done = answered(
        "sheet",
        "01-square-wall",
        "--rows",
        f"camera.iso={values}",
        "--columns",
        f"camera.white_balance_k={','.join(str(4000 + step) for step in range(100))}",
        "--json",
        folder=tmp_path,
    )
    assert done.returncode == 1
    (error,) = json.loads(done.stdout)["errors"]
    assert "10000 pictures" in error["found"]
