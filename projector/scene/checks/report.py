"""Gathers what a pass over a whole scene finds: faults with their places, and warnings."""

from __future__ import annotations

from pathlib import PurePath

from projector.faults import Fault, SceneError
from projector.scene.reading.field_faults import Places


class Report:
    """Faults and warnings found so far."""

    def __init__(self, places: Places):
        self.places = places
        self.faults: list[Fault] = []
        self.warnings: list[str] = []

    def fault(self, path: tuple, key: str, found: str, allowed: str = "", try_: str = "") -> None:
        """Note a fault of the value at `path`, called `key` in messages."""
        self.faults.append(Fault(found, allowed, try_, *self.places.of(path), key))

    def take(self, error: SceneError, path: tuple, key: str) -> None:
        """Note the faults of a file that the scene names, at the place that names it, with the file's name."""
        for fault in error.faults:
            inside = f"{PurePath(fault.file).name}: " if fault.file is not None else ""
            self.fault(path, key, inside + fault.found, fault.allowed, fault.try_)
