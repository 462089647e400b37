"""Numbers as they are typed on the command line: read, refused in plain words, and never silently left out."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

import typer

from projector.files.typed_numbers import typed_number, values_of_range

# A value that makes sense, by the ending of the option's name: what an error suggests.
_EXAMPLES = {
    "focal-length-mm": "85",
    "throw-m": "2.5",
    "max-deg": "60",
    "edge-mm": "5",
    "within-mm": "5",
    "travel-mm": "4",
    "stencil-off-mm": "1",
    "to-m": "8",
    "deg": "36",
    "f-number": "4",
    "iso": "400",
    "sync-s": "1/200",
    "s": "0.008",
    "mm": "28",
    "m": "1.2",
    "hz": "100",
    "stops": "2",
    "share": "0.3",
    "reflectance": "0.04",
    "arcmin": "1",
    "pixels": "1",
}
_UNITS = {
    "mm": "millimetres",
    "m": "metres",
    "deg": "degrees",
    "s": "seconds",
    "hz": "swings a second",
    "arcmin": "arc-minutes",
    "pixels": "camera pixels",
    "stops": "stops",
}


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


def number_option(
    name: str, text: str, show_default: bool = False, lowest: float | None = None, highest: float | None = None
):
    """An option that takes a number, which may be typed as a fraction, 1/125, or as a range, 1:5:9: the command then
    answers for each.
    """

    def number(typed: str) -> float | NumberRange:
        try:
            # The library reads defaults here, too.
            values = values_of_range(typed) if isinstance(typed, str) else None
        except ValueError as error:
            raise WrongValue(str(error), option=name) from None
        if values is None:
            return parsed_number(name, typed, lowest, highest)
        return NumberRange(values, lambda value: parsed_number(name, value, lowest, highest))

    return typer.Option(name, help=text, show_default=show_default, parser=number, metavar="<number>")


@dataclass(frozen=True)
class NumberRange:
    """Several numbers typed where one is wanted, and how each is read."""

    values: list[str]
    read: Callable[[str], float]


def whole_number_option(name: str, text: str, lowest: int, highest: int, show_default: bool = True):
    """An option that takes a whole number between two limits."""

    def number(typed: str) -> int:
        return parsed_whole_number(name, typed, lowest, highest)

    return typer.Option(name, help=text, show_default=show_default, parser=number, metavar="<number>")


def parsed_number(name: str, typed, lowest: float | None = None, highest: float | None = None) -> float:
    """The number that was typed for an option. WrongValue, with the text and what to write, if it is none."""
    if isinstance(typed, (int, float)):
        return float(typed)
    is_duration = _is_duration(name)
    unit, example = _by_ending(_UNITS, name), example_of(name)
    allowed = f"a number{f' in {unit}' if unit else ''}, such as {example}" + (" or 1/125" if is_duration else "")
    try:
        number = typed_number(typed.strip().removesuffix("s") if is_duration else typed)
    except ValueError:
        raise WrongValue(
            f'"{typed}" is not a number', allowed, _number_hint(name, typed, example), option=name
        ) from None
    if (lowest is not None and not number >= lowest) or (highest is not None and not number <= highest):
        raise WrongValue(typed, f"from {lowest:g} to {highest:g}", f"{name} {example}", option=name)
    return number


def parsed_whole_number(name: str, typed, lowest: int, highest: int) -> int:
    """The whole number that was typed for an option. WrongValue if it is none, or beyond a limit."""
    text = str(typed).strip()
    if not re.fullmatch(r"[-+]?\d{1,18}", text, re.ASCII) or not lowest <= int(text) <= highest:
        raise WrongValue(text or "nothing", f"a whole number from {lowest} to {highest}", option=name)
    return int(text)


def _number_hint(name: str, typed: str, example: str) -> str:
    """What to write instead of a text that is no number."""
    from projector.scene.reading.field_hints import number_hint

    hint = number_hint(name, typed)
    return hint if hint not in ("", "write a number") else f"{name} {example}"


class WrongValue(typer.BadParameter):
    """A value that an option does not take: what was found, what is allowed, what to try, and under which option."""

    def __init__(self, found: str, allowed: str = "", try_: str = "", option: str | None = None):
        super().__init__(f"{found}. Allowed: {allowed}." if allowed else found, param_hint=option)
        self.found, self.allowed, self.try_ = found, allowed, try_


# Nothing on a set is smaller or larger than this, in whatever unit; beyond it squares and ratios of numbers overflow.
_SMALLEST, _LARGEST = 1e-9, 1e9


def check_above_zero(**values: float | None) -> None:
    """SceneError naming, as typed, every option whose number is not above zero, or so small or large that nothing is
    meant by it.
    """
    from projector.faults import Fault, SceneError

    faults = []
    for name, value in values.items():
        if value is None or _SMALLEST <= value <= _LARGEST:
            continue
        unit = _by_ending(_UNITS, name)
        beyond = f", {_SMALLEST:g} to {_LARGEST:g}" if value > 0.0 else ""
        faults.append(
            Fault(
                f"{value:g}",
                f"a number above zero{f', in {unit}' if unit else ''}{beyond}",
                f"{option_name(name)} {example_of(name)}",
                key=option_name(name),
            )
        )
    if faults:
        raise SceneError(faults)


def check_in_range(low: float, high: float, **values: float | None) -> None:
    """SceneError naming, as typed, every option whose number lies outside of low … high."""
    from projector.faults import Fault, SceneError

    faults = [
        Fault(f"{value:g}", f"{low:g} to {high:g}", f"{option_name(name)} {example_of(name)}", key=option_name(name))
        for name, value in values.items()
        if value is not None and not low <= value <= high
    ]
    if faults:
        raise SceneError(faults)


def refuse_unused(given: dict, used, answers: str, try_: str) -> None:
    """SceneError naming every option that was given and that the answer would leave out.

    given: options by their names, None, empty or False where not typed; answers: what the answer goes by.
    """
    from projector.faults import Fault, SceneError

    unused = [
        option_name(name)
        for name, value in given.items()
        if name not in used and value is not None and value is not False and value != []
    ]
    if unused:
        raise SceneError(
            Fault(
                f"{', '.join(unused)} would not be used: {answers}",
                ", ".join(option_name(name) for name in used if name in given),
                try_,
            )
        )
