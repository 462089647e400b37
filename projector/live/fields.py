"""What can be changed of a scene, described from its model alone: a field or a light that the model gets appears on the
page without a line there.

A key is written as an override is typed, "projector.window.lens.f_number".
"""

from __future__ import annotations

import typing
from collections.abc import Iterator
from dataclasses import dataclass, replace

from projector.photometry.metering import THIRD_MARKS
from projector.scene.model import Scene, Statement
from projector.scene.model.kinds import Part
from projector.scene.reading.field_faults import item_name, length_in, limits_of, options_in

# The stations of the light's way, in order, and where what a light consists of belongs; the rest is the lamp's own.
STATIONS = ("lamp", "filter", "gate", "lens", "throw", "surface", "room", "camera")
_STATION_OF = {
    "filter": "filter", "grid": "filter", "gate": "gate", "stencil": "gate", "blade": "gate", "lens": "lens",
    "lamp": "lens", "focus": "lens", "position_m": "throw", "aim": "throw", "roll_deg": "throw",
}  # fmt: skip
_STATEMENTS = ("reading", "output", "power", "against", "energy")
_STATION_OF_OWNER = {"surface": "surface", "figure": "surface", "ambient": "room", "haze": "room", "camera": "camera"}
# A name is how a thing is called by every key of it; a gear's table is a file of its own.
_LEFT_OUT = ("name", "gear", "format", "title")
# With which lens a power was stated belongs to the statement, and comes and goes as the lens of today is turned.
_OF_STATEMENTS = ("lens", "lens_f_number")
# Turned on every shoot, whether a file says them or not.
_ALWAYS_AT_HAND = ("focus.offset_mm", "lens.f_number", "lens.focal_length_mm", "roll_deg")

_UNITS = {"mm": "mm", "m": "m", "deg": "°", "k": "K", "s": "s", "nm": "nm", "percent": "%", "stops": "stops"}
# What a click of a ring is, by the unit; a fine one is a tenth of it.
_STEPS = {"mm": 1.0, "m": 0.05, "deg": 1.0, "k": 100.0, "nm": 5.0, "percent": 1.0, "stops": 0.1, "": 0.05}
_STEPS_OF_KEY = {"focus.offset_mm": 0.1, "insertion_mm": 0.5, "distortion_percent": 0.2, "mired_shift": 10.0}
# What is turned by stops: so many clicks double it.
_CLICKS_A_DOUBLING = {
    "f_number": 6, "iso": 3, "shutter_s": 3, "lumens": 3, "lumen_seconds": 3, "watts": 3, "watt_seconds": 3, "lux": 3,
}  # fmt: skip


@dataclass(frozen=True)
class Field:
    """One value of a scene that a hand can change.

    kind: "number", "whole", "choice", "flag", "place" (a landmark or a point), "text", "list" or "lines" (of several
    numbers); step: of a click, or how many clicks double the value; marks: numbers that a ring is engraved with;
    is_at_hand: whether it stands in the open, or under "more".
    """

    key: str
    owner: str
    station: str
    label: str
    kind: str
    value: object
    meaning: str
    unit: str = ""
    lowest: float | None = None
    highest: float | None = None
    step: float = 0.0
    clicks_a_doubling: int = 0
    marks: tuple[float, ...] = ()
    options: tuple[str, ...] = ()
    is_at_hand: bool = False


def fields_of(scene: Scene, said: dict) -> list[Field]:
    """All fields of a scene in the order of its model; said: what its file says, as plain data."""
    found: list[Field] = []
    for owner in type(scene).model_fields:
        if owner in _LEFT_OUT:
            continue
        held, written = getattr(scene, owner), said.get(owner)
        if isinstance(held, Part):
            found += _of_part(held, written or {}, f"{owner}.", owner, ())
        elif isinstance(held, tuple):
            for number, item in enumerate(held):
                name = item_name(item.model_dump(include={"name"}), number, owner)
                here = written[number] if isinstance(written, list) and number < len(written) else {}
                found += _of_part(item, here, f"{owner}.{name}.", f"{owner}.{name}", ())
    return found


def _of_part(part: Part, said: dict, key: str, owner: str, way: tuple[str, ...]) -> Iterator[Field]:
    for name, field in type(part).model_fields.items():
        value = getattr(part, name)
        if (name in _LEFT_OUT and not way) or (name in _OF_STATEMENTS and isinstance(part, Statement)):
            continue
        below = said.get(name) if isinstance(said, dict) else None
        if isinstance(value, Part):
            yield from _of_part(value, below or {}, f"{key}{name}.", owner, (*way, name))
        elif isinstance(value, tuple) and value and isinstance(value[0], Part):
            for number, item in enumerate(value):
                called = item_name(item.model_dump(), number, name)
                here = below[number] if isinstance(below, list) and number < len(below) else {}
                # Of several filters each is called by its number.
                step = called if name != "filter" else str(number + 1) if len(value) > 1 else ""
                yield from _of_part(item, here, f"{key}{name}.{called}.", owner, (*way, name, step))
        elif (kind := _kind_of(field.annotation, value)) != "":
            is_said = isinstance(said, dict) and (name in said or field.is_required())
            plain = ".".join((*way, name))
            described = _described(name, field, kind, value)
            yield from _apart(
                replace(
                    described,
                    key=f"{key}{name}",
                    owner=owner,
                    station=_station(owner, (*way, name)),
                    label=_label((*way, name)),
                    # A light's own ring turns its power, whichever way it was stated.
                    is_at_hand=(is_said and not (way and way[0] in _STATEMENTS)) or plain in _ALWAYS_AT_HAND,
                )
            )


def _station(owner: str, way: tuple[str, ...]) -> str:
    kind = owner.partition(".")[0]
    return _STATION_OF_OWNER.get(kind) or _STATION_OF.get(way[0], "lamp")


def _label(way: tuple[str, ...]) -> str:
    """What a field is called: the table that it stands in, and itself without its unit."""
    stem, _, unit = way[-1].rpartition("_")
    last = stem if unit in _UNITS and stem else way[-1]
    # The station says the first of it.
    words = [word for word in (*way[:-1], last) if word]
    shown = words[1:] if len(words) > 1 and _STATION_OF.get(words[0]) == words[0] else words
    return " ".join(shown).replace("_", " ").replace("f number", "f-number")


def _kind_of(annotation, value) -> str:
    """Which control a field asks for; "" where it is a table that is not there."""
    if value in (None, ()) and _holds(annotation, Part):
        return ""
    if isinstance(value, bool) or _holds(annotation, bool):
        return "flag"
    if options_in(annotation):
        return "choice"
    is_text, length = _holds(annotation, str), length_in(annotation)
    if length == 3 and is_text:
        return "place"
    if length is not None or isinstance(value, tuple):
        return "lines"
    if is_text:
        return "text"
    if _holds(annotation, float):
        return "number"
    return "whole" if _holds(annotation, int) else ""


def _holds(annotation, kind: type) -> bool:
    """Whether an annotation, or what is inside it, is of a kind."""
    if isinstance(annotation, type):
        return issubclass(annotation, kind)
    return any(_holds(inner, kind) for inner in typing.get_args(annotation))


def _described(name: str, field, kind: str, value) -> Field:
    unit = name.rpartition("_")[2] if "_" in name else ""
    lowest, highest = limits_of(field)
    is_f_number = name.endswith("f_number")
    clicks = _CLICKS_A_DOUBLING.get("f_number" if is_f_number else name, 0)
    step = _STEPS_OF_KEY.get(name, _STEPS.get(unit, _STEPS[""]))
    if kind == "whole":
        step = 1.0
    return Field(
        key="",
        owner="",
        station="",
        label="",
        kind=kind,
        value=list(value) if isinstance(value, tuple) else value,
        meaning=field.description or "",
        unit=_UNITS.get(unit, ""),
        lowest=lowest,
        highest=highest,
        step=0.0 if clicks else step,
        clicks_a_doubling=clicks,
        marks=tuple(float(mark) for mark in THIRD_MARKS) if is_f_number else (),
        options=tuple(options_in(field.annotation)),
    )


def _apart(field: Field) -> Iterator[Field]:
    """A point as its three numbers; any other field as it is."""
    value = field.value
    is_point = isinstance(value, list) and len(value) == 3 and field.unit == "m" and field.kind == "lines"
    if not is_point:
        yield replace(field, step=_STEPS_OF_KEY.get(".".join(field.key.split(".")[-2:]), field.step))
        return
    for axis, number in zip("xyz", value, strict=True):
        yield replace(field, key=f"{field.key}.{axis}", label=f"{field.label} {axis}", kind="number", value=number)
