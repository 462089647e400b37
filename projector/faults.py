"""What is wrong with a user's file, in words a photographer can act on; all of it at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong: where it stands, what was found there, what is allowed and what to try.

    file, line and key may be None where there is none (a number typed on the command line has no line).
    """

    found: str
    allowed: str = ""
    try_: str = ""
    file: str | None = None
    line: int | None = None
    key: str | None = None

    def as_dict(self) -> dict:
        """The fault as the machine-readable output states it."""
        return {
            "file": self.file,
            "line": self.line,
            "key": self.key,
            "found": self.found,
            "allowed": self.allowed,
            "try": self.try_,
        }

    def __str__(self) -> str:
        place = ", ".join(part for part in (self.file, f"line {self.line}" if self.line else None, self.key) if part)
        lines = [f"{place}: {self.found}" if place else self.found]
        if self.allowed:
            lines.append(f"    allowed: {self.allowed}")
        if self.try_:
            lines.append(f"    try: {self.try_}")
        return "\n".join(lines)


class SceneError(Exception):
    """The user's input cannot be used; `faults` lists every reason found, never empty; `notes` what else there is to
    say.
    """

    def __init__(self, faults: Sequence[Fault] | Fault, notes: Sequence[str] = ()):
        self.faults: list[Fault] = [faults] if isinstance(faults, Fault) else list(faults)
        self.notes = list(notes)
        super().__init__("\n".join(str(fault) for fault in self.faults))

    def __reduce__(self):
        """An error that comes from another process keeps its faults."""
        return type(self), (self.faults, self.notes)
