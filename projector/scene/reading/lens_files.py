"""Lens files: a title and a [lens] table of the same keys as a scene's lens, and how a scene's own keys go on top of
them.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

from pydantic import ValidationError

from projector.faults import Fault, SceneError
from projector.files.finding import find_file, text_of
from projector.scene.checks.lens import lens_faults
from projector.scene.model import Lens
from projector.scene.reading.field_faults import Places, dotted, faults_of, not_a_key
from projector.scene.reading.file_format import parsed
from projector.scene.reading.toml_lines import TomlLines
from projector.scene.stated_power import STATEMENTS

_TABLES = ("title", "lens", "format", "measured")
# Stands for a lens whose file cannot be used, so that the rest of the scene is still looked at.
STAND_IN = {"focal_length_mm": 85.0, "f_number": 2.8}


def read_lens_file(path: Path) -> dict:
    """The keys of a lens file's [lens] table, checked. SceneError with that file's own faults."""

    text = text_of(path)
    data = parsed(text, str(path))
    lens, lines = data.get("lens"), TomlLines(text)
    if not isinstance(lens, dict):
        raise SceneError(
            Fault(found="there is no [lens] table", allowed="a lens file: title and [lens]", file=str(path))
        )
    faults = [
        Fault(
            found=not_a_key(key),
            allowed="title, [lens], [measured]",
            file=str(path),
            line=lines.line_of((key,)),
            key=key,
        )
        for key in data
        if key not in _TABLES
    ]
    places = Places(str(path), lambda inner: lines.line_of(("lens", *inner)))
    try:
        checked = Lens.model_validate_json(json.dumps(lens, default=str))
    except ValidationError as error:
        faults += faults_of(error, lens, Lens, places)
    else:
        faults += lens_faults(checked, Places(str(path), lines.line_of))
    if faults:
        raise SceneError(faults)
    return lens


def load_lens(name, folder=".", **keys) -> Lens:
    """The lens of a lens file, or a shipped one by name, with keys of your own on top.

    load_lens("achromat", f_number=4) is the achromat stopped down. folder: where a file is looked for first. SceneError
    if there is no such file, or with all faults of the lens.
    """
    return Lens(**{**_keys_of(str(name), Path(folder)), **keys})


def merge_lens_files(
    data: dict, folder: Path, places: Places, typed: Sequence[tuple] = ()
) -> tuple[list[Fault], list[str]]:
    """Put the keys of each lens file under those that the scene gives beside it, in place; also where a reading names
    its own lens.

    typed: paths changed on the command line; a lens exchanged there keeps its f-number, or opens only as far as it can.
    Returns faults, and the dotted keys of lenses that a stand-in takes the place of.
    """
    projectors = data.get("projector")
    holders = [
        holder
        for index, item in enumerate(projectors if isinstance(projectors, list) else [])
        if isinstance(item, dict)
        for holder in (
            (item, ("projector", index)),
            *((item.get(kind), ("projector", index, kind)) for kind in STATEMENTS),
        )
    ]
    return merge_lenses(data, holders, folder, places, typed)


def merge_lenses(
    data: dict, holders, folder: Path, places: Places, typed: Sequence[tuple] = ()
) -> tuple[list[Fault], list[str]]:
    """The same of any tables that may hold a lens, (table, its path in `data`)."""
    faults, unknown = [], []
    for holder, place in holders:
        lens = holder.get("lens") if isinstance(holder, dict) else None
        if not (isinstance(lens, dict) and "file" in lens):
            continue
        path, own = (*place, "lens"), {key: value for key, value in lens.items() if key != "file"}
        try:
            holder["lens"] = _on_top_of(_keys_of(lens["file"], folder), own, path, typed)
        except SceneError as error:
            unknown.append(dotted(path, data))
            faults += [said_here(fault, lens["file"], places, path, f"{unknown[-1]}.file") for fault in error.faults]
            holder["lens"] = {**STAND_IN, **own}
    return faults, unknown


def _keys_of(name, folder: Path) -> dict:
    if not isinstance(name, str):
        raise SceneError(Fault(found=f"file = {name}", allowed="the name of a lens file in quotes"))
    keys = dict(read_lens_file(find_file(name, folder, "lens")))
    keys.setdefault("widest_f_number", keys["f_number"])
    return keys


def _on_top_of(kept: dict, own: dict, path: tuple, typed: Sequence[tuple]) -> dict:
    exchanged = (*path, "file") in typed and (*path, "f_number") not in typed
    if exchanged and isinstance(own.get("f_number"), (int, float)):
        own = {**own, "f_number": max(own["f_number"], kept["widest_f_number"])}
    return {**kept, **own}


def said_here(fault: Fault, name, places: Places, path: tuple, key: str) -> Fault:
    """A missing file is the scene's fault; what is wrong inside one is said with that file's own lines."""
    if fault.file is not None and fault.file != name:
        return fault
    file, line = places.of((*path, "file"))
    return Fault(fault.found, fault.allowed, fault.try_, file, line, key)
