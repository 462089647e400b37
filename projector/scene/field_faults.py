"""What a field's check found, told to a photographer: found, allowed, and what to try."""

from __future__ import annotations

import difflib
import math
import types
import typing

from pydantic import BaseModel, ValidationError

from projector.scene.faults import Fault

# Endings that state a unit, and how much of the wanted unit one of them is.
_UNITS = {"m": 1.0, "mm": 1e-3, "cm": 1e-2}


def faults_of(error: ValidationError, data, model: type[BaseModel], file: str | None, line_of) -> list[Fault]:
    """One fault for each wrong field of `data`; line_of takes a path to a line number."""
    found: dict[tuple, Fault] = {}
    for item in error.errors(include_url=False, include_context=True):
        path = _path_in(data, item["loc"], item["type"])
        if path not in found:
            fault = _fault(item, path, data, model)
            found[path] = Fault(fault.found, fault.allowed, fault.try_, file, line_of(path), dotted(path, data))
    return list(found.values())


def _path_in(data, location: tuple, kind: str) -> tuple:
    """The part of an error's location that exists in the data: branches of a union are no keys."""
    path, here = (), data
    for index, part in enumerate(location):
        inside = isinstance(here, dict) and part in here or isinstance(here, (list, tuple)) and isinstance(part, int) and part < len(here)
        if inside:
            here = here[part]
            path = (*path, part)
        elif kind == "missing" and index == len(location) - 1 and isinstance(here, dict):
            return (*path, part)
    return path


def dotted(path: tuple, data) -> str:
    """A path as it is written in overrides: items of a list by their names."""
    parts, here = [], data
    for part in path:
        if isinstance(part, int) and isinstance(here, (list, tuple)) and part < len(here):
            here = here[part]
            name = here.get("name") or here.get("side") if isinstance(here, dict) else None
            parts.append(str(name) if name else str(part + 1))
        else:
            here = here.get(part) if isinstance(here, dict) else None
            parts.append(str(part))
    return ".".join(parts)


def _value_at(data, path: tuple):
    for part in path:
        try:
            data = data[part]
        except (KeyError, IndexError, TypeError):
            return None
    return data


def _field_at(model, path: tuple):
    """The pydantic field that a path names, and the model that holds it."""
    field, holder = None, model
    for part in path:
        if isinstance(part, int):
            continue
        if holder is None or part not in holder.model_fields:
            return None, holder
        field = holder.model_fields[part]
        owner, holder = holder, _model_in(field.annotation)
    return field, owner if field is not None else model


def _model_in(annotation):
    """The model inside an annotation such as tuple[Blade, ...] or Lens | None."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    if typing.get_origin(annotation) in (tuple, list, typing.Union, types.UnionType, typing.Annotated):
        for inner in typing.get_args(annotation):
            model = _model_in(inner)
            if model is not None:
                return model
    return None


def _fault(item: dict, path: tuple, data, model) -> Fault:
    kind, context = item["type"], item.get("ctx", {})
    value = _value_at(data, path)
    field, _ = _field_at(model, path)
    meaning = field.description if field is not None and field.description else ""
    if kind == "extra_forbidden":
        return _unknown_key(path, data, model)
    if kind == "missing":
        return Fault(f"{path[-1]} is missing", meaning, "add it")
    told = _told(value)
    if kind == "finite_number" or isinstance(value, float) and not math.isfinite(value):
        return Fault(f"{told} is not a number that can be used", _limits(field) or meaning, "give a number")
    if kind in ("greater_than", "greater_than_equal", "less_than", "less_than_equal"):
        limit = next(iter(context.values()))
        words = {"greater_than": "more than", "greater_than_equal": "at least", "less_than": "less than", "less_than_equal": "at most"}
        return Fault(f"{told}", f"{words[kind]} {limit:g}. {meaning}".strip(), _unit_hint(path, value))
    if kind == "literal_error":
        return Fault(told, context.get("expected", meaning).replace("'", '"'), _nearest(value, context.get("expected", "")))
    if kind in ("float_type", "int_type", "float_parsing", "int_parsing", "int_from_float"):
        return Fault(f"{told} where a {'whole ' if kind.startswith('int') else ''}number is wanted", meaning, "write the number without quotes" if isinstance(value, str) else "")
    if kind in ("tuple_type", "string_type") and isinstance(value, (int, float, dict, bool)):
        return Fault(f"{told}", meaning, 'a point is written [x, y, z] in metres, a landmark "sitter.nose_tip"' if "m" in meaning else "")
    if kind in ("missing_positional_only_argument", "too_long", "too_short") or "tuple" in kind or kind == "string_type":
        return Fault(told, meaning, "a point has three numbers: [x, y, z] in metres" if isinstance(value, (list, tuple)) else "")
    if kind == "string_pattern_mismatch":
        return Fault(told, "letters, digits, space, - and _", "choose a plain name: it is used in overrides")
    if kind == "model_type" or kind == "model_attributes_type":
        return Fault(f"{told} where a table is wanted", meaning, "write { key = value, … }")
    return Fault(f"{told}: {item['msg']}", meaning)


def _told(value) -> str:
    """A value as the user wrote it, cut short."""
    if isinstance(value, bool):
        return "true" if value else "false"
    text = f'"{value}"' if isinstance(value, str) else str(value)
    return text if len(text) <= 80 else text[:77] + "…"


def _limits(field) -> str:
    return field.description or "" if field is not None else ""


def _unit_hint(path: tuple, value) -> str:
    if isinstance(value, (int, float)) and isinstance(path[-1] if isinstance(path[-1], str) else path[-2], str):
        name = path[-1] if isinstance(path[-1], str) else path[-2]
        if name.endswith("_m") and 20 < abs(value) <= 50_000:
            return f"{name} is in metres: {value:g} mm is {value / 1000:g}"
    return "look at the unit in the key's name"


def _nearest(value, expected: str) -> str:
    options = [option.strip(" '\"") for option in expected.replace(" or ", ",").split(",")]
    close = difflib.get_close_matches(str(value), options, 1, 0.5)
    return f'did you mean "{close[0]}"?' if close else ""


def _unknown_key(path: tuple, data, model) -> Fault:
    holder = model
    for part in path[:-1]:
        if isinstance(part, str) and holder is not None and part in holder.model_fields:
            holder = _model_in(holder.model_fields[part].annotation)
    known = list(holder.model_fields) if holder is not None else []
    name = str(path[-1])
    stem = name.rsplit("_", 1)[0]
    unit = [other for other in known if other.rsplit("_", 1)[0] == stem and other != name and name.rsplit("_", 1)[-1] in _UNITS]
    close = unit or difflib.get_close_matches(name, known, 1, 0.6)
    if unit:
        return Fault(f"{name} is not a key here", ", ".join(known), f"{unit[0]} (mind the unit)")
    return Fault(f"{name} is not a key here", ", ".join(known), f"did you mean {close[0]}?" if close else "take it out")
