"""The cells of a comparison sheet: what each changes, and its picture."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass, field
from typing import Any

import numpy as np

from projector.rendering.session import RenderSession
from projector.rendering.workers import Progress, Workers
from projector.scene.reading.reader import with_overrides
from projector.shown import Shown
from projector.stage.stage import Stage
from projector.studies.notes import scene_notes
from projector.studies.size.landing import landing


@dataclass(frozen=True)
class Axis:
    """One key of the scene ("projector.window.focus.offset_mm") and the values it takes, as typed."""

    key: str
    values: tuple[str, ...]

    def change(self, index: int) -> list[str]:
        """The change that makes a value so; none on an axis that changes nothing."""
        return [f"{self.key}={self.values[index]}"] if self.key else []


# The other axis of a sheet that has only rows, or only columns.
UNCHANGED = Axis("", ("",))


@dataclass(frozen=True, repr=False)
class Cell(Shown):
    """One picture of a sheet: which values, the numbers of each projector's landing, its pixels (h, w, 3) uint8, and
    what a preview of it would note.
    """

    row: int
    column: int
    row_value: str
    column_value: str
    landings: list[dict]
    pixels: np.ndarray
    notes: list[str] = field(default_factory=list)

    def _line(self) -> str:
        height, width = self.pixels.shape[:2]
        return f"{' | '.join(filter(None, (self.row_value, self.column_value)))}: {width} × {height} pixels"


def changed_scene(scene, rows: Axis, columns: Axis, row: int, column: int):
    """The scene of one cell."""
    return with_overrides(scene, [*rows.change(row), *columns.change(column)])


@dataclass(frozen=True)
class CellToRender:
    """One cell of a sheet before it is rendered: its place, its values as typed, and its scene."""

    row: int
    column: int
    row_value: str
    column_value: str
    scene: Any


def rendered_cells(
    items: Iterable[CellToRender], width: int, height: int, quality: str, progress: Progress | None = None
) -> Iterator[Cell]:
    """Render cells one after the other in one session, which keeps what the next one does not change."""
    session = None
    with Workers(1) as workers:
        for item in items:
            if progress is not None:
                progress.check()
            session = session or RenderSession(item.scene, width, height, quality, workers)
            session.change_to(item.scene)
            pixels = session.rgb_bytes()
            yield finished_cell(item, pixels, session.stage)


def finished_cell(item: CellToRender, pixels: np.ndarray, stage: Stage) -> Cell:
    """A cell with its picture and what is said of it; stage: of the cell's scene."""
    return Cell(
        row=item.row,
        column=item.column,
        row_value=item.row_value,
        column_value=item.column_value,
        landings=[asdict(landing(stage, staged)) for staged in stage.projectors],
        pixels=pixels,
        notes=scene_notes(stage),
    )
