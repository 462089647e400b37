"""Sentences about sizes and outlines."""

from __future__ import annotations

import math
from dataclasses import asdict
from pathlib import Path

from projector.phrases import listed, metres, percent


def size_in_scene(name: str, formula, opening, landed, outline) -> tuple[dict, list[str]]:
    """What a projector's pattern is on what stands in a scene, for programs (units in the keys) and for people.

    name: the projector's; formula: its Landing; opening: of its gate; landed: whom its light lands on; outline: on the
    surface that it is followed on.
    """
    has_lens = formula.tube_length_mm is not None
    row = {
        "projector": name,
        "lands_on": outline.lands_on,
        "no_light": formula.no_light,
        "throw_m": formula.throw_m,
        "square_width_m": formula.pattern_width_m,
        "square_height_m": formula.pattern_height_m,
        "magnification": formula.magnification,
        "tube_length_mm": formula.tube_length_mm,
        "opening": asdict(opening),
        "light_on": [asdict(item) for item in landed],
        "missed_share": 1.0 - sum(item.share for item in landed if item.name == formula.lands_on),
        "outline_on": outline.on,
        "width_m": outline.width_m,
        "height_m": outline.height_m,
        "top_right_bottom_left_m": list(outline.sides_m),
        "top_right_bottom_left_stops": list(outline.side_stops),
        "keystone_across": outline.keystone_across,
        "keystone_up": outline.keystone_up,
        "goes_on": outline.goes_on,
        "outline_m": outline.points[::10],
        "in_the_gate": {"turned_deg": 180.0 if has_lens else 0.0, "mirrored": False},
    }
    dark = [] if formula.no_light is None else [f"no light of it falls where its axis lands; {formula.no_light}"]
    gate = gate_words(opening, has_lens)
    lines = [*dark, *landed_words(landed), *outline_words(outline, formula, landed), *gate]
    return row, [f"{name}: {line}" for line in lines]


def landed_words(landed) -> list[str]:
    """On whom the light lands, how large it is on each, and how it compares with a sitter."""
    if not landed:
        return ["nothing of its light lands on anything in the scene"]
    parts = [
        f"{percent(item.share)} on {item.name}"
        + (f" ({percent(item.sitter.head_share)} on the head)" if item.sitter else "")
        for item in landed
    ]
    nowhere = 1.0 - sum(item.share for item in landed)
    words = ["of its light " + ", ".join(parts + ([f"{percent(nowhere)} on nothing"] if nowhere > 5e-4 else []))]
    for item in lit(landed):
        detail = f", finest detail {item.detail_mm:.1f} mm" if item.detail_mm is not None else ""
        words.append(
            f"at {item.name}, {metres(item.distance_m)}, square to the beam: pattern {item.pattern_width_m:.3f} ×"
            f" {metres(item.pattern_height_m)}, its opening"
            f" {width_by_height(item.opening_width_m, item.opening_height_m)}{detail}"
        )
        if item.sitter is not None:
            words.append(f"against {item.name} the opening is {against(item)}")
    return words


def lit(landed) -> list:
    """What gets enough of the light to be worth a line."""
    return [item for item in landed if item.share >= 5e-3]


def width_by_height(width_m: float, height_m: float) -> str:
    """Width and height in one unit: millimetres where either is a strip."""
    if min(width_m, height_m) < 0.1:
        return f"{1e3 * width_m:.0f} × {1e3 * height_m:.1f} mm"
    return f"{width_m:.3f} × {metres(height_m)}"


def against(item) -> str:
    """An opening as it lands on a sitter, against face, head and shoulders."""
    sitter = item.sitter
    parts = [
        (
            f"{item.opening_width_m / sitter.face_width_m:.2g} times as wide as the face"
            f" ({1e3 * sitter.face_width_m:.0f} mm, ear to ear)"
        ),
        (
            f"{item.opening_height_m / sitter.head_height_m:.2g} times as high as the head"
            f" ({1e3 * sitter.head_height_m:.0f} mm, chin to crown)"
        ),
    ]
    if sitter.shoulder_width_m is not None:
        parts.append(
            f"{item.opening_width_m / sitter.shoulder_width_m:.2g} times as wide as the shoulders"
            f" ({1e3 * sitter.shoulder_width_m:.0f} mm)"
        )
    return ", ".join(parts)


def outline_words(outline, formula, landed) -> list[str]:
    """The whole pattern as it lands on a surface: size (m), sides, fall of light (stops), keystone."""

    def reach(value):
        return metres(value) if math.isfinite(value) else "past its edge"

    def by_side(values, text):
        return ", ".join(
            f"{side} {text(value)}" for side, value in zip(("top", "right", "bottom", "left"), values, strict=True)
        )

    if outline.on is None:
        return [
            f"its axis meets {outline.lands_on or 'nothing'}; {formula.pattern_width_m:.3f} ×"
            f" {metres(formula.pattern_height_m)} square to the beam at {metres(formula.throw_m)}"
        ]
    distance = next((item.distance_m for item in landed if item.name == outline.on), math.inf)
    before = listed([item.name for item in lit(landed) if item.distance_m < distance])
    assumed = [f"as if {before} did not stand before it"] if before else []
    assumed += ["taken to go on past its edges"] if outline.goes_on else []
    words = [
        (
            f"the whole pattern on {', '.join([outline.on, *assumed])}: left to right {reach(outline.width_m)}, top to"
            f" bottom {reach(outline.height_m)} across its middle"
        ),
        f"its {'quarters of the rim' if outline.is_round else 'sides'} there: {by_side(outline.sides_m, reach)}",
    ]
    if all(math.isfinite(value) for value in outline.side_stops):
        words.append(
            "light of the open gate at the middle of its sides against its centre, stops: "
            + by_side(outline.side_stops, lambda value: f"{value:+.2f}")
        )
    if math.isfinite(outline.keystone_across) and math.isfinite(outline.keystone_up):
        words.append(f"keystone, left to right {outline.keystone_across:.3f}, top to bottom {outline.keystone_up:.3f}")
    return words


def gate_words(opening, has_lens: bool = True) -> list[str]:
    """What is open in the gate (mm), and which way round the stencil goes in."""
    if not math.isfinite(opening.width_mm):
        return ["nothing is open in the gate: no light leaves it"]
    words = f"in the gate the opening is {opening.width_mm:.3g} × {opening.height_mm:.3g} mm"
    if opening.bitmap_width_mm is None:
        return [words]
    words += f" of a bitmap of {opening.bitmap_width_mm:.3g} × {opening.bitmap_height_mm:.3g} mm" + (
        f", its finest detail {opening.detail_mm:.2g} mm" if opening.detail_mm is not None else ""
    )
    turned = "turned by 180°" if has_lens else "upright"
    return [words, f"the stencil goes in {turned}, as seen from the lamp; face-about it lands mirrored"]


def straight_row(name: str, new) -> dict:
    """What a straightened stencil is, for programs: units in the keys."""
    return {
        "projector": name,
        "wall": new.wall,
        "width_m": new.open_width_m,
        "height_m": new.open_height_m,
        "size_factor": new.size_factor,
        "cut_share": new.cut_share,
        "moved_right_m": float(new.moved_m[0]),
        "moved_up_m": float(new.moved_m[1]),
        "stencil_width_mm": new.stencil_width_mm,
        "bitmap_width_m": new.width_m,
        "bitmap_height_m": new.height_m,
        "bitmap_corners_m": new.corners_m.tolist(),
        "bitmap_corners_in_gate_mm": new.corners_mm.tolist(),
    }


def _moved_words(moved_m, cut_share: float) -> str:
    """Whether what is open in a straightened stencil lands where that of the old one does, or how far from there."""
    steps = [
        f"{metres(abs(step))} {positive if step > 0.0 else negative}"
        for step, positive, negative in ((moved_m[0], "to the right", "to the left"), (moved_m[1], "up", "down"))
        if abs(step) >= 1e-3
    ]
    if not steps:
        return "its middle stays where the old one's lands"
    why = "there the least of it is cut off" if cut_share >= 5e-4 else "the nearest place that holds it whole"
    return f"its middle moves {listed(steps)}, as the projector sees it: {why}"


def straight_words(spec, new, path: Path, keep_size: bool) -> list[str]:
    """How a straightened stencil lands, and how to put it in the old one's place."""
    size = f"{spec.name}: lands straight on {new.wall}, {new.open_width_m:.3f} × {metres(new.open_height_m)} of light"
    kept = "the size it has on a wall square to the beam there"
    if keep_size:
        words = [
            f"{size}, {kept}; "
            + (
                f"{percent(new.cut_share)} of its opening is cut off"
                if new.cut_share >= 5e-4
                else "nothing of it is cut off"
            )
        ]
    else:
        words = [
            f"{size}, {new.size_factor:.3f} times {kept}, as large as it goes whole"
            + ("" if abs(new.size_factor - 1.0) < 5e-4 else "; --keep-size keeps the size")
        ]
    same = math.isclose(new.stencil_width_mm, spec.stencil.width_mm, rel_tol=1e-9)
    width = (
        "width, grey and inverted stay as they are"
        if same
        else f"stencil.width_mm becomes {new.stencil_width_mm:.3f}; grey and inverted stay as they are"
    )
    words.append(f"{spec.name}: {_moved_words(new.moved_m, new.cut_share)}")
    return [*words, f"{spec.name}: keep {path.name} beside the scene and name it in stencil.file; {width}"]
