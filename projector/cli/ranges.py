"""A range where one number is wanted: the command answers once for each of its values, --throw-m 1:5:9."""

from __future__ import annotations

from collections.abc import Callable
from itertools import product
from pathlib import Path

from projector.cli.numbers import NumberRange, option_name
from projector.faults import Fault, SceneError
from projector.scene.reading.overrides import values_of_change

MOST_ANSWERS = 100


def answered_each(command: Callable, options: dict) -> list[tuple[dict, object]]:
    """The answers of a command for every value of the ranges among its options, each with what was typed for it.

    One answer, with nothing typed for it, where no option holds a range. SceneError for too many, or for files that all
    answers would share.
    """
    ranges = _ranges(options)
    if not ranges:
        return [({}, command(**options))]
    chosen = [dict(zip(ranges, values, strict=True)) for values in product(*ranges.values())]
    if len(chosen) > MOST_ANSWERS:
        raise SceneError(
            Fault(f"{len(chosen)} answers", f"at most {MOST_ANSWERS}", "fewer values", key=", ".join(ranges))
        )
    if options.get("save") is not None:
        raise SceneError(
            Fault(
                f"one scene to save, and {len(chosen)} answers",
                "one value of each number",
                "leave out the range, or --save",
                key="--save",
            )
        )
    return [(typed, command(**_with(options, typed))) for typed in chosen]


def has_ranges(options: dict) -> bool:
    """Whether a command answers more than once, so that earlier answers may be there when a later one fails."""
    return bool(_ranges(options))


def _ranges(options: dict) -> dict[str, list[str]]:
    """Options, and keys of changes, that hold a range: its values as they would be typed one by one."""
    found = {option_name(name): item.values for name, item in options.items() if isinstance(item, NumberRange)}
    for change in options.get("with_") or ():
        values = values_of_change(change)
        if values is not None:
            found[change.partition("=")[0].strip()] = values
    return found


def _with(options: dict, typed: dict[str, str]) -> dict:
    """The options with one value of each range; a file to write is named by them, too."""
    changed = dict(options)
    for name, item in options.items():
        if isinstance(item, NumberRange):
            changed[name] = item.read(typed[option_name(name)])
    if options.get("with_"):
        keys = [change.partition("=")[0].strip() for change in options["with_"]]
        changed["with_"] = [
            f"{key}={typed[key]}" if key in typed else change
            for key, change in zip(keys, options["with_"], strict=True)
        ]
    out = options.get("out")
    if out is not None:
        label = "-".join(f"{key.strip('-')}={value}" for key, value in typed.items())
        ending = out.suffix if out.suffix.lower() in _ENDINGS else ""
        changed["out"] = Path(out.parent, f"{out.name.removesuffix(ending)}-{label}{ending}")
    return changed


_ENDINGS = (".png", ".pdf", ".npz", ".tif", ".toml", ".json")
