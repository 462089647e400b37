"""Scenes made in code: parts with plain faults, things found by name, and help that speaks of the studio."""

from __future__ import annotations

import json
import pickle
import pydoc

import numpy as np
import pytest

import projector
from projector import Camera, Gate, Lens, Projector, Scene, SceneError, Surface
from projector.files.finding import list_scenes
from projector.scene.model import Blade
from projector.scene.model.named import Named
from projector.scene.reading.saving import scene_text

WINDOW = Projector(
    name="window",
    position_m=(0, 1.5, 2.5),
    aim="wall.centre",
    gate=Gate(shape="round", diameter_mm=40),
    lens=Lens(focal_length_mm=85, f_number=2.8),
    blade=[Blade(side="left", insertion_mm=3)],
)
CAMERA = Camera(position_m=(0.9, 1.5, 3.4), aim="wall.centre")


def made(**more) -> Scene:
    parts = {"camera": CAMERA, "projector": [WINDOW], "surface": [Surface(name="wall", position_m=(0, 1.5, 0))]}
    return Scene(**{**parts, **more})


@pytest.mark.parametrize(
    "point", [(0, 1.5, 3), [0, 1.5, 3], np.array([0, 1.5, 3]), (np.float32(0), np.float64(1.5), np.int64(3))]
)
def test_a_point_may_be_a_tuple_a_list_or_an_array(point):
    assert Camera(position_m=point, aim="wall.centre").position_m == (0.0, 1.5, 3.0)


def test_a_wrong_part_says_all_its_faults_as_a_file_does():
    with pytest.raises(SceneError) as caught:
        Camera(position_m=(0, 1.5), f_number="4", isoo=400)
    keys = {fault.key: fault for fault in caught.value.faults}
    assert set(keys) == {"position_m", "aim", "f_number", "isoo"}
    assert keys["isoo"].try_ == "did you mean iso?" and "without quotes" in keys["f_number"].try_
    assert "pydantic" not in str(caught.value)


def test_a_table_may_stand_for_a_part():
    parts = {"gate": {"shape": "round", "diameter_mm": 40}, "lens": {"focal_length_mm": 85, "f_number": 2.8}}
    blade = [{"side": "left", "insertion_mm": 3}]
    assert Projector(name="window", position_m=[0, 1.5, 2.5], aim="wall.centre", blade=blade, **parts) == WINDOW


def test_a_lens_comes_from_its_file_with_keys_of_ones_own_on_top():
    lens = projector.load_lens("achromat", f_number=4)
    assert lens.f_number == 4.0 and lens.dispersion.achromat == ("N-BK7", "F2")
    with pytest.raises(SceneError, match="did you mean achromat"):
        projector.load_lens("acromat")


def test_things_are_found_by_name_and_by_place():
    scene = projector.load("05-two-projectors")
    assert scene.projector["texture"] is scene.projector[1] and scene.projector.names == ("blinds", "texture")
    assert scene.surface["backdrop"] is scene.surface[0] and "backdrop" in scene.surface
    assert "watch" in scene.figure and "nobody" not in scene.figure and scene.figure[0] in scene.figure
    assert WINDOW.blade["left"].insertion_mm == 3.0
    assert scene.projector[:1].names == ("blinds",) and scene.projector == tuple(scene.projector)


@pytest.mark.parametrize(("name", "try_"), [("textur", "did you mean texture?"), ("zzz", "")])
def test_a_name_that_is_not_there_names_those_that_are(name, try_):
    with pytest.raises(SceneError) as caught:
        _ = projector.load("05-two-projectors").projector[name]
    (fault,) = caught.value.faults
    assert (fault.found, fault.allowed, fault.try_) == (
        f'there is no projector called "{name}"',
        "blinds, texture",
        try_,
    )


def test_nothing_is_in_an_empty_list_of_things():
    with pytest.raises(SceneError, match="none: the scene has none"):
        _ = made(figure=[]).figure["sitter"]


def test_things_stay_found_by_name_however_a_scene_is_made():
    scene = made()
    again = (
        Scene.model_validate_json(scene.model_dump_json()),
        pickle.loads(pickle.dumps(scene)),
        scene.placed_at("other", "."),
    )
    for copy in again:
        assert (
            copy == scene
            and hash(copy) == hash(scene)
            and isinstance(copy.projector, Named)
            and copy.projector["window"] == WINDOW
        )
    assert isinstance(made(figure=()).figure, Named) and isinstance(Scene(camera=CAMERA).surface, Named)


def test_the_schema_still_says_how_many_things_there_may_be():
    schema = projector.scene.model.scene_schema()
    assert schema["properties"]["projector"]["maxItems"] == 16 and schema["properties"]["projector"]["default"] == []
    with pytest.raises(SceneError, match="at most 20"):
        made(figure=[{"name": f"f{number}"} for number in range(21)])


def test_a_part_tells_what_differs_from_what_is_taken_anyway():
    assert repr(CAMERA) == str(CAMERA) == "Camera(position_m=(0.9, 1.5, 3.4), aim='wall.centre')"
    assert repr(made(title="x")) == str(made()) == "<Scene: scene; 1 projector (window); 1 surface (wall)>"
    assert eval(repr(WINDOW), vars(projector.scene.model)) == WINDOW


def test_help_of_a_part_shows_its_fields_with_units_and_nothing_of_what_checks_them():
    text = pydoc.render_doc(Camera, renderer=pydoc.plaintext)
    assert "position_m       Where the camera stands" in text and "shutter_s        Shutter time, seconds" in text
    assert "f_number=5.6" in text
    assert not [word for word in ("model_", "FieldInfo", "Annotated", "__pydantic", "dict(") if word in text]
    assert "digest" in dir(made()) and "model_dump" not in dir(made())


def test_the_schema_says_a_part_in_its_own_words_alone():
    """The list of fields is for help(); a schema has its own."""
    text = json.dumps(projector.scene.model.scene_schema()["$defs"]["Camera"]["description"])
    assert "A pinhole camera" in text and "position_m" not in text


def test_a_scene_made_in_code_is_looked_at_as_a_whole_before_it_is_used():
    lost = made(camera=Camera(position_m=(0.9, 1.5, 3.4), aim="sitter.nose_tip"))
    for use in (projector.preview, projector.landing, projector.camera_blur, projector.with_overrides):
        with pytest.raises(SceneError, match=r"sitter\.nose_tip"):
            use(lost)
    with pytest.raises(SceneError, match=r"sitter\.nose_tip"):
        projector.save_scene(lost, "never-written.toml")


def test_a_scene_made_in_code_is_saved_and_loaded_again_the_same(tmp_path):
    scene = made(title='A "window"', ambient={"stops_under": 5, "of": "window"}, figure=[{"yaw_deg": -20.5}])
    path = projector.save_scene(scene, tmp_path / "mine")
    assert path.name == "mine.toml" and projector.load(path) == scene
    assert projector.load(path).digest() == scene.digest()
    with pytest.raises(SceneError, match="is there already"):
        projector.save_scene(scene, path)
    changed = projector.save_scene(scene, tmp_path / "changed.toml", {"camera.iso": 800})
    assert projector.load(changed) == projector.with_overrides(scene, {"camera.iso": 800})


@pytest.mark.parametrize("name", [path.stem for path, _ in list_scenes()])
def test_every_shipped_scene_is_written_anew_and_says_the_same(name, tmp_path):
    scene = projector.load(name)
    assert projector.load(projector.save_scene(scene, tmp_path / "again.toml")).digest() == _elsewhere(scene, tmp_path)


def _elsewhere(scene, folder) -> str:
    """The hash of a scene once its own files are named from another folder."""
    return projector.load_text(scene_text(scene, folder), folder=folder).digest()
