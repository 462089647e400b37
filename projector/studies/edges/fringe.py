"""Fringes: how wide and of what colour the rim of an edge is at named points, and whether that shows."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from projector.faults import check_above_zero
from projector.optics.dispersion import LINE_C_NM, LINE_F_NM
from projector.shown import Shown
from projector.stage.optics import require_lens
from projector.stage.stage import AnyProjector, SceneOrStage, StagedProjector, projector_on
from projector.studies.edges.edge_colours import EdgeColours, edge_colours, rim
from projector.studies.edges.profile import (
    EdgeOfLight,
    arc_minutes,
    camera_pixel_at,
    edge_by_formula,
    full_spectrum,
    patch_diameters,
    place_on_surface,
)
from projector.studies.edges.widest_fringe import WidestFringe, turned_to, widest_fringe
from projector.studies.light.light_at import LightAt, light_at, require_edges

DEFAULT_ARC_MINUTES, DEFAULT_PIXELS = 1.0, 1.0
# Widths are right to a per cent (the promise of the look-ups behind a picture): what is nearer to the limit passes.
PASSING_ROOM = 1.01
# An edge is shown over at least so many camera pixels to either side, so that a sharp one goes from dark to bright as
# well.
SHOWN_PIXELS = 6.0


@dataclass(frozen=True, repr=False)
class Fringe(Shown):
    """The rim of the edge that shows most at one point; lengths in mm on the surface, square to the edge as it lands.

    axial_mm: how much farther the widest of 450–650 nm reaches than the narrowest; lateral_mm: shift between 450 and
        650 nm, both as far as the filters pass these wavelengths; edge_deg: how the edge with the widest fringe lies as
        the projector sees it, 0 upright, 90 level, positive leaning clockwise, None where edges of all directions show
        the same; bright_outwards: whether the worse colours are on an edge whose bright side lies away from the beam's
        middle, None where it makes no difference; blue_disc_mm, red_disc_mm: blur discs of the lines at 486.1 and 656.3
        nm, as the glass alone and the focus leave them; width_mm: axial and lateral together; the same in arc-minutes
        and camera pixels.
    dark_side, bright_side: the strongest colour on either side (sRGB "#rrggbb" and a word); largest_delta_e: ΔE*ab (CIE
    1976) between the edge and its own grey, each seen through one camera pixel. passes: width within the tolerance,
    and a per cent beyond it. edge_mm: 10–90 % of the luminance.
    """

    projector: str
    at: str
    lens: str
    distance_m: float
    axial_mm: float
    lateral_mm: float
    edge_deg: float | None
    bright_outwards: bool | None
    blue_disc_mm: float
    red_disc_mm: float
    width_mm: float
    arc_minutes: float
    camera_pixels: float
    dark_side: tuple[str, str]
    bright_side: tuple[str, str]
    largest_delta_e: float
    tolerance_mm: float
    passes: bool
    edge_mm: float

    def _line(self) -> str:
        verdict = "passes" if self.passes else f"more than {self.tolerance_mm:.2f} mm"
        return (
            f"{self.projector} at {self.at}: {self.width_mm:.2f} mm, {self.camera_pixels:.1f} camera pixels, {verdict}"
        )


def fringe(
    stage: SceneOrStage,
    projector: AnyProjector,
    reference,
    tolerance_arcmin: float = DEFAULT_ARC_MINUTES,
    tolerance_pixels: float = DEFAULT_PIXELS,
    lens_name: str = "",
    arrives: LightAt | None = None,
) -> Fringe:
    """The colour fringe of one projector at a landmark or point (m), and whether it passes.

    It passes if it is within the larger of the two tolerances, as seen from the camera. arrives: what `light_at` says
    of the point, if it was asked already. SceneError where no edge of the pattern lands.

    >>> from projector import load
    >>> scene = load("01-square-wall", {"projector.window.lens.file": "single-crown"})
    >>> fringe(scene, "window", "wall.centre")
    <Fringe: window at wall.centre: 7.36 mm, 26.2 camera pixels, more than 1.02 mm>
    """
    check_above_zero(tolerance_arcmin=tolerance_arcmin, tolerance_pixels=tolerance_pixels)
    staged = projector_on(stage, projector)
    require_lens(staged.spec, "colours at its edges")
    stage, scene = staged.stage, staged.stage.scene
    place = require_edges(arrives or light_at(stage, staged, reference))
    light, weights = full_spectrum(stage, staged)
    widest = widest_fringe(light, place, staged.spec.lens, staged.passed)
    blue, red = _line_discs(staged, turned_to(place, widest.normal))
    pixel = 1e3 * camera_pixel_at(scene, place.point)
    minute = 1.0 / arc_minutes(scene, place.point, 1e-3)
    tolerance = max(tolerance_arcmin * minute, tolerance_pixels * pixel)
    worst = _worst_edge(scene, light, weights, place, widest, pixel)
    width = widest.width_mm
    return Fringe(
        projector=staged.name,
        at=place.name,
        lens=lens_name,
        distance_m=place.distance,
        axial_mm=widest.axial_mm,
        lateral_mm=widest.lateral_mm,
        edge_deg=None if widest.is_alike else widest.edge_deg,
        bright_outwards=worst.bright_outwards,
        blue_disc_mm=blue,
        red_disc_mm=red,
        width_mm=width,
        arc_minutes=width / minute,
        camera_pixels=width / pixel,
        dark_side=worst.dark_side,
        bright_side=worst.bright_side,
        largest_delta_e=worst.delta_e,
        tolerance_mm=tolerance,
        passes=within_tolerance(width, tolerance),
        edge_mm=1e3 * worst.edge.width(weights[:, 1]),
    )


def within_tolerance(width_mm: float, tolerance_mm: float) -> bool:
    """Whether a fringe (mm on the surface) passes a tolerance, mm."""
    return width_mm <= PASSING_ROOM * tolerance_mm


@dataclass(frozen=True)
class _WorstEdge:
    """The edge with the widest fringe, bright on the side that shows more colour: its light,
    and the rim as in Fringe.
    """

    edge: EdgeOfLight
    dark_side: tuple[str, str]
    bright_side: tuple[str, str]
    delta_e: float
    bright_outwards: bool | None


def _worst_edge(scene, light, weights, place, widest: WidestFringe, pixel_mm: float) -> _WorstEdge:
    """Both ways round: colours that are shifted outwards meet a dark side and a bright one differently."""
    span = 1e-3 * SHOWN_PIXELS * pixel_mm
    found = []
    for is_outwards in (False, True):
        edge = edge_by_formula(
            light, turned_to(place, widest.normal if is_outwards else -widest.normal), "across", least_span=span
        )
        dark, bright, differs = rim(scene, edge, weights, pixel_mm)
        found.append(_WorstEdge(edge, dark, bright, differs, is_outwards))
    inwards, outwards = found
    if abs(inwards.delta_e - outwards.delta_e) < 1.0:
        return replace(inwards, bright_outwards=None)
    return max(found, key=lambda item: item.delta_e)


def shown_edge(stage: SceneOrStage, projector: AnyProjector, reference) -> EdgeColours:
    """The edge with the widest fringe at a landmark or point as the camera sees it, dark to bright, for a figure."""
    staged = projector_on(stage, projector)
    scene = staged.stage.scene
    light, weights = full_spectrum(staged.stage, staged)
    place = place_on_surface(staged.stage, light, reference)
    pixel = 1e3 * camera_pixel_at(scene, place.point)
    widest = widest_fringe(light, place, staged.spec.lens, staged.passed)
    return edge_colours(scene, _worst_edge(scene, light, weights, place, widest, pixel).edge, weights, pixel)


def _line_discs(staged: StagedProjector, place) -> tuple[float, float]:
    """Blur discs of the F and C lines, mm on the surface."""
    light = staged.open_light([LINE_F_NM, LINE_C_NM])
    blue, red = 1e3 * np.abs(patch_diameters(light, place)) / float(np.linalg.norm(place.per_metre_across))
    return float(blue), float(red)
