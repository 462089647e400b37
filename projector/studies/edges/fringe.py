"""Fringes: how wide and of what colour the rim of an edge is at named points, whether that shows, and what would cure
it.
"""

from __future__ import annotations

import colorsys
import math
from dataclasses import dataclass, replace

import numpy as np

from projector.faults import check_above_zero
from projector.files.finding import find_file, shipped_folder
from projector.optics.dispersion import LINE_C_NM, LINE_F_NM
from projector.photometry.colour import SRGB_LUMINANCE, delta_e, encode_srgb, linear_srgb_under_white, white_balance_xyz
from projector.photometry.filters import band, stops_lost
from projector.scene import stated_power
from projector.scene.model import Filter, Lens
from projector.scene.reading.lens_files import read_lens_file
from projector.shown import Drawn, Shown
from projector.stage.optics import pupil_of, require_lens
from projector.stage.stage import AnyProjector, SceneOrStage, StagedProjector, projector_on
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
# What does not pass and leaves more than this share of a fringe cures nothing; a stop beyond this leaves no light to
# work with.
LEAST_CURE, SMALLEST_STOP = 0.9, 32.0
# A cure that takes more light than this is none: ISO 1600 instead of 100 (common practice, no source).
DEAREST_CURE_STOPS = 4.0
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


@dataclass(frozen=True, repr=False)
class EdgeColours(Drawn):
    """The edge as colours: positions (n,) mm, linear sRGB (n, 3) of full light 1, as the camera is balanced."""

    positions_mm: np.ndarray
    linear_rgb: np.ndarray

    def _line(self) -> str:
        return f"from {self.positions_mm[0]:.2f} to {self.positions_mm[-1]:.2f} mm across the edge"


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
    widest = widest_fringe(light, place, staged.spec)
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
        passes=_passes(width, tolerance),
        edge_mm=1e3 * worst.edge.width(weights[:, 1]),
    )


def _passes(width_mm: float, tolerance_mm: float) -> bool:
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
        dark, bright, differs = _rim(scene, edge, weights, pixel_mm)
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
    widest = widest_fringe(light, place, staged.spec)
    return edge_colours(scene, _worst_edge(scene, light, weights, place, widest, pixel).edge, weights, pixel)


def _line_discs(staged: StagedProjector, place) -> tuple[float, float]:
    """Blur discs of the F and C lines, mm on the surface."""
    light = staged.open_light([LINE_F_NM, LINE_C_NM])
    blue, red = 1e3 * np.abs(patch_diameters(light, place)) / float(np.linalg.norm(place.per_metre_across))
    return float(blue), float(red)


def edge_colours(scene, edge, weights, pixel_mm: float) -> EdgeColours:
    """The edge's colours under the camera's white balance, averaged over one camera pixel."""
    matrix = linear_srgb_under_white(white_balance_xyz(scene.camera.white_balance_k))
    return EdgeColours(1e3 * edge.positions, edge_xyz(edge, weights, pixel_mm) @ matrix.T / weights[:, 1].sum())


def _rim(scene, edge, weights, pixel_mm: float):
    """The strongest colour on the dark and on the bright side, and the largest ΔE*ab from the edge's own grey."""
    found = edge_colours(scene, edge, weights, pixel_mm)
    full = weights.sum(axis=0)
    rgb = found.linear_rgb
    luminance = rgb @ SRGB_LUMINANCE
    full_rgb = rgb[-1] if luminance[-1] > luminance[0] else rgb[0]
    xyz = edge_xyz(edge, weights, pixel_mm)
    grey = xyz[:, 1:2] / full[1] * full
    # To an eye adapted to the camera's white: of a filtered beam's own white one part may be next to nothing.
    differences = delta_e(xyz, grey, white_balance_xyz(scene.camera.white_balance_k) * full[1])
    between = (luminance > 0.02 * luminance.max()) & (luminance < 0.98 * luminance.max())
    differences = np.where(between, differences, 0.0)
    dark = between & (luminance < 0.5 * luminance.max())
    bright = between & ~dark
    return (
        _strongest(rgb, full_rgb, differences, dark),
        _strongest(rgb, full_rgb, differences, bright),
        float(differences.max()),
    )


def edge_xyz(edge, weights, pixel_mm: float) -> np.ndarray:
    """XYZ (n, 3) across the edge, averaged over one camera pixel."""
    xyz, half = edge.shares @ weights, 0.5e-3 * pixel_mm
    # The integral up to every position, level on either side as far as a pixel reaches.
    places = np.concatenate([[edge.positions[0] - half], edge.positions, [edge.positions[-1] + half]])
    levels = np.concatenate([xyz[:1], xyz, xyz[-1:]])
    sums = np.concatenate(
        [np.zeros((1, 3)), np.cumsum(0.5 * (levels[1:] + levels[:-1]) * np.diff(places)[:, None], axis=0)]
    )
    ends = [
        [np.interp(edge.positions + side, places, sums[:, channel]) for channel in range(3)] for side in (-half, half)
    ]
    return (np.array(ends[1]) - np.array(ends[0])).T / (2.0 * half)


def _strongest(rgb, full_rgb, differences, where) -> tuple[str, str]:
    """The colour of the largest difference among the given places, as hexadecimal sRGB and a word.

    Shown as if full light were white, unless that is a colour of its own, beyond or nearly beyond what a screen can
    show.
    """
    if not where.any() or differences[where].max() < 1.0:
        return "#808080", "grey"
    index = int(np.argmax(np.where(where, differences, -1.0)))
    is_whitish = full_rgb.min() > 0.05 * full_rgb.max()
    neutral = np.clip(rgb[index] / (full_rgb if is_whitish else full_rgb.max()), 0.0, None)
    shown = np.clip(encode_srgb(neutral / max(neutral.max(), 1e-9)), 0.0, 1.0)
    return "#" + "".join(f"{round(255 * value):02x}" for value in shown), _word(shown)


def _word(rgb) -> str:
    hue, lightness, _ = colorsys.rgb_to_hls(*map(float, rgb))
    if max(rgb) - min(rgb) < 0.06:
        return "grey"
    names = [
        (15, "red"),
        (40, "orange"),
        (70, "yellow"),
        (160, "green"),
        (200, "cyan"),
        (255, "blue"),
        (290, "violet"),
        (335, "purple"),
        (361, "red"),
    ]
    word = next(name for limit, name in names if 360.0 * hue < limit)
    return f"pale {word}" if lightness > 0.85 else word


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
        widest = widest_fringe(light, place, changed.spec)
        edge = edge_by_formula(light, turned_to(place, widest.normal), "across", 801)
        return Cure(
            what=what,
            value=value,
            width_mm=widest.width_mm,
            cost_stops=cost_stops,
            edge_mm=1e3 * edge.width(weights[:, 1]),
            passes=_passes(widest.width_mm, found.tolerance_mm),
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


def shipped_lenses():
    """Name and Lens of every lens file that comes along."""
    import json

    for path in sorted(shipped_folder("lens").glob("*.toml")):
        keys = read_lens_file(path)
        keys.setdefault("widest_f_number", keys.get("f_number"))
        yield path.stem, Lens.model_validate_json(json.dumps(keys))


def with_lens(scene, spec, name: str, f_number: float | None = None):
    """The projector with another lens file, for comparing before buying.

    f_number: at its own widest stop or a given one (or the lens's widest, if that is smaller). Its reading stays with
    the lens that it was taken with.
    """
    import json

    keys = dict(read_lens_file(find_file(name, scene.folder, "lens")))
    keys.setdefault("widest_f_number", keys.get("f_number"))
    keys["f_number"] = max(f_number or spec.lens.f_number, keys["widest_f_number"])
    return stated_power.with_lens(spec, Lens.model_validate_json(json.dumps(keys)))
