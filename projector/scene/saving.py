"""A changed scene written to a new file, the user's comments and layout kept."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

import tomlkit
from tomlkit.exceptions import TOMLKitError

from projector.scene.faults import Fault, SceneError
from projector.scene.field_faults import item_name
from projector.scene.file_format import parsed
from projector.scene.finding import find_scene, text_of
from projector.scene.stated_power import STATEMENTS, keep_statements


def save_scene(scene_path, changes: dict[str, object], to_path, overwrite: bool = False) -> Path:
    """Write a copy of a scene file with values changed by dotted key ("projector.window.lens.f_number"); None takes a key out.

    A reading or an output stays with the lens and stop that it was made with. Raises SceneError if `to_path` is there (unless overwrite), if a
    name is unknown, or if the changed scene has faults where it is going to lie; then nothing is written.
    """
    from projector.scene.reader import load_text

    source, to_path = find_scene(scene_path), Path(to_path)
    if to_path.is_dir():
        raise SceneError(Fault(found="this is a folder", allowed="a file name", try_=str(to_path / source.name), file=str(to_path)))
    if to_path.exists() and not overwrite:
        raise SceneError(Fault(found=f"{to_path} is there already", allowed="a new name", try_="another name, or overwrite it knowingly", file=str(to_path)))
    text = changed_text(text_of(source), changes, str(source))
    load_text(text, to_path.stem, to_path.parent)
    _write_whole(text, to_path)
    return to_path


def changed_text(text: str, changes: dict[str, object], file: str = "scene") -> str:
    """A scene's text with values changed by dotted key, everything else as it was. SceneError tells all unknown names."""
    before = parsed(text, file)
    try:
        document = tomlkit.parse(text)
    except TOMLKitError as error:
        raise SceneError(Fault(found=f"this cannot be rewritten: {error}", try_="change it in your editor", file=file)) from None
    faults = []
    for key, value in changes.items():
        try:
            _set(document, key.split("."), value)
        except SceneError as error:
            faults += error.faults
    if faults:
        raise SceneError(faults)
    _keep_statements(document, before)
    return tomlkit.dumps(document)


def _set(here, keys: list[str], value) -> None:
    for index, key in enumerate(keys[:-1]):
        if isinstance(here, list):
            here = _item(here, keys, index)
        elif key in here:
            here = here[key]
        else:
            # A table of its own under the document, { … } inside another.
            here[key] = tomlkit.table() if index == 0 else tomlkit.inline_table()
            here = here[key]
        if not isinstance(here, (dict, list)):
            raise SceneError(Fault(found=f"{'.'.join(keys[: index + 1])} is one value and has no {keys[index + 1]}", key=".".join(keys)))
    if isinstance(here, list):
        raise SceneError(Fault(found=f"{'.'.join(keys)} is not a single value", allowed=f"{'.'.join(keys)}.KEY", key=".".join(keys)))
    if value is None:
        here.pop(keys[-1], None)
    else:
        here[keys[-1]] = list(value) if isinstance(value, tuple) else value


def _item(items: list, keys: list[str], index: int):
    names = [item_name(item, number, keys[index - 1]) for number, item in enumerate(items)]
    if keys[index] not in names:
        raise SceneError(Fault(found=f'there is no {".".join(keys[:index])} called "{keys[index]}"', allowed=", ".join(names), key=".".join(keys)))
    return items[names.index(keys[index])]


def _keep_statements(document, before: dict) -> None:
    after = document.unwrap()
    keep_statements(before, after)
    for item, wanted in zip(document.get("projector", []), after.get("projector", []), strict=False):
        for kind in STATEMENTS:
            _note_lens(item.get(kind), wanted.get(kind))


def _note_lens(statement, wanted) -> None:
    """Bring what a statement of power says of its lens to what is wanted, in place."""
    if not (isinstance(statement, dict) and isinstance(wanted, dict)):
        return
    for key in ("lens_f_number", "lens"):
        if key not in wanted:
            statement.pop(key, None)
        elif key not in statement:
            statement[key] = tomlkit.item(wanted[key], _parent=statement) if isinstance(wanted[key], dict) else wanted[key]


def _write_whole(text: str, to_path: Path) -> None:
    """Write beside the goal and move into place, so that a full disk or a stop never leaves half a scene."""
    try:
        handle, name = tempfile.mkstemp(dir=to_path.parent, prefix=f".{to_path.stem}-", suffix=".toml")
        try:
            with os.fdopen(handle, "w", encoding="utf-8", newline="") as file:
                file.write(text)
            # mkstemp makes files private; a scene gets the rights that any new file of the user has.
            mask = os.umask(0)
            os.umask(mask)
            os.chmod(name, 0o666 & ~mask)
            os.replace(name, to_path)
        except BaseException:
            os.unlink(name)
            raise
    except OSError as error:
        raise SceneError(Fault(found=f"this cannot be written: {error.strerror}", try_="another folder", file=str(to_path))) from None
