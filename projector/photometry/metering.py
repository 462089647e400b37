"""What a meter's numbers are called and how they compare: f-numbers in thirds and as a display has them, the share of a
flash, and the two meanings of a ratio.

Stops between lights are `exposure.stops_between`. Each rests on N² ∝ H at one film speed (ISO 2720:1974), so that a
stop is a factor of 2 in light and √2 in the f-number.
"""

from __future__ import annotations

import math
from typing import NamedTuple

# Whole stops and their thirds as they are marked on lenses and meters, from f/0.5 on, which is 2⁻¹ exactly: common
# practice, no source; ISO 517 rounds the whole ones so (from memory).
WHOLE_MARKS = (
    *("0.5", "0.7", "1", "1.4", "2", "2.8", "4", "5.6", "8", "11", "16", "22", "32", "45", "64", "90", "128", "180"),
)
THIRD_MARKS = (
    *("0.5", "0.56", "0.63", "0.7", "0.8", "0.9", "1", "1.1", "1.2", "1.4", "1.6", "1.8", "2", "2.2", "2.5"),
    *("2.8", "3.2", "3.5", "4", "4.5", "5", "5.6", "6.3", "7.1", "8", "9", "10", "11", "13", "14", "16", "18", "20"),
    *("22", "25", "29", "32", "36", "40", "45", "51", "57", "64", "72", "80", "90", "102", "114", "128"),
)
_FIRST_STOP = -2


class MeterDisplay(NamedTuple):
    """An f-number as a meter's display has it: a whole mark, and tenths of a stop (0 to 9) more light than that."""

    mark: str
    tenths: int

    def __str__(self) -> str:
        return f"f/{self.mark}" + (f" + 0.{self.tenths}" if self.tenths else "")


def stops_over_f_1(f_number: float) -> float:
    """Stops from f/1 to an f-number, 2·log2 N, which is the aperture value of APEX; more light for a meter, less for a
    lens.
    """
    return 2.0 * math.log2(f_number)


def in_thirds(f_number: float) -> str:
    """The nearest third of a stop, as it is marked: "f/6.3". Beyond the marks the number itself."""
    number = round(3.0 * (stops_over_f_1(f_number) - _FIRST_STOP))
    if 0 <= number < len(THIRD_MARKS):
        return f"f/{THIRD_MARKS[number]}"
    return f"f/{f_number:.2g}" if f_number < 1.0 else f"f/{f_number:.0f}"


def as_shown(f_number: float) -> MeterDisplay | None:
    """The whole mark under an f-number and the tenths of a stop over that; None beyond what is marked."""
    whole, tenths = divmod(round(10.0 * (stops_over_f_1(f_number) - _FIRST_STOP)), 10)
    return MeterDisplay(WHOLE_MARKS[whole], tenths) if 0 <= whole < len(WHOLE_MARKS) else None


def whole_marks_between(lowest: float, highest: float) -> list[tuple[int, str]]:
    """Whole stops between two (both included), counted from f/1, and how they are marked."""
    stops = enumerate(WHOLE_MARKS, _FIRST_STOP)
    return [(stop, text) for stop, text in stops if lowest - 1e-9 <= stop <= highest + 1e-9]


def flash_share(flash: float, steady: float, shutter_s: float) -> float:
    """Share of a flash (lx·s) in what an open shutter gathers of it and of steady light (lx): H/(H + E·t). 0 in the
    dark.
    """
    gathered = steady * shutter_s
    return flash / (flash + gathered) if flash + gathered > 0.0 else 0.0


def ratio_of_lights(key: float, fill: float) -> float:
    """Key : fill, each light metered alone: the first meaning of a lighting ratio."""
    return key / fill if fill > 0.0 else math.inf


def ratio_of_sides(key: float, fill: float) -> float:
    """(Key + fill) : fill, the bright side of a face against the dark one, which only the fill reaches: the second
    meaning. The lights' own ratio and 1.
    """
    return ratio_of_lights(key, fill) + 1.0


def stops_for_ratio(ratio: float, of_sides: bool) -> float:
    """Stops that a key light has to be over the fill for a ratio; of_sides: by its second meaning, else by the first.

    3 : 1 of the lights is 1.58 stops, of the sides 1 stop. −inf where the sides are to be no different.
    """
    lights = ratio - 1.0 if of_sides else ratio
    return math.log2(lights) if lights > 0.0 else -math.inf
