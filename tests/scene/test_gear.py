"""A table of one's own gear: settings as dials say them, levels as meters show them, and what is said where it errs."""

from __future__ import annotations

import pytest

from projector import level_of, load_gear
from projector.faults import SceneError
from projector.files.finding import shipped_folder
from projector.scene.model.gear import Gear, GearUnit, setting_words, stops_of_setting, stops_set
from projector.scene.model.power import GearPower, Reading
from projector.scene.reading.reader import load_text, with_overrides
from projector.scene.reading.saving import save_scene, scene_text
from projector.stage.stage import Stage

GEAR = """title = "mine"
[[unit]]
name = "big flash"
reading = { f_number = 11, iso = 100, distance_m = 2.0 }
steps = "tenths"
lowest = "1/256"
[[unit]]
name = "small flash"
reading = { f_number = 8, iso = 200, distance_m = 1.5 }
steps = "thirds"
lowest = "1/64"
[[unit]]
name = "lamp"
reading = { f_number = 4, iso = 400, distance_m = 1.0, shutter_s = 0.005 }
steps = "percent"
lowest = "1 %"
[[unit]]
name = "with its lens"
reading = { f_number = 8, distance_m = 2.0, lens = { focal_length_mm = 85, f_number = 2.8 } }
"""
SCENE = """format = 1
gear = { file = "mine" }
[camera]
position_m = [0.6, 1.5, 4.0]
aim = "wall.centre"
[[projector]]
name = "key"
position_m = [0.0, 1.5, 2.0]
aim = "wall.centre"
gate = { shape = "round", diameter_mm = 40 }
lens = { focal_length_mm = 85, f_number = 4 }
POWER
[[surface]]
name = "wall"
position_m = [0.0, 1.5, 0.0]
"""


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "mine.toml").write_text(GEAR)
    return tmp_path


def scene_with(power, folder):
    return load_text(SCENE.replace("POWER", power), "scene.toml", folder)


def luminance(scene):
    return Stage(scene).projector("key").power.luminance


def fault_of(power, folder):
    with pytest.raises(SceneError) as caught:
        scene_with(power, folder)
    (fault,) = caught.value.faults
    return fault


# A stop is half of the power (definition); dials add tenths or thirds to a part.
@pytest.mark.parametrize(
    "setting, stops",
    [
        ("full", 0.0), ("1", 0.0), ("1/1", 0.0), ("1/2", -1.0), ("1/4", -2.0), ("1/128", -7.0), ("1/4 +0.3", -1.7),
        ("1/4+1/3", -5 / 3), ("1/2 - 0.7", -1.7), ("1/2 −0.3", -1.3), ("25 %", -2.0), ("50%", -1.0), ("1/4 +⅓", -5 / 3),
    ],
)  # fmt: skip
def test_a_setting_as_a_dial_says_it(setting, stops):
    assert stops_of_setting(setting) == pytest.approx(stops, abs=1e-12)


@pytest.mark.parametrize(
    "setting, advice",
    [("0.25", '"25 %"'), ("-1.3", "stops = -1.3"), ("quarter", ""), ("1/0", ""), ("0 %", ""), ("2/1", ""), ("", "")],
)
def test_a_text_that_is_no_setting(setting, advice):
    with pytest.raises(SceneError) as caught:
        stops_of_setting(setting)
    assert "no setting of a dial" in caught.value.faults[0].found and caught.value.faults[0].try_ == advice


def unit(steps, lowest=None):
    return GearUnit(name="u", reading=Reading(f_number=8, distance_m=2.0), steps=steps, lowest=lowest)


@pytest.mark.parametrize(
    "steps, stops, meant",
    [
        ("thirds", -1.3, -4 / 3), ("thirds", -0.7, -2 / 3), ("tenths", -1.3, -1.3), ("halves", -1.5, -1.5),
        ("whole", -3.0, -3.0), (None, -1.234, -1.234), ("percent", -1.0, -1.0),
    ],
)  # fmt: skip
def test_a_power_is_the_step_that_is_meant(steps, stops, meant):
    assert stops_set(unit(steps), GearPower(unit="u", stops=stops)) == pytest.approx(meant, abs=1e-9)


@pytest.mark.parametrize(
    "steps, stops, offered",
    [
        ("thirds", -1.5, '"1/2 −0.7" or "1/2 −0.3"'),
        ("whole", -1.5, '"1/4" or "1/2"'),
        ("tenths", -0.05, '"full −0.1" or "full"'),
        ("percent", -6.1, '"1 %" or "2 %"'),
    ],
)
def test_between_two_steps_both_are_offered_and_can_be_set(steps, stops, offered):
    with pytest.raises(SceneError) as caught:
        stops_set(unit(steps), GearPower(unit="u", stops=stops))
    assert caught.value.faults[0].try_ == offered
    for setting in (part.strip('"') for part in offered.split(" or ")):
        if setting != "full −0.1":
            assert stops_set(unit(steps), GearPower(unit="u", setting=setting)) == pytest.approx(stops, abs=0.7)


def test_a_power_in_words_is_the_setting_it_came_from():
    for steps, setting in (("tenths", "1/4 −0.3"), ("whole", "1/64"), ("percent", "41 %"), ("thirds", "full")):
        assert setting_words(unit(steps), stops_of_setting(setting)) == setting


def test_a_meter_shows_root_two_less_a_stop(folder):
    """N² goes with the light (ISO 2720): f/11 at 1/4 is f/5.5, and 1.3 stops down f/7.01."""
    gear = load_gear("mine", folder)
    assert level_of(gear, "big flash", "1/4").f_number == pytest.approx(5.5)
    assert level_of(gear, "big flash", -1.3).f_number == pytest.approx(11.0 / 2.0**0.65)
    assert level_of(gear, "big flash").f_number == 11.0
    assert level_of(gear, "lamp", "25 %").shutter_s == 0.005
    with pytest.raises(SceneError, match=r'no unit called "bigflash"(.|\n)*did you mean big flash'):
        level_of(gear, "bigflash")


@pytest.mark.parametrize(
    "power, reading",
    [
        ('power = { unit = "big flash" }', "reading = { f_number = 11, iso = 100, distance_m = 2.0 }"),
        (
            'power = { unit = "big flash", setting = "1/4" }',
            "reading = { f_number = 5.5, iso = 100, distance_m = 2.0 }",
        ),
        (
            'power = { unit = "small flash", stops = -2.0 }',
            "reading = { f_number = 4, iso = 200, distance_m = 1.5 }",
        ),
        (
            'power = { unit = "lamp", setting = "25 %" }',
            "reading = { f_number = 2, iso = 400, distance_m = 1.0, shutter_s = 0.005 }",
        ),
        (
            'power = { unit = "with its lens" }',
            "reading = { f_number = 8, distance_m = 2.0, lens = { focal_length_mm = 85, f_number = 2.8 } }",
        ),
        (
            'power = { unit = "big flash", lens_f_number = 2.0 }',
            "reading = { f_number = 11, distance_m = 2.0, lens_f_number = 2.0 }",
        ),
    ],
)
def test_a_unit_lights_as_its_reading_would(power, reading, folder):
    by_unit, by_reading = scene_with(power, folder), scene_with(reading, folder)
    one, other = (Stage(scene).projector("key").power for scene in (by_unit, by_reading))
    assert one.luminance == pytest.approx(other.luminance, rel=1e-9)
    assert (one.is_flash, one.is_stated, one.carried_over) == (other.is_flash, True, other.carried_over)


def test_another_stop_dims_a_unit_and_keeps_the_lens_it_was_read_with(folder):
    """f/4 → f/8 through the same lens: two stops (area of the pupil); and back again."""
    scene = scene_with('power = { unit = "big flash" }', folder)
    stopped = with_overrides(scene, "projector.key.lens.f_number=8")
    assert luminance(stopped) == pytest.approx(luminance(scene), rel=1e-9)
    meter = Stage(stopped).projector("key").power
    assert meter.carried_over.stops == pytest.approx(
        -2.0
    ) and "reading was taken with f/4" in meter.carried_over.sentence("key")
    back = with_overrides(stopped, ["projector.key.lens.f_number=4", "projector.key.power.setting=1/2"])
    assert luminance(back) == pytest.approx(0.5 * luminance(scene), rel=1e-9)
    assert Stage(back).projector("key").power.carried_over is None


def test_a_scene_made_in_code_has_its_gear_too(folder):
    scene = scene_with('power = { unit = "small flash", setting = "1/4" }', folder)
    again = type(scene)(**{name: getattr(scene, name) for name in type(scene).model_fields})
    assert luminance(again) == luminance(scene) and again == scene


def test_a_saved_scene_says_the_same_wherever_it_lies(folder, tmp_path):
    scene = scene_with('power = { unit = "small flash", setting = "1/4" }', folder)
    text = scene_text(scene, tmp_path)
    assert luminance(load_text(text, "copy", "/")) == luminance(scene)
    (folder / "scene.toml").write_text(SCENE.replace("POWER", 'power = { unit = "lamp" }  # as bright as it gets'))
    (folder / "there").mkdir()
    saved = save_scene(folder / "scene.toml", folder / "there" / "copy.toml", "projector.key.power.setting=50 %")
    assert 'gear = { file = "../mine.toml" }' in saved.read_text() and "# as bright as it gets" in saved.read_text()
    assert 'setting = "50 %"' in saved.read_text()


@pytest.mark.parametrize(
    "power, key, found, advice",
    [
        ('power = { unit = "bigflash" }', "power.unit", 'no unit "bigflash"', "did you mean big flash?"),
        ('power = { unit = "lamp", setting = "0.5 %" }', "power.setting", "below the lowest", '"1 %" and a neutral'),
        ('power = { unit = "big flash", setting = "1/512" }', "power.setting", "below the lowest", '"1/256"'),
        ('power = { unit = "big flash", setting = "1/4 +3" }', "power.setting", "more than big flash has", '"full"'),
        ('power = { unit = "small flash", stops = -1.5 }', "power.stops", "−1.5 stops lie between two", '"1/2 −0.3"'),
        ('power = { unit = "small flash", setting = "1/3" }', "power.setting", "lies between two steps", '"1/2 −0.7"'),
        ('power = { unit = "lamp", setting = "1/2", stops = -1 }', "power.stops", "a setting and stops", "keep"),
        ('power = { unit = "lamp", setting = "half" }', "power.setting", "no setting of a dial", ""),
        (
            'power = { unit = "lamp" }\noutput = { lumens = 3 }',
            "power",
            "two statements of power: an output and a unit of your gear",
            "keep",
        ),
    ],
)
def test_what_a_dial_does_not_have_is_refused_in_words(power, key, found, advice, folder):
    fault = fault_of(power, folder)
    assert fault.key == f"projector.key.{key}" and fault.line in (12, 13)
    assert found in fault.found and advice in fault.try_, fault


def test_a_unit_without_gear_and_gear_without_its_file(folder):
    with pytest.raises(SceneError) as caught:
        load_text(SCENE.replace('gear = { file = "mine" }\n', "").replace("POWER", 'power = { unit = "lamp" }'), "s")
    assert [fault.key for fault in caught.value.faults] == ["projector.key.power.unit"]
    with pytest.raises(SceneError) as caught:
        load_text(SCENE.replace('"mine"', '"mien"').replace("POWER", 'power = { unit = "lamp" }'), "s.toml", folder)
    (fault,) = caught.value.faults
    assert (fault.key, fault.line) == ("gear.file", 2) and "did you mean mine.toml?" in fault.try_
    with pytest.raises(SceneError, match=r'gear = \{ file = "mine" \}'):
        load_text(SCENE.replace('{ file = "mine" }', '"mine"').replace("POWER", ""), "s.toml", folder)


def test_all_faults_of_a_gear_file_are_told_at_once_with_its_own_lines(folder):
    wrong = (
        GEAR.replace("f_number = 11,", "f_number = 0,").replace('"thirds"', '"third"').replace("distance_m = 1.0, ", "")
    )
    (folder / "mine.toml").write_text(wrong + 'volume = 11\n[[unit]]\nname = "bare"\n')
    with pytest.raises(SceneError) as caught:
        scene_with('power = { unit = "nobody" }', folder)
    told = {(fault.line, fault.key) for fault in caught.value.faults}
    assert all(fault.file.endswith("mine.toml") for fault in caught.value.faults)
    assert told == {
        (4, "unit.big flash.reading.f_number"),
        (10, "unit.small flash.steps"),
        (14, "unit.lamp.reading.distance_m"),
        (20, "unit.with its lens.volume"),
        (21, "unit.bare.reading"),
    }


def test_what_units_of_a_file_say_together(folder):
    wrong = GEAR.replace('"1/64"', '"1/90"').replace('"1 %"', '"one"').replace('"with its lens"', '"lamp"')
    (folder / "mine.toml").write_text(wrong)
    with pytest.raises(SceneError) as caught:
        load_gear("mine", folder)
    told = {(fault.line, fault.found.partition(" lies")[0]) for fault in caught.value.faults}
    assert told == {
        (11, '"1/90"'),
        (16, '"one" is no setting of a dial'),
        (18, 'the name "lamp" is used twice'),
    }


@pytest.mark.parametrize("path", sorted(shipped_folder("gear").glob("*.toml")), ids=lambda path: path.stem)
def test_every_shipped_gear_file_is_right(path):
    gear = load_gear(path.stem)
    assert isinstance(gear, Gear) and gear.title and len(gear.unit) >= 3
    for item in gear.unit:
        assert level_of(gear, item.name, item.lowest or "full").f_number > 0.0


def test_a_bare_lamp_is_not_a_unit_that_was_read_through_a_lens(folder):
    bare = SCENE.replace("lens = { focal_length_mm = 85, f_number = 4 }", "lamp = { opening_mm = 40, card_mm = 500 }")
    with pytest.raises(SceneError, match="was read through a lens"):
        load_text(bare.replace("POWER", 'power = { unit = "with its lens" }'), "s.toml", folder)
    load_text(bare.replace("POWER", 'power = { unit = "big flash" }'), "s.toml", folder)


PANEL = """[[light]]
name = "fill"
kind = "panel"
position_m = [-1.0, 1.6, 2.0]
aim = "wall.centre"
POWER
"""


def panel(power, folder):
    return load_text(SCENE.replace("POWER", "") + PANEL.replace("POWER", power), "scene.toml", folder)


def test_other_lights_are_units_too(folder):
    """As bright as the same reading by hand; N² goes with the light (ISO 2720)."""
    by_unit = panel('power = { unit = "lamp", setting = "25 %" }', folder)
    by_hand = panel("reading = { f_number = 2, iso = 400, distance_m = 1.0, shutter_s = 0.005 }", folder)
    one, other = (Stage(scene).lights[0].power for scene in (by_unit, by_hand))
    assert one.luminance == pytest.approx(other.luminance, rel=1e-9)
    assert (one.is_flash, one.is_stated) == (other.is_flash, True)


@pytest.mark.parametrize(
    "power, key, found",
    [
        ('power = { unit = "lump" }', "power.unit", 'no unit "lump"'),
        ('power = { unit = "with its lens" }', "power.unit", "was read through a lens"),
        ('power = { unit = "lamp", lens_f_number = 4 }', "power.lens_f_number", "of a light without a lens"),
        ('power = { unit = "small flash", stops = -1.5 }', "power.stops", "between two steps"),
        ('power = { unit = "lamp" }\nenergy = { watts = 60 }', "power", "two statements of power"),
    ],
)
def test_what_another_light_cannot_take_of_a_unit(power, key, found, folder):
    with pytest.raises(SceneError) as caught:
        panel(power, folder)
    (fault,) = caught.value.faults
    assert fault.key == f"light.fill.{key}" and found in fault.found and fault.line > 16


def test_a_gear_file_that_is_gone_is_the_only_thing_said_of_lights_either(folder):
    scene = SCENE.replace("POWER", "").replace('"mine"', '"gone"')
    with pytest.raises(SceneError) as caught:
        load_text(scene + PANEL.replace("POWER", 'power = { unit = "lamp" }'), "scene.toml", folder)
    assert [fault.key for fault in caught.value.faults] == ["gear.file"]


def test_a_light_takes_filters_by_name_and_by_file_and_an_led_s_colour(folder):
    table = "wavelength_nm,transmittance\n" + "".join(f"{nm},0.25\n" for nm in range(400, 701, 20))
    (folder / "quarter.csv").write_text(table)
    reading = "reading = { f_number = 4, distance_m = 1.0 }\n"
    open_, filtered = (
        Stage(panel(reading + more, folder)).lights[0].power.luminance
        for more in ("", 'filter = [{ file = "quarter" }]\nsource = { kind = "led", hue_deg = 200, saturation = 0.5 }')
    )
    assert filtered == pytest.approx(0.25 * open_, rel=1e-9)
    with pytest.raises(SceneError, match="outside of what this lamp mixes"):
        panel('source = { kind = "led", xy = [0.1, 0.8] }', folder)
