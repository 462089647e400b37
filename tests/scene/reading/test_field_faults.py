"""One wrong field, one fault: its name, its line, what is allowed, and what was most likely meant."""

from __future__ import annotations

import pytest

from projector.faults import SceneError
from projector.scene.reading.field_faults import Places, dotted, item_name
from projector.scene.reading.reader import load_text

GOOD = """format = 1
title = "a wall"
[camera]
position_m = [0.0, 1.5, 4.0]
aim = "wall.centre"
[[projector]]
name = "key"
position_m = [0.0, 1.5, 2.0]
aim = [0.0, 1.5, 0.0]
gate = { shape = "round", diameter_mm = 40 }
lens = { focal_length_mm = 85, f_number = 2.8 }
source = { kind = "daylight" }
[[surface]]
name = "wall"
position_m = [0.0, 1.5, 0.0]
reflectance = 0.8
"""


def faults_of(*changes):
    text = GOOD
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    with pytest.raises(SceneError) as caught:
        load_text(text, "scene.toml")
    return caught.value.faults


def test_the_scene_that_is_damaged_here_is_right_before():
    assert load_text(GOOD).title == "a wall"


@pytest.mark.parametrize(
    ("change", "key", "found", "allowed", "answer"),
    [
        # Numbers.
        (("f_number = 2.8", "f_number = 0.2"), "projector.key.lens.f_number", "0.2", "from 0.5 to 256", ""),
        (
            ("f_number = 2.8", "f_number = nan"),
            "projector.key.lens.f_number",
            "nan is not a number",
            "from 0.5",
            "give a number",
        ),
        (
            ("f_number = 2.8", "f_number = -inf"),
            "projector.key.lens.f_number",
            "-inf is not a number",
            "from 0.5",
            "give a number",
        ),
        (
            ("f_number = 2.8", "f_number = 1e400"),
            "projector.key.lens.f_number",
            "inf is not a number",
            "from 0.5",
            "give a number",
        ),
        (
            ("f_number = 2.8", "f_number = 1" + "0" * 400),
            "projector.key.lens.f_number",
            "a number of 401 digits",
            "to 256",
            "",
        ),
        (
            ("f_number = 2.8", "f_number = true"),
            "projector.key.lens.f_number",
            "true where a number is wanted",
            "from 0.5 to 256",
            "",
        ),
        (
            ("f_number = 2.8", 'f_number = "2.8"'),
            "projector.key.lens.f_number",
            '"2.8" where a number',
            "",
            "without quotes",
        ),
        (("f_number = 2.8", 'f_number = "f/2.8"'), "projector.key.lens.f_number", '"f/2.8"', "", "write 2.8 for f/2.8"),
        (("f_number = 2.8", "f_number = [2.8]"), "projector.key.lens.f_number", "[2.8] where a number", "", ""),
        (('title = "a wall"', "title = nan"), "title", "nan", "", ""),
        (('title = "a wall"', "title = 5"), "title", "5 where text is wanted", "", "in quotes"),
        (
            ('aim = "wall.centre"', 'aim = "wall.centre"\npixels_across = 600.5'),
            "camera.pixels_across",
            "600.5 where a whole number",
            "from 100",
            "",
        ),
        (
            ('aim = "wall.centre"', 'aim = "wall.centre"\niso = 1' + "0" * 30),
            "camera.iso",
            "a number of 31 digits",
            "to 10000000",
            "",
        ),
        # Units.
        (
            ("position_m = [0.0, 1.5, 2.0]", "position_m = [0.0, 1500, 2.0]"),
            "projector.key.position_m.2",
            "1500",
            "from -1000 to 1000",
            "1500 mm is 1.5",
        ),
        (
            ("aim = [0.0, 1.5, 0.0]", "aim = [0.0, 1700, 0.0]"),
            "projector.key.aim.2",
            "1700",
            "from -1000 to 1000",
            "1700 mm is 1.7",
        ),
        (
            ("reflectance = 0.8", "reflectance = 80"),
            "surface.wall.reflectance",
            "80",
            "from 0 to 1",
            "80 % is 0.8",
        ),
        # Points and landmarks.
        (
            ("aim = [0.0, 1.5, 0.0]", "aim = [0.0, 1.5]"),
            "projector.key.aim",
            "[0.0, 1.5]",
            "a landmark or a point",
            "[x, y, z]",
        ),
        (
            ("aim = [0.0, 1.5, 0.0]", "aim = [0.0, 1.5, 0.0, 1.0]"),
            "projector.key.aim",
            "[0.0, 1.5, 0.0, 1.0]",
            "",
            "[x, y, z]",
        ),
        (("aim = [0.0, 1.5, 0.0]", "aim = []"), "projector.key.aim", "[]", "", "[x, y, z]"),
        (("aim = [0.0, 1.5, 0.0]", "aim = 7"), "projector.key.aim", "7", "a landmark or a point", "[x, y, z]"),
        (("aim = [0.0, 1.5, 0.0]", "aim = { x = 1 }"), "projector.key.aim", "a table", "", "[x, y, z]"),
        (
            ("aim = [0.0, 1.5, 0.0]", "aim = [nan, 1.5, 0.0]"),
            "projector.key.aim.1",
            "nan is not a number",
            "from -1000 to 1000",
            "",
        ),
        (
            ("aim = [0.0, 1.5, 0.0]", 'aim = [0.0, "high", 0.0]'),
            "projector.key.aim.2",
            '"high" where a number',
            "",
            "write a number",
        ),
        (("position_m = [0.0, 1.5, 2.0]", "position_m = 1.5"), "projector.key.position_m", "1.5", "", "[x, y, z]"),
        (("reflectance = 0.8", "colour = [0.1, 0.2]"), "surface.wall.colour", "[0.1, 0.2]", "", "[red, green, blue]"),
        # Words from a list, names.
        (
            ('shape = "round"', 'shape = "rund"'),
            "projector.key.gate.shape",
            '"rund"',
            '"round" or "rectangle"',
            'did you mean "round"?',
        ),
        (
            ('kind = "daylight"', 'kind = "Tungsten"'),
            "projector.key.source.kind",
            '"Tungsten"',
            '"tungsten"',
            'did you mean "tungsten"?',
        ),
        (('name = "key"', 'name = "k.y"'), "projector.1.name", '"k.y"', "letters, digits", "plain name"),
        (('name = "key"', 'name = ""'), "projector.1.name", '""', "", "plain name"),
        (('name = "key"', "name = 5"), "projector.1.name", "5 where text is wanted", "", "in quotes"),
        # Tables and lists of tables.
        (("[[projector]]", "[projector]"), "projector", "one table where a list", "", "[[projector]]"),
        (("[[surface]]", "[surface]"), "surface", "one table where a list", "", "[[surface]]"),
        (('title = "a wall"', "figure = 5"), "figure", "5 where a list of tables", "", "[[figure]]"),
        (("[camera]", "[[camera]]"), "camera", "where a table is wanted", "", "[camera]"),
        (
            ('source = { kind = "daylight" }', "source = 5600"),
            "projector.key.source",
            "5600 where a table",
            "",
            "source = { key",
        ),
        (
            ('source = { kind = "daylight" }', 'stencil = "window"'),
            "projector.key.stencil",
            '"window" where a table',
            "",
            "stencil = { key",
        ),
        (
            ('source = { kind = "daylight" }', 'blade = { side = "left", insertion_mm = 2 }'),
            "projector.key.blade",
            "one table where a list",
            "",
            "blade = [ {",
        ),
        (('source = { kind = "daylight" }', "blade = [ 5 ]"), "projector.key.blade.1", "5 where a table", "", ""),
        (
            ('source = { kind = "daylight" }', "blade = [" + '{ side = "left", insertion_mm = 2 },' * 5 + "]"),
            "projector.key.blade",
            "5 of them",
            "at most 4",
            "",
        ),
        (
            ("f_number = 2.8", 'f_number = 2.8, dispersion = { achromat = ["F2"] }'),
            "projector.key.lens.dispersion.achromat",
            "['F2']",
            "Crown and flint",
            "a list of 2",
        ),
        # Unknown and missing keys.
        (
            ("reflectance = 0.8", "reflectanse = 0.8"),
            "surface.wall.reflectanse",
            "not a key here",
            "reflectance",
            "did you mean reflectance?",
        ),
        (
            ("reflectance = 0.8", "height_mm = 2700"),
            "surface.wall.height_mm",
            "not a key here",
            "height_m",
            "write height_m, and mind the unit",
        ),
        (
            ("reflectance = 0.8", "height = 2.7"),
            "surface.wall.height",
            "not a key here",
            "height_m",
            "write height_m, and mind the unit",
        ),
        (("reflectance = 0.8", "glitter = 2.7"), "surface.wall.glitter", "not a key here", "height_m", "take it out"),
        (
            ("f_number = 2.8", "f_number = 2.8, f_stop = 4"),
            "projector.key.lens.f_stop",
            "not a key here",
            "f_number",
            "",
        ),
        (('shape = "round", ', ""), "projector.key.gate.shape", "shape is missing", '"round"', 'add shape = "round"'),
        (
            ('gate = { shape = "round", diameter_mm = 40 }\n', ""),
            "projector.key.gate",
            "gate is missing",
            "The opening",
            'add gate = { shape = "round", diameter_mm = 40 }',
        ),
        (
            ("reflectance = 0.8", "reflectance = 0.8\n[[figure]]\nstature_m = 150"),
            "figure.sitter.stature_m",
            "150",
            "from 0.5 to 2.5",
            "150 cm is 1.5",
        ),
        (
            ("focal_length_mm = 85, ", ""),
            "projector.key.lens.focal_length_mm",
            "focal_length_mm is missing",
            "Focal length",
            "add focal_length_mm = 85",
        ),
        (('name = "wall"\n', ""), "surface.1.name", "name is missing", "Its name", 'add name = "wall"'),
    ],
)
def test_a_wrong_field_gives_one_clear_fault(change, key, found, allowed, answer):
    faults = faults_of(change)
    assert [fault.key for fault in faults] == [key]
    (fault,) = faults
    assert found in fault.found and allowed in fault.allowed and answer in fault.try_
    assert fault.file == "scene.toml"
    first = next(number for number, line in enumerate(GOOD.split("\n"), 1) if change[0].split("\n")[0] in line)
    # A missing key is looked for in what should hold it.
    holder = {"surface.1.name": 13, "projector.key.gate": 6}.get(key, first)
    assert holder <= fault.line <= holder + change[1].count("\n")


def test_all_wrong_fields_are_told_at_once_in_the_order_of_their_keys():
    faults = faults_of(
        ("f_number = 2.8", "f_number = 'x'"),
        ("diameter_mm = 40", "diameter_mm = -40"),
        ("reflectance = 0.8", "reflektance = 0.8"),
        ("[0.0, 1.5, 4.0]", "[0.0, nan, 4.0]"),
    )
    assert [fault.key for fault in faults] == [
        "camera.position_m.2",
        "projector.key.gate.diameter_mm",
        "projector.key.lens.f_number",
        "surface.wall.reflektance",
    ]
    assert [fault.line for fault in faults] == [4, 10, 11, 16]


def test_a_value_written_over_several_lines_is_told_on_its_own_line():
    (fault,) = faults_of(
        (
            "lens = { focal_length_mm = 85, f_number = 2.8 }",
            "[projector.lens]\nfocal_length_mm = 85\n# as marked\nf_number = 'x'",
        ),
        ('source = { kind = "daylight" }\n', ""),
    )
    assert fault.line == 14


def test_things_are_called_by_name_else_by_side_else_by_number():
    assert item_name({"name": "key"}, 0) == "key"
    assert item_name({"side": "left"}, 0) == "left"
    assert item_name({"kind": "neutral"}, 1, "filter") == "neutral"
    assert item_name({"kind": "head"}, 1, "figure") == "sitter"
    assert item_name({}, 1) == item_name(7, 1) == item_name({"name": "a.b"}, 1) == "2"
    assert (
        dotted(("projector", 0, "blade", 1, "side"), {"projector": [{"name": "key", "blade": [{}, {}]}]})
        == "projector.key.blade.2.side"
    )


def test_what_was_typed_has_no_line_and_what_stands_in_the_file_has():
    lines = {("a",): 1, ("a", "b"): 2}
    places = Places("f", lambda path: 1, [("a", "c"), ("d", "e")], lines.get)
    assert places.of(("a", "b")) == ("f", 1)
    assert places.of(("a",)) == ("f", 1)
    assert places.of(("a", "c")) == places.of(("a", "c", 0)) == places.of(("d",)) == (None, None)
