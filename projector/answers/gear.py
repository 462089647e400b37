"""Sentences about one's own gear: what a meter shows of each unit, at full power and at a setting of its dial."""

from __future__ import annotations

from projector.photometry.exposure import marked_time
from projector.scene.model.gear import STEP_WORDS


def gear_lines(gear, settings: list[tuple[str, str, object]]) -> list[str]:
    """Each unit of a table in a line, below it what was asked: (unit, setting, its Reading or why there is none)."""
    lines = [gear.title] if gear.title else []
    for unit in gear.unit:
        lines.append(f"{unit.name}: {reading_words(unit.reading)}; {dial_words(unit)}")
        lines += [f"    {setting}: {_told(found)}" for name, setting, found in settings if name == unit.name]
    return lines


def reading_words(reading) -> str:
    """What a meter shows: "f/11 at ISO 100, 2 m away, a flash"."""
    kind = "a flash" if reading.shutter_s is None else f"steady, at {marked_time(reading.shutter_s)}"
    receptor = ", by a dome" if reading.receptor == "dome" else ""
    lens = reading.lens
    through = f", through {lens.focal_length_mm:g} mm at f/{lens.f_number:g}" if lens is not None else ""
    return f"f/{reading.f_number:.3g} at ISO {reading.iso:g}, {reading.distance_m:g} m away{receptor}, {kind}{through}"


def dial_words(unit) -> str:
    """What the dial of a unit has: "full to 1/256 in tenths of a stop"."""
    lowest = f"full to {unit.lowest}" if unit.lowest is not None else "full and less"
    return f"{lowest} in {STEP_WORDS[unit.steps]}" if unit.steps is not None else f"{lowest}, in any step"


def _told(found) -> str:
    return found if isinstance(found, str) else reading_words(found)
