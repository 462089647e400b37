"""A changed scene in a new file: comments kept, the reading kept, nothing overwritten, nothing wrong ever written."""

from __future__ import annotations

import re

import pytest

from projector.faults import SceneError
from projector.scene.reading.reader import load
from projector.scene.reading.saving import save_scene

SCENE = """# my first light
format = 1

[camera]
position_m = [0.0, 1.5, 4.0]   # by the door
aim = "sitter.nose_tip"

[[projector]]
name = "key"
position_m = [0.5, 1.6, 2.0]
aim = "sitter.nose_tip"
gate = { shape = "round", diameter_mm = 40 }
lens = { focal_length_mm = 85, f_number = 2.8 }   # the good one
blade = [ { side = "left", insertion_mm = 3 } ]
reading = { f_number = 8, distance_m = 2.0 }

[[figure]]   # the sitter
kind = "head"
"""


@pytest.fixture
def source(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text(SCENE)
    return path


def test_only_what_was_changed_is_changed(source, tmp_path):
    changes = {"projector.key.position_m": (0.5, 1.7, 2.5), "camera.aim": "sitter.chin"}
    before, after = SCENE.split("\n"), save_scene(source, tmp_path / "copy.toml", changes).read_text().split("\n")
    differing = [(old, new) for old, new in zip(before, after, strict=True) if old != new]
    assert differing == [
        ('aim = "sitter.nose_tip"', 'aim = "sitter.chin"'),
        ("position_m = [0.5, 1.6, 2.0]", "position_m = [0.5, 1.7, 2.5]"),
    ]


@pytest.mark.parametrize("ends", ["\n", "\r\n"])
def test_no_change_gives_the_very_text_back(source, tmp_path, ends):
    source.write_bytes(SCENE.replace("\n", ends).encode())
    assert save_scene(source, tmp_path / "copy").read_bytes() == source.read_bytes()


def test_every_kind_of_value_is_written_so_that_it_reads_back(source, tmp_path):
    changes = {
        "camera.iso": 400,
        "camera.focus": (0.0, 1.5, 0.0),
        "projector.key.lens.f_number": 4.0,
        "projector.key.blade.left.insertion_mm": 5.5,
        "projector.key.focus.offset_mm": 0.4,
        "figure.sitter.yaw_deg": 20.0,
        "ambient.stops_under": 5.0,
        "title": "Größer",
    }
    scene = load(save_scene(source, tmp_path / "copy.toml", changes))
    spec = scene.projector[0]
    assert (scene.camera.iso, scene.camera.focus, scene.title, scene.ambient.stops_under) == (
        400,
        (0.0, 1.5, 0.0),
        "Größer",
        5.0,
    )
    assert (spec.lens.f_number, spec.blade[0].insertion_mm, spec.focus.offset_mm, scene.figure[0].yaw_deg) == (
        4.0,
        5.5,
        0.4,
        20.0,
    )
    text = (tmp_path / "copy.toml").read_text(encoding="utf-8")
    assert all(comment in text for comment in ("# my first light", "# by the door", "# the good one", "# the sitter"))


def test_a_reading_keeps_the_stop_it_was_taken_at(source, tmp_path):
    assert (
        load(save_scene(source, tmp_path / "copy.toml", {"projector.key.lens.f_number": 4.0}))
        .projector[0]
        .reading.lens_f_number
        == 2.8
    )


def test_tables_are_written_in_braces_with_spaces_as_people_write_them(source, tmp_path):
    """New ones, ones within others, and ones that grew: a reading's lens, a light's focus."""
    changes = ["projector.window.lens={ focal_length_mm = 50, f_number = 4 }", "projector.window.focus.offset_mm=0.5"]
    typed = save_scene("03-cabin-window", tmp_path / "typed.toml", changes).read_text()
    named = {"projector.key.focus.offset_mm": 0.4, "projector.key.lens.f_number": 4.0}
    named = save_scene(source, tmp_path / "named.toml", named).read_text()
    assert "lens = { focal_length_mm = 85, f_number = 1.8 } }\n" in typed
    assert "lens = { focal_length_mm = 50, f_number = 4 }\n" in typed
    assert "focus = { offset_mm = 0.4 }" in named and "lens_f_number = 2.8 }" in named
    for line in (typed + named).split("\n"):
        assert not re.search(r"\{\S|[^\s}]\}|\{ {2}| {2}\}", line.partition("   #")[0]), line


@pytest.mark.parametrize(
    ("key", "words"),
    [
        ("projector.kee.roll_deg", 'no projector called "kee"'),
        ("projector.key.lens.f_number.x", "is one value"),
        ("projector.key", "is a whole table"),
        ("camera.isoo", "isoo is not a key here"),
        ("camera.iso", "-5"),
    ],
)
def test_a_wrong_change_writes_nothing(source, tmp_path, key, words):
    with pytest.raises(SceneError, match=words):
        save_scene(source, tmp_path / "copy.toml", {key: -5})
    assert [path.name for path in tmp_path.iterdir()] == ["mine.toml"]


def test_all_unknown_names_are_told_at_once(source, tmp_path):
    with pytest.raises(SceneError) as caught:
        save_scene(source, tmp_path / "copy.toml", {"projector.a.roll_deg": 1, "figure.b.yaw_deg": 1})
    assert len(caught.value.faults) == 2


def test_nothing_is_overwritten_unless_it_is_asked_for(source, tmp_path):
    with pytest.raises(SceneError, match="is there already"):
        save_scene(source, source, {"camera.iso": 400})
    assert source.read_text() == SCENE
    assert load(save_scene(source, source, {"camera.iso": 400}, overwrite=True)).camera.iso == 400


def test_a_scene_that_is_saved_elsewhere_finds_its_files(source, tmp_path):
    source.write_text(SCENE.replace("blade =", 'stencil = { file = "own.png", width_mm = 30 }\nblade ='))
    (tmp_path / "own.png").write_bytes(_one_pixel())
    away = tmp_path / "away"
    away.mkdir()
    assert load(save_scene(source, away / "copy.toml")).projector[0].stencil.file == "../own.png"
    assert load(save_scene(source, tmp_path / "copy.toml", {})).projector[0].stencil.file == "own.png"


def _one_pixel() -> bytes:
    import io

    from PIL import Image

    buffer = io.BytesIO()
    Image.new("L", (8, 8), 255).save(buffer, "PNG")
    return buffer.getvalue()


def test_a_folder_or_a_missing_folder_as_goal_is_told(source, tmp_path):
    with pytest.raises(SceneError, match="this is a folder"):
        save_scene(source, tmp_path, {})
    with pytest.raises(SceneError, match="cannot be written"):
        save_scene(source, tmp_path / "nowhere" / "copy.toml", {})
