"""What a field's check found, as faults: what was found, what is allowed, and what to try."""

from __future__ import annotations

import math
import types
import typing
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from pydantic import BaseModel, ValidationError

from projector.faults import Fault
from projector.phrases import ONE_OF_THESE, as_written, did_you_mean, either, nearest, within
from projector.scene.model.named import Named
from projector.scene.reading.field_hints import example_line, number_hint, unit_hint

_UNITS = ("m", "mm", "cm", "inch", "s", "ms", "deg", "nm", "k", "percent", "stops")
# What a thing is called when its file does not name it.
_UNNAMED = {"figure": "sitter"}
# The word of pydantic's location for the branch of "a landmark or a point" that takes text.
_TEXT_BRANCH = "str"
# What to do with a key that means nothing: in a file, and where it was typed and there is no file to take it out of.
_TAKE_OUT = "take it out"
_WHOLE_WAY = f"{ONE_OF_THESE}; a change looks like projector.NAME.lens.f_number=2"


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
        # Of "a landmark or a point", only what was plainly meant is said.
        if branches and isinstance(value, (list, tuple)) == (branches[0] == _TEXT_BRANCH):
            continue
        if path not in found:
            file, line = places.of(path)
            is_typed = file is None and places.file is not None
            fault = _fault(item, path, data, model, _WHOLE_WAY if is_typed else _TAKE_OUT)
            found[path] = replace(fault, file=file, line=line, key=dotted(path, data), value=value)
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
    if typing.get_origin(annotation) in (tuple, list, Named, typing.Union, types.UnionType, typing.Annotated):
        for inner in typing.get_args(annotation):
            model = model_in(inner)
            if model is not None:
                return model
    return None


def length_in(annotation) -> int | None:
    """How many numbers the tuple inside an annotation has: 3 for a point, None where there is none."""
    arguments = typing.get_args(annotation)
    if typing.get_origin(annotation) is tuple:
        return None if Ellipsis in arguments else len(arguments)
    return next((length for length in map(length_in, arguments) if length), None)


def _fault(item: Mapping[str, typing.Any], path: tuple, data, model, unknown: str) -> Fault:
    """The fault of one wrong field, without its place. unknown: what to try where the key means nothing."""
    kind, value, field = item["type"], _value_at(data, path), _field_at(model, path)
    meaning = field.description or "" if field is not None else ""
    if kind == "extra_forbidden":
        return _unknown_key(path, model, unknown)
    if kind == "missing" and isinstance(path[-1], str) and not isinstance(value, (list, tuple)):
        line = example_line(tuple(part for part in path if isinstance(part, str)))
        return Fault(f"{path[-1]} is missing", meaning, f"add {line}" if line else "add it")
    written = as_written(value)
    if isinstance(value, float) and not math.isfinite(value):
        return Fault(f"{written} is not a number that can be used", _with_range(field, meaning), "give a number")
    if kind in ("greater_than", "greater_than_equal", "less_than", "less_than_equal", "finite_number"):
        return Fault(
            written,
            _with_range(field, meaning),
            unit_hint(_key_name(path), value, lambda other: _is_within(field, other)),
        )
    if kind == "literal_error":
        options = options_in(field.annotation)
        close = nearest(str(value), options, 0.5)
        return Fault(
            written,
            either(options),
            did_you_mean(f'"{close}"' if close else ""),
        )
    if kind.startswith(("float_", "int_")):
        return Fault(
            f"{written} where a {'whole ' if kind.startswith('int') else ''}number is wanted",
            _with_range(field, meaning),
            number_hint(_key_name(path), value),
        )
    if kind == "string_pattern_mismatch" or kind == "string_too_short":
        return Fault(
            written,
            "letters, digits, space, - and _" if kind.endswith("mismatch") else meaning,
            "choose a plain name: it is used in overrides" if path[-1] == "name" else "",
        )
    if kind in ("too_long", "string_too_long") and not length_in(field.annotation):
        return Fault(
            f"{len(value)} {'letters' if isinstance(value, str) else 'of them'}",
            f"{within(None, item['ctx']['max_length'])}. {meaning}",
            "take some out",
        )
    return _wrong_kind(kind, path, value, field, meaning)


def _wrong_kind(kind: str, path: tuple, value, field, meaning: str) -> Fault:
    """Text for a table, a table for a list and the like."""
    written, annotation = as_written(value), getattr(field, "annotation", None)
    model, length, name = model_in(annotation), length_in(annotation), _key_name(path)
    if kind == "tuple_type" and model is not None:
        if isinstance(value, dict):
            way = (
                f"[[{name}]] with two brackets: there may be several"
                if len(path) == 1
                else f"{name} = [ {{ … }} ], with the square brackets"
            )
            return Fault("one table where a list of them is wanted", meaning, f"write {way}")
        return Fault(
            f"{written} where a list of tables is wanted",
            meaning,
            f"write [[{name}]] and its keys below" if len(path) == 1 else f"write {name} = [ {{ key = value, … }} ]",
        )
    if kind in ("model_type", "model_attributes_type"):
        return Fault(
            f"{written} where a table is wanted",
            meaning,
            f"write {name} = {{ key = value, … }}" if len(path) > 1 else f"write [{name}] and its keys below",
        )
    if length == 3:
        return Fault(
            written,
            meaning,
            "three numbers: [red, green, blue]"
            if name == "colour"
            else 'a point is written [x, y, z] in metres, a landmark "sitter.nose_tip"',
        )
    if length is not None:
        return Fault(written, meaning, f"a list of {length}")
    if kind == "string_type":
        return Fault(
            f"{written} where text is wanted",
            meaning,
            "put it in quotes" if not isinstance(value, (dict, list)) else "",
        )
    return Fault(written, meaning)


def _key_name(path: tuple) -> str:
    """The last key of a path, whatever item of its list is meant."""
    return next((part for part in reversed(path) if isinstance(part, str)), "")


def limits_of(field) -> tuple[float | None, float | None]:
    """The least and the largest number that a field, or what is inside it, takes; None where it says none."""
    marks = (*field.metadata, *_limits_in(field.annotation)) if field is not None else ()
    lowest = [mark.ge for mark in marks if getattr(mark, "ge", None) is not None]
    highest = [mark.le for mark in marks if getattr(mark, "le", None) is not None]
    return max(lowest, default=None), min(highest, default=None)


def _is_within(field, value: float) -> bool:
    """Whether a number keeps to the limits of a field."""
    lowest, highest = limits_of(field)
    return (lowest is None or value >= lowest) and (highest is None or value <= highest)


def _with_range(field, meaning: str) -> str:
    """The limits of a field in words, then what it means."""
    words = within(*limits_of(field))
    return f"{words}. {meaning}" if words else meaning


def options_in(annotation) -> list[str]:
    """The words that a field takes, of a Literal inside its annotation."""
    if typing.get_origin(annotation) is typing.Literal:
        return [str(option) for option in typing.get_args(annotation)]
    return [option for inner in typing.get_args(annotation) for option in options_in(inner)]


def _limits_in(annotation) -> list:
    """Limits written on what is inside an annotation (an optional number, the numbers of a point)."""
    found: list = []
    for inner in getattr(annotation, "__metadata__", ()):
        found += getattr(inner, "metadata", [inner])
    for argument in typing.get_args(annotation):
        found += _limits_in(argument)
    return found


def _unknown_key(path: tuple, model, unknown: str) -> Fault:
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
            return Fault(not_a_key(name), ", ".join(known), f"write {other}, and mind the unit")
    return Fault(not_a_key(name), ", ".join(known), did_you_mean(nearest(name, known), otherwise=unknown))


def not_a_key(name: str) -> str:
    """What is said of a key that means nothing where it stands."""
    return f"{name} is not a key here"
