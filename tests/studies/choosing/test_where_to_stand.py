"""Placing a light: answers are what was wished for when rendered, and what cannot be is said with its size."""

from __future__ import annotations

import json
import math
import re

import numpy as np
import pytest

from projector.answers.choosing import relaxation_words
from projector.faults import SceneError
from projector.files.finding import shipped_folder
from projector.scene.model import Filter
from projector.scene.placement import point_of
from projector.scene.reading.reader import load, with_overrides
from projector.scene.reading.saving import save_scene
from projector.stage.power import power_of
from projector.studies.choosing import where_to_stand as study
from projector.studies.choosing.rendered_size import rendered_size
from projector.studies.choosing.room import ROOM_MARGIN, Stands, room_corners, stands
from projector.studies.size.landing import landing
from tests.conftest import mostly_slow

ROOM = (5.0, 5.0, 3.0)


@pytest.fixture(scope="module")
def scene():
    return load(shipped_folder("scene") / "03-cabin-window.toml")


def test_every_answer_renders_as_wished_within_two_per_cent(scene):
    wishes = study.Wishes(1.0, 6.0, 4.0, 400.0, ROOM)
    answers, missed = study.place(scene, scene.projector[0], wishes, ["achromat", "filled-short"])
    assert len(answers) == 2 and not missed
    low, high = (
        corner + margin for corner, margin in zip(room_corners(scene, ROOM), (ROOM_MARGIN, -ROOM_MARGIN), strict=True)
    )
    for item in answers:
        assert item.got_width_m == pytest.approx(1.0, rel=0.02)
        assert item.got_edge_mm == pytest.approx(6.0, rel=0.02)
        assert item.spare_stops >= 0.0
        assert np.all(np.array(item.position_m) >= low - 1e-9) and np.all(np.array(item.position_m) <= high + 1e-9)
        assert np.linalg.norm(np.array(item.position_m) - item.aim_m) == pytest.approx(item.throw_m, rel=1e-9)
    assert [item.spare_stops for item in answers] == sorted((item.spare_stops for item in answers), reverse=True)


ODD_LENS = {
    "focal_length_mm": 70.0,
    "f_number": 2.4,
    "pupil_offset_mm": 40.0,
    "distortion_percent": 12.0,
    "dispersion": {"abbe_number": 40.0},
    "corner_softness_mm": 0.2,
    "transmittance": 0.8,
}


@pytest.mark.slow
@pytest.mark.parametrize(
    ("lens", "wishes"),
    [
        (None, study.Wishes(1.0, 6.0, 4.0, 400.0, ROOM)),
        ("achromat", study.Wishes(1.0, 6.0, 4.0, 400.0, ROOM)),
        ("filled-short", study.Wishes(1.3, 9.0, 2.0, 400.0, ROOM)),
        (None, study.Wishes(1.1, 1.5, 1.0, 800.0, ROOM)),
    ],
    ids=["own", "another of the same length", "a short one", "own, stopped down"],
)
@pytest.mark.parametrize("own", mostly_slow([None, ODD_LENS]), ids=["crown", "odd"])
def test_an_answer_saved_as_a_scene_renders_to_the_numbers_promised(tmp_path, own, lens, wishes):
    """Width, edge, throw and meter of the saved scene, by what a preview prints and by a map of a plate at the target.

    The landmark lies on the field that the figure's mesh stands for: 0.5 mm of throw is 3e-4 of size. A map's border
    stands within a texel of 1/4000 and its edge within 2 %.
    """
    source, text = tmp_path / "mine.toml", (shipped_folder("scene") / "03-cabin-window.toml").read_text()
    source.write_text(
        text if own is None else text.replace('{ file = "single-crown" }', json.dumps(own).replace(": ", " = "))
    )
    scene = load(source)
    spec = scene.projector[0]
    (answer,), missed = study.place(scene, spec, wishes, [lens or study.OWN_LENS], "pilot.nose_tip")
    assert not missed and answer.is_own == (lens is None)
    saved = load(save_scene(source, tmp_path / "best.toml", study.changes_for(spec, answer, "pilot.nose_tip")))
    found, new = landing(saved, saved.projector[0]), saved.projector[0]
    assert (found.throw_m, found.pattern_width_m) == pytest.approx((answer.throw_m, answer.width_m), rel=5e-4)
    # Where the landmark and the mesh differ, so does the blur: by 1/Z of the difference, 0.5 mm at 2 m, times the
    # pupil.
    assert found.edge_width_mm == pytest.approx(answer.edge_mm, abs=0.02)
    at_iso = 2.0 * math.log2(answer.meter_f_number / found.open_gate_f_number) - math.log2(
        wishes.iso / saved.camera.iso
    )
    assert at_iso == pytest.approx(0.0, abs=2e-3)
    assert answer.width_m == pytest.approx(wishes.width_m, rel=1e-3) and answer.edge_mm <= wishes.edge_mm * 1.005
    goal = tuple(float(value) for value in point_of(saved, "pilot.nose_tip"))
    width, edge = rendered_size(
        saved,
        new.model_copy(update={"aim": goal, "focus": new.focus.model_copy(update={"at": goal})}),
        answer.width_m,
        answer.edge_mm,
    )
    assert width == pytest.approx(answer.width_m, rel=2e-3)
    assert edge == pytest.approx(answer.edge_mm, rel=0.02)


def test_the_scenes_own_lens_is_a_candidate_and_comes_once(scene):
    answers, missed = study.place(scene, scene.projector[0], study.Wishes(1.0, 6.0, 4.0, 400.0, ROOM), render=False)
    assert (
        sorted(item.lens for item in answers) == ["achromat", "filled-short", "single-acrylic", "single-crown"]
        and not missed
    )
    # The scene's own is the shipped single crown.
    assert [item.lens for item in answers if item.is_own] == ["single-crown"]
    spec = scene.projector[0]
    other = spec.model_copy(update={"lens": spec.lens.model_copy(update={"transmittance": 0.7})})
    answers, _ = study.place(scene, other, study.Wishes(1.0, 6.0, 4.0, 400.0, ROOM), render=False)
    assert len(answers) == 5 and [item.lens for item in answers if item.is_own] == [study.OWN_LENS]


def test_light_is_that_of_a_preview_with_the_same_lens_at_the_same_place(scene):
    """One rule: a reading taken with 85 mm f/1.8 (47.2 mm open) and carried over to a lamp that fills 24 mm of 50 mm
    f/1.4: 2·log2(24/47.2) = −1.95 stops, and the notes say the same.
    """
    spec = scene.projector[0]
    (answer,), _ = study.place(scene, spec, study.Wishes(1.0, 6.0, 1.0, 400.0, ROOM), ["filled-short"], render=False)
    # f/8 at ISO 400 and 2.40 m, by the inverse square counted from the lens.
    assert 2.0 * math.log2(answer.meter_f_number / (8.0 * 2.40 / answer.throw_m)) == pytest.approx(-1.952, abs=0.005)
    changed = with_overrides(scene, study.changes_for(spec, answer))
    assert landing(changed, changed.projector[0]).open_gate_f_number == pytest.approx(answer.meter_f_number, rel=2e-3)
    assert answer.carried_over == power_of(changed, changed.projector[0]).carried_over.sentence("window")
    (own,), _ = study.place(scene, spec, study.Wishes(1.0, 6.0, 1.0, 400.0, ROOM), [study.OWN_LENS], render=False)
    assert own.carried_over is None


def printed(words: str, pattern: str) -> float:
    return float(re.search(pattern, words)[1])


@pytest.mark.parametrize("lens", mostly_slow(["achromat", "filled-short", study.OWN_LENS]))
def test_what_would_have_to_give_may_be_typed_as_it_is_printed(scene, lens):
    """Each limit that is printed, taken at its word: that wish is met then, and by the least step."""
    spec, low = scene.projector[0], (3.0, 2.6, 2.7)

    def missed(*wishes):
        _, relaxations = study.place(scene, spec, study.Wishes(*wishes), [lens], render=False)
        return relaxations[0] if relaxations else None

    wide = missed(3.0, 9.0, 0.6, 400.0, low)
    assert wide.wish == "width"
    width = printed(relaxation_words(wide), r"which gives ([\d.]+) m")
    assert missed(width, 9.0, 0.6, 400.0, low) is None and missed(width + 2e-3, 9.0, 0.6, 400.0, low).wish == "width"
    # No answer stands beyond what the room was said to allow.
    (answer,), _ = study.place(scene, spec, study.Wishes(width, 9.0, 0.6, 400.0, low), [lens], render=False)
    assert answer.throw_m <= printed(relaxation_words(wide), r"the room allows ([\d.]+) m") + 0.012
    sharp = missed(1.0, 1e-3, 0.6, 400.0, ROOM)
    assert sharp.wish == "edge"
    edge = printed(relaxation_words(sharp), r"at f/22, is ([\d.]+) mm")
    now = missed(1.0, edge, 0.6, 400.0, ROOM)
    assert now is None or now.wish != "edge"
    assert missed(1.0, max(edge - 0.011, 1e-3), 0.6, 400.0, ROOM).wish == "edge"
    dark = missed(1.0, 9.0, 40.0, 400.0, ROOM)
    assert dark.wish == "light"
    f_number, iso = (
        printed(relaxation_words(dark), r"would read f/([\d.]+) there"),
        printed(relaxation_words(dark), r"f/40 at ISO ([\d.]+)"),
    )
    assert missed(1.0, 9.0, f_number, 400.0, ROOM) is None and missed(1.0, 9.0, 40.0, iso, ROOM) is None
    assert missed(1.0, 9.0, f_number + 0.1, 400.0, ROOM).wish == "light"


def test_a_room_too_short_says_how_wide_it_allows(scene):
    """W = G·(D − f)/f turned round (OpenStax, University Physics 3, Thin Lenses), less what the softened focus takes:
    under 2 %.
    """
    wishes = study.Wishes(3.0, 6.0, 4.0, 400.0, (4.0, 3.0, 2.7))
    answers, missed = study.place(scene, scene.projector[0], wishes, ["achromat"], render=False)
    assert answers == [] and missed[0].wish == "width"
    longest = stands(
        scene, scene.projector[0].position_m, np.array(point_of(scene, scene.projector[0].aim)), wishes.room_m, 60.0
    ).longest_m
    assert 0.98 < missed[0].possible / (0.040 * (longest / 0.085 - 1.0)) < 1.0


def test_a_lens_that_focuses_no_nearer_says_how_narrow_it_gets(scene):
    spec = scene.projector[0]
    far = spec.model_copy(update={"lens": spec.lens.model_copy(update={"nearest_focus_m": 1.5})})
    answers, missed = study.place(scene, far, study.Wishes(0.3, 9.0, 1.0, 400.0, ROOM), [study.OWN_LENS], render=False)
    assert answers == [] and "focuses no nearer than 1.500 m" in relaxation_words(missed[0])
    narrow = printed(relaxation_words(missed[0]), r"which gives ([\d.]+) m")
    wishes = study.Wishes(narrow, 9.0, 1.0, 400.0, ROOM)
    assert len(study.place(scene, far, wishes, [study.OWN_LENS], render=False).answers) == 1


@pytest.mark.parametrize(("edge_mm", "within_m"), [(20.0, 1e-3), (100.0, 8e-3)])
def test_a_very_soft_border_is_measured_where_half_of_its_light_is_left(scene, edge_mm, within_m):
    """A round border of radius R draws it in by C²/24R for a blur disc C of edge/0.687 (the disc's area beyond the
    circle, over its chord): 1.8 mm on either side for 100 mm; and light falls by cos⁴ from where it is full, one edge
    farther in: 1.6 mm more.
    """
    (answer,), _ = study.place(
        scene, scene.projector[0], study.Wishes(1.0, edge_mm, 1.0, 400.0, ROOM), [study.OWN_LENS]
    )
    assert answer.width_m == pytest.approx(1.0, rel=1e-3)
    assert answer.got_width_m == pytest.approx(1.0, abs=within_m)


def test_a_lamp_whose_filters_are_black_is_said_so(scene):
    spec = scene.projector[0].model_copy(
        update={"filter": (Filter(kind="table", wavelength_nm=(380.0, 730.0), transmittance=(0.0, 0.0)),)}
    )
    answers, missed = study.place(scene, spec, study.Wishes(1.0, 6.0, 1.0, 400.0, ROOM), ["achromat"])
    assert answers == [] and "no light" in relaxation_words(missed[0]) and missed[0].possible == 0.0


def test_a_light_that_stands_on_its_target_may_go_anywhere(scene):
    goal = np.array(scene.projector[0].position_m)
    found = stands(scene, goal, goal, ROOM, 60.0)
    assert np.isfinite(found.directions).all() and found.longest_m > 1.0


def test_a_throw_at_which_nobody_can_stand_says_from_where_somebody_can(scene):
    """A target on the back wall: a narrow pattern's throw ends within 0.2 m of it; the width that is printed then has a
    place.
    """
    wishes = [0.03, 0.5, 0.6, 400.0, ROOM]
    answers, (missed,) = study.place(
        scene, scene.projector[0], study.Wishes(*wishes), ["achromat"], "backdrop.centre", render=False
    )
    assert not answers and missed.wish == "width" and "nobody can stand" in relaxation_words(missed)
    wishes[0] = printed(relaxation_words(missed), r"which gives ([\d.]+) m")
    (answer,), _ = study.place(
        scene, scene.projector[0], study.Wishes(*wishes), ["achromat"], "backdrop.centre", render=False
    )
    assert answer.position_m[2] - answer.aim_m[2] == pytest.approx(ROOM_MARGIN, abs=0.005)


def test_a_lamp_that_would_stand_in_the_picture_is_given_as_the_reason(scene):
    """Within 12° of the line of a camera of 20 mm (frame ± 42°) every lamp before the camera shows: 0.5 m wide would
    stand 1.15 m off. Without the reason it read as if walls stood there.
    """
    wide = with_overrides(scene, ["camera.focal_length_mm=20"])
    wishes = study.Wishes(0.5, 6.0, 4.0, 400.0, (5.0, 6.0, 3.0), 12.0)
    answers, (missed,) = study.place(wide, wide.projector[0], wishes, ["achromat"], render=False)
    assert not answers and "there the lamp would stand in the picture" in relaxation_words(missed)
    goal = np.array(point_of(wide, "pilot.mouth"))
    found = stands(wide, wide.projector[0].position_m, goal, wishes.room_m, 12.0)
    assert found.is_hindered_at(1.15) and not found.is_hindered_at(2.6) and not found.is_hindered_at(40.0)


def test_a_room_in_which_every_place_is_in_the_picture_says_so(scene):
    """Within 12° of the line of a camera of 20 mm, in a room that ends half a metre before it, no place is left."""
    wide = with_overrides(scene, ["camera.focal_length_mm=20"])
    wishes = study.Wishes(1.0, 6.0, 1.0, 400.0, (5.0, 3.5, 3.0), 12.0)
    answers, (missed,) = study.place(wide, "window", wishes, ["achromat"], render=False)
    assert not answers
    assert (
        "wherever the room sees the target within that angle, the lamp would stand in the picture"
        in relaxation_words(missed)
    )


def test_a_room_that_is_long_enough_but_for_a_lamp_in_the_way_says_so(scene, monkeypatch):
    """Free up to 1.5 m and seen up to 2.9 m: 1 m wide needs 2.2 m, where the lamp is in the way. 4 m wide needs more
    than there is at all, which is said as well.
    """
    goal = np.array(point_of(scene, "pilot.mouth"))
    free = (np.array([[0.0, 0.0, 1.0]]), np.array([0.3]), np.array([1.5]))
    found = Stands(goal, goal - 9.0, goal + 9.0, np.array([0.0, 0.0, 1.0]), *free, np.array([[0.0], [2.9]]))
    monkeypatch.setattr(study, "stands", lambda *_: found)
    for width_m in (1.0, 4.0):
        wishes = study.Wishes(width_m, 6.0, 1.0, 400.0, ROOM)
        answers, (missed,) = study.place(scene, "window", wishes, ["achromat"], render=False)
        assert not answers and missed.wish == "width"
        assert "the room allows 1.50 m" in relaxation_words(missed)
        assert (
            "farther off, up to 2.90 m, the lamp would stand in the picture or before the camera"
            in relaxation_words(missed)
        )


def test_nobody_is_sent_behind_what_hides_the_target(scene):
    """A board between the target and half of the room: every place given sees the target, and so does the longest
    throw.
    """
    board = scene.surface[0].model_copy(
        update={"name": "board", "position_m": (-1.0, 1.5, 1.2), "width_m": 2.0, "height_m": 3.0}
    )
    blocked = scene.model_copy(update={"surface": (*scene.surface, board)}).placed_at("t", scene.folder)
    goal = np.array(point_of(blocked, "pilot.mouth"))
    found = stands(blocked, blocked.projector[0].position_m, goal, ROOM, 60.0)
    for distance in np.linspace(0.3, found.longest_m, 9):
        place = found.at(distance)
        crossing = goal + (place - goal) * (1.2 - goal[2]) / (place[2] - goal[2])
        assert place[2] < 1.2 or not (-2.0 < crossing[0] < 0.0 and 0.0 < crossing[1] < 3.0)


def test_too_little_light_says_how_many_stops(scene):
    """The reading is f/8 at ISO 400 and 2.40 m, f/1.8: a wish of f/32 is short by about 2·log2(32/f-number that it
    meters).
    """
    answers, missed = study.place(
        scene, scene.projector[0], study.Wishes(1.0, 6.0, 32.0, 400.0, ROOM), ["achromat"], render=False
    )
    assert answers == [] and missed[0].wish == "light"
    # At 2.21 m instead of 2.40 m: f/8 · 2.40/2.21.
    assert missed[0].possible == pytest.approx(8.0 * 2.40 / 2.21, rel=0.01)


def test_a_sharper_wish_than_the_glass_allows_stops_down(scene):
    answers, _missed = study.place(
        scene, scene.projector[0], study.Wishes(1.0, 1.0, 1.0, 400.0, ROOM), ["single-crown"], render=False
    )
    assert answers and answers[0].f_number > 1.8
    assert answers[0].edge_mm <= 1.0 + 1e-6


@pytest.mark.parametrize(
    "wishes",
    [
        study.Wishes(0.0, 6.0, 4.0, 400.0, ROOM),
        study.Wishes(1.0, 0.0, 4.0, 400.0, ROOM),
        study.Wishes(1.0, 6.0, 4.0, 400.0, (0.3, 3.0, 2.7)),
    ],
)
def test_wishes_that_mean_nothing_are_refused(scene, wishes):
    with pytest.raises(SceneError):
        study.place(scene, scene.projector[0], wishes, ["achromat"])


def test_an_unknown_lens_is_named(scene):
    with pytest.raises(SceneError, match="achromat"):
        study.place(scene, scene.projector[0], study.Wishes(1.0, 6.0, 4.0, 400.0, ROOM), ["acromat"])


@pytest.mark.parametrize("lens", mostly_slow(["filled-short", "single-crown"]))
@pytest.mark.parametrize("power", ["reading", "output"])
def test_a_lens_is_lit_by_the_rule_of_a_preview(scene, lens, power):
    """The f-number that the answer names is the one that a preview of the same lens at the same place prints: the
    reading was taken with the scene's own lens.
    """
    from projector.scene.model import Output
    from projector.scene.reading.reader import with_overrides
    from projector.studies.size.landing import landing

    if power == "output":
        spec = scene.projector[0].model_copy(update={"reading": None, "output": Output(lumen_seconds=150.0)})
        scene = scene.model_copy(update={"projector": (spec,)}).placed_at(scene.name, scene.folder)
    answers, _ = study.place(scene, scene.projector[0], study.Wishes(1.0, 12.0, 1.0, 400.0, ROOM), [lens], render=False)
    (answer,) = answers
    values = {
        "position_m": list(answer.position_m),
        "aim": list(answer.aim_m),
        "focus.at": list(answer.aim_m),
        "focus.offset_mm": answer.focus_offset_mm,
        "lens.file": lens,
        "lens.f_number": answer.f_number,
    }
    there = with_overrides(scene, [f"projector.window.{key}={value}" for key, value in values.items()])
    found = landing(there, there.projector[0])
    # The preview's throw ends at the skin, a few millimetres from the landmark.
    assert answer.meter_f_number * answer.throw_m == pytest.approx(found.open_gate_f_number * found.throw_m, rel=2e-3)


def test_nobody_is_sent_behind_the_wall_that_is_to_be_lit(studio):
    """A wall turned by 70°: within 85° of the camera's line half of the places see its back.

    Left are those before its front.
    """
    scene = studio.scene(None, {"yaw_deg": 70.0, "width_m": 1.0}, {"position_m": [2.0, 1.5, 2.0]})
    found = stands(scene, (1.5, 1.5, 1.5), np.array([0.0, 1.5, 0.0]), ROOM, 85.0)
    front = np.array([math.sin(math.radians(70.0)), 0.0, math.cos(math.radians(70.0))])
    assert len(found.directions) > 100 and (found.directions @ front > 0.0).all()


@pytest.mark.parametrize("lens", mostly_slow(["achromat", "single-crown", "filled-short"]))
def test_a_softer_wish_than_any_offset_gives_says_how_soft_it_gets(scene, lens):
    """Edges of ten metres on a pattern of one: refused with what is possible, which then is."""
    answers, (missed,) = study.place(
        scene, scene.projector[0], study.Wishes(1.0, 1e4, 0.5, 400.0, ROOM), [lens], render=False
    )
    assert not answers and missed.wish == "edge" and "its softest edge at that throw is" in relaxation_words(missed)
    possible = float(re.search(r"is ([\d.]+) mm", relaxation_words(missed))[1])
    wishes = study.Wishes(1.0, possible, 0.5, 400.0, ROOM)
    assert study.place(scene, scene.projector[0], wishes, [lens], render=False).answers
