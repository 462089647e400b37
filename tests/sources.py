"""The package's sources for tests that read them: each file read and parsed once a process."""

from __future__ import annotations

import ast
from functools import cache
from pathlib import Path

PACKAGE = Path(__file__).resolve().parents[1] / "projector"
MODULES = sorted(PACKAGE.rglob("*.py"))


@cache
def parsed(path: Path) -> ast.Module:
    """A module's syntax tree, to be read only."""
    return ast.parse(path.read_text())


@cache
def nodes(path: Path) -> tuple[ast.AST, ...]:
    """Every node of it."""
    return tuple(ast.walk(parsed(path)))


def module_id(path: Path) -> str:
    """A module's path within the package: "files/records.py"."""
    return path.relative_to(PACKAGE).as_posix()


def of_every(paths):
    """Hold a test of one file to all of them in one go: thousands of small tests cost more to count than to run.

    What fails is said of every file that fails.
    """

    def held(test):
        def of_all():
            failed = []
            for path in paths:
                try:
                    test(path)
                except AssertionError as error:
                    failed.append(f"{path}: {error}")
            assert not failed, "\n".join(failed)

        of_all.__name__, of_all.__doc__, of_all.__module__ = test.__name__, test.__doc__, test.__module__
        return of_all

    return held
