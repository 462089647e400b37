"""What would cure a fringe (a smaller stop, another focus, a narrow filter, another lens), and its price in light."""

from __future__ import annotations

import math
from dataclasses import dataclass

from projector.photometry.filters import band, stops_lost
from projector.scene.model import Filter
from projector.shown import Shown
from projector.stage.optics import pupil_of
from projector.stage.stage import AnyProjector, SceneOrStage, StagedProjector, projector_on
from projector.studies.edges.fringe import Fringe, within_tolerance
from projector.studies.edges.profile import edge_by_formula, full_spectrum, place_on_surface
from projector.studies.edges.widest_fringe import turned_to, widest_fringe
from projector.studies.lenses.shipped import shipped_lenses

# What does not pass and leaves more than this share of a fringe cures nothing; a stop beyond this leaves no light to
# work with.
LEAST_CURE, SMALLEST_STOP = 0.9, 32.0
# A cure that takes more light than this is none: ISO 1600 instead of 100 (common practice, no source).
DEAREST_CURE_STOPS = 4.0


@dataclass(frozen=True, repr=False)
class Cure(Shown):
    """One thing that helps: what, its number, what the fringe becomes, what it costs in stops (0 where nothing, below
    where it gives), and the edge then.

    edge_mm: 10–90 % of the luminance, mm on the surface across the tilt, as in Fringe; passes: whether the fringe comes
    within the tolerance by this alone.
    """

    in_one_line = "{what}, {value}: fringe {width_mm:.2f} mm, edges {edge_mm:.2f} mm, {cost_stops:.1f} stops"

    what: str
    value: str
    width_mm: float
    cost_stops: float
    edge_mm: float
    passes: bool


def cures(stage: SceneOrStage, projector: AnyProjector, reference, found: Fringe) -> list[Cure]:
    """What would bring a fringe under its tolerance, or make it a tenth narrower at least: stop, focus, filter, lens.

    found: what `fringe` says of the same point.
    """
    staged = projector_on(stage, projector)
    stage, spec, answers = staged.stage, staged.spec, []

    def with_change(what: str, value: str, cost_stops: float = 0.0, **changes) -> Cure:
        changed = staged.varied(**changes)
        light, weights = full_spectrum(stage, changed)
        place = place_on_surface(stage, light, reference)
        widest = widest_fringe(light, place, changed.spec.lens, changed.passed)
        edge = edge_by_formula(light, turned_to(place, widest.normal), "across", 801)
        return Cure(
            what=what,
            value=value,
            width_mm=widest.width_mm,
            cost_stops=cost_stops,
            edge_mm=1e3 * edge.width(weights[:, 1]),
            passes=within_tolerance(widest.width_mm, found.tolerance_mm),
        )

    answers += _smaller_stop(stage.scene, spec, found, with_change)
    answers.append(_best_offset(spec, with_change))
    answers.append(_narrow_band(staged, with_change))
    answers += _other_lenses(stage.scene, spec, with_change)
    return [
        cure
        for cure in answers
        if cure.cost_stops <= DEAREST_CURE_STOPS + 1e-6 and (cure.passes or cure.width_mm < LEAST_CURE * found.width_mm)
    ]


def _smaller_stop(scene, spec, found: Fringe, with_change) -> list[Cure]:
    """The stop that brings the fringe under its tolerance, or, if that takes too much light, the smallest that does
    not.
    """
    room = found.tolerance_mm - found.lateral_mm
    if not (found.axial_mm > 0.0 and room > 0.0):
        return []
    # Axial colour goes with the pupil's diameter, which the source may not fill. To the next tenth, as it will be said.
    open_mm = 2e3 * pupil_of(scene, spec.lens)[1]
    wanted = max(spec.lens.focal_length_mm / open_mm * found.axial_mm / room, spec.lens.f_number)
    dearest = spec.lens.focal_length_mm / open_mm * 2.0 ** (0.5 * DEAREST_CURE_STOPS)
    number = min(math.ceil(10.0 * wanted) / 10.0, math.floor(10.0 * dearest + 1e-6) / 10.0)
    if number > SMALLEST_STOP or number <= spec.lens.f_number:
        return []
    cost = max(2.0 * math.log2(number * open_mm / spec.lens.focal_length_mm), 0.0)
    return [
        with_change("a smaller stop", f"f/{number:.1f}", cost, lens=spec.lens.model_copy(update={"f_number": number}))
    ]


def _best_offset(spec, with_change) -> Cure:
    """The focus offset with the narrowest fringe: balanced about yellow, blue and red reach equally far."""
    from scipy.optimize import minimize_scalar

    def at(offset: float) -> Cure:
        return with_change(
            "a focus offset", f"{offset:+.2f} mm", focus=spec.focus.model_copy(update={"offset_mm": float(offset)})
        )

    span = 0.03 * spec.lens.focal_length_mm
    start = spec.focus.offset_mm
    best = minimize_scalar(
        lambda offset: at(offset).width_mm,
        bounds=(start - span, start + span),
        method="bounded",
        options={"xatol": 1e-3},
    )
    return at(best.x)


def _narrow_band(staged: StagedProjector, with_change) -> Cure:
    """A band filter 20 nm wide at 550 nm before the lens, and its price in light."""

    centre_nm, width_nm = 550.0, 20.0
    narrow = Filter(kind="band", centre_nm=centre_nm, width_nm=width_nm)
    cost = stops_lost(staged.power.spectrum, band(centre_nm, width_nm))
    return with_change(
        "a narrow band filter",
        "550 nm, 20 nm wide; the pattern turns green",
        cost,
        filter=(*staged.spec.filter, narrow),
    )


def _other_lenses(scene, spec, with_change) -> list[Cure]:
    """Shipped lenses of the same focal length at the same stop; each costs what less its glass and pupil pass."""

    def lets_through(lens) -> float:
        outline, radius = pupil_of(scene, lens)
        return lens.transmittance * outline.area * radius**2

    def at_this_stop(lens):
        return lens.model_copy(update={"f_number": spec.lens.f_number})

    now = lets_through(spec.lens)
    return [
        with_change("another lens", name, math.log2(now / lets_through(at_this_stop(lens))), lens=at_this_stop(lens))
        for name, lens in shipped_lenses()
        if abs(lens.focal_length_mm - spec.lens.focal_length_mm) < 0.5
        and (lens.widest_f_number or lens.f_number) <= spec.lens.f_number
    ]
