"""A change of a scene in a few words, as a history lists it."""

from __future__ import annotations

from contextlib import suppress

from projector.phrases import UNITS, metres, signed

_SIGNS = {"mm": " mm", "m": " m", "cm": " cm", "deg": "°", "s": " s", "nm": " nm", "k": " K", "stops": " stops"}
_MOST_LETTERS = 60


def change_words(key: str, value: str) -> str:
    """A value that was changed: "window lens f-number 4"; key and value as they are typed."""
    name, unit = _named(key)
    shown = value.strip('"')
    with suppress(ValueError):
        shown = f"{float(shown):.4g}".replace("-", "−")
    shown = f"{shown[:_MOST_LETTERS]} …" if len(shown) > _MOST_LETTERS else shown
    return f"{name} {shown}{unit}"


def power_words(light: str, stops: float) -> str:
    """A light's power that was turned, in stops against the scene's file."""
    return f"{light} power {signed(stops)} stops"


def focus_words(light: str, metres_away: float) -> str:
    """A lens that was turned to be sharp at a distance, m."""
    return f"{light} focus {metres(metres_away, 2)}"


def gone_back_words(key: str) -> str:
    """That a value is again as the scene's file has it."""
    return f"{_named(key)[0]} as in the file"


def _named(key: str) -> tuple[str, str]:
    """What is meant by a key, in words, and the sign of its unit."""
    parts = key.split(".")
    # The kind of thing is plain from its name; of a thing that there is only once, it is the name.
    parts = parts[1:] if len(parts) > 2 else parts
    words, unit = [], ""
    for part in parts:
        stem, _, end = part.rpartition("_")
        if stem and end in UNITS:
            part, unit = stem, _SIGNS.get(end, "")
        words.append(part.replace("_", " ").replace("f number", "f-number"))
    return " ".join(words), unit
