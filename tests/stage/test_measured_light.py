"""A light by its LM-63 file, from the file to what a meter shows."""

import math

import numpy as np
import pytest

from projector import SceneError, load
from projector.stage.shines import flux_of, turned_to
from projector.stage.stage import stage_of

ROOM = """
format = 1
[camera]
position_m = [2.0, 1.5, 3.0]
aim = "wall.centre"
[[surface]]
name = "wall"
width_m = 2
height_m = 2
position_m = [0, 1.5, 0]
[[light]]
name = "lamp"
kind = "measured"
file = "lamp"
position_m = [0, 1.5, 2]
aim = "wall.centre"
"""


def photometric_file(angles, turns, candela) -> str:
    """An LM-63 file of the 2002 edition with a round opening of 0.1 m; candela (turns, angles)."""
    rows = "\n".join(" ".join(f"{value:.6f}" for value in row) for row in candela)
    numbers = " ".join(f"{angle:g}" for angle in angles), " ".join(f"{turn:g}" for turn in turns)
    header = f"1 -1 1 {len(angles)} {len(turns)} 1 2 -0.1 -0.1 0\n1 1 50"
    return "\n".join(["IESNA:LM-63-2002", "TILT=NONE", header, *numbers, rows, ""])


def lamp(tmp_path, text: str):
    (tmp_path / "lamp.ies").write_text(text)
    (tmp_path / "room.toml").write_text(ROOM)
    return load(tmp_path / "room.toml")


def test_its_candela_fall_on_the_wall_and_its_lumens_are_those_of_the_table(tmp_path):
    """1000·cos γ cd: 250 lx at 2 m on the axis (inverse square) and 1000·π lm in all (its exact flux); 5° steps of the
    table, read linearly, leave 0.1 %.
    """
    angles = np.arange(0, 91, 5)
    scene = lamp(tmp_path, photometric_file(angles, [0], [1000.0 * np.cos(np.radians(angles))]))
    light = stage_of(scene).light("lamp")
    assert not light.power.is_flash
    on_axis = light.power.luminance * turned_to(light.shine, np.array((0.0, 1.5, 0.0)))
    # Its opening of 0.1 m is a disc: R²/d² below a point's by 6e-4.
    assert on_axis == pytest.approx(250.0, rel=1e-3)
    assert light.power.luminance * flux_of(light.shine) == pytest.approx(1000.0 * math.pi, rel=2e-3)


def test_its_planes_lie_round_its_axis_as_the_file_says(tmp_path):
    """All of its light goes to the right (horizontal angle 0) and none to the left (180)."""
    angles, turns = [0, 45, 90], [0, 90, 180]
    scene = lamp(tmp_path, photometric_file(angles, turns, [[1000, 1000, 0], [500, 500, 0], [0, 0, 0]]))
    light = stage_of(scene).light("lamp")

    def candela(right, down):
        axes = light.shine.emitter
        way = np.array(axes.forward) + right * np.array(axes.right) + down * np.array(axes.down)
        place = np.array(axes.position) + 50.0 * way / np.linalg.norm(way)
        return 2500.0 * light.power.luminance * turned_to(light.shine, place)

    assert candela(0.9, 0.0) == pytest.approx(1000.0, rel=0.01)
    assert candela(0.0, 0.9) == pytest.approx(candela(0.0, -0.9), rel=0.01) == pytest.approx(500.0, rel=0.01)
    assert candela(-0.9, 0.0) == pytest.approx(0.0, abs=5.0)


def test_a_wrong_file_is_said_with_its_own_line_and_the_scenes(tmp_path):
    with pytest.raises(SceneError) as refused:
        lamp(tmp_path, "IESNA:LM-63-2002\nTILT=NONE\n1 -1 1 3 1 1 2 0 0 0\n1 1 50\n0 45 30\n0\n1 2 3\n")
    (fault,) = refused.value.faults
    assert fault.key == "light.lamp.file" and "lamp.ies" in fault.found and fault.line is not None
