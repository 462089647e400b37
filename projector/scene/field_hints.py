"""What to try where a number is wrong: units mixed up, quotes, fractions, f/ written out."""

from __future__ import annotations

import re

_METRES_IN = {"mm": 1e-3, "cm": 1e-2}
_STUDIO_M = 50.0
# Keys that hold a point, in metres without saying so in their name.
_POINTS = ("aim", "focus", "at")


def unit_hint(name: str, value) -> str:
    """What a value outside the limits of the key `name` was most likely meant to be."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return ""
    if name.endswith("_m") or name in _POINTS:
        for unit, metres in _METRES_IN.items():
            if 0.01 <= abs(value) * metres <= _STUDIO_M and abs(value) > _STUDIO_M:
                return f"{name} is in metres: {value:g} {unit} is {value * metres:g}"
    if name.endswith("_s") and value > 1.0:
        return f"{name} is in seconds: 1/{value:g} s is {1.0 / value:.4g}"
    if name.endswith("_nm") and 0.3 <= value <= 0.9:
        return f"{name} is in nanometres: {value:g} µm is {1000.0 * value:g}"
    if name in ("reflectance", "colour", "transmittance") and 1.0 < value <= 100.0:
        return f"{name} is a share from 0 to 1: {value:g} % is {value / 100.0:g}"
    return "look at the unit in the key's name" if re.search(r"_(m|mm|deg|nm|s|k)$", name) else ""


def number_hint(name: str, value) -> str:
    """How to write the number that a piece of text was meant to be."""
    if not isinstance(value, str):
        return ""
    text = value.strip()
    fraction = re.fullmatch(r"(\d+(?:\.\d+)?)\s*/\s*(\d+(?:\.\d+)?)(?:\s*s)?", text)
    if fraction and float(fraction[2]) > 0.0:
        return f"write {float(fraction[1]) / float(fraction[2]):.6g}"
    stop = re.fullmatch(r"[fF]\s*/?\s*(\d+(?:\.\d+)?)", text)
    if stop:
        return f"write {stop[1]} for {text}"
    if re.fullmatch(r"-?\d+,\d+", text):
        return f"write {text.replace(',', '.')}, with a point"
    unit = re.fullmatch(r"(-?\d+(?:\.\d+)?)\s*([A-Za-z°%]+)", text)
    if unit:
        return f"write {unit[1]} alone: the unit stands in the key's name ({name})"
    return "write the number without quotes" if re.fullmatch(r"[-+]?[\d_.]+(?:[eE][-+]?\d+)?", text) else "write a number"
