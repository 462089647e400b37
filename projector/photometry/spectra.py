"""Spectra on one grid, 380 to 730 nm every 5 nm: the observer, and light sources.

Every source is relative, shape (71,), scaled to luminous 1: Σ source·V(λ)·5 nm = 1, so that sources of any kind compare
at equal lumens. What the grid leaves out (below 380, above 730 nm) carries 0.04 % of the luminous flux of 3200 K at most.
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import numpy as np

STEP_NM = 5.0
WAVELENGTHS_NM = np.arange(380.0, 730.0 + 0.5 * STEP_NM, STEP_NM)
N_WAVELENGTHS = WAVELENGTHS_NM.size

# The candela fixes 683 lm/W at 540 THz (SI Brochure, 9th edition; 683.002 at the peak of V, 555 nm in air).
K_M = 683.0

# Exact since 2019 (SI Brochure, 9th edition): h in J·s, c in m/s, k in J/K.
PLANCK_CONSTANT = 6.62607015e-34
SPEED_OF_LIGHT = 299792458.0
BOLTZMANN_CONSTANT = 1.380649e-23
SECOND_RADIATION_CONSTANT = PLANCK_CONSTANT * SPEED_OF_LIGHT / BOLTZMANN_CONSTANT

DAYLIGHT_FULL_FROM_K = 4000.0
DAYLIGHT_NONE_BELOW_K = 3500.0
DAYLIGHT_UP_TO_K = 25000.0
LED_FROM_K, LED_TO_K = 2000.0, 20000.0

_TABLES = np.loadtxt(Path(__file__).with_name("cie_tables.csv"), delimiter=",")
OBSERVER = np.ascontiguousarray(_TABLES[:, 1:4])  # x̄, ȳ, z̄ of the CIE 1931 2° observer, (71, 3)
LUMINOUS_EFFICIENCY = np.ascontiguousarray(_TABLES[:, 2])  # V(λ) = ȳ, (71,)
_DAYLIGHT_VECTORS = np.ascontiguousarray(_TABLES[:, 4:7])
for _table in (WAVELENGTHS_NM, OBSERVER, LUMINOUS_EFFICIENCY, _DAYLIGHT_VECTORS):
    _table.flags.writeable = False


def luminous(spectrum) -> float:
    """Σ spectrum·V(λ)·5 nm over the last axis: lumens per K_M if the spectrum is in W/nm."""
    return np.asarray(spectrum) @ LUMINOUS_EFFICIENCY * STEP_NM


def scaled_to_luminous_one(spectrum) -> np.ndarray:
    """The spectrum (71,) divided by its luminous sum."""
    return np.asarray(spectrum, dtype=float) / luminous(spectrum)


def planck_radiance(temperature_k: float, wavelength_nm=WAVELENGTHS_NM) -> np.ndarray:
    """Planck's law: spectral radiance of a black body in W/(m²·sr·nm) at wavelengths in nm, temperature in K (above 0)."""
    if not temperature_k > 0.0:
        raise ValueError(f"a temperature of {temperature_k:g} K gives no light; temperatures are above 0 K.")
    wavelength = np.asarray(wavelength_nm, dtype=float) * 1e-9
    exponent = SECOND_RADIATION_CONSTANT / (wavelength * temperature_k)
    return 1e-9 * 2.0 * PLANCK_CONSTANT * SPEED_OF_LIGHT**2 / wavelength**5 / np.expm1(exponent)


def equal_energy() -> np.ndarray:
    """The same power at every wavelength (CIE illuminant E), (71,)."""
    return scaled_to_luminous_one(np.ones(N_WAVELENGTHS))


def tungsten(temperature_k: float) -> np.ndarray:
    """A black body at that temperature, (71,): close to an incandescent filament of that colour temperature."""
    return scaled_to_luminous_one(planck_radiance(temperature_k))


def daylight_xy(temperature_k: float) -> tuple[float, float]:
    """Chromaticity of CIE daylight at a correlated colour temperature (CIE 015:2018, the two cubics in 1/T).

    Stated by the CIE from 4000 to 25 000 K; the lower cubic is used down to 3500 K for the crossover of `daylight`.
    """
    if not DAYLIGHT_NONE_BELOW_K <= temperature_k <= DAYLIGHT_UP_TO_K:
        raise ValueError(f"daylight is defined up to {DAYLIGHT_UP_TO_K:g} K, not at {temperature_k:g} K.")
    inverse = 1e3 / temperature_k
    if temperature_k <= 7000.0:
        x = 0.244063 + inverse * (0.09911 + inverse * (2.9678 - 4.6070 * inverse))
    else:
        x = 0.237040 + inverse * (0.24748 + inverse * (1.9018 - 2.0064 * inverse))
    return x, x * (2.870 - 3.000 * x) - 0.275


def _cie_daylight(temperature_k: float) -> np.ndarray:
    """S0 + M1·S1 + M2·S2 (CIE 015:2018), M not rounded so that the spectrum is continuous in the temperature."""
    x, y = daylight_xy(temperature_k)
    divisor = 0.0241 + 0.2562 * x - 0.7341 * y
    first = (-1.3515 - 1.7703 * x + 5.9114 * y) / divisor
    second = (0.0300 - 31.4424 * x + 30.0717 * y) / divisor
    return _DAYLIGHT_VECTORS @ np.array([1.0, first, second])


def daylight(temperature_k: float) -> np.ndarray:
    """Daylight, and what a flash is close to, at a correlated colour temperature up to 25 000 K, (71,).

    CIE daylight (CIE 015:2018) from 4000 K up; a black body below 3500 K, where the CIE defines none; between the two a
    straight cross-fade, so that no step shows when the temperature is turned. D65 is daylight at 6504 K.
    """
    share = (temperature_k - DAYLIGHT_NONE_BELOW_K) / (DAYLIGHT_FULL_FROM_K - DAYLIGHT_NONE_BELOW_K)
    if share <= 0.0:
        return tungsten(temperature_k)
    spectrum = scaled_to_luminous_one(_cie_daylight(temperature_k))
    if share >= 1.0:
        return spectrum
    return share * spectrum + (1.0 - share) * tungsten(temperature_k)


def _bell(centre_nm: float, width_nm: float) -> np.ndarray:
    """A Gaussian band by its full width at half maximum."""
    return np.exp2(-((2.0 * (WAVELENGTHS_NM - centre_nm) / width_nm) ** 2))


def _chromaticity(spectrum: np.ndarray) -> np.ndarray:
    totals = spectrum @ OBSERVER
    return totals[:2] / totals.sum()


def mixed_to_chromaticity(emitters, xy) -> np.ndarray:
    """Three emitters (3, 71) in the amounts that give the chromaticity xy; (71,).

    Additive mixture: three linear equations. ValueError if the wanted colour lies outside the emitters' triangle.
    """
    emitters = np.asarray(emitters, dtype=float)
    x, y = xy
    wanted = np.array([x / y, 1.0, (1.0 - x - y) / y])
    amounts = np.linalg.solve((emitters @ OBSERVER).T * STEP_NM, wanted)
    if amounts.min() < -1e-12 * np.abs(amounts).max():
        corners = "; ".join("({:.3f}, {:.3f})".format(*_chromaticity(emitter)) for emitter in emitters)
        raise ValueError(f"chromaticity ({x:.4f}, {y:.4f}) lies outside what the emitters {corners} can mix; bring it inside their triangle.")
    return np.maximum(amounts, 0.0) @ emitters


# Peak and full width at half maximum, nm. Our own round figures for common parts, not a measured lamp: a blue chip with a
# yellow-green and a red phosphor, and the three narrow chips of a tunable lamp.
PHOSPHOR_LED_BANDS = ((450.0, 22.0), (545.0, 115.0), (625.0, 95.0))
TUNABLE_LED_BANDS = ((460.0, 24.0), (525.0, 34.0), (630.0, 20.0))


def white_xy(temperature_k: float) -> np.ndarray:
    """The white point of a correlated colour temperature, (2,): black body up to 4000 K, CIE daylight from 5000 K.

    Between the two a straight mixture at equal luminance, as ANSI/IES TM-30 mixes its reference illuminants.
    """
    share = min(max((temperature_k - 4000.0) / 1000.0, 0.0), 1.0)
    mixture = (1.0 - share) * tungsten(temperature_k)
    if share > 0.0:
        mixture = mixture + share * daylight(temperature_k)
    return _chromaticity(mixture)


@lru_cache(maxsize=64)
def _led(temperature_k: float) -> np.ndarray:
    emitters = [_bell(*band) for band in PHOSPHOR_LED_BANDS]
    spectrum = scaled_to_luminous_one(mixed_to_chromaticity(emitters, white_xy(temperature_k)))
    spectrum.flags.writeable = False
    return spectrum


def led(temperature_k: float) -> np.ndarray:
    """A white LED at a correlated colour temperature of 2000 to 20 000 K, (71,).

    A synthetic shape of our own: a blue chip and two phosphors, mixed so that the chromaticity is exactly `white_xy`.
    """
    if not LED_FROM_K <= temperature_k <= LED_TO_K:
        raise ValueError(f"an LED of {temperature_k:g} K is outside {LED_FROM_K:g} to {LED_TO_K:g} K.")
    return _led(float(temperature_k)).copy()


def tunable_led(xy) -> np.ndarray:
    """A lamp of red, green and blue chips set to a chromaticity, (71,); synthetic bands of our own."""
    return scaled_to_luminous_one(mixed_to_chromaticity([_bell(*band) for band in TUNABLE_LED_BANDS], xy))


def source_spectrum(kind: str, temperature_k: float) -> np.ndarray:
    """The source of a scene file by its kind: "tungsten", "daylight", "led" or "equal_energy"; (71,), luminous sum 1."""
    if kind == "equal_energy":
        return equal_energy()
    makers = {"tungsten": tungsten, "daylight": daylight, "led": led}
    if kind not in makers:
        raise ValueError(f"no light source is called {kind!r}; known are: {', '.join([*makers, 'equal_energy'])}.")
    return makers[kind](temperature_k)
