"""What a person types, read: numbers, sizes, rooms, qualities, points, ranges and axes of a sheet.

Each function takes the text and the name of what it is for, and raises `Mistyped`, with what was found and what would
do under that name, if it cannot be read.
"""

from __future__ import annotations

import math
import re

from projector.faults import Fault, SceneError
from projector.files.typed_numbers import typed_number, values_of_range
from projector.phrases import A_RANGE, as_written, either, unit_of, within
from projector.scene.reading.field_hints import number_hint

QUALITIES = ("quick", "fine")
_SMALLEST_PIXELS, _LARGEST_PIXELS = 16, 16384
# A value that makes sense, by the ending of the name that it is for: what an error suggests.
_EXAMPLES = {
    "focal_length_mm": "85",
    "throw_m": "2.5",
    "max_deg": "60",
    "edge_mm": "5",
    "within_mm": "5",
    "travel_mm": "4",
    "stencil_off_mm": "1",
    "to_m": "8",
    "deg": "36",
    "f_number": "4",
    "iso": "400",
    "sync_s": "1/200",
    "m_per_s": "1",
    "s": "0.008",
    "mm": "28",
    "m": "1.2",
    "hz": "100",
    "stops": "2",
    "share": "0.3",
    "reflectance": "0.04",
    "arcmin": "1",
    "pixels": "1",
}


class Mistyped(SceneError):
    """A text that does not say what it is meant to: nothing has been looked at yet."""


def example_of(name: str) -> str:
    """A value that something of this name could have: "2.5" for throw_m."""
    plain = _plain(name)
    return next((value for end, value in _EXAMPLES.items() if plain == end or plain.endswith(f"_{end}")), "1")


def number_from(name: str, typed, lowest: float | None = None, highest: float | None = None) -> float:
    """The number that was typed for a name whose ending says the unit; both limits or none. Mistyped if it is none."""
    if isinstance(typed, (int, float)):
        return float(typed)
    is_duration = _plain(name).endswith("_s") and not _plain(name).endswith("_per_s")
    unit, example = unit_of(name), example_of(name)
    allowed = f"a number{f' in {unit}' if unit else ''}, such as {example}" + (" or 1/125" if is_duration else "")
    try:
        number = typed_number(typed.strip().removesuffix("s") if is_duration else typed)
    except ValueError:
        hint = number_hint(name, typed, otherwise="")
        raise Mistyped(Fault(f'"{typed}" is not a number', allowed, hint, key=name, example=example)) from None
    if lowest is not None and highest is not None and not lowest <= number <= highest:
        raise Mistyped(Fault(typed, within(lowest, highest), key=name, example=example))
    return number


def numbers_from_range(name: str, typed: str) -> list[str] | None:
    """The numbers of a range as they would be typed one by one; None for another text. Mistyped for a bad range."""
    try:
        return values_of_range(typed)
    except ValueError as error:
        raise Mistyped(Fault(str(error), key=name, example=f"1:{example_of(name)}:3")) from None


def whole_number_from(name: str, typed, lowest: int, highest: int) -> int:
    """The whole number that was typed. Mistyped if it is none, or beyond a limit."""
    text = str(typed).strip()
    if not re.fullmatch(r"[-+]?\d{1,18}", text, re.ASCII) or not lowest <= int(text) <= highest:
        allowed = f"a whole number {within(lowest, highest)}"
        raise Mistyped(Fault(text or "nothing", allowed, key=name, example=str(max(lowest, 1))))
    return int(text)


def numbers_from(name: str, text: str, count: int | None = None) -> tuple[float, ...]:
    """Numbers parted by commas, ranges among them. Mistyped if they are none, or not so many."""
    try:
        found = tuple(typed_number(value) for part in text.split(",") for value in values_of_range(part) or [part])
    except ValueError:
        found = ()
    if not found or (count is not None and len(found) != count) or not all(map(math.isfinite, found)):
        wanted = "numbers" if count is None else f"{count} numbers"
        raise Mistyped(
            Fault(f'"{text}" is not {wanted}', f"{wanted} parted by commas, or a range, {A_RANGE}", key=name)
        )
    return found


def size_from(text: str, name: str = "size") -> tuple[int, int]:
    """Width and height in pixels from "960x720". Mistyped for anything else."""
    found = re.fullmatch(r"\s*(\d+)\s*[x×*]\s*(\d+)\s*", text)
    if not found:
        raise Mistyped(Fault(f'"{text}" is not a size', "width x height in pixels", key=name, example="960x720"))
    width, height = int(found[1]), int(found[2])
    if not all(_SMALLEST_PIXELS <= side <= _LARGEST_PIXELS for side in (width, height)):
        allowed = f"{within(_SMALLEST_PIXELS, _LARGEST_PIXELS)} on each side"
        raise Mistyped(Fault(f"{width} × {height} pixels", allowed, key=name, example="960x720"))
    return width, height


def quality_from(text: str, name: str = "quality") -> str:
    """The name of a quality. Mistyped for another word."""
    if text not in QUALITIES:
        allowed = either(QUALITIES)
        raise Mistyped(Fault(f'"{text}" is not a quality', allowed, key=name, example=QUALITIES[0]))
    return text


def room_from(text: str, name: str = "room") -> tuple[float, float, float]:
    """Width, depth and height in metres from "4x5x2.7". Mistyped for anything else."""
    try:
        width, depth, height = (typed_number(part) for part in text.replace("×", "x").split("x"))
    except ValueError:
        allowed = "width x depth x height in metres"
        raise Mistyped(Fault(f'"{text}" is not a room', allowed, key=name, example="4x5x2.7")) from None
    return width, depth, height


def word_from(text: str, words: tuple[str, ...], name: str, kind: str) -> str:
    """One of several words, such as a kind of lamp. Mistyped for another."""
    if text not in words:
        raise Mistyped(Fault(f"{as_written(text)} is not {kind}", ", ".join(words), key=name, example=words[0]))
    return text


def point_from(text: str, name: str = "at"):
    """A landmark's name, or a point (x, y, z) in metres from "x,y,z".

    SceneError for what was meant as a point and is none.
    """
    parts = text.strip("[]() ").split(",")
    try:
        point = tuple(typed_number(part) for part in parts)
    except ValueError:
        point = ()
    if len(point) == 3 and all(map(math.isfinite, point)):
        return point
    if point or len(parts) > 1:
        raise SceneError(
            Fault(
                f'"{text}" is not a point',
                "x,y,z in metres, three numbers; or a landmark, such as sitter.left_eye",
                key=name,
                example="0.1,1.5,-0.9",
            )
        )
    return text


def axis_from(text: str) -> tuple[str, tuple[str, ...]]:
    """The key and the values of an axis of a sheet, "key=value,value,…"; first:last:count stands for evenly spaced
    values, and a value with commas of its own in [ ]. SceneError if it is none.
    """
    key, equals, rest = text.partition("=")
    values = parted(rest)
    if not equals or not key.strip() or not all(values):
        raise SceneError(
            Fault(f'"{text}" is not an axis', "KEY=VALUE,VALUE,…", "projector.window.focus.offset_mm=-1,0,1", key=text)
        )
    try:
        return key.strip(), tuple(one for value in values for one in values_of_range(value) or [value])
    except ValueError as error:
        raise SceneError(
            Fault(
                str(error),
                f"KEY={A_RANGE.upper()}",
                "projector.window.focus.offset_mm=-1:1:5",
                key=key.strip(),
            )
        ) from None


def parted(text: str) -> list[str]:
    """A text cut at its commas, but for those inside brackets: "[1,2],3" holds two."""
    values, depth, current = [], 0, ""
    for letter in text:
        depth += (letter in "[{") - (letter in "]}")
        if letter == "," and depth == 0:
            values.append(current.strip())
            current = ""
        else:
            current += letter
    return [*values, current.strip()]


def _plain(name: str) -> str:
    """A name without what a command line adds to it: --throw-m is throw_m."""
    return name.strip("-").replace("-", "_")
