"""A lamp in the place of a lens: what is allowed, and what is refused in words."""

from __future__ import annotations

import pytest

from projector.faults import SceneError
from projector.scene.checks.cross import cross_check
from projector.scene.model import Scene
from projector.scene.reading.reader import load, load_text
from projector.scene.reading.saving import save_scene
from projector.studies.choosing.where_to_stand import place
from projector.studies.choosing.wishes import Wishes
from projector.studies.edges.focus_curve import compromise, focus_curve
from projector.studies.edges.fringe import fringe
from projector.studies.edges.sharpness import sharpness
from projector.studies.size.landed_light import landed_light
from projector.studies.size.landing import landing

LAMP = {"opening_mm": 40.0, "card_mm": 500.0}
BARE = {"lens": None, "focus": None, "lamp": LAMP}


def faults(studio, **changes):
    """By key, of a bare lamp with changes."""
    found, _ = cross_check(
        studio.scene({**BARE, **changes}, camera={"position_m": [1.5, 1.5, 4.0]}),
    )
    return {fault.key: fault for fault in found}


@pytest.mark.parametrize("lamp", [LAMP, {"opening_deg": 0.53}, {"opening_mm": 0.1, "card_mm": 1900.0}])
def test_a_bare_lamp_alone_is_fine(studio, lamp):
    assert faults(studio, lamp=lamp) == {}


@pytest.mark.parametrize(
    ("changes", "key", "words"),
    [
        ({"lens": {"focal_length_mm": 85.0, "f_number": 2.0}}, "lamp", "a lens and a lamp"),
        ({"lamp": None}, "lens", "neither a lens nor a lamp"),
        ({"lamp": {"opening_mm": 40.0}}, "lamp.card_mm", "without card_mm"),
        ({"lamp": {"card_mm": 400.0}}, "lamp.opening_mm", "without opening_mm"),
        ({"lamp": {}}, "lamp.opening_mm", "without opening_mm"),
        ({"lamp": {**LAMP, "opening_deg": 0.5}}, "lamp", "in mm and by how wide it looks"),
        ({"focus": {"distance_m": 2.0}}, "focus", "a focus without a lens"),
        ({"lamp": {**LAMP, "card_mm": 2500.0}, "reading": None}, "aim", "no farther than its card"),
        ({"reading": {"f_number": 8.0, "distance_m": 0.5}}, "reading.distance_m", "a meter 0.5 m away"),
        ({"reading": {"f_number": 8.0, "distance_m": 2.0, "lens_f_number": 2.0}}, "reading.lens_f_number", "lens_f"),
        ({"reading": None, "output": {"lumens": 500.0, "before_lens": True}}, "output.before_lens", "before_lens"),
        ({"reading": None, "output": {"lumens": 500.0}, "lamp": {"opening_deg": 0.53}}, "output", "lumens of a light"),
        (
            {"blade": [{"side": "left", "insertion_mm": 5.0, "offset_mm": 150.0}], "lamp": {**LAMP, "card_mm": 100.0}},
            "blade.left.offset_mm",
            "150 mm on the lamp's side",
        ),
    ],
)
def test_what_makes_no_sense_without_a_lens_is_refused(studio, changes, key, words):
    found = faults(studio, **changes)
    assert set(found) == {f"projector.window.{key}"}
    assert words in found[f"projector.window.{key}"].found and found[f"projector.window.{key}"].allowed


TEXT = """
format = 1
[camera]
position_m = [0.6, 1.5, 4.0]
aim = "wall.centre"
[[projector]]
name = "card"
position_m = [0.0, 1.5, 2.0]
aim = "wall.centre"
gate = { shape = "round", diameter_mm = 200 }  # the hole
lamp = { opening_mm = 40, card_mm = 500 }
[[surface]]
name = "wall"
position_m = [0.0, 1.5, 0.0]
width_m = 2.0
height_m = 2.0
"""


def test_a_file_with_neither_is_told_beside_a_wrong_field():
    text = TEXT.replace("lamp = { opening_mm = 40, card_mm = 500 }", "").replace("width_m = 2.0", 'width_m = "two"')
    with pytest.raises(SceneError) as caught:
        load_text(text, "test")
    assert {fault.key for fault in caught.value.faults} == {"projector.card.lens", "surface.wall.width_m"}


def test_a_scene_with_a_bare_lamp_is_the_same_when_all_its_fields_are_written_out():
    scene = load_text(TEXT, "test")
    again = Scene.model_validate_json(scene.model_dump_json()).placed_at("test", scene.folder)
    assert cross_check(again) == cross_check(scene) and again.projector == scene.projector


def test_a_bare_lamp_is_saved_with_its_comments(tmp_path):
    (tmp_path / "bare.toml").write_text(TEXT)
    save_scene(tmp_path / "bare.toml", tmp_path / "changed.toml", {"projector.card.lamp.opening_mm": 25.0})
    assert load(tmp_path / "changed.toml").projector[0].lamp.opening_mm == 25.0
    assert "# the hole" in (tmp_path / "changed.toml").read_text()


def test_where_it_lands_counts_from_its_place():
    """Opening 40 mm, card 0.5 m before it, wall at 2 m: four times as large, 120 mm of penumbra. Through a frame 2 m
    from the wall the sun throws the frame's own size, 2 m · 0.53° = 18.5 mm soft, but for the 0.2 % of a light 1 km
    away.
    """
    found = landing(load_text(TEXT, "test"))
    assert (found.throw_m, found.magnification, found.blur_mm) == pytest.approx((2.0, 4.0, 120.0))
    assert found.sharp_at_m == pytest.approx(0.5) and found.tube_length_mm is None
    sun = landing(load_text(TEXT.replace("opening_mm = 40, card_mm = 500", "opening_deg = 0.53"), "test"))
    assert (sun.throw_m, sun.sharp_at_m) == pytest.approx((2.0, 0.0), abs=1e-6)
    assert (sun.magnification, sun.blur_mm) == pytest.approx((1.0, 18.5), rel=3e-3)
    (lit,) = landed_light(load_text(TEXT.replace("opening_mm = 40, card_mm = 500", "opening_deg = 0.53"), "test"))
    assert (lit.share, lit.distance_m) == pytest.approx((1.0, 2.0), abs=1e-3)


def test_questions_about_a_lens_are_refused_and_sharpness_answers():
    scene = load_text(TEXT, "test")
    found = sharpness(scene, None, (0.0, 1.5, 0.0))
    assert found.edge_mm == pytest.approx(0.687 * 120.0, rel=2e-3)
    assert found.limits[0].cause == "the lamp's opening" and not found.has_lens
    for ask in (lambda: sharpness(scene, None, (0.0, 1.5, 0.0), 5.0), lambda: fringe(scene, None, (0.0, 1.5, 0.0))):
        with pytest.raises(SceneError, match="a lamp without a lens"):
            ask()


def test_focus_curves_and_places_are_refused_too():
    scene = load_text(TEXT, "test")
    for ask in (
        lambda: focus_curve(scene, None, (0.0, 1.5, 0.0), [0.0]),
        lambda: compromise(scene, None, [(0.0, 1.5, 0.0)]),
        lambda: place(scene, None, Wishes(1.0, 5.0, 5.6, 100.0, (4.0, 4.0, 2.8))),
    ):
        with pytest.raises(SceneError, match="a lamp without a lens"):
            ask()
