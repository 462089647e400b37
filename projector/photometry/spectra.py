"""Spectra on one grid, 380 to 730 nm every 5 nm: the observer, and light sources.

Integrals over the band are trapezoids on that grid, in one place: `STEPS_NM`, which sum to its 350 nm. Every source is
relative, shape (71,), scaled to luminous 1: ∫ source·V(λ) dλ = 1, so that sources of any kind compare at equal lumens.
What the grid leaves out (below 380, above 730 nm) carries 0.04 % of the luminous flux of 3200 K at most.

One rule says what a colour temperature means, for lamps and for a camera's white balance alike: `white_light`. Up to
4000 K it is a black body, from 5000 K on CIE daylight. A flash (daylight) of T kelvin has its spectrum, an LED of T
kelvin its chromaticity, and a tungsten lamp, which ends where the black body does, is it: each looks neutral to a
camera set to T.
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import numpy as np

STEP_NM = 5.0
WAVELENGTHS_NM = np.arange(380.0, 730.0 + 0.5 * STEP_NM, STEP_NM)
N_WAVELENGTHS = WAVELENGTHS_NM.size
# What each wavelength of the grid stands for in an integral, (71,) nm: the trapezoid rule, half a step at either end.
STEPS_NM = np.full(N_WAVELENGTHS, STEP_NM)
STEPS_NM[[0, -1]] = 0.5 * STEP_NM

# The candela fixes 683 lm/W at 540 THz (SI Brochure, 9th edition; 683.002 at the peak of V, 555 nm in air).
K_M = 683.0

# Exact since 2019 (SI Brochure, 9th edition): h in J·s, c in m/s, k in J/K.
PLANCK_CONSTANT = 6.62607015e-34
SPEED_OF_LIGHT = 299792458.0
BOLTZMANN_CONSTANT = 1.380649e-23
SECOND_RADIATION_CONSTANT = PLANCK_CONSTANT * SPEED_OF_LIGHT / BOLTZMANN_CONSTANT

# CIE 224:2017 and ANSI/IES TM-30-20 take a black body up to 4000 K and daylight from 5000 K as the white to judge by.
BLACK_BODY_UP_TO_K, DAYLIGHT_FROM_K = 4000.0, 5000.0
# The CIE defines daylight from 4000 to 25 000 K (CIE 015:2018).
DAYLIGHT_DEFINED_FROM_K, DAYLIGHT_DEFINED_TO_K = 4000.0, 25000.0
LED_FROM_K, LED_TO_K = 2000.0, 20000.0
# What a lamp has whose temperature is not stated (common practice, no source).
USUAL_TEMPERATURE_K = {"tungsten": 3200.0, "daylight": 5600.0, "led": 5600.0, "equal_energy": 5600.0}

_TABLES = np.loadtxt(Path(__file__).with_name("cie_tables.csv"), delimiter=",")
OBSERVER = np.ascontiguousarray(_TABLES[:, 1:4])  # x̄, ȳ, z̄ of the CIE 1931 2° observer, (71, 3)
LUMINOUS_EFFICIENCY = np.ascontiguousarray(_TABLES[:, 2])  # V(λ) = ȳ, (71,)
# The same per nanometre of the band: a spectrum (..., 71) @ these is its XYZ, or its luminous integral.
OBSERVER_STEPS = OBSERVER * STEPS_NM[:, None]  # (71, 3)
LUMINOUS_STEPS = LUMINOUS_EFFICIENCY * STEPS_NM  # (71,)
_DAYLIGHT_VECTORS = np.ascontiguousarray(_TABLES[:, 4:7])
for _table in (
    WAVELENGTHS_NM,
    STEPS_NM,
    OBSERVER,
    LUMINOUS_EFFICIENCY,
    OBSERVER_STEPS,
    LUMINOUS_STEPS,
    _DAYLIGHT_VECTORS,
):
    _table.flags.writeable = False


def luminous(spectrum) -> float:
    """∫ spectrum·V(λ) dλ over the last axis, (..., 71) to (...): lumens over K_M if the spectrum is in W/nm (CIE
    018:2019).
    """
    return np.asarray(spectrum) @ LUMINOUS_STEPS


def photometric(spectrum) -> float:
    """K_M·∫ spectrum·V(λ) dλ over the last axis (CIE 018:2019; K_M of the SI): lm of W/nm, lx of W/(m²·nm), cd/m² of
    W/(m²·sr·nm), and the same with seconds.
    """
    return K_M * luminous(spectrum)


def scaled_to_luminous_one(spectrum) -> np.ndarray:
    """The spectrum (71,) divided by its luminous sum."""
    return np.asarray(spectrum, dtype=float) / luminous(spectrum)


def planck_radiance(temperature_k: float, wavelength_nm=WAVELENGTHS_NM) -> np.ndarray:
    """Planck's law: spectral radiance of a black body in W/(m²·sr·nm) at wavelengths in nm,
    temperature in K (above 0).
    """
    if not temperature_k > 0.0:
        raise ValueError(f"a temperature of {temperature_k:g} K gives no light; temperatures are above 0 K.")
    wavelength = np.asarray(wavelength_nm, dtype=float) * 1e-9
    exponent = SECOND_RADIATION_CONSTANT / (wavelength * temperature_k)
    return 1e-9 * 2.0 * PLANCK_CONSTANT * SPEED_OF_LIGHT**2 / wavelength**5 / np.expm1(exponent)


def equal_energy() -> np.ndarray:
    """The same power at every wavelength (CIE illuminant E), (71,)."""
    return scaled_to_luminous_one(np.ones(N_WAVELENGTHS))


def black_body(temperature_k: float) -> np.ndarray:
    """A black body at a temperature in K, (71,), by Planck's law."""
    return scaled_to_luminous_one(planck_radiance(temperature_k))


def tungsten(temperature_k: float) -> np.ndarray:
    """An incandescent filament of a colour temperature up to 4000 K, (71,): close to a black body.

    Tungsten melts at 3695 K (CRC Handbook of Chemistry and Physics), where its colour temperature is some 100 K higher.
    """
    if temperature_k > BLACK_BODY_UP_TO_K:
        raise ValueError(
            f"no filament gives {temperature_k:g} K: tungsten goes up to {BLACK_BODY_UP_TO_K:g} K; bluer light is a"
            " flash (daylight), an LED, or tungsten behind a blue filter."
        )
    return black_body(temperature_k)


def daylight_xy(temperature_k: float) -> tuple[float, float]:
    """Chromaticity (x, y) of CIE daylight at a correlated colour temperature (CIE 015:2018, the two cubics in 1/T).

    ValueError outside the 4000 to 25 000 K for which the CIE states them.
    """
    if not DAYLIGHT_DEFINED_FROM_K <= temperature_k <= DAYLIGHT_DEFINED_TO_K:
        raise ValueError(f"daylight is defined up to {DAYLIGHT_DEFINED_TO_K:g} K, not at {temperature_k:g} K.")
    inverse = 1e3 / temperature_k
    if temperature_k <= 7000.0:
        x = 0.244063 + inverse * (0.09911 + inverse * (2.9678 - 4.6070 * inverse))
    else:
        x = 0.237040 + inverse * (0.24748 + inverse * (1.9018 - 2.0064 * inverse))
    return x, x * (2.870 - 3.000 * x) - 0.275


def cie_daylight(temperature_k: float) -> np.ndarray:
    """CIE daylight of a correlated colour temperature of 4000 to 25 000 K, (71,): S0 + M1·S1 + M2·S2 (CIE 015:2018).

    M is not rounded, so that the spectrum is continuous in the temperature. D65 is daylight at 6504 K.
    """
    x, y = daylight_xy(temperature_k)
    divisor = 0.0241 + 0.2562 * x - 0.7341 * y
    first = (-1.3515 - 1.7703 * x + 5.9114 * y) / divisor
    second = (0.0300 - 31.4424 * x + 30.0717 * y) / divisor
    return scaled_to_luminous_one(_DAYLIGHT_VECTORS @ np.array([1.0, first, second]))


def white_light(temperature_k: float) -> np.ndarray:
    """The light that a colour temperature up to 25 000 K stands for, (71,): what a camera set to it takes for white.

    A black body up to 4000 K, CIE daylight from 5000 K; between the two a straight mixture at equal luminance, as CIE
    224:2017 and ANSI/IES TM-30-20 mix their reference illuminants, so that no step shows when the temperature is
    turned.
    """
    share = (temperature_k - BLACK_BODY_UP_TO_K) / (DAYLIGHT_FROM_K - BLACK_BODY_UP_TO_K)
    if share <= 0.0:
        return black_body(temperature_k)
    if share >= 1.0:
        return cie_daylight(temperature_k)
    return share * cie_daylight(temperature_k) + (1.0 - share) * black_body(temperature_k)


def white_xy(temperature_k: float) -> np.ndarray:
    """The chromaticity of `white_light` of a temperature in K, (2,)."""
    return _chromaticity(white_light(temperature_k))


def bell(centre_nm: float, width_nm: float) -> np.ndarray:
    """A Gaussian band of height 1 by its full width at half of that, nm; (71,)."""
    return np.exp2(-((2.0 * (WAVELENGTHS_NM - centre_nm) / width_nm) ** 2))


def _chromaticity(spectrum: np.ndarray) -> np.ndarray:
    totals = spectrum @ OBSERVER_STEPS
    return totals[:2] / totals.sum()


def mixed_to_chromaticity(emitters, xy) -> np.ndarray:
    """Three emitters (3, 71) in the amounts that give the chromaticity xy; (71,).

    Additive mixture: three linear equations. ValueError if the wanted colour lies outside the emitters' triangle.
    """
    emitters = np.asarray(emitters, dtype=float)
    x, y = xy
    wanted = np.array([x / y, 1.0, (1.0 - x - y) / y])
    amounts = np.linalg.solve((emitters @ OBSERVER_STEPS).T, wanted)
    if amounts.min() < -1e-12 * np.abs(amounts).max():
        corners = "; ".join("({:.3f}, {:.3f})".format(*_chromaticity(emitter)) for emitter in emitters)
        raise ValueError(
            f"chromaticity ({x:.4f}, {y:.4f}) lies outside what the emitters {corners} can mix; bring it inside their"
            " triangle."
        )
    return np.maximum(amounts, 0.0) @ emitters


# Peak and full width at half maximum, nm. Our own round figures for common parts, not a measured lamp: a blue chip with
# a yellow-green and a red phosphor.
PHOSPHOR_LED_BANDS = ((450.0, 22.0), (545.0, 115.0), (625.0, 95.0))


@lru_cache(maxsize=64)
def _led(temperature_k: float) -> np.ndarray:
    emitters = [bell(*band) for band in PHOSPHOR_LED_BANDS]
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


def source_spectrum(kind: str, temperature_k: float | None = None) -> np.ndarray:
    """The source of a scene file by its kind, (71,), luminous sum 1.

    "tungsten", "daylight" (a flash) and "led" of T kelvin look neutral to a camera set to T; "equal_energy" has no
    temperature. Without one, `USUAL_TEMPERATURE_K`.
    """
    if kind == "equal_energy":
        return equal_energy()
    makers = {"tungsten": tungsten, "daylight": white_light, "led": led}
    if kind not in makers:
        raise ValueError(f"no light source is called {kind!r}; known are: {', '.join([*makers, 'equal_energy'])}.")
    return makers[kind](USUAL_TEMPERATURE_K[kind] if temperature_k is None else temperature_k)
