"""Colour: XYZ, white points and adaptation, linear and encoded sRGB, CIE Lab, and reflectances from a colour.

Arrays of colours carry their three components on the last axis. XYZ of reflecting things has Y = 1 for a perfect white.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from projector.jit import formula
from projector.photometry.spectra import N_WAVELENGTHS, OBSERVER_STEPS, WAVELENGTHS_NM, black_body, white_light

# IEC 61966-2-1:1999. The inverse is taken from these four digits, as the standard's own inverse is.
XYZ_FROM_LINEAR_SRGB = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
LINEAR_SRGB_FROM_XYZ = np.linalg.inv(XYZ_FROM_LINEAR_SRGB)
# XYZ of sRGB's white, so that (1, 1, 1) maps to it exactly; D65 to the standard's four digits.
SRGB_WHITE_XYZ = XYZ_FROM_LINEAR_SRGB.sum(axis=1)
SRGB_LUMINANCE = XYZ_FROM_LINEAR_SRGB[1]
D65_TEMPERATURE_K = 6504.0

# Cone-like responses of the Bradford transform (K. M. Lam 1985, as in CIE 160:2004 and the ICC profile specification).
BRADFORD_FROM_XYZ = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])

for _table in (XYZ_FROM_LINEAR_SRGB, LINEAR_SRGB_FROM_XYZ, SRGB_WHITE_XYZ, BRADFORD_FROM_XYZ):
    _table.flags.writeable = False


def xyz_from_spectrum(spectrum) -> np.ndarray:
    """∫ spectrum·(x̄, ȳ, z̄) dλ over the last axis, (..., 71) per nm to (..., 3) (CIE 015:2018)."""
    return np.asarray(spectrum, dtype=float) @ OBSERVER_STEPS


def xyz_from_reflectance(reflectance, light) -> np.ndarray:
    """XYZ of a reflectance (..., 71) under a light (71,), Y = 1 for reflectance 1."""
    totals = xyz_from_spectrum(np.asarray(reflectance) * light)
    return totals / xyz_from_spectrum(light)[1]


def xy_from_xyz(xyz) -> np.ndarray:
    """Chromaticity (x, y) of XYZ, last axis 3 to 2: X and Y over their sum with Z (CIE 015:2018)."""
    xyz = np.asarray(xyz, dtype=float)
    return xyz[..., :2] / xyz.sum(axis=-1, keepdims=True)


def xyz_from_xy(xy) -> np.ndarray:
    """XYZ with Y = 1 of a chromaticity, last axis 2 to 3."""
    x, y = np.moveaxis(np.asarray(xy, dtype=float), -1, 0)
    return np.stack([x / y, np.ones_like(x), (1.0 - x - y) / y], axis=-1)


def planck_xy(temperature_k: float) -> np.ndarray:
    """Chromaticity (2,) of a black body at a temperature in K."""
    return xy_from_xyz(xyz_from_spectrum(black_body(temperature_k)))


def white_balance_xyz(temperature_k: float) -> np.ndarray:
    """XYZ (3,), Y = 1, of the light that a camera set to a temperature (K) takes for white: that of
    `spectra.white_light`, as for lamps.
    """
    return xyz_from_spectrum(white_light(temperature_k))


def correlated_colour_temperature(xy) -> np.ndarray:
    """Correlated colour temperature in K of a chromaticity near the black body (last axis 2).

    C. S. McCamy, Color Research & Application 17, 142 (1992): within some 2 K between 2856 and 6504 K.
    """
    x, y = np.moveaxis(np.asarray(xy, dtype=float), -1, 0)
    n = (x - 0.3320) / (y - 0.1858)
    return ((-449.0 * n + 3525.0) * n - 6823.3) * n + 5520.33


def bradford(white_from, white_to) -> np.ndarray:
    """The (3, 3) matrix that takes XYZ seen under one white to XYZ seen under another (Bradford, CIE 160:2004); it maps
    white_from (3,) to white_to (3,).
    """
    gains = (BRADFORD_FROM_XYZ @ np.asarray(white_to)) / (BRADFORD_FROM_XYZ @ np.asarray(white_from))
    return np.linalg.solve(BRADFORD_FROM_XYZ, gains[:, None] * BRADFORD_FROM_XYZ)


def linear_srgb_under_white(white_xyz) -> np.ndarray:
    """(3, 3): XYZ to linear sRGB for a camera balanced to that white (3,), which lands at (Y, Y, Y)."""
    white_xyz = np.asarray(white_xyz, dtype=float)
    return LINEAR_SRGB_FROM_XYZ @ bradford(white_xyz, SRGB_WHITE_XYZ * white_xyz[1])


def linear_srgb_from_xyz(xyz) -> np.ndarray:
    """Linear sRGB of XYZ under D65 (IEC 61966-2-1), last axis 3. May be negative or over 1."""
    return np.asarray(xyz) @ LINEAR_SRGB_FROM_XYZ.T


def encode_srgb(linear) -> np.ndarray:
    """Linear component to encoded component, any shape (IEC 61966-2-1). Nothing is clipped; negatives run straight."""
    linear = np.asarray(linear, dtype=float)
    curved = 1.055 * np.maximum(linear, 0.0) ** (1.0 / 2.4) - 0.055
    return np.where(linear <= 0.0031308, 12.92 * linear, curved)


def decode_srgb(encoded) -> np.ndarray:
    """Encoded component to linear component, any shape (IEC 61966-2-1, breakpoint 0.04045)."""
    encoded = np.asarray(encoded, dtype=float)
    curved = (np.maximum(encoded + 0.055, 0.0) / 1.055) ** 2.4
    return np.where(encoded <= 0.04045, encoded / 12.92, curved)


@formula
def encode_srgb_component(linear):
    """`encode_srgb` of one number, for kernels."""
    if linear <= 0.0031308:
        return 12.92 * linear
    return 1.055 * linear ** (1.0 / 2.4) - 0.055


def desaturate_out_of_gamut(rgb) -> np.ndarray:
    """Linear sRGB (..., 3) without negative components: moved towards grey at constant luminance, no further than
    needed.

    Colours within the gamut pass untouched; values over 1 are left for the tone step. A luminance of zero or less is
    black.
    """
    rgb = np.asarray(rgb, dtype=float)
    grey = np.maximum(rgb @ SRGB_LUMINANCE, 0.0)[..., None]
    lowest = rgb.min(axis=-1, keepdims=True)
    inside = lowest >= 0.0
    kept = grey / np.where(inside, 1.0, grey - lowest)
    return np.where(inside, rgb, np.maximum(grey + kept * (rgb - grey), 0.0))


def lab_from_xyz(xyz, white_xyz) -> np.ndarray:
    """CIE 1976 L*a*b* (ISO/CIE 11664-4) of XYZ, last axis 3, against the given white (3,)."""
    ratio = np.asarray(xyz, dtype=float) / np.asarray(white_xyz, dtype=float)
    root = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio * (29 / 6) ** 2 / 3 + 4 / 29)
    fx, fy, fz = np.moveaxis(root, -1, 0)
    return np.stack([116.0 * fy - 16.0, 500.0 * (fx - fy), 200.0 * (fy - fz)], axis=-1)


def delta_e(xyz, other_xyz, white_xyz) -> np.ndarray:
    """ΔE*ab of 1976 (ISO/CIE 11664-4) between two XYZ, last axis 3, against one white (3,).

    About 2 is just seen side by side (common practice, no source).
    """
    return np.linalg.norm(lab_from_xyz(xyz, white_xyz) - lab_from_xyz(other_xyz, white_xyz), axis=-1)


def _linear_srgb_of_reflectance() -> np.ndarray:
    """(3, 71): reflectance to linear sRGB under D65, scaled so that reflectance 1 is exactly (1, 1, 1)."""
    light = white_light(D65_TEMPERATURE_K)
    return linear_srgb_under_white(xyz_from_spectrum(light)) @ (OBSERVER_STEPS.T * light)


_LINEAR_SRGB_OF_REFLECTANCE = _linear_srgb_of_reflectance()
_CENTRED = (WAVELENGTHS_NM - 555.0) / 175.0
_POLYNOMIAL = np.stack([_CENTRED**2, _CENTRED, np.ones(N_WAVELENGTHS)], axis=1)


def _sigmoid(value: np.ndarray) -> np.ndarray:
    """½ + v / (2√(1 + v²)): smooth, between 0 and 1."""
    return 0.5 + 0.5 * value / np.sqrt(1.0 + value * value)


def _fitted_coefficients(rgb: np.ndarray, start: np.ndarray) -> np.ndarray:
    """The three coefficients whose sigmoid has that linear sRGB, by Levenberg–Marquardt from a near starting point."""
    from scipy.optimize import least_squares

    def residual(coefficients):
        return _LINEAR_SRGB_OF_REFLECTANCE @ _sigmoid(_POLYNOMIAL @ coefficients) - rgb

    def jacobian(coefficients):
        value = _POLYNOMIAL @ coefficients
        return _LINEAR_SRGB_OF_REFLECTANCE @ ((0.5 * (1.0 + value * value) ** -1.5)[:, None] * _POLYNOMIAL)

    return least_squares(residual, start, jac=jacobian, method="lm", xtol=1e-12, ftol=1e-12, max_nfev=400).x


@lru_cache(maxsize=256)
def _reflectance(red: float, green: float, blue: float) -> np.ndarray:
    rgb = np.array([red, green, blue])
    if red == green == blue:
        reflectance = np.full(N_WAVELENGTHS, red)
    else:
        # From grey to the wanted colour in steps: each fit starts next to its answer, even for the gamut's corners.
        grey = np.clip(rgb @ SRGB_LUMINANCE, 1e-4, 1.0 - 1e-4)
        centred = 2.0 * grey - 1.0
        coefficients = np.array([0.0, 0.0, centred / np.sqrt(1.0 - centred * centred)])
        for share in (0.25, 0.5, 0.75, 0.9, 1.0):
            coefficients = _fitted_coefficients(grey + share * (rgb - grey), coefficients)
        reflectance = _sigmoid(_POLYNOMIAL @ coefficients)
    reflectance.flags.writeable = False
    return reflectance


def reflectance_from_linear_srgb(rgb) -> np.ndarray:
    """A smooth reflectance spectrum (71,), 0..1, that has this linear sRGB colour (3 numbers 0..1) under D65.

    Greys are exactly flat. Others are a sigmoid of a quadratic in wavelength (W. Jakob and J. Hanika, Computer Graphics
    Forum 38, 147 (2019)); the colour comes back within 1e-4. The array is kept for the next call and is read-only.
    """
    red, green, blue = (float(component) for component in rgb)
    if not all(0.0 <= component <= 1.0 for component in (red, green, blue)):
        raise ValueError(
            f"a reflectance colour ({red:g}, {green:g}, {blue:g}) has a component outside 0 to 1; nothing reflects more"
            " than it receives."
        )
    return _reflectance(red, green, blue)
