"""Phrases that everything which speaks shares, each written once: numbers with their units, lists of names, what is
allowed, what was probably meant.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence

# What a unit at the end of a key or an option is called.
UNITS = {
    "mm": "millimetres",
    "m": "metres",
    "cm": "centimetres",
    "deg": "degrees",
    "s": "seconds",
    "hz": "swings a second",
    "arcmin": "arc-minutes",
    "pixels": "camera pixels",
    "stops": "stops",
    "nm": "nanometres",
    "k": "kelvin",
    "m_per_s": "metres a second",
}
A_RANGE = "first:last:count"
ONE_OF_THESE = "one of these"
NOT_ENOUGH = "not enough to answer from"
_LONGEST_TEXT = 80
_MOST_DIGITS = 15


def unit_of(key: str) -> str:
    """The unit that a key such as "throw_m" says, in words; "" where it says none."""
    plain = key.strip("-").replace("-", "_")
    return next((words for unit, words in UNITS.items() if plain == unit or plain.endswith(f"_{unit}")), "")


def above_zero(key: str = "") -> str:
    """What is allowed of a number that cannot be nothing or less, in the unit of its key."""
    return f"a number above zero{_in_unit(key)}"


def within(lowest: float | None, highest: float | None, key: str = "") -> str:
    """What is allowed of a number with limits, both included; None where there is none on that side."""
    if lowest is None or highest is None:
        limits = [f"at least {lowest:.10g}"] if lowest is not None else []
        return "".join(limits or ([f"at most {highest:.10g}"] if highest is not None else [])) + _in_unit(key)
    return f"from {lowest:.10g} to {highest:.10g}{_in_unit(key)}"


def _in_unit(key: str) -> str:
    unit = unit_of(key)
    return f", in {unit}" if unit else ""


def nearest(value: str, known: Iterable[str], likeness: float = 0.6) -> str:
    """The known name that was most likely meant; "" if none is near. likeness: 0 to 1, of difflib's ratio."""
    return next(iter(difflib.get_close_matches(value, list(known), 1, likeness)), "")


def did_you_mean(*names: str, otherwise: str = "") -> str:
    """What to try where a name is not known, by what is near it; `otherwise` where nothing is."""
    near = [name for name in names if name]
    return f"did you mean {listed(near, 'or')}?" if near else otherwise


def listed(names: Sequence[str], last: str = "and") -> str:
    """Names as a sentence has them: "a", "a and b", "a, b and c"."""
    *others, end = names or ("",)
    return f"{', '.join(others)} {last} {end}" if others else end


def either(words: Iterable[str]) -> str:
    """Words of which one is to be written, in quotes: "quick" or "fine"."""
    return listed([f'"{word}"' for word in words], "or")


def counted(number: int, name: str, several: str = "") -> str:
    """A number of things: "1 surface", "no projectors", "2 boxes"."""
    return f"{number or 'no'} {name if number == 1 else several or f'{name}s'}"


def percent(share: float) -> str:
    """A share (1 is all) in per cent, with two figures where it is less than a tenth."""
    if share >= 0.0995 or share < 5e-6:
        return f"{100.0 * share:.0f} %"
    return f"{100.0 * share:.2g} %"


def signed(value: float, decimals: int = 1) -> str:
    """A number with its sign, a minus and no hyphen: "+0.3", "−67"; nothing has none."""
    text = f"{value:+.{decimals}f}".replace("-", "−")
    return text[1:] if float(f"{value:.{decimals}f}") == 0.0 else text


def metres(value: float, decimals: int = 3) -> str:
    """A length in metres with its unit."""
    return f"{value:.{decimals}f} m"


def millimetres(value: float, decimals: int = 2) -> str:
    """A length in millimetres with its unit."""
    return f"{value:.{decimals}f} mm"


def as_written(value) -> str:
    """A value as the person who gave it would write it, cut short."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, int) and abs(value) >= 10**_MOST_DIGITS:
        return f"a number of {len(str(abs(value)))} digits"
    if isinstance(value, float):
        return f"{value:.10g}"
    return shortened(f'"{value}"' if isinstance(value, str) else str(value))


def shortened(text: str) -> str:
    """A text of no more letters than a line of a message takes."""
    return text if len(text) <= _LONGEST_TEXT else text[: _LONGEST_TEXT - 3] + "…"
