"""Files that we write: what they say about themselves, and what may be replaced.

Every picture and map carries a short record (JSON): program, version, scene, the scene's hash, settings and seed. A
file whose record names the same scene may be replaced; anything else only if the user says so, and that is found out
before the work starts.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import os
import re
import tempfile
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from projector import __version__
from projector.faults import Fault, SceneError
from projector.files.typed_numbers import as_typed, typed_number

RECORD_KEY = "projector"


def record(scene, command: str, **settings) -> dict:
    """What a file made from a scene says about how it was made: the scene, its changes as typed, settings, version."""
    return record_of(command, scene.name, scene.digest(), scene.overrides, **settings)


def record_of(command: str, name: str, digest: str, overrides: Sequence[str] = (), **settings) -> dict:
    """The same for a file that was made from something else than a scene, by its name and a hash of it."""

    return {
        "program": "projector",
        "version": __version__,
        "command": command,
        "scene": name,
        "scene_hash": digest,
        "overrides": list(overrides),
        "settings": settings,
    }


# A default name says its changes up to this many bytes; what is longer ends in a hash of them.
_LONGEST_NAME = 120


def default_name(scene) -> str:
    """What files of a scene are called unless they are given a name: its own, and the changes made, so that no variant
    takes another's place.

    "cabin" with projector.window.lens.f_number=4 gives "cabin-window.lens.f_number=4".
    """
    changes = "".join(f"-{_change_in_name(text)}" for text in scene.overrides)
    said = re.sub(r"[^\w.,=+-]", "", changes.replace("/", "_"))
    name = f"{scene.name}{said}"
    if len(os.fsencode(name)) > _LONGEST_NAME and changes:
        name = os.fsencode(name)[:_LONGEST_NAME].decode(errors="ignore")
    # Two changes whose names would be alike, shortened or without their signs, stay two.
    if name == f"{scene.name}{changes}":
        return name
    return f"{name}-{hashlib.sha256(changes.encode(errors='surrogateescape')).hexdigest()[:6]}"


def _change_in_name(text: str) -> str:
    """A change without the kind of thing that it changes, spaces, brackets and quotes."""
    key, _, value = text.partition("=")
    key, value = re.sub(r"^(projector|surface|figure)\.", "", key.strip()), re.sub(r'[][ "]', "", value)
    with contextlib.suppress(ValueError):
        value = as_typed(typed_number(value))
    return f"{key}={value}"


TOML_MARK = "# made by "
"""How the comment begins that holds a TOML file's record."""


def read_record(path: Path) -> dict | None:
    """The record of a file that we wrote, or None for any other file."""
    try:
        if path.suffix == ".png":
            from PIL import Image

            with Image.open(path) as image:
                text = image.text.get(RECORD_KEY)
        elif path.suffix == ".npz":
            with np.load(path, allow_pickle=False) as kept:
                text = str(kept["record"])
        elif path.suffix in (".tif", ".tiff"):
            import tifffile

            with tifffile.TiffFile(path) as file:
                text = file.pages[0].description
        elif path.suffix == ".json":
            text = json.dumps(json.loads(path.read_text(encoding="utf-8")).get("record"))
        elif path.suffix == ".csv":
            with path.open(encoding="utf-8") as file:
                first = file.readline()
            text = first[1:] if first.startswith("#") else None
        elif path.suffix.lower() == ".pdf":
            text = _pdf_record(path)
        elif path.suffix == ".toml":
            text = next(
                (
                    line.removeprefix(TOML_MARK)
                    for line in path.read_text(encoding="utf-8").splitlines()
                    if line.startswith(TOML_MARK)
                ),
                None,
            )
        else:
            return None
        found = json.loads(text)
        return found if isinstance(found, dict) and found.get("program") == "projector" else None
    except Exception:  # whatever is wrong with somebody's file, it is not one of ours
        return None


_PDF_MARK = b"%projector "


def mark_pdf(path: Path, about: dict) -> None:
    """Append the record to a PDF as a comment after its end, where readers look no further."""
    with path.open("ab") as file:
        file.write(b"\n" + _PDF_MARK + json.dumps(about).encode("ascii") + b"\n")


def _pdf_record(path: Path) -> str | None:
    """The record at the end of a PDF that `mark_pdf` has marked."""
    with path.open("rb") as file:
        file.seek(max(path.stat().st_size - 16384, 0))
        tail = file.read()
    at = tail.rfind(_PDF_MARK)
    return tail[at + len(_PDF_MARK) :].decode("ascii") if at >= 0 else None


def named_files(out, name: str, endings: tuple[str, ...]) -> list[Path]:
    """The files that one answer is written to: `out` (`name` in this folder if None) with each ending.

    One of these endings that was typed counts once. SceneError where `out` names no file: "." or "/".
    """
    stem = Path(name if out is None else out)
    if stem.suffix.lower() in endings:
        stem = stem.with_suffix("")
    if stem.name in ("", ".."):
        raise SceneError(
            Fault(
                found="this is a folder",
                allowed="a file's name, without its ending",
                try_=str(stem / name),
                typed=f"-o {stem / name}",
                file=str(out),
            )
        )
    return [stem.with_name(stem.name + ending) for ending in endings]


def check_writable(paths: list[Path], scene_name: str, overwrite: bool) -> None:
    """Raise SceneError, naming every path that may not be written, before any work is done.

    Files whose record says that they were made from the scene of this name may be replaced, others only with overwrite.
    """
    faults = place_faults(paths)
    for path in [] if faults else paths:
        if path.exists() and not overwrite:
            found = read_record(path)
            if found is None or found.get("scene") != scene_name:
                whose = (
                    f'it was made from another scene, "{found.get("scene")}"'
                    if found
                    else "it was not made by this program"
                )
                faults.append(
                    Fault(
                        f"this is there already, and {whose}",
                        "a new name, or a file made from this scene before",
                        "another name, or overwrite=True to replace it",
                        file=str(path),
                        typed="another name with -o, or --overwrite to replace it",
                    )
                )
    if faults:
        raise SceneError(faults)


def place_faults(paths: list[Path]) -> list[Fault]:
    """Why files could not be written at these paths, each reason once; nothing if they can."""
    faults = [_place_fault(path) for path in paths] + [
        _folder_fault(folder) for folder in {path.parent: None for path in paths}
    ]
    return [fault for fault in dict.fromkeys(faults) if fault is not None]


def _place_fault(path: Path) -> Fault | None:
    """What stands at a path and is in the way."""
    try:
        if path.is_dir():
            return _unfit("this is a folder", "a file's name", "another name", path)
        if path.exists() and not path.is_file():
            return _unfit("this is no ordinary file", "a file's name", "another name", path)
        if path.exists() and not os.access(path, os.W_OK):
            return _unfit("this may not be written to", "a file that you may write to", "another name", path)
    except OSError as error:
        shown = path.name if len(path.name) <= 60 else f"{path.name[:57]}…"
        found = f"this cannot be written: {_reason(error)}"
        return _unfit(found, "a name that the system can hold", "a shorter name", shown)
    return None


def _unfit(found: str, allowed: str, try_: str, path: Path | str) -> Fault:
    """Why nothing is written at a path, and what to name instead."""
    return Fault(found, allowed, try_, file=str(path), typed=f"{try_} with -o")


def _folder_fault(folder: Path) -> Fault | None:
    """Why a folder takes no new file; a file is written and removed again, as nothing else tells for certain."""
    try:
        if not folder.is_dir():
            what = "is a file" if folder.exists() else "does not exist"
            return _unfit(f"the folder {what}", "a folder that is there", "make it, or another folder", folder)
        handle, probe = tempfile.mkstemp(dir=folder, prefix=".writing-")
        os.close(handle)
        os.unlink(probe)
    except OSError as error:
        found = f"nothing can be written in this folder: {_reason(error)}"
        return _unfit(found, "a folder that you may write to", "another folder", folder)
    return None


def _reason(error: OSError) -> str:
    return (error.strerror or type(error).__name__).lower()


@contextlib.contextmanager
def written_whole(path: Path):
    """A temporary path beside `path` that takes its place when the block ends well: nobody ever sees half a file.

    SceneError where the system does not let it be written (a full disk, a folder that went away).
    """
    temporary = None
    try:
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=".writing-", suffix=path.suffix)
        os.close(handle)
        temporary = Path(name)
        yield temporary
        os.chmod(temporary, 0o666 & ~_umask())
        os.replace(temporary, path)
    except OSError as error:
        found = f"this cannot be written: {_reason(error)}"
        raise SceneError(_unfit(found, "a place with room that you may write to", "another folder", path)) from error
    finally:
        if temporary is not None:
            temporary.unlink(missing_ok=True)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def write_png(path: Path, pixels: np.ndarray, about: dict) -> None:
    """Write sRGB bytes (h, w, 3) uint8 as a PNG that carries its record."""
    with written_whole(path) as temporary:
        temporary.write_bytes(png_bytes(pixels, about))


def png_bytes(pixels: np.ndarray, about: dict) -> bytes:
    """A PNG of sRGB bytes (h, w, 3) uint8 that carries its record.

    Level 1: five times faster, slightly larger.
    """
    from PIL import Image, PngImagePlugin

    notes = PngImagePlugin.PngInfo()
    notes.add_text(RECORD_KEY, json.dumps(about))
    notes.add(b"sRGB", b"\x00")
    written = io.BytesIO()
    Image.fromarray(pixels).save(written, format="PNG", compress_level=1, pnginfo=notes)
    return written.getvalue()


def write_npz(path: Path, arrays: dict, about: dict) -> None:
    """Write named arrays and the record as a compressed npz."""
    with written_whole(path) as temporary, temporary.open("wb") as file:
        np.savez_compressed(file, record=json.dumps(about), **arrays)


def write_tiff(path: Path, planes: np.ndarray, about: dict) -> None:
    """Write float32 planes (n, h, w) as a 32-bit TIFF whose description is the record."""
    import tifffile

    with written_whole(path) as temporary:
        tifffile.imwrite(
            temporary, planes.astype(np.float32), photometric="minisblack", description=json.dumps(about), metadata=None
        )
