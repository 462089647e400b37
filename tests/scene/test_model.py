"""The fields of a scene: frozen, strict, explained; what the schema allows is what the reader allows."""

from __future__ import annotations

import json
import typing

import pytest
from pydantic import BaseModel, ValidationError

from projector.faults import SceneError
from projector.scene import model
from projector.scene.model import Ambient, Camera, Lens, Scene, Surface, scene_schema

# What stands in a scene; `Statement` is only what a reading and an output share.
PARTS = [
    part
    for part in vars(model).values()
    if isinstance(part, type) and issubclass(part, BaseModel) and part not in (BaseModel, model.Part, model.Statement)
]


@pytest.mark.parametrize("part", PARTS, ids=lambda part: part.__name__)
def test_every_field_is_explained_and_carries_its_unit(part):
    assert part.__doc__
    for name, field in part.model_fields.items():
        assert field.description and field.description.endswith("."), name
        for unit, word in (("_mm", "mm"), ("_nm", "nm")):
            assert not name.endswith(unit) or word in field.description, name


@pytest.mark.parametrize("part", PARTS, ids=lambda part: part.__name__)
def test_every_number_has_limits(part):
    for name, field in part.model_fields.items():
        if float in _plain_types(field.annotation) or int in _plain_types(field.annotation):
            schema = json.dumps(part.model_json_schema()["properties"][name])
            assert any(word in schema for word in ("inimum", "const")) or name == "wavelength_nm", name


def _plain_types(annotation):
    arguments = typing.get_args(annotation)
    return {annotation} if not arguments else set().union(*(_plain_types(argument) for argument in arguments))


def test_a_scene_cannot_be_changed_in_place():
    camera = Camera(position_m=(0.0, 1.5, 3.0), aim="sitter.nose_tip")
    with pytest.raises(SceneError, match="with_overrides"):
        camera.iso = 400.0


@pytest.mark.parametrize("value", ["4", True, None, [4.0], float("nan"), float("inf"), -1.0, 0.0, 1e9])
def test_an_f_number_is_a_number_within_reason_and_nothing_else(value):
    with pytest.raises(ValidationError):
        Lens.model_validate({"focal_length_mm": 85.0, "f_number": value})


@pytest.mark.parametrize(("value", "allowed"), [(-0.001, False), (0.0, True), (1.0, True), (1.001, False)])
def test_a_reflectance_sends_back_no_more_than_comes(value, allowed):
    if allowed:
        assert Surface(name="wall", reflectance=value).reflectance == value
    else:
        with pytest.raises(SceneError, match="from 0 to 1"):
            Surface(name="wall", reflectance=value)


def test_lists_of_a_file_become_tuples_and_whole_numbers_become_metres():
    scene = Scene.model_validate_json('{"camera": {"position_m": [0, 1, 3], "aim": [0, 1, 0]}}')
    assert scene.camera.position_m == (0.0, 1.0, 3.0) and hash(scene.camera) == hash(scene.camera.model_copy())


def test_the_hash_follows_every_value_and_not_the_place_of_the_file():
    scene = Scene(camera=Camera(position_m=(0.0, 1.5, 3.0), aim="sitter.nose_tip"))
    assert len(scene.digest()) == 64
    assert scene.digest() == scene.model_copy().placed_at("other", "/elsewhere").digest()
    for changed in (
        {"ambient": Ambient(stops_under=3.0)},
        {"title": "x"},
        {"camera": scene.camera.model_copy(update={"iso": 101.0})},
    ):
        assert scene.model_copy(update=changed).digest() != scene.digest()


def test_the_schema_names_every_key_and_refuses_others():
    schema = scene_schema()
    assert schema["additionalProperties"] is False and "2020-12" in schema["$schema"]
    for part in PARTS:
        described = schema if part is Scene else schema["$defs"][part.__name__]
        assert set(described["properties"]) == set(part.model_fields) and described["additionalProperties"] is False
    json.dumps(schema, allow_nan=False)


def test_a_scene_that_is_placed_elsewhere_leaves_the_first_one_where_it_was():
    scene = Scene(camera=Camera(position_m=(0.0, 1.5, 3.0), aim="sitter.nose_tip")).placed_at("first", "here")
    other = scene.placed_at("second", "there")
    assert (scene.name, scene.folder, other.name, other.folder) == ("first", "here", "second", "there")
    assert scene == scene.placed_at("first", "here")
