"""A contact sheet's words stay in the room that they have."""

from __future__ import annotations

import numpy as np
import pytest

from projector.reports.contact_sheet import GAP_PX, contact_sheet, fitted, layout
from projector.studies.comparison import Cell, parsed_axis

ROWS = parsed_axis("projector.chapel-window.stencil.file=church-window,arched-window,a_very_long_name_of_a_stencil")
COLUMNS = parsed_axis("projector.chapel-window.lens.pupil.inner_fraction=0,0.5")
TITLE = "Light of a chapel's window on the far wall, seen from the door"


def cells(width: int, height: int):
    landing = {"projector": "chapel-window", "edge_width_mm": 12.3, "pattern_width_m": 1.08}
    pixels = np.zeros((height, width, 3), np.uint8)
    return [Cell(row, column, ROWS.values[row], COLUMNS.values[column], [landing, landing], pixels) for row in range(3) for column in range(2)]


@pytest.mark.parametrize("size", [(96, 72), (240, 180), (480, 360)])
def test_every_label_fits_the_room_it_has(size):
    plan = layout(cells(*size), ROWS, COLUMNS, TITLE)
    assert all(GAP_PX + label.width <= plan.left for label in plan.rows)
    assert all(label.width <= plan.width for label in plan.columns)
    assert all(item.width <= plan.width for items in plan.captions for item in items)
    assert all(GAP_PX + item.width <= plan.size[0] for item in plan.heading)
    assert all(sum(item.height for item in items) <= plan.caption for items in plan.captions)


def test_no_letter_of_a_label_is_lost():
    plan = layout(cells(240, 180), ROWS, COLUMNS, TITLE)
    assert [label.lines for label in plan.rows[:2]] == [["church-", "window"], ["arched-", "window"]]
    for values, labels in ((ROWS.values, plan.rows), (COLUMNS.values, plan.columns)):
        assert ["".join(label.lines) for label in labels] == list(values)
    assert "".join(plan.heading[2].lines) == f"columns: {COLUMNS.key}"


def test_a_word_without_a_break_is_broken_where_it_has_to_be():
    label = fitted("x" * 60, 20, 80.0, 3)
    assert label.width <= 80.0 and "".join(label.lines) == "x" * 60


def test_the_margin_left_of_the_pictures_holds_ink_and_its_edge_none():
    """What is drawn is what was planned: the column of pixels just before the pictures is paper."""
    plan = layout(cells(240, 180), ROWS, COLUMNS, TITLE)
    pixels = np.asarray(contact_sheet(cells(240, 180), ROWS, COLUMNS, TITLE))
    below = pixels[plan.top :]
    assert (below[:, : plan.left - GAP_PX] < 100).any() and (below[:, plan.left - 2] > 240).all()
    assert (pixels[: plan.top, -1] > 240).all()
