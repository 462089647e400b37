"""Variants of a scene: what a file says of its changes, what it is called, and how a change is kept as a scene of its
own.
"""

from __future__ import annotations

import json

import numpy as np
import pytest
from PIL import Image

from projector.cli import app
from projector.cli.running import run_command_line
from projector.faults import SceneError
from projector.files.finding import shipped_folder
from projector.files.records import default_name, read_record
from projector.scene.reading.reader import load, load_text, with_overrides
from projector.scene.reading.saving import save_scene

SMALL = ["--size", "96x72", "--quality", "quick"]
CHANGES = ["projector.window.focus.offset_mm=1/2", "camera.f_number=8"]


@pytest.fixture
def mine(tmp_path, monkeypatch):
    """A copy of a shipped scene in the present, empty folder."""
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "mine.toml"
    path.write_text((shipped_folder("scene") / "03-cabin-window.toml").read_text(encoding="utf-8"), encoding="utf-8")
    return path


def run(capsys, *arguments):
    code = run_command_line(app, [str(argument) for argument in arguments])
    said = capsys.readouterr()
    assert code == 0, said.err
    return said.out


def with_(changes):
    return [text for change in changes for text in ("-w", change)]


def test_a_picture_and_a_map_say_their_changes_as_typed_and_are_named_by_them(mine, tmp_path, capsys):
    run(capsys, "preview", "mine.toml", *SMALL, *with_(CHANGES))
    run(capsys, "map", "mine.toml", "--across", 32, *with_(CHANGES))
    name = "mine-window.focus.offset_mm=0.5-camera.f_number=8"
    files = [tmp_path / f"{name}{ending}" for ending in (".png", "-map.npz", "-map.tif", "-map.png")]
    assert sorted(tmp_path.iterdir()) == sorted([mine, *files])
    assert all(read_record(path)["overrides"] == CHANGES and read_record(path)["scene"] == "mine" for path in files)
    run(capsys, "preview", "mine.toml", *SMALL)
    assert read_record(tmp_path / "mine.png")["overrides"] == []


def test_no_two_variants_share_a_name(mine):
    scene = load(mine)
    changes = [
        [], ["camera.iso=100"], ["camera.iso=200"], ["projector.window.lens.file=achromat"],
        ["projector.window.stencil.file=leaves"], ["projector.window.focus.offset_mm=-1"],
        ["projector.window.focus.offset_mm=1"], ["projector.window.aim=[0, 1.5, 0]"], ["title=a/b"], ["title=a_b"],
        ["title=a b?"], ["title=a b!"], [f"title={'x' * 300}"], [f"title={'x' * 299}"],
    ]  # fmt: skip
    names = [default_name(with_overrides(scene, change)) for change in changes]
    assert len(set(names)) == len(names)
    assert names[0] == "mine" and names[7] == "mine-window.aim=0,1.5,0"
    assert all(len(name.encode()) < 140 and not set(name) & set(' /\\:*?"<>|') for name in names)


def test_a_change_of_a_changed_scene_adds_to_what_was_typed(mine):
    once = load(mine, CHANGES[:1])
    assert once.overrides == tuple(CHANGES[:1]) and with_overrides(once, CHANGES[1:]).overrides == tuple(CHANGES)
    assert load(mine).overrides == () and load(mine).digest() != once.digest()


@pytest.mark.parametrize(
    "changes",
    [
        [],
        CHANGES,
        ["projector.window.lens.file=achromat", "projector.1.position_m.y=2.2", "figure.pilot.yaw_deg=-10"],
        [
            "projector.window.lens.f_number=4",
            "projector.window.source.kind=tungsten",
            "surface.backdrop.colour=[0.1, 0.2, 0.3]",
            "title=Größer",
        ],
        [
            'projector.window.gate={ shape = "rectangle", width_mm = 30, height_mm = 20 }',
            "ambient.stops_under=5",
            "projector.window.name=key",
        ],
    ],
)
def test_a_saved_variant_is_the_scene_with_its_changes(mine, tmp_path, changes):
    saved = save_scene(mine, tmp_path / "variant.toml", changes)
    assert load(saved).digest() == load(mine, changes).digest()
    text = saved.read_text(encoding="utf-8")
    assert all(
        line in text.splitlines() for line in mine.read_text(encoding="utf-8").splitlines() if line.startswith("#")
    )
    before, after = mine.read_text(encoding="utf-8").splitlines(), text.splitlines()
    assert len([line for line in after if line.strip() and line not in before]) <= len(changes) + 3


def test_preview_saves_the_variant_that_it_shows(mine, tmp_path, capsys):
    out = run(capsys, "preview", "mine.toml", *SMALL, *with_(CHANGES), "-o", "one", "--save", "variant", "--json")
    assert json.loads(out)["files"] == ["one.png", "variant.toml"]
    run(capsys, "preview", "variant.toml", *SMALL, "-o", "two")
    assert np.array_equal(np.asarray(Image.open(tmp_path / "one.png")), np.asarray(Image.open(tmp_path / "two.png")))


def test_a_variant_takes_no_other_files_place_unless_asked(mine, tmp_path, capsys):
    (tmp_path / "variant.toml").write_text("mine, too")
    before = sorted(tmp_path.iterdir())
    assert run_command_line(app, ["preview", "mine.toml", *SMALL, "--save", "variant.toml"]) == 1
    assert "--overwrite" in capsys.readouterr().err
    assert (tmp_path / "variant.toml").read_text() == "mine, too" and sorted(tmp_path.iterdir()) == before
    for goal in ("folder/", ".", "a" * 300, "missing/variant"):
        assert run_command_line(app, ["preview", "mine.toml", *SMALL, "--save", goal]) == 1
    assert sorted(tmp_path.iterdir()) == before
    run(capsys, "preview", "mine.toml", *SMALL, "--save", "variant.toml", "--overwrite")
    assert load(tmp_path / "variant.toml").digest() == load(mine).digest()


def test_a_variant_saved_elsewhere_finds_the_same_files(mine, tmp_path):
    """A bitmap beside the scene is named by its way; one that another bitmap there would take the place of, too."""
    away = tmp_path / "away"
    away.mkdir()
    Image.new("L", (8, 8), 255).save(tmp_path / "own.png")
    mine.write_text(mine.read_text(encoding="utf-8").replace('"arched-window"', '"own.png"'), encoding="utf-8")
    saved = save_scene(mine, away / "variant.toml", ["projector.window.lens.file=achromat"])
    assert load(saved).projector[0].stencil.file == "../own.png"
    Image.new("L", (8, 8), 0).save(away / "own.png")
    (away / "achromat.toml").write_text('title = "other"\n[lens]\nfocal_length_mm = 50\nf_number = 2\n')
    saved = save_scene(mine, away / "variant.toml", ["projector.window.lens.file=achromat"], overwrite=True)
    assert (
        load(saved).projector[0].stencil.file == "../own.png" and load(saved).projector[0].lens.focal_length_mm == 85.0
    )


def test_an_exchanged_lens_that_opens_less_is_saved_at_its_widest(tmp_path):
    (tmp_path / "slow.toml").write_text('title = "slow"\n[lens]\nfocal_length_mm = 85\nf_number = 5.6\n')
    text = (shipped_folder("scene") / "01-square-wall.toml").read_text(encoding="utf-8")
    (tmp_path / "mine.toml").write_text(text, encoding="utf-8")
    changes = ["projector.window.lens.file=slow"]
    saved = save_scene(tmp_path / "mine.toml", tmp_path / "variant.toml", changes)
    assert (
        load(saved).projector[0].lens.f_number
        == 5.6
        == load(tmp_path / "mine.toml", changes).projector[0].lens.f_number
    )


def test_a_wrong_change_saves_nothing(mine, tmp_path):
    with pytest.raises(SceneError, match="did you mean window"):
        save_scene(mine, tmp_path / "variant.toml", ["projector.windw.roll_deg=3"])
    (tmp_path / "away").mkdir()
    for change in ("projector=4", "surface=[1]", "projector.window.lens=5", "projector.window.stencil=[1]"):
        with pytest.raises(SceneError):
            save_scene(mine, tmp_path / "away" / "variant.toml", [change])
    (tmp_path / "away").rmdir()
    with pytest.raises(SceneError, match="iso"):
        save_scene(mine, tmp_path / "variant.toml", ["camera.iso=-3"])
    assert list(tmp_path.iterdir()) == [mine]


@pytest.mark.parametrize("axis", ["--rows", "--columns"])
def test_a_sheet_may_have_one_row_or_one_column(mine, tmp_path, capsys, axis):
    out = run(
        capsys,
        "sheet",
        "mine.toml",
        axis,
        "projector.window.focus.offset_mm=-1:1:3",
        "--size",
        "160x120",
        "-o",
        "row",
        "--json",
    )
    cells = json.loads(out)["result"]["cells"]
    assert [cell["projector.window.focus.offset_mm"] for cell in cells] == ["-1", "0", "1"] and "" not in cells[0]
    width, height = Image.open(tmp_path / "row.png").size
    assert (height > width) == (axis == "--rows")
    for name, offset in (
        (("01-column01", "-1"), ("01-column03", "1"))
        if axis == "--columns"
        else (("01-column01", "-1"), ("03-column01", "1"))
    ):
        cell = tmp_path / "row-cells" / f"row{name}.png"
        assert read_record(cell)["overrides"] == [f"projector.window.focus.offset_mm={offset}"]


def test_a_sheet_of_nothing_is_refused(mine, capsys):
    assert run_command_line(app, ["sheet", "mine.toml"]) == 1
    assert "neither rows nor columns" in capsys.readouterr().err


def test_a_scene_from_text_keeps_its_changes():
    text = (shipped_folder("scene") / "01-square-wall.toml").read_text(encoding="utf-8")
    assert load_text(text, "wall", overrides=["camera.iso=400"]).overrides == ("camera.iso=400",)


def test_a_range_in_an_option_answers_for_each_of_its_values(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    arguments = ["throw", "--focal-length-mm", 85, "--lit-width-mm", 28]
    each = json.loads(run(capsys, *arguments, "--throw-m", "1:3:3", "--json"))["result"]["each"]
    assert [item["typed"] for item in each] == [{"--throw-m": text} for text in ("1", "2", "3")]
    for item in each:
        alone = json.loads(run(capsys, *arguments, "--throw-m", item["typed"]["--throw-m"], "--json"))["result"]
        assert item["result"] == alone
    words = run(capsys, *arguments, "--throw-m", "1/2:1:2", "-o", "sizes.png").splitlines()
    assert (
        words[0] == "--throw-m 0.5:"
        and words[2] == "--throw-m 1:"
        and words[1].startswith("    28 mm through 85.00 mm at 0.500 m")
    )
    assert sorted(path.name for path in tmp_path.iterdir()) == ["sizes-throw-m=0.5.png", "sizes-throw-m=1.png"]


def test_a_range_in_a_change_draws_each_of_its_values(mine, tmp_path, capsys):
    out = json.loads(
        run(
            capsys,
            "preview",
            "mine.toml",
            *SMALL,
            "-w",
            "projector.window.focus.offset_mm=-1:1:3",
            "-w",
            "camera.f_number=8",
            "--json",
        )
    )
    assert out["files"] == [f"mine-window.focus.offset_mm={text}-camera.f_number=8.png" for text in ("-1", "0", "1")]
    for name, text in zip(out["files"], ("-1", "0", "1"), strict=True):
        assert read_record(tmp_path / name)["overrides"] == [
            f"projector.window.focus.offset_mm={text}",
            "camera.f_number=8",
        ]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (
            ["preview", "mine.toml", "-w", "camera.iso=100:400:4", "--save", "variant"],
            "one scene to save, and 4 answers",
        ),
        (["check", "mine.toml", "-w", "camera.iso=100:400:11", "-w", "camera.f_number=4:8:11"], "121 answers"),
        (["check", "mine.toml", "-w", "camera.iso=400:-400:3"], "camera.iso: 0"),
    ],
)
def test_a_range_that_cannot_be_answered_is_refused(mine, tmp_path, capsys, arguments, words):
    assert run_command_line(app, arguments) == 1
    said = capsys.readouterr().err
    assert words in said and "nothing was written" not in said
    assert list(tmp_path.iterdir()) == [mine]


def test_text_that_looks_like_a_range_is_text(mine, capsys):
    assert "nothing wrong" in run(capsys, "check", "mine.toml", "-w", "title=1:2:3")
