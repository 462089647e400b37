"""Command lines run in this process, in an empty folder."""

from __future__ import annotations

import json

import pytest

from projector.cli import app
from projector.cli.answers import run_command_line


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
