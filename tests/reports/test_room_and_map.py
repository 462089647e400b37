"""The figures of place, map and measure: labels stay inside and apart, surfaces are thin, lines are explained."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from projector.rendering.irradiance import IrradianceMap
from projector.reports.map_figure import map_figure
from projector.reports.measured_figure import _caption, measured_figure
from projector.reports.place_figure import _by_place, _drawn_line, place_figure

ROOM = ((-2.0, 0.0, -2.0), (2.0, 2.6, 3.0))

# Wider than the room: from above its corners lie outside the axes.
FLOOR = np.array([[-3.0, 0.0, -2.0], [3.0, 0.0, -2.0], [3.0, 0.0, 2.8], [-3.0, 0.0, 2.8]])


def wall(yaw_deg: float, pitch_deg: float = 0.0):
    """A wall of 3 × 2.4 m as vertices and triangles, its middle at (0, 1.2, −1)."""
    yaw, pitch = np.radians(yaw_deg), np.radians(pitch_deg)
    right = np.array([np.cos(yaw), 0.0, -np.sin(yaw)])
    up = np.array([0.0, np.cos(pitch), -np.sin(pitch)])
    corners = [np.array([0.0, 1.2, -1.0]) + 1.5 * x * right + 1.2 * y * up for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    return np.array(corners), np.array([[0, 1, 2], [0, 2, 3]])


def answers():
    places = [(-1.0, 1.9, 1.5), (-1.0, 1.92, 1.52), (-1.02, 1.9, 1.5), (0.6, 1.8, 1.2)]
    return [SimpleNamespace(lens="achromat", f_number=2.0, throw_m=2.0 + 0.1 * i, position_m=place) for i, place in enumerate(places)]


@pytest.mark.parametrize("camera", [(0.0, 1.5, 3.0), (1.95, 2.55, 2.95), (-1.02, 1.9, 1.6)])
@pytest.mark.parametrize("yaw", [0.0, 40.0])
def test_labels_of_the_room_stay_inside_their_axes_and_apart(camera, yaw):
    figure = place_figure(answers(), [("backdrop", *wall(yaw)), ("sitter", wall(70.0)[0] * 0.3 + [0.0, 1.0, 0.0], None), ("floor", FLOOR, np.array([[0, 1, 2], [0, 2, 3]]))], camera, (0.0, 1.5, 0.0), ROOM, "a room")
    figure.canvas.draw()
    for axes in figure.axes:
        room = axes.get_window_extent()
        boxes = [text.get_window_extent() for text in axes.texts]
        assert {text.get_text() for text in axes.texts} >= {"1–3", "4", "camera", "backdrop", "sitter", "floor"}
        assert all(room.x0 <= box.x0 and box.x1 <= room.x1 and room.y0 <= box.y0 and box.y1 <= room.y1 for box in boxes)
        assert not any(a.overlaps(b) for i, a in enumerate(boxes) for b in boxes[:i])


def test_a_turned_wall_is_a_line_from_the_side():
    """Cut through the target's x it has no depth, though its ends lie 1.9 m apart along z."""
    vertices, triangles = wall(40.0)
    line, is_cut = _drawn_line(vertices, triangles, (0.3, 1.5, 0.0), (2, 1))
    assert is_cut
    line = line[np.isfinite(line).all(axis=1)]
    assert np.ptp(vertices[:, 2]) > 1.9
    assert np.allclose(line[:, 0], -1.0 - 0.3 * np.tan(np.radians(40.0))) and np.ptp(line[:, 1]) == pytest.approx(2.4)


def test_a_leaning_wall_is_a_line_from_above_at_the_targets_height():
    line, _ = _drawn_line(*wall(0.0, 20.0), (0.0, 1.2, 0.0), (0, 2))
    line = line[np.isfinite(line).all(axis=1)]
    assert np.allclose(line[:, 1], -1.0) and np.ptp(line[:, 0]) == pytest.approx(3.0)


def test_a_surface_beside_the_cut_shows_its_outline():
    line, is_cut = _drawn_line(*wall(40.0), (9.0, 1.5, 0.0), (2, 1))
    assert len(line) == 5 and not is_cut


def test_dots_that_cover_each_other_share_a_label():
    places = np.array([[0.0, 0.0], [0.05, 0.0], [1.0, 0.0], [0.0, 0.05], [0.02, 0.0], [0.03, 0.0]])
    assert [text for text, _ in _by_place(places)] == ["1, 2, 4–6", "3"]


def test_a_map_names_scene_and_surface_and_says_what_its_lines_are():
    level = np.tile(2.0 ** np.linspace(-5.3, -0.1, 64, dtype=np.float32), (40, 1))
    found = IrradianceMap(level, level, 1.0, (-1.6, 1.6, -1.0, 1.0), ("across, m", "up, m"), "backdrop", True, False, np.zeros((40, 64, 3)), {"scene": "03-cabin-window"})
    axes = map_figure(found, "A cabin window").axes[0]
    assert axes.get_title() == "A cabin window\nbackdrop: luminous exposure of the flash"
    assert axes.get_xlabel() == "across, m\nwhite lines: whole stops, -5 to -1"
    assert map_figure(found).axes[0].get_title().startswith("03-cabin-window\n")


def test_a_measured_figure_says_what_marks_and_lines_are():
    assert _caption(SimpleNamespace(fit=object())) == "marks: the photographs' data of the edges, lines: the fitted lens"
    assert "no lens is fitted" in _caption(SimpleNamespace(fit=None))


def test_a_measured_figure_tells_its_channels_apart_by_more_than_colour_and_cuts_no_title():
    positions = np.linspace(-5.0, 5.0, 101)
    profiles = np.stack([np.clip(0.5 + positions / reach, 0.0, 1.0) for reach in (1.0, 2.0, 4.0)], axis=1)
    reading = SimpleNamespace(positions_mm=positions, profiles=profiles, widths_mm=(0.8, 1.6, 3.2), pixel_mm=0.1)
    photographs = [SimpleNamespace(path=Path(f"edge{index}.tif"), offset_mm=offset) for index, offset in enumerate((-0.5, 0.0))]
    measured = SimpleNamespace(readings=[reading, reading], photographs=photographs, fit=SimpleNamespace(curves=[profiles, profiles]))
    figure = measured_figure(measured, "a lens")
    figure.canvas.draw()
    for axes in figure.axes:
        lines = [line for line in axes.lines if line.get_linestyle() != "None"]
        assert len({(line.get_linestyle(), line.get_linewidth()) for line in lines}) == 3
        assert len({line.get_marker() for line in axes.lines} - {"None"}) == 3
        box = axes.title.get_window_extent()
        assert 0.0 <= box.x0 and box.x1 <= figure.bbox.width
    assert [axes.get_title() for axes in figure.axes][:2] == ["edge0.tif, offset -0.5 mm", "edge1.tif, offset 0 mm"]
