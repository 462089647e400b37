"""Numbers as people type them: 0.5, 1/200, and several at once as a range, -1:1:5."""

from __future__ import annotations

import math
import re

from projector.phrases import A_RANGE

_NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_FRACTION = re.compile(rf"\s*({_NUMBER})\s*/\s*({_NUMBER})\s*")
# A fraction that stands alone between commas or brackets, not one inside a word or a path.
_FRACTION_IN_LIST = re.compile(rf"(?<=[\[,=\s])({_NUMBER})\s*/\s*({_NUMBER})(?=[\]}},\s])")
MOST_IN_A_RANGE = 1000


def typed_number(text: str) -> float:
    """The number that a text says: "0.5", "1e3" or a fraction, "1/200". ValueError if it says none."""
    fraction = _FRACTION.fullmatch(text)
    if fraction:
        over = float(fraction[2])
        if over == 0.0:
            raise ValueError(f"{text}: nothing divides by zero")
        return float(fraction[1]) / over
    # Python would also take digits with a line under them, and digits of other scripts.
    if not text.isascii() or "_" in text:
        raise ValueError(f"{text} is not a number")
    return float(text)


def with_decimals_for_fractions(text: str) -> str:
    """A list as it was typed, each fraction in it written out: "[1/2, 0, 1]" becomes "[0.5, 0, 1]"."""

    def decimal(found: re.Match) -> str:
        return as_typed(float(found[1]) / float(found[2])) if float(found[2]) else found[0]

    return _FRACTION_IN_LIST.sub(decimal, text)


def as_typed(value: float) -> str:
    """A number as a person would type it: whole without a point, and no longer than twelve figures."""
    return f"{value + 0.0:.12g}"


def range_of(text: str) -> tuple[float, float, int] | None:
    """First, last and count of "first:last:count", evenly spaced; None for another text.

    ValueError for a range that is none.
    """
    parts = text.split(":")
    if len(parts) != 3:
        return None
    try:
        first, last = typed_number(parts[0]), typed_number(parts[1])
    except ValueError:
        return None
    if (
        not re.fullmatch(r"\s*\d{1,9}\s*", parts[2])
        or not 2 <= int(parts[2]) <= MOST_IN_A_RANGE
        or not (math.isfinite(first) and math.isfinite(last))
    ):
        raise ValueError(f"{text}: a range is {A_RANGE}, with 2 to {MOST_IN_A_RANGE} values")
    return first, last, int(parts[2])


def values_of_range(text: str) -> list[str] | None:
    """The values of "first:last:count" as they would be typed one by one ("-1:1:5": -1, -0.5, 0, 0.5, 1); None for
    another text.

    To eight figures, which is more than any lens is set to.
    """
    found = range_of(text)
    if found is None:
        return None
    first, last, count = found
    return [f"{first + (last - first) * index / (count - 1) + 0.0:.8g}" for index in range(count)]
