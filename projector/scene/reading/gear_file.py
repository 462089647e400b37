"""Gear files: a title and a [[unit]] for each light of one's own, with what a meter shows of it at full power."""

from __future__ import annotations

import json
from pathlib import Path

from pydantic import ValidationError

from projector.faults import Fault, SceneError
from projector.files.finding import find_file, text_of
from projector.scene.checks.gear import check_gear
from projector.scene.checks.report import Report
from projector.scene.model import Gear
from projector.scene.reading.field_faults import Places, dotted, faults_of
from projector.scene.reading.file_format import parsed
from projector.scene.reading.lens_files import merge_lenses, said_here
from projector.scene.reading.toml_lines import TomlLines

_EXAMPLE = 'gear = { file = "my-gear" }'


def read_gear_file(path: Path) -> dict:
    """A gear file as plain data, lens files merged, checked. SceneError with that file's own faults."""
    text = text_of(path, "a table of gear: [[unit]]")
    data, lines = parsed(text, str(path)), TomlLines(text)
    data.pop("format", None)
    places = Places(str(path), lines.line_of)
    units = data.get("unit")
    readings = [
        (unit.get("reading"), ("unit", index, "reading"))
        for index, unit in enumerate(units if isinstance(units, list) else [])
        if isinstance(unit, dict)
    ]
    faults, _ = merge_lenses(data, readings, path.parent, places)
    try:
        gear = Gear.model_validate_json(json.dumps(data, default=str))
    except ValidationError as error:
        raise SceneError(faults + faults_of(error, data, Gear, places)) from None
    report = Report(places)
    check_gear(report, gear, (), "")
    if faults + report.faults:
        raise SceneError(faults + report.faults)
    return data


def load_gear(name, folder=".") -> Gear:
    """The table of a gear file, or a shipped one by name; folder: where a file is looked for first.

    SceneError if there is no such file, or with all its faults.

    >>> from projector import level_of
    >>> round(level_of(load_gear("studio-shelf"), "big flash with lens", "1/4").f_number, 1)
    5.6
    """
    return Gear.model_validate_json(json.dumps(read_gear_file(find_file(str(name), Path(folder), "gear"))))


def merge_gear_file(data: dict, folder: Path, places: Places) -> tuple[list[Fault], list[str]]:
    """Put what a scene's gear file says in the place of its name. Returns faults, and the keys of the powers that
    nothing can be said of without the file.
    """
    gear = data.get("gear")
    if isinstance(gear, str):
        gear = {"file": gear}
        fault = Fault("a text where a table is wanted", _EXAMPLE, f'gear = {{ file = "{gear["file"]}" }}')
        return _without(data, [said_here(fault, None, places, ("gear",), "gear")])
    if not isinstance(gear, dict) or "file" not in gear:
        return [], []
    others = [key for key in gear if key != "file"]
    if others or not isinstance(gear["file"], str):
        found = f"{', '.join(others)} beside a file" if others else "a file that is no text"
        return _without(data, [said_here(Fault(found, _EXAMPLE), None, places, ("gear",), "gear")])
    try:
        data["gear"] = read_gear_file(find_file(gear["file"], folder, "gear"))
    except SceneError as error:
        faults = [said_here(fault, gear["file"], places, ("gear",), fault.key or "gear.file") for fault in error.faults]
        return _without(data, faults)
    return [], []


def _without(data: dict, faults: list[Fault]) -> tuple[list[Fault], list[str]]:
    """A scene without its gear, so that all else is still looked at."""
    del data["gear"]
    lights = [(kind, data.get(kind)) for kind in ("projector", "light")]
    return faults, [
        dotted((kind, index, "power"), data)
        for kind, items in lights
        if isinstance(items, list)
        for index in range(len(items))
    ]
