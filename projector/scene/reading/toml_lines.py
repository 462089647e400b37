"""Which line of a TOML file a value stands on: values come from tomllib, which forgets where it read them.

tomlkit keeps the text of every value but no line numbers, so the file, known to be valid by then, is walked once more.
"""

from __future__ import annotations

import contextlib
import re
import tomllib
from bisect import bisect_left

_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_KEY_PART = re.compile(r"""[A-Za-z0-9_-]+|"(?:\\.|[^"\\\n])*"|'[^'\n]*'""")
_DOT = re.compile(r"[ \t]*\.[ \t]*")
_SCALAR = re.compile(
    r'''"""(?:\\.|[^\\])*?"{3,5}'''  # text over several lines may end in two quotes of its own
    r"""|'''.*?'{3,5}"""
    r'''|"(?:\\.|[^"\\\n])*"'''
    r"""|'[^'\n]*'"""
    r"""|[^,\]}#\n]+""",
    re.DOTALL,
)


def _end_of(pattern: re.Pattern[str], text: str, at: int) -> int:
    """Where what stands at a place of a valid text ends."""
    found = pattern.match(text, at)
    if found is None:
        raise ValueError(f"no valid TOML at character {at}")
    return found.end()


class TomlLines:
    """Line numbers (from 1) of every table, key and list item of one valid TOML text."""

    def __init__(self, text: str):
        self._text = text
        self._breaks = [found.start() for found in re.finditer("\n", text)]
        self._lines: dict[tuple, int] = {}
        # Nested deeper than Python can follow: what has been seen so far still finds its lines.
        with contextlib.suppress(RecursionError):
            self._walk()

    def line_of(self, path: tuple) -> int | None:
        """The line of a value by its path ("projector", 0, "lens", "f_number"),
        or of the nearest thing that holds it.
        """
        for length in range(len(path), 0, -1):
            line = self.exact_line_of(path[:length])
            if line is not None:
                return line
        return None

    def exact_line_of(self, path: tuple) -> int | None:
        """The line of a value that is written in the file, else None."""
        return self._lines.get(tuple(path))

    def _note(self, path: tuple, at: int) -> None:
        self._lines.setdefault(path, bisect_left(self._breaks, at) + 1)

    def _walk(self) -> None:
        text = self._text
        table: tuple = ()
        counts: dict[tuple, int] = {}
        at = _end_of(_BLANK, text, 0)
        while at < len(text):
            if text[at] == "[":
                of_many = text.startswith("[[", at)
                parts, end = self._key(_end_of(_BLANK, text, at + 1 + of_many))
                table = self._table(parts, of_many, counts)
                for length in range(1, len(table) + 1):
                    self._note(table[:length], at)
                at = _end_of(_BLANK, text, text.index("]", end) + 1 + of_many)
            else:
                at = _end_of(_BLANK, text, self._pair(table, at))

    @staticmethod
    def _table(parts: tuple, of_many: bool, counts: dict) -> tuple:
        """The path of a table's header: names inside [[…]] mean the last item so far."""
        path: tuple = ()
        for index, part in enumerate(parts):
            path = (*path, part)
            if of_many and index == len(parts) - 1:
                counts[path] = counts.get(path, -1) + 1
            if path in counts:
                path = (*path, counts[path])
        return path

    def _key(self, at: int) -> tuple[tuple, int]:
        """A dotted key that begins at `at`: its parts and where it ends."""
        parts = []
        while True:
            end = _end_of(_KEY_PART, self._text, at)
            word = self._text[at:end]
            parts.append(tomllib.loads(f"word = {word}")["word"] if word[0] in "\"'" else word)
            dot = _DOT.match(self._text, end)
            if dot is None:
                return tuple(parts), end
            at = dot.end()

    def _pair(self, table: tuple, at: int) -> int:
        """Note `key = value` and all that is inside the value; returns where it ends."""
        parts, end = self._key(at)
        for length in range(1, len(parts) + 1):
            self._note(table + parts[:length], at)
        return self._value(table + parts, _end_of(_BLANK, self._text, self._text.index("=", end) + 1))

    def _value(self, path: tuple, at: int) -> int:
        text = self._text
        if text[at] not in "[{":
            return _end_of(_SCALAR, text, at)
        close, inline, index = ("]", False, 0) if text[at] == "[" else ("}", True, 0)
        at = _end_of(_BLANK, text, at + 1)
        while text[at] != close:
            if inline:
                at = self._pair(path, at)
            else:
                self._note((*path, index), at)
                at = self._value((*path, index), at)
                index += 1
            at = _end_of(_BLANK, text, at)
            if text[at] == ",":
                at = _end_of(_BLANK, text, at + 1)
        return at + 1
