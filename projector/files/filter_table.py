"""A measured filter as a file: two columns, wavelength_nm and transmittance, parted by commas, semicolons or tabs."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from projector.faults import Fault, SceneError
from projector.files.finding import text_of
from projector.files.typed_numbers import typed_number
from projector.phrases import did_you_mean, nearest

COLUMNS = ("wavelength_nm", "transmittance")
# A table has to say what a filter does all over this band, nm, at steps of no more than so many.
FROM_NM, TO_NM, WIDEST_STEP_NM = 400.0, 700.0, 20.0
_EXAMPLE = "400,0.42"
# A row that is this many times as far from the one before as rows usually are is where some are missing.
_GAP = 2.5


@dataclass(frozen=True)
class FilterTable:
    """Transmittances, 0 to 1, at rising wavelengths, nm."""

    wavelength_nm: tuple[float, ...]
    transmittance: tuple[float, ...]


@dataclass(frozen=True)
class _Row:
    line: int
    nm: float
    passed: float


def read_filter_table(path) -> FilterTable:
    """A filter's file. SceneError with all that is wrong with it, each with its line."""
    path = Path(path)
    lines = [
        (number, content.partition("#")[0].strip())
        for number, content in enumerate(text_of(path, "a filter's table").splitlines(), 1)
    ]
    lines = [(number, content) for number, content in lines if content]
    reader = _TableReader(str(path))
    rows = reader.rows(lines)
    if not reader.faults:
        reader.look_at(rows)
    if reader.faults:
        raise SceneError(reader.faults)
    return FilterTable(tuple(row.nm for row in rows), tuple(row.passed for row in rows))


class _TableReader:
    """Gathers the faults of one file."""

    def __init__(self, file: str):
        self.file = file
        self.faults: list[Fault] = []

    def fault(self, line: int | None, found: str, allowed: str, try_: str = "") -> None:
        self.faults.append(Fault(found, allowed, try_, self.file, line))

    def rows(self, lines: list[tuple[int, str]]) -> list[_Row]:
        """The rows below the line that names the columns."""
        if not lines:
            self.fault(1, "nothing but remarks", "a line that names the columns, then two numbers a line", _EXAMPLE)
            return []
        (number, head), *rest = lines
        if not self._is_head(number, head):
            return []
        found = [row for row in (self._row(number, content) for number, content in rest) if row is not None]
        if not rest:
            self.fault(number, "no rows", "a wavelength and a transmittance a line", _EXAMPLE)
        return found

    def _is_head(self, number: int, head: str) -> bool:
        names = [part.strip().strip("\"'") for part in _parts(head)]
        wanted = ",".join(COLUMNS)
        if tuple(names) == COLUMNS:
            return True
        if all(_is_number(name) for name in names):
            self.fault(number, "numbers where the columns are named", wanted, f"put {wanted} on a line above them")
        elif tuple(names) == COLUMNS[::-1]:
            self.fault(number, "the columns the other way round", wanted, "put wavelengths first")
        else:
            unknown = [name for name in names if name not in COLUMNS]
            try_ = (
                did_you_mean(nearest(unknown[0].lower(), COLUMNS), otherwise=f"begin with {wanted}") if unknown else ""
            )
            self.fault(number, f"columns {', '.join(names)}", wanted, try_)
        return False

    def _row(self, number: int, content: str) -> _Row | None:
        parts = [part.strip() for part in _parts(content)]
        if len(parts) != 2:
            comma = len(parts) in (3, 4) and "," in content and ";" not in content
            try_ = "write numbers with a point, 0.45, or part the two with a semicolon" if comma else _EXAMPLE
            self.fault(number, f"{len(parts)} values: {content[:40]}", "two: wavelength and transmittance", try_)
            return None
        values = []
        for name, part in zip(COLUMNS, parts, strict=True):
            value = _number(part)
            if value is None:
                try_ = f"write {part.rstrip('%').strip()} divided by 100" if part.endswith("%") else _EXAMPLE
                self.fault(number, f'{name} is "{part[:30]}"', "a number", try_)
            else:
                values.append(value)
        return _Row(number, *values) if len(values) == 2 else None

    def look_at(self, rows: list[_Row]) -> None:
        """What the rows say together."""
        self._look_at_shares(rows)
        steps = [after.nm - before.nm for before, after in pairwise(rows)]
        if len(rows) > 1 and all(step < 0.0 for step in steps):
            self.fault(rows[0].line, "wavelengths that fall", "rising wavelengths", "turn the rows round")
            return
        if max(row.nm for row in rows) < 3.0:
            self.fault(
                rows[0].line,
                f"wavelengths from {rows[0].nm:g} to {rows[-1].nm:g}",
                "nanometres",
                f"multiply micrometres by 1000: {rows[0].nm:g} µm is {1000.0 * rows[0].nm:g}",
            )
            return
        for before, after in pairwise(rows):
            if after.nm == before.nm:
                self.fault(after.line, f"{after.nm:g} nm for the second time", "each wavelength once", "keep one row")
            elif after.nm < before.nm:
                self.fault(after.line, f"{after.nm:g} nm after {before.nm:g} nm", "rising wavelengths", "sort the rows")
        if not any(step <= 0.0 for step in steps):
            self._look_at_steps(rows, steps)

    def _look_at_shares(self, rows: list[_Row]) -> None:
        above = [row for row in rows if row.passed > 1.0]
        # Shares that overshoot do so by little; per cent of a filter that passes anything do not.
        if above and 1.5 < max(row.passed for row in rows) <= 100.0:
            example = above[0]
            self.fault(
                example.line,
                f"{example.passed:g} at {example.nm:g} nm: these are per cent",
                "shares, from 0 to 1",
                f"divide them all by 100: {example.passed:g} % is {example.passed / 100.0:g}",
            )
            above = []
        for row in (*above, *(row for row in rows if row.passed < 0.0)):
            what = "more light than falls in" if row.passed > 1.0 else "less than nothing"
            self.fault(row.line, f"{row.passed:g} at {row.nm:g} nm: {what}", "from 0 to 1", "look at this row")

    def _look_at_steps(self, rows: list[_Row], steps: list[float]) -> None:
        usual = sorted(steps)[len(steps) // 2] if steps else math.inf
        wanted = f"steps of at most {WIDEST_STEP_NM:g} nm from {FROM_NM:g} to {TO_NM:g}"
        if rows[0].nm > FROM_NM:
            self.fault(rows[0].line, f"begins at {rows[0].nm:g} nm", wanted, f"add rows from {FROM_NM:g} nm on")
        if rows[-1].nm < TO_NM:
            self.fault(rows[-1].line, f"ends at {rows[-1].nm:g} nm", wanted, f"add rows up to {TO_NM:g} nm")
        if usual > WIDEST_STEP_NM:
            found = f"too coarse: {len(rows)} row{'s' if len(rows) > 1 else ''}" + (
                f", {usual:g} nm apart" if steps else ""
            )
            self.fault(rows[0].line, found, wanted, "measure or read off more of them: every 10 nm is plenty")
            return
        for before, after in pairwise(rows):
            step = after.nm - before.nm
            seen = after.nm > FROM_NM and before.nm < TO_NM
            if step > WIDEST_STEP_NM and seen:
                what = "a gap" if step > _GAP * usual else "a wide step"
                self.fault(after.line, f"{what} from {before.nm:g} to {after.nm:g} nm", wanted, "add what is missing")


def _parts(content: str) -> list[str]:
    """A row cut at what parts its columns."""
    if ";" in content:
        # There a comma is a decimal point.
        return content.replace(",", ".").split(";")
    return content.split("\t") if "\t" in content else content.split(",")


def _number(text: str) -> float | None:
    try:
        value = typed_number(text)
    except ValueError:
        return None
    return value if math.isfinite(value) and re.search(r"\d", text) else None


def _is_number(text: str) -> bool:
    return _number(text) is not None
