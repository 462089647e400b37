"""Which line of a TOML file a value stands on: values come from tomllib, which forgets where it read them."""

from __future__ import annotations

import re

_HEADER = re.compile(r"^\s*(\[\[?)\s*([^\]]+?)\s*\]\]?\s*(#.*)?$")
_KEY = re.compile(r"""^\s*((?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')(?:\s*\.\s*(?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*'))*)\s*=""")


class TomlLines:
    """Line numbers (from 1) of the tables and keys of one file."""

    def __init__(self, text: str):
        self._lines = text.splitlines()
        self._places: dict[tuple, int] = {}
        table: tuple = ()
        counts: dict[tuple, int] = {}
        for number, line in enumerate(self._lines, 1):
            header = _HEADER.match(line)
            if header:
                name = tuple(part.strip().strip("\"'") for part in header[2].split("."))
                table = self._with_counts(name[:-1], counts) + name[-1:]
                if header[1] == "[[":
                    index = counts.get(table, -1) + 1
                    counts[table] = index
                    table = (*table, index)
                self._places.setdefault(table, number)
                continue
            key = _KEY.match(line)
            if key:
                parts = tuple(part.strip().strip("\"'") for part in key[1].split("."))
                self._places.setdefault(table + parts, number)

    @staticmethod
    def _with_counts(name: tuple, counts: dict) -> tuple:
        path: tuple = ()
        for part in name:
            path = (*path, part)
            if path in counts:
                path = (*path, counts[path])
        return path

    def line_of(self, path: tuple) -> int | None:
        """The line of a value by its path ("projector", 0, "lens", "f_number"), or of what holds it."""
        for length in range(len(path), 0, -1):
            line = self._places.get(tuple(path[:length]))
            if line is not None:
                return self._within(line, path[length:])
        return None

    def _within(self, line: int, rest: tuple) -> int:
        """The line inside a value written over several lines where the rest of the path is named."""
        for name in (part for part in rest if isinstance(part, str)):
            pattern = re.compile(rf"[{{,\s]{re.escape(name)}\s*=")
            for number in range(line, min(line + 40, len(self._lines) + 1)):
                text = self._lines[number - 1]
                if number > line and (_HEADER.match(text)):
                    break
                if pattern.search(text):
                    line = number
                    break
        return line
