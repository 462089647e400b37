"""Comparison sheets: two keys of a scene, each over some values, every combination rendered under one exposure.

Finished cells are kept as pictures in a folder of their own; a sheet that was stopped goes on from there. Cells of a
row or a column share what they can: the session keeps what a change does not touch.
"""

from __future__ import annotations

import hashlib
import itertools
import math
import threading
from concurrent.futures import FIRST_EXCEPTION, ThreadPoolExecutor, wait
from pathlib import Path

import numpy as np

from projector.faults import Fault, SceneError
from projector.files.records import read_record, record, write_png
from projector.rendering.workers import Progress, default_threads
from projector.scene.placement import files_of
from projector.scene.reading.reader import with_overrides
from projector.stage.stage import Stage
from projector.studies.choosing.cluster import render_on_cluster
from projector.studies.choosing.sheet_cells import (
    Axis,
    Cell,
    CellToRender,
    changed_scene,
    finished_cell,
    rendered_cells,
)

MOST_CELLS = 600


def check_sheet(scene, rows: Axis, columns: Axis) -> None:
    """SceneError, before any work, for a sheet that is too large or whose values the scene does not take."""
    count = len(rows.values) * len(columns.values)
    if count > MOST_CELLS:
        raise SceneError(
            Fault(
                found=f"a sheet of {len(rows.values)} × {len(columns.values)} = {count} pictures",
                allowed=f"at most {MOST_CELLS}",
                try_="fewer values, or several sheets",
            )
        )
    if rows.key == columns.key == "":
        raise SceneError(
            Fault(
                "neither rows nor columns",
                "one of them, or both",
                'columns={"projector.window.focus.offset_mm": [-1, 0, 1]}',
                typed="--columns projector.window.focus.offset_mm=-1:1:5",
            )
        )
    if rows.key == columns.key:
        raise SceneError(Fault(found=f"rows and columns both change {rows.key}", allowed="two different keys"))
    faults = []
    for axis in (rows, columns):
        for index in range(len(axis.values)):
            try:
                with_overrides(scene, axis.change(index))
            except SceneError as error:
                faults += error.faults
    if faults:
        # A key that is misspelt is wrong in the same way for each of its values: said once.
        raise SceneError(list(dict.fromkeys(faults)))


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
    scheduler: str | None = None,
) -> list[Cell]:
    """Every cell of the sheet, row after row, all under the scene's own exposure.

    folder: where finished cells are kept and taken from; a cell is taken only if its record fits scene, size and
        quality.
    scheduler: address of a Dask scheduler ("tcp://host:8786") whose workers render; without it this machine's threads.
    Raises workers.Stopped when progress asks to stop; what is finished stays in the folder.
    """
    check_sheet(scene, rows, columns)
    if folder is not None:
        folder.mkdir(parents=True, exist_ok=True)
    wanted = [
        CellToRender(
            row, column, rows.values[row], columns.values[column], changed_scene(scene, rows, columns, row, column)
        )
        for row in range(len(rows.values))
        for column in range(len(columns.values))
    ]
    done = {
        (cell.row, cell.column): cell
        for cell in (_kept_cell(folder, item, width, height, quality) for item in wanted)
        if cell is not None
    }

    def finished(cell: Cell, item: CellToRender) -> None:
        _keep_cell(folder, item, width, height, quality, cell.pixels)
        done[cell.row, cell.column] = cell

    def tell() -> None:
        if progress is not None:
            progress.tell("pictures", len(done), len(wanted))

    left = [item for item in wanted if (item.row, item.column) not in done]
    tell()
    if left and scheduler is not None:
        render_on_cluster(scheduler, _rows_of(left), width, height, quality, finished, tell)
    elif left:
        _render_in_threads(
            _in_shares(left, threads or default_threads()), width, height, quality, progress, finished, tell
        )
    return [done[item.row, item.column] for item in wanted]


def sheet_notes(cells: list[Cell]) -> tuple[list[str], list[str], list[list[int]]]:
    """What is noted of every picture, what of only some, and which of the latter (from 0) each picture has."""
    distinct = list(dict.fromkeys(note for cell in cells for note in cell.notes))
    shared = [note for note in distinct if all(note in cell.notes for cell in cells)]
    single = [note for note in distinct if note not in shared]
    return shared, single, [[single.index(note) for note in cell.notes if note in single] for cell in cells]


def _rows_of(items: list[CellToRender]) -> list[list[CellToRender]]:
    """Cells of the same row together: neighbours differ by one value."""
    found: dict[int, list[CellToRender]] = {}
    for item in items:
        found.setdefault(item.row, []).append(item)
    return list(found.values())


def _in_shares(items: list[CellToRender], threads: int) -> list[list[CellToRender]]:
    """Whole rows to each thread; a single row is cut up."""
    rows = _rows_of(items)
    if len(rows) < threads:
        return [items[first:last] for first, last in _splits(len(items), threads)]
    return [[item for row in rows[first:last] for item in row] for first, last in _splits(len(rows), threads)]


def _render_in_threads(shares, width, height, quality, progress, finished, tell) -> None:
    """Each share in a thread of its own; the first error or wish to stop ends the others at their next cell."""
    ended = threading.Event()

    def work(share: list[CellToRender]) -> None:
        scenes = {(item.row, item.column): item for item in share}
        for cell in rendered_cells(share, width, height, quality, progress):
            finished(cell, scenes[cell.row, cell.column])
            if ended.is_set():
                return

    with ThreadPoolExecutor(len(shares)) as pool:
        futures = [pool.submit(work, share) for share in shares]
        try:
            while wait(futures, timeout=0.2, return_when=FIRST_EXCEPTION).not_done and not any(
                future.done() and future.exception() for future in futures
            ):
                tell()
        finally:
            ended.set()
        for future in futures:
            future.result()
    tell()


def _splits(count: int, parts: int) -> list[tuple[int, int]]:
    parts = max(1, min(parts, count))
    bounds = [count * index // parts for index in range(parts + 1)]
    return list(itertools.pairwise(bounds))


def _cell_path(folder: Path, row: int, column: int) -> Path:
    return folder / f"row{row + 1:02d}-column{column + 1:02d}.png"


def _about(scene, width, height, quality) -> dict:
    files = [hashlib.sha256(path.read_bytes()).hexdigest()[:16] for path in files_of(scene)]
    return record(scene, "sheet", width=width, height=height, quality=quality, files=files)


def _kept_cell(folder, item: CellToRender, width, height, quality) -> Cell | None:
    """A finished cell whose record says it is this very picture, else None."""
    if folder is None:
        return None
    path = _cell_path(folder, item.row, item.column)
    if read_record(path) != _about(item.scene, width, height, quality):
        return None
    from PIL import Image

    with Image.open(path) as image:
        pixels = np.asarray(image.convert("RGB"))
    return finished_cell(item, pixels, Stage(item.scene))


def _keep_cell(folder, item: CellToRender, width, height, quality, pixels) -> None:
    if folder is not None:
        write_png(_cell_path(folder, item.row, item.column), pixels, _about(item.scene, width, height, quality))


def sheet_rows(cells: list[Cell], rows: Axis, columns: Axis) -> list[dict]:
    """The numbers of a sheet, one row a cell and projector, units in the keys."""
    found = []
    for cell in cells:
        for item in cell.landings:
            numbers = {
                key: value for key, value in item.items() if not (isinstance(value, float) and not math.isfinite(value))
            }
            changed = {
                axis.key: value for axis, value in ((rows, cell.row_value), (columns, cell.column_value)) if axis.key
            }
            found.append({**changed, **numbers, "notes": list(cell.notes)})
    return found
