"""To which lens a statement of power belongs: a reading or an output was made with one lens at one stop, whichever
stands there now.
"""

from __future__ import annotations

import copy
import math
from dataclasses import dataclass

from projector.phrases import listed

STATEMENTS = ("reading", "output", "power")
# What of a lens bears on the light that comes through it; "file" stands for all of it where a lens file is not yet
# read.
_FOR_LIGHT = (
    "file",
    "focal_length_mm",
    "f_number",
    "transmittance",
    "filled_pupil_mm",
    "pupil",
    "pupil_offset_mm",
    "distortion_percent",
)


def stated_lens(spec):
    """The Lens that a projector's reading or output was made with; its own where nothing else is said.

    Of a unit of one's gear it is the lens that it was read with there, or else what the projector says beside it.
    """
    for statement in (spec.meter_reading, spec.reading or spec.output or spec.power):
        if statement is not None and statement.lens is not None:
            return statement.lens
        if statement is not None and statement.lens_f_number is not None:
            return spec.lens.model_copy(update={"f_number": statement.lens_f_number})
    return spec.lens


def with_lens(spec, lens):
    """A projector with another Lens, or its own at another stop; its reading or output stays with the lens that it was
    made with.
    """
    changes = {"lens": lens}
    for kind in STATEMENTS:
        statement = getattr(spec, kind)
        if statement is not None:
            changes[kind] = statement.model_copy(update={"lens": stated_lens(spec), "lens_f_number": None})
    return spec.model_copy(update=changes)


@dataclass(frozen=True)
class CarriedOver:
    """A statement of power taken over from the lens that it was made with to the one there now.

    statement: "reading" or "output"; then, now: the two lenses, as far as they differ, in words; stops: the light on
    the axis far away, now against then (negative: dimmer); filled_mm: the openings that the lamp is taken to fill, as
    nothing is said of them, by the diameter of a disc that lets as much through.
    """

    statement: str
    then: str
    now: str
    stops: float
    filled_mm: tuple[float, ...]

    def sentence(self, name: str) -> str:
        """What was taken for granted of a projector of that name."""
        change = (
            f"{abs(self.stops):.1f} stops {'less' if self.stops < 0.0 else 'more'}"
            if abs(self.stops) >= 0.05
            else "as much"
        )
        openings = listed([f"{diameter:.1f} mm" for diameter in self.filled_mm])
        filled = (
            f", if the lamp fills {'both openings' if len(self.filled_mm) > 1 else 'the opening'} of {openings}"
            if openings
            else ""
        )
        return f"{name}: its {self.statement} was taken with {self.then}; {self.now} gives {change} light{filled}."


def carried_over(spec, then_mm: float, now_mm: float) -> CarriedOver | None:
    """What becomes of a projector's reading or output through the lens there now; None where that is the one it was
    made with.

    then_mm, now_mm: diameters of the discs that let as much light through as the two pupils.
    """
    then, now = stated_lens(spec), spec.lens
    as_open = math.isclose(then_mm, now_mm, rel_tol=1e-9)
    if as_open and (then.focal_length_mm, then.f_number, then.transmittance) == (
        now.focal_length_mm,
        now.f_number,
        now.transmittance,
    ):
        return None
    stops = 2.0 * math.log2(now_mm / then_mm) + math.log2(now.transmittance / then.transmittance)
    filled = (
        ()
        if as_open
        else tuple(opening for opening, lens in ((then_mm, then), (now_mm, now)) if lens.filled_pupil_mm is None)
    )
    return CarriedOver(
        "reading" if spec.meter_reading is not None else "output", _told(then, now), _told(now, then), stops, filled
    )


def _told(lens, other) -> str:
    """A lens in words, as far as it differs from another one."""
    parts = {
        "focal_length_mm": f"{lens.focal_length_mm:g} mm",
        "f_number": f"f/{lens.f_number:g}",
        "filled_pupil_mm": "a filled pupil" if lens.filled_pupil_mm is None else f"{lens.filled_pupil_mm:g} mm filled",
        "pupil": f"a {lens.pupil.shape if lens.pupil else 'disc'} pupil",
        "transmittance": f"transmittance {lens.transmittance:g}",
    }
    differing = [name for name in parts if getattr(lens, name) != getattr(other, name)]
    # Another lens is called by its stop, too.
    return ", ".join(
        words
        for name, words in parts.items()
        if name in differing or (name == "f_number" and "focal_length_mm" in differing)
    )


def keep_statements(before: dict, after: dict) -> None:
    """Note in place, in a scene's plain data, with which lens a reading or an output was made, where another one is
    there now.

    It was made with the lens as the file has it: another lens or stop must not change what it says.
    """
    for old, new in zip(projectors_in(before), projectors_in(after), strict=False):
        lens, previous = new.get("lens"), old.get("lens")
        if not (isinstance(lens, dict) and isinstance(previous, dict)):
            continue
        for statement in (new.get(kind) for kind in STATEMENTS):
            if isinstance(statement, dict) and "lens" not in statement:
                _note(statement, lens, previous)


def _note(statement: dict, lens: dict, previous: dict) -> None:
    then = {key: previous[key] for key in _FOR_LIGHT if key in previous}
    if "lens_f_number" in statement:
        then["f_number"] = statement["lens_f_number"]
    changed = {key for key in _FOR_LIGHT if then.get(key) != lens.get(key)}
    # A lens that cannot open so far is another one, however alike the rest.
    if (
        changed == {"f_number"}
        and "f_number" in then
        and lens.get("widest_f_number") == previous.get("widest_f_number")
    ):
        statement["lens_f_number"] = then["f_number"]
    elif changed:
        statement.pop("lens_f_number", None)
        statement["lens"] = copy.deepcopy(then)


def projectors_in(data: dict) -> list[dict]:
    """The projectors of a scene's plain data; an empty one in the place of what is none."""
    items = data.get("projector")
    return [item if isinstance(item, dict) else {} for item in items] if isinstance(items, list) else []
