"""A comparison sheet in one call: one or two keys of a scene over some values in, one picture of all of them out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TypeAlias

from projector.faults import Fault, SceneError
from projector.files.typed_numbers import values_of_range
from projector.rendering.workers import Progress
from projector.scene.reading.given_overrides import Overrides, typed_overrides
from projector.scene.reading.reader import scene_from
from projector.shown import Drawn
from projector.stage.stage import Stage
from projector.studies.choosing.comparison import comparison
from projector.studies.choosing.sheet_cells import UNCHANGED, Axis, Cell

# One key of the scene and the values it takes: several of them, or a range as it is typed, "-1:1:5".
Values: TypeAlias = Mapping[str, Sequence[object] | str]


@dataclass(frozen=True, repr=False)
class Sheet(Drawn):
    """Pictures of one scene with one or two of its values changed: cells, row after row.

    Each cell has its pixels (h, w, 3) uint8, its values as typed, and each projector's landing.
    """

    dots_per_inch = "figure"

    title: str
    rows: Axis
    columns: Axis
    cells: tuple[Cell, ...]

    def _line(self) -> str:
        height, width = self.cells[0].pixels.shape[:2]
        count = f"{len(self.rows.values)} × {len(self.columns.values)}"
        return f"{self.title}, {count} pictures of {width} × {height} pixels"


def sheet(
    scene,
    rows: Values | None = None,
    columns: Values | None = None,
    overrides: Overrides = None,
    *,
    width: int = 480,
    height: int = 360,
    quality: str = "quick",
    threads: int | None = None,
    progress: Progress | None = None,
) -> Sheet:
    """A scene with one or two of its values changed, every combination a picture, all under the same exposure.

    scene: a Scene, a Stage, a file's path or a shipped name; overrides: as `load` takes them, for every picture. rows,
    columns: a key and its values. A sheet is its own figure. SceneError for a key or a value that the scene does not
    take, before any picture is made.

    >>> found = sheet("01-square-wall", columns={"projector.window.focus.offset_mm": "-1:1:3"}, width=64, height=48)
    >>> found
    <Sheet: A window square on a wall, 1 × 3 pictures of 64 × 48 pixels>
    >>> [cell.column_value for cell in found.cells]
    ['-1', '0', '1']
    """
    scene = scene_from(scene.scene if isinstance(scene, Stage) else scene, overrides)
    axes = _axis(rows), _axis(columns)
    cells = comparison(scene, *axes, width=width, height=height, quality=quality, threads=threads, progress=progress)
    return Sheet(scene.title or scene.name, *axes, tuple(cells))


def _axis(given: Values | None) -> Axis:
    if not given:
        return UNCHANGED
    if not isinstance(given, Mapping) or len(given) != 1:
        allowed = "one key and its values: {'projector.window.stencil.file': ['blinds', 'leaves']}"
        raise SceneError(Fault(f"{given!r} is not a row or column of a sheet", allowed))
    ((key, values),) = given.items()
    if isinstance(values, str):
        values = values_of_range(values) or [part.strip() for part in values.split(",")]
        return Axis(key, tuple(values))
    return Axis(key, tuple(typed_overrides({key: value})[0].partition("=")[2] for value in values))
