"""Changes of single values by name, as typed on the command line: projector.window.lens.f_number=4."""

from __future__ import annotations

import contextlib
import copy
import tomllib
import typing
from collections.abc import Sequence

from pydantic import BaseModel

from projector.faults import Fault, SceneError
from projector.files.typed_numbers import range_of, typed_number, values_of_range, with_decimals_for_fractions
from projector.phrases import did_you_mean, nearest
from projector.scene.model import Scene
from projector.scene.reading.field_faults import item_name, model_in, not_a_key

# Lists of tables: what is missing there cannot be made up from a name.
_LISTS = ("projector", "light", "surface", "figure", "blade", "filter")
_AXES = {"x": 0, "y": 1, "z": 2}


def parsed_override(text: str) -> tuple[list[str], object]:
    """The keys and the value of one "key.key=value"; values as in TOML, bare words as text.

    SceneError if it is none.
    """
    key, equals, value = text.partition("=")
    keys, value = [part.strip() for part in key.split(".")], value.strip()
    if not equals or not all(keys) or not value or "\n" in value:
        raise SceneError(
            Fault(
                found=f'"{text}" is not a change',
                allowed="KEY=VALUE, such as projector.window.lens.f_number=4",
                key=key.strip() or None,
            )
        )
    for written in (value, with_decimals_for_fractions(value)):
        try:
            return keys, tomllib.loads(f"value = {written}")["value"]
        except (ValueError, RecursionError):
            pass
    return keys, value


def values_of_change(text: str) -> list[str] | None:
    """The values of a change that is a range where a number belongs ("camera.iso=100:400:4"); None for any other
    change.
    """
    key, equals, value = text.partition("=")
    keys = [part.strip() for part in key.split(".")]
    if not equals or not all(keys) or _takes_text(keys):
        return None
    with contextlib.suppress(ValueError):
        return values_of_range(value.strip())
    return None


def apply_overrides(data: dict, overrides: Sequence[str]) -> tuple[dict, list[tuple], list[Fault]]:
    """A copy of a scene's plain data with the changes made, the paths that were typed, and what is wrong with the
    others.

    Another lens file puts the whole lens of the file in the place of the old one; only its f-number stays.
    """
    result, typed, faults = copy.deepcopy(data), [], []
    # Lens files first: a key of the lens that is changed as well goes on top of the new file, in whichever order they
    # were typed.
    for text in sorted(overrides, key=lambda text: not text.partition("=")[0].strip().endswith(".lens.file")):
        try:
            keys, value = parsed_override(text)
            typed.append(_set(result, keys, value))
        except SceneError as error:
            faults += error.faults
    return result, typed, faults


def _set(data: dict, keys: list[str], value) -> tuple:
    """Change one value in place; returns its path."""
    here: typing.Any = data
    path: tuple = ()
    _check_first_key(data, keys)
    place: int | str
    for index, key in enumerate(keys):
        last = index == len(keys) - 1
        if isinstance(here, list):
            place = _place_in(here, keys, index)
            if last and isinstance(here[place], dict):
                raise SceneError(
                    Fault(
                        found=f"{'.'.join(keys)} is a whole table",
                        allowed=f"a value of it: {', '.join(here[place])}",
                        key=".".join(keys),
                    )
                )
        elif isinstance(here, dict):
            place = key
        else:
            raise SceneError(
                Fault(
                    found=f"{'.'.join(keys[:index])} is one value and has no {key}",
                    allowed=".".join(keys[:index]),
                    key=".".join(keys),
                )
            )
        path = (*path, place)
        if last:
            _put(here, place, _number_if_wanted(value, keys), keys)
        else:
            if isinstance(here, dict):
                here.setdefault(place, _unsaid(keys[: index + 1]))
            here = here[place]
    return path


def _unsaid(keys: list[str]) -> list | dict:
    """What a file that does not say a key holds there: a point that is taken then, or else nothing yet."""
    field = _field_at(keys)
    if field is not None and isinstance(field.default, tuple) and field.default:
        return list(field.default)
    return [] if keys[-1] in _LISTS else {}


def _number_if_wanted(value, keys: list[str]):
    """A fraction as its number, where a number belongs: shutter_s=1/200. SceneError for a range, which is several."""
    if not isinstance(value, str) or _takes_text(keys):
        return value
    with contextlib.suppress(ValueError):
        number = typed_number(value)
        return int(number) if number.is_integer() else number
    try:
        several = range_of(value) is not None
    except ValueError as error:
        raise SceneError(Fault(str(error), "one number", key=".".join(keys))) from None
    if several:
        raise SceneError(
            Fault(
                f"{value} is several values",
                "one number",
                "compare them side by side, on a sheet (projector.studies.sheet)",
                key=".".join(keys),
                typed=f"compare them: projector sheet SCENE --rows {'.'.join(keys)}={value}",
            )
        )
    return value


def _takes_text(keys: list[str]) -> bool:
    """Whether a text may stand under these keys of a scene."""
    field = _field_at(keys)
    return _holds_text(str if field is None else field.annotation)


def _field_at(keys: list[str]):
    """The field of the scene's model that keys lead to, or the last that they name on their way; names and numbers of
    things in a list do not matter.
    """
    model: type[BaseModel] | None = Scene
    field = None
    for key in keys:
        if model is not None and key in model.model_fields:
            field = model.model_fields[key]
            model = model_in(field.annotation)
    return field


def _holds_text(annotation) -> bool:
    return annotation is str or isinstance(annotation, str) or any(map(_holds_text, typing.get_args(annotation)))


def _check_first_key(data: dict, keys: list[str]) -> None:
    """SceneError if a change does not begin with one of a scene's own keys: most often a name without what it is the
    name of.
    """

    if keys[0] in Scene.model_fields:
        return
    typed = ".".join(keys)
    owner = next(
        (
            kind
            for kind in _LISTS[:4]
            for number, item in enumerate(data.get(kind) or ())
            if item_name(item, number, kind) == keys[0]
        ),
        None,
    )
    meant = f"{owner}.{typed}" if owner else nearest(keys[0], Scene.model_fields, 0.65)
    whole = "write the whole way to the value: projector.NAME.lens.f_number=2"
    raise SceneError(
        Fault(
            found=not_a_key(keys[0]),
            allowed=f"KEY.KEY=VALUE that begins with one of {', '.join(Scene.model_fields)}",
            try_=did_you_mean(meant, otherwise=whole),
            key=keys[0],
        )
    )


def _put(here, place, value, keys: list[str]) -> None:
    if keys[0] == "projector" and keys[-2:] == ["lens", "file"]:
        kept = {"f_number": here["f_number"]} if "f_number" in here else {}
        here.clear()
        here.update(kept)
    here[place] = value


def _place_in(items: list, keys: list[str], index: int) -> int:
    """Where in a list the thing called keys[index] stands: by name, by number from 1, or x, y, z of a point."""
    key, before = keys[index], ".".join(keys[:index])
    names = [item_name(item, number, keys[index - 1]) for number, item in enumerate(items)]
    if key in names:
        return names.index(key)
    if key.isdecimal() and 1 <= int(key) <= len(items):
        return int(key) - 1
    if any(not isinstance(item, dict) for item in items):
        if key in _AXES and len(items) == 3:
            return _AXES[key]
        raise SceneError(
            Fault(
                found=f"{before} has no {key}", allowed="x, y or z of a point, or a number from 1", key=".".join(keys)
            )
        )
    raise SceneError(
        Fault(
            found=f'there is no {before} called "{key}"',
            allowed=", ".join(names) or f"none: the scene has no {keys[index - 1]}",
            try_=did_you_mean(nearest(key, names, 0.5)),
            key=".".join(keys),
        )
    )
