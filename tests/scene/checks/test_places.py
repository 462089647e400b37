"""Where things stand: aims, focus, devices inside, behind or far from something,
held to positions worked out by hand.
"""

from __future__ import annotations

import re

import numpy as np
import pytest

from projector.scene.checks.cross import cross_check


def found_in(studio, **changes):
    faults, warnings = cross_check(studio.scene(**changes))
    return {fault.key: fault for fault in faults}, warnings


def box(**changes):
    return {
        "name": "crate",
        "shape": "box",
        "position_m": [3.0, 0.5, 0.0],
        "width_m": 1.0,
        "height_m": 1.0,
        "depth_m": 1.0,
        **changes,
    }


WALL = {"name": "wall", "position_m": [0.0, 1.5, 0.0], "width_m": 2.0, "height_m": 2.0}


@pytest.mark.parametrize(
    ("changes", "key", "words"),
    [
        ({"projector": {"aim": [0.0, 1.5, 2.0]}}, "projector.window.aim", "stands at the point it aims at"),
        ({"camera": {"aim": [0.0, 1.5, 4.0]}}, "camera.aim", "stands at the point it aims at"),
        ({"camera": {"focus": [0.0, 1.5, 5.0]}}, "camera.focus", "behind the camera"),
        (
            {"projector": {"focus": {"distance_m": None, "at": [0.0, 1.5, 3.0]}}},
            "projector.window.focus",
            "behind the lens",
        ),
        ({"projector": {"focus": {"distance_m": 0.08}}}, "projector.window.focus", "the focal length itself is longer"),
        # A pupil that stands half a metre before the mark: the focal length counts from there.
        (
            {"projector": {"lens": {"pupil_offset_mm": 500.0}, "focus": {"distance_m": 0.585}}},
            "projector.window.focus",
            "nearest is 0.587 m (the focal length itself is longer)",
        ),
        ({"projector": {"lens": {"nearest_focus_m": 2.5}}}, "projector.window.focus", "as near as this lens focuses"),
        ({"projector": {"focus": {"offset_mm": -100.0}}}, "projector.window.focus.offset_mm", "behind the lens"),
        ({"projector": {"position_m": [0.0, 1.5, 0.01]}}, "projector.window.position_m", "stands inside wall"),
        ({"camera": {"position_m": [0.5, 1.0, -0.01]}}, "camera.position_m", "stands inside wall"),
    ],
)
def test_what_cannot_be_is_told(studio, changes, key, words):
    faults, _ = found_in(studio, **changes)
    assert key in faults and words in faults[key].found


def test_the_message_of_too_near_a_focus_gives_the_blur_of_staying(studio):
    # Focused at 2.5 m instead of 2 m: the cone of an 85/4 mm pupil has 21.25 · 0.5 / 2.5 = 4.25 mm at 2 m (similar
    # triangles).
    faults, _ = found_in(studio, projector={"lens": {"nearest_focus_m": 2.5}})
    assert (
        "a blur of 4.2 mm at 2.000 m" in faults["projector.window.focus"].try_
        or "a blur of 4.3 mm at 2.000 m" in faults["projector.window.focus"].try_
    )


def test_focus_is_allowed_from_the_nearest_distance_on(studio):
    beside = {"position_m": [1.5, 1.5, 4.0]}  # where the lamp is not in its picture
    assert found_in(studio, projector={"lens": {"nearest_focus_m": 2.0}}, camera=beside) == ({}, [])


def test_the_nearest_focus_may_be_typed_as_it_is_printed(studio):
    """1.2344 m is printed as 1.234 m."""
    lens = {"nearest_focus_m": 1.2344}
    faults, _ = found_in(studio, projector={"lens": lens, "focus": {"distance_m": 1.0}})
    printed = re.search(r"nearest is ([\d.]+) m", str(faults))[1]
    assert found_in(studio, projector={"lens": lens, "focus": {"distance_m": float(printed)}})[0] == {}
    assert found_in(studio, projector={"lens": lens, "focus": {"distance_m": float(printed) - 1e-3}})[0] != {}


@pytest.mark.parametrize(
    ("yaw_deg", "position_m", "inside"),
    [
        (0.0, [3.49, 0.5, 0.49], True),
        (0.0, [3.55, 0.5, 0.0], False),
        (0.0, [3.0, 1.05, 0.0], False),
        # Turned by 45° its corner reaches 0.707 m along x, and its old corner stands free.
        (45.0, [3.65, 0.5, 0.0], True),
        (45.0, [3.45, 0.5, 0.45], False),
    ],
)
def test_a_device_inside_a_box_is_told_by_the_boxs_own_axes(studio, yaw_deg, position_m, inside):
    faults, _ = found_in(studio, surfaces=[WALL, box(yaw_deg=yaw_deg)], camera={"position_m": position_m})
    assert ("camera.position_m" in faults) == inside


def test_a_device_inside_the_sitter_is_told_and_one_beside_the_nose_is_not(studio):
    figure = {"name": "sitter", "kind": "head_and_torso"}
    back = {**WALL, "position_m": [0.0, 1.5, -2.0]}
    lens = {"focus": {"distance_m": 3.0}}
    from projector.scene.placement import landmarks_of

    places = landmarks_of(studio.scene(figures=[figure], surfaces=[back]))
    nose = places["sitter.nose_tip"]
    for offset_m, inside in ((-0.08, True), (0.05, False)):
        position = (nose + np.array([0.0, 0.0, offset_m])).tolist()
        faults, _ = found_in(
            studio,
            figures=[figure],
            surfaces=[back],
            projector={**lens, "position_m": position, "aim": [0.0, 1.5, -2.0]},
        )
        assert ("projector.window.position_m" in faults) == inside
    chest = (places["sitter.chest"] - np.array([0.0, 0.0, 0.05])).tolist()
    assert (
        "camera.position_m"
        in found_in(studio, figures=[figure], surfaces=[back], camera={"position_m": chest}, projector=lens)[0]
    )


@pytest.mark.parametrize(
    ("position_m", "between"),
    # From z = 2 to the wall's middle past a plate at z = 1 that reaches from x = 0.2 to x = 1.2: the way crosses at
    # half of x.
    [
        ([0.0, 1.5, 2.0], False),
        ([0.38, 1.5, 2.0], False),
        ([0.42, 1.5, 2.0], True),
        ([2.38, 1.5, 2.0], True),
        ([2.42, 1.5, 2.0], False),
    ],
)
def test_a_flat_that_stands_in_the_way_is_a_warning(studio, position_m, between):
    flag = {"name": "flag", "position_m": [0.7, 1.5, 1.0], "width_m": 1.0, "height_m": 1.0}
    faults, warnings = found_in(
        studio, surfaces=[WALL, flag], projector={"position_m": position_m, "focus": {"distance_m": 2.5}}
    )
    assert not faults and any("flag stands between" in warning for warning in warnings) == between


@pytest.mark.parametrize("shape", ["flat", "sweep"])
def test_a_backdrop_lit_from_behind_is_a_warning(studio, shape):
    wall = {"shape": shape, "position_m": [0.0, 1.5 if shape == "flat" else 0.0, 0.0]}
    for z, behind in ((2.0, False), (-2.0, True)):
        faults, warnings = found_in(studio, wall=wall, projector={"position_m": [0.0, 1.5, z], "aim": "wall.centre"})
        assert not faults and any("points at its back" in warning for warning in warnings) == behind


def test_what_stands_farther_than_any_studio_is_questioned(studio):
    _, warnings = found_in(studio, projector={"position_m": [0.0, 1.5, 200.0], "focus": {"distance_m": 200.0}})
    assert any("is it in metres" in warning for warning in warnings)


def test_a_device_that_looks_straight_down_is_no_fault(studio):
    faults, _ = found_in(
        studio,
        wall={"pitch_deg": 90.0, "position_m": [0.0, 0.0, 0.0]},
        projector={"position_m": [0.0, 2.0, 0.0], "aim": "wall.centre"},
        camera={"position_m": [0.0, 3.0, 0.0], "aim": "wall.centre"},
    )
    assert not faults
