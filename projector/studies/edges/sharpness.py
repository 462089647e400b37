"""Sharpness: how soft a projector's edges land at named points, what limits them, and which detail of the stencil
survives.

Edge widths are 10–90 % rises. For a disc pupil 0.687 of its blur disc (closed form of a chord's area); contrast of a
fine grating through it is 2·J1(x)/x with x = π · blur / period (the disc's transfer function, any text on defocus).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from projector.faults import Fault, SceneError
from projector.optics import thin_lens
from projector.optics.dispersion import LINE_D_NM
from projector.shown import Shown
from projector.stage.optics import opening_before, require_lens
from projector.stage.stage import AnyProjector, SceneOrStage, projector_on
from projector.studies.edges.profile import (
    Place,
    axial_edge_width,
    camera_pixel_at,
    edge_by_formula,
    edge_measured,
    full_spectrum,
    patch_diameters,
)
from projector.studies.edges.refocus import WantedFocus, blade_edges, wanted_focuses
from projector.studies.edges.shining_pupil import LitPupil, lit_pupil
from projector.studies.edges.widest_fringe import edge_reported_at
from projector.studies.light.light_at import LightAt, light_at, require_edges
from projector.tracing.gate.lens_law import has_lens, with_pupil_radius

# An edge counts by how its rise compares with the pattern's own detail, and by whether the camera can tell it from a
# step.
CRISP_SHARE, FIRM_SHARE, SOFT_SHARE = 0.15, 0.5, 1.5


@dataclass(frozen=True, repr=False)
class Limit(Shown):
    """One thing that widens the edge that is reported, alone: mm on the surface."""

    in_one_line = "{cause}: {edge_mm:.2f} mm"

    cause: str
    edge_mm: float


@dataclass(frozen=True, repr=False)
class Stop(Shown):
    """A smaller stop: its f-number, and the stops of light that it costs (fewer while the lamp does not fill the
    pupil).
    """

    in_one_line = "f/{f_number:.1f}, {cost_stops:.1f} stops less light"

    f_number: float
    cost_stops: float


@dataclass(frozen=True, repr=False)
class Sharpness(Shown):
    """How sharp one projector lands at one point; mm on the surface.

    along: in the direction in which the surface runs away from the projector; across: at right angles to it.
    edges are luminance edges of all wavelengths together, by formula and measured in a render.
    edge_mm: the edge that word, contrast, stop and limits go by: the one across the tilt, or, through a lens with
        lateral colour, the one square to the line from the beam's middle, where that shows.
    detail_mm: the pattern's own finest common detail there (None without a stencil); detail_contrast: what is left of
    its contrast; smallest_mm: width of the finest line whose contrast stays above 10 %, or of the stencil's pixel.
    doubled_mm: through a pupil with a hole an edge rises twice, so far apart (None if it rises once).
    lit_pupil: how large the light is there, which is what shadows go by. blades_mm: edges of the framing blades by
        side.
    wanted_focuses: what gives the wanted width, for each edge that it is asked of (none if none was wanted).
    stop: the smaller stop that brings the edge within the wanted width (None if not wanted, not needed, or none does).
    depth_m: nearest and farthest distance on the axis within which edges stay below the wanted width (NaN: nowhere).
    """

    in_one_line = "{projector} at {at}, {distance_m:.3f} m away: edges {edge_mm:.2f} mm, {word}"

    projector: str
    at: str
    distance_m: float
    blur_disc_mm: float
    edge_across_mm: float
    edge_along_mm: float
    measured_across_mm: float
    measured_along_mm: float
    edge_mm: float
    camera_pixel_mm: float
    detail_mm: float | None
    detail_contrast: float | None
    smallest_mm: float
    doubled_mm: float | None
    lit_pupil: LitPupil
    blades_mm: dict[str, float]
    wanted_mm: float | None
    wanted_focuses: tuple[WantedFocus, ...]
    stop: Stop | None
    depth_m: tuple[float, float] | None
    limits: tuple[Limit, ...]
    word: str
    has_lens: bool = True


def disc_contrast(blur: float, period: float) -> float:
    """Contrast that a grating keeps when blurred with a uniform disc: |2·J1(x)/x|, x = π·blur/period."""
    from scipy.special import j1

    x = math.pi * blur / period
    return 1.0 if x < 1e-9 else abs(2.0 * float(j1(x)) / x)


# Beyond f/64 diffraction, which is left out, rules the edge.
_SMALLEST_STOP = 64.0
# Where 2·J1(x)/x first falls to 0.1, over π: blur discs per period of the finest grating that keeps 10 % contrast.
_BLURS_PER_PERIOD = 3.41974 / math.pi


def stencil_detail(transmission: np.ndarray, pitch: float) -> float | None:
    """The finest common detail of a stencil (m): the tenth percentile of the lengths of dark and bright runs along rows
    and columns.

    Runs that touch the border and those of one or two pixels (edges caught half-way) are left out; None if there are no
    others.
    """
    lengths = []
    for values in (transmission[::8], transmission.T[::8]):
        bright = values > 0.5
        for row in bright:
            changes = np.flatnonzero(row[1:] != row[:-1])
            runs = np.diff(changes)
            lengths.append(runs[runs > 2])
    found = np.concatenate(lengths) if lengths else np.zeros(0)
    return float(np.percentile(found, 10)) * pitch if found.size else None


def sharpness(
    stage: SceneOrStage,
    projector: AnyProjector,
    reference,
    within_mm: float | None = None,
    arrives: LightAt | None = None,
) -> Sharpness:
    """How sharp or soft one projector lands at a landmark or point (m), what limits it, and which detail survives.

    within_mm: a wanted edge width; the answer then has the focuses, the stop and the depth for it. arrives: what
    `light_at` says of the point, if it was asked already. SceneError where no edge of the pattern lands.

    >>> from projector import load
    >>> scene = load("01-square-wall", {"projector.window.focus.offset_mm": 0.5})
    >>> sharpness(scene, "window", "wall.centre")
    <Sharpness: window at wall.centre, 2.500 m away: edges 3.35 mm, firm>
    """
    if within_mm is not None and not within_mm > 0.0:
        raise SceneError(Fault(found=f"a wanted softness of {within_mm:g} mm", allowed="more than 0 mm", key="within"))
    staged = projector_on(stage, projector)
    stage, spec = staged.stage, staged.spec
    if within_mm is not None:
        require_lens(spec, "focus to turn for a wanted softness")
    arrives = arrives or light_at(stage, staged, reference)
    place = require_edges(arrives)
    yellow = staged.open_light([LINE_D_NM])
    light, weights = full_spectrum(stage, staged)
    edges = {direction: edge_by_formula(light, place, direction) for direction in ("across", "along")}
    measured = {
        direction: edge_measured(light, place, direction, max(1.1 * float(np.abs(edge.positions).max()), 1e-5))
        for direction, edge in edges.items()
    }
    widths = {name: 1e3 * edge.width(weights[:, 1]) for name, edge in edges.items()}
    reported = edge_reported_at(light, place)
    edge = 1e3 * edge_by_formula(light, reported, "across").width(weights[:, 1])
    per_metre = float(np.linalg.norm(reported.per_metre_across))
    blur = 1e3 * abs(float(patch_diameters(yellow, reported)[0])) / per_metre
    pixel = 1e3 * camera_pixel_at(stage.scene, place.point)
    bitmap = staged.bitmap
    detail = stencil_detail(bitmap.transmission, bitmap.pitch) if spec.stencil is not None else None
    detail_mm = None if detail is None else 1e3 * detail / per_metre
    bitmap_pixel = 1e3 * bitmap.pitch / per_metre if spec.stencil is not None else 0.0
    disc = edge / thin_lens.DISC_EDGE_10_90
    return Sharpness(
        projector=staged.name,
        at=place.name,
        distance_m=place.distance + (opening_before(spec) if spec.lens is None else 0.0),
        blur_disc_mm=blur,
        edge_across_mm=widths["across"],
        edge_along_mm=widths["along"],
        measured_across_mm=1e3 * measured["across"].width(weights[:, 1]),
        measured_along_mm=1e3 * measured["along"].width(weights[:, 1]),
        edge_mm=edge,
        camera_pixel_mm=pixel,
        detail_mm=detail_mm,
        detail_contrast=None if detail_mm is None else disc_contrast(disc, 2.0 * detail_mm),
        smallest_mm=max(0.5 * disc / _BLURS_PER_PERIOD, bitmap_pixel),
        doubled_mm=doubling(edge_by_formula(yellow, place, "across")),
        lit_pupil=arrives.lit_pupil or lit_pupil(light, place),
        blades_mm=blade_edges(stage, staged, reference),
        wanted_mm=within_mm,
        wanted_focuses=() if within_mm is None else wanted_focuses(stage, staged, reference, within_mm),
        stop=None if within_mm is None else stop_for(spec, light, weights[:, 1], reported, within_mm),
        depth_m=None if within_mm is None else softness_depth(light, weights[:, 1], within_mm),
        limits=_limits(yellow, light, weights, reported, bitmap_pixel, pixel),
        word=word_for(edge, detail_mm, pixel),
        has_lens=spec.lens is not None,
    )


def doubling(edge) -> float | None:
    """How far apart (mm) an edge's two rises stand, None if it rises once: a ring's are its hole's diameter apart.

    The slope across the edge is the pupil's chord, longest beside the hole: 2√(R² − x²) − 2√(r² − x²), greatest at x =
    ± r.
    """
    slopes = np.abs(np.gradient(edge.shares[:, 0], edge.positions))
    middle = slopes.size // 2
    left, right = int(np.argmax(slopes[: middle + 1])), middle + int(np.argmax(slopes[middle:]))
    if slopes[middle] > 0.8 * min(slopes[left], slopes[right]):
        return None
    return 1e3 * float(edge.positions[right] - edge.positions[left])


def stop_for(spec, light, weights, place: Place, within_mm: float) -> Stop | None:
    """The stop that narrows the place's edge to a wanted width; None if it is so narrow already, or no stop narrows it
    so far.

    Blur goes with the pupil's diameter, light with its square; what colour is shifted sideways stays.
    """
    from scipy.optimize import brentq

    def excess(share: float) -> float:
        return (
            1e3
            * edge_by_formula(with_pupil_radius(light, share * light.emitter.radius), place, "across").width(weights)
            - within_mm
        )

    smallest = spec.lens.focal_length_mm / (2e3 * light.emitter.radius * _SMALLEST_STOP)
    if excess(1.0) <= 0.0 or smallest >= 1.0 or excess(smallest) > 0.0:
        return None
    share = float(brentq(excess, smallest, 1.0, rtol=1e-9))
    return Stop(spec.lens.focal_length_mm / (2e3 * light.emitter.radius * share), -2.0 * math.log2(share))


def word_for(edge_mm: float, detail_mm: float | None, camera_pixel_mm: float) -> str:
    """A word for an edge: against the pattern's own detail and the camera's pixel.

    What each means is said in `answers.edges`.
    """
    if edge_mm <= 2.0 * camera_pixel_mm:
        return "crisp"
    against = detail_mm if detail_mm is not None else 100.0
    for word, share in (("crisp", CRISP_SHARE), ("firm", FIRM_SHARE), ("soft", SOFT_SHARE)):
        if edge_mm <= share * against:
            return word
    return "dissolved"


def softness_depth(light, weights, within_mm: float) -> tuple[float, float]:
    """Nearest and farthest distance (m) on the axis at which edges on a square wall stay within a width; NaN twice if
    they never do.

    weights (k,): what each wavelength adds to the luminance. Without colour errors 0.687·D·|Z − z_f|/z_f ≤ w.
    """
    from scipy.optimize import brentq, minimize_scalar

    sharp = float(weights @ light.inverse_sharp / weights.sum())
    if not sharp > 0.0:
        return math.inf, math.inf

    def excess(logarithm: float) -> float:
        return 1e3 * axial_edge_width(light, weights, math.exp(logarithm)) - within_mm

    middle = -math.log(sharp)
    best = minimize_scalar(excess, bounds=(middle - 0.3, middle + 0.3), method="bounded", options={"xatol": 1e-4})
    if best.fun > 0.0:
        return math.nan, math.nan
    near, far = math.log(2.0 * light.tube_length), math.log(1e4)
    return (
        math.exp(brentq(excess, near, best.x)) if excess(near) > 0.0 else 0.0,
        math.exp(brentq(excess, best.x, far)) if excess(far) > 0.0 else math.inf,
    )


def _limits(yellow, light, weights, place: Place, bitmap_pixel: float, pixel: float) -> tuple[Limit, ...]:
    """Each cause of softness alone, widest first. bitmap_pixel, pixel: of bitmap and camera, mm on the surface."""
    per_metre = float(np.linalg.norm(place.per_metre_across))
    share = thin_lens.DISC_EDGE_10_90
    flat = yellow._replace(curvature=0.0, spherical=0.0)
    on_surface = 1e3 / per_metre
    focus = share * abs(float(patch_diameters(flat, place)[0])) * on_surface
    curved = share * abs(float(patch_diameters(yellow, place)[0]) - float(patch_diameters(flat, place)[0])) * on_surface
    # Colour alone: the wall brought to where yellow is sharp.
    diameters = patch_diameters(light, place) - float(patch_diameters(yellow, place)[0])
    luminous = weights[:, 1] / weights[:, 1].sum()
    colour = share * float(luminous @ np.abs(diameters)) * on_surface
    spherical = share * 2.0 * abs(light.spherical) * light.emitter.radius**3 * on_surface
    shifted = 1e3 * edge_by_formula(with_pupil_radius(light, 1e-9), place, "across").width(weights[:, 1])
    # Two points of a linear ramp between pixels: 0.8 of a pixel.
    bitmap_edge = 0.8 * bitmap_pixel
    diffraction = 1.03 * LINE_D_NM * 1e-9 * light.tube_length / (2.0 * light.emitter.radius) * on_surface
    bare = not has_lens(light)
    causes = [
        ("the lamp's opening" if bare else "focus and pupil", focus),
        ("field curvature", curved),
        ("colour of the lens", colour),
        ("lateral colour of the lens", shifted if float(np.ptp(light.lateral)) > 0.0 else 0.0),
        ("spherical aberration", spherical),
        ("pixels of the bitmap", bitmap_edge),
        ("pixels of the camera", pixel),
        ("diffraction (not in the picture)", 0.0 if bare else diffraction),
    ]
    return tuple(
        Limit(cause, float(value)) for cause, value in sorted(causes, key=lambda item: -item[1]) if value > 0.0
    )
