"""The quick outside checks: every published value computed again, here and now, by the program itself.

Nothing is stored but what was published; errors are what comes out on this machine.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from projector import studies
from projector.figures.figure import build_figure
from projector.optics import dispersion, distortion, thin_lens
from projector.photometry import colour, exposure, filters, spectra
from projector.rendering.maps.irradiance import irradiance_map
from projector.scene.reading.reader import load_text
from projector.stage.optics import light_arrays
from projector.stage.power import open_gate_flux, open_gate_on_axis
from projector.tracing.gate.lens_law import mean_pupil_geometry
from projector.verification import bare_lamps, colours, exposures, haze, lenses, lights
from projector.verification.published import Published

VALUES = (
    *lenses.VALUES,
    *lights.VALUES,
    *colours.VALUES,
    *exposures.VALUES,
    *bare_lamps.VALUES,
    *haze.VALUES,
)


@dataclass(frozen=True)
class CheckResult:
    """What was published and what came out."""

    published: Published
    got: float

    @property
    def error(self) -> float:
        """Got less expected."""
        return self.got - self.published.expected

    @property
    def passed(self) -> bool:
        """Whether the error is within the tolerance."""
        return abs(self.error) <= self.published.tolerance


def _conjugate(focal_length, distance):
    return thin_lens.conjugate_distance(focal_length, distance)


_READING = "reading = { f_number = 8, iso = 100, distance_m = 2.0 }"


def _scene(
    distance: float,
    wall: float,
    lens: str,
    focus: float,
    *,
    gate_mm: float = 70.0,
    blade: str = "",
    yaw: float = 0.0,
    square_mm: float | None = None,
    power: str = _READING,
):
    """A projector square to a wall (unless the wall is turned), open gate, power by a reading at 2 m unless said
    otherwise.
    """
    gate = (
        f'shape = "rectangle", width_mm = {square_mm}, height_mm = {square_mm}'
        if square_mm
        else f'shape = "round", diameter_mm = {gate_mm}'
    )
    text = f"""
format = 1
[camera]
position_m = [0.0, 1.5, 9.0]
aim = [0.0, 1.5, 0.0]
[[projector]]
name = "p"
position_m = [0.0, 1.5, {distance}]
aim = [0.0, 1.5, 0.0]
gate = {{ {gate} }}
lens = {{ {lens} }}
focus = {{ distance_m = {focus} }}
{power}
{blade}
[[surface]]
name = "wall"
position_m = [0.0, 1.5, 0.0]
width_m = {wall}
height_m = {wall}
yaw_deg = {yaw}
"""
    return load_text(text, "check")


def _middle(found) -> float:
    return float(found.illuminance[found.illuminance.shape[0] // 2, found.illuminance.shape[1] // 2])


def _crossings(x, values, level):
    above = values > level
    at = np.flatnonzero(above[1:] != above[:-1])
    return x[at] + (level - values[at]) / (values[at + 1] - values[at]) * (x[at + 1] - x[at])


def _row(found):
    left, right, _, _ = found.extent_m
    n = found.illuminance.shape[1]
    return left + (np.arange(n) + 0.5) * (right - left) / n, found.illuminance[found.illuminance.shape[0] // 2].astype(
        float
    )


def _map_width() -> float:
    distance = _conjugate(0.1, 0.103)
    x, values = _row(
        irradiance_map(
            _scene(distance, 1.2, "focal_length_mm = 100, f_number = 8", distance, square_mm=24.0), n_across=800
        )
    )
    ends = _crossings(x, values, 0.5 * values[400])
    return float(ends[-1] - ends[0])


def _map_edge() -> float:
    blade = 'blade = [ { side = "left", insertion_mm = 35.0 } ]'
    sharp = _conjugate(0.1, 0.103)
    x, values = _row(
        irradiance_map(_scene(3.0, 0.008, "focal_length_mm = 100, f_number = 4", sharp, blade=blade), n_across=200)
    )
    full = values.max()
    return 1e3 * abs(float(_crossings(x, values, 0.9 * full)[0] - _crossings(x, values, 0.1 * full)[0]))


def _map_reading(distance: float = 2.0) -> float:
    return _middle(irradiance_map(_scene(distance, 0.1, "focal_length_mm = 85, f_number = 4", 2.0), n_across=17))


def _coaxial_discs() -> float:
    """Pupil of 0.2 m across and a gate's image of 0.4 m, 0.5 m away: flux caught by a wall there over π·L·A."""
    focal_length, sharp = 0.2, 0.5
    tube = _conjugate(focal_length, sharp)
    gate = 1000.0 * 0.4 * tube / sharp
    scene = _scene(sharp, 0.5, f"focal_length_mm = {1000 * focal_length}, f_number = 1.0", sharp, gate_mm=gate)
    light = light_arrays(scene, scene.projector[0], [dispersion.LINE_D_NM])
    found = irradiance_map(scene, n_across=400)
    flux = float(found.illuminance.sum(dtype=float)) * (0.5 / 400) ** 2
    # The reading fixed the level at 2.00 m on the axis: E = π·L·r²/(r² + d²) (disc source).
    luminance = 160.0 / (math.pi * light.emitter.radius**2 / (light.emitter.radius**2 + 4.0))
    return flux / (luminance * math.pi * math.pi * light.emitter.radius**2)


def _tilted_wall() -> float:
    tube = _conjugate(0.085, 3.0)
    scene = _scene(
        3.0,
        4.0,
        "focal_length_mm = 85, f_number = 4",
        3.0,
        yaw=30.0,
        square_mm=2000.0 * tube * math.tan(math.radians(13.0)),
    )
    ratio = studies.landed_outline(scene, scene.projector[0]).keystone_across
    return max(ratio, 1.0 / ratio)


def _cosine() -> float:
    scene = _scene(2.0, 1.0, "focal_length_mm = 85, f_number = 16", 2.0)
    light = light_arrays(scene, scene.projector[0], [dispersion.LINE_D_NM])
    aside = 2.0 * math.tan(math.radians(30.0))
    return (
        mean_pupil_geometry(light, aside, 0.0, 2.0, 0.0, 0.0, -1.0)[0]
        / mean_pupil_geometry(light, 0.0, 0.0, 2.0, 0.0, 0.0, -1.0)[0]
    )


def _lumens() -> float:
    """1500 lm through the lens, shared over the disc that the beam covers."""
    scene = _scene(2.0, 1.0, "focal_length_mm = 85, f_number = 8", 2.0, gate_mm=1200.0 * _conjugate(0.085, 2.0) / 2.0)
    light = light_arrays(scene, scene.projector[0], [dispersion.LINE_D_NM])
    luminance = 1500.0 / open_gate_flux(light)
    slope = light.gate.half_width / light.tube_length
    back = luminance * math.pi * light.emitter.radius**2 * math.pi * slope**2 / (1.0 + slope**2)
    return back / (math.pi * 0.6**2)


def _distorted_border(percent: float) -> float:
    """How far out a gate's edge lands in a rendered map, over where it would land without distortion."""
    scene = _scene(2.0, 2.2, f"focal_length_mm = 85, f_number = 16, distortion_percent = {percent}", 2.0, gate_mm=40.0)
    x, values = _row(irradiance_map(scene, n_across=1024))
    ends = _crossings(x, values, 0.25 * values[512])
    return float(ends[-1] - ends[0]) / (0.040 * 2.0 / _conjugate(0.085, 2.0))


def _distorted_lumens(percent: float) -> float:
    """Lumens that a rendered map of the whole beam adds up to, of 1000 out of the lens."""
    lens = f"focal_length_mm = 85, f_number = 16, distortion_percent = {percent}"
    found = irradiance_map(_scene(2.0, 2.4, lens, 2.0, gate_mm=40.0, power="output = { lumens = 1000 }"), n_across=800)
    return float(found.illuminance.sum(dtype=float)) * (2.4 / 800) ** 2


def _stops_through(lens: str, metered: str) -> float:
    """Light in a rendered map through one lens, its reading taken with another, against that one; stops."""
    power = f"reading = {{ f_number = 8, iso = 100, distance_m = 2.0, lens = {{ {metered} }} }}"
    return math.log2(_middle(irradiance_map(_scene(2.0, 0.1, lens, 2.0, power=power), n_across=17)) / 160.0)


def _faces() -> float:
    """Six faces of F2 uncoated against 0.2 % a face, as a lens's transmittance."""
    index = float(dispersion.refractive_index("F2", dispersion.LINE_D_NM))
    uncoated, coated = (1.0 - ((index - 1.0) / (index + 1.0)) ** 2) ** 6, (1.0 - 0.002) ** 6
    lens = "focal_length_mm = 85, f_number = 4, transmittance = "
    return _stops_through(lens + repr(uncoated), lens + repr(coated))


def _disc_source(aside: float) -> float:
    """A pupil of 0.25 m radius as a disc source, 0.75 m from a parallel wall: light at a point aside, where it is 70 lx
    on the axis.

    By single rays, 48² to the pupil, from a wall whose points lie 0.05 m apart with one on the axis.
    """
    scene = _scene(0.75, 1.45, "focal_length_mm = 400, f_number = 0.8", 0.75, gate_mm=2000.0)
    x, values = _row(irradiance_map(scene, n_across=29, n_rays_side=48))
    return 70.0 * float(np.interp(aside, x, values)) / float(np.interp(0.0, x, values))


def _exitance() -> float:
    """Exitance of the same disc, from the light on its axis by `open_gate_on_axis`."""
    scene = _scene(0.75, 1.4, "focal_length_mm = 400, f_number = 0.8", 0.75)
    return math.pi * 70.0 / open_gate_on_axis(light_arrays(scene, scene.projector[0], [dispersion.LINE_D_NM]), 0.75)


def _rectangle_flux() -> float:
    """Flux through a square gate whose sides land at a slope of 0.5, over π·L·A."""
    scene = _scene(2.0, 1.0, "focal_length_mm = 85, f_number = 8", 2.0, square_mm=1000.0 * _conjugate(0.085, 2.0))
    light = light_arrays(scene, scene.projector[0], [dispersion.LINE_D_NM])
    return open_gate_flux(light) / (math.pi * math.pi * light.emitter.radius**2)


def _point_rule() -> float:
    """By how much the inverse square of a point is too high for a disc ten radii away, per cent."""
    scene = _scene(2.0, 1.0, "focal_length_mm = 100, f_number = 1", 2.0)
    light = light_arrays(scene, scene.projector[0], [dispersion.LINE_D_NM])
    return 100.0 * (math.pi * light.emitter.radius**2 / 0.5**2 / open_gate_on_axis(light, 0.5) - 1.0)


def _lamp_over_a_table() -> float:
    """A small source 2.4 m over a table that gets 25 lx straight below: lux 1.8 m aside, through the mean over the
    pupil.
    """
    scene = _scene(2.4, 1.0, "focal_length_mm = 85, f_number = 16", 2.4)
    light = light_arrays(scene, scene.projector[0], [dispersion.LINE_D_NM])
    below, aside = (mean_pupil_geometry(light, x, 0.0, 2.4, 0.0, 0.0, -1.0)[0] for x in (0.0, 1.8))
    return 25.0 * aside / below


def _figure_measure(name: str) -> float:
    figure = build_figure("head")
    places = figure.landmarks
    if name == "eyes":
        return 1e3 * float(np.linalg.norm(places["left_eye"] - places["right_eye"]))
    if name == "face height":
        return 1e3 * float(np.linalg.norm(places["nose_bridge"] - places["chin"]))
    vertices = figure.mesh.vertices
    # Widest above the ears: between the ears' upper edge and the crown.
    above = vertices[vertices[:, 1] > max(places["left_ear"][1], places["right_ear"][1]) + 0.045]
    return 1e3 * float(np.ptp(above[:, 0]))


def _xy(spectrum):
    return colour.xy_from_xyz(colour.xyz_from_spectrum(spectrum))


def _focal(line: float) -> float:
    return 100.0 / float(dispersion.singlet_relative_power("N-BK7", line))


def _achromat(line: float) -> float:
    return 100.0 / float(dispersion.achromat_relative_power("N-BK7", "F2", line))


COMPUTE: dict[str, Callable[[], float]] = {
    "slide width": lambda: 0.024 * thin_lens.magnification(0.103, _conjugate(0.1, 0.103)),
    "slide screen": lambda: _conjugate(0.1, 0.103),
    "image distance": lambda: _conjugate(0.1, 0.5),
    "two f": lambda: _conjugate(0.1, 0.2) / 0.2,
    "camera image": lambda: 1e3 * _conjugate(0.05, 3.0),
    "camera frame": lambda: 0.036 * 3.0 / _conjugate(0.05, 3.0),
    "magnifier": lambda: -_conjugate(0.1, 0.085) / 0.085,
    "blur disc": lambda: 1e3 * thin_lens.blur_circle_diameter(0.025, 1.0 / (1.0 / 0.1 - 1.0 / 0.103), 3.0),
    "view 50": lambda: math.degrees(thin_lens.angle_of_view(0.05, math.hypot(0.036, 0.024))),
    "view 85": lambda: math.degrees(thin_lens.angle_of_view(0.085, 0.036)),
    "cosine": _cosine,
    "image plane": lambda: 0.9 * 2.0e6 * thin_lens.pupil_to_point_irradiance(math.pi * 0.0125**2, 0.0, 0.0, 3.43333),
    "index F": lambda: float(dispersion.refractive_index("N-BK7", dispersion.LINE_F_NM)),
    "index d": lambda: float(dispersion.refractive_index("N-BK7", dispersion.LINE_D_NM)),
    "index C": lambda: float(dispersion.refractive_index("N-BK7", dispersion.LINE_C_NM)),
    "abbe crown": lambda: dispersion.abbe_number("N-BK7"),
    "abbe flint": lambda: dispersion.abbe_number("F2"),
    "singlet blue": lambda: _focal(dispersion.LINE_F_NM),
    "singlet red": lambda: _focal(dispersion.LINE_C_NM),
    "achromat F": lambda: _achromat(dispersion.LINE_F_NM),
    "achromat g": lambda: _achromat(dispersion.LINE_G_NM),
    "axial blue": lambda: 1e3 * 0.025 * _conjugate(0.1, 0.103) * abs(1e3 / _focal(dispersion.LINE_F_NM) - 10.0),
    "observer": lambda: float(np.interp(600.0, spectra.WAVELENGTHS_NM, spectra.OBSERVER[:, 1])),
    "white d65": lambda: float(_xy(spectra.white_light(6504.0))[1]),
    "white tungsten": lambda: float(_xy(spectra.tungsten(3200.0))[0]),
    "srgb grey": lambda: float(colour.encode_srgb(0.18)),
    "srgb half": lambda: float(colour.encode_srgb(0.5)),
    "coaxial discs": _coaxial_discs,
    "flash f/8": lambda: exposure.luminous_exposure_for_flash(8.0, 100.0),
    "dome": lambda: math.log2(exposure.C_DOME / exposure.C_FLAT),
    "shutter": lambda: math.log2(
        exposure.combined_luminous_exposure(0.0, 1.0, 1 / 8) / exposure.combined_luminous_exposure(0.0, 1.0, 1 / 30)
    ),
    "lumens": _lumens,
    "distance stops": lambda: studies.stops_for_distance(1.0, 1.5),
    "neutral": lambda: float(filters.neutral(density=0.6)[0]),
    "mired": lambda: filters.mired_shift(3200.0, 5600.0),
    "edge": lambda: thin_lens.DISC_EDGE_10_90,
    "map width": _map_width,
    "map edge": _map_edge,
    "map reading": _map_reading,
    "map inverse square": lambda: math.log2(_map_reading(4.0) / _map_reading(2.0)),
    "tilted wall": _tilted_wall,
    "nearest": lambda: studies.nearest_focus(55.0, 4.0),
    "lens for size": lambda: studies.lens_for(2.70, 36.0, 7.5).focal_length_mm,
    "beam lens": lambda: studies.camera_lens_like(36.0),
    "distortion root": lambda: distortion.gate_radius(0.2, 0.525),
    "barrel root": lambda: distortion.gate_radius(-0.3, 0.6464),
    "distortion pincushion": lambda: _distorted_border(10.0),
    "distortion barrel": lambda: _distorted_border(-20.0),
    "distortion lumens": lambda: _distorted_lumens(10.0),
    "glass faces": _faces,
    "stop of the reading": lambda: _stops_through(
        "focal_length_mm = 85, f_number = 8", "focal_length_mm = 85, f_number = 4"
    ),
    "lens of the reading": lambda: _stops_through(
        "focal_length_mm = 50, f_number = 2.8", "focal_length_mm = 85, f_number = 2.8"
    ),
    "disc source": _exitance,
    "disc source aside": lambda: _disc_source(0.5),
    "flux of a rectangle": _rectangle_flux,
    "point rule": _point_rule,
    "lamp over a table": _lamp_over_a_table,
    "eyes": lambda: _figure_measure("eyes"),
    "face height": lambda: _figure_measure("face height"),
    "head breadth": lambda: _figure_measure("head breadth"),
    **lights.COMPUTE,
    **bare_lamps.COMPUTE,
    **colours.COMPUTE,
    **exposures.COMPUTE,
    **haze.COMPUTE,
}


def run_checks(progress=None) -> list[CheckResult]:
    """Every check, in the order of the published values. progress: a rendering.workers.Progress."""
    results = []
    for index, value in enumerate(VALUES):
        if progress is not None:
            progress.tell("checks", index, len(VALUES))
        results.append(CheckResult(value, float(COMPUTE[value.key]())))
    if progress is not None:
        progress.tell("checks", len(VALUES), len(VALUES))
    return results
