"""Forms follow the scene's model: every value of it is a field, in the place where it works."""

from __future__ import annotations

import pytest

from projector.files.finding import list_scenes
from projector.live.described import change_for_filters, change_for_focus, change_for_power, form_of, values_of
from projector.live.desk import Desk
from projector.live.fields import STATIONS, fields_of
from projector.live.levels import level_of
from projector.scene.reading.reader import load, with_overrides

SHIPPED = [path.stem for path, _ in list_scenes()]


@pytest.fixture(scope="module")
def cabin():
    desk = Desk("03-cabin-window")
    return {field.key: field for field in fields_of(desk.scene, desk.said)}


@pytest.mark.parametrize("name", SHIPPED)
def test_every_field_of_a_shipped_scene_can_be_set_to_what_it_is(name):
    desk = Desk(name)
    fields = fields_of(desk.scene, desk.said)
    assert len({field.key for field in fields}) == len(fields)
    told = {field.key: field.value for field in fields if field.value is not None}
    again = with_overrides(desk.scene, told)
    assert {field.key: field.value for field in fields_of(again, desk.said)} == {f.key: f.value for f in fields}
    for field in fields:
        assert field.meaning and field.label and field.station in STATIONS, field.key


@pytest.mark.parametrize("name", SHIPPED)
def test_every_number_of_a_shipped_scene_is_within_its_limits_and_can_be_turned(name):
    desk = Desk(name)
    for field in fields_of(desk.scene, desk.said):
        if field.kind in ("number", "whole"):
            assert field.step > 0.0 or field.clicks_a_doubling > 0, field.key
            if field.value is not None:
                assert field.lowest is None or field.value >= field.lowest, field.key
                assert field.highest is None or field.value <= field.highest, field.key


def test_fields_stand_where_they_work_with_their_unit_and_limits(cabin):
    stop = cabin["projector.window.lens.f_number"]
    assert (stop.station, stop.label, stop.lowest, stop.highest) == ("lens", "f-number", 0.5, 256.0)
    assert 2.8 in stop.marks and stop.clicks_a_doubling == 6
    offset = cabin["projector.window.focus.offset_mm"]
    assert (offset.unit, offset.kind, offset.value, offset.is_at_hand) == ("mm", "number", 0.0, True)
    assert cabin["projector.window.position_m.x"].value == -1.5
    assert cabin["projector.window.position_m.x"].station == "throw"
    assert cabin["projector.window.aim"].kind == "place"
    assert cabin["projector.window.gate.shape"].options == ("round", "rectangle")
    assert cabin["projector.window.stencil.inverted"].kind == "flag"
    assert cabin["figure.pilot.yaw_deg"].unit == "°"
    assert not cabin["projector.window.lens.transmittance"].is_at_hand, "its file does not say it"


def test_values_tell_what_differs_from_the_file_and_how_it_stands():
    desk = Desk("03-cabin-window")
    desk.change({"camera.iso": 800})
    told = values_of(desk)
    assert told["values"]["camera.iso"] == 800 and told["of_file"] == {"camera.iso": 400}
    assert told["changed"] == ["camera.iso"] and told["at"] == 1
    assert told["power"] == {"window": 0.0} and form_of(desk)["lights"][0]["owner"] == "projector.window"


@pytest.mark.parametrize("metres", [1.0, 2.3, 3.0, 20.0])
def test_a_ring_turned_to_a_distance_makes_that_sharp(metres):
    """The thin lens: 1/f = 1/s + 1/D (OpenStax, University Physics 3)."""
    scene = load("03-cabin-window")
    turned = with_overrides(scene, change_for_focus(scene, "window", metres))
    focal = 1e-3 * scene.projector["window"].lens.focal_length_mm
    tube = 1.0 / (1.0 / focal - 1.0 / metres)
    desk = Desk("03-cabin-window")
    desk.change(change_for_focus(scene, "window", metres))
    # The offset is typed to a hundred-thousandth of a millimetre, which moves 20 m by half a millimetre.
    assert values_of(desk)["focus"]["window"]["sharp_m"] == pytest.approx(metres, rel=1e-4)
    from projector.stage.stage import Stage

    assert Stage(turned).projector("window").focus.tube_length == pytest.approx(tube, abs=1e-8)


@pytest.mark.parametrize("stops", [-2.0, -1 / 3, 1.0])
def test_stops_more_are_stops_more_of_light_whatever_states_the_power(stops):
    from projector.rendering.session import RenderSession

    desk = Desk("01-square-wall")
    before = RenderSession(desk.scene, 32, 24).exposed()[0].copy()
    desk.change(change_for_power(desk, "window", stops))
    after = RenderSession(desk.scene, 32, 24).exposed()[0]
    lit = before[..., 1] > 0.2 * before[..., 1].max()
    # Ambient light that is stated against the projector goes with it; typed with seven figures.
    assert after[lit].sum() / before[lit].sum() == pytest.approx(2.0**stops, rel=1e-4)
    assert values_of(desk)["power"]["window"] == pytest.approx(stops, abs=1e-5)


def test_a_power_that_is_not_stated_is_not_turned(studio):
    spec = studio.scene({"reading": None}).projector["window"]
    assert level_of(spec) is None


def test_filters_are_put_before_a_light_by_their_names():
    desk = Desk("03-cabin-window")
    desk.change(change_for_filters(desk, "window", ["half-warm", "neutral-1"]))
    assert [item.name for item in desk.scene.projector["window"].filter] == ["half-warm", "neutral-1"]
