"""How results show themselves: one line in a Python shell, a table or a picture in a notebook, arrays to numpy.

A result is drawn in `reports`, which stands above everything that has results. So whoever puts the package together
says here once who draws (`figures_by`), and no result has to reach up.
"""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import fields, is_dataclass
from html import escape
from typing import ClassVar

_UNITS = {
    "mm": "mm",
    "m": "m",
    "s": "s",
    "deg": "°",
    "k": "K",
    "stops": "stops",
    "minutes": "arc-minutes",
    "percent": "%",
}
_draws: Callable[[object], object] | None = None


def figures_by(draw: Callable[[object], object]) -> None:
    """Say who draws results: called with one, it returns a matplotlib Figure."""
    global _draws
    _draws = draw


class Shown:
    """A frozen dataclass (made with repr=False) that is said in one line, and in a notebook as a table with units.

    `in_one_line`: a template over the fields ("{edge_mm:.2f} mm wide"); a class whose line depends on more than them
    gives it by a method of its own, `_line`.
    """

    in_one_line = ""

    def _line(self) -> str:
        return self.in_one_line.format_map({field.name: getattr(self, field.name) for field in fields(self)})

    def __repr__(self) -> str:
        return f"<{type(self).__name__}: {self._line()}>"

    def _repr_html_(self) -> str:
        """What a notebook shows: every field with its unit."""
        rows = "".join(
            f'<tr><td style="text-align:left">{escape(words)}</td><td style="text-align:left">{escape(value)}</td></tr>'
            for words, value in map(self._row, fields(self))
        )
        line = escape(f"{type(self).__name__}: {self._line()}")
        return f'<table><caption style="text-align:left">{line}</caption><tbody>{rows}</tbody></table>'

    def _row(self, field) -> tuple[str, str]:
        stem, _, unit = field.name.rpartition("_")
        if unit not in _UNITS or not stem:
            stem, unit = field.name, ""
        value = _told(getattr(self, field.name))
        named = unit and value != _NOTHING
        return stem.replace("_", " "), f"{value} {_UNITS[unit]}".replace(" °", "°") if named else value


class Drawn(Shown):
    """A result that can be drawn, which is what a notebook shows of it.

    dots_per_inch: of that; "figure" for pictures, which are shown pixel by pixel.
    """

    dots_per_inch: ClassVar[int | str] = 100

    def figure(self):
        """The result as a matplotlib Figure, to be changed or saved (figure.savefig)."""
        if _draws is None:
            raise RuntimeError("nobody draws results: `import projector` says who does")
        return _draws(self)

    def _repr_png_(self) -> bytes:
        """What a notebook shows."""
        written = io.BytesIO()
        self.figure().savefig(written, format="png", dpi=self.dots_per_inch)
        return written.getvalue()

    # A notebook shows a table rather than a picture where it is offered both.
    _repr_html_ = None


_NOTHING = "none"


def _told(value) -> str:
    """A value in a cell of a table: numbers to four figures, arrays by their shape."""
    if value is None or (isinstance(value, (tuple, list, dict)) and not value):
        return _NOTHING
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.4g}"
    if isinstance(value, dict):
        return ", ".join(f"{key}: {_told(item)}" for key, item in value.items())
    if isinstance(value, (tuple, list)):
        return ", ".join(map(_told, value))
    if hasattr(value, "shape") and value.ndim:
        return f"array {' × '.join(map(str, value.shape))}"
    if isinstance(value, Shown):
        return value._line()
    if is_dataclass(value):
        return ", ".join(f"{field.name}: {_told(getattr(value, field.name))}" for field in fields(value))
    return str(value)
