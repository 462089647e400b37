"""A contact sheet's words stay in the room that they have."""

from __future__ import annotations

import re
import zlib
from dataclasses import replace

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from scipy.ndimage import gaussian_filter

from projector.answers.typed import axis_from
from projector.files.records import read_record
from projector.reports.contact_sheet import (
    GAP_PX,
    MOST_NOTES,
    _numbers,
    captions,
    contact_page,
    contact_sheet,
    fitted,
    foot_texts,
    layout,
    save_sheet,
)
from projector.studies.choosing.sheet_cells import Axis, Cell

ROWS = Axis(
    *axis_from("projector.chapel-window.stencil.file=church-window,arched-window,a_very_long_name_of_a_stencil")
)
COLUMNS = Axis(*axis_from("projector.chapel-window.lens.pupil.inner_fraction=0,0.5"))
TITLE = "Light of a chapel's window on the far wall, seen from the door"


def cells(width: int, height: int):
    pixels = np.zeros((height, width, 3), np.uint8)
    return [
        Cell(
            row,
            column,
            ROWS.values[row],
            COLUMNS.values[column],
            [landing("chapel-window", edge_width_mm=12.3 + row), landing("fill", open_gate_stops_over=0.5 * column)],
            pixels,
        )
        for row in range(3)
        for column in range(2)
    ]


def landing(name: str, **changes) -> dict:
    return {
        "projector": name,
        "lands_on": "wall",
        "no_light": None,
        "throw_m": 2.5,
        "edge_width_mm": 12.3,
        "pattern_width_m": 1.08,
        "open_gate_f_number": 8.0,
        "open_gate_stops_over": -1.26,
        **changes,
    }


def of_one_row(*landings):
    return [
        Cell(0, column, "", str(column), items, np.zeros((8, 8, 3), np.uint8)) for column, items in enumerate(landings)
    ]


@pytest.mark.parametrize("size", [(96, 72), (240, 180), (480, 360)])
def test_every_label_fits_the_room_it_has(size):
    plan = layout(cells(*size), ROWS, COLUMNS, TITLE)
    assert all(GAP_PX + label.width <= plan.left for label in plan.rows)
    assert all(label.width <= plan.width for label in plan.columns)
    assert all(item.width <= plan.width for items in plan.captions for item in items)
    assert all(GAP_PX + item.width <= plan.size[0] for item in plan.heading)
    assert all(sum(item.height for item in items) <= plan.caption for items in plan.captions)


def test_notes_stand_under_the_sheet_by_number_and_each_picture_names_its_own():
    """One that holds for all needs no number; the sheet grows by what it writes, and nothing is written outside it."""
    noted = [
        replace(
            cell,
            notes=["of all", *(["a stop too many"] if cell.column else []), *([f"row {cell.row}"] if cell.row else [])],
        )
        for cell in cells(240, 180)
    ]
    plan, bare = layout(noted, ROWS, COLUMNS, TITLE), layout(cells(240, 180), ROWS, COLUMNS, TITLE)
    assert [" ".join(item.lines) for item in plan.foot] == [
        "note: of all",
        "note 1: a stop too many",
        "note 2: row 1",
        "note 3: row 2",
    ]
    assert [items[-1].lines for items in plan.captions][1:] == [
        ["note 1"],
        ["note 2"],
        ["notes 1, 2"],
        ["note 3"],
        ["notes 1, 3"],
    ]
    assert [item.lines for item in plan.captions[0]] == [item.lines for item in bare.captions[0]] and not bare.foot
    under = plan.corner(3, 0)[1] + sum(item.height for item in plan.foot)
    assert under <= plan.size[1]
    # The foot is drawn: there is ink below the last pictures' captions.
    sheet = np.asarray(contact_sheet(noted, plan).convert("L"))
    assert sheet[plan.corner(3, 0)[1] :].min() < 120


def test_of_very_many_notes_the_sheet_says_where_the_others_are():
    shared, single = ["of all"], [f"note of picture {index}" for index in range(40)]
    texts = foot_texts(shared, single)
    assert len(texts) == 1 + MOST_NOTES + 1 and texts[-1] == "and 16 more notes, beside the numbers in the CSV and JSON"


def test_no_letter_of_a_label_is_lost():
    plan = layout(cells(240, 180), ROWS, COLUMNS, TITLE)
    assert [label.lines for label in plan.rows[:2]] == [["church-", "window"], ["arched-", "window"]]
    for values, labels in ((ROWS.values, plan.rows), (COLUMNS.values, plan.columns)):
        assert ["".join(label.lines) for label in labels] == list(values)
    assert "".join(plan.heading[2].lines) == f"columns: {COLUMNS.key}"


def test_a_word_without_a_break_is_broken_where_it_has_to_be():
    label = fitted("x" * 60, 20, 80.0, 3)
    assert label.width <= 80.0 and "".join(label.lines) == "x" * 60


@pytest.mark.parametrize(
    "text", ["[0.25, 1.5, -0.75]", "-1.25,-0.75,1/100", "f/8.0, 1.2 stops over", "edges 12.3 mm, 1.08 m wide"]
)
@pytest.mark.parametrize("room", [30.0, 60.0, 90.0])
def test_a_line_ends_between_numbers_and_not_within_one(text, room):
    label = fitted(text, 14, room, 3)
    numbers = [word.strip("[],") for word in text.replace(",", ", ").split()]
    whole = [word.strip("[],") for line in label.lines for word in line.replace(",", ", ").split()]
    assert whole == numbers
    # A unit stays with its number, where a line has room for both.
    assert room < 40.0 or not any(line.endswith(("1.2", "12.3", "1.08")) for line in label.lines)


def test_captions_say_what_differs_and_the_heading_what_does_not():
    """Over and under are against the camera's own f-number."""
    one = of_one_row([landing("key")], [landing("key", open_gate_f_number=11.3, open_gate_stops_over=-0.26)])
    assert captions(one) == (
        [["f/8.0, 1.3 stops under"], ["f/11.3, 0.3 stops under"]],
        "2.50 m away, 1.08 m wide, edges 12.3 mm",
    )
    two = of_one_row(
        [landing("key"), landing("fill")],
        [landing("key", edge_width_mm=3.0, open_gate_stops_over=0.02), landing("fill")],
    )
    under, alike = captions(two)
    assert under == [["key: edges 12.3 mm, f/8.0, 1.3 stops under"], ["key: edges 3.0 mm, f/8.0, as set"]]
    assert (
        alike == "key: 2.50 m away, 1.08 m wide; fill: 2.50 m away, 1.08 m wide, edges 12.3 mm, f/8.0, 1.3 stops under"
    )
    assert (
        captions(of_one_row([landing("key", open_gate_f_number=None, open_gate_stops_over=None)]))[1]
        == "2.50 m away, 1.08 m wide, edges 12.3 mm"
    )


def text_of_pdf(path) -> str:
    """The text of a PDF as a reader would copy it: codes of letters by each font's own table of what they mean."""
    data = path.read_bytes()
    objects = dict(re.findall(rb"(\d+) 0 obj(.*?)endobj", data, re.DOTALL))
    streams = {
        number: zlib.decompress(found[1])
        for number, item in objects.items()
        if b"FlateDecode" in item and (found := re.search(rb"stream\r?\n(.*)\r?\nendstream", item, re.DOTALL))
    }
    letters = {}
    for font, number in re.findall(rb"/(F\d+) (\d+) 0 R", data):
        table = streams[re.search(rb"/ToUnicode (\d+) 0 R", objects[number])[1]]
        letters[font] = {
            int(first, 16) + step: bytes.fromhex(text.decode()).decode("utf-16-be")
            for first, texts in re.findall(rb"<(\w+)> <\w+> \[(.*?)\]", table)
            for step, text in enumerate(re.findall(rb"<(\w+)>", texts))
        }
    found = []
    for number in re.findall(rb"/Contents (\d+) 0 R", data):
        page, font = streams[number], None
        # A font, the beginning of a line, or a string to show.
        for chosen, begun, shown in re.findall(rb"/(F\d+) [\d.]+ Tf|(BT)|\(((?:[^()\\]|\\.)*)\)", page, re.DOTALL):
            font = chosen or font
            found += ["\n"] if begun else []
            codes = re.sub(
                rb"\\(.)",
                lambda sign: {b"n": b"\n", b"r": b"\r", b"t": b"\t"}.get(sign[1], sign[1]),
                shown,
                flags=re.DOTALL,
            )
            found += [letters[font][int.from_bytes(codes[at : at + 2], "big")] for at in range(0, len(codes), 2)]
    return "".join(found)


def test_the_text_of_a_sheets_pdf_is_text(tmp_path):
    plan = layout(cells(240, 180), ROWS, COLUMNS, "Light of $5 & a window (far)")
    about = {"scene": "mine", "program": "projector"}
    paths = save_sheet(cells(240, 180), plan, tmp_path / "sheet", about, False)
    words = text_of_pdf(paths[1])
    for text in (
        "Light of $5 & a window (far)",
        "church-",
        "projector.chapel-window.stencil.file",
        "edges 13.3 mm",
        "0.5",
    ):
        assert text in words
    data = paths[1].read_bytes()
    assert b"/FontFile2" in data and b"/ToUnicode" in data and b"/Type3" not in data
    assert read_record(paths[1]) == about == read_record(paths[0])


def test_the_pdf_shows_the_same_sheet_as_the_png():
    """Two libraries space letters differently, by up to some pixels at a long line's end: over patches of a dozen
    pixels ink is equal.
    """
    some = cells(240, 180)
    for index, cell in enumerate(some):
        cell.pixels[:] = np.linspace(0, 255, 240, dtype=np.uint8)[None, :, None] // (index + 1)
    plan = layout(some, ROWS, COLUMNS, TITLE)
    page = contact_page(some, plan)
    FigureCanvasAgg(page).draw()
    drawn = np.asarray(page.canvas.buffer_rgba())[..., :3].astype(float)
    pasted = np.asarray(contact_sheet(some, plan)).astype(float)
    assert drawn.shape == pasted.shape
    for cell in some:
        x, y = plan.corner(cell.row, cell.column)
        place = slice(y, y + plan.height), slice(x, x + plan.width)
        assert np.abs(drawn[place] - pasted[place]).max() <= 1.0
        drawn[place] = pasted[place] = 250.0
    assert np.abs(gaussian_filter(drawn, (12, 12, 0)) - gaussian_filter(pasted, (12, 12, 0))).max() < 10.0
    assert np.abs(gaussian_filter(drawn, (12, 12, 0)) - 250.0).max() > 30.0


def test_the_margin_left_of_the_pictures_holds_ink_and_its_edge_none():
    """What is drawn is what was planned: the column of pixels just before the pictures is paper."""
    plan = layout(cells(240, 180), ROWS, COLUMNS, TITLE)
    pixels = np.asarray(contact_sheet(cells(240, 180), plan))
    below = pixels[plan.top :]
    assert (below[:, : plan.left - GAP_PX] < 100).any() and (below[:, plan.left - 2] > 240).all()
    assert (pixels[: plan.top, -1] > 240).all()


def test_a_caption_has_no_numbers_where_no_light_falls():
    """The back of a wall, or nothing at all: said in the picture's own caption."""
    assert [text for text in _numbers(landing("window", no_light="facing away")) if text] == ["no light on its axis"]
    assert _numbers(landing("window", lands_on=None))[0] == "its axis meets nothing, at 2.50 m"
