"""How a command answers: words for people, one JSON object for programs, exit codes, progress, and faults in plain words.

Exit codes: 0 done, 1 something in the user's input, 2 a wrong command line, 3 our fault, 130 stopped by the user.
"""

from __future__ import annotations

import json
import math
import sys
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import wraps
from pathlib import Path

import typer

DONE, USER_INPUT, USAGE, OUR_FAULT, STOPPED = 0, 1, 2, 3, 130


@dataclass
class Answer:
    """What a command found: `result` for programs (units in the keys), `words` for people, files written, warnings."""

    result: dict
    words: list[str] = field(default_factory=list)
    files: list[Path] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
    exit_code: int = DONE


def version() -> str:
    """The installed version of the package."""
    from importlib import metadata

    try:
        return metadata.version("projector")
    except metadata.PackageNotFoundError:
        return "unknown"


def loaded_scene(path: Path, changes):
    """A scene file with its changes, and what should be said about it. SceneError with all its faults."""
    from projector.scene.faults import SceneError
    from projector.scene.reader import check

    scene, faults, warnings = check(path, changes or ())
    if faults:
        raise SceneError(faults, warnings)
    return scene, warnings + power_notes(scene)


def power_notes(scene) -> list[str]:
    """What is taken for granted of each projector whose power was stated with another lens or stop than it has."""
    from projector.tracing.arrays import power_of

    carried = [(spec.name, power_of(scene, spec).carried_over) for spec in scene.projector]
    return [item.sentence(name) for name, item in carried if item is not None]


def answered(command: Callable[..., Answer]) -> Callable[..., None]:
    """Turn a function that returns an Answer into a command: it prints the answer or the faults, and sets the exit code.

    The function's own `json` parameter says which form is wanted.
    """

    @wraps(command)
    def run(*args, **kwargs):
        as_json = bool(kwargs.get("json"))
        raise typer.Exit(_run(command, args, kwargs, as_json))

    return run


def _run(command, args, kwargs, as_json: bool) -> int:
    from projector.rendering.tiles import Stopped
    from projector.scene.faults import SceneError

    name = command.__name__.rstrip("_")
    try:
        answer = command(*args, **kwargs)
    except SceneError as error:
        _show_faults(name, SceneError([_as_typed(fault, kwargs) for fault in error.faults], error.notes), as_json, writes="out" in kwargs)
        return USER_INPUT
    except (KeyboardInterrupt, Stopped):
        _say_error("stopped; what was finished is kept.")
        if as_json:
            _write_json({"command": name, "version": version(), "errors": [_plain_fault("stopped by the user")]})
        return STOPPED
    except BrokenPipeError:
        return DONE
    except (typer.Exit, typer.BadParameter):
        raise
    except Exception as error:
        return _our_fault(name, error, as_json)
    return _show(name, answer, as_json)


def _show(name: str, answer: Answer, as_json: bool) -> int:
    if as_json:
        _write_json(
            {
                "command": name,
                "version": version(),
                "result": answer.result,
                "files": [str(path) for path in answer.files],
                "warnings": answer.warnings,
            }
        )
    else:
        for line in answer.words:
            print(line)
        for path in answer.files:
            print(f"wrote {path}")
    for warning in answer.warnings:
        _say_error(f"note: {warning}")
    return answer.exit_code


# Options that share their name with a part of a scene.
_PARTS = ("scene", "projector", "surface")


def _as_typed(fault, options: dict):
    """A fault of a number that was typed, under the option's name: --throw-m for throw_m."""
    from projector.cli.numbers import option_name

    if fault.file is not None or fault.key not in options or fault.key in _PARTS:
        return fault
    words = fault.key.replace("_", " ")
    found = fault.found.removeprefix(f"{fault.key} = ").removeprefix(f"{words} = ")
    return replace(fault, key=option_name(fault.key), found=found)


def _show_faults(name: str, error, as_json: bool, writes: bool) -> None:
    faults = error.faults
    if as_json:
        _write_json({"command": name, "version": version(), "errors": [fault.as_dict() for fault in faults], "warnings": error.notes})
    for fault in faults:
        _say_error(str(fault))
    if len(faults) > 1:
        _say_error(f"{len(faults)} things to put right" + ("; nothing was written." if writes else "."))
    for note in error.notes:
        _say_error(f"note: {note}")


def _our_fault(name: str, error: Exception, as_json: bool) -> int:
    import tempfile
    import traceback

    with tempfile.NamedTemporaryFile("w", suffix=".txt", prefix="projector-fault-", delete=False) as file:
        file.write("".join(traceback.format_exception(error)))
    text = f"this is a fault of the program, not yours: {type(error).__name__}: {error}"
    _say_error(text)
    _say_error(f"please report it with the file {file.name} and the scene you used.")
    if as_json:
        _write_json({"command": name, "version": version(), "errors": [_plain_fault(text)]})
    return OUR_FAULT


def _plain_fault(text: str) -> dict:
    return {"file": None, "line": None, "key": None, "found": text, "allowed": "", "try": ""}


def _write_json(value) -> None:
    print(json.dumps(finite(value), ensure_ascii=False, allow_nan=False))


def finite(value):
    """The same value with null for what JSON has no number for."""
    if isinstance(value, dict):
        return {key: finite(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [finite(item) for item in value]
    if hasattr(value, "tolist"):
        return finite(value.tolist())
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if isinstance(value, Path):
        return str(value)
    return value


def _say_error(text: str) -> None:
    print(text, file=sys.stderr)


def progress_shown():
    """A Progress that draws a bar on stderr if somebody is looking, and stops the work at Ctrl-C."""
    from projector import jit
    from projector.rendering.tiles import Progress

    if not jit.kernels_are_compiled():
        _say_error("First run on this machine: the light's kernels are being compiled. This takes about a minute, once.")
    if not sys.stderr.isatty():
        return Progress()
    from rich.console import Console
    from rich.progress import Progress as Bars

    bars = Bars(console=Console(stderr=True), transient=True)
    tasks: dict[str, int] = {}

    def report(name: str, done: int, total: int) -> None:
        if name not in tasks:
            if not tasks:
                bars.start()
            tasks[name] = bars.add_task(name, total=total)
        bars.update(tasks[name], completed=done, total=total)
        if all(task.finished for task in bars.tasks):
            bars.stop()
            tasks.clear()
            for task in list(bars.task_ids):
                bars.remove_task(task)

    return Progress(report)
