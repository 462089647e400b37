"""What to try where a number is wrong: units mixed up, quotes, fractions, f/ written out."""

from __future__ import annotations

import re
from collections.abc import Callable

_METRES_IN = {"mm": 1e-3, "cm": 1e-2}
_STUDIO_M = 50.0
_LARGEST_SLIP = 1e6
# Keys that hold a point, in metres without saying so in their name.
_POINTS = ("aim", "focus", "at")
# Quotes that editors for letters put in, which TOML does not know.
CURLY_QUOTES = "“”„‟«»‘’‚‛"
# A line to start from for every key that must be there, by the key and, where the same name means several things, its
# table.
_EXAMPLES = {
    "camera": '[camera] and below it position_m = [0.0, 1.5, 3.0] and aim = "wall.centre"',
    "camera.aim": 'aim = "wall.centre"',
    "position_m": "position_m = [0.0, 1.5, 2.5]",
    "aim": 'aim = "sitter.nose_tip"',
    "projector.name": 'name = "key"',
    "surface.name": 'name = "wall"',
    "light.name": 'name = "fill"',
    "light.kind": 'kind = "panel"',
    "against.of": 'of = "key"',
    "against.at": 'at = "sitter.left_cheek"',
    "against.stops": "stops = -2",
    "gate": 'gate = { shape = "round", diameter_mm = 40 }',
    "gate.shape": 'shape = "round"',
    "stencil.file": 'file = "window"',
    "width_mm": "width_mm = 36",
    "lens": "lens = { focal_length_mm = 85, f_number = 2.8 }",
    "lamp": "lamp = { opening_mm = 40, card_mm = 500 }",
    "focal_length_mm": "focal_length_mm = 85",
    "f_number": "f_number = 2.8",
    "pupil.shape": 'shape = "polygon"',
    "side": 'side = "left"',
    "insertion_mm": "insertion_mm = 5",
    "distance_m": "distance_m = 2.5",
    "reading": "reading = { f_number = 11, iso = 100, distance_m = 2.0 }",
    "power.unit": 'unit = "big flash"',
    "unit.name": 'name = "big flash"',
    "reading.shutter_s": "shutter_s = 0.02",
}


def example_line(keys: tuple[str, ...]) -> str:
    """A line that gives a key by its path without numbers of items, ("projector", "gate"); "" where none is known."""
    return next((_EXAMPLES[name] for name in (".".join(keys[-2:]), keys[-1]) if name in _EXAMPLES), "")


def unit_hint(name: str, value, fits: Callable[[float], bool] = lambda value: True) -> str:
    """What a value outside the limits of the key `name` was most likely meant to be; fits: whether a value is within
    them.
    """
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return ""
    look = "look at the unit in the key's name" if re.search(r"_(m|mm|deg|nm|s|k)$", name) else ""
    # Beyond this nothing is a slip of units; and a whole number may be too long for a float.
    if abs(value) > _LARGEST_SLIP:
        return look
    if name.endswith("_m") or name in _POINTS:
        for unit, metres in _METRES_IN.items():
            if 0.01 <= abs(value) * metres <= _STUDIO_M and abs(value) > _STUDIO_M and fits(value * metres):
                return f"{name} is in metres: {value:g} {unit} is {value * metres:g}"
    if name.endswith("_s") and value > 1.0 and fits(1.0 / value):
        return f"{name} is in seconds: 1/{value:g} s is {1.0 / value:.4g}"
    if name.endswith("_nm") and 0.3 <= value <= 0.9:
        return f"{name} is in nanometres: {value:g} µm is {1000.0 * value:g}"
    if name in ("reflectance", "colour", "transmittance") and 1.0 < value <= 100.0:
        return f"{name} is a share from 0 to 1: {value:g} % is {value / 100.0:g}"
    if name.endswith("_mm") and 0.001 <= value < 1.0:
        return f"{name} is in millimetres: {value:g} m is {1000.0 * value:g}"
    return look


def number_hint(name: str, value, otherwise: str = "write a number") -> str:
    """How to write the number that a piece of text was meant to be; `otherwise` where no number can be seen in it."""
    if not isinstance(value, str):
        return ""
    text = value.strip().strip(CURLY_QUOTES).strip()
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
    is_quoted = re.fullmatch(r"[-+]?[\d_.]+(?:[eE][-+]?\d+)?", text) is not None
    return "write the number without quotes" if is_quoted else otherwise
