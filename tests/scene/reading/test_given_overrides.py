"""Overrides as Python gives them say what the same ones say on the command line, faults and all."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import projector
from projector import Lens, SceneError, load, studies, with_overrides
from projector.scene.reading.given_overrides import typed_overrides

SCENE = "05-two-projectors"


@pytest.mark.parametrize(
    ("given", "typed"),
    [
        (None, []),
        ("camera.iso=800", ["camera.iso=800"]),
        (["camera.iso=800", {"camera.f_number": 4}], ["camera.iso=800", "camera.f_number=4"]),
        ({"camera.iso": 800, "camera.f_number": 5.6}, ["camera.iso=800", "camera.f_number=5.6"]),
        ({"camera": {"iso": np.int64(800), "f_number": np.float32(5.5)}}, ["camera.iso=800", "camera.f_number=5.5"]),
        ({"camera.position_m": np.array([0, 1.5, 3])}, ["camera.position_m=[0, 1.5, 3]"]),
        ({"projector.blinds.stencil.inverted": True}, ["projector.blinds.stencil.inverted=true"]),
        ({"camera.aim": "watch.chin", "title": "4"}, ["camera.aim=watch.chin", 'title="4"']),
        ({"projector.blinds.stencil.file": Path("leaves")}, ["projector.blinds.stencil.file=leaves"]),
        ({"title": 'a "b" = [c]\n'}, ['title="a \\"b\\" = [c]\\n"']),
        ({"camera.shutter_s": 1 / 3}, ["camera.shutter_s=0.3333333333333333"]),
    ],
)
def test_each_is_brought_to_what_would_be_typed(given, typed):
    assert typed_overrides(given) == typed


def test_every_form_makes_the_same_scene():
    forms = (
        load(SCENE, ["projector.blinds.lens.f_number=4", "camera.iso=800"]),
        load(SCENE, {"projector.blinds.lens.f_number": 4, "camera.iso": 800}),
        load(SCENE, projector={"blinds": {"lens": {"f_number": 4}}}, camera={"iso": 800}),
        with_overrides(load(SCENE), {"projector.blinds.lens.f_number": 4}, camera={"iso": 800}),
        with_overrides(SCENE, ["projector.blinds.lens.f_number=4", {"camera.iso": 800}]),
    )
    assert {scene.digest() for scene in forms} == {forms[0].digest()} != {load(SCENE).digest()}
    assert {scene.overrides for scene in forms} == {("projector.blinds.lens.f_number=4", "camera.iso=800")}


def test_a_part_made_in_code_takes_the_place_of_the_whole_one():
    lens = Lens(focal_length_mm=50, f_number=4, dispersion={"achromat": ["N-BK7", "F2"]})
    assert with_overrides(SCENE, {"projector.blinds.lens": lens}).projector["blinds"].lens == lens


@pytest.mark.parametrize(
    ("given", "typed"),
    [
        ({"projector.blind.lens.f_number": 4}, "projector.blind.lens.f_number=4"),
        ({"camera.iso": -1}, "camera.iso=-1"),
        ({"camera.isoo": 100}, "camera.isoo=100"),
        ({"camera.iso": "100:400:4"}, "camera.iso=100:400:4"),
        ({"iso": 100}, "iso=100"),
    ],
)
def test_faults_are_those_of_the_command_line(given, typed):
    with pytest.raises(SceneError) as by_dict:
        load(SCENE, given)
    with pytest.raises(SceneError) as by_text:
        load(SCENE, [typed])
    assert by_dict.value.faults == by_text.value.faults


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ([4], "4 is not a change"),
        (320, "320 is not a change"),
        ({"camera.iso": None}, "nothing where a value is wanted"),
        ({"title": object()}, "a object"),
    ],
)
def test_what_cannot_be_an_override_is_told_so(given, words):
    with pytest.raises(SceneError, match=words):
        typed_overrides(given)


def test_pictures_maps_and_studies_take_paths_names_and_overrides(tmp_path):
    small = {"width": 24, "height": 18, "quality": "quick"}
    changes = {"projector.window.lens.f_number": 8}
    path = projector.save_scene("01-square-wall", tmp_path / "mine.toml", changes)
    pictures = [
        projector.preview(given, overrides, **small)
        for given, overrides in (("01-square-wall", changes), (path, None), (str(path), None), (load(path), None))
    ]
    assert len({picture.pixels.tobytes() for picture in pictures}) == 1
    assert pictures[0].about["overrides"] == ["projector.window.lens.f_number=8"]
    maps = [
        projector.irradiance_map(given, "wall", 16, "quick", overrides=overrides).illuminance
        for given, overrides in (("01-square-wall", changes), (path, None))
    ]
    assert np.array_equal(*maps)
    assert projector.landing(path) == projector.landing(load(path), "window") == projector.landing(str(path), "window")
    with pytest.raises(SceneError, match="did you mean window"):
        projector.landing(path, "windo")
    with pytest.raises(SceneError, match="did you mean"):
        projector.preview("03-cabin-windo", **small)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: projector.preview(None), "a NoneType is no scene"),
        (lambda: projector.preview({"camera": {}}), "a dict is no scene"),
        (lambda: projector.preview("01-square-wall", quality="fast"), '"quick" or "fine"'),
        (lambda: projector.preview("01-square-wall", width=0, height=2.5), "(?s)width: 0.*height: 2.5"),
        (lambda: projector.preview("01-square-wall", width=10**6), "from 1 to 16384"),
        (lambda: projector.irradiance_map("01-square-wall", "wall", 0), "n_across: 0"),
        (lambda: projector.irradiance_map("01-square-wall", "wall", 8, "bad"), '"quick" or "fine"'),
        (lambda: studies.sharpness("01-square-wall", "window", None), "None is not a place"),
        (lambda: studies.sharpness("01-square-wall", "window", (0.0, 1.5)), "is not a place"),
        (lambda: studies.focus_curve("01-square-wall", "window", "wall.centre", []), "no offsets"),
        (lambda: studies.compromise("01-square-wall", "window", []), "no points"),
        (lambda: studies.measure([], mm_per_pixel=0.25), "no photographs"),
        (lambda: studies.measure(["nowhere.png"], mm_per_pixel=0.25), "nowhere"),
    ],
)
def test_what_no_call_can_use_is_refused_in_words(call, words):
    with pytest.raises(SceneError, match=words):
        call()
