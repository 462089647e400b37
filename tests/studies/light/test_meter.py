"""A meter held into a scene, against closed forms, maps, and what it must refuse."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest

from projector.faults import SceneError
from projector.optics.penumbra import SUN_DEG
from projector.rendering.maps.irradiance import irradiance_map
from projector.scene.reading.reader import load_text
from projector.stage.stage import stage_of
from projector.studies.light.meter import meter, meters

READING = {"f_number": 8.0, "iso": 100.0, "distance_m": 2.0}


def askew(studio, degrees: float, **others):
    """A projector 2 m from the wall's middle, so many degrees off its normal, that meters f/8 there square to it."""
    turn = math.radians(degrees)
    place = [2.0 * math.sin(turn), 1.5, 2.0 * math.cos(turn)]
    return studio.scene({"position_m": place, "aim": [0.0, 1.5, 0.0]}, **others)


@pytest.mark.parametrize("degrees", [0.0, 45.0, 60.0, 75.0])
def test_a_flat_receptor_goes_by_the_cosine_and_a_dome_by_half_of_one_and_it(studio, degrees):
    """Cosine law, and the projected area of a hemisphere: (1 + cosθ)/2, 0.75 at 60° (receptors of ISO 2720). 0.2 %: the
    pupil's own size.
    """
    scene = askew(studio, degrees)
    cosine = math.cos(math.radians(degrees))
    flat, dome = (meter(scene, (0.0, 1.5, 0.0), kind).together.lx_s for kind in ("flat", "dome"))
    assert flat == pytest.approx(160.0 * cosine, rel=2e-3)
    assert dome == pytest.approx(160.0 * 0.5 * (1.0 + cosine), rel=2e-3)
    square = meter(scene, (0.0, 1.5, 0.0), "flat", towards="window")
    assert square.together.lx_s == pytest.approx(160.0, rel=2e-3) and square.together.f_number_shown == "f/8"


def test_a_dome_shows_less_by_its_constant(studio):
    """C of 330 against 250 (ISO 2720 leaves 320–540 and 240–400): 0.40 stop between the two, light square on."""
    scene = askew(studio, 0.0)
    flat, dome = (meter(scene, (0.0, 1.5, 0.0), kind).together for kind in ("flat", "dome"))
    assert flat.stops_over_camera - dome.stops_over_camera == pytest.approx(math.log2(330 / 250), abs=1e-3)


@pytest.mark.parametrize("point", [(0.0, 1.5, 0.0), (0.3, 1.7, 0.0), (-0.42, 1.4, 0.0)])
def test_it_shows_what_a_map_has_there(point):
    """The same light by another way, the blurred stacks' look-ups: within 0.02 stop."""
    scene = "01-square-wall"
    found = irradiance_map(scene, "wall", 961)
    left, right, bottom, top = found.extent_m
    rows, columns = found.illuminance.shape
    column = int((point[0] - left) / (right - left) * columns)
    row = int((top - (point[1] - 1.5)) / (top - bottom) * rows)
    here = float(found.illuminance[row, column])
    metered = meter(scene, tuple(found.points[row, column]), "flat").together.lx_s
    assert abs(math.log2(metered / here)) < 0.02


def test_all_together_is_the_sum_and_order_plays_no_part(studio):
    """Light adds; a file with its projectors the other way round meters the same."""
    other = {"name": "fill", "position_m": [1.0, 1.8, 2.5], "reading": {**READING, "shutter_s": 0.01}}
    scene = studio.scene(more_projectors=[other], ambient={"lux": 50.0})
    found = meter(scene, (0.1, 1.6, 0.0))
    assert found.together.lx_s == pytest.approx(sum(item.alone.lx_s for item in found.lights))
    assert sum(item.share for item in found.lights) == pytest.approx(1.0)
    window, fill, room = found.lights
    assert window.alone.flash_share == 1.0 and fill.alone.flash_share == room.alone.flash_share == 0.0
    assert found.together.flash_share == pytest.approx(window.alone.lx_s / found.together.lx_s)
    turned = scene.model_copy(update={"projector": type(scene.projector)(scene.projector[::-1])})
    again = meter(turned, (0.1, 1.6, 0.0))
    assert again.key == found.key and again.together == found.together
    assert {item.light: item for item in again.lights} == {item.light: item for item in found.lights}


def test_an_even_room_gives_a_dome_twice_what_a_flat_receptor_gets(studio):
    """Under a radiance L all round a flat receptor gets π·L, a dome 2·π·L: integrals of their laws over the sphere."""
    scene = studio.scene({"aim": [9.0, 1.5, 0.0]}, ambient={"lux": 100.0})
    flat, dome = (meter(scene, (0.0, 1.5, 0.0), kind) for kind in ("flat", "dome"))
    assert flat.together.lx == pytest.approx(100.0) and dome.together.lx == pytest.approx(200.0)
    assert flat.key is None and flat.key_to_rest is None
    named = meter(scene, (0.0, 1.5, 0.0), key="ambient")
    assert named.key == "ambient" and named.lights[1].stops_over_key == 0.0


def test_the_key_is_the_one_named_or_the_brightest_and_stays_so_from_point_to_point():
    points = ("watch.right_cheek", "watch.left_ear", "backdrop.centre")
    found = meters("05-two-projectors", points)
    assert [item.key for item in found] == ["blinds"] * 3
    assert [item.is_key_chosen for item in found] == [True, False, False]
    assert found[1].lights[0].stops_over_key is None and found[1].lights[2].stops_over_key is None
    named = meter("05-two-projectors", points[0], key="ambient")
    assert named.lights[0].stops_over_key == pytest.approx(-found[0].lights[2].stops_over_key)
    assert named.lights[0].key_and_it_to_it == pytest.approx(named.lights[0].key_to_it + 1.0)


def test_a_source_looks_as_large_as_plane_geometry_has_it(studio):
    """A pupil of 85/4 mm seen from 2 m spans 0.6088°, a little more than the sun, and leaves 0.545 mm of shadow from
    50 mm off: 21.25·50/1950.
    """
    (found,) = meter(askew(studio, 0.0), (0.0, 1.5, 0.0)).lights
    assert found.longest_deg == pytest.approx(math.degrees(2 * math.atan(21.25 / 4000)), rel=5e-3)
    assert 1.0 < found.longest_deg / SUN_DEG < 1.2
    assert found.shadow_mm == pytest.approx(21.25 * 50 / 1950, rel=5e-3)


@pytest.mark.parametrize("receptor", ["flat", "dome"])
def test_a_point_inside_a_head_is_refused(receptor):
    stage = stage_of("05-two-projectors")
    middle = 0.5 * (stage.point("watch.left_ear") + stage.point("watch.right_ear"))
    with pytest.raises(SceneError, match="lies inside watch"):
        meter(stage, tuple(middle), receptor)


def test_a_point_inside_a_box_is_refused_unless_the_camera_is_in_it_too(studio):
    box = {
        "name": "box",
        "shape": "box",
        "position_m": [0.5, 1.0, 0.5],
        "width_m": 0.4,
        "height_m": 0.4,
        "depth_m": 0.4,
    }
    wall = {"name": "wall", "shape": "flat", "position_m": [0.0, 1.5, 0.0], "width_m": 2.0, "height_m": 2.0}
    scene = studio.scene(surfaces=[wall, box])
    with pytest.raises(SceneError, match="lies inside box"):
        meter(scene, (0.5, 1.1, 0.5))
    room = {**box, "position_m": [0.0, -1.0, 0.0], "width_m": 20.0, "height_m": 10.0, "depth_m": 20.0}
    found = meter(studio.scene(surfaces=[wall, room]), (0.0, 1.5, 0.5))
    assert found.on is None and found.together.lx_s > 0.0


@pytest.mark.parametrize(
    ("point", "words"),
    [
        ((0.0, 1.5, 3.0), "behind the lamp"),
        ((0.9, 1.5, 0.5), "outside the beam"),
        ((0.0, 1.5, -0.5), "in the shadow of wall"),
    ],
)
def test_where_no_light_falls_it_says_why_and_no_number(studio, point, words):
    found = meter(studio.scene(), point)
    assert found.together.f_number is None and found.together.lx_s == 0.0 and found.key is None
    assert words in found.lights[0].no_light
    assert found.lights[0].stops_over_key is None


def test_a_receptor_that_faces_away_says_so(studio):
    found = meter(studio.scene(), (0.0, 1.5, 0.5), "flat", towards=(0.0, 1.5, -3.0))
    assert found.lights[0].no_light == "the receptor faces away from it"


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"key": "windo"}, 'no light called "windo"'),
        ({"towards": "windo"}, 'no "windo" to face'),
        ({"receptor": "round"}, '"dome" or "flat"'),
        ({"at": (0.0, 1.5, 1.0), "towards": "surface"}, "no surface for the meter to lie on"),
        ({"at": "wall.corner"}, "no landmark"),
        ({"at": (0.0, 1.5, 1.0), "towards": (0.0, 1.5, 1.0)}, "itself"),
    ],
)
def test_names_that_are_not_there_are_refused_in_words(studio, options, words):
    with pytest.raises(SceneError, match=words):
        meter(studio.scene(), **{"at": (0.0, 1.5, 0.0), **options})


UNSTATED = """
format = 1
[camera]
position_m = [0.9, 1.5, 3.4]
aim = "wall.centre"
[[projector]]
name = "window"
position_m = [0, 1.5, 2.5]
aim = "wall.centre"
gate = { shape = "round", diameter_mm = 40 }
lens = { focal_length_mm = 85, f_number = 2.8 }
focus = { distance_m = 2.5 }
[[surface]]
name = "wall"
position_m = [0, 1.5, 0]
"""


def test_a_light_without_a_reading_is_marked():
    found = meter(load_text(UNSTATED), "wall.centre", "flat")
    assert not found.lights[0].is_stated
    assert found.together.stops_over_camera == pytest.approx(0.0, abs=0.01)


def test_the_command_answers_in_a_table_in_json_and_in_a_figure(tmp_path, monkeypatch, capsys):
    from projector.cli import app
    from projector.cli.running import run_command_line

    monkeypatch.chdir(tmp_path)
    scene = "05-two-projectors"
    asked = ["meter", scene, "watch.right_cheek", "-0.3,1.4,-0.4", "--speed-m-per-s", "1", "-o", "bars"]
    assert run_command_line(app, asked) == 0
    words = capsys.readouterr().out
    for part in ("against the camera", "blinds is the key", "key + fill : fill", "the sun looks 0.53° wide", "5.00 mm"):
        assert part in words
    assert (tmp_path / "bars.png").exists()
    assert run_command_line(app, [*asked, "--json"]) == 0
    result = json.loads(capsys.readouterr().out)["result"]
    assert [item["at"] for item in result["points"]] == ["watch.right_cheek", "(-0.30, 1.40, -0.40)"]
    assert result["smear_mm"] == pytest.approx(5.0)
    python = meter(scene, "watch.right_cheek")
    assert result["points"][0]["together"]["lx_s"] == pytest.approx(python.together.lx_s)
    (tmp_path / "set.toml").write_text(UNSTATED)
    assert run_command_line(app, ["meter", "set.toml", "wall.centre"]) == 0
    said = capsys.readouterr()
    assert "(flash" in said.out and "no reading for window" in said.err


def test_a_point_in_the_dark_is_answered_with_a_note(tmp_path, monkeypatch, capsys):
    from projector.cli import app
    from projector.cli.running import run_command_line

    monkeypatch.chdir(tmp_path)
    (tmp_path / "set.toml").write_text(UNSTATED.replace("[[surface]]", "[ambient]\nlux = 123456\n[[surface]]", 1))
    assert run_command_line(app, ["meter", "set.toml", "0,1.5,3.5", "--json"]) == 0
    assert run_command_line(app, ["meter", "set.toml", "0,1.5,3.5"]) == 0
    said = capsys.readouterr()
    assert "steady 247 000 lx" in said.out and "behind the lamp" in said.out
    (tmp_path / "set.toml").write_text(UNSTATED)
    assert run_command_line(app, ["meter", "set.toml", "0,1.5,3.5", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert "no light falls at (0.00, 1.50, 3.50)." in found["warnings"]
    assert found["result"]["points"][0]["together"]["f_number"] is None


def test_figures_of_readings_name_what_they_show():
    figure = meter("05-two-projectors", "watch.right_cheek").figure()
    words = [text.get_text() for text in figure.findobj(lambda item: hasattr(item, "get_text"))]
    assert "together" in words and any("key" in text for text in words)
    assert any("outside the beam" in text for text in words)
    assert np.isfinite(figure.get_size_inches()).all()


LIGHTS = """
format = 1
[camera]
position_m = [0.9, 1.5, 3.4]
aim = "wall.centre"
iso = 400
[[surface]]
name = "wall"
position_m = [0, 1.5, 0]
width_m = 0.2
height_m = 0.2
"""


def lit(light: str):
    """A small wall that one light shines on; its middle stands where the panel's axis meets it."""
    return load_text(f'{LIGHTS}[[light]]\nname = "it"\naim = "wall.centre"\n{light}\n')


@pytest.mark.parametrize(
    ("light", "illuminance"),
    [
        # Lambert's panels by their flux, Φ = π·L·A, on their axes: 0.752275·L of a square of 1 m at 1 m, 0.143817·L of
        # a strip of 0.35 × 1 m at 1.5 m (parallel rectangles, Siegel & Howell), π·L·r²/(r² + d²) of a disc.
        ('kind = "panel"\nposition_m = [0, 1.5, 1]\nwidth_m = 1\nheight_m = 1', 0.752275 / (math.pi * 1.0)),
        ('kind = "strip"\nposition_m = [0, 1.5, 1.5]\nwidth_m = 0.35\nheight_m = 1', 0.143817 / (math.pi * 0.35)),
        ('kind = "panel"\nposition_m = [0, 1.5, 1.5]\ndiameter_m = 1.2', 0.433323 / (math.pi * math.pi * 0.36)),
        # A Lambertian tube gives Φ = π·L·π·d·l; L·d·∫D²/(D² + x²)² dx is 0.0345459·L at 1 m for 40 mm and 1 m if thin:
        # here one of 10 mm.
        ('kind = "tube"\nposition_m = [0, 1.5, 1]\ndiameter_m = 0.01\nlength_m = 1', 0.0345459 / (math.pi**2 * 0.04)),
    ],
)
@pytest.mark.parametrize("towards", ["surface", "it"])
def test_panels_and_tubes_meter_as_closed_forms_have_them(light, illuminance, towards):
    """Within 0.02 stop, on the wall and turned to the light alike: it stands on the wall's axis."""
    found = meter(lit(light + "\noutput = { lumens = 1000 }"), (0.0, 1.5, 0.0), "flat", towards=towards)
    assert abs(math.log2(found.together.lx / (1000.0 * illuminance))) < 0.02


def test_a_dome_before_a_large_panel_gathers_its_own_share():
    """∫ (1 + cosθ)/2 over a disc of half angle a: L·π·(1 − cos a + sin²a/2) (projected area of a hemisphere)."""
    light = 'kind = "panel"\nposition_m = [0, 1.5, 1]\ndiameter_m = 2\noutput = { lumens = 1000 }'
    flat, dome = (meter(lit(light), (0.0, 1.5, 0.0), kind, towards="it").together.lx for kind in ("flat", "dome"))
    half = math.pi / 4
    assert dome / flat == pytest.approx((1 - math.cos(half) + math.sin(half) ** 2 / 2) / math.sin(half) ** 2, rel=3e-3)


def test_a_panel_looks_as_large_as_it_is():
    """A panel of 1.2 × 0.6 m square on at 1.5 m: 2·atan(0.4) and 2·atan(0.2); edges from 50 mm off 1200·50/1450 mm."""
    light = 'kind = "panel"\nposition_m = [0, 1.5, 1.5]\nwidth_m = 1.2\nheight_m = 0.6'
    (found,) = meter(lit(light), (0.0, 1.5, 0.0)).lights
    assert found.longest_deg == pytest.approx(math.degrees(2 * math.atan(0.4)), rel=1e-3)
    assert found.shortest_deg == pytest.approx(math.degrees(2 * math.atan(0.2)), rel=1e-3)
    assert found.shadow_mm == pytest.approx(1200 * 50 / 1450, rel=1e-3)


def test_stops_against_another_light_are_what_the_meter_shows_there():
    """A light that is stated two stops under another at a point meters two stops under it there, each turned to; what
    is not turned to it differs by its own angle.
    """
    key = 'kind = "panel"\nposition_m = [0, 1.5, 2]\nreading = { f_number = 8, iso = 400, distance_m = 2 }'
    fill = '[[light]]\nname = "fill"\naim = "wall.centre"\nkind = "panel"\nposition_m = [0, 2.5, 2]\n'
    fill += 'against = { of = "it", at = "wall.centre", stops = -2 }'
    scene = lit(f"{key}\n{fill}")
    levels = {name: meter(scene, (0.0, 1.5, 0.0), "flat", towards=name) for name in ("it", "fill")}
    alone = [next(item.alone.lx_s for item in levels[name].lights if item.light == name) for name in ("it", "fill")]
    assert math.log2(alone[1] / alone[0]) == pytest.approx(-2.0, abs=0.01)
    assert levels["it"].lights[0].alone.f_number_shown == "f/8"


@pytest.mark.parametrize(
    ("light", "at", "words"),
    [
        ('kind = "panel"\nposition_m = [0, 1.5, 2]', (0.0, 1.5, 2.5), "behind it: it shines the other way"),
        ('kind = "panel"\nposition_m = [0, 1.5, 2]\ngrid = { beam_deg = 20 }', (1.8, 1.5, 1.5), "outside its beam"),
        ('kind = "panel"\nposition_m = [0, 1.5, 2]', (0.0, 1.5, -0.05), "in the shadow of wall"),
    ],
)
def test_where_another_light_does_not_get_to_it_says_why(light, at, words):
    (found,) = meter(lit(light), at).lights
    assert found.alone.f_number is None and found.no_light == words


def test_a_light_that_is_off_is_not_metered_and_an_estimate_says_so():
    scene = lit('kind = "bare"\nposition_m = [0, 1.5, 2]\nenergy = { watt_seconds = 100 }')
    assert meter(scene, (0.0, 1.5, 0.0)).lights[0].estimate_stops == 1.0
    off = lit('kind = "bare"\nposition_m = [0, 1.5, 2]\non = false')
    assert meter(off, (0.0, 1.5, 0.0)).lights == ()
    with pytest.raises(SceneError, match="it is off"):
        meter(off, (0.0, 1.5, 0.0), key="it")
