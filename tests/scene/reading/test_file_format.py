"""The text of a scene file: what TOML refuses is reported with its line and what was meant; formats go up in steps."""

from __future__ import annotations

import pytest

from projector.faults import SceneError
from projector.scene.reading.file_format import parsed, upgraded
from projector.scene.reading.toml_lines import TomlLines


def fault_of(text):
    with pytest.raises(SceneError) as caught:
        parsed(text, "scene.toml")
    (fault,) = caught.value.faults
    return fault


@pytest.mark.parametrize(
    ("row", "answer"),
    [
        ("shutter_s = 1/200", "write 0.005 for 1/200"),
        ("f_number = f/2.8", "write 2.8 for f/2.8"),
        ("f_number = 2,8", "write 2.8, with a point"),
        ("aim = “wall.centre”", 'write straight quotes: aim = "wall.centre"'),
        (
            "gate = { shape = ‘round’, diameter_mm = 40 }",
            'write straight quotes: gate = { shape = "round", diameter_mm = 40 }',
        ),
        ('file = "C:\\Users\\me\\leaves.png"', 'write / for each backslash: file = "C:/Users/me/leaves.png"'),
        ('file = "patterns\\leaves.png"', 'write / for each backslash: file = "patterns/leaves.png"'),
        ("lens = { f_number = 2,8 }", "write 2.8, with a point"),
        ("focal_length_mm = 85mm", "write 85 alone"),
        ("aim = sitter.nose_tip", 'put it in quotes: "sitter.nose_tip"'),
        ("iso = 100\niso = 200", "given twice"),
        ('title = "no end', "this line and the one before"),
        ("[camera", "this line and the one before"),
        ("just words", "this line and the one before"),
    ],
)
def test_a_line_that_toml_refuses_is_told_with_what_was_meant(row, answer):
    fault = fault_of(f"format = 1\n# a scene\n{row}\n")
    assert answer in fault.try_
    assert fault.file == "scene.toml" and fault.line in (3, 4)


def test_a_list_that_is_never_closed_is_told():
    fault = fault_of("format = 1\nposition_m = [0.0, 1.5, 2.0\n")
    assert "cannot be read" in fault.found and fault.line


def test_numbers_and_tables_beyond_reason_are_told_without_a_traceback():
    assert fault_of("format = 1\nx = 1" + "0" * 5000).line == 2
    assert "too deeply" in fault_of("x = " + "[" * 100_000).found


def up(data, **options):
    return upgraded(data, "scene.toml", TomlLines("title = 'x'\nformat = 1\n"), **options)


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (None, "format is missing"),
        (2, "newer version"),
        (0, "is not known"),
        (-1, "is not known"),
        ("1", 'format = "1"'),
        (True, "format = true"),
        (1.0, "format = 1.0"),
        ([1], "format = [1]"),
    ],
)
def test_a_format_that_is_not_known_is_refused(given, words):
    with pytest.raises(SceneError) as caught:
        up({} if given is None else {"format": given})
    (fault,) = caught.value.faults
    assert words in fault.found and fault.key == "format" and fault.line == (1 if given is None else 2)


def test_older_files_go_up_one_format_at_a_time():
    steps = {1: lambda data: {**data, "seen": [1]}, 2: lambda data: {**data, "seen": [*data["seen"], 2]}}
    assert up({"format": 1, "title": "x"}, known=3, upgrades=steps) == {"format": 3, "title": "x", "seen": [1, 2]}
    assert up({"format": 3}, known=3, upgrades=steps) == {"format": 3}
    with pytest.raises(SceneError, match="format = 1 is not known"):
        up({"format": 1}, known=3, upgrades={2: steps[2]})
