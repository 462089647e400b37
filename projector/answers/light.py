"""Sentences about contrast and level."""

from __future__ import annotations

import math
from dataclasses import fields


def no_light_words(arrives) -> str:
    return f"{arrives.projector} at {arrives.at}: no light; {arrives.words}"


def no_light_note(arrives) -> str:
    """What a program should notice: that there are no numbers, or whose they are."""
    numbers = "its numbers are those of an edge beside it" if arrives.has_edges else "there are no numbers for it"
    return f"no light of {arrives.projector} at {arrives.at} ({arrives.reason}): {numbers}"


def row_without_numbers(kind) -> dict:
    """The keys of an answer of a kind, with nothing in those that would hold a number."""
    return {field.name: None for field in fields(kind)}


def contrast_words(name: str, found) -> str:
    ratio = (
        f"contrast {found.ratio:.3g} : 1 = {found.stops:.2f} stops"
        if math.isfinite(found.ratio)
        else "no light on the black parts"
    )
    others = "".join(f", {other} {share:.1%}" for other, share in found.other_shares.items() if share > 0.0)
    return (
        f"{name}: {found.open_share:.0%} open; on the black parts, of the openings' light: stray light"
        f" {found.veil_share:.2%}, {'the room' if found.other_shares else 'other light'}"
        f" {found.ambient_share:.1%}{others}: {ratio}"
    )


def room_words(wanted_stops: float, room: float | None, found) -> str:
    """How dark all other light has to be, against how it is."""
    if room is None:
        return f"{wanted_stops:g} stops are out of reach in any room: the stray light alone leaves less"
    now = found.ambient_share + sum(found.other_shares.values())
    return f"{wanted_stops:g} stops of contrast need other light {room:.1f} stops under the pattern" + (
        f"; it lies {-math.log2(now):.1f} under it" if now > 0.0 else ""
    )


def frame_words(frame, shutter_s: float) -> str:
    """How much of the frame sees the flash."""
    from projector.photometry.exposure import marked_time

    if frame.is_whole:
        return (
            f"the flash lights the whole frame: {marked_time(shutter_s)} is not shorter than the sync time of"
            f" {marked_time(frame.sync_s)}"
        )
    words = (
        f"{marked_time(shutter_s)} is shorter than the sync time of {marked_time(frame.sync_s)}: the flash lights about"
        f" {frame.lit_frame_share:.0%} of the frame, a strip at one side, and the rest stays dark"
    )
    if frame.fading_frame_share >= 0.05:
        words += f"; the strip fades over {frame.fading_frame_share:.0%} of the frame while the flash dies away"
    return (
        words
        + f"; an estimate, blinds differ from camera to camera. Use {marked_time(frame.sync_s)} or longer, or give your"
        " camera's own --sync-s"
    )
