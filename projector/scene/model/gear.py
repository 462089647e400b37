"""A table of one's own gear: what a meter shows of each unit at full power, and how its power can be set."""

from __future__ import annotations

import math
import re
from typing import Annotated, ClassVar, Literal

from pydantic import Field

from projector.faults import Fault, SceneError
from projector.files.typed_numbers import typed_number
from projector.phrases import listed
from projector.scene.model.kinds import Name, Part
from projector.scene.model.named import AtMost, Named
from projector.scene.model.power import GearPower, Reading

_STEP_STOPS = {"whole": 1.0, "halves": 0.5, "thirds": 1.0 / 3.0, "tenths": 0.1}
STEP_WORDS = {
    "whole": "whole stops",
    "halves": "halves of a stop",
    "thirds": "thirds of a stop",
    "tenths": "tenths of a stop",
    "percent": "whole per cent",
}
# A dial with thirds says 0.3 and 0.7: what is typed with one decimal lies so near to what is meant.
_AS_TYPED_STOPS = 0.04
_WAYS = '"full", "1/4", "1/4 +0.3" or "25 %"'


class GearUnit(Part):
    """One light of one's own as it is used: head, attachment and reflector together. Its reading says whether it is a
    flash (no shutter_s) or steady.
    """

    _called: ClassVar[str] = "unit"

    name: Name = Field(description="Its name, which a light's power names.")
    reading: Reading = Field(description="What a meter shows of it at full power, without filters.")
    steps: Literal["whole", "halves", "thirds", "tenths", "percent"] | None = Field(
        None, description="What its dial can be set to: parts of a stop, or whole per cent (anything if not given)."
    )
    lowest: Annotated[str, Field(min_length=1)] | None = Field(
        None, description='Its lowest power, as its dial says: "1/128" or "1 %" (no limit if not given).'
    )


class Gear(Part):
    """One's own gear."""

    title: str = Field("", max_length=300, description="Whose gear it is.")
    unit: Annotated[Named[GearUnit], AtMost(200)] = Field((), validate_default=True, description="Its units.")


def stops_of_setting(setting: str) -> float:
    """Stops against full power of a setting as a dial says it: "1/4" is −2, "1/4 +0.3" −1.7, "25 %" −2, "full" 0.

    SceneError for a text that says none.
    """
    text = setting.strip().lower().replace("−", "-").replace("⅓", "1/3").replace("⅔", "2/3").replace("½", "1/2")
    if text == "full":
        return 0.0
    per_cent = re.fullmatch(r"([\d.]+)\s*%", text)
    part = re.fullmatch(r"(1/\d+|1)\s*(?:([+-])\s*(\d*\.?\d+(?:/\d+)?))?", text)
    try:
        if per_cent:
            return _stops_of_share(typed_number(per_cent[1]) / 100.0)
        if part:
            beside = typed_number(part[3]) if part[3] else 0.0
            return _stops_of_share(typed_number(part[1])) + (-beside if part[2] == "-" else beside)
    except ValueError:
        pass
    hint = f"stops = {text}" if re.fullmatch(r"-\d*\.?\d+", text) else ""
    if re.fullmatch(r"0?\.\d+", text):
        hint = f'"{100.0 * float(text):g} %"'
    raise SceneError(Fault(f'"{setting}" is no setting of a dial', _WAYS, hint, key="setting"))


def _stops_of_share(share: float) -> float:
    if not share > 0.0:
        raise ValueError("no power at all")
    return math.log2(share)


def setting_words(unit: GearUnit, stops: float) -> str:
    """A power as the dial of a unit says it: "1/4", "1/2 −0.3", "41 %"."""
    if unit.steps == "percent":
        return f"{100.0 * 2.0**stops:.3g} %"
    whole = math.ceil(stops - 1e-9)
    part = "full" if whole == 0 else f"1/{2**-whole}"
    beside = whole - stops
    return part if beside < 1e-9 else f"{part} −{beside:.1f}"


def stops_set(unit: GearUnit, power: GearPower) -> float:
    """Stops against full power that a unit is set to by a scene: those of the dial's step that is meant.

    SceneError, its key "setting" or "stops", for what the dial of the unit does not have.
    """
    key = "setting" if power.setting is not None else "stops"
    asked = stops_of_setting(power.setting) if power.setting is not None else (power.stops or 0.0)
    typed = f'"{power.setting}"' if power.setting is not None else f"{asked:g} stops".replace("-", "−")
    lowest = -math.inf if unit.lowest is None else stops_of_setting(unit.lowest)
    if asked > _AS_TYPED_STOPS:
        raise SceneError(Fault(f"{typed}: more than {unit.name} has", "full power or less", '"full"', key=key))
    if asked < lowest - _AS_TYPED_STOPS:
        found = f"{typed} {'is' if key == 'setting' else 'are'} below the lowest power of {unit.name}"
        raise SceneError(
            Fault(
                found,
                f'"full" to "{unit.lowest}"',
                f'"{unit.lowest}" and a neutral filter of {lowest - asked:.1f} stops, or farther away',
                key=key,
            )
        )
    steps = _steps_around(unit, asked)
    near = min(steps, key=lambda step: abs(step - asked))
    if abs(near - asked) <= _AS_TYPED_STOPS:
        return near
    inside = [f'"{setting_words(unit, step)}"' for step in steps if lowest - _AS_TYPED_STOPS <= step <= 0.0]
    found = f"{typed} {'lies' if key == 'setting' else 'lie'} between two steps of {unit.name}"
    raise SceneError(Fault(found, STEP_WORDS[str(unit.steps)], listed(inside, "or"), key=key))


def _steps_around(unit: GearUnit, stops: float) -> list[float]:
    """The steps of a unit's dial on either side of a power."""
    if unit.steps is None:
        return [stops]
    if unit.steps == "percent":
        percent = 100.0 * 2.0**stops
        return [math.log2(step / 100.0) for step in sorted({math.floor(percent), math.ceil(percent)}) if step > 0]
    step = _STEP_STOPS[unit.steps]
    return [math.floor(stops / step + 1e-9) * step, math.ceil(stops / step - 1e-9) * step]


def level_of(gear: Gear, unit: str, setting: str | float = "full") -> Reading:
    """What a meter shows of a unit of one's gear at a setting ("1/4"), or so many stops against full power (−1.3).

    SceneError for a unit that the gear does not have, with the nearest name, or a setting that the dial does not.
    """
    stated = {"setting": setting} if isinstance(setting, str) else {"stops": setting}
    return reading_at(gear.unit[unit], GearPower(unit=unit, **stated))


def reading_at(unit: GearUnit, power: GearPower) -> Reading:
    """The same of a unit, by what a light says of its power: N² goes with the light (ISO 2720)."""
    return unit.reading.model_copy(update={"f_number": unit.reading.f_number * 2.0 ** (0.5 * stops_set(unit, power))})
