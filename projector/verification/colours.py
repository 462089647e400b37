"""Checks of whites, filters, fringes and of what a shutter lets a flash light."""

from __future__ import annotations

import math
from collections.abc import Callable

from projector.optics.thin_lens import conjugate_distance
from projector.photometry import colour, exposure, filters, spectra
from projector.rendering.maps.irradiance import irradiance_map
from projector.scene.reading.reader import load_text
from projector.studies.edges.fringe import fringe
from projector.verification.published import CIE, METER_MANUAL, PRINTED, Published

_SHARP_M = conjugate_distance(0.1, 0.103)


def _scene(lens: str, source: str = "daylight"):
    """A lens of 100 mm square to a wall, sharp on it at 3433.333 mm (its gate at 103 mm), a gate of 60 mm."""
    return load_text(
        f"""
format = 1
[camera]
position_m = [0.3, 1.5, 4.0]
aim = [0.0, 1.5, 0.0]
[[projector]]
name = "p"
position_m = [0.0, 1.5, {_SHARP_M}]
aim = [0.0, 1.5, 0.0]
gate = {{ shape = "round", diameter_mm = 60 }}
lens = {{ focal_length_mm = 100, f_number = 4{lens} }}
focus = {{ distance_m = {_SHARP_M} }}
source = {{ kind = "{source}" }}
reading = {{ f_number = 8, distance_m = 2.0 }}
[[surface]]
name = "wall"
position_m = [0.0, 1.5, 0.0]
width_m = 2.0
height_m = 2.0
""",
        "check",
    )


def _lumens_per_watt() -> float:
    found = irradiance_map(_scene("", "equal_energy"), n_across=9)
    return float(found.illuminance[4, 4] / found.irradiance[4, 4])


def _fringe(lens: str, at):
    scene = _scene(lens)
    return fringe(scene, scene.projector[0], at)


def _lateral(degrees: float) -> float:
    """Lateral colour of 0.1 mm at the gate's edge, 0.5 m off the axis in a direction, mm on the wall."""
    turn = math.radians(degrees)
    return _fringe(", lateral_colour_mm = 0.1", (0.5 * math.cos(turn), 1.5 + 0.5 * math.sin(turn), 0.0)).lateral_mm


def _stops(shift: float) -> float:
    """What a temperature filter costs the lamp it is made for."""
    light = spectra.tungsten(filters.BLUING_FROM_K) if shift < 0.0 else spectra.white_light(filters.WARMING_FROM_K)
    return filters.stops_lost(light, filters.temperature_shift(shift))


def _filtered_xy(start_k: float, to_k: float):
    return filters.xy_after(spectra.white_light(start_k), filters.temperature_shift(filters.mired_shift(start_k, to_k)))


def _led_off_neutral() -> float:
    white = colour.white_balance_xyz(4000.0)
    return float(colour.delta_e(colour.xyz_from_spectrum(spectra.led(4000.0)), white, white))


VALUES = (
    Published(
        "observer sum",
        "V(λ) summed over the wavelengths",
        106.8569,
        "nm",
        0.01,
        "what lies beyond 380 to 730 nm",
        "CIE 018:2019, at 1 nm from 360 to 830",
    ),
    Published(
        "lumens per watt",
        "white of equal energy over 380 to 730 nm, lx over W/m² of a rendered map",
        208.523,
        "lm/W",
        0.03,
        "what V has beyond the band",
        "683 lm/W · 106.8569 nm / 350 nm (SI Brochure, CIE 018:2019)",
    ),
    Published(
        "white mixed",
        "white of 4500 K: x",
        0.36143,
        "",
        1.5e-4,
        "a grid of 5 nm from 380 to 730",
        "CIE 224:2017 by colour-science 0.4.7",
    ),
    Published("white d50", "white of 5003 K: x", 0.34567, "", 1.5e-4, "a grid of 5 nm from 380 to 730", CIE),
    Published(
        "led neutral",
        "LED of 4000 K under a white balance of 4000 K: ΔE*ab from neutral",
        0.0,
        "",
        0.5,
        "a quarter of what is just seen",
        "ISO/CIE 11664-4; definition of white balance",
    ),
    Published(
        "adaptation",
        "D65 to D50: first element of the matrix",
        1.0478112,
        "",
        1e-6,
        PRINTED,
        "B. Lindbloom, Chromatic Adaptation (Bradford; from memory)",
    ),
    Published(
        "lab grey", "L* of a reflectance of 0.18", 49.496, "", 1e-3, PRINTED, "ISO/CIE 11664-4: 116·0.18^(1/3) − 16"
    ),
    Published(
        "bluing filter",
        "3200 K behind −130.8 mired, D55's temperature: y",
        0.34743,
        "",
        1.5e-4,
        "a grid of 5 nm from 380 to 730",
        CIE,
    ),
    Published(
        "warming filter",
        "a flash of 5600 K behind +133.9 mired: x of 3200 K",
        0.42336,
        "",
        3e-4,
        "a grid of 5 nm from 380 to 730",
        "colour-science 0.4.7 and luxpy 1.12.5 agree",
    ),
    Published(
        "bluing cost",
        "what −131 mired cost tungsten",
        2.0,
        "stops",
        0.37,
        "printed in thirds; dyes differ",
        METER_MANUAL,
    ),
    Published(
        "warming cost",
        "what +131 mired cost a flash",
        2.0 / 3.0,
        "stops",
        0.37,
        "printed in thirds; dyes differ",
        METER_MANUAL,
    ),
    Published("half filter", "half of 3200 → 5600 K", 4073.0, "K", 0.5, PRINTED, "definition of the mired"),
    Published(
        "fringe axial",
        "singlet of N-BK7, 100 mm f/4, wall at 3433.333 mm: reach of 450 nm past yellow",
        7.07483,
        "mm",
        1e-4,
        PRINTED,
        "closed form; indices by refractiveindex 1.3.1",
    ),
    Published(
        "fringe aside",
        "lateral colour 0.1 mm in a gate of 60 mm, on the wall 0.5 m to the right",
        1.6667,
        "mm",
        1e-4,
        PRINTED,
        "W. J. Smith, Modern Optical Engineering, ch. 5",
    ),
    Published(
        "fringe above",
        "the same 0.5 m above",
        1.6667,
        "mm",
        1e-4,
        PRINTED,
        "W. J. Smith, Modern Optical Engineering, ch. 5",
    ),
    Published(
        "flash strip",
        "flash at 1/400 s where blinds cross in 1/200 s: share of the frame",
        0.5,
        "",
        1e-12,
        PRINTED,
        "geometry of a shutter with two blinds",
    ),
)

COMPUTE: dict[str, Callable[[], float]] = {
    "observer sum": lambda: float(spectra.LUMINOUS_STEPS.sum()),
    "lumens per watt": _lumens_per_watt,
    "white mixed": lambda: float(spectra.white_xy(4500.0)[0]),
    "white d50": lambda: float(spectra.white_xy(5003.0)[0]),
    "led neutral": _led_off_neutral,
    "adaptation": lambda: float(colour.bradford((0.95047, 1.0, 1.08883), (0.96422, 1.0, 0.82521))[0, 0]),
    "lab grey": lambda: float(colour.lab_from_xyz(0.18 * colour.SRGB_WHITE_XYZ, colour.SRGB_WHITE_XYZ)[0]),
    "bluing filter": lambda: float(_filtered_xy(3200.0, 5503.0)[1]),
    "warming filter": lambda: float(_filtered_xy(5600.0, 3200.0)[0]),
    "bluing cost": lambda: _stops(-131.0),
    "warming cost": lambda: _stops(131.0),
    "half filter": lambda: filters.shifted_temperature(3200.0, 0.5 * filters.mired_shift(3200.0, 5600.0)),
    "fringe axial": lambda: _fringe(', dispersion = { glass = "N-BK7" }', (0.0, 1.5, 0.0)).axial_mm,
    "fringe aside": lambda: _lateral(0.0),
    "fringe above": lambda: _lateral(90.0),
    "flash strip": lambda: exposure.frame_share_lit_by_flash(1.0 / 400.0, 1.0 / 200.0),
}
