"""Comparison sheets: two keys of a scene, each over some values, every combination rendered under one exposure.

Finished cells are kept as pictures in a folder of their own; a sheet that was stopped goes on from there. Cells of a row
or a column share what they can: the session keeps what a change does not touch.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from concurrent.futures import FIRST_EXCEPTION, ThreadPoolExecutor, wait
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np

from projector.rendering.files import read_record, record, write_png
from projector.rendering.session import RenderSession
from projector.rendering.tiles import Progress, Workers, default_threads
from projector.scene.faults import Fault, SceneError
from projector.scene.reader import with_overrides
from projector.studies.landing import landing

MOST_CELLS = 600


@dataclass(frozen=True)
class Axis:
    """One key of the scene ("projector.window.focus.offset_mm") and the values it takes, as typed."""

    key: str
    values: tuple[str, ...]


@dataclass(frozen=True)
class Cell:
    """One picture of a sheet: which values, the numbers of each projector's landing, and its pixels (h, w, 3) uint8."""

    row: int
    column: int
    row_value: str
    column_value: str
    landings: list[dict]
    pixels: np.ndarray


def parsed_axis(text: str) -> Axis:
    """An axis from "key=value,value,…"; a value with commas of its own stands in [ ] or quotes. SceneError if it is none."""
    key, equals, rest = text.partition("=")
    values, depth, current = [], 0, ""
    for letter in rest:
        depth += (letter in "[{") - (letter in "]}")
        if letter == "," and depth == 0:
            values.append(current.strip())
            current = ""
        else:
            current += letter
    values.append(current.strip())
    if not equals or not key.strip() or not all(values):
        raise SceneError(Fault(found=f'"{text}" is not an axis', allowed="KEY=VALUE,VALUE,…", try_="projector.window.focus.offset_mm=-1,0,1", key=text))
    return Axis(key.strip(), tuple(values))


def check_sheet(scene, rows: Axis, columns: Axis) -> None:
    """SceneError, before any work, for a sheet that is too large or whose values the scene does not take."""
    count = len(rows.values) * len(columns.values)
    if count > MOST_CELLS:
        raise SceneError(Fault(found=f"a sheet of {len(rows.values)} × {len(columns.values)} = {count} pictures", allowed=f"at most {MOST_CELLS}", try_="fewer values, or several sheets"))
    if rows.key == columns.key:
        raise SceneError(Fault(found=f"rows and columns both change {rows.key}", allowed="two different keys"))
    faults = []
    for axis in (rows, columns):
        for value in axis.values:
            try:
                with_overrides(scene, [f"{axis.key}={value}"])
            except SceneError as error:
                faults += error.faults
    if faults:
        raise SceneError(faults)


def changed_scene(scene, rows: Axis, columns: Axis, row: int, column: int):
    """The scene of one cell."""
    return with_overrides(scene, [f"{rows.key}={rows.values[row]}", f"{columns.key}={columns.values[column]}"])


def comparison(
    scene,
    rows: Axis,
    columns: Axis,
    width: int = 480,
    height: int = 360,
    quality: str = "quick",
    folder: Path | None = None,
    threads: int | None = None,
    progress: Progress | None = None,
) -> list[Cell]:
    """Every cell of the sheet, row after row, all under the scene's own exposure.

    folder: where finished cells are kept and taken from; a cell is taken only if its record fits scene, size and quality.
    Raises tiles.Stopped when progress asks to stop; what is finished stays in the folder.
    """
    check_sheet(scene, rows, columns)
    threads = threads or default_threads()
    if folder is not None:
        folder.mkdir(parents=True, exist_ok=True)
    places = [(row, column) for row in range(len(rows.values)) for column in range(len(columns.values))]
    done: dict[tuple[int, int], Cell] = {}

    def work(share: list[tuple[int, int]]) -> None:
        session = None
        with Workers(1) as workers:
            for row, column in share:
                if progress is not None:
                    progress.check()
                cell_scene = changed_scene(scene, rows, columns, row, column)
                pixels = _kept_cell(folder, cell_scene, row, column, width, height, quality)
                if pixels is None:
                    session = session or RenderSession(cell_scene, width, height, quality, workers)
                    session.change_to(cell_scene)
                    pixels = session.rgb_bytes()
                    _keep_cell(folder, cell_scene, row, column, width, height, quality, pixels)
                arrays = session.arrays() if session is not None else None
                landings = [asdict(landing(cell_scene, spec, arrays)) for spec in cell_scene.projector]
                done[row, column] = Cell(row, column, rows.values[row], columns.values[column], landings, pixels)

    _in_shares(work, places, len(columns.values), threads, progress, done)
    return [done[place] for place in places]


def _in_shares(work: Callable, places, n_columns: int, threads: int, progress: Progress | None, done: dict) -> None:
    """Whole rows to each thread, so that a session's cells differ by one value at a time."""
    n_rows = len(places) // n_columns
    shares = [places[first * n_columns : last * n_columns] for first, last in _splits(n_rows, threads)]
    with ThreadPoolExecutor(len(shares)) as pool:
        futures = [pool.submit(work, share) for share in shares]
        while not all(future.done() for future in futures):
            if progress is not None and progress.report is not None:
                progress.report("pictures", len(done), len(places))
            wait(futures, timeout=0.2, return_when=FIRST_EXCEPTION)
        for future in futures:
            future.result()
    if progress is not None and progress.report is not None:
        progress.report("pictures", len(places), len(places))


def _splits(count: int, parts: int) -> list[tuple[int, int]]:
    parts = max(1, min(parts, count))
    bounds = [count * index // parts for index in range(parts + 1)]
    return list(zip(bounds, bounds[1:], strict=False))


def _cell_path(folder: Path, row: int, column: int) -> Path:
    return folder / f"row{row + 1:02d}-column{column + 1:02d}.png"


def _about(scene, width, height, quality) -> dict:
    return record(scene, "sheet", width=width, height=height, quality=quality)


def _kept_cell(folder, scene, row, column, width, height, quality):
    """The pixels of a finished cell whose record says it is this very picture, else None."""
    if folder is None or read_record(_cell_path(folder, row, column)) != _about(scene, width, height, quality):
        return None
    from PIL import Image

    with Image.open(_cell_path(folder, row, column)) as image:
        return np.asarray(image.convert("RGB"))


def _keep_cell(folder, scene, row, column, width, height, quality, pixels) -> None:
    if folder is not None:
        write_png(_cell_path(folder, row, column), pixels, _about(scene, width, height, quality))


def sheet_rows(cells: list[Cell], rows: Axis, columns: Axis) -> list[dict]:
    """The numbers of a sheet, one row a cell and projector, units in the keys."""
    found = []
    for cell in cells:
        for item in cell.landings:
            numbers = {key: value for key, value in item.items() if not (isinstance(value, float) and not math.isfinite(value))}
            found.append({rows.key: cell.row_value, columns.key: cell.column_value, **numbers})
    return found
