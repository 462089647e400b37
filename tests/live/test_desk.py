"""A desk keeps a scene as its file with overrides: the way back, variants, the address, saving, the file on disk."""

from __future__ import annotations

import tomllib

import pytest

from projector.faults import SceneError
from projector.live.desk import Desk
from projector.scene.reading.reader import load

F_NUMBER, OFFSET = "projector.window.lens.f_number", "projector.window.focus.offset_mm"
TEXT = """# A wall for tests: this line stays.
format = 1

[camera]
position_m = [0.0, 1.5, 4.0]
aim = "wall.centre"

[[projector]]
name = "window"
position_m = [0.0, 1.5, 2.0]
aim = "wall.centre"
gate = { shape = "round", diameter_mm = 40 }
lens = { focal_length_mm = 85, f_number = 4 }  # this one, too
reading = { f_number = 8, distance_m = 2 }

[[surface]]
name = "wall"
position_m = [0.0, 1.5, 0.0]
width_m = 2.0
height_m = 2.0
"""


@pytest.fixture
def path(tmp_path):
    """A scene file in a folder of its own."""
    path = tmp_path / "wall.toml"
    path.write_text(TEXT)
    return path


@pytest.fixture
def desk(path):
    return Desk(path)


def f_number(desk):
    return desk.scene.projector["window"].lens.f_number


def test_a_change_can_be_taken_back_and_taken_again(desk):
    desk.change({F_NUMBER: 5.6})
    desk.change({OFFSET: 0.5})
    assert f_number(desk) == 5.6 and desk.scene.projector["window"].focus.offset_mm == 0.5
    desk.undo()
    assert f_number(desk) == 5.6 and desk.scene.projector["window"].focus.offset_mm == 0.0
    desk.undo()
    desk.undo()
    assert f_number(desk) == 4.0 and not desk.changes
    desk.redo()
    assert f_number(desk) == 5.6
    desk.change({F_NUMBER: 8})
    desk.redo()
    assert f_number(desk) == 8.0, "what was taken back is gone once something else is done"


def test_the_history_can_be_read_and_a_gesture_is_one_step_of_it(desk):
    for value in (4.5, 5, 5.6):
        desk.change({F_NUMBER: value}, gesture=7)
    desk.change({OFFSET: -0.25}, gesture=8)
    desk.change({F_NUMBER: None})
    words = [step.words for step in desk.steps]
    assert words == [
        "as its file has it",
        "window lens f-number 5.6",
        "window focus offset −0.25 mm",
        "window lens f-number as in the file",
    ]
    desk.go_to(1)
    assert f_number(desk) == 5.6


def test_a_gesture_goes_on_only_from_its_own_step(desk):
    desk.change({F_NUMBER: 5}, gesture=1)
    desk.undo()
    desk.change({OFFSET: 1}, gesture=1)
    assert [step.words for step in desk.steps] == ["as its file has it", "window focus offset 1 mm"]


def test_a_broken_value_says_its_fault_and_the_last_good_scene_stays(desk):
    desk.change({F_NUMBER: 2.8})
    desk.change({F_NUMBER: 0.1})
    assert [fault.key for fault in desk.faults] == [F_NUMBER]
    assert f_number(desk) == 2.8
    desk.undo()
    assert not desk.faults


@pytest.mark.parametrize("value", ["../secret.png", "/etc/passwd", "a/../../b", "..\\x.png", "C:x.png"])
@pytest.mark.parametrize("key", ["projector.window.stencil.file", "projector.window.lens.file", "gear.file"])
def test_no_change_names_a_file_elsewhere(desk, key, value):
    with pytest.raises(SceneError, match="lies elsewhere"):
        desk.change({key: value})
    assert not desk.changes


def test_no_table_in_an_address_names_a_file_elsewhere_either(desk):
    changes = '{"projector.window.stencil":"{ file = \\"../secret.png\\", width_mm = 36 }"}'
    with pytest.raises(SceneError, match="lies elsewhere"):
        desk.restore(f'{{"changes":{changes},"kept":{{}},"off":[],"alone":null}}')


def test_a_reload_loses_nothing(desk, path):
    desk.change({F_NUMBER: 5.6})
    desk.keep("soft")
    desk.change({OFFSET: 0.5})
    desk.lit.off.add("window")
    again = Desk(path)
    again.restore(desk.state())
    assert again.scene == desk.scene and again.kept == desk.kept and again.lit == desk.lit


@pytest.mark.parametrize(
    "state",
    ["", "{", "[]", "7", '{"changes":[],"kept":{},"off":[],"alone":null}', "[" * 100_000,
     '{"changes":{"camera.iso":800},"kept":{},"off":[],"alone":null}'],
)  # fmt: skip
def test_an_address_that_holds_no_state_is_refused(desk, state):
    with pytest.raises(SceneError, match="no state"):
        desk.restore(state)


def test_an_address_names_no_file_elsewhere(desk):
    with pytest.raises(SceneError, match="lies elsewhere"):
        desk.restore('{"changes":{"projector.window.stencil.file":"../x.png"},"kept":{},"off":[],"alone":null}')


def test_variants_are_kept_by_name_and_taken_up_again(desk):
    desk.change({F_NUMBER: 8})
    desk.keep("small stop")
    desk.undo()
    with pytest.raises(SceneError, match="already"):
        desk.keep("small stop")
    desk.take("small stop")
    assert f_number(desk) == 8.0 and desk.steps[-1].words == 'variant "small stop"'
    desk.undo()
    assert f_number(desk) == 4.0
    desk.let_go("small stop")
    with pytest.raises(SceneError, match="no variant"):
        desk.take("small stop")


def test_saving_keeps_comments_and_the_way_back(desk, path):
    desk.change({F_NUMBER: 5.6})
    desk.keep("one")
    desk.save("wall.toml", overwrite=True)
    text = path.read_text()
    assert "this line stays" in text and "this one, too" in text
    assert tomllib.loads(text)["projector"][0]["lens"]["f_number"] == 5.6
    desk.undo()
    assert f_number(desk) == 4.0, "beyond the saving"
    desk.take("one")
    assert f_number(desk) == 5.6


def test_nothing_is_overwritten_without_asking(desk, path, tmp_path):
    (tmp_path / "other.toml").write_text("mine")
    desk.change({F_NUMBER: 5.6})
    for name in ("wall", "wall.toml", "other"):
        with pytest.raises(SceneError, match="there already"):
            desk.save(name)
    assert path.read_text() == TEXT and (tmp_path / "other.toml").read_text() == "mine"
    assert desk.save("third") == tmp_path / "third.toml"


@pytest.mark.parametrize("name", ["", ".", "..", "../up", "a/b", "a\\b", "/tmp/x", "x\0"])
def test_a_name_with_a_folder_is_no_name_to_save_under(desk, name):
    with pytest.raises(SceneError, match="no plain name"):
        desk.save(name, overwrite=True)


def test_a_broken_scene_is_not_saved(desk, tmp_path):
    desk.change({F_NUMBER: 0.1})
    with pytest.raises(SceneError):
        desk.save("broken")
    assert not (tmp_path / "broken.toml").exists()


def test_a_shipped_scene_is_saved_in_ones_own_folder(tmp_path):
    desk = Desk("03-cabin-window", tmp_path)
    desk.change({F_NUMBER: 4})
    path = desk.save("cabin")
    assert path == tmp_path / "cabin.toml" and "# The pilot of" in path.read_text()
    assert load(path) == load("03-cabin-window", {F_NUMBER: 4})


def test_the_file_on_disk_is_followed_and_what_is_not_saved_stays(desk, path):
    desk.change({OFFSET: 0.5})
    assert not desk.follow_file()
    path.write_text(TEXT.replace("f_number = 4", "f_number = 2.8"))
    assert desk.follow_file()
    assert f_number(desk) == 2.8 and desk.scene.projector["window"].focus.offset_mm == 0.5


def test_what_was_saved_and_then_edited_in_the_file_is_as_the_file_says(desk, path):
    desk.change({F_NUMBER: 5.6})
    desk.save("wall", overwrite=True)
    path.write_text(TEXT.replace("f_number = 4", "f_number = 11"))
    assert desk.follow_file()
    assert f_number(desk) == 11.0


def test_a_file_that_is_broken_on_disk_leaves_the_last_good_scene(desk, path):
    path.write_text("format = 1\n[camera")
    assert desk.follow_file()
    assert desk.faults and f_number(desk) == 4.0
    path.write_text(TEXT)
    assert desk.follow_file() and not desk.faults


def test_a_light_off_or_alone_is_looked_at_so_and_the_scene_stays_as_it_was():
    desk = Desk("05-two-projectors")
    assert desk.stage.only is None
    desk.lit.off.add("blinds")
    assert desk.stage.only == {"texture", "ambient"}
    desk.lit.alone = "blinds"
    assert desk.stage.only == {"blinds"} and not desk.changes
