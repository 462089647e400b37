"""What to try: units taken for one another, and numbers written as photographers write them."""

from __future__ import annotations

import json
import tomllib

import pytest
from pydantic import TypeAdapter

from projector.scene.model import Scene
from projector.scene.reading.field_faults import model_in
from projector.scene.reading.field_hints import example_line, number_hint, unit_hint


@pytest.mark.parametrize(
    ("name", "value", "answer"),
    [
        ("position_m", 1700, "position_m is in metres: 1700 mm is 1.7"),
        ("aim", 1700, "aim is in metres: 1700 mm is 1.7"),
        # 90 m in millimetres or 900 m in centimetres: neither fits a studio, so no unit is guessed.
        ("distance_m", 90_000, "look at the unit in the key's name"),
        ("distance_m", 4000.5, "distance_m is in metres: 4000.5 mm is 4.0005"),
        ("shutter_s", 4000, "shutter_s is in seconds: 1/4000 s is 0.00025"),
        ("centre_nm", 0.55, "centre_nm is in nanometres: 0.55 µm is 550"),
        ("reflectance", 18, "reflectance is a share from 0 to 1: 18 % is 0.18"),
        ("roll_deg", 4000, "look at the unit in the key's name"),
        ("focal_length_mm", 0.085, "focal_length_mm is in millimetres: 0.085 m is 85"),
        # Whole numbers that no float holds.
        ("position_m", 10**400, "look at the unit in the key's name"),
        ("shutter_s", 10**400, "look at the unit in the key's name"),
        ("pixels_across", -(10**400), ""),
        ("f_number", 1000, ""),
        ("position_m", "x", ""),
    ],
)
def test_a_value_in_another_unit_is_recognised(name, value, answer):
    assert unit_hint(name, value) == answer


def test_the_unit_is_one_in_which_the_value_is_allowed():
    """150 for a stature of 0.5 to 2.5 m is centimetres, not millimetres."""
    assert unit_hint("stature_m", 150, lambda value: 0.5 <= value <= 2.5) == "stature_m is in metres: 150 cm is 1.5"
    assert unit_hint("stature_m", 1700, lambda value: 0.5 <= value <= 2.5) == "stature_m is in metres: 1700 mm is 1.7"
    assert unit_hint("stature_m", 60, lambda value: 0.5 <= value <= 2.5) == "stature_m is in metres: 60 cm is 0.6"


def required_keys(model=Scene, path=()):
    """Every key that must be there, with its field."""
    for name, field in model.model_fields.items():
        if field.is_required():
            yield (*path, name), field
        inner = model_in(field.annotation)
        if inner is not None:
            yield from required_keys(inner, (*path, name))


@pytest.mark.parametrize(("keys", "field"), [pytest.param(*item, id=".".join(item[0])) for item in required_keys()])
def test_every_key_that_must_be_there_has_a_line_that_can_be_copied(keys, field):
    line = example_line(keys)
    if keys == ("camera",):
        line = "[camera]\n" + "\n".join(line.removeprefix("[camera] and below it ").split(" and "))
    TypeAdapter(field.annotation).validate_json(json.dumps(tomllib.loads(line)[keys[-1]]))


@pytest.mark.parametrize(
    ("text", "answer"),
    [
        ("1/200", "write 0.005"),
        ("1/60 s", "write 0.0166667"),
        ("f/2.8", "write 2.8 for f/2.8"),
        ("F8", "write 8 for F8"),
        ("2,8", "write 2.8, with a point"),
        ("85mm", "write 85 alone: the unit stands in the key's name (focal_length_mm)"),
        ("-3 °", "write -3 alone: the unit stands in the key's name (focal_length_mm)"),
        ("85", "write the number without quotes"),
        ("1e3", "write the number without quotes"),
        ("“2.8”", "write the number without quotes"),
        ("‘f/4’", "write 4 for f/4"),
        ("1/0", "write a number"),
        ("long", "write a number"),
        ("", "write a number"),
        (5, ""),
    ],
)
def test_a_number_written_as_text_is_translated(text, answer):
    assert number_hint("focal_length_mm", text) == answer
