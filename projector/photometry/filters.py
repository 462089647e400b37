"""Filters as spectra (71,) of transmittance 0..1 on the common grid, what they cost in stops and what they do to colour.

Real gels differ from maker to maker; these are clean shapes that a filter can be described by. A measured one goes in
as a table.
"""

from __future__ import annotations

import math

import numpy as np

from projector.photometry.colour import xy_from_xyz, xyz_from_spectrum
from projector.photometry.spectra import N_WAVELENGTHS, WAVELENGTHS_NM, luminous, planck_radiance

STOPS_PER_DENSITY = 1.0 / math.log10(2.0)

# A conversion filter is the ratio of two black bodies that share this one: a bluing filter starts from it, a warming one
# ends at it, so that a filter and its opposite together are neutral.
CONVERSION_TUNGSTEN_K = 3200.0
LARGEST_MIRED_SHIFT = 300.0


def mired(temperature_k: float) -> float:
    """Micro reciprocal degrees, 1e6/T. Filters shift it by the same amount wherever they start."""
    return 1e6 / temperature_k


def mired_shift(from_k: float, to_k: float) -> float:
    """1e6/T₂ − 1e6/T₁: negative makes light bluer."""
    return mired(to_k) - mired(from_k)


def shifted_temperature(from_k: float, shift: float) -> float:
    """The temperature in K after a mired shift. ValueError if the shift leads past infinite temperature."""
    shifted = mired(from_k) + shift
    if shifted <= 0.0:
        raise ValueError(f"a shift of {shift:g} mired from {from_k:g} K leads beyond any temperature; the most it can take is {-mired(from_k):.0f}.")
    return 1e6 / shifted


def density_from_stops(stops: float) -> float:
    """Optical density D = −log10 T of a filter that costs these stops; one stop is 0.30103."""
    return stops / STOPS_PER_DENSITY


def stops_from_density(density: float) -> float:
    """Stops that a neutral density costs: D / log10 2."""
    return density * STOPS_PER_DENSITY


def neutral(*, density: float | None = None, stops: float | None = None) -> np.ndarray:
    """Neutral density, given as D (0 or more) or in stops (0 or more)."""
    if (density is None) == (stops is None):
        raise ValueError("a neutral filter takes either a density or a number of stops.")
    if density is None:
        density = density_from_stops(stops)
    if density < 0.0:
        raise ValueError("a filter cannot brighten: its density is 0 or more.")
    return np.full(N_WAVELENGTHS, 10.0**-density)


def band(centre_nm: float, width_nm: float, peak: float = 1.0) -> np.ndarray:
    """A Gaussian pass band by its centre and full width at half of its peak transmittance, nm."""
    _require_width(width_nm)
    return peak * np.exp2(-((2.0 * (WAVELENGTHS_NM - centre_nm) / width_nm) ** 2))


def long_pass(edge_nm: float, width_nm: float) -> np.ndarray:
    """Passes wavelengths above the edge (a red, orange or yellow filter): logistic, ½ at the edge, 10 to 90 % in width_nm."""
    _require_width(width_nm)
    steepness = 2.0 * math.log(9.0) / width_nm
    return 0.5 + 0.5 * np.tanh(0.5 * steepness * (WAVELENGTHS_NM - edge_nm))


def short_pass(edge_nm: float, width_nm: float) -> np.ndarray:
    """Passes wavelengths below the edge (a blue or cyan filter): 1 − long_pass."""
    return 1.0 - long_pass(edge_nm, width_nm)


def conversion(from_k: float, to_k: float) -> np.ndarray:
    """Turns a black body of one temperature into the colour of another: B(λ, T₂)/B(λ, T₁), scaled to at most 1."""
    ratio = planck_radiance(to_k) / planck_radiance(from_k)
    return ratio / ratio.max()


def temperature_shift(shift: float) -> np.ndarray:
    """A conversion filter by its mired shift: −134 turns 3200 K to 5600 K, +134 turns 5600 K to 3200 K, both exactly.

    From other temperatures the shift holds to a few mired, as it does for a real gel.
    """
    if not -LARGEST_MIRED_SHIFT <= shift <= LARGEST_MIRED_SHIFT:
        raise ValueError(f"a mired shift of {shift:g} is beyond ±{LARGEST_MIRED_SHIFT:g}.")
    other_k = shifted_temperature(CONVERSION_TUNGSTEN_K, -abs(shift))
    return conversion(CONVERSION_TUNGSTEN_K, other_k) if shift < 0.0 else conversion(other_k, CONVERSION_TUNGSTEN_K)


def table(wavelength_nm, transmittance) -> np.ndarray:
    """A measured filter: rising wavelengths in nm and transmittances 0..1, straight between them, constant beyond the ends."""
    wavelength_nm, transmittance = np.asarray(wavelength_nm, dtype=float), np.asarray(transmittance, dtype=float)
    if wavelength_nm.ndim != 1 or wavelength_nm.shape != transmittance.shape or wavelength_nm.size == 0:
        raise ValueError(f"a filter table needs as many transmittances as wavelengths; found {transmittance.size} and {wavelength_nm.size}.")
    if not np.all(np.diff(wavelength_nm) > 0.0):
        raise ValueError("the wavelengths of a filter table must rise from one to the next.")
    if not np.all((transmittance >= 0.0) & (transmittance <= 1.0)):
        raise ValueError("transmittances of a filter table lie between 0 and 1; per cent are to be divided by 100.")
    return np.interp(WAVELENGTHS_NM, wavelength_nm, transmittance)


def stack(filters) -> np.ndarray:
    """Several filters one behind the other: transmittances multiply (reflections between them left out). None: all ones."""
    total = np.ones(N_WAVELENGTHS)
    for transmittance in filters:
        total = total * transmittance
    return total


def stops_lost(source, transmittance) -> float:
    """Stops that the filter costs for this source: −log2 of luminous transmittance Σ S·T·V / Σ S·V (CIE 015). inf if black."""
    passed = luminous(np.asarray(source) * transmittance) / luminous(source)
    return float(-np.log2(passed)) if passed > 0.0 else math.inf


def xy_after(source, transmittance) -> np.ndarray:
    """Chromaticity (2,) of the filtered source."""
    return xy_from_xyz(xyz_from_spectrum(np.asarray(source) * transmittance))


def _require_width(width_nm: float) -> None:
    if not width_nm > 0.0:
        raise ValueError(f"a filter's width of {width_nm:g} nm must be above 0.")
