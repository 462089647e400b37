"""Command lines run in this process, in an empty folder."""

from __future__ import annotations

import io
import json
from dataclasses import dataclass
from pathlib import Path

import pytest

from projector.cli import app
from projector.cli.running import run_command_line


@dataclass(frozen=True)
class Answered:
    """What a command line came to, as subprocess.run would report it."""

    returncode: int
    stdout: str
    stderr: str


def answered(*arguments, folder: Path, columns: int = 200) -> Answered:
    """Run a command line in a folder, in this process, on a console of so many columns that has every letter.

    All but the start of a process of its own is as the user has it; `test_commands.py` holds that.
    """
    streams = [io.TextIOWrapper(io.BytesIO(), encoding="utf-8") for _ in range(2)]
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        patch.setenv("COLUMNS", str(columns))
        patch.setattr("sys.stdout", streams[0])
        patch.setattr("sys.stderr", streams[1])
        code = run_command_line(app, [str(argument) for argument in arguments])
    stdout, stderr = (stream.buffer.getvalue().decode("utf-8", "surrogateescape") for stream in streams)
    return Answered(code, stdout, stderr)


@pytest.fixture
def ask(capsys, tmp_path, monkeypatch):
    """Run a command line and return what it said, stdout before stderr, or with --json its one object; `code`: the
    exit code that it has to have."""
    monkeypatch.chdir(tmp_path)

    def ask(*arguments, code=0):
        assert run_command_line(app, [str(argument) for argument in arguments]) == code
        said = capsys.readouterr()
        return json.loads(said.out) if "--json" in arguments else said.out + said.err

    return ask
