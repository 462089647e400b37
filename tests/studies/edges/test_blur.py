"""Blur from plain numbers: the same as in a scene and as in closed form, and every wrong number reported."""

from __future__ import annotations

import math

import pytest

from projector.faults import SceneError
from projector.studies.edges.blur import blur
from projector.studies.edges.sharpness import sharpness


def test_a_screen_before_the_sharp_plane_has_the_traced_disc():
    """f 100 mm, pupil 25 mm, sharp at 3433.333 mm, screen at 3000 mm: 3.15534 mm (optiland 0.6.3, real rays); edge
    0.68705 of it (closed form).
    """
    found = blur(100.0, 4.0, 1.0 / (10.0 - 1.0 / 0.103), 3.0)
    assert found.blur_mm == pytest.approx(3.15534, rel=1e-5)
    assert found.edge_mm == pytest.approx(2.16787, rel=1e-4)
    assert found.tube_length_mm == pytest.approx(103.0, rel=1e-9)


@pytest.mark.parametrize("offset_mm", [-0.8, 0.0, 1.5])
def test_numbers_and_scene_agree(studio, offset_mm):
    scene = studio.scene({"lens": {"f_number": 2.8}, "focus": {"distance_m": 1.8, "offset_mm": offset_mm}})
    in_scene = sharpness(scene, scene.projector[0], (0.0, 1.5, 0.0))
    assert blur(85.0, 2.8, 1.8, 2.0, offset_mm).blur_mm == pytest.approx(in_scene.blur_disc_mm, rel=1e-3)


def test_the_wanted_stop_gives_the_wanted_edge():
    found = blur(85.0, 2.0, 2.0, 2.2, within_mm=1.0)
    assert blur(85.0, found.f_number_wanted, 2.0, 2.2).edge_mm == pytest.approx(1.0, rel=1e-9)
    assert blur(85.0, 2.0, 2.0, 2.2, within_mm=99.0).f_number_wanted is None


def test_a_stencil_within_the_focal_length_is_sharp_nowhere():
    assert blur(85.0, 2.0, 2.0, stencil_off_mm=-10.0).sharp_m is None


def test_every_wrong_number_is_told_at_once():
    with pytest.raises(SceneError) as caught:
        blur(-85.0, 0.0, 2.0, float("nan"), float("inf"), "N-BK8")
    assert {fault.key for fault in caught.value.faults} == {
        "focal_length_mm",
        "f_number",
        "wall_m",
        "stencil_off_mm",
        "glass",
    }
    for numbers in ({"throw_m": 0.05}, {"stencil_off_mm": -100.0}):
        with pytest.raises(SceneError):
            blur(**{"focal_length_mm": 85.0, "f_number": 2.0, "throw_m": 2.0, **numbers})


def test_the_focuses_for_a_wanted_edge_give_it():
    """Fed back as the throw, each leaves just that edge on the wall; 85 mm f/2 at 2 m, 8 mm: 1.570 and 2.755 m (thin
    lens, closed form of the chord).
    """
    found = blur(85.0, 2.0, 2.0, within_mm=8.0)
    assert found.focuses_m == pytest.approx((1.5699, 2.7547), abs=1e-3)
    for focus_m, offset_mm in zip(found.focuses_m, found.offsets_mm, strict=True):
        assert blur(85.0, 2.0, focus_m, 2.0).edge_mm == pytest.approx(8.0, rel=1e-6)
        assert blur(85.0, 2.0, 2.0, stencil_off_mm=offset_mm).edge_mm == pytest.approx(8.0, rel=1e-6)
    # Softer than any focus before infinity leaves it: the stencil within the focal length.
    assert math.isinf(blur(85.0, 2.0, 2.0, within_mm=40.0).focuses_m[-1])
