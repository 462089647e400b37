"""The figures of place, map and measure: labels stay inside and apart, surfaces are thin, lines are explained."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from matplotlib.text import Text

from projector.rendering.maps.light_map import IrradianceMap, Meter
from projector.rendering.maps.open_gates import OpenGate
from projector.reports.labels import stops_text
from projector.reports.map_figure import contour_levels, map_figure, marked_f_numbers
from projector.reports.measured_figure import measured_figure
from projector.reports.place_figure import OnSet, PlacedLamp, place_figure
from tests.conftest import mostly_slow

ROOM = ((-2.0, 0.0, -2.0), (2.0, 2.6, 3.0))

# The corners of a frame of 36 × 24 mm before a lens of 36 mm that looks along −z.
FRAME = np.array([[x, y, -1.0] for x, y in ((-0.5, 1 / 3), (0.5, 1 / 3), (0.5, -1 / 3), (-0.5, -1 / 3))])

# Wider than the room: from above its corners lie outside the axes.
FLOOR = np.array([[-3.0, 0.0, -2.0], [3.0, 0.0, -2.0], [3.0, 0.0, 2.8], [-3.0, 0.0, 2.8]])


def wall(yaw_deg: float, pitch_deg: float = 0.0):
    """A wall of 3 × 2.4 m as vertices and triangles, its middle at (0, 1.2, −1)."""
    yaw, pitch = np.radians(yaw_deg), np.radians(pitch_deg)
    right = np.array([np.cos(yaw), 0.0, -np.sin(yaw)])
    up = np.array([0.0, np.cos(pitch), -np.sin(pitch)])
    corners = [
        np.array([0.0, 1.2, -1.0]) + 1.5 * x * right + 1.2 * y * up for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1))
    ]
    return np.array(corners), np.array([[0, 1, 2], [0, 2, 3]])


def answers():
    places = [(-1.0, 1.9, 1.5), (-1.0, 1.92, 1.52), (-1.02, 1.9, 1.5), (0.6, 1.8, 1.2)]
    return [
        SimpleNamespace(lens="achromat", is_own=i == 1, f_number=2.0, throw_m=2.0 + 0.1 * i, position_m=place)
        for i, place in enumerate(places)
    ]


@pytest.mark.parametrize("camera", [(0.0, 1.5, 3.0), (1.95, 2.55, 2.95), (-1.02, 1.9, 1.6)])
@pytest.mark.parametrize("yaw", mostly_slow([40.0, 0.0]))
def test_labels_of_the_room_stay_inside_their_axes_and_apart(camera, yaw):
    objects = [
        ("backdrop", *wall(yaw)),
        ("sitter", wall(70.0)[0] * 0.3 + [0.0, 1.0, 0.0], None),
        ("floor", FLOOR, np.array([[0, 1, 2], [0, 2, 3]])),
    ]
    lights = [
        PlacedLamp("window, now", (-1.4, 2.0, 1.6), (0.0, 1.5, 0.0)),
        PlacedLamp("rim", (1.2, 2.3, -1.0), (0.0, 1.5, 0.0)),
    ]
    figure = place_figure(answers(), OnSet(objects, camera, FRAME, (0.0, 1.5, 0.0), lights, ROOM), "a room")
    figure.canvas.draw()
    for axes in figure.axes:
        room = axes.get_window_extent()
        boxes = [text.get_window_extent() for text in axes.texts]
        assert {text.get_text() for text in axes.texts} >= {
            "1–3",
            "4",
            "camera",
            "backdrop",
            "sitter",
            "floor",
            "window, now",
            "rim",
            "2.00–2.20 m",
            "2.30 m",
        }
        assert all(room.x0 <= box.x0 and box.x1 <= room.x1 and room.y0 <= box.y0 and box.y1 <= room.y1 for box in boxes)
        assert not any(a.overlaps(b) for i, a in enumerate(boxes) for b in boxes[:i])


def room_with(*objects, target=(0.0, 1.5, 0.0), places=()):
    """The figure's two axes, from above and from the side, of a room with objects and with answers at places."""
    found = [
        SimpleNamespace(lens="achromat", is_own=False, f_number=2.0, throw_m=2.0, position_m=place) for place in places
    ]
    return place_figure(found, OnSet(list(objects), (0.0, 1.5, 3.0), FRAME, target, [], ROOM), "a room").axes


def lines_of_an_object(axes, axes_without):
    """What an object adds to a view: corners (n, 2) of each line, NaN left out, and whether it is dashed."""
    kept = [line.get_xydata().tolist() for line in axes_without.lines]
    return [
        (line.get_xydata()[np.isfinite(line.get_xydata()).all(axis=1)], line.get_linestyle() == "--")
        for line in axes.lines
        if np.nan_to_num(line.get_xydata()).tolist() not in kept
    ]


def test_a_turned_wall_is_a_line_from_the_side():
    """Cut through the target's x it has no depth, though its ends lie 1.9 m apart along z."""
    target = (0.3, 1.5, 0.0)
    vertices, triangles = wall(40.0)
    with_it = room_with(("wall", vertices, triangles), target=target)
    ((line, is_dashed),) = lines_of_an_object(with_it[1], room_with(target=target)[1])
    assert np.ptp(vertices[:, 2]) > 1.9 and not is_dashed
    assert np.allclose(line[:, 0], -1.0 - 0.3 * np.tan(np.radians(40.0))) and np.ptp(line[:, 1]) == pytest.approx(2.4)


def test_a_leaning_wall_is_a_line_from_above_at_the_targets_height():
    target = (0.0, 1.2, 0.0)
    with_it = room_with(("wall", *wall(0.0, 20.0)), target=target)
    ((line, _),) = lines_of_an_object(with_it[0], room_with(target=target)[0])
    assert np.allclose(line[:, 1], -1.0) and np.ptp(line[:, 0]) == pytest.approx(3.0)


def test_a_surface_beside_the_cut_shows_its_outline():
    target = (9.0, 1.5, 0.0)
    with_it = room_with(("wall", *wall(40.0)), target=target)
    ((line, is_dashed),) = lines_of_an_object(with_it[1], room_with(target=target)[1])
    assert len(line) == 5 and is_dashed


def test_dots_that_cover_each_other_share_a_label():
    """Seen from above, five answers within 5 cm and one a metre off: runs of three numbers and more are joined."""
    across = (0.0, 0.05, 1.0, 0.0, 0.02, 0.03)
    deep = (0.0, 0.0, 0.0, 0.05, 0.0, 0.0)
    above, _ = room_with(places=[(x, 2.0, 1.5 + z) for x, z in zip(across, deep, strict=True)])
    assert {"1, 2, 4–6", "3"} <= {text.get_text() for text in above.texts}


def test_answers_on_one_line_are_told_apart_by_bands_and_rings():
    """Each line is broader than those that lie on it, and each dot than those on it; the one that stands elsewhere is
    as thin as any.
    """
    figure = place_figure(answers(), OnSet([], (0.0, 1.5, 3.0), FRAME, (0.0, 1.5, 0.0), [], ROOM), "a room")
    colours = [handle.get_color() for handle in figure.legends[0].legend_handles]
    for axes in figure.axes:
        beams = [line for line in axes.lines if len(line.get_xdata()) == 2 and line.get_color() in colours]
        dots = [line for line in axes.lines if line.get_marker() == "o" and len(line.get_xdata()) == 1]
        assert len({line.get_color() for line in beams}) == len(beams) == len(dots) == 4
        widths = {colours.index(line.get_color()): line.get_linewidth() for line in beams}
        assert len({widths[index] for index in range(3)}) == 3 and min(widths.values()) == widths[3]
        # What is drawn later lies on what was drawn before: the broad ones first.
        order = [colours.index(line.get_color()) for line in beams if line.get_color() != colours[3]]
        assert sorted(order, key=widths.get, reverse=True) == order
        sizes = [line.get_markersize() for line in dots[:3]]
        assert sizes == sorted(sizes, reverse=True) and len(set(sizes)) == 3


def test_of_lines_that_lie_on_each_other_the_longest_is_drawn_first_and_broadest():
    """Two in one direction from the target, one of them twice as far; two in others, as thin as any."""
    above, _ = room_with(places=[(1.6, 1.5, 0.008), (0.8, 1.5, 0.0), (0.0, 1.5, 0.9), (-0.9, 1.5, 0.0)])
    beams = [line for line in above.lines if len(line.get_xdata()) == 2 and line.get_solid_capstyle() == "butt"]
    reach = [round(float(np.hypot(*(line.get_xydata()[0] - line.get_xydata()[1]))), 2) for line in beams]
    width = dict(zip(reach, (line.get_linewidth() for line in beams), strict=False))
    assert reach.index(1.6) < reach.index(0.8) and width[1.6] > width[0.8] == width[0.9]


def test_the_cameras_field_is_as_wide_as_its_frame():
    """A frame of 36 × 24 mm at 36 mm: ± atan(1/2) from above, ± atan(1/3) from the side, from the camera on."""
    figure = place_figure([], OnSet([], (0.0, 1.5, 3.0), FRAME, (0.0, 1.5, 0.0), [], ROOM), "a room")
    for axes, tangent in zip(figure.axes, (0.5, 1.0 / 3.0), strict=True):
        (wedge,) = [patch for patch in axes.patches if patch.get_alpha() is not None]
        corners = wedge.get_xy()[:3]
        apart = np.sort(
            [np.arctan2(*np.abs(corner - corners[0])[:: 1 if axes is figure.axes[0] else -1]) for corner in corners[1:]]
        )
        assert np.tan(apart) == pytest.approx([tangent, tangent])
    # Looking straight down, it has no wedge from above.
    down = OnSet([], (0.0, 2.5, 0.0), FRAME[:, [0, 2, 1]], (0.0, 0.0, 0.0), [], ROOM)
    assert not [patch for patch in place_figure([], down, "a room").axes[0].patches if patch.get_alpha() is not None]


def level_map(
    extent=(-1.6, 1.6, -1.0, 1.0),
    stops=(-5.3, -0.1),
    labels=("to the right, m", "up, m"),
    gates=1,
    title_length=0,
    **others,
) -> IrradianceMap:
    """A map that darkens from right to left, under open gates that darken from top to bottom."""
    level = np.tile(2.0 ** np.linspace(*stops, 64, dtype=np.float32), (40, 1))
    open_gates = tuple(
        OpenGate(f"light {index}", np.tile(np.linspace(-0.2, -2.7 - index, 20)[:, None], (1, 32)), 2)
        for index in range(gates)
    )
    about = {"scene": "03-cabin-window" + " long" * title_length}
    return IrradianceMap(
        level,
        level,
        1.0,
        extent,
        labels,
        "backdrop",
        True,
        bool(others),
        np.zeros((40, 64, 3)),
        about,
        open_gates,
        **others,
    )


def test_a_map_names_scene_and_surface_and_says_what_its_lines_are():
    figure = map_figure(level_map(), "A cabin window")
    axes = figure.axes[0]
    # Without a reading there is no unit to speak in, and nothing tells a flash from steady light.
    assert axes.get_title("left") == "A cabin window\nbackdrop: light, in stops"
    metered = map_figure(level_map(meter=Meter(400.0, 1 / 125, 250.0)), "A cabin window").axes[0]
    assert metered.get_title("left") == "A cabin window\nbackdrop: luminous exposure of the flash"
    assert (axes.get_xlabel(), axes.get_ylabel()) == ("to the right, m", "up, m")
    assert [text.get_text() for text in figure.texts] == [
        "lines: the open gate's light, without stencil and shadows, in whole stops"
    ]
    assert map_figure(level_map()).axes[0].get_title("left").startswith("03-cabin-window\n")


def test_contours_are_the_open_gates_whatever_the_pattern_on_the_map():
    """The map changes across, the gate from top to bottom: its whole stops −1 and −2 lie at
    heights known beforehand.
    """
    axes = map_figure(level_map()).axes[0]
    (lines,) = [item for item in axes.collections if hasattr(item, "levels")]
    assert list(lines.levels) == [-2.0, -1.0]
    for level, path in zip(lines.levels, lines.get_paths(), strict=True):
        row = (-0.2 - level) / 2.5 * 19.0
        assert np.allclose(path.vertices[:, 1], 1.0 - (2.0 * row + 0.5) * 0.05, atol=1e-6)
    assert sorted(text.get_text() for text in axes.texts) == ["−1", "−2"]
    # Where nothing is in the way a line is labelled at its middle, to one of its points.
    assert all(abs(text.get_position()[0]) < 0.1 for text in axes.texts)


@pytest.mark.slow
@pytest.mark.parametrize("softness", [1.5, 6.0])
def test_labels_of_contours_keep_off_other_lines_and_share_one_where_lines_crowd(softness):
    """A gate that falls by 1.3 stops across and to nothing within a few cells round its edge, as a bare lamp's does:
    each level is said where its own line alone runs, those of the edge together.
    """
    rows, columns = np.indices((200, 320))
    inside = np.minimum(np.minimum(rows - 30, 170 - rows), np.minimum(columns - 40, 280 - columns))
    light = np.where(inside > -softness, np.clip(0.5 + inside / (2.0 * softness), 1e-9, 1.0), 1e-9)
    gate = OpenGate("key", np.log2(light) - 0.3 - 1.3 * columns / 320.0, 1)
    found = replace(level_map(), open_gates=(gate,), illuminance=np.ones((200, 320), np.float32))
    figure = map_figure(found)
    figure.canvas.draw()
    axes = figure.axes[0]
    (lines,) = [item for item in axes.collections if hasattr(item, "levels")]
    said = {text.get_text(): text.get_window_extent() for text in axes.texts}
    together = [words for words in said if " to " in words]
    assert "−1" in said and len(together) == 1
    boxes = list(said.values())
    assert not any(first.overlaps(second) for index, first in enumerate(boxes) for second in boxes[:index])
    for words, box in said.items():
        for level, path in zip(lines.levels, lines.get_paths(), strict=True):
            points = axes.transData.transform(path.vertices)
            covered = ((points > box.min) & (points < box.max)).all(axis=1).any()
            assert covered == (words == stops_text(level)) or words in together, (words, level)
    # None is left out: what is not said alone lies within what is said together.
    alone = {stops_text(level) for level in lines.levels} - said.keys()
    first, last = together[0].split(" to ")
    assert {first, last} <= alone and len(alone) == abs(int(last.replace("−", "-")) - int(first.replace("−", "-"))) + 1


@pytest.mark.parametrize(
    ("stops", "levels", "parts"),
    [
        ((-3.2, 0.1), [-3, -2, -1, 0], 1),
        ((-1.3, -0.4), [-1, -0.5], 2),
        ((-0.7, 0.1), [-0.5, 0], 2),
        ((-0.6, -0.3), [], 3),
        ((-0.7, -0.3), [-2 / 3, -1 / 3], 3),
        ((-0.1, 0.0), [], 3),
    ],
)
def test_contours_go_by_whole_stops_or_by_parts_where_light_is_even(stops, levels, parts):
    assert contour_levels(np.linspace(*stops, 100001)) == (pytest.approx(levels), parts)
    assert contour_levels(np.full((3, 3), np.nan)) == ([], 1)


def test_light_too_even_for_lines_is_said_to_be():
    found = level_map(gates=0)
    even = replace(found, open_gates=(OpenGate("key", np.linspace(-0.1, 0.0, 64).reshape(8, 8), 1),))
    assert [text.get_text() for text in map_figure(even).texts] == [
        "the open gate's light, without stencil and shadows, differs by 0.1 stops at most: no lines"
    ]
    assert not map_figure(found).texts


def test_f_numbers_stand_beside_the_light_that_a_meter_shows_them_for():
    """H = C·N²/S with C = 250 for a flat receptor (ISO 2720): f/8 at ISO 400 is 40 lx·s,
    f/5.6 (√32 exactly) 20 lx·s.
    """
    marks = {text: stop for stop, text in marked_f_numbers(np.sqrt(40.44 * 400 / 250), -7, 0)}
    assert 40.44 * 2.0 ** marks["8"] == pytest.approx(40.0) and 40.44 * 2.0 ** marks["5.6"] == pytest.approx(20.0)
    assert list(marks) == ["1", "1.4", "2", "2.8", "4", "5.6", "8"]
    figure = map_figure(level_map(meter=Meter(400.0, 0.01, 8.0)))
    (left,) = list(figure.axes[1].child_axes)
    assert left.get_ylabel() == "flat meter at ISO 400, 1/100 s"
    assert [text.get_text() for text in left.get_yticklabels()] == [
        "f/8",
        "f/5.6",
        "f/4",
        "f/2.8",
        "f/2",
        "f/1.4",
        "f/1",
        "f/0.7",
    ]
    assert np.allclose(left.get_yticks(), range(0, -8, -1))


def test_a_map_without_a_reading_has_no_f_numbers():
    assert not map_figure(level_map()).axes[1].child_axes


def test_a_vertical_axis_that_is_a_height_counts_from_the_floor():
    axes = map_figure(level_map(height_m=1.4)).axes[0]
    assert axes.get_ylabel() == "height above the floor, m" and axes.get_ylim() == pytest.approx((0.4, 2.4))
    sweep = map_figure(
        level_map(height_m=0.5, labels=("to the right, m", "along the sweep, m (0: foot of the straight wall)"))
    ).axes[0]
    assert sweep.get_ylabel() == "height above the floor, m; below 0.5 along curve and floor"


@pytest.mark.parametrize(
    "extent", [(-1.6, 1.6, -1.0, 1.0), (-0.05, 0.05, -1.5, 1.5), (-3.0, 3.0, -0.1, 0.1), (-1.0, 1.0, -1.0, 1.0)]
)
@pytest.mark.parametrize("gates", mostly_slow([5, 0, 1]))
def test_all_words_of_a_map_stay_inside_the_figure_and_apart(extent, gates):
    found = level_map(
        extent, (-11.0, -3.9), gates=gates, title_length=25, meter=Meter(12800.0, 1 / 125, 90.0), height_m=1.4
    )
    figure = map_figure(found)
    figure.canvas.draw()
    page = figure.bbox
    axes, bar = figure.axes[:2]
    words = [
        *(child for child in axes.get_children() if isinstance(child, Text) and child.get_text()),
        axes.xaxis.label,
        axes.yaxis.label,
        bar.yaxis.label,
        bar.child_axes[0].yaxis.label,
        *figure.texts,
    ]
    drawn = [(axis, axis.get_view_interval()) for axis in (axes.xaxis, axes.yaxis, bar.yaxis, bar.child_axes[0].yaxis)]
    ticks = [
        [
            tick.label2 if axis is bar.yaxis else tick.label1
            for tick in axis.get_major_ticks()
            if min(span) <= tick.get_loc() <= max(span)
        ]
        for axis, span in drawn
    ]
    assert all(len(labels) >= 2 for labels in ticks)
    boxes = [
        item.get_window_extent()
        for item in (*words, *(label for labels in ticks for label in labels), *figure.legends)
        if not hasattr(item, "get_text") or item.get_text()
    ]
    assert all(page.x0 <= box.x0 and box.x1 <= page.x1 and page.y0 <= box.y0 and box.y1 <= page.y1 for box in boxes)
    for labels in (*ticks, [*figure.texts, axes.xaxis.label, *figure.legends]):
        shown = [label.get_window_extent() for label in labels if label.get_visible()]
        assert not any(a.overlaps(b) for index, a in enumerate(shown) for b in shown[:index])


def test_a_map_that_no_light_reaches_says_so():
    """On a ground of its own: the room's light may be of any colour of the scale."""
    dark = replace(level_map(), illuminance=np.zeros((40, 64), np.float32), is_reached=False)
    (words,) = (
        text for text in map_figure(dark).axes[0].texts if text.get_text() == "no projector's\nlight falls here"
    )
    assert words.get_bbox_patch() is not None


@pytest.mark.parametrize(
    ("stops", "text"), [(0, "0"), (1, "+1"), (-0.5, "−½"), (-4 / 3, "−1⅓"), (2 / 3, "+⅔"), (-7, "−7"), (10.5, "+10½")]
)
def test_stops_are_written_as_photographers_write_them(stops, text):
    assert stops_text(stops) == text


@pytest.fixture
def measured():
    """Two photographs' edges as read, with curves that fit them."""
    positions = np.linspace(-5.0, 5.0, 101)
    profiles = np.stack([np.clip(0.5 + positions / reach, 0.0, 1.0) for reach in (1.0, 2.0, 4.0)], axis=1)
    reading = SimpleNamespace(
        positions_mm=positions, profiles=profiles, widths_mm=(0.8, 1.6, 3.2), pixel_mm=0.1, is_grey=False
    )
    photographs = [
        SimpleNamespace(path=Path(f"edge{index}.tif"), offset_mm=offset) for index, offset in enumerate((-0.5, 0.0))
    ]
    return SimpleNamespace(
        readings=[reading, reading], photographs=photographs, fit=SimpleNamespace(curves=[profiles, profiles])
    )


def test_a_measured_figure_says_what_marks_and_lines_are(measured):
    with_fit = "marks: the photographs' data of the edges, lines: the fitted lens"
    assert measured_figure(measured, "a lens").get_supxlabel() == with_fit
    measured.fit = None
    assert "no lens is fitted" in measured_figure(measured, "edges").get_supxlabel()


def test_a_measured_figure_tells_its_channels_apart_by_more_than_colour_and_cuts_no_title(measured):
    figure = measured_figure(measured, "a lens")
    figure.canvas.draw()
    for axes in figure.axes:
        lines = [line for line in axes.lines if line.get_linestyle() != "None"]
        assert len({(line.get_linestyle(), line.get_linewidth()) for line in lines}) == 3
        assert len({line.get_marker() for line in axes.lines} - {"None"}) == 3
        box = axes.title.get_window_extent()
        assert box.x0 >= 0.0 and box.x1 <= figure.bbox.width
    assert [axes.get_title() for axes in figure.axes][:2] == ["edge0.tif, offset -0.5 mm", "edge1.tif, offset 0 mm"]


def test_four_panels_of_a_measured_figure_stand_in_a_square(measured):
    """Three photographs and their widths, as most lenses are measured: no row is left all but empty."""
    measured.readings = [*measured.readings, measured.readings[0]]
    measured.photographs = [*measured.photographs, SimpleNamespace(path=Path("edge2.tif"), offset_mm=0.5)]
    measured.fit.curves = [*measured.fit.curves, measured.fit.curves[0]]
    figure = measured_figure(measured, "a lens")
    places = [axes.get_subplotspec() for axes in figure.axes]
    assert [(place.rowspan.start, place.colspan.start) for place in places] == [(0, 0), (0, 1), (1, 0), (1, 1)]
