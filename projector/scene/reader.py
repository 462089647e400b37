"""Scene files: read, checked as a whole, and found by name. All faults of a file are told at once."""

from __future__ import annotations

import difflib
import json
import tomllib
from collections.abc import Sequence
from pathlib import Path

from pydantic import ValidationError

from projector.scene.faults import Fault, SceneError
from projector.scene.field_faults import faults_of
from projector.scene.model import FORMAT, Lens, Scene
from projector.scene.overrides import apply_overrides
from projector.scene.toml_lines import TomlLines

_FOLDERS = {"stencil": "stencils", "pupil": "stencils", "lens": "scenes/lenses", "scene": "scenes", "mesh": "scenes"}
_ENDINGS = {
    "stencil": (".png", ".tif", ".tiff", ".jpg", ".jpeg", ".webp", ".bmp", ".gif"),
    "pupil": (".png", ".tif", ".tiff", ".jpg", ".jpeg"),
    "lens": (".toml",),
    "scene": (".toml",),
    "mesh": (".stl", ".obj", ".ply", ".off", ".glb"),
}
_LARGEST_FILE = 10_000_000


def shipped_folder(kind: str) -> Path:
    """Where the shipped files of a kind lie: inside an installed package, else in the checkout."""
    package = Path(__file__).resolve().parents[1]
    installed = package / "_shipped" / _FOLDERS[kind]
    return installed if installed.is_dir() else package.parent / _FOLDERS[kind]


def find_file(name: str, folder, kind: str) -> Path:
    """A file beside the scene, else a shipped one by its bare name, with or without its ending. SceneError if there is none."""
    name = str(name)
    for place in (Path(folder), shipped_folder(kind)):
        for candidate in (place / name, *(place / (name + ending) for ending in _ENDINGS[kind])):
            if candidate.is_file():
                return candidate
    beside = [path.name for path in Path(folder).iterdir() if path.suffix.lower() in _ENDINGS[kind]] if Path(folder).is_dir() else []
    shipped = [path.stem for path in sorted(shipped_folder(kind).glob("*")) if path.suffix.lower() in _ENDINGS[kind]]
    close = difflib.get_close_matches(name, beside + shipped, 1, 0.5)
    raise SceneError(
        Fault(
            found=f'there is no {kind} file "{name}" beside the scene or among the shipped ones',
            allowed=", ".join(shipped) or f"a file with the ending {', '.join(_ENDINGS[kind])}",
            try_=f"did you mean {close[0]}?" if close else "look for a typing mistake in the name",
            file=name,
        )
    )


def load(path, overrides: Sequence[str] = ()) -> Scene:
    """Read a scene file (or a shipped scene by name) with changes such as "camera.iso=800". SceneError with all faults."""
    scene, faults, _ = check(path, overrides)
    if faults:
        raise SceneError(faults)
    return scene


def load_text(text: str, name: str = "scene", folder=".", overrides: Sequence[str] = ()) -> Scene:
    """A scene from TOML text; `folder` is where its own files are looked for."""
    scene, faults, _ = _checked(text, name, Path(folder), overrides, name)
    if faults:
        raise SceneError(faults)
    return scene


def with_overrides(scene: Scene, overrides: Sequence[str]) -> Scene:
    """A scene with some values changed, checked again."""
    data = apply_overrides(_plain(scene), overrides)
    changed, faults, _ = _from_data(data, scene.name, Path(scene.folder), None, lambda path: None)
    if faults:
        raise SceneError(faults)
    return changed


def _plain(scene: Scene) -> dict:
    return scene.model_dump(mode="json", exclude_none=True)


def check(path, overrides: Sequence[str] = ()) -> tuple[Scene | None, list[Fault], list[str]]:
    """Scene (None if it has faults), faults and warnings of a scene file."""
    try:
        found = _found_scene(path)
        text = _text_of(found)
    except SceneError as error:
        return None, error.faults, []
    return _checked(text, found.stem, found.parent, overrides, str(path))


def _found_scene(path) -> Path:
    path = Path(path)
    if path.is_file():
        return path
    if path.is_dir():
        inside = ", ".join(sorted(item.name for item in path.glob("*.toml"))[:20])
        raise SceneError(Fault(found="this is a folder", allowed="a scene file", try_=f"one of {inside}" if inside else "", file=str(path)))
    shipped = shipped_folder("scene")
    for candidate in (shipped / path.name, shipped / (path.name + ".toml")):
        if candidate.is_file() and len(path.parts) <= 2:
            return candidate
    names = [item.stem for item in shipped.glob("*.toml")] + [str(item) for item in path.parent.glob("*.toml")] if path.parent.is_dir() else []
    close = difflib.get_close_matches(str(path), names, 1, 0.4) or difflib.get_close_matches(path.stem, names, 1, 0.4)
    raise SceneError(Fault(found="there is no such scene file", allowed="a .toml file, or the name of a shipped scene", try_=f"did you mean {close[0]}?" if close else "`projector scenes` lists the shipped ones", file=str(path)))


def _text_of(path: Path) -> str:
    if path.stat().st_size > _LARGEST_FILE:
        raise SceneError(Fault(found=f"the file has {path.stat().st_size:,} bytes", allowed="a scene file of text", try_="is this the right file?", file=str(path)))
    raw = path.read_bytes()
    if not raw.strip():
        raise SceneError(Fault(found="the file is empty", allowed="a scene", try_="start from one of the shipped scenes", file=str(path)))
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise SceneError(Fault(found="this is not text in UTF-8", allowed="UTF-8", try_="save it as UTF-8 in your editor", file=str(path), line=line)) from None


def _checked(text: str, name: str, folder: Path, overrides, file: str):
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        return None, [_syntax_fault(error, text, file)], []
    except RecursionError:
        return None, [Fault(found="tables are nested too deeply", allowed="a scene", file=file)], []
    lines = TomlLines(text)
    fault = _format_fault(data, file, lines)
    if fault is not None:
        return None, [fault], []
    faults = _merge_lens_files(data, folder, file, lines)
    if faults:
        return None, faults, []
    try:
        data = apply_overrides(data, overrides)
    except SceneError as error:
        return None, error.faults, []
    return _from_data(data, name, folder, file, lines.line_of)


def _syntax_fault(error, text: str, file: str) -> Fault:
    words = str(error)
    line = getattr(error, "lineno", None)
    if line is None:
        import re

        found = re.search(r"line (\d+)", words)
        line = int(found[1]) if found else len(text.splitlines())
    return Fault(found=f"this line cannot be read: {words.split(' (at')[0]}", allowed="TOML: key = value, text in quotes, lists in [ ]", try_="look at this line and the one before it", file=file, line=line)


def _format_fault(data: dict, file: str, lines: TomlLines) -> Fault | None:
    given = data.get("format")
    if given is None:
        return Fault(found="format is missing", allowed=f"format = {FORMAT}", try_=f"begin the file with format = {FORMAT}", file=file, line=1, key="format")
    if isinstance(given, int) and not isinstance(given, bool) and given > FORMAT:
        return Fault(found=f"format = {given}: written for a newer version of the program", allowed=f"format = {FORMAT}", try_="update the program", file=file, line=lines.line_of(("format",)), key="format")
    if given != FORMAT:
        return Fault(found=f"format = {given}", allowed=f"format = {FORMAT}", try_=f"write format = {FORMAT}", file=file, line=lines.line_of(("format",)), key="format")
    return None


def read_lens_file(path: Path) -> dict:
    """The keys of a lens file's [lens] table, checked. SceneError with that file's own faults."""
    try:
        text = _text_of(path)
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SceneError(_syntax_fault(error, text, str(path))) from None
    lens = data.get("lens")
    if not isinstance(lens, dict):
        raise SceneError(Fault(found="there is no [lens] table", allowed="a lens file: title and [lens]", file=str(path)))
    unknown = [key for key in data if key not in ("title", "lens", "format", "measured")]
    lines = TomlLines(text)
    faults = [Fault(found=f"{key} is not a key here", allowed="title, [lens], [measured]", file=str(path), line=lines.line_of((key,)), key=key) for key in unknown]
    try:
        Lens.model_validate_json(json.dumps(lens, default=str))
    except ValidationError as error:
        faults += faults_of(error, lens, Lens, str(path), lambda inner: lines.line_of(("lens", *inner)))
    if faults:
        raise SceneError(faults)
    from projector.scene.checks import lens_faults

    faults = lens_faults(Lens.model_validate_json(json.dumps(lens, default=str)), str(path))
    if faults:
        raise SceneError(faults)
    return lens


def _merge_lens_files(data: dict, folder: Path, file: str, lines: TomlLines) -> list[Fault]:
    """Put the keys of each lens file under those that the scene gives beside it."""
    faults = []
    projectors = data.get("projector")
    for index, item in enumerate(projectors if isinstance(projectors, list) else []):
        lens = item.get("lens") if isinstance(item, dict) else None
        if not isinstance(lens, dict) or "file" not in lens:
            continue
        where = ("projector", index, "lens")
        if not isinstance(lens["file"], str):
            faults.append(Fault(found=f"file = {lens['file']}", allowed="the name of a lens file in quotes", file=file, line=lines.line_of((*where, "file")), key="projector.lens.file"))
            continue
        try:
            kept = dict(read_lens_file(find_file(lens["file"], folder, "lens")))
        except SceneError as error:
            faults += error.faults
            continue
        kept.setdefault("widest_f_number", kept.get("f_number"))
        item["lens"] = {**kept, **{key: value for key, value in lens.items() if key != "file"}}
    return faults


def _from_data(data: dict, name: str, folder: Path, file: str | None, line_of):
    """Validate plain data field by field, then as a whole."""
    from projector.scene.checks import cross_check

    try:
        scene = Scene.model_validate_json(json.dumps(data, default=str)).placed_at(name, str(folder))
    except ValidationError as error:
        return None, faults_of(error, data, Scene, file, line_of), []
    except (RecursionError, OverflowError) as error:
        return None, [Fault(found=f"a value is too large or too deep ({type(error).__name__})", file=file)], []
    faults, warnings = cross_check(scene, file, line_of)
    return (None if faults else scene), faults, warnings


def list_scenes() -> list[tuple[Path, str]]:
    """The shipped scenes with their titles, by number."""
    found = []
    for path in sorted(shipped_folder("scene").glob("*.toml")):
        with path.open("rb") as file:
            found.append((path, str(tomllib.load(file).get("title", ""))))
    return found


def save_scene(scene_path, changes: dict[str, object], to_path, overwrite: bool = False) -> Path:
    """Write a copy of a scene file with values changed by dotted key; the user's comments and layout stay.

    Raises SceneError if `to_path` is there (unless overwrite) or the changed scene has faults.
    """
    import tomlkit

    to_path = Path(to_path)
    if to_path.exists() and not overwrite:
        raise SceneError(Fault(found=f"{to_path} is there already", allowed="a new name", try_="another name, or overwrite=True", file=str(to_path)))
    document = tomlkit.parse(_text_of(_found_scene(scene_path)))
    for key, value in changes.items():
        here = document
        parts = key.split(".")
        for part in parts[:-1]:
            if isinstance(here, list):
                here = next(item for item in here if item.get("name") == part or item.get("side") == part)
            else:
                here = here[part] if part in here else here.setdefault(part, tomlkit.inline_table())
        here[parts[-1]] = value
    text = tomlkit.dumps(document)
    load_text(text, to_path.stem, Path(scene_path).parent)
    to_path.write_text(text)
    return to_path
