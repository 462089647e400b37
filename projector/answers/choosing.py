"""Sentences about pictures side by side, and about where a light may stand."""

from __future__ import annotations

from projector.phrases import metres, millimetres

NO_READING = "no reading: the light is taken as metered right for the scene's camera, so the stops are only relative."


def sheet_words(rows, columns) -> str:
    """How many pictures a sheet of two axes has."""
    return f"{len(rows.values) * len(columns.values)} pictures, {len(rows.values)} × {len(columns.values)}"


def places_words(answers, relaxations, target, iso: float) -> list[str]:
    """Where the light may stand, the best first; or what would have to give."""
    words = [line for number, item in enumerate(answers, 1) for line in place_words(number, item, target, iso)]
    if not answers:
        words.append("nothing fits; what would have to give, the smallest step first:")
    return words + [f"    {item.words}" for item in relaxations]


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
    lens = (
        item.lens
        if not item.is_own
        else "the scene's own lens"
        if item.lens == "own"
        else f"{item.lens}, the scene's own"
    )
    focus = f"focused on {target if isinstance(target, str) else 'the target'}" + (
        f", then the stencil {item.focus_offset_mm:.3f} mm away from the lens" if item.focus_offset_mm else ""
    )
    wanted = item.meter_f_number / 2.0 ** (item.spare_stops / 2.0)
    words = [
        (
            f"{number}. {lens}, at f/{item.f_number:g}: throw {metres(item.throw_m)}, lens at ({x:.3f}, {y:.3f},"
            f" {z:.3f})"
            f" m, {item.angle_deg:.0f}° off the camera's line; {focus}"
        ),
        (
            f"   rendered: {metres(item.got_width_m)} wide, edges {millimetres(item.got_edge_mm)}, colour fringes"
            f" {millimetres(item.fringe_mm)}; meters f/{item.meter_f_number:.1f} at ISO {iso:g},"
            f" {item.spare_stops:+.1f} stops against the wanted f/{wanted:.2g}"
        ),
    ]
    return words if item.carried_over is None else [*words, f"   {item.carried_over}"]
