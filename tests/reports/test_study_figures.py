"""Figures of the studies: what their legends, marks and ticks say."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from projector import studies
from projector.files.finding import shipped_folder
from projector.reports.study_figures import focus_figure, lens_strip_figure, throw_figure
from projector.scene.reading.reader import load
from projector.stage.stage import Stage
from projector.studies.edges.focus_curve import FocusCurve, focus_curve, offsets_to_show
from projector.studies.edges.refocus import sharpest_offset

OFFSETS = np.linspace(-3.0, 3.0, 61)


def curve(projector="window", at="wall.centre", now=0.0, has_stencil=True, blades=None):
    return FocusCurve(projector, at, now, has_stencil, OFFSETS, 10.0 * np.abs(OFFSETS), blades or {})


def legend(figure) -> list[str]:
    return [text.get_text() for text in figure.legends[0].get_texts()]


def lettering(figure) -> list[str]:
    return [text.get_text() for text in figure.axes[0].texts]


def drawn_in_black(line) -> np.ndarray:
    """Pixels of a line of the same kind from side to side of a small figure."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure
    from matplotlib.lines import Line2D

    figure = Figure((4.0, 0.3), dpi=100)
    copy = Line2D([0.0, 1.0], [0.5, 0.5], transform=figure.transFigure)
    copy.update_from(line)
    copy.set(color="black", marker="None", transform=figure.transFigure, clip_on=False)
    figure.add_artist(copy)
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    pixels = np.asarray(canvas.buffer_rgba())
    assert pixels[..., :3].min() < 50, "nothing is drawn"
    return pixels


def test_several_projectors_are_told_apart():
    figure = focus_figure([curve("blinds"), curve("texture", now=0.5)])
    assert legend(figure) == ["blinds: stencil at wall.centre", "texture: stencil at wall.centre"]
    assert lettering(figure) == ["blinds: now 0 mm", "texture: now +0.5 mm"]


def test_one_projector_needs_no_name_and_shows_its_offset_and_the_wanted_width():
    figure = focus_figure([curve(now=-1.5)], 5.0)
    assert legend(figure) == ["stencil at wall.centre"]
    assert lettering(figure) == ["now -1.5 mm", "wanted 5 mm"]


def test_without_a_stencil_no_curve_is_called_one():
    blades = {
        "left": 10.0 * np.abs(OFFSETS + 1.0),
        "right": 10.0 * np.abs(OFFSETS + 1.0),
        "top": 10.0 * np.abs(OFFSETS + 2.0),
    }
    assert legend(focus_figure([curve(has_stencil=False, blades=blades)])) == [
        "left and right blades at wall.centre",
        "top blade at wall.centre",
    ]
    assert legend(focus_figure([curve(has_stencil=False)])) == ["edge of the gate at wall.centre"]


def test_every_curve_has_a_colour_and_a_line_of_its_own():
    blades = {"left": 10.0 * np.abs(OFFSETS + 1.0), "top": 10.0 * np.abs(OFFSETS + 2.0)}
    lines = focus_figure([curve(at=at, blades=blades) for at in ("wall.centre", "wall.left")]).axes[0].lines[:6]
    assert len({line.get_color() for line in lines}) == 6
    # A line of its own where colours are lost: drawn in black on one white ground, no two next to each other are alike.
    drawn = [drawn_in_black(line) for line in lines]
    assert all(not np.array_equal(first, second) for first, second in itertools.pairwise(drawn))


def test_the_offsets_shown_reach_every_curves_lowest_point_without_kinks():
    """Scene 08: blades 8 and 12 mm behind the gate are sharp at a landmark that the gate is focused near 8 and 12 mm
    nearer to the lens.
    """
    scene = load(shipped_folder("scene") / "08-framed-head.toml")
    spec, stage = scene.projector[0], Stage(scene)
    offsets = offsets_to_show(stage, [(spec, "understudy.left_eye")])
    found = focus_curve(stage, spec, "understudy.left_eye", offsets)
    for side, widths in found.blades_mm.items():
        lowest = int(np.argmin(widths))
        assert offsets[lowest] == pytest.approx(-8.0 if side in ("left", "right") else -12.0, abs=0.1)
        assert 0 < lowest < offsets.size - 1 and widths[lowest] < 0.01 * widths.max()
        # Where a polygon would cut a corner off: its sides next to the lowest point are short.
        assert max(widths[lowest - 1], widths[lowest + 1]) < 0.02 * widths.max()
    assert spec.focus.offset_mm in offsets


def test_a_focus_far_off_stays_in_the_picture():
    """Scene 05: the first projector is focused on a face and sharp on the backdrop nearly 2 mm nearer to the lens."""
    scene = load(shipped_folder("scene") / "05-two-projectors.toml")
    stage = Stage(scene)
    asked = [(spec, "backdrop.centre") for spec in scene.projector]
    offsets = offsets_to_show(stage, asked)
    for spec, reference in asked:
        assert offsets[0] < sharpest_offset(stage, spec, reference) < offsets[-1]
        assert offsets[0] < spec.focus.offset_mm < offsets[-1]


@pytest.mark.parametrize(
    ("focal_length_mm", "throw_m", "expected"),
    [(85.0, 2.5, ["−2", "−1", "0", "+1", "+2", "+3"]), (85.0, 0.4, ["−2", "−1½", "−1", "−½", "0"])],
)
def test_the_stops_of_a_throw_are_round(focal_length_mm, throw_m, expected):
    """2·log2 of the throws' ratio (inverse square): a tick at each round stop stands at the width of that throw."""
    figure = throw_figure(studies, focal_length_mm, 36.0, throw_m)
    figure.canvas.draw()
    axis = figure.axes[0].child_axes[0].yaxis
    assert [label.get_text() for label in axis.get_ticklabels()] == expected
    for place, text in zip(axis.get_ticklocs(), expected, strict=True):
        stops = studies.stops_for_distance(throw_m, studies.place_for(place, 36.0, focal_length_mm).throw_m)
        assert stops == pytest.approx(float(text.replace("−", "-").replace("½", ".5")), abs=1e-9)
        assert math.isfinite(place)


def test_edges_of_lenses_run_from_dark_to_bright_and_channels_differ_by_more_than_colour():
    """A lens without fringe beside one with: one scale for both, a picture that is not one shade,
    lines of three kinds.
    """
    positions = np.linspace(-2.0, 2.0, 401)
    sharp = np.repeat((positions > 0.0)[:, None].astype(float), 3, axis=1)
    fringed = np.stack([np.clip(0.5 + positions / reach, -0.2, 1.0) for reach in (0.5, 1.0, 2.0)], axis=1)
    figure = lens_strip_figure(
        [("one", positions, sharp, "no fringe"), ("two", 2.0 * positions, fringed, "fringe 4 mm " + 20 * "and on ")],
        "edges",
    )
    for band, lines in zip(figure.axes[::2], figure.axes[1::2], strict=True):
        (image,) = band.images
        luminance = np.asarray(image.get_array()).mean(axis=(0, 2))
        assert luminance[0] == 0.0 and luminance[-1] == pytest.approx(1.0)
        assert band.get_xlim() == lines.get_xlim() == (-4.0, 4.0)
        assert len({(line.get_linestyle(), line.get_linewidth()) for line in lines.lines}) == 3
        low, high = lines.get_ylim()
        assert all(low <= value <= high for line in lines.lines for value in line.get_ydata())
    # A long caption breaks its line instead of leaving the figure.
    assert "\n" in figure.axes[2].get_title(loc="left")


def test_curves_that_lie_on_each_other_are_told_apart_by_their_width():
    """The first is drawn widest, so that it shows on both sides of what covers it."""
    figure = focus_figure(
        [
            curve(at="sitter.left_eye"),
            curve(at="sitter.right_eye"),
            FocusCurve("window", "wall.centre", 0.0, True, OFFSETS, 5.0 * np.abs(OFFSETS), {}),
        ]
    )
    first, second, apart = figure.axes[0].lines[:3]
    assert first.get_linewidth() > second.get_linewidth() + 2.0 and apart.get_linewidth() == second.get_linewidth()


def test_focuses_that_lie_close_together_are_named_without_covering_each_other():
    focuses = [
        (-1.33, "sitter.left_eye: 3.73 m"),
        (-1.29, "sitter.nose_tip: 3.65 m"),
        (-1.3, "wall.centre: 3.66 m"),
        (1.27, "sitter.left_eye: 1.66 m"),
        (1.37, "sitter.nose_tip: 1.63 m"),
        (2.0, ""),
    ]
    figure = focus_figure([curve()], 13.0, focuses)
    figure.canvas.draw()
    axes = figure.axes[0]
    boxes = [text.get_window_extent() for text in axes.texts]
    assert {text.get_text() for text in axes.texts} >= {words for _, words in focuses if words} and "" not in lettering(
        figure
    )
    assert not any(a.overlaps(b) for index, a in enumerate(boxes) for b in boxes[:index])
    room = axes.get_window_extent()
    assert all(room.x0 <= box.x0 and box.x1 <= room.x1 for box in boxes)
    assert np.allclose(axes.lines[-1].get_xdata(), [offset for offset, _ in focuses])
