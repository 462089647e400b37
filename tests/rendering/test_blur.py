"""How soft edges land: 10–90 % widths measured in the map, against the closed form and against a ray at a time.

A disc pupil spreads a point to a disc of diameter C = D·|Z − z_f|/z_f on a square wall (textbook thin lens; a real-ray
trace by another library gave 3.15534 mm where the form gives 3.15534), and an edge blurred by a uniform disc rises from
10 to 90 % in 0.68705·C (closed form; skimage.morphology.disk(50) gives 0.68697).

Error budget of the 3 %: interpolation between two levels of the ladder 0.7 %, a level's own pixels 0.5 %, the map's
pitch C/25 with straight interpolation 0.5 %, the bitmap's own edge (one pixel wide) 1 % at 8 pixels of blur.
"""

from __future__ import annotations

import numpy as np
import pytest

from projector.optics import thin_lens
from projector.rendering.maps.irradiance import irradiance_map
from tests.conftest import mostly_slow

WALL_AT = 2.0


def soft_scene(studio, pixels_of_blur, sign, size=2048, pupil=None, blade=False, f_number=2.8):
    """A half-open stencil 30 mm wide whose blur in the gate is so many bitmap pixels; sign +: focused nearer than the
    wall.

    Returns the scene and the blur disc on the wall in metres.
    """
    # Beyond the wall there is only so much room (infinity): large blurs behind it need a finer bitmap.
    stencil = 0.006 if sign < 0 and pixels_of_blur > 60 else 0.030
    pitch = stencil / size
    diameter = 0.085 / f_number
    # D·s·|1/z_f − 1/Z| with s from z_f: solved by a few rounds.
    inverse = 1.0 / WALL_AT
    for _ in range(30):
        tube = thin_lens.conjugate_distance(0.085, 1.0 / inverse)
        inverse = 1.0 / WALL_AT + sign * pixels_of_blur * pitch / (diameter * tube)
    blur = thin_lens.blur_circle_diameter(diameter, 1.0 / inverse, WALL_AT)
    lens = {"focal_length_mm": 85.0, "f_number": f_number, "pupil": pupil}
    projector = {"lens": lens, "focus": {"distance_m": 1.0 / inverse}}
    if blade:
        projector["blade"] = [{"side": "left", "insertion_mm": 30.0}]
    else:
        projector["stencil"] = {"file": studio.half_plane(size), "width_mm": 1000 * stencil}
    wall = {"width_m": 2.4 * blur, "height_m": max(0.001, 0.24 * blur)}
    return studio.scene(projector, wall), blur


def edge_profile(found, ruler):
    x, _ = ruler.axes(found)
    return x, found.illuminance[found.illuminance.shape[0] // 2]


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize("pixels", mostly_slow([8, 50, 400, 11, 23, 120], 3))
def test_an_edge_of_the_stencil_rises_as_wide_as_the_disc_says(studio, ruler, pixels, sign):
    scene, blur = soft_scene(studio, pixels, sign)
    width = ruler.edge_width(*edge_profile(irradiance_map(scene, n_across=60), ruler))
    assert width == pytest.approx(thin_lens.DISC_EDGE_10_90 * blur, rel=0.03)


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize("pixels", [8, 50, 400])
def test_an_edge_of_a_blade_rises_as_wide_as_the_disc_says(studio, ruler, pixels, sign):
    scene, blur = soft_scene(studio, pixels, sign, blade=True)
    width = ruler.edge_width(*edge_profile(irradiance_map(scene, n_across=60), ruler))
    assert width == pytest.approx(thin_lens.DISC_EDGE_10_90 * blur, rel=0.03)


@pytest.mark.parametrize("pixels", mostly_slow([6, 4, 2]))
def test_a_nearly_sharp_edge_agrees_with_single_rays(studio, ruler, pixels):
    """Below 8 pixels the bitmap's own edge shows; then rays through the raw bitmap are the judge, at 5 %."""
    scene, _blur = soft_scene(studio, pixels, 1)
    fast = ruler.edge_width(*edge_profile(irradiance_map(scene, n_across=120), ruler))
    reference = irradiance_map(scene, n_across=120, n_rays_side=32)
    x, _ = ruler.axes(reference)
    slow = ruler.edge_width(x, reference.illuminance.mean(axis=0))
    assert fast == pytest.approx(slow, rel=0.05)


PUPILS = {
    "five blades": {"shape": "polygon", "n_blades": 5, "rotation_deg": 13.0},
    "six blades": {"shape": "polygon", "n_blades": 6},
    "ring": {"shape": "ring", "inner_fraction": 0.6},
    "bitmap": {"shape": "bitmap", "file": "wedge.png"},
}


@pytest.mark.slow
@pytest.mark.parametrize("sign", mostly_slow([1, -1]))
@pytest.mark.parametrize("name", PUPILS)
@pytest.mark.parametrize("blade", [False, True], ids=["stencil", "blade"])
def test_other_pupils_spread_an_edge_as_single_rays_do(studio, name, sign, blade):
    """Every column of the profile within 1.5 % of full light of the mean of 2 × 24² stratified rays a point.

    Their own noise there is below 0.2 % (a straight edge meets about 24 of 576 cells of the pupil's square).
    """
    wedge = np.zeros((65, 65))
    wedge[5:60, 5:20] = 1.0
    wedge[40:60, 5:60] = 0.6
    studio.bitmap("wedge.png", wedge)
    scene, _ = soft_scene(studio, 60, sign, pupil=PUPILS[name], blade=blade)
    fast = irradiance_map(scene, n_across=60).illuminance.mean(axis=0)
    slow = [irradiance_map(scene, n_across=60, n_rays_side=24, seed=seed).illuminance.mean(axis=0) for seed in (1, 2)]
    assert np.abs(fast - 0.5 * (slow[0] + slow[1])).max() < 0.015 * fast.max()


def test_turning_through_focus_turns_an_uneven_pupil_round(studio, ruler):
    """A pupil open on one side only shifts the pattern one way before focus and the other way behind it."""
    side = np.zeros((65, 65))
    side[:, 40:60] = 1.0
    studio.bitmap("side.png", side)
    shifts = []
    for sign in (1, -1):
        scene, _ = soft_scene(studio, 60, sign, pupil={"shape": "bitmap", "file": "side.png"})
        x, values = edge_profile(irradiance_map(scene, n_across=100), ruler)
        shifts.append(ruler.crossings(x, values, 0.5 * values.max())[0])
    assert shifts[0] * shifts[1] < 0
    assert shifts[0] == pytest.approx(-shifts[1], rel=0.1)


def test_half_the_pupil_is_half_the_blur(studio, ruler):
    """Common practice, and the same disc formula: two stops down, half as soft."""
    scene, _ = soft_scene(studio, 100, 1, f_number=2.8)
    wide = ruler.edge_width(*edge_profile(irradiance_map(scene, n_across=100), ruler))
    stopped = scene.model_copy(
        update={
            "projector": (
                scene.projector[0].model_copy(
                    update={"lens": scene.projector[0].lens.model_copy(update={"f_number": 5.6})}
                ),
            )
        }
    ).placed_at("test", scene.folder)
    narrow = ruler.edge_width(*edge_profile(irradiance_map(stopped, n_across=100), ruler))
    assert narrow / wide == pytest.approx(0.5, rel=0.03)


def test_a_stencil_off_its_plane_blurs_as_published(studio, ruler):
    """Worked example: f 90, f/2.5, magnification 60, stencil 0.25 mm off its plane:
    5.88 mm of blur (published: 5.88).
    """
    distance = 0.09 * 61.0
    lens = {"focal_length_mm": 90.0, "f_number": 2.5}
    projector = {
        "position_m": [0.0, 1.5, distance],
        "lens": lens,
        "focus": {"distance_m": distance, "offset_mm": 0.25},
        "stencil": {"file": studio.half_plane(2048), "width_mm": 20.0},
    }
    scene = studio.scene(projector, {"width_m": 0.02, "height_m": 0.002})
    width = ruler.edge_width(*edge_profile(irradiance_map(scene, n_across=100), ruler))
    assert width == pytest.approx(thin_lens.DISC_EDGE_10_90 * 0.005886, rel=0.03)
