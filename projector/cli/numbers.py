"""Numbers as they are typed on the command line: read, refused in plain words, and never silently left out."""

from __future__ import annotations

import math
import re

import typer

# A value that makes sense, by the ending of the option's name: what an error suggests.
_EXAMPLES = {"focal-length-mm": "85", "throw-m": "2.5", "max-deg": "60", "edge-mm": "5", "within-mm": "5", "travel-mm": "4", "stencil-off-mm": "1", "to-m": "8", "deg": "36", "f-number": "4", "iso": "400", "sync-s": "1/200", "s": "0.008", "mm": "28", "m": "1.2", "hz": "100", "stops": "2", "share": "0.3", "reflectance": "0.04", "arcmin": "1", "pixels": "1"}
_UNITS = {"mm": "millimetres", "m": "metres", "deg": "degrees", "s": "seconds", "hz": "swings a second", "arcmin": "arc-minutes", "pixels": "camera pixels", "stops": "stops"}
_DURATION = re.compile(r"\s*(\d+(?:\.\d+)?)\s*/\s*(\d+(?:\.\d+)?)\s*s?\s*")


def option_name(name: str) -> str:
    """A parameter as it is typed: --throw-m for throw_m."""
    return "--" + name.strip("-").replace("_", "-")


def _by_ending(table: dict[str, str], name: str) -> str:
    plain = name.strip("-").replace("_", "-")
    if plain.endswith("m-per-s"):
        return {"s": "1", "m": "metres a second"}["s" if table is _EXAMPLES else "m"]
    return next((value for ending, value in table.items() if plain == ending or plain.endswith("-" + ending)), "")


def example_of(name: str) -> str:
    """A value that the option of a name could have."""
    return _by_ending(_EXAMPLES, name) or "1"


def _is_duration(name: str) -> bool:
    return name.endswith("-s") and not name.endswith("-per-s")


def number_option(name: str, text: str, show_default: bool = False):
    """An option that takes a number; times may be typed as 1/125."""

    def number(typed: str) -> float:
        return parsed_number(name, typed)

    return typer.Option(name, help=text, show_default=show_default, parser=number, metavar="<number>")


def parsed_number(name: str, typed) -> float:
    """The number that was typed for an option. typer.BadParameter, with the text and what to write, if it is none."""
    if isinstance(typed, (int, float)):
        return float(typed)
    fraction = _DURATION.fullmatch(typed) if _is_duration(name) else None
    if fraction and float(fraction[2]) > 0.0:
        return float(fraction[1]) / float(fraction[2])
    try:
        return float(typed)
    except ValueError:
        pass
    from projector.scene.field_hints import number_hint

    unit = _by_ending(_UNITS, name)
    allowed = f"a number{f' in {unit}' if unit else ''}, such as {example_of(name)}" + (" or 1/125" if _is_duration(name) else "")
    hint = number_hint(name, typed)
    raise typer.BadParameter(f'"{typed}" is not a number. Allowed: {allowed}.' + (f" Try: {hint}." if hint not in ("", "write a number") else f" Try: {name} {example_of(name)}"))


def check_above_zero(**values: float | None) -> None:
    """SceneError naming, as typed, every option whose number is not above zero."""
    from projector.scene.faults import Fault, SceneError

    faults = []
    for name, value in values.items():
        if value is None or math.isfinite(value) and value > 0.0:
            continue
        unit = _by_ending(_UNITS, name)
        faults.append(Fault(f"{value:g}", f"a number above zero{f', in {unit}' if unit else ''}", f"{option_name(name)} {example_of(name)}", key=option_name(name)))
    if faults:
        raise SceneError(faults)


def refuse_unused(given: dict, used, answers: str, try_: str) -> None:
    """SceneError naming every option that was given and that the answer would leave out.

    given: options by their names, None, empty or False where not typed; answers: what the answer goes by.
    """
    from projector.scene.faults import Fault, SceneError

    unused = [option_name(name) for name, value in given.items() if name not in used and value is not None and value is not False and value != []]
    if unused:
        raise SceneError(Fault(f"{', '.join(unused)} would not be used: {answers}", ", ".join(option_name(name) for name in used if name in given), try_))
