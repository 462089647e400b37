"""What a picture's tones say: histogram, marks, stops around a reference, clipping and its cures, single lights."""

from __future__ import annotations

import math

import numpy as np
import pytest

from projector import studies
from projector.answers.pictures import clipping_note
from projector.faults import SceneError
from projector.rendering import preview as rendering
from projector.rendering.preview import preview
from projector.stage.stage import Stage

SIZED = {"width": 96, "height": 72, "quality": "quick"}
# Straight on, so that the middle of the wall is the middle of the picture.
GREY_WALL = {"wall": {"reflectance": 0.18}, "camera": {"f_number": 8.0, "position_m": [0.3, 1.5, 3.0]}}


def grey_scene(studio, stops: float = 0.0, **projector):
    """A grey card in light that lies so many stops over what the camera is set for."""
    camera = {**GREY_WALL["camera"], "iso": 100.0 * 2.0**stops}
    return studio.scene(projector, GREY_WALL["wall"], camera)


def test_a_metered_grey_card_is_at_code_118_and_at_no_stops(studio):
    """IEC 61966-2-1: linear 0.18 is code 117.65; the axis of stops has its nought there and white 2.47 over it.

    The camera looks at the middle of the pattern alone: farther out an even gate's light falls.
    """
    close = {"camera.focal_length_mm": 1000}
    found = studies.histogram(preview(grey_scene(studio), close, **SIZED))
    assert found.counts.sum(axis=1).tolist() == [found.n_pixels] * 3 == [96 * 72] * 3
    lit = found.counts[:, 4:]
    assert (lit.argmax(axis=1) + 4).tolist() == pytest.approx([118, 118, 118], abs=1)
    assert found.stops_over_grey[118] == pytest.approx(0.0, abs=0.01)
    assert found.stops_over_grey[255] == pytest.approx(math.log2(1 / 0.18), abs=1e-9)
    assert found.stops_over_grey[0] == -math.inf


@pytest.mark.parametrize("stops", [-3, -1, 0, 1, 2, 4])
def test_the_middle_of_the_wall_lies_where_the_exposure_puts_it(studio, stops):
    """A stop of ISO is a stop of the picture, over white too. 0.01: the rounding of the numbers kept, and the camera's
    pixel beside the axis.
    """
    picture = preview(grey_scene(studio, stops), **SIZED)
    assert studies.stops_around(picture).stops[36, 48] == pytest.approx(stops, abs=0.01)
    around = studies.stops_around(picture, "wall.centre")
    assert around.stops[around.place[1], around.place[0]] == 0.0
    assert around.level == pytest.approx(0.18 * 2.0**stops, rel=0.01)
    assert sum(around.shares.values()) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("point", "words"),
    [
        ((0.0, 1.5, 9.0), "lies behind the camera"),
        ((9.0, 1.5, 0.0), "lies outside the picture"),
        ((0.0, 1.5, -0.5), "does not see .*: wall is 0.5"),
        ((0.45, 1.5, 0.0), "no light comes from"),
    ],
)
def test_a_reference_that_the_picture_does_not_show_is_refused(studio, point, words):
    picture = preview(grey_scene(studio, gate={"diameter_mm": 20.0}), **SIZED)
    with pytest.raises(SceneError, match=words):
        studies.stops_around(picture, point)


def test_marks_are_where_the_bytes_are_white_or_black(studio):
    picture = preview(grey_scene(studio, 4, gate={"diameter_mm": 20.0}), **SIZED)
    found = studies.marked(picture)
    assert np.array_equal(found.clipped, picture.pixels == 255)
    assert found.clipped[36, 48].all() and not found.clipped[2, 2].any()
    assert found.blocked[2, 2] and not found.blocked[36, 48]
    assert studies.marked(picture, clipped=False).clipped is None
    counts = studies.histogram(picture)
    assert counts.clipped_share["red"] == pytest.approx(found.clipped[..., 0].mean())
    assert counts.blocked_share == pytest.approx(found.blocked.mean())


def test_less_light_by_what_is_said_brings_the_pattern_back(studio):
    """A lamp neutral in the picture, two stops over white: what is said is what is over, and with that less nothing
    large clips any more.
    """
    scene = grey_scene(studio, 4.5)
    found = studies.clipping(preview(scene, **SIZED))
    assert found.is_large and found.shares["green"] > 0.9
    assert found.stops_less == pytest.approx(4.5 - math.log2(1 / 0.18), abs=0.05)
    assert found.neutral_density == pytest.approx(0.30103 * found.stops_less, rel=1e-4)
    assert found.white_balance_k is None
    back = studies.clipping(preview(grey_scene(studio, 4.5 - found.stops_less - 0.02), **SIZED))
    assert back is None or not back.is_large
    note = clipping_note(found)
    assert note.startswith("all three channels clip in 100 % of the pattern: 2.0 stops less light bring them back")
    assert studies.clipping(preview(grey_scene(studio), **SIZED)) is None


def test_a_tungsten_lamp_under_daylight_balance_clips_in_red_and_white_balance_saves_stops(studio):
    """What white balance at the lamp's own temperature is said to save is what a picture made with it has."""
    tungsten = {"source": {"kind": "tungsten", "temperature_k": 3200.0}}
    scene = grey_scene(studio, 2.6, **tungsten)
    picture = preview(scene, {"camera.white_balance_k": 5600.0}, **SIZED)
    found = studies.clipping(picture)
    assert found.channel == "red" and found.shares["red"] > 0.9 and found.shares["blue"] == 0.0
    assert found.white_balance_k == pytest.approx(3200.0, abs=1.0)
    balanced = preview(scene, {"camera.white_balance_k": found.white_balance_k}, **SIZED)
    left = studies.clipping(balanced)
    assert left.stops_less == pytest.approx(found.stops_less - found.white_balance_stops, abs=0.02)
    # 3200 → 5600 K is −133.93 mired (check value of the mired scale, 1e6/T).
    assert found.mired_shift == pytest.approx(-134.0)
    note = clipping_note(found)
    assert "red clips in" in note and "white balance at 3200 K" in note and "−134 mired" in note


def test_what_other_lights_clip_in_the_pattern_is_laid_to_them(studio):
    """A room three stops over a pattern that is right: the pattern is a ninth of the light, and no filter before its
    lamp would bring the picture back.
    """
    lux = 8.0 * 160.0 / 0.01
    scene = studio.scene({}, GREY_WALL["wall"], {**GREY_WALL["camera"], "shutter_s": 0.01}, ambient={"lux": lux})
    found = studies.clipping(preview(scene, **SIZED))
    assert found.is_large and found.pattern_share == pytest.approx(1 / 9, abs=0.02)
    note = clipping_note(found)
    assert "of the light there is the pattern's, so look to the other lights first" in note and "filter" not in note


def test_a_large_picture_keeps_every_so_many_pixels_of_its_light(studio, monkeypatch):
    scene = grey_scene(studio)
    whole = preview(scene, width=97, height=71, quality="fine")
    monkeypatch.setattr(rendering, "_MOST_KEPT", 800)
    monkeypatch.setattr(rendering, "ROWS_PER_BAND", 16)
    thinned = preview(scene, width=97, height=71, quality="fine")
    assert whole.light.step == 1 and thinned.light.step == 3
    assert np.array_equal(thinned.pixels, whole.pixels)
    assert np.array_equal(thinned.light.linear, whole.light.linear[::3, ::3])
    assert np.array_equal(thinned.light.pattern, whole.light.pattern[::3, ::3])
    assert studies.marked(thinned).pixels.shape == (24, 33, 3)
    level = studies.stops_around(thinned, "wall.centre").level
    assert level == pytest.approx(studies.stops_around(whole, "wall.centre").level, rel=0.02)


def test_single_lights_add_up_to_the_picture():
    """Light adds: linear pictures of each light alone sum to that of all together, whichever of them are flash."""
    alone = [preview("05-two-projectors", only=name, **SIZED).light for name in ("blinds", "texture", "ambient")]
    together = preview("05-two-projectors", **SIZED).light
    total = sum(light.linear.astype(float) for light in alone)
    # A picture of fewer lights has fewer points along shadow edges: single pixels there differ.
    assert np.median(np.abs(total - together.linear)) < 1e-3
    assert (np.abs(total - together.linear) > 0.01).mean() < 0.01
    assert not alone[2].pattern.any() and alone[0].pattern.any()


def test_only_takes_several_lights_and_says_so():
    both = preview("05-two-projectors", only=["texture", "blinds"], **SIZED)
    assert both.about["settings"]["only"] == ["texture", "blinds"]
    assert "only texture and blinds" in repr(both)
    swapped = preview("05-two-projectors", only=["blinds", "texture"], **SIZED)
    assert np.array_equal(both.pixels, swapped.pixels)
    everything = preview("05-two-projectors", only=["blinds", "texture", "ambient"], **SIZED)
    assert np.array_equal(everything.pixels, preview("05-two-projectors", **SIZED).pixels)


def test_a_room_in_stops_under_a_projector_stays_when_only_the_room_is_on():
    """The cabin's room is counted from its window: with the window off it is as bright as it was."""
    room = preview("03-cabin-window", only="ambient", **SIZED)
    assert room.light.linear.max() > 0.005 and not room.light.pattern.any()


@pytest.mark.parametrize("names", [["windw"], ["window", "moon"], []])
def test_an_unknown_light_is_refused_with_those_there_are(names):
    with pytest.raises(SceneError, match="window, ambient"):
        Stage(preview("03-cabin-window", **SIZED).light.scene).lit_by(*names)
