"""The text of a scene file as plain data of the present format: syntax, version, upgrades of older files."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Mapping
from typing import Any

from projector.faults import Fault, SceneError
from projector.scene.model import FORMAT
from projector.scene.reading.field_hints import CURLY_QUOTES
from projector.scene.reading.toml_lines import TomlLines

# From one format to the next: each function takes a file's data in the format of its number and returns it in the next.
# Format 1 is the first, so there is nothing to upgrade yet.
UPGRADES: Mapping[int, Callable[[dict], dict]] = {}


def parsed(text: str, file: str) -> dict:
    """The data of a TOML text. SceneError with the line if it cannot be read."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SceneError(_syntax_fault(error, text, file)) from None
    except ValueError:
        # Python refuses to turn thousands of digits into a number.
        line = next(
            (number for number, content in enumerate(text.split("\n"), 1) if re.search(r"\d{1000}", content)), None
        )
        raise SceneError(
            Fault(
                found="a number with thousands of digits", allowed="numbers that mean something", file=file, line=line
            )
        ) from None
    except RecursionError:
        raise SceneError(
            Fault(found="tables are nested too deeply", allowed="a scene", try_="is this the right file?", file=file)
        ) from None


def upgraded(
    data: dict,
    file: str | None,
    lines: TomlLines,
    known: int = FORMAT,
    upgrades: Mapping[int, Callable[[dict], dict]] = UPGRADES,
) -> dict:
    """The data brought to the present format, step by step. SceneError if its format is missing, unknown or newer."""
    given = data.get("format")
    if given is None:
        raise SceneError(
            Fault(
                found="format is missing",
                allowed=f"format = {known}",
                try_=f"begin the file with format = {known}",
                file=file,
                line=1,
                key="format",
            )
        )
    place: dict[str, Any] = {"file": file, "line": lines.line_of(("format",)), "key": "format"}
    if type(given) is not int:
        raise SceneError(
            Fault(
                found=f"format = {_as_toml(given)}",
                allowed=f"format = {known}, a whole number without quotes",
                try_=f"write format = {known}",
                **place,
            )
        )
    if given > known:
        raise SceneError(
            Fault(
                found=f"format = {given}: written for a newer version of the program",
                allowed=f"format = {known} or older",
                try_="update the program",
                **place,
            )
        )
    while given < known:
        if given not in upgrades:
            raise SceneError(
                Fault(
                    found=f"format = {given} is not known",
                    allowed=f"format = {known}",
                    try_=f"write format = {known}",
                    **place,
                )
            )
        data, given = upgrades[given](data), given + 1
    return {**data, "format": known}


def _as_toml(value) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    return f'"{value}"' if isinstance(value, str) else str(value)


def _syntax_fault(error: tomllib.TOMLDecodeError, text: str, file: str) -> Fault:
    words = str(error)
    found = re.search(r"line (\d+)", words)
    rows = text.split("\n")
    line = int(found[1]) if found else len(rows)
    return Fault(
        found=f"this line cannot be read: {words.split(' (at')[0]}",
        allowed="TOML: key = value, text in quotes, lists in [ ]",
        try_=_syntax_hint(rows[line - 1] if line <= len(rows) else "", words),
        file=file,
        line=line,
    )


def _syntax_hint(row: str, words: str) -> str:
    """What most likely went wrong on a line that TOML cannot read."""
    if re.search(rf"[=\[,{{]\s*[{CURLY_QUOTES}]", row):
        straight = re.sub(f"[{CURLY_QUOTES}]+", '"', row)
        return f"write straight quotes: {_cut(straight)}"
    if "\\" in row and re.search(r"[Ee]scape|hex", words):
        slashes = re.sub(r"\\+", "/", row)
        return f"write / for each backslash: {_cut(slashes)}"
    fraction = re.search(r"=\s*(\d+)\s*/\s*(\d+)", row)
    if fraction and int(fraction[2]):
        return f"write {int(fraction[1]) / int(fraction[2]):g} for {fraction[1]}/{fraction[2]}"
    stop = re.search(r"=\s*f/\s*(\d+(?:\.\d+)?)", row, re.IGNORECASE)
    if stop:
        return f"write {stop[1]} for f/{stop[1]}"
    comma = re.search(r"=\s*(\d+),(\d+)\s*(?:[,}#]|$)", row)
    if comma:
        return f"write {comma[1]}.{comma[2]}, with a point"
    unit = re.search(r"=\s*(-?\d+(?:\.\d+)?)\s*([A-Za-z°]+)\s*(?:[,}#]|$)", row)
    if unit:
        return f"write {unit[1]} alone: the unit stands in the key's name"
    word = re.search(r"=\s*([A-Za-z_][\w.\- ]*?)\s*(?:[,}#]|$)", row)
    if word and word[1] not in ("true", "false", "nan", "inf"):
        return f'put it in quotes: "{word[1]}"'
    if "overwrite" in words or "mutate" in words or "twice" in words:
        return "this is given twice: keep one of the two"
    return "look at this line and the one before it"


def _cut(row: str) -> str:
    """A line as it can be shown among other words."""
    row = row.strip()
    return row if len(row) <= 100 else row[:97] + "…"
