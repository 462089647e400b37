"""Size, place, keystone and orientation of the landed pattern, measured in the map against closed forms.

Tolerance 0.5 % everywhere: the map's pitch is a thousandth of its width and edges are interpolated to a tenth of it,
the bitmap's edge lies within half of its pixels (1/2048 of the stencil).
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from projector.rendering.maps.irradiance import irradiance_map


def opening(studio, width=24.0, height=36.0, across=40.0, size=1600):
    """A rectangle, width × height mm, open in a bitmap `across` mm wide."""
    centres = (np.arange(size) + 0.5) / size * across - across / 2
    values = (np.abs(centres)[None, :] <= width / 2) & (np.abs(centres)[:, None] <= height / 2)
    return studio.bitmap("opening.png", values.astype(float))


def landed_size(found, ruler):
    """Width and height (m) between the half-light points through the middle of a map."""
    x, y = ruler.axes(found)
    rows, columns = found.illuminance.shape
    middle = found.illuminance[rows // 2, columns // 2]
    across = ruler.crossings(x, found.illuminance[rows // 2], middle / 2)
    up = ruler.crossings(y, found.illuminance[:, columns // 2], middle / 2)
    return across[-1] - across[0], abs(up[-1] - up[0])


def square_wall(studio, distance, wall_width, lens, stencil, stencil_width, focus=None, gate=70.0):
    projector = {
        "position_m": [0.0, 1.5, distance],
        "gate": {"shape": "round", "diameter_mm": gate},
        "stencil": {"file": stencil, "width_mm": stencil_width},
        "lens": lens,
        "focus": {"distance_m": focus or distance},
        "reading": {"distance_m": distance},
    }
    return studio.scene(projector, {"width_m": wall_width, "height_m": wall_width})


def test_a_slide_lands_at_the_size_of_the_textbook(studio, ruler):
    """OpenStax, University Physics 3, Thin Lenses: f 100 mm, slide 24 × 36 mm at 103 mm, screen at 3.4333 m: 0.800 ×
    1.20 m.
    """
    distance = 1.0 / (1.0 / 0.1 - 1.0 / 0.103)
    scene = square_wall(studio, distance, 1.6, {"focal_length_mm": 100.0, "f_number": 8.0}, opening(studio), 40.0)
    width, height = landed_size(irradiance_map(scene, n_across=1000), ruler)
    assert width == pytest.approx(0.800, rel=0.005)
    assert height == pytest.approx(1.200, rel=0.005)


def test_a_gate_lands_as_large_as_a_camera_sees(studio, ruler):
    """OpenStax, University Physics 3, The Camera: f 50 mm focused at 3.00 m takes in 2.12 m on 36 mm; light goes both
    ways.
    """
    scene = square_wall(studio, 3.0, 3.0, {"focal_length_mm": 50.0, "f_number": 8.0}, opening(studio, 36.0, 24.0), 40.0)
    width, _ = landed_size(irradiance_map(scene, n_across=1000), ruler)
    assert width == pytest.approx(2.1240, rel=0.005)


@pytest.mark.parametrize(
    ("focal_length", "lit_width", "distance", "landed"),
    [(171.0, 34.3, 4.77, 0.9225), (50.0, 28.0, 2.50, 1.372), (85.0, 28.0, 2.50, 0.796), (98.68, 36.0, 7.50, 2.70)],
)
def test_width_is_stencil_times_magnification(studio, ruler, focal_length, lit_width, distance, landed):
    """W = G·(D − f)/f on a square wall, the thin-lens law (OpenStax, University Physics 3, Thin Lenses)."""
    lens = {"focal_length_mm": focal_length, "f_number": 8.0}
    scene = square_wall(studio, distance, 1.3 * landed, lens, opening(studio, lit_width, 20.0), 40.0)
    width, _ = landed_size(irradiance_map(scene, n_across=1000), ruler)
    assert width == pytest.approx(lit_width * (distance - focal_length / 1000) / focal_length, rel=0.005)
    assert width == pytest.approx(landed, rel=0.005)


def test_a_tilted_wall_gets_the_whole_projective_map(studio, ruler):
    """A 26° field on a wall 3.00 m away tilted by 30°: edges 1.598 and 1.222 m wide, 1.628 m long (projective
    geometry).

    The far edge is 1.16 stops dimmer than the near one. All of it from the rays at the field's edges, by trigonometry.
    """
    tilt, half = math.radians(30.0), math.radians(13.0)
    tube = 1.0 / (1.0 / 0.085 - 1.0 / 3.0)
    side = 2.0 * tube * math.tan(half) * 1000
    lens = {"focal_length_mm": 85.0, "f_number": 16.0}
    projector = {
        "position_m": [0.0, 1.5, 3.0],
        "gate": {"shape": "rectangle", "diameter_mm": None, "width_mm": side, "height_mm": side},
        "lens": lens,
        "focus": {"distance_m": 3.0},
        "reading": {"distance_m": 3.0},
    }
    scene = studio.scene(projector, {"width_m": 2.2, "height_m": 2.2, "yaw_deg": 30.0})
    found = irradiance_map(scene, n_across=1600)
    x, y = ruler.axes(found)
    # Rays at ±h across: how far along the wall they land, and how far along the axis that is.
    along = [3.0 * math.sin(half) / math.cos(tilt + half), 3.0 * math.sin(half) / math.cos(tilt - half)]
    depth = [
        3.0 * math.cos(tilt) * math.cos(half) / math.cos(tilt + half),
        3.0 * math.cos(tilt) * math.cos(half) / math.cos(tilt - half),
    ]
    assert sum(along) == pytest.approx(1.628, rel=0.001)
    assert [2.0 * value * math.tan(half) for value in depth] == pytest.approx([1.598, 1.222], rel=0.001)
    lit = found.illuminance > 0.02 * found.illuminance.max()
    row = x[lit[found.illuminance.shape[0] // 2]]
    assert row[-1] - row[0] + (x[1] - x[0]) == pytest.approx(sum(along), rel=0.005)
    # The wall turned to its left: its right half, as the map shows it, went away from the projector.
    far, near = row[0], row[-1]
    if abs(near) > abs(far):
        far, near = near, far
    heights = []
    for place in (far, near):
        column = y[lit[:, int(np.argmin(np.abs(x - 0.997 * place)))]]
        heights.append(column[0] - column[-1] + (y[0] - y[1]))
    assert heights[0] / heights[1] == pytest.approx(1.308, rel=0.006)
    edge_light = [
        found.illuminance[found.illuminance.shape[0] // 2, int(np.argmin(np.abs(x - 0.98 * place)))]
        for place in (far, near)
    ]
    assert math.log2(edge_light[0] / edge_light[1]) == pytest.approx(-1.16, abs=0.05)


MARK = np.zeros((400, 400))
MARK[40:360, 60:120] = 1.0
MARK[40:100, 60:340] = 1.0
MARK[180:230, 60:240] = 1.0


@pytest.mark.parametrize("roll", [0.0, 90.0, 180.0, 270.0])
def test_the_mark_lands_upright_and_unmirrored_and_rolls_clockwise(studio, roll):
    """Seen from behind the projector, towards a wall square to it: as stored, turned clockwise by the roll."""
    projector = {
        "stencil": {"file": studio.bitmap("mark.png", MARK), "width_mm": 30.0},
        "roll_deg": roll,
        "lens": {"f_number": 16.0},
    }
    tube = 1.0 / (1.0 / 0.085 - 1.0 / 2.0)
    side = 0.030 * 2.0 / tube
    scene = studio.scene(projector, {"width_m": side, "height_m": side})
    found = irradiance_map(scene, n_across=400)
    landed = found.illuminance > 0.5 * found.illuminance.max()
    # The wall faces +z and so does the map: seen from the projector in front of it.
    wanted = np.rot90(MARK > 0.5, k=-int(roll // 90))
    assert (landed != wanted).mean() < 0.01
