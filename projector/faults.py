"""What a person gave wrong, in a file, as a value or as an option: all of it at once, in words to act on.

A `Fault` holds its parts as fields, the key and the value among them. Whoever speaks puts them together: the command
line shows a key as its option, a Python user sees the parameter's name. No sentence is taken apart again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from projector.phrases import above_zero, as_written, within

# Nothing on a set is smaller or larger than this, in whatever unit; beyond it squares and ratios of numbers overflow.
SMALLEST, LARGEST = 1e-9, 1e9


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong: where it stands, what was found there, what is allowed and what to try.

    found: in words; the value as it is written where it is not given. file, line and key may be None where there is
    none (an argument of a function has no line). value: what was found, where it is one value. example: a value that
    would do. typed: what to try, in the words of a command line, where it has its own ("another name with -o").
    """

    found: str = ""
    allowed: str = ""
    try_: str = ""
    file: str | None = None
    line: int | None = None
    key: str | None = None
    # Not compared: what is said of a value makes two faults the same or not.
    value: object = field(default=None, compare=False)
    example: str = ""
    typed: str = ""

    def __post_init__(self) -> None:
        if not self.found:
            object.__setattr__(self, "found", as_written(self.value))

    def as_dict(self) -> dict:
        """The fault as the machine-readable output states it."""
        return {
            "file": self.file,
            "line": self.line,
            "key": self.key,
            "found": self.found,
            "allowed": self.allowed,
            "try": self.try_ or self.example,
        }

    def __str__(self) -> str:
        place = ", ".join(part for part in (self.file, f"line {self.line}" if self.line else None, self.key) if part)
        lines = [f"{place}: {self.found}" if place else self.found]
        if self.allowed:
            lines.append(f"    allowed: {self.allowed}")
        if self.try_ or self.example:
            lines.append(f"    try: {self.try_ or self.example}")
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


def faults_above_zero(**values: float | None) -> list[Fault]:
    """A fault for every number that is not above zero, or so small or large that nothing is meant by it; None is no
    number.
    """
    return [
        Fault(
            value=value,
            allowed=above_zero(key) + (f", {SMALLEST:g} to {LARGEST:g}" if value > 0.0 else ""),
            key=key,
        )
        for key, value in values.items()
        if value is not None and not SMALLEST <= value <= LARGEST
    ]


def check_above_zero(**values: float | None) -> None:
    """SceneError naming every number that is not above zero, or so small or large that nothing is meant by it."""
    faults = faults_above_zero(**values)
    if faults:
        raise SceneError(faults)


def faults_within(lowest: float, highest: float, **values: float | None) -> list[Fault]:
    """A fault for every number that lies outside of lowest … highest; None is no number."""
    return [
        Fault(value=value, allowed=within(lowest, highest, key), key=key)
        for key, value in values.items()
        if value is not None and not lowest <= value <= highest
    ]


def check_within(lowest: float, highest: float, **values: float | None) -> None:
    """SceneError naming every number that lies outside of lowest … highest."""
    faults = faults_within(lowest, highest, **values)
    if faults:
        raise SceneError(faults)
