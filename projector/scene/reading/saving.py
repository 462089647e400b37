"""A changed scene written to a new file, the user's comments and layout kept."""

from __future__ import annotations

import contextlib
import copy
import os
from collections.abc import Sequence
from pathlib import Path

import tomlkit
from tomlkit import TOMLDocument
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import InlineTable

from projector.faults import Fault, SceneError
from projector.files.finding import find_file, find_scene, text_of
from projector.files.records import written_whole
from projector.scene.model import FORMAT, Scene
from projector.scene.reading.field_faults import Places
from projector.scene.reading.file_format import parsed
from projector.scene.reading.given_overrides import Overrides, toml_text, typed_overrides
from projector.scene.reading.lens_files import merge_lens_files
from projector.scene.reading.overrides import apply_overrides
from projector.scene.reading.reader import load_text, scene_from
from projector.scene.stated_power import STATEMENTS, keep_statements, projectors_in


def save_scene(scene, to_path, overrides: Overrides = None, overwrite: bool = False) -> Path:
    """Write a scene to a file, with some values changed; returns the file's path.

    scene: a file's path or a shipped name, whose comments and layout are kept, or a Scene, which is written anew.
    overrides: as `load` takes them. to_path gets the ending .toml if it has another or none. The new file says what the
    old one with these changes says, wherever it lies: files of the scene's own that would not be found from there are
    named by their way, and a reading or an output stays with the lens and stop that it was made with.

    SceneError, and nothing is written, if `to_path` is there (unless overwrite), if a name is unknown, or if the
    changed scene has faults where it is going to lie.
    """
    to_path = Path(to_path)
    if to_path.suffix != ".toml" and not os.path.isdir(to_path):
        to_path = to_path.with_name(f"{to_path.name}.toml")
    if isinstance(scene, Scene):
        check_goal(Path(f"{scene.name}.toml"), to_path, overwrite)
        text = scene_text(scene_from(scene, overrides), to_path.parent)
    else:
        source = find_scene(scene)
        check_goal(source, to_path, overwrite)
        typed = typed_overrides(overrides)
        text = variant_text(text_of(source), typed, str(source), source.parent, to_path.parent)
    write_scene(text, to_path)
    return to_path


def write_scene(text: str, to_path: Path) -> None:
    """Write a scene's text to its file, whole or not at all. SceneError, and nothing is written, if it has faults
    there.
    """
    load_text(text, to_path.stem, to_path.parent)
    with written_whole(to_path) as temporary:
        temporary.write_bytes(text.encode())


def scene_text(scene: Scene, to_folder: Path) -> str:
    """A scene as the text of a file that is going to lie in a folder: what was said of it, and no defaults."""
    data = scene.model_dump(mode="json", exclude_unset=True, exclude_none=True)
    if Path(scene.folder).resolve() != to_folder.resolve():
        _name_files_from(data, Path(scene.folder), to_folder)
    tables = {key: value for key, value in data.items() if isinstance(value, (dict, list))}
    blocks = [_lines_of({"format": FORMAT, **{key: data[key] for key in data if key not in tables}})]
    for key, value in tables.items():
        head = f"[{key}]" if isinstance(value, dict) else f"[[{key}]]"
        blocks += [f"{head}\n{_lines_of(item)}" for item in (value if isinstance(value, list) else [value])]
    return "\n".join(blocks)


def _lines_of(table: dict) -> str:
    return "".join(f"{key} = {toml_text(key, value)}\n" for key, value in table.items())


def variant_text(text: str, overrides: Sequence[str], file: str, folder: Path, to_folder: Path) -> str:
    """A scene's text with changes as they are typed, everything else as it was; `folder` and `to_folder`: where it
    lies, and will lie.
    """
    before = parsed(text, file)
    after, typed, faults = apply_overrides(before, overrides)
    if faults:
        raise SceneError(faults)
    _keep_what_lens_files_say(before, after, folder, file, typed)
    if folder.resolve() != to_folder.resolve():
        _name_files_from(after, folder, to_folder)
    document = _document(text, file)
    _bring_to(document, after)
    changed = tomlkit.dumps(document)
    if parsed(changed, file) != after:
        raise SceneError(
            Fault(found="this cannot be rewritten with its layout kept", try_="change it in your editor", file=file)
        )
    return changed


def _keep_what_lens_files_say(before: dict, after: dict, folder: Path, file: str, typed: Sequence[tuple]) -> None:
    """What a changed scene takes from lens files beyond their own keys, noted in place: readings keep their lens, a
    lens its widest stop.
    """
    lines = Places(file, lambda path: None)
    then, now = copy.deepcopy(before), copy.deepcopy(after)
    merge_lens_files(then, folder, lines)
    merge_lens_files(now, folder, lines, typed)
    keep_statements(then, now)
    for item, merged in zip(projectors_in(after), projectors_in(now), strict=True):
        for kind in STATEMENTS:
            if kind in merged:
                item[kind] = merged[kind]
        lens = item.get("lens")
        if isinstance(lens, dict) and "f_number" in lens:
            lens["f_number"] = merged["lens"]["f_number"]


# Where a scene names a file, and of which kind.
_FILE_KEYS = (
    ("projector", ("stencil",), "stencil"),
    ("projector", ("filter",), "filter"),
    ("projector", ("lens",), "lens"),
    ("projector", ("lens", "pupil"), "pupil"),
    ("projector", ("reading", "lens"), "lens"),
    ("projector", ("reading", "lens", "pupil"), "pupil"),
    ("projector", ("output", "lens"), "lens"),
    ("projector", ("output", "lens", "pupil"), "pupil"),
    ("light", (), "photometric"),
    ("projector", ("power", "lens"), "lens"),
    ("projector", ("power", "lens", "pupil"), "pupil"),
    ("gear", (), "gear"),
    ("gear", ("unit", "reading", "lens"), "lens"),
    ("surface", (), "mesh"),
)


def _name_files_from(data: dict, folder: Path, to_folder: Path) -> None:
    """Name each file of a scene so that it is found from another folder, in place; a name that does there is left."""
    for owner, keys, kind in _FILE_KEYS:
        items = data.get(owner)
        for item in items if isinstance(items, list) else [items]:
            for holder in _inside(item, keys):
                if isinstance(holder.get("file"), str):
                    holder["file"] = _name_from(holder["file"], kind, folder, to_folder)


def _inside(item, keys: Sequence[str]) -> list[dict]:
    """The tables that stand under some keys of a table; several where a list of them does."""
    found = [item]
    for key in keys:
        here = [one.get(key) for one in found if isinstance(one, dict)]
        found = [one for value in here for one in (value if isinstance(value, list) else [value])]
    return [one for one in found if isinstance(one, dict)]


def _name_from(name: str, kind: str, folder: Path, to_folder: Path) -> str:
    try:
        meant = find_file(name, folder, kind)
    except SceneError:
        return name
    whole = meant.resolve()
    with contextlib.suppress(ValueError):  # another drive has no way there
        whole = Path(os.path.relpath(whole, to_folder.resolve()))
    for candidate in (name, whole.as_posix()):
        with contextlib.suppress(SceneError):
            if find_file(candidate, to_folder, kind).samefile(meant):
                return candidate
    return str(meant.resolve())


def _bring_to(here, wanted) -> None:
    """Change a document's table, in place, until it says what plain data say; what says so already is not touched."""
    for key in [key for key in here if key not in wanted]:
        here.pop(key)
    for key, value in wanted.items():
        present = here.get(key)
        if key in here and _plain(present) == value:
            continue
        if isinstance(value, dict) and isinstance(present, dict) and not isinstance(present, InlineTable):
            _bring_to(present, value)
        elif _are_tables(value) and _are_tables(present) and len(value) == len(present):
            for index, (old, new) in enumerate(zip(present, value, strict=True)):
                if isinstance(old, InlineTable):
                    present[index] = _as_written(new, present, old)
                else:
                    _bring_to(old, new)
        else:
            here[key] = _as_written(value, here, present)


def _as_written(value, holder, present=None):
    """A value as people write it in its place; of a table that is there already the order is kept, and what stays.

    Only tables right under the document stand by themselves, but for those in braces already; others are written in
    braces, with spaces.
    """
    if not isinstance(value, dict):
        if _are_tables(value) and not isinstance(holder, TOMLDocument):
            rows = tomlkit.array()
            rows.extend(_as_written(item, rows) for item in value)
            return rows
        return value
    stands_alone = isinstance(holder, TOMLDocument) and not isinstance(present, InlineTable)
    table = tomlkit.table() if stands_alone else tomlkit.inline_table()
    old = present if isinstance(present, dict) else {}
    for key in [*(key for key in old if key in value), *(key for key in value if key not in old)]:
        stays = key in old and _plain(old[key]) == value[key] and not isinstance(old[key], dict)
        table[key] = copy.copy(old[key]) if stays else _as_written(value[key], table, old.get(key))
    if isinstance(table, InlineTable) and len(table):
        items = [table.item(key) for key in table]
        for item in items:
            item.trivia.indent, item.trivia.trail = "", ""
        items[0].trivia.indent = items[-1].trivia.trail = " "
    return table


def _plain(value):
    return value.unwrap() if hasattr(value, "unwrap") else value


def _are_tables(value) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(item, dict) for item in value)


def check_goal(source: Path, to_path: Path, overwrite: bool) -> None:
    """SceneError where a scene that was made from `source` may not be written."""
    try:
        is_folder, is_there = to_path.is_dir(), to_path.exists()
    except OSError as error:
        raise SceneError(
            Fault(
                f"this cannot be written: {error.strerror}",
                "a name that the system can hold",
                "a shorter name",
                file=str(to_path),
            )
        ) from None
    if is_folder:
        raise SceneError(
            Fault(found="this is a folder", allowed="a file name", try_=str(to_path / source.name), file=str(to_path))
        )
    if is_there and not overwrite:
        raise SceneError(
            Fault(
                found="this is there already",
                allowed="a new name",
                try_="another name, or overwrite=True to replace it",
                typed="another name, or --overwrite to replace it",
                file=str(to_path),
            )
        )


def _document(text: str, file: str):
    try:
        return tomlkit.parse(text)
    except TOMLKitError as error:
        raise SceneError(
            Fault(found=f"this cannot be rewritten: {error}", try_="change it in your editor", file=file)
        ) from None
