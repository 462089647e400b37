"""A table of one's own gear, and what a scene takes from it: units that are there, at settings of their dials."""

from __future__ import annotations

from collections import Counter

from projector.faults import SceneError
from projector.phrases import did_you_mean, nearest
from projector.scene.checks.lens import check_lens
from projector.scene.checks.report import Report
from projector.scene.model.gear import stops_of_setting, stops_set
from projector.scene.model.power import GearPower


def check_gear(report: Report, gear, path: tuple, key: str) -> None:
    """Units of names of their own, each with a lowest power that its dial has; path and key: of the gear itself."""
    counts, seen = Counter(gear.unit.names), set()
    for index, unit in enumerate(gear.unit):
        place, name = (*path, "unit", index), ".".join(part for part in (key, "unit", unit.name) if part)
        if counts[unit.name] > 1 and unit.name in seen:
            report.fault(
                (*place, "name"),
                name,
                f'the name "{unit.name}" is used twice',
                "a name of its own for each",
                "rename one",
            )
        seen.add(unit.name)
        if unit.lowest is not None:
            _check_lowest(report, unit, (*place, "lowest"), f"{name}.lowest")
        reading = unit.reading
        if reading.lens is not None:
            check_lens(report, reading.lens, (*place, "reading", "lens"), f"{name}.reading.lens")
            if reading.lens_f_number is not None:
                report.fault(
                    (*place, "reading", "lens_f_number"),
                    f"{name}.reading.lens_f_number",
                    "the stop of the lens then, said beside the lens itself",
                    "one of the two",
                    f"{name}.reading.lens.f_number",
                )
    if not gear.unit:
        report.fault(path, key, "a table of gear without a unit", "a [[unit]] for each light", "add one")


def _check_lowest(report: Report, unit, path: tuple, key: str) -> None:
    try:
        stops = stops_of_setting(unit.lowest)
        if stops > 0.0:
            report.fault(path, key, f'"{unit.lowest}" is more than full power', "full power or less", '"1/128"')
            return
        stops_set(unit.model_copy(update={"lowest": None}), GearPower(unit=unit.name, setting=unit.lowest))
    except SceneError as error:
        for fault in error.faults:
            report.fault(path, key, fault.found, fault.allowed, fault.try_)


def check_setting(report: Report, power, gear, path: tuple, key: str) -> None:
    """A power by a unit of the scene's gear: one that is there, at a setting that its dial has."""
    if power.setting is not None and power.stops is not None:
        report.fault(
            (*path, "stops"), f"{key}.stops", "a setting and stops", "one of the two", "keep the one on the dial"
        )
        return
    if gear is None:
        found = f'the unit "{power.unit}", and the scene names no gear'
        report.fault((*path, "unit"), f"{key}.unit", found, "a table of your gear", 'gear = { file = "my-gear" }')
        return
    if power.unit not in gear.unit:
        names = gear.unit.names
        report.fault(
            (*path, "unit"),
            f"{key}.unit",
            f'your gear has no unit "{power.unit}"',
            ", ".join(dict.fromkeys(names)),
            did_you_mean(nearest(power.unit, names, 0.5)),
        )
        return
    try:
        stops_set(gear.unit[power.unit], power)
    except SceneError as error:
        for fault in error.faults:
            name = fault.key if fault.key in ("setting", "stops") else "unit"
            report.fault((*path, name), f"{key}.{name}", fault.found, fault.allowed, fault.try_)


def check_bare(report: Report, power, path: tuple, key: str) -> None:
    """A unit of a light without a lens was not read through one."""
    reading = power.reading
    if reading is not None and (reading.lens is not None or reading.lens_f_number is not None):
        report.fault(
            (*path, "unit"),
            f"{key}.unit",
            f"{power.unit} was read through a lens, and here is a light without one",
            "a unit that was read as it is used here",
            "read it so, and give it a name of its own in your gear",
        )
