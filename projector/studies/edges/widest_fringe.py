"""Edges of every direction through one point: the one whose fringe is widest, and the one that softness goes by."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from projector.optics.thin_lens import inverse_conjugate
from projector.photometry.spectra import WAVELENGTHS_NM
from projector.stage.optics import relative_powers
from projector.studies.edges.profile import Place, patch_diameters
from projector.tracing.gate.lens_law import Projection

# The visible ends of the band in which fringes are reported, nm; the same pair that lateral colour is stated for. Of it
# counts what the filters pass at least so well, against what they pass best: a narrow filter leaves a narrow fringe.
FRINGE_BAND_NM = (450.0, 650.0)
LEAST_PASSED = 1.0 / 3.0
# Fringes whose widths differ by less in all directions are alike (mm on the surface over their width).
_ALIKE = 1e-6
_N_DIRECTIONS = 360
# Colours shifted in the gate by less than this, a thousandth of a bitmap's finest pixel, are not shifted at all.
_NO_SHIFT_M = 1e-9


@dataclass(frozen=True)
class WidestFringe:
    """The widest fringe at a place, and the edge that shows it.

    axial_mm, lateral_mm: mm on the surface, square to the landed edge; normal (2,): unit vector in the gate (x to the
    right, y down, as it lands) square to the edge, away from the beam's axis if it matters; is_alike: edges of every
    direction show the same.
    """

    axial_mm: float
    lateral_mm: float
    normal: np.ndarray
    is_alike: bool

    @property
    def width_mm(self) -> float:
        """Axial and lateral together."""
        return self.axial_mm + self.lateral_mm

    @property
    def edge_deg(self) -> float:
        """How the edge lies as the projector sees it land: 0 upright, 90 level, positive leaning clockwise;
        −90 to 90.
        """
        turned = math.degrees(math.atan2(float(self.normal[1]), float(self.normal[0])))
        return turned - 180.0 * math.ceil((turned - 90.0) / 180.0)


def widest_fringe(light: Projection, place: Place, lens, passed: np.ndarray) -> WidestFringe:
    """The widest fringe of a projector at a place, over edges of all directions.

    light: the projector with that Lens at the wavelengths of the grid; passed (71,): by its filters. Axial: how much
    farther the widest patch of 450–650 nm, as far as the filters pass it, reaches than the narrowest; lateral: the
    radial shift between the band's ends, as far as it is square to the edge.
    """
    band_nm = _band_passed(passed)
    low, high = _patch_range(light, place, lens, band_nm)
    narrowest = 0.0 if low * high < 0.0 else min(abs(low), abs(high))
    axial = 0.5 * (max(abs(low), abs(high)) - narrowest) * light.emitter.outline.reach
    shift = np.ptp(np.interp(band_nm, WAVELENGTHS_NM, light.lateral)) * place.gate
    angles = np.arange(_N_DIRECTIONS) * math.pi / _N_DIRECTIONS
    widths = _widths(angles, axial, shift, place)
    if np.ptp(widths) <= _ALIKE * widths.max():
        return _at(0.0, axial, shift, place, True)
    from scipy.optimize import minimize_scalar

    best, step = angles[int(np.argmax(widths))], math.pi / _N_DIRECTIONS
    found = minimize_scalar(
        lambda angle: -float(_widths(angle, axial, shift, place)),
        bounds=(best - step, best + step),
        method="bounded",
        options={"xatol": 1e-6},
    )
    return _at(float(found.x), axial, shift, place, False)


def edge_reported_at(light: Projection, place: Place) -> Place:
    """The place turned to the edge that is reported: across the tilt, or square to the radius where lateral colour
    shifts edges.
    """
    radius = float(np.linalg.norm(place.gate))
    return turned_to(place, place.gate / radius) if float(np.ptp(light.lateral)) * radius > _NO_SHIFT_M else place


def turned_to(place: Place, normal) -> Place:
    """The same place, `across` turned square to the landed edge whose unit normal in the gate is `normal` (2,), towards
    that.

    Its per_metre_across is the part of the gate point's movement that is square to the edge.
    """
    normal = np.asarray(normal, float)
    slope = np.array([normal @ place.per_metre_along, normal @ place.per_metre_across])
    steepness = float(np.linalg.norm(slope))
    across = (slope[0] * place.along + slope[1] * place.across) / steepness
    # A quarter turn from `across` within the surface, as Place has it.
    along = (slope[1] * place.along - slope[0] * place.across) / steepness
    per_metre_along = (slope[1] * place.per_metre_along - slope[0] * place.per_metre_across) / steepness
    return replace(
        place, along=along, across=across, per_metre_along=per_metre_along, per_metre_across=steepness * normal
    )


def _widths(angle, axial: float, shift: np.ndarray, place: Place):
    """Fringe (m on the surface, square to the landed edge) for edges whose normals in the gate stand at angles
    (radians).
    """
    normal = np.array([np.cos(angle), np.sin(angle)])
    steepness = np.hypot(place.per_metre_along @ normal, place.per_metre_across @ normal)
    return (axial + np.abs(shift @ normal)) / steepness


def _at(angle: float, axial: float, shift: np.ndarray, place: Place, is_alike: bool) -> WidestFringe:
    normal = np.array([math.cos(angle), math.sin(angle)])
    if normal @ place.gate < 0.0:
        normal = -normal
    on_surface = 1e3 / float(np.hypot(normal @ place.per_metre_along, normal @ place.per_metre_across))
    return WidestFringe(float(axial) * on_surface, float(abs(shift @ normal)) * on_surface, normal, is_alike)


def _band_passed(transmittance) -> tuple[float, float]:
    """From where to where in the band (nm) the filters pass light; straight between the wavelengths of the grid."""
    inside = np.linspace(*FRINGE_BAND_NM, 401)
    passed = np.interp(inside, WAVELENGTHS_NM, transmittance)
    if not passed.max() > 0.0:
        return FRINGE_BAND_NM
    kept = inside[passed >= LEAST_PASSED * passed.max()]
    return float(kept[0]), float(kept[-1])


def _patch_range(light: Projection, place: Place, lens, band_nm) -> np.ndarray:
    """Signed diameters (2,) m in the gate of the patches at the two ends of a band's powers: they run straight in the
    power.
    """
    powers = _power_range(lens, band_nm) / (1e-3 * lens.focal_length_mm)
    inverse_sharp = inverse_conjugate(powers, light.tube_length)
    return patch_diameters(light._replace(inverse_sharp=inverse_sharp), place)


def _power_range(lens, band_nm) -> np.ndarray:
    """Least and largest relative power (2,) of a lens over a band: of a corrected lens they may lie within it, between
    any two lines.
    """
    from scipy.optimize import minimize_scalar

    if band_nm[0] == band_nm[1]:
        return np.full(2, float(relative_powers(lens, band_nm[0])))
    grid = np.linspace(band_nm[0], band_nm[1], 101)
    powers, step = relative_powers(lens, grid), grid[1] - grid[0]
    found = []
    for sign, index in ((1.0, int(np.argmin(powers))), (-1.0, int(np.argmax(powers)))):
        value = float(powers[index])
        if 0 < index < grid.size - 1:
            within = minimize_scalar(
                lambda nm, sign=sign: sign * float(relative_powers(lens, nm)),
                bounds=(grid[index] - step, grid[index] + step),
                method="bounded",
                options={"xatol": 1e-4},
            )
            value = sign * min(sign * value, float(within.fun))
        found.append(value)
    return np.array(found)
