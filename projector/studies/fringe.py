"""Fringes: how wide and of what colour the rim of an edge is at named points, whether that shows, and what would cure it."""

from __future__ import annotations

import colorsys
import math
from dataclasses import dataclass

import numpy as np

from projector.optics.dispersion import LINE_C_NM, LINE_F_NM
from projector.photometry.colour import delta_e, encode_srgb, linear_srgb_under_white, white_balance_xyz
from projector.photometry.spectra import WAVELENGTHS_NM
from projector.scene.faults import Fault, SceneError
from projector.studies.edge_profile import arc_minutes, camera_pixel_at, edge_by_formula, full_spectrum, patch_diameters, place_on_surface
from projector.studies.light_at import LightAt, light_at, require_edges
from projector.tracing.arrays import SceneArrays, gate_of, light_arrays, scene_arrays
from projector.tracing.gate_image import open_bitmap

# The visible ends of the band in which fringes are told, nm; the same pair that lateral colour is stated for.
BLUE_NM, RED_NM = 450.0, 650.0
DEFAULT_ARC_MINUTES, DEFAULT_PIXELS = 1.0, 1.0
# What does not pass and leaves more than this share of a fringe cures nothing; a stop beyond this leaves no light to work with.
LEAST_CURE, SMALLEST_STOP = 0.9, 32.0


@dataclass(frozen=True)
class Fringe:
    """The rim of an edge at one point; lengths in mm on the surface, across the tilt.

    axial_mm: how much farther the widest of 450–650 nm reaches than the narrowest; lateral_mm: shift between 450 and
    650 nm at an edge square to the radius; blue_disc_mm, red_disc_mm: blur discs of the lines at 486.1 and 656.3 nm, as the
    glass alone and the focus leave them; width_mm: axial and lateral together; the same in arc-minutes and camera pixels.
    dark_side, bright_side: the strongest colour on either side (sRGB "#rrggbb" and a word); largest_delta_e: ΔE*ab (CIE
    1976) between the edge and its own grey, each seen through one camera pixel. passes: width within the tolerance.
    edge_mm: 10–90 % of the luminance.
    """

    projector: str
    at: str
    lens: str
    distance_m: float
    axial_mm: float
    lateral_mm: float
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


@dataclass(frozen=True)
class Cure:
    """One thing that helps: what, its number, what the fringe becomes, what it costs in stops (0 where nothing), and the edge then.

    edge_mm: 10–90 % of the luminance, mm on the surface across the tilt, as in Fringe; passes: whether the fringe comes
    within the tolerance by this alone.
    """

    what: str
    value: str
    width_mm: float
    cost_stops: float
    edge_mm: float
    passes: bool


@dataclass(frozen=True)
class EdgeColours:
    """The edge as colours: positions (n,) mm, linear sRGB (n, 3) of full light 1, as the camera is balanced."""

    positions_mm: np.ndarray
    linear_rgb: np.ndarray


def _require_tolerance(arcmin: float, pixels: float) -> None:
    if not (arcmin > 0.0 and pixels > 0.0 and math.isfinite(arcmin) and math.isfinite(pixels)):
        raise SceneError(Fault(found=f"a tolerance of {arcmin:g} arc-minutes and {pixels:g} pixels", allowed="both above zero", key="tolerance"))


def fringe(
    scene, spec, reference, tolerance_arcmin: float = DEFAULT_ARC_MINUTES, tolerance_pixels: float = DEFAULT_PIXELS, lens_name: str = "", arrays: SceneArrays | None = None, arrives: LightAt | None = None
) -> Fringe:
    """The fringe of one projector at a landmark or point. It passes if it is within the larger of the two tolerances.

    arrives: what `light_at` says of the point, if it was asked already. SceneError where no edge of the pattern lands.
    """
    _require_tolerance(tolerance_arcmin, tolerance_pixels)
    arrays = arrays or scene_arrays(scene)
    place = require_edges(arrives or light_at(scene, spec, reference, arrays))
    light, weights = full_spectrum(scene, spec)
    axial, lateral = fringe_widths(light, place)
    blue, red = _line_discs(scene, spec, place)
    pixel = 1e3 * camera_pixel_at(scene, place.point)
    minute = 1.0 / arc_minutes(scene, place.point, 1e-3)
    tolerance = max(tolerance_arcmin * minute, tolerance_pixels * pixel)
    edge = edge_by_formula(light, place, "across")
    dark, bright, largest = _rim(scene, edge, weights, pixel)
    width = axial + lateral
    return Fringe(spec.name, place.name, lens_name, place.distance, axial, lateral, blue, red, width, width / minute, width / pixel, dark, bright, largest, tolerance, width <= tolerance, 1e3 * edge.width(weights[:, 1]))


def fringe_widths(light, place) -> tuple[float, float]:
    """Axial and lateral fringe, mm on the surface across the tilt."""
    on_surface = 1e3 / float(np.linalg.norm(place.per_metre_across))
    band = (WAVELENGTHS_NM >= BLUE_NM) & (WAVELENGTHS_NM <= RED_NM)
    reaches = 0.5 * np.abs(patch_diameters(light, place)[band]) * light.pupil.reach
    lateral = np.ptp(light.lateral[band]) * float(np.linalg.norm(place.gate))
    return float(np.ptp(reaches)) * on_surface, float(lateral) * on_surface


def _line_discs(scene, spec, place) -> tuple[float, float]:
    """Blur discs of the F and C lines, mm on the surface."""
    light = light_arrays(scene, spec, [LINE_F_NM, LINE_C_NM], open_bitmap(gate_of(spec)))
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
    luminance = rgb @ np.array([0.2126, 0.7152, 0.0722])
    full_rgb = rgb[-1] if luminance[-1] > luminance[0] else rgb[0]
    xyz = edge_xyz(edge, weights, pixel_mm)
    grey = xyz[:, 1:2] / full[1] * full
    differences = delta_e(xyz, grey, full)
    between = (luminance > 0.02 * luminance.max()) & (luminance < 0.98 * luminance.max())
    differences = np.where(between, differences, 0.0)
    dark = between & (luminance < 0.5 * luminance.max())
    bright = between & ~dark
    return _strongest(rgb, full_rgb, differences, dark), _strongest(rgb, full_rgb, differences, bright), float(differences.max())


def edge_xyz(edge, weights, pixel_mm: float) -> np.ndarray:
    """XYZ (n, 3) across the edge, averaged over one camera pixel."""
    xyz = edge.shares @ weights
    half = max(int(round(0.5e-3 * pixel_mm / float(edge.positions[1] - edge.positions[0]))), 0)
    if half:
        padded = np.pad(xyz, ((half, half), (0, 0)), mode="edge")
        sums = np.cumsum(np.pad(padded, ((1, 0), (0, 0))), axis=0)
        xyz = (sums[2 * half + 1 :] - sums[: -2 * half - 1]) / (2 * half + 1)
    return xyz


def _strongest(rgb, full_rgb, differences, where) -> tuple[str, str]:
    """The colour of the largest difference among the given places, as hexadecimal sRGB and a word; shown against neutral full light."""
    if not where.any() or differences[where].max() < 1.0:
        return "#808080", "grey"
    index = int(np.argmax(np.where(where, differences, -1.0)))
    neutral = np.clip(rgb[index] / full_rgb, 0.0, None)
    shown = np.clip(encode_srgb(neutral / max(neutral.max(), 1e-9)), 0.0, 1.0)
    return "#" + "".join(f"{round(255 * value):02x}" for value in shown), _word(shown)


def _word(rgb) -> str:
    hue, lightness, _ = colorsys.rgb_to_hls(*map(float, rgb))
    if max(rgb) - min(rgb) < 0.06:
        return "grey"
    names = [(15, "red"), (40, "orange"), (70, "yellow"), (160, "green"), (200, "cyan"), (255, "blue"), (290, "violet"), (335, "purple"), (361, "red")]
    word = next(name for limit, name in names if 360.0 * hue < limit)
    return f"pale {word}" if lightness > 0.85 else word


def cures(scene, spec, reference, found: Fringe, arrays: SceneArrays | None = None) -> list[Cure]:
    """What would bring the fringe under its tolerance, or, short of that, make it a tenth narrower at least: a stop, a focus offset, a narrow band, another lens."""
    arrays = arrays or scene_arrays(scene)
    answers = []
    lens = spec.lens

    def with_change(what: str, value: str, cost_stops: float = 0.0, **changes) -> Cure:
        light, weights = full_spectrum(scene, spec.model_copy(update=changes))
        place = place_on_surface(scene, light, arrays, reference)
        width = sum(fringe_widths(light, place))
        return Cure(what, value, width, cost_stops, 1e3 * edge_by_formula(light, place, "across", 801).width(weights[:, 1]), width <= found.tolerance_mm)

    room = found.tolerance_mm - found.lateral_mm
    if found.axial_mm > 0.0 and room > 0.0:
        # Axial colour goes with the pupil's diameter. To the next tenth, as it will be said.
        number = math.ceil(10.0 * max(lens.f_number * found.axial_mm / room, lens.f_number)) / 10.0
        if number <= SMALLEST_STOP:
            answers.append(with_change("a smaller stop", f"f/{number:.1f}", 2.0 * math.log2(number / lens.f_number), lens=lens.model_copy(update={"f_number": number})))
    answers.append(_best_offset(spec, with_change))
    answers.append(_narrow_band(scene, spec, found, reference, arrays))
    answers += _other_lenses(spec, with_change)
    return [cure for cure in answers if cure.passes or cure.width_mm < LEAST_CURE * found.width_mm]


def _best_offset(spec, with_change) -> Cure:
    """The focus offset with the narrowest fringe: balanced about yellow, blue and red reach equally far."""
    from scipy.optimize import minimize_scalar

    def at(offset: float) -> Cure:
        return with_change("a focus offset", f"{offset:+.2f} mm", focus=spec.focus.model_copy(update={"offset_mm": float(offset)}))

    span = 0.03 * spec.lens.focal_length_mm
    start = spec.focus.offset_mm
    best = minimize_scalar(lambda offset: at(offset).width_mm, bounds=(start - span, start + span), method="bounded", options={"xatol": 1e-3})
    return at(best.x)


def _narrow_band(scene, spec, found: Fringe, reference, arrays) -> Cure:
    """A band filter 20 nm wide at 550 nm: what is left of the fringe between its half-height wavelengths, and its price in light."""
    from projector.photometry.filters import band, stops_lost

    light, weights = full_spectrum(scene, spec)
    place = place_on_surface(scene, light, arrays, reference)
    inside = (WAVELENGTHS_NM >= 540.0) & (WAVELENGTHS_NM <= 560.0)
    on_surface = 1e3 / float(np.linalg.norm(place.per_metre_across))
    axial = np.ptp(0.5 * np.abs(patch_diameters(light, place)[inside])) * light.pupil.reach
    lateral = np.ptp(light.lateral[inside]) * np.linalg.norm(place.gate)
    from projector.tracing.arrays import power_of

    chosen = np.where(inside, weights[:, 1], 0.0)
    edge = 1e3 * edge_by_formula(light, place, "across", 801).width(chosen)
    width = float(axial + lateral) * on_surface
    return Cure("a narrow band filter", "550 nm, 20 nm wide; the pattern turns green", width, stops_lost(power_of(scene, spec).spectrum, band(550.0, 20.0)), edge, width <= found.tolerance_mm)


def _other_lenses(spec, with_change) -> list[Cure]:
    """Shipped lenses of the same focal length at the same stop."""
    return [
        with_change("another lens", name, lens=lens.model_copy(update={"f_number": spec.lens.f_number}))
        for name, lens in shipped_lenses()
        if abs(lens.focal_length_mm - spec.lens.focal_length_mm) < 0.5 and (lens.widest_f_number or lens.f_number) <= spec.lens.f_number
    ]


def shipped_lenses():
    """Name and Lens of every lens file that comes along."""
    import json

    from projector.scene.model import Lens
    from projector.scene.reader import read_lens_file, shipped_folder

    for path in sorted(shipped_folder("lens").glob("*.toml")):
        keys = read_lens_file(path)
        keys.setdefault("widest_f_number", keys.get("f_number"))
        yield path.stem, Lens.model_validate_json(json.dumps(keys))


def with_lens(scene, spec, name: str):
    """The projector with another lens file at its own stop (or the lens's widest, if that is smaller), for comparing before buying."""
    import json

    from projector.scene import stated_power
    from projector.scene.model import Lens
    from projector.scene.reader import find_file, read_lens_file

    keys = dict(read_lens_file(find_file(name, scene.folder, "lens")))
    keys.setdefault("widest_f_number", keys.get("f_number"))
    keys["f_number"] = max(spec.lens.f_number, keys["widest_f_number"])
    return stated_power.with_lens(spec, Lens.model_validate_json(json.dumps(keys)))
