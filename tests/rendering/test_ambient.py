"""The room's light: counted from a projector by its name, or in lux; nothing changes with the order in a file."""

from __future__ import annotations

import math

import numpy as np
import pytest

from projector.faults import SceneError
from projector.photometry.exposure import C_DOME, C_FLAT, even_light_constant
from projector.rendering.ambient import room_light
from projector.rendering.maps.irradiance import irradiance_map
from projector.rendering.session import RenderSession
from projector.scene.checks.cross import cross_check
from projector.scene.reading.reader import load, with_overrides
from projector.scene.reading.saving import save_scene

STEADY = {"f_number": 4.0, "iso": 100.0, "distance_m": 2.0, "shutter_s": 0.01}
DIM = {"name": "dim", "position_m": [0.6, 1.5, 2.0], "reading": STEADY}


def swapped(scene, *parts):
    return scene.model_copy(update={part: tuple(reversed(getattr(scene, part))) for part in parts}).placed_at(
        scene.name, scene.folder
    )


def faults_of(studio, more=(), **ambient):
    return {fault.key: fault for fault in cross_check(studio.scene(more_projectors=more, ambient=ambient))[0]}


def test_stops_under_count_from_the_projector_that_is_named(studio):
    """The window is metered f/8, 160 lx·s (ISO 2720, C = 250); the other f/4 at 1/100 s, 4000 lx. 2 stops under each is
    a quarter.
    """
    rooms = [
        room_light(studio.scene(more_projectors=[DIM], ambient={"stops_under": 2.0, "of": name}))
        for name in ("window", "dim")
    ]
    assert (rooms[0].level, rooms[0].is_flash) == (pytest.approx(160.0 / 4.0, rel=1e-3), True)
    assert (rooms[1].level, rooms[1].is_flash) == (pytest.approx(250.0 * 16.0 / (0.01 * 100.0) / 4.0, rel=1e-3), False)


def test_with_one_projector_it_need_not_be_named(studio):
    assert room_light(studio.scene(ambient={"stops_under": 2.0})) == room_light(
        studio.scene(ambient={"stops_under": 2.0, "of": "window"})
    )


def test_the_rooms_own_lamps_count_for_as_long_as_the_shutter_is_open(studio):
    """On top of a flash of 160 lx·s: 400 lx for 1/100 s are 4 lx·s, four times as long four times as much; light thrown
    back of the flash stays.
    """
    added = []
    for shutter_s in (0.01, 0.04):
        maps = [
            irradiance_map(
                studio.scene(None, {"width_m": 0.1, "height_m": 0.1}, {"shutter_s": shutter_s}, **kind), n_across=16
            ).illuminance.mean()
            for kind in ({}, {"ambient": {"lux": 400.0}}, {"ambient": {"stops_under": 3.0}})
        ]
        added.append((maps[1] - maps[0], maps[2] - maps[0]))
    assert added[0] == pytest.approx((4.0, 20.0), rel=2e-3)
    assert added[1] == pytest.approx((16.0, 20.0), rel=2e-3)


def test_a_room_without_a_projector_is_lit_by_its_own_lamps(studio):
    """300 lx on a wall of 80 % at ISO 100, f/4, 1/50 s: linear value 0.8 · 300/50 · 100/(250 · 16), the meter's
    equation (ISO 2720).
    """
    scene = studio.scene(camera={"f_number": 4.0, "shutter_s": 0.02}, ambient={"lux": 300.0}).model_copy(
        update={"projector": ()}
    )
    assert cross_check(scene)[0] == []
    found = irradiance_map(scene, n_across=16)
    assert found.is_absolute and found.illuminance == pytest.approx(300.0, rel=1e-5)
    light, matrix = RenderSession(scene, 32, 24).exposed()
    # The wall fills the middle of the picture.
    assert light[12, 16] @ matrix.T == pytest.approx(0.8 * 6.0 * 100.0 / (250.0 * 16.0), rel=2e-3)


def test_the_rooms_own_lamps_may_be_stated_as_a_meter_showed_them(studio):
    """f/2.8 at 1/60 s and ISO 400 are 250 · 2.8² · 60 / 400 = 294 lx (ISO 2720, C = 250)."""
    reading = {"f_number": 2.8, "shutter_s": 1.0 / 60.0, "iso": 400.0}
    room = room_light(studio.scene(ambient={"reading": reading}))
    assert (room.level, room.is_flash) == (pytest.approx(294.0, rel=1e-9), False)
    assert faults_of(studio, reading=reading) == {}
    own = room_light(studio.scene(ambient={"reading": {**reading, "meter_constant": 320.0}}))
    assert own.level == pytest.approx(294.0 * 320.0 / 250.0, rel=1e-9)


def test_a_dome_under_even_light_gathers_twice_what_a_wall_does():
    """Summed over directions: a dome answers (1 + cos θ)/2, a flat receptor cos θ in front of it and nothing behind."""
    angles = (np.arange(20_000) + 0.5) * math.pi / 20_000
    ring = 2.0 * math.pi * np.sin(angles) * math.pi / 20_000
    dome, flat = ((response * ring).sum() for response in (0.5 * (1.0 + np.cos(angles)), np.cos(angles).clip(0.0)))
    for shown in (1.0, 100.0):
        # Each meter shows what its receptor gathers over its constant: N²/t = E·S/C.
        through_dome, through_flat = (shown * gathered for gathered in (dome, flat))
        assert through_dome / C_DOME * even_light_constant("dome") == pytest.approx(
            through_flat / C_FLAT * even_light_constant("flat"), rel=1e-6
        )


def test_a_reading_of_the_room_is_typed_saved_and_refused_like_any_other(tmp_path):
    """By a change of a shipped scene, kept as a scene of its own; a reading without its shutter says nothing of steady
    light.
    """
    changes = ["ambient={}", "ambient.reading={ f_number = 2, iso = 400, shutter_s = 0.02 }"]
    saved = save_scene("03-cabin-window", tmp_path / "dusk.toml", changes)
    assert "reading = { f_number = 2, iso = 400, shutter_s = 0.02 }" in saved.read_text()
    assert room_light(load(saved)).level == pytest.approx(250.0 * 4.0 / (0.02 * 400.0))
    with pytest.raises(SceneError) as refused:
        load("03-cabin-window", ["ambient={}", "ambient.reading={ f_number = 2, iso = 400 }"])
    assert [fault.key for fault in refused.value.faults] == ["ambient.reading.shutter_s"]


@pytest.mark.parametrize(
    ("more", "ambient", "key", "words"),
    [
        ([DIM], {"stops_under": 2.0}, "ambient.of", "of which of 2 lights"),
        ([DIM], {"stops_under": 2.0, "of": "windw"}, "ambient.of", 'no light "windw"'),
        ([], {"stops_under": 2.0, "lux": 40.0}, "ambient", "2 statements"),
        ([], {"reading": {"f_number": 2.0, "shutter_s": 0.02}, "lux": 40.0}, "ambient", "lux, reading"),
        ([], {"reading": {"f_number": 2.0, "shutter_s": 0.02}, "of": "window"}, "ambient.of", "of beside reading"),
        ([], {}, "ambient", "nothing in it"),
        ([], {"of": "window"}, "ambient", "nothing in it"),
        ([], {"lux": 40.0, "of": "window"}, "ambient.of", "counts from no light"),
    ],
)
def test_what_does_not_say_how_bright_the_room_is_is_refused(studio, more, ambient, key, words):
    found = faults_of(studio, more, **ambient)
    assert set(found) == {key} and words in found[key].found


@pytest.mark.parametrize("part", ["projector", "surface", "figure"])
def test_pictures_and_maps_do_not_change_with_the_order_of_a_scene(part):
    """Light is a sum: only its rounding depends on the order, the last bits of a float32.

    A scene with two of everything.
    """
    scene = with_overrides(load("05-two-projectors"), ["camera.focal_length_mm=50"])
    board, other = (
        scene.surface[0].model_copy(
            update={"name": "board", "position_m": (1.1, 1.2, -0.4), "width_m": 0.8, "height_m": 1.2}
        ),
        scene.figure[0].model_copy(update={"name": "double", "kind": "head", "position_m": (-0.7, 0.0, -0.5)}),
    )
    scene = scene.model_copy(update={"surface": (*scene.surface, board), "figure": (*scene.figure, other)}).placed_at(
        scene.name, scene.folder
    )
    pictures = [RenderSession(item, 80, 60).exposed()[0] for item in (scene, swapped(scene, part))]
    assert np.abs(pictures[1] - pictures[0]).max() < 1e-5 * pictures[0].max()
    maps = [irradiance_map(item, "backdrop", 64, "quick") for item in (scene, swapped(scene, part))]
    assert np.abs(maps[1].illuminance - maps[0].illuminance).max() < 1e-5 * maps[0].illuminance.max()
    assert maps[0].open_level == pytest.approx(maps[1].open_level, rel=1e-12)
    assert math.isfinite(maps[0].open_level)
