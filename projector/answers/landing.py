"""Sentences about how a pattern lands and how its power was stated."""

from __future__ import annotations

import math

from projector.answers.size import width_by_height
from projector.phrases import metres, millimetres, percent


def landing_words(item, opened, f_number: float) -> list[str]:
    """How a projector's pattern lands, and how large what is open of it."""
    from projector.studies.size.landing import over_or_under

    has_lens = item.tube_length_mm is not None
    asked = "the focus distance" if has_lens else "what it aims at"
    where = f"lands on {item.lands_on}" if item.lands_on else f"its axis meets nothing; at {asked}"
    place = f"{item.lands_on}, {metres(item.throw_m)}" if item.lands_on else f"{metres(item.throw_m)}"
    blur = f"blur at {place}: {millimetres(item.blur_mm)}"
    # A light far away stands at its card, in the scene and in what is said of it.
    is_far = not has_lens and item.sharp_at_m is not None and item.sharp_at_m < 1e-6
    sharp = f"sharp at {metres(item.sharp_at_m)}" if item.sharp_at_m is not None else ""
    if not has_lens:
        sharp = "no lens: sharp at its card alone" + (f", {metres(item.sharp_at_m)}" if not is_far else "")
    beam = "light from far away" if is_far else f"beam {item.beam_angle_deg:.1f}° full"
    words = [
        (
            f"{item.projector}: {where}, throw {metres(item.throw_m)}, pattern {item.pattern_width_m:.3f} ×"
            f" {metres(item.pattern_height_m)} square to the beam (× {item.magnification:.1f}), {beam}"
        ),
        (
            f"{item.projector}: {sharp}; {blur} (edges rise in {millimetres(item.edge_width_mm)}, 10–90 %)"
            if item.sharp_at_m is not None
            else f"{item.projector}: sharp nowhere in front of it; {blur}"
        ),
    ]
    if opened.opening_width_m is None:
        words.insert(1, f"{item.projector}: nothing is open in its gate")
    elif opened.detail_mm is not None or opened.opening_width_m < 0.999 * item.pattern_width_m:
        detail = "" if opened.detail_mm is None else f", its finest detail {millimetres(opened.detail_mm, 1)}"
        size = width_by_height(opened.opening_width_m, opened.opening_height_m)
        words.insert(1, f"{item.projector}: of that pattern the opening is {size}{detail}")
    if item.no_light is not None:
        words.append(f"{item.projector}: no light of it falls there; {item.no_light}")
    if item.open_gate_f_number is not None:
        light = over_or_under(item.open_gate_stops_over, "right for")
        words.append(
            f"{item.projector}: the open gate meters f/{item.open_gate_f_number:.1f} at {place}, at the camera's ISO"
            f" and shutter: {light} its f/{f_number:g}"
        )
    return words


def other_faces(scene, asked: str | None, mapped: str) -> list[str]:
    """That a box was named without one of its faces, and what the others are called."""
    from projector.meshes.surfaces import faces_of

    names = next((faces_of(spec) for spec in scene.surface if mapped in faces_of(spec)), [])
    if len(names) < 2 or asked == mapped:
        return []
    return [
        f"{mapped.partition('.')[0]} is a box, mapped by face: this is {mapped}; the others are"
        f" {', '.join(name for name in names if name != mapped)}."
    ]


def summary_words(summary: dict, found) -> list[str]:
    """A map's size (m), its brightest place, and how much of it is lit."""
    words = [
        f"{found.surface}: {summary['width_m']:.3f} × {summary['height_m']:.3f} m, {summary['columns']} ×"
        f" {summary['rows']} points"
    ]
    if math.isinf(summary["brightest_stops"]):
        return [*words, f"no light falls on {found.surface}"]
    only = "" if found.is_reached else ", all of it the room's"
    words.append(
        f"brightest {summary['brightest_stops']:+.2f} stops against {found.compared_with} {found.counted_where}{only};"
        f" {percent(summary['lit_share'])} of the map lies above -6 stops"
    )
    if found.is_absolute:
        power, light = ("J_per_m2", "lx_s") if found.is_flash else ("W_per_m2", "lx")
        amounts = (
            f"{summary[f'brightest_{power}']:.4g} {found.units[0]}, {summary[f'brightest_{light}']:.4g}"
            f" {found.units[1]}"
        )
        words.append(
            f"brightest {amounts}: a flat meter shows f/{summary['brightest_f_number']:.1f} at {found.meter.setting}"
        )
    return words


def camera_blur_words(item) -> str:
    """The camera's own blur where a pattern lands, which no preview shows."""
    return (
        f"camera: its own blur at {item.surface} ({metres(item.distance_m, 2)}, focused at"
        f" {metres(item.focused_at_m, 2)}) would be {millimetres(item.blur_mm, 1)}; not in the picture"
    )


def no_map_words(why: str) -> str:
    """That there is no map, and why."""
    return f"no map: {why}"


def map_notes(found) -> list[str]:
    """What should be known of an IrradianceMap beside its numbers."""
    notes = []
    if not found.is_absolute:
        notes.append("no reading for every light: the map is in stops, not lux; give each a reading to get lux.")
    if not found.is_reached:
        notes.append(f"no light of a lamp falls on {found.surface}.")
    return notes
