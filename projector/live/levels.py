"""A light's power in stops against what its file says, whichever way that states it."""

from __future__ import annotations

import math
from typing import NamedTuple

from projector.files.typed_numbers import as_typed
from projector.scene.model import Light, Projector

# What of a statement of power is turned, and how many stops double it: an f-number by two.
_TURNED = (
    ("reading", "f_number", 2.0), ("output", "lumens", 1.0), ("output", "lumen_seconds", 1.0),
    ("energy", "watt_seconds", 1.0), ("energy", "watts", 1.0),
)  # fmt: skip
# What says it in stops itself.
_STOPS = ("against", "power")
_FIGURES = 7


class Level(NamedTuple):
    """A light's power as its file states it: the key under the light that holds it, the number there, and how many
    stops double it (0: it is in stops itself).
    """

    key: str
    value: float
    stops_a_doubling: float

    def at(self, stops: float) -> float:
        """The number that is so many stops more."""
        if self.stops_a_doubling == 0.0:
            return float(as_typed(self.value + stops))
        return float(f"{self.value * 2.0 ** (stops / self.stops_a_doubling):.{_FIGURES}g}")

    def stops_of(self, value: float) -> float:
        """How many stops more a number says."""
        if self.stops_a_doubling == 0.0:
            return value - self.value
        return self.stops_a_doubling * math.log2(value / self.value)


def level_of(spec: Projector | Light) -> Level | None:
    """How the power of a light is stated; None where nothing states it, or a dial's setting does."""
    for name, key, doubling in _TURNED:
        statement = getattr(spec, name, None)
        value = getattr(statement, key, None)
        if value is not None:
            return Level(f"{name}.{key}", value, doubling)
    for name in _STOPS:
        statement = getattr(spec, name, None)
        if statement is not None and getattr(statement, "setting", None) is None:
            return Level(f"{name}.stops", statement.stops or 0.0, 0.0)
    return None


def stops_between_states(of_file: Projector | Light, now: Projector | Light) -> float | None:
    """How many stops more than its file a light has now; None where that cannot be said."""
    before, after = level_of(of_file), level_of(now)
    if before is None or after is None or before.key != after.key:
        return None
    return before.stops_of(after.value)
