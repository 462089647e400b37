"""What lands, in a few words that stay in view while something is turned; the whole sentences stand beside them."""

from __future__ import annotations

from typing import NamedTuple

from projector.answers.edges import fringe_words, sharpness_words
from projector.answers.landing import landing_words
from projector.answers.metering import meter_words
from projector.answers.size import width_by_height
from projector.phrases import metres, millimetres, percent, signed


class Glance(NamedTuple):
    """One thing that is looked at: what it is, its value, what to know beside it, whether to mind it, and the
    sentences that a command would say.
    """

    label: str
    value: str
    beside: str = ""
    to_mind: bool = False
    sentences: tuple[str, ...] = ()


def landing_glances(item, opened, camera_f_number: float) -> list[Glance]:
    """How large a projector's pattern lands, and from how far."""
    sentences = tuple(landing_words(item, opened, camera_f_number))
    where = f"on {item.lands_on}" if item.lands_on else "meets nothing"
    found = [Glance("throw", metres(item.throw_m, 2), where, item.lands_on is None, sentences)]
    if opened.opening_width_m is None:
        found.append(Glance("opening", "none", "nothing is open in the gate", True))
    else:
        detail = "" if opened.detail_mm is None else f"finest strip {millimetres(opened.detail_mm, 1)}"
        found.append(Glance("opening", width_by_height(opened.opening_width_m, opened.opening_height_m), detail))
    whole = width_by_height(item.pattern_width_m, item.pattern_height_m)
    found.append(Glance("whole pattern", whole, f"× {item.magnification:.1f}"))
    if item.no_light is not None:
        found.append(Glance("light", "none there", item.no_light, True))
    return found


def sharpness_glance(found, arrives) -> Glance:
    """How soft edges are at a point, and what limits them."""
    beside = f"{found.word}, at {found.at}; {found.limits[0].cause}"
    return Glance("edge", millimetres(found.edge_mm), beside, False, tuple(sharpness_words(found, arrives)))


def fringe_glance(found) -> Glance:
    """How wide the coloured rim is, and whether the camera sees it."""
    verdict = "passes" if found.passes else f"over {millimetres(found.tolerance_mm)}"
    beside = f"{found.camera_pixels:.1f} camera pixels, {verdict}"
    return Glance("fringe", millimetres(found.width_mm), beside, not found.passes, tuple(fringe_words(found, ())))


def no_edges_glance(arrives) -> Glance:
    """That no edge lands at a point, and why."""
    return Glance("edge", "none there", f"{arrives.at}: {arrives.words}", True)


def meter_glances(found) -> list[Glance]:
    """Each light's f-number at a point and all together, with the stops against the key and the camera."""
    lights = []
    for item in found.lights:
        shown = item.alone.f_number_marked
        if shown is None:
            lights.append(Glance(item.light, "no light", item.no_light or "", True))
            continue
        against = "key" if item.light == found.key else ""
        if item.light != found.key and item.stops_over_key is not None:
            against = f"{signed(item.stops_over_key)} stops to key"
        lights.append(Glance(item.light, shown, ", ".join(filter(None, (against, f"{percent(item.share)} of it")))))
    together = found.together
    if together.f_number_marked is None:
        return [Glance("together", "no light", f"at {found.at}", True, tuple(meter_words(found)))]
    over = together.stops_over_camera
    beside = "as the camera is set" if abs(over) < 0.05 else f"{signed(over)} stops to the camera's f-number"
    return [Glance("together", together.f_number_marked, beside, False, tuple(meter_words(found))), *lights]
