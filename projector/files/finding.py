"""Files found by name: beside the scene first, then among the shipped ones; scenes by path or by shipped name."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

from projector.faults import Fault, SceneError
from projector.phrases import did_you_mean, listed, nearest, shortened

_FOLDERS = {
    "stencil": "stencils",
    "pupil": "stencils",
    "lens": "scenes/lenses",
    "filter": "scenes/filters",
    "gear": "scenes/gear",
    "scene": "scenes",
    "mesh": "scenes",
    "photometric": "scenes/lamps",
}
_ENDINGS = {
    "stencil": (".png", ".tif", ".tiff", ".jpg", ".jpeg", ".webp", ".bmp", ".gif"),
    "pupil": (".png", ".tif", ".tiff", ".jpg", ".jpeg"),
    "lens": (".toml",),
    "filter": (".csv",),
    "gear": (".toml",),
    "scene": (".toml",),
    "mesh": (".stl", ".obj", ".ply", ".off", ".glb"),
    "photometric": (".ies",),
}
_LARGEST_FILE = 10_000_000


def shipped_folder(kind: str) -> Path:
    """Where the shipped files of a kind lie: inside an installed package, else in the checkout."""
    package = Path(__file__).resolve().parents[1]
    installed = package / "_shipped" / _FOLDERS[kind]
    return installed if installed.is_dir() else package.parent / _FOLDERS[kind]


def nearest_file(name: str, known: list[str]) -> str:
    """The name that was most likely meant, by files' names without folder and ending; "" if none is near."""
    stems = {Path(item).stem.lower(): item for item in reversed(known)}
    stem = Path(name).stem.lower()
    # "cabin" for "03-cabin-window": a whole word of a longer name.
    holding = [item for item in stems if len(stem) >= 3 and stem in re.split(r"[-_ ]", item)]
    close = nearest(stem, stems, 0.65) or next(iter(holding), "")
    return stems.get(close, "")


def find_file(name: str, folder, kind: str) -> Path:
    """A file of kind "stencil", "pupil", "lens", "filter", "gear", "mesh", "photometric" or "scene": beside the scene,
    else a shipped one by its bare name.

    The ending may be left out. SceneError with the nearest name if there is none.
    """
    name = str(name)
    for place in (Path(folder), shipped_folder(kind)):
        for candidate in (place / name, *(place / (name + ending) for ending in _ENDINGS[kind])):
            if _is_file(candidate):
                return candidate
    beside = [path.name for path in _listed(Path(folder)) if path.suffix.lower() in _ENDINGS[kind]]
    shipped = [path.stem for path in _listed(shipped_folder(kind)) if path.suffix.lower() in _ENDINGS[kind]]
    close = nearest_file(name, beside + shipped)
    shown = re.sub(r"[\x00-\x1f]", lambda found: found[0].encode("unicode_escape").decode(), name)
    shown = shortened(shown)
    is_folder = _is_folder(Path(folder) / name)
    raise SceneError(
        Fault(
            found=(
                f'"{shown}" is a folder'
                if is_folder
                else f'there is no {kind} file "{shown}" beside the scene or among the shipped ones'
            ),
            allowed=", ".join(shipped) or f"a file with the ending {', '.join(_ENDINGS[kind])}",
            try_="name the file in it" if is_folder else _try_name(name, close),
            value=name,
        )
    )


def _try_name(name: str, close: str) -> str:
    """What to try where no file of a name is there."""
    if any(ord(letter) < 32 for letter in name):
        return "a backslash between double quotes starts a letter of its own: write / instead"
    return did_you_mean(close, otherwise="look for a typing mistake in the name")


def find_scene(path) -> Path:
    """A scene file by its path, or a shipped one by its name. SceneError with the nearest name if there is none."""
    path = Path(path)
    if _is_file(path):
        return path
    if _is_folder(path):
        inside = [item.name for item in _listed(path) if item.suffix == ".toml"]
        raise SceneError(
            Fault(
                found="this is a folder",
                allowed="a scene file",
                try_=listed(inside, "or") if inside else "",
                file=str(path),
            )
        )
    shipped = shipped_folder("scene")
    if len(path.parts) <= 2:
        for candidate in (shipped / path.name, shipped / (path.name + ".toml")):
            if _is_file(candidate):
                return candidate
    names = [str(item) for item in _listed(path.parent) if item.suffix == ".toml"] + [
        item.stem for item in _listed(shipped) if item.suffix == ".toml"
    ]
    close = nearest_file(str(path), names)
    raise SceneError(
        Fault(
            found="there is no such scene file",
            allowed="a .toml file, or the name of a shipped scene",
            try_=did_you_mean(close, otherwise="`projector scenes` lists the shipped ones"),
            file=str(path),
        )
    )


def text_of(path: Path, wanted: str = "a scene") -> str:
    """The text of a file of the user's; wanted: what it should hold. SceneError if it is empty, huge, not UTF-8 or
    cannot be opened.
    """
    try:
        size = path.stat().st_size
        raw = path.read_bytes() if size <= _LARGEST_FILE else b""
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise SceneError(
            Fault(found=f"the file cannot be opened: {reason}", try_="look at its permissions", file=str(path))
        ) from None
    if size > _LARGEST_FILE:
        raise SceneError(
            Fault(
                found=f"the file has {size:,} bytes",
                allowed=f"text of at most {_LARGEST_FILE:,} bytes",
                try_="is this the right file?",
                file=str(path),
            )
        )
    if not raw.strip():
        raise SceneError(
            Fault(
                found="the file is empty",
                allowed=wanted,
                try_="start from a shipped one",
                file=str(path),
            )
        )
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise SceneError(
            Fault(
                found="this is not text in UTF-8",
                allowed="UTF-8",
                try_="save it as UTF-8 in your editor",
                file=str(path),
                line=line,
            )
        ) from None


def list_scenes() -> list[tuple[Path, str]]:
    """The shipped scenes with their titles, by number."""
    found = []
    for path in sorted(shipped_folder("scene").glob("*.toml")):
        with path.open("rb") as file:
            found.append((path, str(tomllib.load(file).get("title", ""))))
    return found


def _is_file(path: Path) -> bool:
    """Whether a file is there; a name that the system cannot even hold is not."""
    try:
        return path.is_file()
    except OSError:
        return False


def _is_folder(path: Path) -> bool:
    try:
        return path.is_dir()
    except OSError:
        return False


def _listed(folder: Path) -> list[Path]:
    """What a folder holds, by name; nothing if it cannot be listed."""
    try:
        return sorted(folder.iterdir())
    except OSError:
        return []
