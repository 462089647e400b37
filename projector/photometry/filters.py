"""Filters as spectra (71,) of transmittance 0..1 on the common grid, what they cost in stops and what they do to
colour.

Real gels differ from maker to maker; these are clean shapes that a filter can be described by. A measured one goes in
as a table.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from projector.photometry.colour import xy_from_xyz, xyz_from_spectrum
from projector.photometry.spectra import (
    N_WAVELENGTHS,
    WAVELENGTHS_NM,
    bell,
    luminous,
    planck_radiance,
    white_light,
    white_xy,
)

STOPS_PER_DENSITY = 1.0 / math.log10(2.0)

# The lamps for which the trade states mired shifts (common practice, no source): what makes light bluer goes before
# tungsten, what makes it warmer before a flash. From these the shift of a temperature filter is exact.
BLUING_FROM_K, WARMING_FROM_K = 3200.0, 5600.0
MIRED_SHIFTS = (-270.0, 300.0)
# Dyes of a temperature filter, (peak, full width at half of the peak density) in nm: magenta and cyan make blue, yellow
# and a reddish one make orange. Broad round figures of our own, chosen to cost what filters on the market cost.
BLUING_DYES = ((540.0, 150.0), (660.0, 150.0))
WARMING_DYES = ((440.0, 120.0), (530.0, 120.0))
# What a clear film passes: two faces of index 1.5 send 4 % back each (Fresnel), to and fro between them (2n/(n² + 1)).
CLEAR_FILM = 2.0 * 1.5 / (1.5**2 + 1.0)


def mired(temperature_k: float) -> float:
    """Micro reciprocal degrees (1/MK) of a temperature in K, 1e6/T. Filters shift it by the same amount wherever they
    start.
    """
    return 1e6 / temperature_k


def mired_shift(from_k: float, to_k: float) -> float:
    """1e6/T₂ − 1e6/T₁ in mired, of temperatures in K: negative makes light bluer."""
    return mired(to_k) - mired(from_k)


def shifted_temperature(from_k: float, shift: float) -> float:
    """The temperature in K after a shift in mired. ValueError if the shift leads past infinite temperature."""
    shifted = mired(from_k) + shift
    if shifted <= 0.0:
        raise ValueError(
            f"a shift of {shift:g} mired from {from_k:g} K leads beyond any temperature; the most it can take is"
            f" {-mired(from_k):.0f}."
        )
    return 1e6 / shifted


def density_from_stops(stops: float) -> float:
    """Optical density D = −log10 T of a filter that costs these stops; one stop is 0.30103."""
    return stops / STOPS_PER_DENSITY


def stops_from_density(density: float) -> float:
    """Stops that a neutral density costs: D / log10 2."""
    return density * STOPS_PER_DENSITY


def neutral(*, density: float | None = None, stops: float | None = None) -> np.ndarray:
    """Neutral density (71,), given as D (0 or more) or in stops (0 or more): 10^−D everywhere. ValueError for both,
    neither or a brighter one.
    """
    if (density is None) == (stops is None):
        raise ValueError("a neutral filter takes either a density or a number of stops.")
    if density is None:
        density = density_from_stops(stops)
    if density < 0.0:
        raise ValueError("a filter cannot brighten: its density is 0 or more.")
    return np.full(N_WAVELENGTHS, 10.0**-density)


def band(centre_nm: float, width_nm: float, peak: float = 1.0) -> np.ndarray:
    """A Gaussian pass band (71,) by its centre and full width at half of its peak transmittance, nm; peak: 0..1."""
    _require_width(width_nm)
    return peak * bell(centre_nm, width_nm)


def long_pass(edge_nm: float, width_nm: float) -> np.ndarray:
    """Passes wavelengths above the edge (a red, orange or yellow filter), (71,): logistic, ½ at the edge, 10 to 90 % in
    width_nm.
    """
    _require_width(width_nm)
    steepness = 2.0 * math.log(9.0) / width_nm
    return 0.5 + 0.5 * np.tanh(0.5 * steepness * (WAVELENGTHS_NM - edge_nm))


def short_pass(edge_nm: float, width_nm: float) -> np.ndarray:
    """Passes wavelengths below the edge (a blue or cyan filter), (71,): 1 − long_pass."""
    return 1.0 - long_pass(edge_nm, width_nm)


def conversion(from_k: float, to_k: float) -> np.ndarray:
    """The ideal filter that turns a black body of one temperature into another: B(λ, T₂)/B(λ, T₁), scaled to at most 1.

    Temperatures in K, (71,), by Planck's law. It is right at every wavelength and dear: no dye is so steep in the
    violet or the deep red, see `temperature_shift`.
    """
    ratio = planck_radiance(to_k) / planck_radiance(from_k)
    return ratio / ratio.max()


def temperature_shift(shift: float) -> np.ndarray:
    """A dyed conversion filter (71,) by its shift in mired, −270 (bluer) to +300 (warmer).

    Exact from the lamp it is made for: a bluing one turns tungsten of 3200 K, a warming one a flash of 5600 K into
    `white_light` of the temperature so many mireds away, so that −134 makes of tungsten what a camera calls 5600 K.
    From other lamps a conversion is right within 6 mired: a bluing one from 2800 to 3600 K, a warming one from 2800 to
    6500 K.

    Clear film with two dyes in the amounts that give the chromaticity (Beer and Lambert's law: densities add and go
    with the amount). It costs what photographers' filters cost: −131 mired 1.6 stops, +131 mired 0.7, a clear film 0.1.
    """
    least, most = MIRED_SHIFTS
    if not least <= shift <= most:
        raise ValueError(f"a mired shift of {shift:g} is beyond {least:g} to +{most:g}.")
    return CLEAR_FILM * 10.0 ** -(np.array(_amounts_of_dye(float(shift))) @ _dyes(shift))


def _dyes(shift: float) -> np.ndarray:
    """Densities (2, 71) of the dyes of a filter, peak 1."""
    return np.array([bell(*dye) for dye in (BLUING_DYES if shift < 0.0 else WARMING_DYES)])


@lru_cache(maxsize=256)
def _amounts_of_dye(shift: float) -> tuple[float, float]:
    """Peak densities of the two dyes: the two chromaticity equations solved for them."""
    from scipy.optimize import root

    start_k = BLUING_FROM_K if shift < 0.0 else WARMING_FROM_K
    light, dyes, wanted = white_light(start_k), _dyes(shift), white_xy(shifted_temperature(start_k, shift))

    def miss(amounts):
        return xy_after(light, 10.0 ** -(amounts @ dyes)) - wanted

    return tuple(root(miss, np.full(2, abs(shift) / 300.0), tol=1e-12).x)


def table(wavelength_nm, transmittance) -> np.ndarray:
    """A measured filter on the grid (71,): rising wavelengths in nm and transmittances 0..1, straight between them,
    constant beyond the ends.
    """
    wavelength_nm, transmittance = np.asarray(wavelength_nm, dtype=float), np.asarray(transmittance, dtype=float)
    if wavelength_nm.ndim != 1 or wavelength_nm.shape != transmittance.shape or wavelength_nm.size == 0:
        raise ValueError(
            f"a filter table needs as many transmittances as wavelengths; found {transmittance.size} and"
            f" {wavelength_nm.size}."
        )
    if not np.all(np.diff(wavelength_nm) > 0.0):
        raise ValueError("the wavelengths of a filter table must rise from one to the next.")
    if not np.all((transmittance >= 0.0) & (transmittance <= 1.0)):
        raise ValueError("transmittances of a filter table lie between 0 and 1; per cent are to be divided by 100.")
    return np.interp(WAVELENGTHS_NM, wavelength_nm, transmittance)


def stack(filters) -> np.ndarray:
    """Several filters one behind the other: transmittances multiply (reflections between them left out).

    None: all ones.
    """
    total = np.ones(N_WAVELENGTHS)
    for transmittance in filters:
        total = total * transmittance
    return total


def stops_lost(source, transmittance) -> float:
    """Stops that a transmittance (71,) costs for a source (71,): −log2 of luminous transmittance Σ S·T·V / Σ S·V (CIE
    015). inf if black.
    """
    passed = luminous(np.asarray(source) * transmittance) / luminous(source)
    return float(-np.log2(passed)) if passed > 0.0 else math.inf


def xy_after(source, transmittance) -> np.ndarray:
    """Chromaticity (2,) of a source (71,) behind a transmittance (71,)."""
    return xy_from_xyz(xyz_from_spectrum(np.asarray(source) * transmittance))


def _require_width(width_nm: float) -> None:
    if not width_nm > 0.0:
        raise ValueError(f"a filter's width of {width_nm:g} nm must be above 0.")
