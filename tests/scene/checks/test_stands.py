"""Lamps in the picture, before a lens, on stands in the sitter: positions worked out by hand."""

from __future__ import annotations

import json

import numpy as np
import pytest

from projector.meshes.mesh import Mesh
from projector.scene.checks import stands as stands_check
from projector.scene.checks.cross import cross_check
from projector.scene.checks.stands import BODY_RADIUS_M, crosses, hindered, stand_meets
from projector.scene.placement import placed_figure, point_of

SITTER = {"name": "sitter", "kind": "head_and_torso"}
BACKDROP = {"name": "backdrop", "position_m": [0.0, 1.5, -2.5], "width_m": 4.0, "height_m": 3.0}
# At 85 mm the frame of 36 × 24 mm is 0.212 · z wide to each side and 0.141 · z high to each.
CAMERA = {"position_m": [0.0, 1.5, 3.0], "aim": [0.0, 1.5, 0.0], "focal_length_mm": 85.0}


def notes_of(studio, position_m, aim="sitter.nose_tip", **changes):
    lamp = {
        "name": "key",
        "position_m": position_m,
        "aim": aim,
        "lens": {"f_number": 2.8},
        "gate": {"diameter_mm": 30.0},
    }
    faults, warnings = cross_check(
        studio.scene(lamp, **{"camera": CAMERA, "surfaces": [BACKDROP], "figures": [SITTER], **changes})
    )
    assert not faults, faults
    return [warning for warning in warnings if warning.startswith("key: ")]


def test_a_lamp_beside_the_picture_is_not_mentioned(studio):
    assert notes_of(studio, [-1.5, 2.0, 1.9]) == []


@pytest.mark.parametrize(
    ("position_m", "where"),
    [
        # 1.5 m from the camera the frame reaches 0.318 m to the side and 0.212 m up.
        ([-0.25, 1.5, 1.5], "left, 1.52 m from the camera"),
        ([0.25, 1.68, 1.5], "upper right"),
        ([0.31, 1.5, 1.5], "right"),
        # The body, 0.1 m round its middle, reaches in where the lens alone would not.
        ([0.40, 1.5, 1.5], "right"),
    ],
)
def test_a_lamp_in_the_frame_is_told_with_its_place(studio, position_m, where):
    notes = notes_of(studio, position_m)
    assert len([note for note in notes if "stands in the camera's frame" in note and where in note]) == 1


def test_a_lamp_a_hand_beside_the_frame_is_not_in_it(studio):
    """Its body of 0.1 m ends before the frame does: 0.318 + 0.1 · √(1 + 0.212²) = 0.42 m."""
    assert not any("frame" in note for note in notes_of(studio, [0.44, 1.5, 1.5], aim=[0.0, 1.5, 0.0]))


def test_a_lamp_hidden_behind_the_sitter_is_not_told_and_one_beside_him_is(studio):
    assert notes_of(studio, [0.0, 1.25, -0.8], aim="sitter.top_of_head") == []
    assert any("in the camera's frame" in note for note in notes_of(studio, [0.5, 1.7, -1.0]))


def test_a_lamp_before_the_cameras_lens_is_told(studio):
    assert any("before the camera's lens" in note for note in notes_of(studio, [0.05, 1.5, 2.5], aim=[0.0, 1.5, 0.0]))


def test_a_camera_in_the_beam_is_told(studio):
    """85 mm with a gate of 30 mm, focused far: 0.17 · z from the axis; the camera stands 1 m before the lamp, 0.1 and
    then 0.3 m off.
    """
    for off, is_told in ((0.1, True), (0.3, False)):
        notes = notes_of(studio, [off, 1.5, 4.0], aim=[off, 1.5, -2.5])
        assert any("its shadow falls there" in note for note in notes) == is_told


@pytest.mark.parametrize(
    ("position_m", "is_told"),
    [
        ([0.0, 2.4, 0.0], True),
        # Over the shoulder, whose skin reaches farther out than the neck.
        ([0.17, 2.4, -0.05], True),
        ([0.6, 2.4, 0.0], False),
        # Below the torso there are his legs.
        ([0.0, 0.6, 0.0], True),
        ([0.0, 2.4, -0.6], False),
    ],
)
def test_a_stand_through_the_sitter_is_told(studio, position_m, is_told):
    notes = notes_of(studio, position_m, aim="sitter.nose_tip")
    assert any("a stand straight under it would go through sitter" in note for note in notes) == is_told


def test_a_stand_through_a_table_is_told(studio):
    table = {
        "name": "table",
        "shape": "box",
        "position_m": [-1.5, 0.4, 1.9],
        "width_m": 0.8,
        "height_m": 0.8,
        "depth_m": 0.8,
    }
    assert any(
        "would go through table" in note for note in notes_of(studio, [-1.5, 2.0, 1.9], surfaces=[BACKDROP, table])
    )
    assert notes_of(studio, [-1.5, 2.0, 2.5], surfaces=[BACKDROP, table]) == []


def test_a_stand_that_would_show_is_told(studio):
    """The lamp 0.6 m over the picture's middle, behind the sitter's shoulder line: its pole runs through the frame."""
    assert any("would show in the picture" in note for note in notes_of(studio, [0.45, 2.4, -1.0]))


def test_a_figure_placed_elsewhere_takes_its_stand_zone_along(studio):
    scene = studio.scene({}, surfaces=[BACKDROP], figures=[{**SITTER, "position_m": [1.0, 0.0, 0.5]}])
    places = np.array([[1.0, 2.0, 0.5], [0.0, 2.0, 0.0], [1.0, -0.1, 0.5]])
    assert stand_meets(scene.figure[0], places).tolist() == [True, False, False]


def test_each_of_many_figures_is_placed_once_and_gone_round_once(studio, monkeypatch):
    """Twenty sitters and many lamps, as many as a scene may have: placed anew for each lamp they took half a minute."""
    figures = [{**SITTER, "name": f"s{i}", "position_m": [0.5 * i, 0.0, -0.3 * i]} for i in range(20)]
    lamps = [{"name": f"lamp{i}", "position_m": [-1.5, 2.0, 1.5 + 0.1 * i]} for i in range(6)]
    scene = studio.scene(more_projectors=lamps, surfaces=[BACKDROP], figures=figures, camera=CAMERA)
    asked = []
    monkeypatch.setattr(
        stands_check, "stand_meets", lambda figure, places: asked.append(len(places)) or stand_meets(figure, places)
    )
    placed_figure.cache_clear()
    cross_check(scene)
    assert placed_figure.cache_info().misses == 20
    assert asked == [7] * 20


def test_only_boxes_beside_the_way_are_passed_over():
    """Held to triangles themselves, from inside boxes, along their faces and past them."""
    random = np.random.default_rng(3)
    mesh = Mesh(random.uniform(-1.0, 1.0, (60, 3)), np.arange(60, dtype=np.int32).reshape(20, 3))
    box = np.array([[mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)]])
    ways = random.uniform(-2.5, 2.5, (400, 2, 3))
    ways[::3, 1, random.integers(3)] = ways[::3, 0, random.integers(3)]
    ways[::5, 1, :2] = ways[::5, 0, :2]
    met = [bool(stands_check.meets_boxes(box, start, end)[0]) for start, end in ways]
    hit = [crosses(mesh, start, end) for start, end in ways]
    assert not any(h and not m for h, m in zip(hit, met, strict=True))
    assert sum(hit) > 40 and sum(not m for m in met) > 100
    assert stands_check.meets_boxes(np.empty((0, 2, 3)), np.zeros(3), np.ones(3)).shape == (0,)


def test_place_rules_out_what_the_check_notes(studio):
    """Of places along the camera's line and over the sitter none is left; beside both there are."""
    scene = studio.scene({"aim": "sitter.nose_tip"}, camera=CAMERA, surfaces=[BACKDROP], figures=[SITTER])
    goal = np.asarray(point_of(scene, "sitter.nose_tip"))
    places = np.array([[0.0, 1.5, 1.5], [0.2, 1.5, 1.0], [0.0, 2.4, 0.0], [-1.5, 2.0, 1.9], [0.0, 2.6, 1.0]])
    assert hindered(scene, places, goal, lambda start, ends: np.zeros(len(ends), bool)).tolist() == [
        True,
        True,
        True,
        False,
        False,
    ]
    # A wall between hides a lamp from the camera.
    assert not hindered(scene, places[1:2], goal, lambda start, ends: np.ones(len(ends), bool))[0]


def test_every_place_answered_is_one_that_the_check_lets_pass(studio):
    from projector.studies.choosing.room import stands

    scene = studio.scene(
        {"aim": "sitter.nose_tip", "position_m": [0.1, 1.55, 2.0]}, camera=CAMERA, surfaces=[BACKDROP], figures=[SITTER]
    )
    goal = np.asarray(point_of(scene, "sitter.nose_tip"))
    found = stands(scene, scene.projector[0].position_m, goal, (5.0, 6.0, 2.7), 60.0)
    assert len(found.directions) > 300
    for distance in (1.0, 1.5, 2.0):
        place = found.at(distance)
        changed = scene.projector[0].model_copy(update={"position_m": tuple(place)})
        _, warnings = cross_check(scene.model_copy(update={"projector": (changed,)}))
        assert not any(
            "frame" in warning or "before the camera" in warning or "through sitter" in warning for warning in warnings
        ), json.dumps(warnings)
        # It stood in the picture, and moves out of it by no more than that takes.
        assert np.linalg.norm(place - goal) == pytest.approx(distance)
        assert abs(place[0]) + abs(place[1] - 1.5) > 0.1 + BODY_RADIUS_M


def test_a_way_through_a_triangle_crosses_it():
    from projector.meshes.mesh import Mesh

    mesh = Mesh(np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0]]), np.array([[0, 1, 2]], np.int32))
    assert crosses(mesh, np.array([0.2, 0.2, 1.0]), np.array([0.2, 0.2, -1.0]))
    assert not crosses(mesh, np.array([0.8, 0.8, 1.0]), np.array([0.8, 0.8, -1.0]))
    assert not crosses(mesh, np.array([0.2, 0.2, 1.0]), np.array([0.2, 0.2, 0.1]))
