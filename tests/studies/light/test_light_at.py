"""Where light gets to and, where none does, the reason: against plane geometry, rendered maps, and what commands then
say.
"""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from typer.testing import CliRunner

from projector.cli import app
from projector.faults import SceneError
from projector.rendering.maps.irradiance import irradiance_map
from projector.scene.placement import point_of
from projector.scene.reading.reader import load
from projector.stage.stage import Stage
from projector.studies.edges import fringe, sharpness
from projector.studies.light import light_at
from projector.studies.light.light_at import AWAY, BEHIND, CUT, DARK, LIT, NOWHERE, OUTSIDE, SHADOW
from projector.studies.size.landing import landing

# A square wall of 2 m at z = 0, the lamp 2 m before its middle: 60 mm of gate, 85 mm of lens focused there.
TUBE = 1.0 / (1.0 / 0.085 - 1.0 / 2.0)
BOARD = {"name": "board", "position_m": [0.3, 1.5, 0.8], "width_m": 0.4, "height_m": 0.4}


def at(scene, point):
    return light_at.light_at(scene, scene.projector[0], point)


def beside(studio, projector=None, *more):
    return studio.scene(
        projector,
        {"width_m": 6.0},
        surfaces=(
            None
            if not more
            else [{"name": "wall", "position_m": [0.0, 1.5, 0.0], "width_m": 6.0, "height_m": 2.0}, *more]
        ),
    )


def test_a_point_outside_the_beam_is_told_by_its_angle_and_the_beams(studio):
    """2.5 m beside the axis at 2 m: atan(2.5/2) = 51.3°; the beam ends at atan(30 mm / tube) =
    18.7° (plane geometry).
    """
    found = at(beside(studio), (2.5, 1.5, 0.0))
    assert found.reason == OUTSIDE and not found.has_edges
    assert (found.off_axis_deg, found.beam_deg) == pytest.approx(
        (math.degrees(math.atan(1.25)), math.degrees(math.atan(0.03 / TUBE))), abs=0.01
    )
    assert found.words == "outside the beam: 51° off the axis, the beam ends at 19°"


def test_a_rectangular_gate_ends_where_its_side_is(studio):
    """Along its longer side and across it: half of 60 and of 20 mm over the tube."""
    scene = beside(studio, {"gate": {"shape": "rectangle", "diameter_mm": None, "width_mm": 60, "height_mm": 20}})
    ends = [at(scene, point).beam_deg for point in ((2.5, 1.5, 0.0), (0.0, 2.3, 0.0))]
    assert ends == pytest.approx([math.degrees(math.atan(half / TUBE)) for half in (0.03, 0.01)], abs=0.01)
    assert at(scene, (0.0, 2.3, 0.0)).reason == OUTSIDE


def test_behind_the_lamp_and_nearer_than_a_pupil_that_stands_before_it(studio):
    box = {
        "name": "box",
        "shape": "box",
        "position_m": [0.4, 1.5, 2.6],
        "width_m": 0.2,
        "height_m": 0.2,
        "depth_m": 0.2,
    }
    assert at(beside(studio, {}, box), (0.4, 1.5, 2.5)).reason == BEHIND
    found = at(beside(studio, {"lens": {"pupil_offset_mm": 300.0}}), (0.0, 1.5, 1.9))
    assert found.reason == BEHIND and found.words.startswith(
        "nearer than the lens: 0.10 m in front of the projector's place, its pupil stands 0.30 m"
    )


@pytest.mark.parametrize(
    ("point", "reason", "words"), [((-0.3, 1.5, 0.0), CUT, "cut off by the left blade"), ((0.3, 1.5, 0.0), LIT, "")]
)
def test_a_blade_is_named_that_leaves_nothing(studio, point, reason, words):
    scene = beside(studio, {"blade": [{"side": "left", "insertion_mm": 28.0}, {"side": "top", "insertion_mm": 5.0}]})
    found = at(scene, point)
    assert found.reason == reason and words in found.words


def test_a_shadow_is_told_with_the_name_of_what_casts_it(studio):
    """The board's middle hides the wall point on the line from the lens through it; half of the lens behind its edge,
    half of the light.
    """
    scene = beside(studio, {"lens": {"f_number": 2.0}}, BOARD)
    behind = at(scene, (0.3 * 2.0 / 1.2, 1.5, 0.0))
    assert behind.reason == SHADOW and behind.words == "in the shadow of board" and behind.hidden_by == ("board",)
    edge = at(scene, (0.1 * 2.0 / 1.2, 1.5, 0.0))
    # The lens in 1200 rays: a row of them more or less is 3 %.
    assert edge.reason == LIT and edge.hidden_share == pytest.approx(0.5, abs=0.03) and "board hides" in edge.words


def test_the_far_side_of_a_body_and_the_back_of_a_wall_face_away(studio):
    box = {
        "name": "box",
        "shape": "box",
        "position_m": [0.0, 1.5, 0.5],
        "width_m": 0.3,
        "height_m": 0.3,
        "depth_m": 0.3,
    }
    found = at(beside(studio, {}, box), (0.0, 1.5, 0.35))
    assert found.reason == AWAY and "this side of box" in found.words
    turned = studio.scene(None, {"yaw_deg": 180.0})
    # The camera looks at the same side, so its light is seen: only what is lit on the far side of both is no light.
    assert at(turned, (0.0, 1.5, 0.0)).reason == LIT
    seen_from_behind = studio.scene(None, {"yaw_deg": 180.0}, {"position_m": [0.0, 1.5, -3.0]})
    assert at(seen_from_behind, (0.0, 1.5, 0.0)).reason == AWAY


def test_a_dark_part_of_the_pattern_says_how_far_its_opening_lands(studio):
    """A stencil open on its right half: 0.2 m to the left of the edge the opening is 0.2 m away, to half a pixel of 30
    mm / 512 × magnification.
    """
    scene = beside(studio, {"stencil": {"file": studio.half_plane(512), "width_mm": 30.0}})
    found = at(scene, (-0.2, 1.5, 0.0))
    assert found.reason == DARK and found.has_edges and not found.arrives
    assert found.opening_mm == pytest.approx(200.0, abs=30.0 / 512 * 2.0 / TUBE)
    assert at(scene, (0.2, 1.5, 0.0)).arrives
    nothing = beside(studio, {"stencil": {"file": studio.bitmap("black.png", np.zeros((64, 64))), "width_mm": 30.0}})
    assert at(nothing, (0.0, 1.5, 0.0)).opening_mm is None


def test_the_share_of_the_lens_that_shines_is_what_a_rendered_map_has_of_the_open_gates_light(studio):
    """Stencil, a blade, a board's shadow, and a wall out of focus: 40 places, each within 0.02 of full light.

    The error: 64 cells of the pupil in the map where two of them meet, one ray in 1200 here, the map's own pixels of 8
    mm.
    """
    stripes = (np.arange(512) // 32 % 2).astype(float)[None, :] * np.ones((512, 1))
    lens = {"lens": {"f_number": 2.0}, "focus": {"distance_m": 1.7}}
    projector = {
        **lens,
        "stencil": {"file": studio.bitmap("stripes.png", stripes), "width_mm": 40.0},
        "blade": [{"side": "bottom", "insertion_mm": 20.0, "offset_mm": 3.0}],
    }
    walls = [
        {"name": "wall", "position_m": [0.0, 1.5, 0.0], "width_m": 1.2, "height_m": 1.2},
        {**BOARD, "position_m": [0.25, 1.5, 0.6]},
    ]
    scene, open_scene = (
        studio.scene(projector, surfaces=walls),
        studio.scene({**lens, "gate": {"diameter_mm": 150.0}}, surfaces=walls[:1]),
    )
    maps = [irradiance_map(item, "wall", 150) for item in (scene, open_scene)]
    shares = maps[0].illuminance / maps[1].illuminance
    random = np.random.default_rng(3)
    reasons, stage = set(), Stage(scene)
    for row, column in random.integers(5, 145, (40, 2)):
        found = light_at.light_at(stage, "window", maps[0].points[row, column].astype(float))
        reasons.add(found.reason)
        near = shares[row - 1 : row + 2, column - 1 : column + 2]
        assert near.min() - 0.02 <= found.share <= near.max() + 0.02, (row, column, found)
    assert {LIT, SHADOW, DARK, CUT} <= reasons


def test_studies_of_edges_refuse_a_point_without_light_by_its_reason(studio):
    scene = beside(studio)
    for study in (sharpness.sharpness, fringe.fringe):
        with pytest.raises(SceneError, match="outside the beam: 51° off the axis"):
            study(scene, scene.projector[0], (2.5, 1.5, 0.0))


def test_a_point_in_the_air_of_the_beam_is_told_what_is_before_and_behind_it(studio):
    found = at(beside(studio), (0.0, 1.5, 1.0))
    assert found.reason == NOWHERE and not found.has_edges
    assert (
        found.words == "nothing is there for light to fall on: as the projector sees it there is wall 1.00 m behind it"
    )


def test_a_focus_in_the_air_is_asked_about_where_the_axis_lands(studio):
    """Focused half a metre before the wall, to be soft on it: no fault, no note, and the question is of the wall."""
    scene = beside(studio, {"focus": {"distance_m": None, "at": [0.0, 1.5, 0.5]}})
    assert light_at.usual_point(scene, scene.projector[0]) == pytest.approx((0.0, 1.5, 0.0))
    assert light_at.focus_notes(scene) == []


# --- what commands say


def asked(*arguments):
    answer = CliRunner().invoke(app, [*arguments, "--json"])
    assert answer.exit_code == 0, answer.output
    return json.loads(answer.stdout)


@pytest.mark.parametrize("command", ["sharpness", "fringe", "contrast"])
def test_commands_answer_without_numbers_where_no_light_falls(command, tmp_path, monkeypatch):
    """Scene 05: the blinds do not reach the backdrop's middle.

    Exit 0, a warning, the reason, and no number, curve, compromise or cure.
    """
    monkeypatch.chdir(tmp_path)
    out = () if command == "contrast" else ("-o", "figure")
    found = asked(
        command, "05-two-projectors", "--projector", "blinds", "--at", "backdrop.centre", "--at", "watch.left_ear", *out
    )
    rows = found["result"]["projectors" if command == "contrast" else "points"]
    assert [row["light"]["reason"] for row in rows] == [OUTSIDE, AWAY]
    for row in rows:
        numbers = {key: value for key, value in row.items() if key not in ("projector", "at", "lens", "light", "cures")}
        assert set(numbers.values()) == {None} and not row.get("cures")
    assert not found["result"].get("compromises") and found["files"] == []
    assert any("no light of blinds at backdrop.centre (outside the beam)" in warning for warning in found["warnings"])
    assert not list(tmp_path.iterdir())


def test_curves_and_compromises_are_those_of_the_points_with_light(tmp_path):
    points = ("--at", "watch.right_cheek", "--at", "watch.nose_tip", "--at", "backdrop.centre")
    found = asked("sharpness", "05-two-projectors", "--projector", "blinds", *points, "-o", str(tmp_path / "soft"))
    (best,) = found["result"]["compromises"]
    assert len(best["edges_mm"]) == 2 and len(found["files"]) == 1


@pytest.mark.parametrize("command", ["check", "preview"])
def test_a_focus_that_no_light_gets_to_is_noted(command, tmp_path):
    out = ("--size", "32x24", "--quality", "quick", "-o", str(tmp_path / "picture")) if command == "preview" else ()
    (note,) = asked(command, "05-two-projectors", "-w", "projector.blinds.focus.at=backdrop.centre", *out)["warnings"]
    assert (
        note
        == "blinds: no light of it gets to what it is focused on, backdrop.centre; outside the beam: 18° off the axis,"
        " the beam ends at 12°."
    )


def test_shipped_scenes_light_what_they_are_focused_on():
    from projector.files.finding import list_scenes

    assert [light_at.focus_notes(load(path)) for path, _ in list_scenes()] == [[]] * len(list_scenes())


def test_a_landing_on_the_back_of_a_wall_meters_nothing(studio):
    """The lamp behind the wall, the camera before it: no f-number there, and the reason; before it both."""
    for z, is_dark in ((-2.0, True), (2.0, False)):
        scene = studio.scene({"position_m": [0.0, 1.5, z]})
        found = landing(scene, scene.projector[0])
        assert (found.no_light is not None, found.open_gate_f_number is None) == (is_dark, is_dark)


def test_what_hides_the_strip_that_shines_hides_all_of_it(studio):
    """Behind a slit out of focus only a strip of the lens shines; a board before that half of the lens leaves nothing,
    though it leaves half of the lens.

    Stencil open from 0.1 to 0.35 mm beside the axis, lens 42.5 mm wide, sharp at 1.4 m: g = s·A·(1/1.4 − 1/2) puts the
    strip 5 to 18 mm off its middle.
    """
    values = np.zeros((600, 600))
    values[:, 302:307] = 1.0
    slit = {"file": studio.bitmap("aside.png", values), "width_mm": 30.0}
    board = {"name": "board", "position_m": [0.5, 1.5, 1.0], "width_m": 1.0, "height_m": 1.0}
    projector = {"lens": {"f_number": 2.0}, "focus": {"distance_m": 1.4}, "stencil": slit}
    shaded = [
        at(beside(studio, projector, {**board, "position_m": [x, 1.5, 1.0]}), (0.0, 1.5, 0.0)) for x in (0.5, -0.5)
    ]
    assert {found.reason for found in shaded} == {LIT, SHADOW}
    whole = next(found for found in shaded if found.reason == LIT)
    assert whole.hidden_share == 0.0 and 0.0 < whole.share < 0.5


def test_the_nearest_opening_is_told_through_the_room_and_not_along_a_tangent():
    """A slit 49 mm high over the eyes: from the chin, whose skin runs away from the light, to its lower edge it is less
    than to an eye, by no more than the slit and half the eyes' distance. Along the skin's tangent it was 647 mm.
    """
    scene = load("02-slit-over-the-eyes")
    found = at(scene, "stowaway.chin")
    chin, eye = (np.asarray(point_of(scene, f"stowaway.{name}")) for name in ("chin", "left_eye"))
    to_eye = 1e3 * float(np.linalg.norm(chin - eye))
    assert found.reason == DARK
    assert to_eye - 60.0 < found.opening_mm < to_eye
