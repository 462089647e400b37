"""Changes of single values by name, as typed on the command line: projector.window.lens.f_number=4."""

from __future__ import annotations

import copy
import difflib
import tomllib

from projector.scene.faults import Fault, SceneError


def parsed_override(text: str) -> tuple[list[str], object]:
    """The keys and the value of one "key.key=value"; values as in TOML, bare words as text."""
    key, equals, value = text.partition("=")
    if not equals or not key.strip():
        raise SceneError(Fault(found=f'"{text}" is not a change', allowed="KEY=VALUE, such as projector.window.lens.f_number=4", key=text))
    try:
        parsed = tomllib.loads(f"value = {value.strip()}")["value"]
    except tomllib.TOMLDecodeError:
        parsed = value.strip()
    return [part.strip() for part in key.strip().split(".")], parsed


def apply_overrides(data: dict, overrides) -> dict:
    """A copy of a scene's plain data with the changes made. All unknown names are told at once (SceneError)."""
    result = copy.deepcopy(data)
    faults = []
    for text in overrides:
        try:
            keys, value = parsed_override(text)
            _set(result, keys, value, text)
        except SceneError as error:
            faults += error.faults
    if faults:
        raise SceneError(faults)
    _keep_readings(data, result)
    return result


def _set(here, keys: list[str], value, text: str) -> None:
    for index, key in enumerate(keys):
        last = index == len(keys) - 1
        if isinstance(here, list):
            if last:
                raise SceneError(Fault(found=f'"{text}" names one of several things, not a value of it', allowed=f"{'.'.join(keys)}.KEY=VALUE", key=".".join(keys)))
            here = _item(here, key, keys[:index], text)
        elif last:
            here[key] = value
        else:
            if not isinstance(here.get(key), (dict, list)):
                here[key] = {}
            here = here[key]


def _item(items: list, key: str, before: list[str], text: str):
    names = [str(item.get("name") or item.get("side") or item.get("kind")) for item in items]
    if key in names:
        return items[names.index(key)]
    if key.isdigit() and 1 <= int(key) <= len(items):
        return items[int(key) - 1]
    close = difflib.get_close_matches(key, names, 1, 0.5)
    raise SceneError(
        Fault(
            found=f'there is no {".".join(before)} called "{key}"',
            allowed=", ".join(names) or "none: the scene has none",
            try_=f"did you mean {close[0]}?" if close else "",
            key=text.partition("=")[0],
        )
    )


def _keep_readings(before: dict, after: dict) -> None:
    """A meter reading was taken with the lens as the file has it: another f-number now must not change what it says."""
    old = {item.get("name"): item for item in before.get("projector", []) if isinstance(item, dict)}
    for item in after.get("projector", []):
        if not isinstance(item, dict):
            continue
        reading, lens = item.get("reading"), item.get("lens")
        previous = (old.get(item.get("name")) or {}).get("lens")
        if not (isinstance(reading, dict) and isinstance(lens, dict) and isinstance(previous, dict)):
            continue
        if "lens_f_number" not in reading and lens.get("f_number") != previous.get("f_number"):
            reading["lens_f_number"] = previous.get("f_number")
