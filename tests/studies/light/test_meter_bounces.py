"""What surfaces send a meter, against form factors, and energy in a closed white box."""

from __future__ import annotations

import math

import numpy as np
import pytest

from projector.optics.area_light import panel_on_dome, panel_on_flat
from projector.photometry.colour import SRGB_LUMINANCE
from projector.photometry.exposure import picture_scale
from projector.rendering.preview import preview
from projector.scene.reading.reader import load_text
from projector.stage.stage import Stage
from projector.studies.light.meter import meter
from projector.studies.light.meter_bounces import bounced_here
from projector.studies.light.meter_place import meter_place
from projector.studies.pictures.stops_around import seen_at

HEAD = """
format = 1
[camera]
position_m = [0.0, 0.0, 3.0]
aim = [0, 0, 0]
"""
WALL = """
[[surface]]
name = "wall"
position_m = [0, 0, 0]
width_m = 2
height_m = 2
{reflectance}
"""
# So far away that its light is even over the wall: 1.2566 million lm all round are 1e5 cd, 40 lx at 50 m.
FAR = f"""
[[light]]
name = "far"
kind = "bare"
position_m = [0, 0, 50]
aim = "wall.centre"
diameter_m = 0.5
output = {{ lumens = {4e5 * math.pi} }}
"""


def bounced(text: str, point, receptor: str, towards, n_bounces: int = 1) -> dict[str, float]:
    stage = Stage(load_text(text))
    return bounced_here(stage, meter_place(stage, point, receptor, towards), n_bounces)


@pytest.mark.parametrize(("distance", "corner"), [(1.0, 0.1385316), (2.0, 0.0598641)])
def test_an_evenly_lit_wall_sends_its_form_factor(distance, corner):
    """ρ·E·F of a rectangle over an element on its axis, F four times that of a corner (J. R. Howell, A Catalog of
    Radiation Heat Transfer Configuration Factors, section B): within 1 %, of 128² paths 0.5 % and of the far light's
    evenness 0.2 %.
    """
    found = bounced(HEAD + WALL.format(reflectance="reflectance = 0.5") + FAR, (0, 0, distance), "flat", (0, 0, 0))
    assert found["far"] == pytest.approx(0.5 * 40.0 * 4.0 * corner, rel=0.01)


def test_a_dome_gathers_a_walls_light_by_its_own_law():
    """Close to a wall a dome sees light from far off its axis, as Lambert's sum over the wall's edges has it."""
    text = HEAD + WALL.format(reflectance="reflectance = 0.5") + FAR
    flat, dome = (bounced(text, (0, 0, 0.3), kind, (0, 0, 0))["far"] for kind in ("flat", "dome"))
    wall, here, facing = (0, 0.0, 1.0, 1.0), (0.0, 0.0, 0.3), (0.0, 0.0, -1.0)
    assert dome / flat == pytest.approx(panel_on_dome(wall, here, facing) / panel_on_flat(wall, here, facing), rel=0.01)


def test_a_red_wall_sends_less_of_a_light_by_its_luminance():
    """Reflectance in linear sRGB has the luminance of its colour under daylight: 0.2126·R + 0.7152·G + 0.0722·B. The
    lamp is daylight of 5600 K and not D65: within 3 %.
    """
    grey, red = (
        bounced(HEAD + WALL.format(reflectance=given) + FAR, (0, 0, 1), "flat", (0, 0, 0))["far"]
        for given in ("reflectance = 0.5", "colour = [0.8, 0.1, 0.1]")
    )
    assert red / grey == pytest.approx((0.2126 * 0.8 + 0.7874 * 0.1) / 0.5, rel=0.05)


@pytest.mark.slow
def test_in_a_closed_white_box_the_bounces_are_a_geometric_row(studio):
    """Mean light of the walls after n bounces over the direct light, Σ ρ^k, as no light gets lost (the Neumann series
    of radiosity, C. Goral and others, SIGGRAPH 1984). Gauss's four places on each wall stand for it within 2 %.
    """
    room = {"name": "room", "shape": "box", "position_m": [0.0, 1.5, 0.0], "reflectance": 0.5}
    room |= {"width_m": 3.0, "height_m": 3.0, "depth_m": 3.0}
    light = {"name": "it", "kind": "bare", "position_m": [0.1, 1.7, -0.1], "aim": [0.0, 1.5, 1.0], "diameter_m": 0.1}
    light["output"] = {"lumens": 1000.0}
    stage = Stage(studio.scene(surfaces=[room], camera={"position_m": [0.2, 1.5, 0.9]}, light=[light]))
    mean, steps = 1000.0 / 54.0, 1.5 / math.sqrt(3.0) * np.array([-1.0, 1.0])
    found: dict[int, list[float]] = {1: [], 3: []}
    for side in range(3):
        for sign in (-1.0, 1.0):
            for u, v in np.array(np.meshgrid(steps, steps)).reshape(2, -1).T:
                point = np.insert(np.array([u, v]), side, 1.5 * sign) + np.array([0.0, 1.5, 0.0])
                place = meter_place(stage, tuple(point), "flat")
                for n_bounces, levels in found.items():
                    levels.append(bounced_here(stage, place, n_bounces)["it"])
    assert np.mean(found[1]) / mean == pytest.approx(0.5, rel=0.02)
    assert np.mean(found[3]) / mean == pytest.approx(0.5 + 0.25 + 0.125, rel=0.02)


def test_a_meter_in_a_scene_with_bounces_counts_them_with_each_light():
    text = HEAD.replace("format = 1", "format = 1\nbounces = 1") + WALL.format(reflectance="reflectance = 0.5") + FAR
    found = meter(load_text(text), (0, 0, 1), "flat", towards=(0, 0, 0))
    (far,) = found.lights
    assert far.alone.lx == pytest.approx(0.5 * 40.0 * 4.0 * 0.1385316, rel=0.01) and far.bounced_share == 1.0
    assert far.no_light == "the receptor faces away from it" and found.together.lx == far.alone.lx
    dark = meter(load_text(text.replace("bounces = 1", "bounces = 0")), (0, 0, 1), "flat", towards=(0, 0, 0))
    assert dark.together.lx == 0.0


@pytest.mark.slow
def test_a_meter_on_a_wall_shows_what_the_picture_has_there(studio):
    """Two other ways to the same light, look-ups and smoothed bounces against single paths: within 0.03 stop, of which
    the picture's bounces have 2 % where most of the light is bounced.
    """
    white = {"name": "wall", "position_m": [0.0, 1.5, 0.0], "width_m": 3.0, "height_m": 3.0, "reflectance": 0.6}
    board = {"name": "board", "position_m": [1.2, 1.5, 0.8], "yaw_deg": -90, "width_m": 1.4, "height_m": 2.0}
    light = {"name": "fill", "kind": "panel", "position_m": [-0.9, 1.9, 1.4], "aim": [1.2, 1.5, 0.8]}
    light |= {"width_m": 0.5, "height_m": 0.7, "output": {"lumen_seconds": 200.0}}
    scene = studio.scene(surfaces=[white, board], camera={"position_m": [0.0, 1.5, 3.2]}, light=[light], bounces=1)
    picture = preview(scene, width=160, height=120, quality="fine")
    luminance = picture.light.linear.astype(float) @ SRGB_LUMINANCE
    for point in ((0.4, 1.5, 0.0), (-0.3, 1.2, 0.0), (0.1, 1.8, 0.0)):
        _, column, row = seen_at(Stage(scene), 160, 120, point)
        shown = luminance[row - 1 : row + 2, column - 1 : column + 2].mean() / 0.6
        metered = meter(scene, point, "flat").together.lx_s * picture_scale(scene.camera.f_number, scene.camera.iso)
        assert abs(math.log2(metered / shown)) < 0.03


def test_the_same_meter_shows_the_same_each_time():
    text = HEAD + WALL.format(reflectance="reflectance = 0.5") + FAR
    assert bounced(text, (0, 0, 1), "dome", "camera", 2) == bounced(text, (0, 0, 1), "dome", "camera", 2)
