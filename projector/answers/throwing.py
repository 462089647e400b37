"""Throw from plain numbers: which question they ask, its answer as values, and the sentences about it.

Each answer is (result for programs, units in the keys; words for people).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass

from projector import studies
from projector.faults import Fault, SceneError
from projector.phrases import NOT_ENOUGH, metres, millimetres

SIZE_EXAMPLE = "projector throw --focal-length-mm 85 --lit-width-mm 28 --throw-m 2.5"
Said = tuple[dict, list[str]]


@dataclass(frozen=True)
class Asked:
    """What some numbers ask about: its name, the numbers that its answer goes by, and why it goes by no others."""

    name: str
    used: tuple[str, ...]
    why: str


def asked_by(numbers: dict[str, float | None]) -> Asked:
    """What is asked by the numbers given (focal_length_mm, beam_angle_deg, lit_width_mm, lit_height_mm, throw_m,
    width_m, height_m, travel_mm, f_number, to_m; None where not given).
    """
    given = {name for name, value in numbers.items() if value is not None}
    if "beam_angle_deg" in given:
        # Angle and throw make the width, angle and width the throw: all three would be two statements of one thing.
        one = "throw_m" if "throw_m" in given else "width_m"
        why = "a beam angle stands for lens and gate, and with a throw it says the width, with a width the throw"
        return Asked("beam", ("beam_angle_deg", one), why)
    if {"width_m", "throw_m"} <= given and not given & {"lit_width_mm", "focal_length_mm"}:
        why = "a width and a throw alone say the beam's angle; a lens needs the lit width too"
        return Asked("angle", ("throw_m", "width_m"), why)
    if {"focal_length_mm", "travel_mm"} <= given and "lit_width_mm" not in given:
        used = ("focal_length_mm", "travel_mm", "throw_m") + (("f_number",) if "throw_m" in given else ())
        why = (
            "lens and travel say how near it focuses, with a throw and a stop also the blur there, and without a lit"
            " width no size"
        )
        return Asked("nearest", used, why)
    if {"focal_length_mm", "throw_m", "to_m"} <= given:
        why = (
            "from one throw to another the pattern grows the same way whatever is in the gate, and there is no figure"
            " of it"
        )
        return Asked("moved", ("focal_length_mm", "throw_m", "to_m"), why)
    if {"focal_length_mm", "throw_m"} <= given and "lit_width_mm" not in given:
        why = "lens and throw alone say the tube and the magnification; a size needs the lit width too"
        return Asked("tube", ("focal_length_mm", "throw_m"), why)
    used = ("focal_length_mm", "lit_width_mm", "lit_height_mm", "throw_m", "width_m", "travel_mm")
    used += ("f_number",) if "travel_mm" in given else ()
    used += ("height_m",) if "width_m" in given and "focal_length_mm" not in given else ()
    why = (
        "the answer goes by lens, lit size, throw and wanted width, a wanted height only where it finds the lens, a"
        " stop only with a travel"
    )
    return Asked("size", used, why)


def answer_to(asked: Asked, numbers: dict[str, float | None]) -> Said:
    """What the numbers say to any question but that of a size. SceneError for numbers that mean nothing."""
    used = {name: numbers[name] for name in asked.used}
    answers: dict[str, Callable[..., Said]]
    answers = {"beam": beam, "angle": beam_angle, "nearest": nearest_focus, "moved": moved, "tube": tube}
    return answers[asked.name](**used)


def size_from_numbers(numbers: dict[str, float | None]):
    """The Throw that lens, gate and throw make, forwards or backwards. SceneError if they are not enough."""
    width_m, lit_width_mm, lit_height_mm, throw_m, focal_length_mm = (
        numbers[name] for name in ("width_m", "lit_width_mm", "lit_height_mm", "throw_m", "focal_length_mm")
    )
    if lit_width_mm is not None and width_m is not None and throw_m is not None and focal_length_mm is None:
        return studies.lens_for(width_m, lit_width_mm, throw_m, numbers["height_m"], lit_height_mm)
    if lit_width_mm is not None and width_m is not None and focal_length_mm is not None:
        return studies.place_for(width_m, lit_width_mm, focal_length_mm, lit_height_mm)
    if lit_width_mm is not None and focal_length_mm is not None and throw_m is not None:
        return studies.throw(focal_length_mm, lit_width_mm, throw_m, lit_height_mm)
    raise SceneError(
        Fault(
            found=NOT_ENOUGH,
            allowed=(
                "a scene; or lens and throw, and lit width for the size; or wanted width, lit width and throw; or"
                " wanted width, lit width and lens; or a wanted width and the throw alone, for the beam's angle; or a"
                " beam angle, with a throw or a wanted width; or lens and travel"
            ),
            try_=SIZE_EXAMPLE,
        )
    )


def size_of(found, numbers: dict[str, float | None]) -> Said:
    """A Throw, against the throw that was given beside a wanted width, and how near its lens focuses."""
    result = asdict(found)
    words = [
        f"{found.lit_width_mm:g} mm through {millimetres(found.focal_length_mm)} at {metres(found.throw_m)}:"
        f" {found.width_m:.3f} × {metres(found.height_m)} (× {found.magnification:.2f}), tube"
        f" {millimetres(found.tube_length_mm)}, beam {found.beam_angle_deg:.1f}° full, its edge"
        f" {found.edge_stops:+.2f} stops"
    ]
    throw_m, travel_mm = numbers["throw_m"], numbers["travel_mm"]
    if throw_m is not None and numbers["focal_length_mm"] is not None and numbers["width_m"] is not None:
        result["stops_against_throw"] = studies.stops_for_distance(throw_m, found.throw_m)
        words.append(f"that is {result['stops_against_throw']:+.2f} stops against {throw_m:g} m")
    if travel_mm is not None:
        more, reach = nearest_focus(found.focal_length_mm, travel_mm, found.throw_m, numbers["f_number"])
        result |= more
        words += reach
    return result, words


def beam_angle(throw_m: float, width_m: float) -> Said:
    """The full angle of a beam that is so wide at a throw."""
    angle = studies.beam_angle(width_m, throw_m)
    result, words = _beam(angle, f"{angle:.1f}")
    return {"beam_angle_deg": angle, **result}, [
        f"{width_m:g} m wide at {throw_m:g} m: a beam of {angle:.1f}° full",
        *words,
    ]


def beam(beam_angle_deg: float, throw_m: float | None = None, width_m: float | None = None) -> Said:
    """How wide a beam of a nominal angle is at a throw, or where it is so wide."""
    result, words = _beam(beam_angle_deg, f"{beam_angle_deg:g}")
    if throw_m is not None:
        result["width_m"] = studies.nominal_width(beam_angle_deg, throw_m)
        words.insert(0, f"a beam of {beam_angle_deg:g}° is {metres(result['width_m'])} wide at {throw_m:g} m")
    elif width_m is not None:
        # The width grows in proportion to the throw.
        result["throw_m"] = width_m / studies.nominal_width(beam_angle_deg, 1.0)
        words.insert(0, f"a beam of {beam_angle_deg:g}° is {width_m:g} m wide at {metres(result['throw_m'])}")
    return result, words


def _beam(beam_angle_deg: float, printed: str) -> Said:
    """What an angle alone says of a beam."""
    like, nearest = studies.camera_lens_like(beam_angle_deg), studies.common_lens_like(beam_angle_deg)
    edge = studies.edge_stops(beam_angle_deg)
    return {"camera_lens_like_mm": like, "common_lens_mm": nearest, "edge_stops": edge}, [
        f"on 36 × 24 mm a lens of {millimetres(like, 1)} sees a beam of {printed}° over its diagonal; the nearest"
        f" common one is {nearest:g} mm",
        f"evenly lit, its edge is {edge:+.2f} stops against its middle",
    ]


def tube(focal_length_mm: float, throw_m: float) -> Said:
    """How long the tube is, and how much larger the pattern than the stencil."""
    found = studies.throw(focal_length_mm, 1.0, throw_m)
    return {"tube_length_mm": found.tube_length_mm, "magnification": found.magnification}, [
        f"{focal_length_mm:g} mm focused at {throw_m:g} m: tube {millimetres(found.tube_length_mm)},"
        f" {found.magnification:.2f} times as large as the stencil"
    ]


def nearest_focus(
    focal_length_mm: float, travel_mm: float, throw_m: float | None = None, f_number: float | None = None
) -> Said:
    """How near a lens focuses and, asked for nearer than that, the blur there at full travel."""
    nearest = studies.nearest_focus(focal_length_mm, travel_mm)
    result = {"nearest_focus_m": nearest}
    words = [f"{focal_length_mm:.5g} mm with {travel_mm:g} mm of travel focuses from {metres(nearest)}"]
    if throw_m is None:
        return result, words
    result["can_focus"] = studies.can_focus(focal_length_mm, travel_mm, throw_m)
    words.append(f"{throw_m:.4g} m is within reach" if result["can_focus"] else f"it cannot focus at {throw_m:.4g} m")
    if f_number is not None:
        result["blur_mm"] = studies.blur_out_of_reach(focal_length_mm, travel_mm, throw_m, f_number)
    if f_number is not None and not result["can_focus"]:
        words[-1] += f": at full travel the blur there is {result['blur_mm']:.2g} mm at f/{f_number:g}"
    return result, words


def moved(focal_length_mm: float, throw_m: float, to_m: float) -> Said:
    """How much larger a pattern gets, and what it loses, from one throw to another."""
    untouched, refocused = studies.refocused_growth(focal_length_mm, throw_m, to_m)
    stops = studies.stops_for_distance(throw_m, to_m)
    return {"growth_untouched": untouched, "growth_refocused": refocused, "stops": stops}, [
        f"from {throw_m:g} to {to_m:g} m: {untouched:.3f} times as wide with the tube untouched, {refocused:.3f} times"
        f" after refocusing, {stops:+.2f} stops"
    ]


def further_back(name: str, formula, focal_length_mm: float, width_m: float) -> tuple[dict, str]:
    """Where a projector would throw a wanted width, refocused there, and what going there costs.

    formula: its Landing as it stands.
    """
    lit_width_mm = 1e3 * formula.pattern_width_m / formula.magnification
    throw_m = studies.place_for(width_m, lit_width_mm, focal_length_mm).throw_m
    back_m, stops = throw_m - formula.throw_m, studies.stops_for_distance(formula.throw_m, throw_m)
    words = (
        f"{name}: {width_m:g} m wide square to the beam at {metres(throw_m)}, {back_m:+.3f} m from where it stands,"
        f" {stops:+.2f} stops"
    )
    return {"width_m": width_m, "throw_m": throw_m, "back_m": back_m, "stops": stops}, words
