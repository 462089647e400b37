"""How a command is run and answers: words for people, one JSON object for programs, exit codes, progress, and faults in
plain words.

Exit codes: 0 done, 1 something in the user's input, 2 a wrong command line, 3 our fault, 130 stopped by the user.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import wraps
from pathlib import Path

import typer

from projector.answers.typed import Mistyped
from projector.cli.console import finish_streams, json_text, say, say_error, speak_plainly_where_needed
from projector.cli.mistakes import UsageError, as_typed, fault_of, in_typed_words, with_help

DONE, USER_INPUT, USAGE, OUR_FAULT, STOPPED = 0, 1, 2, 3, 130


@dataclass
class Reply:
    """What a command found: `result` for programs (units in the keys), `words` for people, files written, warnings."""

    result: dict
    words: list[str] = field(default_factory=list)
    files: list[Path] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
    exit_code: int = DONE


def version() -> str:
    """The version of the package."""
    from projector import __version__

    return __version__


def loaded_scene(path: Path, changes):
    """A scene file with its changes, and what should be said about it. SceneError with all its faults."""
    from projector.faults import SceneError
    from projector.scene.reading.reader import check
    from projector.studies.notes import power_notes

    scene, faults, warnings = check(path, changes or ())
    if faults:
        raise SceneError(faults, warnings)
    return scene, warnings + power_notes(scene)


def answered(command: Callable[..., Reply] | None = None, *, kept_when_stopped: str = "nothing was written"):
    """Turn a function that returns a Reply into a command: it prints the answer or the faults, and sets the exit
    code.

    The function's own `json` parameter says which form is wanted; kept_when_stopped: what is left of work that Ctrl-C
    ends.
    """
    if command is None:
        return lambda function: answered(function, kept_when_stopped=kept_when_stopped)

    @wraps(command)
    def run(**kwargs):
        as_json = bool(kwargs.get("json"))
        raise typer.Exit(_run(command, kwargs, as_json, kept_when_stopped))

    return run


def _run(command, kwargs, as_json: bool, kept_when_stopped: str) -> int:
    from projector.cli.ranges import answered_each, has_ranges
    from projector.faults import SceneError
    from projector.rendering.workers import Stopped

    name = command.__name__.rstrip("_")
    try:
        answers = answered_each(command, kwargs)
    except Mistyped:
        raise
    except SceneError as error:
        _show_faults(
            name,
            SceneError([as_typed(fault, kwargs) for fault in error.faults], error.notes),
            as_json,
            writes="out" in kwargs and not has_ranges(kwargs),
        )
        return USER_INPUT
    except (KeyboardInterrupt, Stopped):
        return _stopped(name, as_json, "what was finished is kept" if has_ranges(kwargs) else kept_when_stopped)
    except (typer.Exit, typer.BadParameter):
        raise
    except Exception as error:
        return _our_fault(name, error, as_json)
    answer = answers[0][1] if not answers[0][0] else _together(answers)
    _show(name, answer, as_json)
    return answer.exit_code


def _together(answers: list[tuple[dict, Reply]]) -> Reply:
    """The answers for each value of a range as one: what was typed for it before its words, and beside its result."""
    together = Reply({"each": []})
    for typed, answer in answers:
        label = ", ".join(
            f"{key} {value}" if key.startswith("--") else f"{key}={value}" for key, value in typed.items()
        )
        together.result["each"].append({"typed": typed, "result": answer.result})
        together.words += [f"{label}:", *(f"    {line}" for line in answer.words)]
        together.files += answer.files
        together.warnings += [
            text for text in (f"{label}: {warning}" for warning in answer.warnings) if text not in together.warnings
        ]
        together.exit_code = max(together.exit_code, answer.exit_code)
    return together


def run_command_line(app: typer.Typer, arguments: Sequence[str]) -> int:
    """Run one command line and return its exit code.

    Whatever happens, something is said, in letters the console has.
    """
    from projector.faults import SceneError

    speak_plainly_where_needed()
    options = list(arguments[: arguments.index("--")] if "--" in arguments else arguments)
    as_json = "--json" in options
    failure = None
    try:
        code = app(list(arguments), prog_name="projector", standalone_mode=False) or DONE
    except Mistyped as error:
        name = _command_of(app, arguments)
        code = _wrong_command_line(name, [with_help(fault, name) for fault in error.faults], as_json)
    except SceneError as error:
        # Of an option's value, before its command began.
        _show_faults(_command_of(app, arguments), error, as_json, writes=False)
        code = USER_INPUT
    except KeyboardInterrupt:
        code = _stopped(_command_of(app, arguments), as_json, "nothing was written")
    except OSError as error:
        code, failure = DONE, error
    except SystemExit:
        # Only a pipe that was closed before all of a help page was read.
        code = DONE
    except UsageError as error:
        name = _command_of(app, arguments)
        code = _wrong_command_line(name, [fault_of(error, name)], as_json)
    failure = finish_streams() or failure
    if failure is not None:
        say_error(f"the answer cannot be printed: {failure.strerror}")
        code = code or USER_INPUT
    return code


def _command_of(app: typer.Typer, arguments: Sequence[str]) -> str | None:
    """The command that was typed, or None if none of ours was."""
    known = {item.name for item in app.registered_commands}
    return next((text for text in arguments if text in known), None)


def _wrong_command_line(name: str | None, faults, as_json: bool) -> int:
    """Say what is wrong with what was typed; nothing has been done yet."""
    if as_json:
        _write_json({"command": name, "version": version(), "errors": [fault.as_dict() for fault in faults]})
    for fault in faults:
        say_error(str(fault))
    return USAGE


def _stopped(name: str | None, as_json: bool, kept: str) -> int:
    say_error(f"stopped; {kept}.")
    if as_json:
        _write_json({"command": name, "version": version(), "errors": [_plain_fault("stopped by the user")]})
    return STOPPED


def _show(name: str, answer: Reply, as_json: bool) -> None:
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
            say(line)
        for path in answer.files:
            say(f"wrote {path}")
    for warning in answer.warnings:
        say_error(f"note: {warning}")


def _show_faults(name: str, error, as_json: bool, writes: bool) -> None:
    faults = [in_typed_words(fault) for fault in error.faults]
    if as_json:
        _write_json(
            {
                "command": name,
                "version": version(),
                "errors": [fault.as_dict() for fault in faults],
                "warnings": error.notes,
            }
        )
    for fault in faults:
        say_error(str(fault))
    if len(faults) > 1:
        say_error(f"{len(faults)} things to put right" + ("; nothing was written." if writes else "."))
    for note in error.notes:
        say_error(f"note: {note}")


def _our_fault(name: str, error: Exception, as_json: bool) -> int:
    text = f"this is a fault of the program, not yours: {type(error).__name__}: {error}"
    say_error(text)
    say_error(_how_to_report(error))
    if as_json:
        _write_json({"command": name, "version": version(), "errors": [_plain_fault(text)]})
    return OUR_FAULT


def _how_to_report(error: Exception) -> str:
    """Where the details are; where no file can be made for them, the details themselves."""
    import tempfile
    import traceback

    details = "".join(traceback.format_exception(error))
    try:
        with tempfile.NamedTemporaryFile(
            "w", suffix=".txt", prefix="projector-fault-", delete=False, encoding="utf-8", errors="replace"
        ) as file:
            file.write(details)
    except OSError:
        return f"please report it with the scene you used and these lines:\n{details}"
    return f"please report it with the file {file.name} and the scene you used."


def _plain_fault(text: str) -> dict:
    return {"file": None, "line": None, "key": None, "found": text, "allowed": "", "try": ""}


def _write_json(value) -> None:
    say(json_text(value))


def progress_shown(with_kernels: bool = True, in_lines: bool = False):
    """A Progress that draws a bar on stderr if somebody is looking, and stops the work at Ctrl-C.

    with_kernels: whether the work needs the light's kernels. in_lines: without a terminal, say now and then how far it
    is.
    """
    from projector import jit
    from projector.rendering.workers import Progress

    if with_kernels and not jit.kernels_are_compiled():
        say_error("First run: compiling, about a minute, once.")
    if not sys.stderr.isatty():
        return Progress(_in_lines()) if in_lines else Progress()
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


def _in_lines(seconds: float = 2.0) -> Callable[[str, int, int], None]:
    """A report that says a line when a stage begins, and every so many seconds."""
    from time import monotonic

    said: dict[str, float] = {}

    def report(name: str, done: int, total: int) -> None:
        if done < total and monotonic() - said.get(name, -seconds) >= seconds:
            said[name] = monotonic()
            say_error(f"{name}: {done + 1} of {total}")

    return report
