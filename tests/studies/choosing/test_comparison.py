"""Comparison sheets: each cell is the picture it claims to be, work is kept and gone on with, limits are said."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from projector import studies
from projector.answers.typed import axis_from
from projector.faults import SceneError
from projector.files.finding import shipped_folder
from projector.rendering.preview import preview
from projector.rendering.workers import Progress, Stopped
from projector.scene.reading.reader import load, with_overrides
from projector.studies.choosing import comparison as study
from projector.studies.choosing import sheet_cells

ROWS = study.Axis("projector.window.stencil.file", ("window", "blinds"))
COLUMNS = study.Axis("projector.window.focus.offset_mm", ("-1", "0", "2"))
SIZE = (96, 72)


@pytest.fixture(scope="module")
def scene():
    return load(shipped_folder("scene") / "03-cabin-window.toml")


@pytest.mark.slow
def test_each_cell_is_the_preview_of_its_own_scene(scene):
    cells = study.comparison(scene, ROWS, COLUMNS, *SIZE)
    assert [(cell.row, cell.column) for cell in cells] == [(row, column) for row in range(2) for column in range(3)]
    for cell in cells:
        alone = with_overrides(scene, [f"{ROWS.key}={cell.row_value}", f"{COLUMNS.key}={cell.column_value}"])
        assert np.array_equal(cell.pixels, preview(alone, width=SIZE[0], height=SIZE[1], quality="quick").pixels)


@pytest.mark.slow
def test_a_stopped_sheet_goes_on_from_its_finished_cells(scene, tmp_path, monkeypatch):
    progress = Progress()
    progress.report = lambda name, done, total: progress.stop() if done >= 2 else None
    with pytest.raises(Stopped):
        study.comparison(scene, ROWS, COLUMNS, *SIZE, folder=tmp_path / "cells", threads=1, progress=progress)
    kept = len(list((tmp_path / "cells").glob("*.png")))
    assert 1 <= kept < 6
    rendered = []
    original = sheet_cells.RenderSession.rgb_bytes
    monkeypatch.setattr(
        sheet_cells.RenderSession, "rgb_bytes", lambda self, *a: rendered.append(1) or original(self, *a)
    )
    cells = study.comparison(scene, ROWS, COLUMNS, *SIZE, folder=tmp_path / "cells", threads=1)
    assert len(rendered) == 6 - kept and len(cells) == 6


def test_a_kept_cell_of_another_scene_is_not_taken(scene, tmp_path):
    study.comparison(scene, ROWS, study.Axis(COLUMNS.key, ("0",)), *SIZE, folder=tmp_path / "cells")
    darker = with_overrides(scene, ["camera.iso=100"])
    cells = study.comparison(darker, ROWS, study.Axis(COLUMNS.key, ("0",)), *SIZE, folder=tmp_path / "cells")
    alone = with_overrides(darker, [f"{ROWS.key}=window", f"{COLUMNS.key}=0"])
    assert np.array_equal(cells[0].pixels, preview(alone, width=SIZE[0], height=SIZE[1], quality="quick").pixels)


def test_a_kept_cell_is_not_taken_once_its_stencil_was_drawn_anew(studio, tmp_path):
    """The scene's text is the same; the bitmap beside it is not."""
    left = np.zeros((64, 64))
    left[:, :32] = 1.0
    scene = studio.scene({"stencil": {"file": studio.bitmap("mark.png", left), "width_mm": 30.0}})
    axes = (study.Axis("camera.iso", ("100",)), study.Axis("projector.window.focus.offset_mm", ("0",)))
    before = study.comparison(scene, *axes, *SIZE, folder=tmp_path / "cells")[0].pixels
    studio.bitmap("mark.png", left[:, ::-1])
    after = study.comparison(scene, *axes, *SIZE, folder=tmp_path / "cells")[0].pixels
    assert np.abs(after.astype(int) - before).max() > 50
    assert np.array_equal(after, study.comparison(scene, *axes, *SIZE)[0].pixels)


def test_numbers_of_a_sheet_have_units_and_values(scene):
    cells = study.comparison(scene, ROWS, study.Axis(COLUMNS.key, ("0", "2")), *SIZE)
    numbers = study.sheet_rows(cells, ROWS, COLUMNS)
    assert len(numbers) == 4
    # In focus the colours of its single lens are left.
    assert numbers[1]["edge_width_mm"] > 5.0 * numbers[0]["edge_width_mm"] > 5.0


@pytest.mark.parametrize(
    ("rows", "columns", "words"),
    [
        (
            study.Axis("camera.iso", tuple(map(str, range(100, 200)))),
            study.Axis("camera.shutter_s", tuple(f"0.{i:03d}" for i in range(1, 101))),
            "10000 pictures",
        ),
        (study.Axis("projector.widow.roll_deg", ("1",)), COLUMNS, "did you mean window"),
        (COLUMNS, COLUMNS, "two different keys"),
        (study.Axis("projector.window.stencil.file", ("windou",)), COLUMNS, "did you mean window"),
    ],
)
def test_a_sheet_that_cannot_be_made_is_refused_before_any_work(scene, rows, columns, words):
    with pytest.raises(SceneError, match=words):
        study.comparison(scene, rows, columns, *SIZE)


def test_axes_are_read_from_words():
    assert axis_from("camera.position_m=[0,1.5,3],[1,1.5,3]")[1] == ("[0,1.5,3]", "[1,1.5,3]")
    for text in ("camera.iso", "=1,2", "camera.iso=1,,2"):
        with pytest.raises(SceneError):
            axis_from(text)


def test_a_sheet_in_one_call_takes_values_as_python_has_them_and_is_its_own_figure():
    """The same cells as the two axes give as they are typed; a range may stand as text."""
    size = {"width": 48, "height": 36}
    found = studies.sheet(
        "01-square-wall",
        {"projector.window.stencil.file": ["blinds", "leaves"]},
        {"projector.window.focus.offset_mm": "-1:1:3"},
        **size,
    )
    rows = study.Axis("projector.window.stencil.file", ("blinds", "leaves"))
    columns = study.Axis("projector.window.focus.offset_mm", ("-1", "0", "1"))
    cells = studies.comparison(load("01-square-wall"), rows, columns, **size)
    assert (found.rows, found.columns) == (rows, columns)
    assert all(np.array_equal(one.pixels, other.pixels) for one, other in zip(found.cells, cells, strict=True))
    shown = Image.open(io.BytesIO(found._repr_png_()))
    assert shown.width > 3 * 48 and shown.height > 2 * 36


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ({"projector.window.stencil.fil": ["blinds"]}, "did you mean file"),
        ({"projector.window.lens.f_number": [2, -4]}, "-4"),
        (["blinds"], "not a row or column"),
        ({"camera.iso": [100], "camera.f_number": [4]}, "not a row or column"),
        (None, "neither rows nor columns"),
    ],
)
def test_a_sheet_in_one_call_refuses_what_the_scene_does_not_take(rows, words):
    with pytest.raises(SceneError, match=words):
        studies.sheet("01-square-wall", rows)
