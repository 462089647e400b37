"""Sentences about edges: how sharp, how soft, how coloured."""

from __future__ import annotations

import math

from projector.answers.light import numbers_beside
from projector.phrases import listed, metres, millimetres, percent


def between(near: float, far: float) -> str:
    """A stretch of distances (m) that may begin at the lens, or have no end."""
    if math.isinf(near):
        return "nowhere in front of the lens"
    if math.isinf(far):
        return f"from {metres(near)} on" if near > 0.0 else "at every distance"
    return f"from {near:.3f} to {metres(far)}" if near > 0.0 else f"up to {metres(far)}"


def edge_name(edge: str | tuple[str, ...]) -> str:
    """Whose edge is meant, in words: the stencil's, the gate's, or that of blades by their sides."""
    if isinstance(edge, str):
        return {"gate": "edge of the gate"}.get(edge, edge)
    return f"{listed(edge)} blade{'s' if len(edge) > 1 else ''}"


def wanted_words(found, wanted) -> str:
    """The focus that gives the wanted width, first of all that is said."""
    edge = f", {edge_name(wanted.edge)}" if len(found.wanted_focuses) > 1 else ""
    start = f"{found.projector} at {found.at}{edge}: {found.wanted_mm:g} mm"
    if not wanted.focuses:
        least = f"its sharpest, at offset {wanted.least_offset_mm:+.2f} mm, is {millimetres(wanted.least_mm)}"
        return (
            f"{start}: no focus gives it; {least}"
            if wanted.least_mm > wanted.wanted_mm
            else f"{start}: no focus is so soft; {least}"
        )
    offsets = [f"{item.offset_mm:+.2f}" for item in wanted.focuses]
    if len(offsets) == 2 and offsets[0][1:] == offsets[1][1:]:
        offsets = [f"± {offsets[0][1:]}"]
    distances = [f"{item.focus_m:.2f}" for item in wanted.focuses if item.focus_m is not None]
    ways = ([f"focus at {listed(distances, 'or')} m"] if distances else []) + (
        ["past infinity"] if len(distances) < len(wanted.focuses) else []
    )
    near = [f"{item.focus_m:.2f} m" for item in wanted.focuses if not item.within_reach]
    reach = f"; {listed(near)} is nearer than this lens focuses" if near else ""
    where = listed(ways, "or") if distances else "focus past infinity"
    return f"{start}: {where} (offset {listed(offsets, 'or')} mm){reach}"


def sharpness_words(found, arrives) -> list[str]:
    """How soft edges land (mm on the surface), what limits them, and what of the pupil shines there for shadows."""
    words = [
        (
            f"{found.projector} at {found.at} ({metres(found.distance_m)}): {found.word}; edges rise in"
            f" {millimetres(found.edge_across_mm)} across the tilt, {millimetres(found.edge_along_mm)} along it (in a"
            f" render"
            f" {found.measured_across_mm:.2f} and {millimetres(found.measured_along_mm)}); blur disc"
            f" {millimetres(found.blur_disc_mm)}"
        ),
        (
            f"    limited by {found.limits[0].cause} ({millimetres(found.limits[0].edge_mm)}), then"
            f" {found.limits[1].cause}"
            f" ({millimetres(found.limits[1].edge_mm)}); a camera pixel is {millimetres(found.camera_pixel_mm)}"
        ),
    ]
    if not arrives.arrives:
        words.append(numbers_beside(arrives))
    elif arrives.hidden_by:
        words.append(f"    {arrives.words}")
    if found.detail_mm is not None:
        words.append(
            f"    the pattern's own fine detail is {found.detail_mm:.1f} mm and keeps"
            f" {percent(found.detail_contrast)} of"
            f" its contrast; lines of {found.smallest_mm:.2g} mm keep 10 %"
        )
    if found.doubled_mm is not None:
        words.append(f"    the pupil has a hole: every edge rises twice, {found.doubled_mm:.1f} mm apart")
    if found.lit_pupil.share > 0.0:
        lit, what = found.lit_pupil, "lens" if found.has_lens else "lamp"
        words.append(
            f"    shadows: {percent(lit.share)} of the {what} shines here, {lit.longest_mm:.0f} × {lit.shortest_mm:.0f}"
            f" mm ({lit.longest_deg:.2f}° × {lit.shortest_deg:.2f}°); 50 mm before the surface it fades an edge of"
            f" shadow over up to {lit.shadow_mm:.1f} mm"
        )
    if found.blades_mm:
        words.append(
            "    edges of the blades, which stand in planes of their own, rise in: "
            + ", ".join(f"{side} {millimetres(edge)}" for side, edge in found.blades_mm.items())
        )
    if found.stop is not None:
        words.append(
            f"    edges within {found.wanted_mm:g} mm: f/{found.stop.f_number:.1f}, {found.stop.cost_stops:.1f} stops"
            " less light"
        )
    elif found.wanted_mm is not None and found.edge_mm > found.wanted_mm:
        is_lateral = any("lateral" in limit.cause for limit in found.limits)
        left = "the lens shifting colours sideways" if is_lateral else "not blur of the pupil"
        words.append(f"    edges within {found.wanted_mm:g} mm: no stop does that; what is left is {left}")
    if found.depth_m is not None:
        near, far = found.depth_m
        if math.isnan(near):
            words.append(
                f"    on the axis edges are wider than {found.wanted_mm:g} mm at every distance: the lens's colours"
                " alone are"
            )
        else:
            words.append(f"    on the axis edges stay within {found.wanted_mm:g} mm {between(near, far)}")
    return words


def edge_words(found) -> str:
    """Which edges show a Fringe most."""
    if found.edge_deg is None:
        return "edges of all directions alike"
    lean = found.edge_deg
    named = (
        "upright edges"
        if abs(lean) < 0.5
        else (
            "level edges"
            if abs(lean) > 89.5
            else f"edges leaning {abs(lean):.0f}° to the {'right' if lean > 0.0 else 'left'}"
        )
    )
    return named + (
        "" if found.bright_outwards is None else f", bright side {'outwards' if found.bright_outwards else 'inwards'}"
    )


def told_apart(width_mm: float, limit_mm: float) -> tuple[str, str]:
    """Both with two decimals, or with as many as it takes to see which is larger."""
    decimals = 2
    while width_mm != limit_mm and decimals < 6 and f"{width_mm:.{decimals}f}" == f"{limit_mm:.{decimals}f}":
        decimals += 1
    return f"{width_mm:.{decimals}f}", f"{limit_mm:.{decimals}f}"


def fringe_words(found, cures) -> list[str]:
    """How wide and of what colour a fringe is, whether it passes, and what would cure it."""
    # What passes by a hair needs no decimals that would make it look like a failure.
    width, allowed = (
        (f"{found.width_mm:.2f}", f"{found.tolerance_mm:.2f}")
        if found.passes
        else told_apart(found.width_mm, found.tolerance_mm)
    )
    verdict = "passes" if found.passes else "does not pass"
    words = [
        (
            f"{found.projector} at {found.at} ({found.lens}): {verdict}; fringe {width} mm = {found.arc_minutes:.1f}"
            f" arc-minutes = {found.camera_pixels:.1f} camera pixels (axial {found.axial_mm:.2f}, lateral"
            f" {millimetres(found.lateral_mm)}; allowed {allowed} mm)"
        ),
        (
            f"    {edge_words(found)}"
            if found.edge_deg is None
            else f"    shows most on {edge_words(found)} (as the projector sees them land)"
        ),
        f"    blur discs: blue (486 nm) {millimetres(found.blue_disc_mm)}, red (656 nm)"
        f" {millimetres(found.red_disc_mm)}",
        (
            f"    dark side {found.dark_side[1]} {found.dark_side[0]}, bright side {found.bright_side[1]}"
            f" {found.bright_side[0]}, largest ΔE*ab {found.largest_delta_e:.0f}"
        ),
    ]
    for cure in cures:
        price = f", costs {cure.cost_stops:.1f} stops" if cure.cost_stops >= 0.05 else ""
        verdict = "passes" if cure.passes else "helps, does not pass"
        words.append(
            f"    {cure.what}, {cure.value}:"
            f" {f'{cure.width_mm:.2f}' if cure.passes else told_apart(cure.width_mm, found.tolerance_mm)[0]} mm,"
            f" {verdict}{price}; edges then rise in {millimetres(cure.edge_mm)} (now {millimetres(found.edge_mm)})"
        )
    if not found.passes and not cures:
        words.append(
            "    no stop, focus offset, narrow filter or lens that comes along makes it better by a tenth for four"
            " stops or less"
        )
    return words


def blur_words(found, glass: str | None, within_mm: float | None) -> list[str]:
    """A Blur from plain numbers, of a glass if one was named, and the focus and stop for a wanted width if one was."""
    sharp = f"sharp at {metres(found.sharp_m)}" if found.sharp_m is not None else "sharp nowhere before the lens"
    words = [
        (
            f"{found.focal_length_mm:g} mm at f/{found.f_number:g}, tube {millimetres(found.tube_length_mm)},"
            f" {sharp}: at"
            f" {found.wall_m:g} m (× {found.magnification:.1f}) a blur disc of {millimetres(found.blur_mm)}, edges"
            f" rise in"
            f" {millimetres(found.edge_mm)}"
        ),
        f"shadows there go by the lens itself, {found.pupil_mm:.1f} mm or {found.lens_deg:.2f}°, whatever the focus",
    ]
    if found.blue_disc_mm is not None:
        words.append(
            f"of {glass}: blue (486 nm) disc {found.blue_disc_mm:.1f} mm, red (656 nm) {found.red_disc_mm:.1f} mm"
        )
    if within_mm is not None:
        distances = [f"{value:.2f}" for value in found.focuses_m if math.isfinite(value)]
        past = " or past infinity" if len(distances) < len(found.focuses_m) else ""
        offsets = listed([f"{value:+.2f}" for value in found.offsets_mm], "or")
        words.insert(
            0,
            f"{within_mm:g} mm at {found.wall_m:g} m: "
            + (
                f"focus at {listed(distances, 'or')} m{past} (stencil {offsets} mm from its place for a sharp wall)"
                if distances
                else "no focus is so soft"
            ),
        )
    if found.f_number_wanted is not None:
        words.append(
            f"edges within {within_mm:g} mm: f/{found.f_number_wanted:.1f}, {found.cost_stops:.1f} stops less light if"
            " the pupil is filled"
        )
    return words


def compromise_words(name: str, best) -> str:
    """The one focus of a projector that serves several points best."""
    there, now = (", ".join(f"{edge:.2f}" for edge in edges) for edges in (best.edges_mm, best.edges_now_mm))
    return f"{name}: one focus for all: offset {best.offset_mm:+.2f} mm, edges {there} mm there (now {now} mm)"


def sharpness_meanings() -> dict[str, str]:
    """What each word for sharpness stands for."""
    from projector.studies.edges.sharpness import CRISP_SHARE, FIRM_SHARE, SOFT_SHARE

    return {
        "crisp": f"rises within {CRISP_SHARE:g} of the pattern's own detail, or within two camera pixels",
        "firm": f"within {FIRM_SHARE:g} of it: a visible but definite edge",
        "soft": f"within {SOFT_SHARE:g} times it: the pattern is read, its edges are not",
        "dissolved": "wider than that: neighbouring details run into each other",
    }


def meanings() -> str:
    """The same in one line, for people."""
    return "words: " + "; ".join(f"{word}: {meaning}" for word, meaning in sharpness_meanings().items())


def named_focuses(asked, wanted) -> list[tuple[float, str]]:
    """Offset (mm) and words of each focus that gives the wanted width; with whose it is where several edges were asked
    about.
    """

    def whose(found) -> str:
        parts = [found.projector] if len({spec.name for spec, _ in asked}) > 1 else []
        parts += [found.at] if len({str(reference) for _, reference in asked}) > 1 else []
        return f"{' at '.join(parts)}: " if parts else ""

    return [
        (offset_mm, f"{whose(found)}{focus_m:.2f} m" if focus_m is not None else "")
        for offset_mm, found, focus_m in wanted
    ]


def edge_label(spec, found) -> str:
    """Whose edge a picture of one shows: projector, lens, stop and place of a Fringe."""
    return f"{spec.name}, {found.lens}, f/{spec.lens.f_number:g}, {found.at}"


def colour_words(found) -> str:
    """How wide and how strong a Fringe is, and on which edges."""
    which = "" if found.edge_deg is None else f", {edge_words(found)}"
    if not found.width_mm > 0.0:
        return f"no fringe{which}"
    return f"fringe {millimetres(found.width_mm)}, ΔE {found.largest_delta_e:.0f}{which}"
