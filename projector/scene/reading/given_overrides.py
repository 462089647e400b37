"""Overrides as Python gives them (a string, several, a dict, keywords), each brought to the form in which it is typed.

So one set of rules reads them, and a fault is reported in the same words as on the command line.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from typing import TypeAlias

from projector.faults import Fault, SceneError
from projector.files.typed_numbers import as_typed
from projector.scene.model.kinds import Part, as_in_a_file
from projector.scene.reading.overrides import parsed_override

Overrides: TypeAlias = str | Sequence[str] | Mapping[str, object] | None


def typed_overrides(overrides: Overrides = None, **tables) -> list[str]:
    """Overrides as they are typed: "camera.iso=800", several of them, {"camera.iso": 800}, or camera={"iso": 800}.

    A dict within a dict goes deeper and leaves its other keys alone; a part made in code, such as a Lens, takes the
    place of the whole one. SceneError with what cannot be one.
    """
    if overrides is None or isinstance(overrides, str):
        typed = [overrides] if overrides else []
    elif isinstance(overrides, Mapping):
        typed = _typed(overrides)
    else:
        overrides = overrides if isinstance(overrides, Iterable) else [overrides]
        typed = [part for item in overrides for part in typed_overrides(_one(item))]
    return typed + _typed(tables)


def _one(item):
    if isinstance(item, (str, Mapping)):
        return item
    allowed = "KEY=VALUE as text, or a dict such as {'camera.iso': 800}"
    raise SceneError(Fault(f"{item!r} is not a change", allowed))


def _typed(tables: Mapping) -> list[str]:
    faults, typed = [], []
    for key, value in _flat(tables):
        try:
            typed.append(f"{key}={_said(key, as_in_a_file(value))}")
        except SceneError as error:
            faults += error.faults
    if faults:
        raise SceneError(faults)
    return typed


def _flat(table: Mapping, before: str = "") -> Iterator[tuple[str, object]]:
    for key, value in table.items():
        if isinstance(value, Mapping):
            yield from _flat(value, f"{before}{key}.")
        else:
            yield f"{before}{key}", value


def _said(key: str, value) -> str:
    """A value as it is typed after its key; text bare where that says the same."""
    if isinstance(value, str):
        with suppress(SceneError):
            if parsed_override(f"{key}={value}")[1] == value:
                return value
    return toml_text(key, value)


def toml_text(key: str, value) -> str:
    """The value of a key as it is written in a scene file, tables in braces. SceneError for what no file can hold."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float)):
        short = as_typed(value)
        return short if float(short) == value else repr(value)
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, (list, tuple)):
        return f"[{', '.join(toml_text(key, item) for item in value)}]"
    if isinstance(value, Part):
        value = value.model_dump(exclude_unset=True, exclude_none=True)
    if isinstance(value, Mapping):
        return f"{{ {', '.join(f'{name} = {toml_text(key, item)}' for name, item in value.items())} }}"
    what = "nothing" if value is None else f"a {type(value).__name__}"
    raise SceneError(Fault(f"{what} where a value is wanted", "a number, text, true, false or a list of them", key=key))
