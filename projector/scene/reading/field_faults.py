"""What a field's check found, told to a photographer: found, allowed, and what to try."""

from __future__ import annotations

import difflib
import math
import types
import typing
from collections.abc import Callable, Mapping, Sequence

from pydantic import BaseModel, ValidationError

from projector.faults import Fault
from projector.scene.reading.field_hints import example_line, number_hint, unit_hint

_UNITS = ("m", "mm", "cm", "inch", "s", "ms", "deg", "nm", "k", "percent", "stops")
# What a thing is called when its file does not name it.
_UNNAMED = {"figure": "sitter"}
# The word of pydantic's location for the branch of "a landmark or a point" that takes text.
_TEXT_BRANCH = "str"
_TAKE_OUT = "take it out"
_LIMITS = {"gt": "more than", "ge": "at least", "lt": "less than", "le": "at most"}


class Places:
    """Where values come from: a line of a file, or the command line (no file, no line)."""

    def __init__(
        self,
        file: str | None = None,
        line_of: Callable[[tuple], int | None] = lambda path: None,
        typed: Sequence[tuple] = (),
        exact_line_of: Callable[[tuple], int | None] = lambda path: None,
    ):
        self.file, self._line_of, self._typed, self._exact = file, line_of, tuple(typed), exact_line_of

    def of(self, path: tuple) -> tuple[str | None, int | None]:
        """File and line of a value by its path."""
        for typed in self._typed:
            inside = path[: len(typed)] == typed
            around = typed[: len(path)] == path and self._exact(path) is None
            if inside or around:
                return None, None
        return self.file, self._line_of(path)


def item_name(item, number: int, kind: str | None = None) -> str:
    """What an item of a list is called in overrides and messages: its name, side or kind, else its number from 1."""
    if isinstance(item, dict):
        name = (
            item.get("name")
            or item.get("side")
            or (item.get("kind") if kind == "filter" else None)
            or _UNNAMED.get(kind or "")
        )
        if isinstance(name, str) and "." not in name:
            return name
    return str(number + 1)


def dotted(path: tuple, data) -> str:
    """A path as it is written in overrides: items of a list by their names."""
    parts, here, before = [], data, None
    for part in path:
        if isinstance(part, int) and isinstance(here, (list, tuple)) and part < len(here):
            here = here[part]
            parts.append(item_name(here, part, before))
        else:
            here = here.get(part) if isinstance(here, dict) else None
            parts.append(str(part))
        before = str(part)
    return ".".join(parts)


def faults_of(error: ValidationError, data, model: type[BaseModel], places: Places) -> list[Fault]:
    """One fault for each wrong field of `data`."""
    found: dict[tuple, Fault] = {}
    for item in error.errors(include_url=False, include_context=True):
        if item["type"] == "json_invalid":
            return [
                Fault("text that is not Unicode", "letters that can be stored as UTF-8", "type it again", places.file)
            ]
        path, branches = _path_in(data, item["loc"], item["type"])
        value = _value_at(data, path[:-1] if isinstance(path[-1], int) else path)
        # Of "a landmark or a point", only what was plainly meant is told.
        if branches and isinstance(value, (list, tuple)) == (branches[0] == _TEXT_BRANCH):
            continue
        if path not in found:
            fault = _fault(item, path, data, model)
            file, line = places.of(path)
            # What was typed on the command line is in no file to be taken out of.
            typed = fault.try_ == _TAKE_OUT and file is None and places.file is not None
            try_ = "one of these; a change looks like projector.NAME.lens.f_number=2" if typed else fault.try_
            found[path] = Fault(fault.found, fault.allowed, try_, file, line, dotted(path, data))
    return list(found.values())


def _path_in(data, location: tuple, kind: str) -> tuple[tuple, list]:
    """The part of an error's location that exists in the data, and what does not: the branches of a union."""
    path: tuple = ()
    here, branches = data, list[str]()
    for index, part in enumerate(location):
        inside = (isinstance(here, dict) and part in here) or (
            isinstance(here, (list, tuple)) and isinstance(part, int) and part < len(here)
        )
        if inside:
            here = here[part]
            path = (*path, part)
        elif kind == "missing" and index == len(location) - 1 and isinstance(here, dict):
            return (*path, part), branches
        elif isinstance(part, str):
            branches.append(part)
    return path, branches


def _value_at(data, path: tuple):
    for part in path:
        try:
            data = data[part]
        except (KeyError, IndexError, TypeError):
            return None
    return data


def _field_at(model, path: tuple):
    """The pydantic field that a path names, or None."""
    field, holder = None, model
    for part in path:
        if isinstance(part, int):
            continue
        if holder is None or part not in holder.model_fields:
            return None
        field = holder.model_fields[part]
        holder = model_in(field.annotation)
    return field


def model_in(annotation):
    """The model inside an annotation such as tuple[Blade, ...] or Lens | None."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    if typing.get_origin(annotation) in (tuple, list, typing.Union, types.UnionType, typing.Annotated):
        for inner in typing.get_args(annotation):
            model = model_in(inner)
            if model is not None:
                return model
    return None


def _length_in(annotation) -> int | None:
    """How many numbers the tuple inside an annotation has: 3 for a point, None where there is none."""
    arguments = typing.get_args(annotation)
    if typing.get_origin(annotation) is tuple:
        return None if Ellipsis in arguments else len(arguments)
    return next((length for length in map(_length_in, arguments) if length), None)


def _fault(item: Mapping[str, typing.Any], path: tuple, data, model) -> Fault:
    kind, value, field = item["type"], _value_at(data, path), _field_at(model, path)
    meaning = field.description or "" if field is not None else ""
    if kind == "extra_forbidden":
        return _unknown_key(path, model)
    if kind == "missing" and isinstance(path[-1], str) and not isinstance(value, (list, tuple)):
        line = example_line(tuple(part for part in path if isinstance(part, str)))
        return Fault(f"{path[-1]} is missing", meaning, f"add {line}" if line else "add it")
    told = _told(value)
    if isinstance(value, float) and not math.isfinite(value):
        return Fault(f"{told} is not a number that can be used", _with_range(field, meaning), "give a number")
    if kind in ("greater_than", "greater_than_equal", "less_than", "less_than_equal", "finite_number"):
        return Fault(
            told, _with_range(field, meaning), unit_hint(_key_name(path), value, lambda other: _is_within(field, other))
        )
    if kind == "literal_error":
        expected = item["ctx"]["expected"].replace("'", '"')
        return Fault(told, expected, _nearest(value, expected))
    if kind.startswith(("float_", "int_")):
        return Fault(
            f"{told} where a {'whole ' if kind.startswith('int') else ''}number is wanted",
            _with_range(field, meaning),
            number_hint(_key_name(path), value),
        )
    if kind == "string_pattern_mismatch" or kind == "string_too_short":
        return Fault(
            told,
            "letters, digits, space, - and _" if kind.endswith("mismatch") else meaning,
            "choose a plain name: it is used in overrides" if path[-1] == "name" else "",
        )
    if kind in ("too_long", "string_too_long") and not _length_in(field.annotation):
        return Fault(
            f"{len(value)} {'letters' if isinstance(value, str) else 'of them'}",
            f"at most {item['ctx']['max_length']}. {meaning}",
            "take some out",
        )
    return _wrong_kind(kind, path, value, field, meaning)


def _wrong_kind(kind: str, path: tuple, value, field, meaning: str) -> Fault:
    """Text for a table, a table for a list and the like."""
    told, annotation = _told(value), getattr(field, "annotation", None)
    model, length, name = model_in(annotation), _length_in(annotation), _key_name(path)
    if kind == "tuple_type" and model is not None:
        if isinstance(value, dict):
            way = (
                f"[[{name}]] with two brackets: there may be several"
                if len(path) == 1
                else f"{name} = [ {{ … }} ], with the square brackets"
            )
            return Fault("one table where a list of them is wanted", meaning, f"write {way}")
        return Fault(
            f"{told} where a list of tables is wanted",
            meaning,
            f"write [[{name}]] and its keys below" if len(path) == 1 else f"write {name} = [ {{ key = value, … }} ]",
        )
    if kind in ("model_type", "model_attributes_type"):
        return Fault(
            f"{told} where a table is wanted",
            meaning,
            f"write {name} = {{ key = value, … }}" if len(path) > 1 else f"write [{name}] and its keys below",
        )
    if length == 3:
        return Fault(
            told,
            meaning,
            "three numbers: [red, green, blue]"
            if name == "colour"
            else 'a point is written [x, y, z] in metres, a landmark "sitter.nose_tip"',
        )
    if length is not None:
        return Fault(told, meaning, f"a list of {length}")
    if kind == "string_type":
        return Fault(
            f"{told} where text is wanted", meaning, "put it in quotes" if not isinstance(value, (dict, list)) else ""
        )
    return Fault(told, meaning)


def _key_name(path: tuple) -> str:
    """The last key of a path, whatever item of its list is meant."""
    return next((part for part in reversed(path) if isinstance(part, str)), "")


def _told(value) -> str:
    """A value as the user wrote it, cut short."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, int) and abs(value) >= 10**15:
        return f"a number of {len(str(abs(value)))} digits"
    text = f'"{value}"' if isinstance(value, str) else str(value)
    return text if len(text) <= 80 else text[:77] + "…"


def _limits_of(field) -> list[tuple[str, float]]:
    """The limits of a field and of what is inside it: ("ge", 0.5) and the like."""
    marks = (*field.metadata, *_limits_in(field.annotation)) if field is not None else ()
    return [(name, getattr(mark, name)) for mark in marks for name in _LIMITS if getattr(mark, name, None) is not None]


def _is_within(field, value: float) -> bool:
    """Whether a number keeps to the limits of a field."""
    kept = {"gt": value.__gt__, "ge": value.__ge__, "lt": value.__lt__, "le": value.__le__}
    return all(kept[name](float(limit)) for name, limit in _limits_of(field))


def _with_range(field, meaning: str) -> str:
    """The limits of a field in words, then what it means."""
    words = [f"{_LIMITS[name]} {limit:.10g}" for name, limit in _limits_of(field)]
    return f"{', '.join(dict.fromkeys(words))}. {meaning}" if words else meaning


def _limits_in(annotation) -> list:
    """Limits written on what is inside an annotation (an optional number, the numbers of a point)."""
    found: list = []
    for inner in getattr(annotation, "__metadata__", ()):
        found += getattr(inner, "metadata", [inner])
    for argument in typing.get_args(annotation):
        found += _limits_in(argument)
    return found


def _nearest(value, expected: str) -> str:
    options = [option.strip(" '\"") for option in expected.replace(" or ", ",").split(",")]
    close = difflib.get_close_matches(str(value), options, 1, 0.5)
    return f'did you mean "{close[0]}"?' if close else ""


def _unknown_key(path: tuple, model) -> Fault:
    holder = model
    for part in path[:-1]:
        if isinstance(part, str) and holder is not None and part in holder.model_fields:
            holder = model_in(holder.model_fields[part].annotation)
    known = list(holder.model_fields) if holder is not None else []
    name = str(path[-1])
    stem, _, unit = name.rpartition("_")
    for other in known:
        other_stem, _, other_unit = other.rpartition("_")
        # position_mm for position_m, or focal_length for focal_length_mm: the unit is what is wrong.
        if other_unit in _UNITS and ((unit in _UNITS and stem == other_stem) or name == other_stem):
            return Fault(f"{name} is not a key here", ", ".join(known), f"write {other}, and mind the unit")
    close = difflib.get_close_matches(name, known, 1, 0.6)
    return Fault(f"{name} is not a key here", ", ".join(known), f"did you mean {close[0]}?" if close else _TAKE_OUT)
