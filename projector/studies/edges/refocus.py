"""An edge over the focus: how wide it lands with the stencil moved, where it is sharpest, and which focus gives a
wanted width.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from projector.optics.dispersion import LINE_D_NM
from projector.phrases import listed
from projector.shown import Shown
from projector.stage.optics import require_lens
from projector.stage.stage import AnyProjector, SceneOrStage, StagedProjector, projector_on
from projector.studies.edges.profile import edge_by_formula, full_spectrum, patch_diameters, place_on_surface
from projector.studies.edges.widest_fringe import edge_reported_at
from projector.tracing.gate.lens_law import Projection, as_if_in_blade_plane

# The stencil is moved no nearer to the lens than this share of the focal length, which is also where a scene's check
# stops.
_NEAREST_TUBE = 0.2


@dataclass(frozen=True, repr=False)
class Focused(Shown):
    """A focus that lands the edge as wide as wanted.

    offset_mm: of the stencil, as focus.offset_mm says it; focus_m: what is sharp then, as focus.distance_m counts it,
    None where nothing before the lens is; within_reach: whether it is no nearer than the lens focuses.
    """

    in_one_line = "offset {offset_mm:+.3f} mm"

    offset_mm: float
    focus_m: float | None
    within_reach: bool


@dataclass(frozen=True, repr=False)
class WantedFocus(Shown):
    """What gives a wanted edge (mm on the surface, of the edge that is reported): one focus nearer than the place and
    one farther, as far as there are.

    edge: whose edge: "stencil", "gate", or the sides of the blades ("left", …) that stand in one plane; least_mm: the
    sharpest that any focus makes the edge, at least_offset_mm; colours and faults of the lens are left of it.
    """

    edge: str | tuple[str, ...]
    wanted_mm: float
    focuses: tuple[Focused, ...]
    least_mm: float
    least_offset_mm: float

    def _line(self) -> str:
        offsets = listed([f"{item.offset_mm:+.3f} mm" for item in self.focuses], "or") or "no offset"
        edge = self.edge if isinstance(self.edge, str) else "+".join(self.edge)
        return f"{edge} {self.wanted_mm:g} mm wide: {offsets}"


def refocused(spec, offset_mm: float):
    """A projector with another focus offset."""
    return spec.model_copy(update={"focus": spec.focus.model_copy(update={"offset_mm": float(offset_mm)})})


def edge_refocused(
    stage: SceneOrStage, projector: AnyProjector, reference, offset_mm: float, blade: int | None = None
) -> float:
    """Width (10–90 %, mm on the surface, of the edge that is reported) of the stencil's edge, or a blade's, as if it
    ran through a place; all wavelengths, another focus offset.
    """
    staged = projector_on(stage, projector)
    light, weights = full_spectrum(staged.stage, refocused(staged.spec, offset_mm))
    if blade is not None:
        light = as_if_in_blade_plane(light, blade)
    place = place_on_surface(staged.stage, light, reference)
    return 1e3 * edge_by_formula(light, edge_reported_at(light, place), "across", 801).width(weights[:, 1])


def blade_edges(stage: SceneOrStage, projector: AnyProjector, reference) -> dict[str, float]:
    """Widths (mm on the surface) of the blades' edges by side."""
    staged = projector_on(stage, projector)
    return {
        blade.side: edge_refocused(staged.stage, staged, reference, staged.spec.focus.offset_mm, index)
        for index, blade in enumerate(staged.spec.blade)
    }


def sharpest_offset(stage: SceneOrStage, projector: AnyProjector, reference) -> float:
    """The focus offset (mm) at which yellow light leaves the stencil's edges sharpest at a point: the patch's diameter
    is zero; NaN for none.
    """
    from scipy.optimize import newton

    staged = projector_on(stage, projector)

    def diameter(offset: float) -> float:
        light = yellow_refocused(staged, offset)
        return 1e3 * float(patch_diameters(light, place_on_surface(staged.stage, light, reference))[0])

    now = staged.spec.focus.offset_mm
    found, report = newton(diameter, now, x1=now + 0.1, tol=1e-6, full_output=True, disp=False)
    return float(found) if report.converged else math.nan


def yellow_refocused(staged: StagedProjector, offset_mm: float) -> Projection:
    """A projector's yellow light at another focus offset, gate open."""
    return staged.stage.projector(refocused(staged.spec, offset_mm)).open_light([LINE_D_NM])


def offset_bounds(stage: SceneOrStage, projector: AnyProjector = None) -> tuple[float, float]:
    """The focus offsets (mm) between which a lens still is a projection lens: the stencil from a fifth of the focal
    length to twice its sharp place.
    """
    staged = projector_on(stage, projector)
    sharp_mm = 1e3 * staged.focus.sharp_tube_length
    lens = require_lens(staged.spec, "focus to turn")
    return _NEAREST_TUBE * lens.focal_length_mm - sharp_mm, sharp_mm


def wanted_focuses(
    stage: SceneOrStage, projector: AnyProjector, reference, wanted_mm: float
) -> tuple[WantedFocus, ...]:
    """What gives a wanted edge: the stencil's, or, where only blades frame the light, theirs, those of one plane
    together.
    """
    staged = projector_on(stage, projector)
    spec = staged.spec
    if spec.stencil is not None or not spec.blade:
        edge = "stencil" if spec.stencil is not None else "gate"
        return (_wanted_focus(staged, reference, wanted_mm, edge, None),)
    planes: dict[float, list[int]] = {}
    for index, blade in enumerate(spec.blade):
        planes.setdefault(blade.offset_mm, []).append(index)
    return tuple(
        _wanted_focus(staged, reference, wanted_mm, tuple(spec.blade[index].side for index in group), group[0])
        for group in planes.values()
    )


def _wanted_focus(staged: StagedProjector, reference, wanted_mm: float, edge, blade: int | None) -> WantedFocus:
    """The focuses that land an edge at a place with a wanted width: between them it is sharper, elsewhere softer."""
    from scipy.optimize import brentq, minimize_scalar

    spec = staged.spec
    low, high = offset_bounds(staged.stage, staged)
    in_front = spec.blade[blade].offset_mm if blade is not None else 0.0
    yellow = sharpest_offset(staged.stage, staged, reference) - in_front
    start = min(max(yellow, low), high) if math.isfinite(yellow) else spec.focus.offset_mm

    def excess(offset: float) -> float:
        return edge_refocused(staged.stage, staged, reference, offset, blade) - wanted_mm

    # Colours and faults of the lens move the sharpest focus a little from yellow's own.
    focal_length_mm = require_lens(spec, "focus to turn").focal_length_mm
    reach = 0.05 * focal_length_mm
    best = minimize_scalar(
        excess, bounds=(max(low, start - reach), min(high, start + reach)), method="bounded", options={"xatol": 1e-4}
    )
    least, at = (float(best.fun), float(best.x)) if best.fun <= excess(start) else (excess(start), start)
    found = []
    for end in (high, low) if least <= 0.0 else ():
        step = 0.02 * focal_length_mm * (1.0 if end > at else -1.0)
        outer = at
        # In growing steps, so that the crossing found is the one next to the sharpest focus.
        while excess(outer) <= 0.0 and outer != end:
            inner, outer, step = outer, min(max(outer + step, low), high), 1.5 * step
        if outer != at and excess(outer) > 0.0:
            found.append(_focused(staged, float(brentq(excess, inner, outer, xtol=1e-4))))
    return WantedFocus(edge, wanted_mm, tuple(found), least + wanted_mm, at)


def _focused(staged: StagedProjector, offset_mm: float) -> Focused:
    inverse = float(yellow_refocused(staged, offset_mm).inverse_sharp[0])
    lens = require_lens(staged.spec, "focus to turn")
    focus_m = 1.0 / inverse + 1e-3 * lens.pupil_offset_mm if inverse > 1e-6 else None
    nearest = lens.nearest_focus_m
    return Focused(offset_mm, focus_m, focus_m is None or nearest is None or focus_m >= nearest - 1e-6)
