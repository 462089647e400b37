"""Placing a light: answers are what was wished for when rendered, and what cannot be is said with its size."""

from __future__ import annotations

import numpy as np
import pytest

from projector.scene.faults import SceneError
from projector.scene.reader import load, shipped_folder
from projector.studies import placement as study

ROOM = (5.0, 5.0, 3.0)


@pytest.fixture(scope="module")
def scene():
    return load(shipped_folder("scene") / "03-cabin-window.toml")


def test_every_answer_renders_as_wished_within_two_per_cent(scene):
    answers, missed = study.place(scene, scene.projector[0], study.Wishes(1.0, 6.0, 4.0, 400.0, ROOM), ["achromat", "filled-short"])
    assert len(answers) == 2 and not missed
    low, high = study._bounds(scene, study.Wishes(1.0, 6.0, 4.0, 400.0, ROOM))
    for item in answers:
        assert item.got_width_m == pytest.approx(1.0, rel=0.02)
        assert item.got_edge_mm == pytest.approx(6.0, rel=0.02)
        assert item.spare_stops >= 0.0
        assert np.all(np.array(item.position_m) >= low - 1e-9) and np.all(np.array(item.position_m) <= high + 1e-9)
        assert np.linalg.norm(np.array(item.position_m) - item.aim_m) == pytest.approx(item.throw_m, rel=1e-9)
    assert [item.spare_stops for item in answers] == sorted((item.spare_stops for item in answers), reverse=True)


def test_a_room_too_short_says_how_wide_it_allows(scene):
    """W = G·(D − f)/f turned round (OpenStax, University Physics 3, Thin Lenses)."""
    answers, missed = study.place(scene, scene.projector[0], study.Wishes(3.0, 6.0, 4.0, 400.0, (4.0, 3.0, 2.7)), ["achromat"], render=False)
    assert answers == [] and missed[0].wish == "width"
    longest = study._longest_throw(scene, scene.projector[0], np.array(study.point_of(scene, scene.projector[0].aim)), study.Wishes(3.0, 6.0, 4.0, 400.0, (4.0, 3.0, 2.7)))
    assert missed[0].possible == pytest.approx(0.040 * (longest / 0.085 - 1.0), rel=1e-6)


def test_too_little_light_says_how_many_stops(scene):
    """The reading is f/8 at ISO 400 and 2.40 m, f/1.8: a wish of f/32 is short by about 2·log2(32/f-number that it meters)."""
    answers, missed = study.place(scene, scene.projector[0], study.Wishes(1.0, 6.0, 32.0, 400.0, ROOM), ["achromat"], render=False)
    assert answers == [] and missed[0].wish == "light"
    # At 2.21 m instead of 2.40 m: f/8 · 2.40/2.21.
    assert missed[0].possible == pytest.approx(8.0 * 2.40 / 2.21, rel=0.01)


def test_a_sharper_wish_than_the_glass_allows_stops_down(scene):
    answers, missed = study.place(scene, scene.projector[0], study.Wishes(1.0, 1.0, 1.0, 400.0, ROOM), ["single-crown"], render=False)
    assert answers and answers[0].f_number > 1.8
    assert answers[0].edge_mm <= 1.0 + 1e-6


@pytest.mark.parametrize("wishes", [study.Wishes(0.0, 6.0, 4.0, 400.0, ROOM), study.Wishes(1.0, 0.0, 4.0, 400.0, ROOM), study.Wishes(1.0, 6.0, 4.0, 400.0, (0.3, 3.0, 2.7))])
def test_wishes_that_mean_nothing_are_refused(scene, wishes):
    with pytest.raises(SceneError):
        study.place(scene, scene.projector[0], wishes, ["achromat"])


def test_an_unknown_lens_is_named(scene):
    with pytest.raises(SceneError, match="achromat"):
        study.place(scene, scene.projector[0], study.Wishes(1.0, 6.0, 4.0, 400.0, ROOM), ["acromat"])


@pytest.mark.parametrize("lens", ["filled-short", "single-crown"])
@pytest.mark.parametrize("power", ["reading", "output"])
def test_a_lens_is_lit_by_the_rule_of_a_preview(scene, lens, power):
    """The f-number that the answer names is the one that a preview of the same lens at the same place prints: the reading was taken with the scene's own lens."""
    from projector.scene.model import Output
    from projector.scene.reader import with_overrides
    from projector.studies.landing import landing

    if power == "output":
        spec = scene.projector[0].model_copy(update={"reading": None, "output": Output(lumen_seconds=150.0)})
        scene = scene.model_copy(update={"projector": (spec,)}).placed_at(scene.name, scene.folder)
    answers, _ = study.place(scene, scene.projector[0], study.Wishes(1.0, 12.0, 1.0, 400.0, ROOM), [lens], render=False)
    (answer,) = answers
    values = {"position_m": list(answer.position_m), "aim": list(answer.aim_m), "focus.at": list(answer.aim_m), "focus.offset_mm": answer.focus_offset_mm, "lens.file": lens, "lens.f_number": answer.f_number}
    there = with_overrides(scene, [f"projector.window.{key}={value}" for key, value in values.items()])
    found = landing(there, there.projector[0])
    # The preview's throw ends at the skin, a few millimetres from the landmark.
    assert answer.meter_f_number * answer.throw_m == pytest.approx(found.open_gate_f_number * found.throw_m, rel=2e-3)
