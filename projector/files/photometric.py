"""Photometric files (ANSI/IES LM-63, editions 1986 to 2019): how much light a lamp sends in each direction.

Format as described by I. Ashdown, "Parsing the IESNA LM-63 photometric data file" (1998); what the editions of 2002 and
2019 changed in it is from memory.
"""

from __future__ import annotations

import math
import re
from pathlib import Path

import numpy as np

from projector.faults import Fault, SceneError
from projector.files.candela_table import Photometry

_FOOT_M = 0.3048
_LARGEST_FILE = 5_000_000
_MOST_ANGLES = 2000
_EDITIONS = {
    "IESNA86": 1986,
    "IESNA91": 1991,
    "IESNA:LM-63-1995": 1995,
    "IESNA:LM-63-2002": 2002,
    "IES:LM-63-2019": 2019,
}
_TYPES = {1: "C", 2: "B", 3: "A"}
# The numbers between the TILT line and the angles, in their order.
_HEADER = (
    "number of lamps",
    "lumens per lamp",
    "candela multiplier",
    "number of vertical angles",
    "number of horizontal angles",
    "photometric type",
    "units type",
    "width",
    "length",
    "height",
    "ballast factor",
    "reserved factor",
    "input watts",
)


def read_photometric_file(path) -> Photometry:
    """Read an LM-63 file whole. SceneError with all that is wrong with it, each with its line."""
    path = Path(path)
    text = _text_of(path)
    reader = _Reader(path, text.replace("\r\n", "\n").replace("\r", "\n").split("\n"))
    return reader.photometry()


def _text_of(path: Path) -> str:
    try:
        size = path.stat().st_size
        if size == 0:
            raise SceneError(
                Fault(
                    "the file is empty",
                    "an LM-63 photometric file (.ies)",
                    "fetch it again from where it came",
                    file=path.name,
                )
            )
        if size > _LARGEST_FILE:
            raise SceneError(
                Fault(
                    f"{size / 1e6:.0f} MB of photometric data", f"at most {_LARGEST_FILE / 1e6:.0f} MB", file=path.name
                )
            )
        raw = path.read_bytes()
    except OSError as error:
        raise SceneError(Fault(f"cannot be read: {error.strerror or error}", file=path.name)) from error
    if b"\0" in raw:
        raise SceneError(
            Fault(
                "this is not a text file",
                "an LM-63 photometric file (.ies) is plain text",
                "export it as LM-63",
                file=path.name,
            )
        )
    return raw.decode("utf-8-sig", errors="replace") if raw.startswith(b"\xef\xbb\xbf") else raw.decode("latin-1")


class _Reader:
    """Walks through one file's lines, gathering its faults."""

    def __init__(self, path: Path, lines: list[str]):
        self.name = path.name
        self.folder = path.parent
        self.lines = lines
        self.notes: list[str] = []

    def fail(self, found: str, allowed: str = "", try_: str = "", line: int | None = None):
        raise SceneError(Fault(found, allowed, try_, file=self.name, line=line), notes=self.notes)

    def photometry(self) -> Photometry:
        edition, row = self._edition()
        keywords, row = self._labels(row, edition)
        tilt, row = self._tilt(row)
        numbers = self._numbers(row)
        if tilt == "INCLUDE":
            numbers = self._without_tilt(numbers)
        return self._body(edition, keywords, numbers)

    def _edition(self) -> tuple[int, int]:
        for row, line in enumerate(self.lines):
            word = line.strip()
            if not word:
                continue
            for name, year in _EDITIONS.items():
                if word.upper().startswith(name):
                    return year, row + 1
            if word.upper().startswith(("IESNA", "IES:")):
                self.notes.append(
                    f'{self.name} names an edition that is not known ("{word[:40]}"); it is read as the newest one'
                )
                return 2019, row + 1
            return 1986, row
        self.fail("nothing but blank lines", "an LM-63 photometric file (.ies)")

    def _labels(self, row: int, edition: int) -> tuple[dict[str, str], int]:
        keywords: dict[str, str] = {}
        last = None
        for at in range(row, len(self.lines)):
            line = self.lines[at].strip()
            if line.upper().startswith("TILT"):
                return keywords, at
            found = re.match(r"\[([^\]]+)\]\s*(.*)", line)
            if found and found[1].upper() == "MORE" and last is not None:
                keywords[last] += "\n" + found[2].strip()
            elif found:
                last = found[1].upper()
                keywords[last] = found[2].strip()
            elif line and edition == 1986:
                keywords["LABEL"] = (keywords.get("LABEL", "") + "\n" + line).strip()
        self.fail(
            "there is no TILT line",
            "a line TILT=NONE, TILT=INCLUDE or TILT=name of a file, before the numbers",
            "is this an LM-63 file, and is it whole?",
        )

    def _tilt(self, row: int) -> tuple[str, int]:
        word = self.lines[row].strip()
        value = word.partition("=")[2].strip()
        if not value:
            self.fail(f'"{word[:60]}" says nothing', "TILT=NONE, TILT=INCLUDE or TILT=name of a file", line=row + 1)
        if value.upper() in ("NONE", "INCLUDE"):
            if value.upper() == "INCLUDE":
                self.notes.append(
                    f"{self.name} states how the lamp dims when it is tilted; it is taken as measured, not tilted"
                )
            return value.upper(), row + 1
        self.notes.append(f'{self.name} names a tilt file ("{value[:60]}"); the lamp is taken as measured, not tilted')
        return "FILE", row + 1

    def _numbers(self, row: int) -> list[tuple[float, int]]:
        """All numbers from a line on, each with its line."""
        found: list[tuple[float, int]] = []
        for at in range(row, len(self.lines)):
            for word in re.split(r"[\s,;]+", self.lines[at].strip()):
                if not word:
                    continue
                try:
                    value = float(word)
                except ValueError:
                    self.fail(
                        f'"{word[:40]}" stands where a number belongs', "numbers between blanks or commas", line=at + 1
                    )
                if not math.isfinite(value):
                    self.fail(f'"{word[:40]}" is no finite number', "finite numbers", line=at + 1)
                found.append((value, at + 1))
        return found

    def _without_tilt(self, numbers):
        if len(numbers) < 2:
            self.fail("it ends within the tilt table", "lamp position, number of angles, angles, factors")
        count = self._whole(numbers[1], "number of tilt angles", 1, _MOST_ANGLES)
        if len(numbers) < 2 + 2 * count:
            self.fail(f"it ends within the tilt table of {count} angles", f"{count} angles and {count} factors")
        return numbers[2 + 2 * count :]

    def _whole(self, number, what: str, low: int, high: int) -> int:
        value, line = number
        if value != int(value) or not low <= value <= high:
            self.fail(f"{what} {value:g}", f"a whole number from {low} to {high}", line=line)
        return int(value)

    def _body(self, edition: int, keywords: dict[str, str], numbers) -> Photometry:
        if len(numbers) < len(_HEADER):
            missing = _HEADER[len(numbers)]
            self.fail(f"it ends before its {missing}", ", ".join(_HEADER), "fetch the file again: it seems cut short")
        head = dict(zip(_HEADER, numbers, strict=False))
        n_lamps = self._whole(head["number of lamps"], "number of lamps", 1, 1000)
        n_vertical = self._whole(head["number of vertical angles"], "number of vertical angles", 1, _MOST_ANGLES)
        n_horizontal = self._whole(head["number of horizontal angles"], "number of horizontal angles", 1, _MOST_ANGLES)
        kind = _TYPES[self._whole(head["photometric type"], "photometric type", 1, 3)]
        unit = (_FOOT_M, 1.0)[self._whole(head["units type"], "units type", 1, 2) - 1]
        rest = numbers[len(_HEADER) :]
        wanted = n_vertical + n_horizontal + n_vertical * n_horizontal
        if len(rest) < wanted:
            self.fail(
                f"{n_vertical} × {n_horizontal} angles need {wanted} more numbers, and {len(rest)} stand there",
                "as many candela values as angles say",
                "fetch the file again: it seems cut short",
            )
        if len(rest) > wanted:
            self.notes.append(
                f"{self.name} goes on for {len(rest) - wanted} numbers after the last candela value; they are left out"
            )
        vertical = self._rising(rest[:n_vertical], "vertical")
        horizontal = self._rising(rest[n_vertical : n_vertical + n_horizontal], "horizontal")
        self._check_ranges(kind, vertical, horizontal, rest)
        values = rest[n_vertical + n_horizontal : wanted]
        factor = self._factor(edition, head)
        candela = np.array([value for value, _ in values]).reshape(n_horizontal, n_vertical) * factor
        negative = [line for value, line in values if value * factor < 0.0]
        if negative:
            self.fail(f"{len(negative)} candela values are negative", "0 or more", line=negative[0])
        if not candela.any():
            self.fail("every candela value is 0", "some light", line=values[0][1])
        lumens = head["lumens per lamp"][0]
        opening = tuple(float(head[name][0]) * unit for name in ("width", "length", "height"))
        watts = head["input watts"]
        if watts[0] < 0.0:
            self.fail(f"input watts {watts[0]:g}", "0 or more", line=watts[1])
        stated = None if lumens < 0.0 else lumens * n_lamps
        return Photometry(
            edition, keywords, kind, vertical, horizontal, candela, stated, watts[0], opening, tuple(self.notes)
        )

    def _factor(self, edition: int, head) -> float:
        """All factors together; the edition of 2019 keeps the reserved place for a code of how the file was made."""
        names = ["candela multiplier", "ballast factor"] + (["reserved factor"] if edition < 2019 else [])
        for name in names:
            value, line = head[name]
            if not value > 0.0:
                self.fail(f"{name} {value:g}", "more than 0", line=line)
        return math.prod(head[name][0] for name in names)

    def _rising(self, numbers, what: str) -> np.ndarray:
        values = np.array([value for value, _ in numbers])
        wrong = np.flatnonzero(np.diff(values) <= 0.0)
        if wrong.size:
            at = int(wrong[0])
            self.fail(
                f"{what} angles do not rise: {values[at]:g}° is followed by {values[at + 1]:g}°",
                "each angle larger than the one before",
                line=numbers[at + 1][1],
            )
        return values

    def _check_ranges(self, kind: str, vertical, horizontal, rest) -> None:
        line = rest[0][1]
        if kind == "C":
            if not (vertical[0] in (0.0, 90.0) and vertical[-1] in (90.0, 180.0)) and vertical.size > 1:
                self.fail(
                    f"vertical angles from {vertical[0]:g}° to {vertical[-1]:g}°",
                    "0–90, 90–180 or 0–180° for type C",
                    line=line,
                )
            whole = (horizontal[0], horizontal[-1])
            if whole not in ((0.0, 0.0), (0.0, 90.0), (0.0, 180.0), (0.0, 360.0), (90.0, 270.0)):
                self.fail(
                    f"horizontal angles from {whole[0]:g}° to {whole[1]:g}°",
                    "0, 0–90, 0–180, 0–360 or 90–270° for type C",
                    line=line,
                )
            return
        for name, angles in (("vertical", vertical), ("horizontal", horizontal)):
            if angles[0] not in (0.0, -90.0) or angles[-1] > 90.0:
                self.fail(
                    f"{name} angles from {angles[0]:g}° to {angles[-1]:g}°",
                    f"0–90 or −90–90° for type {kind}",
                    line=line,
                )
