"""Maps of walls, floors, boxes and sitters: what their axes are, what open gates alone would give there, whom they are
seen by.
"""

from __future__ import annotations

import json

import numpy as np
import pytest

from projector.cli import app
from projector.cli.running import run_command_line
from projector.faults import SceneError
from projector.meshes.surfaces import MOST_MAP_POINTS, surface_layout
from projector.rendering.maps.irradiance import irradiance_map
from projector.rendering.maps.map_grid import NotSeen
from projector.scene.placement import layout_of

SITTER = {"name": "sitter", "kind": "head", "position_m": [0.0, 0.0, 0.0]}
BOX = {
    "name": "box",
    "shape": "box",
    "position_m": [0.3, 0.9, -0.4],
    "width_m": 0.6,
    "height_m": 0.8,
    "depth_m": 0.5,
    "yaw_deg": 10.0,
}
WAYS = {
    "to the right": (1, 0, 0),
    "to the left": (-1, 0, 0),
    "to the front": (0, 0, 1),
    "to the back": (0, 0, -1),
    "up": (0, 1, 0),
    "down": (0, -1, 0),
}


def surface(studio, **spec):
    return studio.scene(
        surfaces=[{"name": "thing", "position_m": [0.2, 1.1, 0.0], **spec}], projector={"aim": [0.0, 1.5, 0.0]}
    ).surface[0]


@pytest.mark.parametrize(
    ("turn", "expected"),
    [
        ({}, ("to the right", "up")),
        ({"yaw_deg": 20.0}, ("to the right", "up")),
        ({"yaw_deg": 90.0}, ("to the back", "up")),
        ({"yaw_deg": 180.0}, ("to the left", "up")),
        ({"pitch_deg": 90.0}, ("to the right", "to the back")),
        ({"pitch_deg": -90.0}, ("to the right", "to the front")),
        ({"pitch_deg": 30.0}, ("to the right", "up the slope")),
        ({"tilt_deg": 90.0}, ("down", "to the right")),
        ({"tilt_deg": 20.0}, ("down the slope", "up the slope")),
        ({"tilt_deg": -20.0}, ("up the slope", "up the slope")),
    ],
)
def test_axes_of_a_plate_are_named_for_where_they_run(studio, turn, expected):
    layout = surface_layout(surface(studio, width_m=2.0, height_m=1.0, **turn))
    labels = tuple(label.partition(",")[0] for label in layout.axis_labels)
    points, _ = layout.grid(4)
    for label, along in zip(labels, (points[0, -1] - points[0, 0], points[0, 0] - points[-1, 0]), strict=True):
        along = along / np.linalg.norm(along)
        way = WAYS.get(label, (0, 1 if label == "up the slope" else -1, 0))
        assert np.dot(along, way) > (0.7 if label in WAYS else 0.0)
    assert labels == expected
    assert (layout.height_m is None) == (labels[1] != "up")


@pytest.mark.parametrize("face", ["front", "back", "left", "right", "top", "bottom"])
def test_axes_of_every_face_of_a_box_are_named_for_where_they_run(studio, face):
    layout = surface_layout(surface(studio, shape="box", width_m=0.6, height_m=0.8, depth_m=0.5, yaw_deg=10.0), face)
    points, _ = layout.grid(4)
    for label, along in zip(
        layout.axis_labels, (points[0, -1] - points[0, 0], points[0, 0] - points[-1, 0]), strict=True
    ):
        assert np.dot(along / np.linalg.norm(along), WAYS[label.partition(",")[0]]) > 0.98
    assert (layout.height_m is None) == (face in ("top", "bottom"))


@pytest.mark.parametrize(
    "spec", [{}, {"yaw_deg": 30.0}, {"shape": "box"}, {"shape": "sweep", "height_m": 2.5, "foot_radius_m": 0.6}]
)
def test_heights_are_those_above_the_floor(studio, spec):
    """Of a sweep above the foot of its straight wall."""
    layout = surface_layout(surface(studio, **spec))
    points, _ = layout.grid(16)
    _left, _right, bottom, top = layout.extent_m
    rows = points.shape[0]
    up = top - (np.arange(rows) + 0.5) * (top - bottom) / rows
    straight = up > 0.0 if spec.get("shape") == "sweep" else up > -9.0
    assert straight.sum() > 3 and np.allclose(points[straight, 0, 1], (up + layout.height_m)[straight])


def test_every_face_of_a_box_is_among_the_names_that_are_known(studio):
    scene = studio.scene(surfaces=[BOX], projector={"aim": [0.3, 0.9, 0.0]})
    for face in ("front", "back", "left", "right", "top", "bottom"):
        assert layout_of(scene, f"box.{face}").name == f"box.{face}"
        with pytest.raises(SceneError, match=f"box.{face}"):
            layout_of(scene, "table")
    with pytest.raises(SceneError, match=r"did you mean box\.top"):
        layout_of(scene, "bx.top")


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"gate": {"shape": "rectangle", "diameter_mm": None, "width_mm": 40.0, "height_mm": 24.0}},
        {"gate": {"edge_falloff_stops": 2.0}},
        {"lens": {"distortion_percent": 6.0}},
        {"blade": [{"side": "left", "insertion_mm": 12.0}]},
    ],
)
def test_the_open_gate_beside_a_map_is_the_map_without_stencil_and_shadows(studio, changes):
    """Where a rendered map of the open gate has no edge near, both are the same light: within 0.01 stop, the pupil (21
    mm at 2 m) being taken as one point.
    """
    tilted = {"yaw_deg": 25.0}
    stencil = {"file": studio.half_plane(256), "width_mm": 30.0}
    found = irradiance_map(
        studio.scene({**changes, "stencil": stencil}, tilted, figures=[{**SITTER, "position_m": [0.1, 0.0, 0.5]}]),
        n_across=128,
    )
    alone = irradiance_map(studio.scene(changes, tilted), n_across=128)
    (gate,) = found.open_gates
    assert gate.stride == 1 and gate.projector == "window"
    inside = np.isfinite(gate.stops)
    core = np.asarray(
        [
            [inside[max(r - 3, 0) : r + 4, max(c - 3, 0) : c + 4].all() for c in range(128)]
            for r in range(inside.shape[0])
        ]
    )
    assert 0.1 < core.mean() < 0.95
    assert np.abs(gate.stops[core] - alone.stops[core]).max() < 0.01
    # Outside, a point or two of the pupil's breadth away from the gate's image, no light lands at all.
    near = np.asarray(
        [
            [inside[max(r - 3, 0) : r + 4, max(c - 3, 0) : c + 4].any() for c in range(128)]
            for r in range(inside.shape[0])
        ]
    )
    assert np.isneginf(alone.stops[~near]).all()


def test_a_large_map_keeps_fewer_points_of_its_open_gates(studio):
    found = irradiance_map(studio.scene(), n_across=1000, quality="quick")
    (gate,) = found.open_gates
    assert gate.stride == 3 and gate.stops.shape == (334, 334)


def test_a_sitters_map_is_cropped_to_the_sitter(studio):
    """The head takes up a fifth of the beam; in its map it touches all four sides, within two of the 256 rays that look
    for it.
    """
    found = irradiance_map(studio.scene({"aim": "sitter.nose_tip"}, figures=[SITTER]), "sitter", 200)
    on_it = np.isfinite(found.illuminance)
    rows, columns = np.flatnonzero(on_it.any(axis=1)), np.flatnonzero(on_it.any(axis=0))
    left, right, _bottom, _top = found.extent_m
    beam = 2.0 * 2.0 * 30.0 / 88.8
    slack = 2.0 * beam / 256 / ((right - left) / 200) + 1.0
    assert (
        rows[0] <= slack
        and columns[0] <= slack
        and rows[-1] >= on_it.shape[0] - 1 - slack
        and columns[-1] >= 199 - slack
    )
    assert right - left < 0.25 and on_it.mean() > 0.5
    # Metres at the sitter: as wide as its points are (seen from the front, its depth foreshortens by under a tenth).
    width = np.ptp(found.points[on_it][:, 0])
    assert (right - left) * (columns[-1] - columns[0] + 1) / 200 == pytest.approx(width, rel=0.1)
    assert "as window sees it" in found.axis_labels[0] and found.open_gates == ()


def test_whom_a_sitter_is_seen_by_goes_by_name_not_by_order(studio):
    other = {"name": "rim", "position_m": [1.2, 1.6, -0.8], "aim": "sitter.nose_tip", "focus": {"distance_m": None}}
    scene = studio.scene({"aim": "sitter.nose_tip"}, figures=[SITTER], more_projectors=[other], surfaces=[])
    turned = scene.model_copy(update={"projector": scene.projector[::-1]}).placed_at(scene.name, scene.folder)
    first, second = (irradiance_map(item, "sitter", 64, "quick") for item in (scene, turned))
    assert first.axis_labels == second.axis_labels and np.array_equal(
        first.illuminance, second.illuminance, equal_nan=True
    )
    assert first.reference == second.reference
    for name in ("window", "rim"):
        assert f"as {name} sees it" in irradiance_map(scene, "sitter", 64, "quick", seen_by=name).axis_labels[0]
    with pytest.raises(SceneError, match='no projector called "key"'):
        irradiance_map(scene, "sitter", 64, seen_by="key")
    with pytest.raises(SceneError, match="leave it out"):
        irradiance_map(studio.scene(), "wall", 64, seen_by="window")


def test_a_sitter_that_no_light_can_reach_is_an_answer_and_not_a_fault(studio, monkeypatch, capsys):
    away = {**SITTER, "position_m": [0.0, 0.0, 9.0]}
    with pytest.raises(NotSeen, match="window does not see sitter"):
        irradiance_map(studio.scene(figures=[away]), "sitter", 64)
    monkeypatch.chdir(studio.folder)
    from projector.files.finding import shipped_folder

    (studio.folder / "mine.toml").write_text(
        (shipped_folder("scene") / "01-square-wall.toml").read_text(encoding="utf-8")
        + '\n[[figure]]\nname = "sitter"\nposition_m = [0.0, 0.0, 9.0]\n',
        encoding="utf-8",
    )
    assert run_command_line(app, ["map", "mine.toml", "-s", "sitter", "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert (
        answer["result"] == {"surface": "sitter", "is_reached": False}
        and "window does not see sitter" in answer["warnings"][0]
    )
    assert [path.name for path in studio.folder.iterdir()] == ["mine.toml"]


def test_the_words_of_a_map(studio, monkeypatch, capsys):
    """40 lx·s on the axis meter f/8 at ISO 400 (ISO 2720, C = 250); a box named without a face says which others there
    are.
    """
    monkeypatch.chdir(studio.folder)
    assert run_command_line(app, ["map", "01-square-wall", "--across", "96"]) == 0
    assert "a flat meter shows f/8.0 at ISO 400" in capsys.readouterr().out
    assert run_command_line(app, ["map", "06-oblique-wall", "-s", "crate", "--across", "32"]) == 0
    said = capsys.readouterr()
    assert "all of it the room's" in said.out and "no light of a lamp falls on crate.front." in said.err
    assert (
        "this is crate.front; the others are crate.back, crate.left, crate.right, crate.top, crate.bottom." in said.err
    )
    assert run_command_line(app, ["map", "06-oblique-wall", "-s", "crate.left", "--across", "32"]) == 0
    assert "the others are" not in capsys.readouterr().err


@pytest.mark.parametrize(
    ("wall", "n_across", "cure"),
    [
        # A strip of a millimetre, a wall in very many points, and strips that no number would do for.
        ({"width_m": 0.001, "height_m": 0.1}, 960, "try: 223"),
        ({"width_m": 2.0, "height_m": 1.0}, 16384, "try: 3162"),
        ({"width_m": 0.001, "height_m": 1000.0}, 960, "too narrow"),
        ({"shape": "sweep", "width_m": 0.001, "height_m": 1000.0}, 16, "too narrow"),
    ],
)
def test_a_map_of_more_points_than_memory_holds_is_refused_before_it_is_made(studio, wall, n_across, cure):
    """At 960 across, a strip of 1 mm by 1 km would be 9.2e11 points."""
    scene = studio.scene(wall=wall)
    with pytest.raises(SceneError) as refused:
        irradiance_map(scene, "wall", n_across)
    assert cure in str(refused.value) and "5 million" in refused.value.faults[0].allowed
    if cure != "too narrow":
        # What it proposes is as much as fits.
        fewer = int(cure.split()[1])
        rows_a_column = wall["height_m"] / wall["width_m"]
        assert fewer * round(fewer * rows_a_column) <= MOST_MAP_POINTS < (fewer + 1) ** 2 * rows_a_column
