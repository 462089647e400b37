"""Sentences about contrast and level."""

from __future__ import annotations

import math
from dataclasses import fields

from projector.phrases import percent


def no_light_words(projector: str, at: str, why: str) -> str:
    """That a projector's light does not get to a point, and why."""
    return f"{projector} at {at}: no light; {why}"


def no_light_note(arrives) -> str:
    """What a program should notice: that there are no numbers, or whose they are."""
    numbers = "its numbers are those of an edge beside it" if arrives.has_edges else "there are no numbers for it"
    return f"no light of {arrives.projector} at {arrives.at} ({arrives.reason}): {numbers}"


NO_FIGURE = "no figure was written: no light gets to any of the points"


def numbers_beside(arrives) -> str:
    """Whose the numbers are where no light gets to the point itself."""
    return f"    no light on the point itself: {arrives.words}; these are the numbers of an edge there"


def row_without_numbers(kind) -> dict:
    """The keys of an answer of a kind, with nothing in those that would hold a number."""
    return {field.name: None for field in fields(kind)}


def contrast_words(name: str, found) -> str:
    """How grey the black parts land, and by whose light."""
    ratio = (
        f"contrast {found.ratio:.3g} : 1 = {found.stops:.2f} stops"
        if math.isfinite(found.ratio)
        else "no light on the black parts"
    )
    others = "".join(f", {other} {percent(share)}" for other, share in found.other_shares.items() if share > 0.0)
    return (
        f"{name}: {percent(found.open_share)} open; on the black parts, of the openings' light: stray light"
        f" {percent(found.veil_share)}, {'the room' if found.other_shares else 'other light'}"
        f" {percent(found.ambient_share)}{others}: {ratio}"
    )


def room_words(wanted_stops: float, room: float | None, found) -> str:
    """How dark all other light has to be, against how it is."""
    if room is None:
        return f"{wanted_stops:g} stops are out of reach in any room: the stray light alone leaves less"
    now = found.ambient_share + sum(found.other_shares.values())
    return f"{wanted_stops:g} stops of contrast need other light {room:.1f} stops under the pattern" + (
        f"; it lies {-math.log2(now):.1f} under it" if now > 0.0 else ""
    )
