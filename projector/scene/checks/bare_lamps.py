"""A lamp in the place of a lens: what its fields say together, and what makes no sense without a lens."""

from __future__ import annotations

import numpy as np

from projector.scene.checks.beam import check_lateral_colour
from projector.scene.checks.gear import check_bare
from projector.scene.checks.lens import check_lens
from projector.scene.checks.report import Report
from projector.scene.model import Focus
from projector.scene.stated_power import STATEMENTS

_EXAMPLE = "lamp = { opening_mm = 40, card_mm = 500 }"


def check_lens_or_lamp(report: Report, spec, path: tuple) -> None:
    """One of the two, a lamp that is given one way, and nothing that only a lens has beside it."""
    key = f"projector.{spec.name}"
    if spec.lens is None and spec.lamp is None:
        report.fault(
            (*path, "lens"),
            f"{key}.lens",
            "neither a lens nor a lamp without one",
            "one of them",
            f"lens = {{ focal_length_mm = 85, f_number = 2.8 }}, or {_EXAMPLE}",
        )
    elif spec.lens is not None and spec.lamp is not None:
        report.fault(
            (*path, "lamp"), f"{key}.lamp", "a lens and a lamp without one", "one of them", "take one of them out"
        )
    elif spec.lens is not None:
        check_lens(report, spec.lens, (*path, "lens"), f"{key}.lens")
        check_lateral_colour(report, spec, path)
    else:
        _check_fields(report, spec, (*path, "lamp"), f"{key}.lamp")
        _check_what_needs_a_lens(report, spec, path, key)
        _check_blades(report, spec, path, key)


def _check_fields(report: Report, spec, path: tuple, key: str) -> None:
    lamp = spec.lamp
    near, far = lamp.opening_mm is not None or lamp.card_mm is not None, lamp.opening_deg is not None
    if near and far:
        report.fault(
            path,
            key,
            "a lamp given by its opening in mm and by how wide it looks, in degrees",
            "opening_mm with card_mm, or opening_deg alone",
            "for the sun through a window's frame: opening_deg = 0.53, the projector standing where the frame stands",
        )
    elif not far and (lamp.opening_mm is None or lamp.card_mm is None):
        missing = "card_mm" if lamp.opening_mm is not None else "opening_mm"
        report.fault(path, f"{key}.{missing}", f"a lamp without {missing}", "opening_mm with card_mm", _EXAMPLE)


def _check_what_needs_a_lens(report: Report, spec, path: tuple, key: str) -> None:
    if spec.focus != Focus():
        report.fault(
            (*path, "focus"),
            f"{key}.focus",
            "a focus without a lens",
            "nothing: edges are sharp at the card alone",
            "a smaller opening_mm or a larger card_mm makes edges harder",
        )
    for kind in STATEMENTS:
        statement = getattr(spec, kind)
        for name in ("lens", "lens_f_number", "before_lens"):
            if getattr(statement, name, None):
                report.fault(
                    (*path, kind, name),
                    f"{key}.{kind}.{name}",
                    f"{name} in the {kind} of a lamp without a lens",
                    "no lens",
                    "take it out",
                )
    if spec.output is not None and spec.lamp.opening_deg is not None:
        report.fault(
            (*path, "output"),
            f"{key}.output",
            "lumens of a light that is given by how wide it looks",
            "a reading, with its distance from the card",
            "reading = { f_number = 8, iso = 100, distance_m = 1.0 }",
        )
    reading, card = spec.meter_reading, spec.lamp.card_mm
    own = "reading.distance_m" if spec.reading is not None else "power.unit"
    if spec.power is not None:
        check_bare(report, spec.power, (*path, "power"), f"{key}.power")
    if reading is not None and card is not None and reading.distance_m <= 1e-3 * card:
        report.fault(
            (*path, *own.split(".")),
            f"{key}.{own}",
            f"a meter {reading.distance_m:g} m away from a lamp whose card stands {1e-3 * card:g} m before it",
            f"more than {1e-3 * card:g} m",
            "measure behind the card",
        )


def _check_blades(report: Report, spec, path: tuple, key: str) -> None:
    """Blades between opening and card, or beyond the card as barn doors are; none behind the lamp."""
    card = spec.lamp.card_mm
    for index, blade in enumerate(spec.blade):
        if card is not None and blade.offset_mm >= card:
            report.fault(
                (*path, "blade", index, "offset_mm"),
                f"{key}.blade.{blade.side}.offset_mm",
                f"the blade would stand {blade.offset_mm:g} mm on the lamp's side of a card {card:g} mm before it",
                f"less than {card:g} mm",
                "below 0: beyond the card, as barn doors are",
            )


def check_lamp_reaches(report: Report, spec, distance: float, path: tuple, key: str) -> None:
    """What a lamp aims at, `distance` (m) from its place along the axis, has to lie behind its card and its blades."""
    lamp = spec.lamp
    if lamp.card_mm is None and lamp.opening_deg is None:
        return
    card = 0.0 if lamp.card_mm is None else 1e-3 * lamp.card_mm
    farthest = card + max((-1e-3 * blade.offset_mm for blade in spec.blade), default=0.0)
    nearest = max(card, farthest)
    if not distance > nearest or not np.isfinite(distance):
        report.fault(
            (*path, "aim"),
            f"{key}.aim",
            f"what it aims at is {distance:.3f} m away, no farther than its card, {nearest:.3f} m",
            f"more than {nearest:.3f} m",
            "a smaller card_mm, or go back",
        )
