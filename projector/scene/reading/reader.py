"""Scene files: read, changed by name, and checked as a whole. All faults of a file are reported at once."""

from __future__ import annotations

import json
import os
from collections.abc import Sequence
from pathlib import Path

from pydantic import ValidationError

from projector.faults import Fault, SceneError
from projector.files.finding import find_scene, text_of
from projector.scene.checks.cross import cross_check
from projector.scene.checks.early import NOT_YET_ALL, early_faults
from projector.scene.model import Scene
from projector.scene.reading.field_faults import Places, faults_of
from projector.scene.reading.file_format import parsed, upgraded
from projector.scene.reading.gear_file import merge_gear_file
from projector.scene.reading.given_overrides import Overrides, typed_overrides
from projector.scene.reading.lens_files import merge_lens_files
from projector.scene.reading.overrides import apply_overrides
from projector.scene.reading.toml_lines import TomlLines
from projector.scene.stated_power import keep_statements

Checked = tuple[Scene | None, list[Fault], list[str]]


def load(path, overrides: Overrides = None, **tables) -> Scene:
    """Read a scene file, or a shipped scene by name, with some values changed.

    overrides: as on the command line, "camera.iso=800", several of them, or a dict, {"camera.iso": 800}; or a table as
    a keyword: camera={"iso": 800}. SceneError with all faults.
    """
    return _scene_of(check(path, typed_overrides(overrides, **tables)))


def load_text(text: str, name: str = "scene", folder=".", overrides: Overrides = None, **tables) -> Scene:
    """A scene from TOML text, with overrides as `load` takes them.

    folder: where the scene's own files are looked for. SceneError with all faults.
    """
    return _scene_of(check_text(text, name, Path(folder), typed_overrides(overrides, **tables), name))


def scene_from(given, overrides: Overrides = None) -> Scene:
    """A scene as it was given: itself, the path of its file, or a shipped scene's name; with overrides, if any.

    One that was made in code is looked at as a whole first. SceneError with all faults.
    """
    if not isinstance(given, (Scene, str, os.PathLike)):
        allowed = "a Scene, the path of its file, or the name of a shipped scene"
        raise SceneError(Fault(f"a {type(given).__name__} is no scene", allowed))
    if not isinstance(given, Scene):
        return load(given, overrides)
    if overrides:
        return with_overrides(given, overrides)
    if given.is_unchecked:
        _scene_of((given, cross_check(given)[0], []))
        given.note_checked()
    return given


def with_overrides(scene, overrides: Overrides = None, **tables) -> Scene:
    """A scene with some values changed, checked again; the scene itself stays as it was.

    scene: a Scene, a file's path or a shipped name. overrides and tables: as `load` takes them. SceneError with all
    faults.

    >>> scene = load("03-cabin-window")
    >>> with_overrides(scene, {"projector.window.lens.f_number": 4}).projector["window"].lens.f_number
    4.0
    >>> with_overrides(scene, "camera.shutter_s=1/60", camera={"iso": 800}).overrides
    ('camera.shutter_s=1/60', 'camera.iso=800')
    """
    overrides = typed_overrides(overrides, **tables)
    if not isinstance(scene, Scene):
        return load(scene, overrides)
    # Only what the file said: a default that was never written cannot contradict what is typed now.
    data = scene.model_dump(mode="json", exclude_none=True, exclude_unset=True)
    changed = _scene_of(_changed(data, scene.name, Path(scene.folder), overrides, None, None))
    return changed.placed_at(scene.name, scene.folder, (*scene.overrides, *overrides))


def check(path, overrides: Sequence[str] = ()) -> Checked:
    """Scene (None if it has faults), faults and warnings of a scene file."""
    try:
        found = find_scene(path)
        text = text_of(found)
    except SceneError as error:
        return None, error.faults, []
    return check_text(text, found.stem, found.parent, overrides, str(path))


def warnings_of(scene: Scene) -> list[str]:
    """What should be noted of a scene that has no faults."""

    return cross_check(scene, Places(None, lambda path: None))[1]


def _scene_of(checked: Checked) -> Scene:
    scene, faults, _ = checked
    if faults or scene is None:
        raise SceneError(faults)
    return scene


def check_text(text: str, name: str, folder: Path, overrides: Sequence[str], file: str) -> Checked:
    """The same of a scene's text, called `name`, whose own files are looked for in `folder`; file: what faults call
    it.
    """
    try:
        data = parsed(text, file)
        lines = TomlLines(text)
        data = upgraded(data, file, lines)
    except SceneError as error:
        return None, error.faults, []
    return _changed(data, name, folder, overrides, file, lines)


def _changed(
    data: dict, name: str, folder: Path, overrides: Sequence[str], file: str | None, lines: TomlLines | None
) -> Checked:
    """Plain data with changes made, lens files and gear merged, then checked."""
    after, typed, faults = apply_overrides(data, overrides)
    places = Places(
        file, lines.line_of if lines else lambda path: None, typed, lines.exact_line_of if lines else lambda path: None
    )
    lens_faults, unknown = merge_lens_files(after, folder, places, typed)
    if overrides:
        merge_lens_files(data, folder, places)
        keep_statements(data, after)
    gear_faults, unread = merge_gear_file(after, folder, places)
    scene, others, warnings = _from_data(after, name, folder, places, [*unknown, *unread])
    faults = faults + lens_faults + gear_faults + others
    if faults or scene is None:
        return None, faults, warnings
    return scene.placed_at(name, str(folder), overrides), faults, warnings


def _around(lens_key: str) -> tuple[str, str]:
    """The keys whose faults depend on a lens, or on another part."""
    owner = lens_key.removesuffix(".lens")
    return f"{lens_key}.", f"{owner}.focus."


def _from_data(data: dict, name: str, folder: Path, places: Places, unknown: Sequence[str]) -> Checked:
    """Validate plain data field by field, then as a whole; `unknown` are the keys of lenses that a stand-in takes the
    place of, and of powers whose gear could not be read.
    """

    try:
        # JSON, not Python: only there do lists become tuples while numbers stay strict.
        scene = Scene.model_validate_json(json.dumps(data, default=str)).placed_at(name, str(folder))
    except ValidationError as error:
        faults = faults_of(error, data, Scene, places)
        return None, faults + early_faults(data, folder, places, faults), [NOT_YET_ALL]
    except (RecursionError, OverflowError, ValueError) as error:
        return None, [Fault(found=f"a value is too large or too deep ({type(error).__name__})", file=places.file)], []
    faults, warnings = cross_check(scene, places)
    # What a stand-in leads to is not the user's fault.
    faults = [fault for fault in faults if not any(f"{fault.key}.".startswith(_around(key)) for key in unknown)]
    return (None if faults else scene), faults, warnings
