"""Lights without a gate in pictures, maps and studies: layers add up, levels go by name, order plays no part."""

import math

import numpy as np
import pytest

from projector import irradiance_map, with_overrides
from projector.rendering.ambient import light_at_its_aim, room_light
from projector.rendering.session import RenderSession
from projector.scene.reading.reader import scene_from
from projector.stage.stage import stage_of

ROOM = """
format = 1
[camera]
position_m = [0.0, 1.5, 3.0]
aim = "wall.centre"
f_number = 8
shutter_s = 0.01
[[surface]]
name = "wall"
width_m = 2
height_m = 2
position_m = [0, 1.5, 0]
"""
KEY = """
[[light]]
name = "key"
kind = "panel"
width_m = 1.0
height_m = 1.0
position_m = [0.0, 1.5, 1.0]
aim = "wall.centre"
reading = { f_number = 8, at = "wall.centre" }
"""
FILL = """
[[light]]
name = "fill"
kind = "bare"
position_m = [0.6, 1.5, 2.0]
aim = "wall.centre"
flash = false
against = { of = "key", at = "wall.centre", stops = -2 }
"""


@pytest.fixture
def scene(tmp_path):
    def make(*parts):
        path = tmp_path / "room.toml"
        path.write_text(ROOM + "".join(parts))
        return scene_from(path)

    return make


def test_a_reading_is_what_the_wall_gets(scene):
    """f/8 at ISO 100 is 160 lx·s (ISO 2720, C 250), and falls off from there as Lambert's panel does: a square metre at
    1 m gives 0.752275 of its luminance on its axis, at the wall's corner by the factor of a panel seen aslant.
    """
    found = irradiance_map(scene(KEY), n_across=81)
    middle = found.illuminance[40, 40]
    assert middle == pytest.approx(160.0, rel=1e-3)
    # Parallel plane under the own corner of the panel (J. R. Howell, section B): 0.1385316 of the exitance.
    luminance = 160.0 / 0.752275
    row = np.abs(found.points[..., 1] - 2.0).min(axis=1).argmin()
    column = np.abs(found.points[row, :, 0] - 0.5).argmin()
    at = found.points[row, column]
    assert (at[0], at[1]) == pytest.approx((0.5, 2.0), abs=0.02)
    side = 1.0 / math.hypot(1.0, 1.0)
    factor = 1.0 / (2.0 * math.pi) * (2.0 * side * math.atan(side))
    assert found.illuminance[row, column] == pytest.approx(math.pi * luminance * factor, rel=0.03)


def test_stops_against_another_light_hold_through_flash_and_steady(scene):
    """Two under the key at the wall's middle: a quarter of 160 lx·s within a shutter of 1/100 s is 4000 lx."""
    stage = stage_of(scene(KEY, FILL))
    fill = light_at_its_aim(stage.light("fill"))
    assert not fill.is_flash
    assert fill.level == pytest.approx(4000.0, rel=1e-4)


def test_the_order_of_lights_changes_nothing(scene):
    ambient = '[ambient]\nstops_under = 3\nof = "key"\n'
    levels = [room_light(stage_of(scene(*parts, ambient))).level for parts in ((KEY, FILL), (FILL, KEY))]
    assert levels == [pytest.approx(20.0, rel=1e-4)] * 2


def test_layers_are_kept_and_summed(scene):
    """Off is without it, on again is as before, and twice the light is twice its layer: nothing is traced for these."""
    both = scene(KEY, FILL)
    session = RenderSession(both, 96, 72)
    first = session.exposed()[0].copy()
    key_alone = RenderSession(scene(KEY), 96, 72).exposed()[0]
    fill_alone = first - key_alone
    session.kept.made.clear()
    session.change_to(with_overrides(both, ["light.fill.on=false"]))
    np.testing.assert_array_equal(session.exposed()[0], key_alone)
    session.change_to(with_overrides(both, ["light.fill.against.stops=-1"]))
    np.testing.assert_allclose(session.exposed()[0] - key_alone, 2.0 * fill_alone, rtol=1e-3, atol=1e-3)
    session.change_to(both)
    np.testing.assert_array_equal(session.exposed()[0], first)
    assert not [name for name in session.kept.made if name.startswith(("received", "shadow edges"))]


def test_a_session_that_moved_a_light_shows_what_a_fresh_one_does(scene):
    session = RenderSession(scene(KEY, FILL), 96, 72)
    session.rgb_bytes()
    moved = with_overrides(scene(KEY, FILL), ["light.key.position_m=[0.3, 1.7, 1.2]"])
    session.change_to(moved)
    np.testing.assert_array_equal(session.rgb_bytes(), RenderSession(moved, 96, 72).rgb_bytes())
