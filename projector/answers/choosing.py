"""Sentences about pictures side by side, and about where a light may stand."""

from __future__ import annotations

import math

from projector.phrases import metres, millimetres
from projector.studies.choosing import reasons

NO_READING = "no reading: the light is taken as metered right for the scene's camera, so the stops are only relative."


def sheet_words(rows, columns) -> str:
    """How many pictures a sheet of two axes has."""
    return f"{len(rows.values) * len(columns.values)} pictures, {len(rows.values)} × {len(columns.values)}"


def places_words(answers, relaxations, target, iso: float) -> list[str]:
    """Where the light may stand, the best first; or what would have to give."""
    words = [line for number, item in enumerate(answers, 1) for line in place_words(number, item, target, iso)]
    if not answers:
        words.append("nothing fits; what would have to give, the smallest step first:")
    return words + [f"    {relaxation_words(item)}" for item in relaxations]


_NEARER = "nearer than this lens focuses"
_IN_THE_WAY = "the lamp would stand in the picture or before the camera, or its stand in a sitter"


def lens_name(item) -> str:
    """What the lens of an Answer or a Relaxation is called."""
    if not item.is_own:
        return item.lens
    return "the scene's own lens" if item.lens == reasons.OWN_LENS else f"{item.lens}, the scene's own"


def relaxation_words(item) -> str:
    """Why one lens cannot meet a wish, and what it can.

    Numbers are rounded to the side on which the wish can be met, so that they may be typed back.
    """
    numbers, there = item.numbers, f" (there {_IN_THE_WAY})" if item.lamp_in_the_way else ""
    gives = f"which gives {rounded_up(item.possible, 3)} m"
    if item.why == reasons.NO_LIGHT:
        words = "its filters let no light through"
    elif item.why == reasons.ROOM_TOO_SHORT:
        needed = f"{item.wanted:g} m needs a throw of {rounded_up(numbers['needed_throw_m'], 2)} m"
        words = f"{needed}; {_room_words(item)}"
    elif item.why == reasons.FOCUSES_NO_NEARER:
        words = f"it focuses no nearer than {rounded_up(numbers['nearest_focus_m'], 3)} m, {gives}"
    elif item.why == reasons.NOWHERE_TO_STAND:
        needs = f"nobody can stand at the throw of {numbers['needed_throw_m']:.2f} m that {item.wanted:g} m needs"
        words = f"{needs}{there}; at {numbers['next_throw_m']:.2f} m somebody can, {gives}"
    elif item.why == reasons.NOT_SHARP_ENOUGH:
        at = f"its sharpest edge at that throw, at f/{numbers['f_number']:g},"
        words = f"{at} is {rounded_up(item.possible, 2)} mm"
    elif item.why == reasons.NOT_SOFT_ENOUGH:
        at = f"at f/{numbers['f_number']:g} with the stencil {numbers['offset_mm']:.0f} mm off"
        words = f"its softest edge at that throw is {rounded_down(item.possible, 2)} mm, {at}"
    else:
        shows = f"a meter would read f/{rounded_down(item.possible, 2)} there at ISO {numbers['iso']:g}"
        at_iso = f"and f/{item.wanted:g} at ISO {rounded_up(numbers['needed_iso'], 0)}"
        words = f"{-numbers['spare_stops']:.1f} stops short; {shows}, {at_iso}"
    return f"{lens_name(item)}: {words}"


def _room_words(item) -> str:
    """How long a throw the room allows, and what that gives."""
    longest, seen = item.numbers["longest_throw_m"], item.numbers["longest_seen_m"]
    if longest > 0.0:
        gives = f"which gives {rounded_down(item.possible, 3)} m" if item.possible > 0.0 else _NEARER
        allowed = f"the room allows {rounded_down(longest, 2)} m, {gives}"
        farther = f"; farther off, up to {rounded_down(seen, 2)} m, {_IN_THE_WAY}"
        return allowed + (farther if item.lamp_in_the_way else "")
    if item.lamp_in_the_way:
        return f"wherever the room sees the target within that angle, {_IN_THE_WAY}"
    return "no place in the room sees the target within that angle"


def rounded_down(value: float, decimals: int) -> str:
    """A number as text, rounded down so that a largest one is still possible as it is printed.

    What a sum left in the last digits of a float does not count.
    """
    return f"{math.floor(value * 10**decimals * (1.0 + 1e-9)) / 10**decimals:.{decimals}f}"


def rounded_up(value: float, decimals: int) -> str:
    """The same, rounded up for a smallest one."""
    return f"{math.ceil(value * 10**decimals * (1.0 - 1e-9)) / 10**decimals:.{decimals}f}"


def place_title(wishes, fits: bool) -> str:
    """What a drawing of the room says over itself."""
    return f"{wishes.width_m:g} m wide, edges {wishes.edge_mm:g} mm, f/{wishes.f_number:g} at ISO {wishes.iso:g}: " + (
        "where the light may stand" if fits else "nothing fits this room"
    )


def saved_words(number: int) -> str:
    """That an answer is now a scene of its own."""
    return f"answer {number} saved"


def not_saved(path, number: int) -> str:
    """That there was no answer of that number to save."""
    return f"{path} was not written: there is no answer {number}."


def place_words(number: int, item, target, iso: float) -> list[str]:
    """One place where the light may stand: its lens and focus, and what was rendered from there."""
    x, y, z = item.position_m
    focus = f"focused on {target if isinstance(target, str) else 'the target'}" + (
        f", then the stencil {item.focus_offset_mm:.3f} mm away from the lens" if item.focus_offset_mm else ""
    )
    wanted = item.meter_f_number / 2.0 ** (item.spare_stops / 2.0)
    words = [
        (
            f"{number}. {lens_name(item)}, at f/{item.f_number:g}: throw {metres(item.throw_m)},"
            f" lens at ({x:.3f}, {y:.3f}, {z:.3f}) m, {item.angle_deg:.0f}° off the camera's line; {focus}"
        ),
        (
            f"   rendered: {metres(item.got_width_m)} wide, edges {millimetres(item.got_edge_mm)}, colour fringes"
            f" {millimetres(item.fringe_mm)}; meters f/{item.meter_f_number:.1f} at ISO {iso:g},"
            f" {item.spare_stops:+.1f} stops against the wanted f/{wanted:.2g}"
        ),
    ]
    return words if item.carried_over is None else [*words, f"   {item.carried_over}"]
