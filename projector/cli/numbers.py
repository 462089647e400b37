"""Options that take numbers, and options that no answer would use: refused, never silently left out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import typer

from projector.answers.typed import number_from, numbers_from_range, whole_number_from


def option_name(name: str) -> str:
    """A parameter as it is typed: --throw-m for throw_m."""
    return "--" + name.strip("-").replace("_", "-")


@dataclass(frozen=True)
class NumberRange:
    """Several numbers typed where one is wanted, and how each is read."""

    values: list[str]
    read: Callable[[str], float]


def number_option(
    name: str, text: str, show_default: bool = False, lowest: float | None = None, highest: float | None = None
):
    """An option that takes a number, which may be typed as a fraction, 1/125, or as a range, 1:5:9: the command then
    answers for each.
    """

    def number(typed: str) -> float | NumberRange:
        # The library reads defaults here, too.
        values = numbers_from_range(name, typed) if isinstance(typed, str) else None
        if values is None:
            return number_from(name, typed, lowest, highest)
        return NumberRange(values, lambda value: number_from(name, value, lowest, highest))

    return typer.Option(name, help=text, show_default=show_default, parser=number, metavar="<number>")


def whole_number_option(name: str, text: str, lowest: int, highest: int, show_default: bool = True):
    """An option that takes a whole number between two limits."""

    def number(typed: str) -> int:
        return whole_number_from(name, typed, lowest, highest)

    return typer.Option(name, help=text, show_default=show_default, parser=number, metavar="<number>")


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


def refuse_beside_a_scene(numbers: dict, try_: str) -> None:
    """SceneError for numbers that stand in the scene already."""
    from projector.faults import Fault, SceneError

    given = [option_name(name) for name, value in numbers.items() if value is not None]
    if given:
        raise SceneError(Fault(found=f"{', '.join(given)} beside a scene", allowed="a scene, or numbers", try_=try_))
