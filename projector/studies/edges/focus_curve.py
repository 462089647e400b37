"""Edges over the focus: how a pattern softens as its stencil is moved, and the one focus that serves several points."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from projector.faults import Fault, SceneError
from projector.shown import Drawn, Shown
from projector.stage.optics import require_lens
from projector.stage.stage import AnyProjector, SceneOrStage, projector_on, stage_of
from projector.studies.edges.profile import edge_by_formula, full_spectrum, name_of, patch_diameters, place_on_surface
from projector.studies.edges.refocus import blade_edges, edge_refocused, refocused, sharpest_offset, yellow_refocused
from projector.studies.edges.widest_fringe import edge_reported_at


@dataclass(frozen=True, repr=False)
class FocusCurve(Drawn):
    """Edge width over the focus offset: offsets (n,) mm, the edge in the stencil's plane (n,) mm on the surface, and
    each blade's by its side.

    offset_now_mm: the projector's own; has_stencil: whether anything but the gate stands in the stencil's plane.
    """

    projector: str
    at: str
    offset_now_mm: float
    has_stencil: bool
    offsets_mm: np.ndarray
    stencil_mm: np.ndarray
    blades_mm: dict[str, np.ndarray]

    def _line(self) -> str:
        first, last = self.offsets_mm.min(), self.offsets_mm.max()
        least = f"edges from {self.stencil_mm.min():.2f} mm up"
        return f"{self.projector} at {self.at}, offsets {first:g} to {last:g} mm: {least}"


def focus_curve(stage: SceneOrStage, projector: AnyProjector, reference, offsets_mm) -> FocusCurve:
    """How edges (mm on the surface) widen as the stencil is moved through focus by offsets (n,) mm.

    Blades stand in planes of their own and have their sharpest place elsewhere.

    >>> focus_curve("01-square-wall", "window", "wall.centre", [-1, 0, 1])
    <FocusCurve: window at wall.centre, offsets -1 to 1 mm: edges from 0.00 mm up>
    """
    if not len(offsets_mm):
        raise SceneError(Fault("no offsets", "one or more, in millimetres", key="offsets_mm"))
    staged = projector_on(stage, projector)
    require_lens(staged.spec, "focus to turn")
    stage, spec = staged.stage, staged.spec
    stencil = []
    blades: dict[str, list[float]] = {blade.side: [] for blade in spec.blade}
    for offset in np.asarray(offsets_mm, float):
        stencil.append(edge_refocused(stage, staged, reference, offset))
        for side, width in blade_edges(stage, refocused(spec, offset), reference).items():
            blades[side].append(width)
    return FocusCurve(
        projector=spec.name,
        at=name_of(reference, stage.point(reference)),
        offset_now_mm=spec.focus.offset_mm,
        has_stencil=spec.stencil is not None,
        offsets_mm=np.asarray(offsets_mm, float),
        stencil_mm=np.array(stencil),
        blades_mm={side: np.array(values) for side, values in blades.items()},
    )


# A lowest point farther off than this share of the focal length is left out of a figure: the pattern is long gone
# there.
FAR_OFFSET = 0.25


def offsets_to_show(stage: SceneOrStage, asked, marked: Sequence[float] = ()) -> np.ndarray:
    """Focus offsets (n,) mm for the curves of (projector, reference) pairs: over the present ones, each curve's lowest
    point and those that are marked (mm), fine about the lowest."""
    stage, lowest, present = stage_of(stage), [], list(marked)
    for projector, reference in asked:
        staged = stage.projector(projector)
        lens = require_lens(staged.spec, "focus to turn")
        spec, sharpest = staged.spec, sharpest_offset(stage, staged, reference)
        planes = (
            [0.0, *(blade.offset_mm for blade in spec.blade)]
            if spec.stencil is not None or not spec.blade
            else [blade.offset_mm for blade in spec.blade]
        )
        reach = FAR_OFFSET * lens.focal_length_mm
        lowest += [sharpest - plane for plane in planes if abs(sharpest - plane - spec.focus.offset_mm) <= reach]
        present.append(spec.focus.offset_mm)
    lowest = sorted(set(np.round(lowest, 3)))
    first, last = min(present + lowest), max(present + lowest)
    margin = max(1.0, 0.3 * (last - first))
    low, high = first - margin, last + margin
    # Edges widen in proportion to the distance from a lowest point and round off close to it: cubes of even steps.
    steps = 0.25 * (high - low) * np.linspace(-1.0, 1.0, 31) ** 3
    offsets = np.concatenate([np.linspace(low, high, 41), present, *(value + steps for value in lowest)])
    return np.unique(np.round(offsets[(offsets >= low) & (offsets <= high)], 6))


@dataclass(frozen=True, repr=False)
class Compromise(Shown):
    """One focus for several points: the offset whose widest blur is smallest, and the edges (mm) at each point now and
    then.
    """

    offset_mm: float
    edges_now_mm: tuple[float, ...]
    edges_mm: tuple[float, ...]

    def _line(self) -> str:
        edges, now = (", ".join(f"{edge:.2f}" for edge in some) for some in (self.edges_mm, self.edges_now_mm))
        return f"offset {self.offset_mm:+.3f} mm: edges {edges} mm, now {now} mm"


def compromise(stage: SceneOrStage, projector: AnyProjector, references) -> Compromise:
    """The focus offset that serves several landmarks or points (m) best: where all are equally soft.

    Middle and corners, or a face and a wall.

    >>> from projector import load
    >>> scene = load("01-square-wall", {"surface.wall.yaw_deg": 30})
    >>> compromise(scene, "window", ["wall.centre", (0.2, 1.5, -0.115)])
    <Compromise: offset -0.070 mm: edges 0.47, 0.47 mm, now 0.00, 0.96 mm>
    """
    from scipy.optimize import minimize_scalar

    if not len(references):
        raise SceneError(Fault("no points", "one or more landmarks, or points in metres", key="references"))
    staged = projector_on(stage, projector)
    stage, spec = staged.stage, staged.spec
    lens = require_lens(spec, "focus to turn")

    def worst(offset: float) -> float:
        light = yellow_refocused(staged, offset)
        places = [place_on_surface(stage, light, reference) for reference in references]
        return max(
            abs(float(patch_diameters(light, place)[0])) / float(np.linalg.norm(place.per_metre_across))
            for place in places
        )

    def edges(offset: float) -> tuple[float, ...]:
        light, weights = full_spectrum(stage, refocused(spec, offset))
        places = [place_on_surface(stage, light, reference) for reference in references]
        return tuple(
            1e3 * edge_by_formula(light, edge_reported_at(light, place), "across").width(weights[:, 1])
            for place in places
        )

    # A look round the whole travel first: the search below only finds the lowest point next to where it starts.
    offsets = spec.focus.offset_mm + 0.05 * lens.focal_length_mm * np.linspace(-1.0, 1.0, 81)
    start = int(np.argmin([worst(offset) for offset in offsets]))
    best = minimize_scalar(
        worst,
        bounds=(offsets[max(start - 1, 0)], offsets[min(start + 1, 80)]),
        method="bounded",
        options={"xatol": 1e-4},
    )
    return Compromise(float(best.x), edges(spec.focus.offset_mm), edges(float(best.x)))
