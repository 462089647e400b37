"""LED lamps that are set to a colour: red, green and blue emitters, with a white and an amber one where they have them.

A colour is set by its chromaticity, or by hue and saturation; the light follows as a mixture of the lamp's emitters.
Where white is among them it gives as much as the colour allows, and the two emitters on either side of the colour the
rest, which is how such lamps get the most light and the fullest spectrum. Which emitters a maker uses, and what his
dial calls a hue, differs: where a colour matters, measure its x and y.
"""

from __future__ import annotations

import colorsys
import contextlib
from functools import lru_cache

import numpy as np

from projector.photometry.colour import xy_from_xyz, xyz_from_spectrum
from projector.photometry.spectra import (
    USUAL_TEMPERATURE_K,
    WAVELENGTHS_NM,
    led,
    mixed_to_chromaticity,
    scaled_to_luminous_one,
    white_xy,
)

# Peak and half width, nm: round figures of our own for common parts, not a measured lamp.
_EMITTERS = {"red": (630.0, 20.0), "amber": (592.0, 17.0), "green": (525.0, 34.0), "blue": (460.0, 24.0)}
# The emitters of a kind of lamp in the order of their colours round the white; and whether it has a white one.
_LAMPS = {
    "rgb": (("red", "green", "blue"), False),
    "rgbw": (("red", "green", "blue"), True),
    "rgbaw": (("red", "amber", "green", "blue"), True),
}
LAMPS = tuple(_LAMPS)
USUAL_LAMP = "rgbw"
# How far inside of the last colour that can be mixed a suggestion lies, of its way to the white.
_INSIDE = 0.002


class OutOfReach(ValueError):
    """A colour that a lamp cannot be set to. nearest: the chromaticity (x, y) that comes nearest to it and can be."""

    def __init__(self, words: str, nearest: tuple[float, float]):
        super().__init__(words)
        self.nearest = nearest


def emitter(peak_nm: float, half_width_nm: float) -> np.ndarray:
    """The spectrum (71,) of one LED chip, peak 1: (g + 2g⁵)/3 of g = exp(−((λ − λ₀)/Δλ)²) (Y. Ohno, Spectral design
    considerations for white LED color rendering, Optical Engineering 44, 111302 (2005)).
    """
    g = np.exp(-(((WAVELENGTHS_NM - peak_nm) / half_width_nm) ** 2))
    return (g + 2.0 * g**5) / 3.0


@lru_cache(maxsize=8)
def _rim(lamp: str) -> np.ndarray:
    """Spectra (n, 71) of a lamp's coloured emitters, round the white."""
    return np.array([emitter(*_EMITTERS[name]) for name in _LAMPS[lamp][0]])


def reach(lamp: str) -> np.ndarray:
    """Corners (n, 2), x and y, of what a lamp can mix."""
    return xy_from_xyz(xyz_from_spectrum(_rim(lamp)))


def _temperature(white_k: float | None) -> float:
    return USUAL_TEMPERATURE_K["led"] if white_k is None else white_k


def set_to_xy(xy, lamp: str = USUAL_LAMP, white_k: float | None = None) -> np.ndarray:
    """A lamp set to a chromaticity (x, y): its spectrum (71,), luminous sum 1.

    lamp: "rgb", "rgbw" or "rgbaw"; white_k: temperature of its white emitter, K (5600 if not given). `OutOfReach`
    outside of what its emitters mix.
    """
    rim = _rim(lamp)
    fans = [rim]
    if _LAMPS[lamp][1]:
        white = led(_temperature(white_k))
        fans = [np.array([white, one, other]) for one, other in zip(rim, np.roll(rim, -1, axis=0), strict=True)]
    # No light has y = 0.
    for emitters in fans if xy[1] > 0.0 else ():
        with contextlib.suppress(ValueError):
            return scaled_to_luminous_one(mixed_to_chromaticity(emitters, xy))
    corners = ", ".join(f"{name} ({x:.3f}, {y:.3f})" for name, (x, y) in zip(_LAMPS[lamp][0], reach(lamp), strict=True))
    raise OutOfReach(
        f"({xy[0]:g}, {xy[1]:g}) lies outside of what this lamp mixes, between {corners}", nearest_in_reach(xy, lamp)
    )


def xy_of_hue(hue_deg: float, saturation: float, white_k: float | None = None) -> np.ndarray:
    """Chromaticity (2,) of a hue, degrees, and a saturation, 0 to 1, on a dial of red 0, green 120 and blue 240.

    The dial sets the three emitters as the hexcone does (A. R. Smith, Color gamut transform pairs, SIGGRAPH 1978),
    linearly in light, all three alike at saturation 0 giving the white of white_k (K; 5600 if not given).
    """
    drive = np.array(colorsys.hsv_to_rgb(hue_deg % 360.0 / 360.0, saturation, 1.0))
    primaries = xyz_from_spectrum(_rim("rgb"))
    x, y = white_xy(_temperature(white_k))
    alike = np.linalg.solve(primaries.T, np.array([x / y, 1.0, (1.0 - x - y) / y]))
    return xy_from_xyz((drive * alike) @ primaries)


def nearest_in_reach(xy, lamp: str = USUAL_LAMP) -> tuple[float, float]:
    """The chromaticity that looks nearest to a wanted one among those that a lamp can be set to, to four decimals.

    Nearest in the CIE 1976 (u′, v′) diagram (ISO/CIE 11664-5), where distances are about what is seen.
    """
    corners, point = _seen(reach(lamp)), _seen(xy)
    ways = np.roll(corners, -1, axis=0) - corners
    shares = np.clip(((point - corners) * ways).sum(axis=1) / (ways**2).sum(axis=1), 0.0, 1.0)
    on_edge = corners + shares[:, None] * ways
    best = on_edge[np.argmin(((on_edge - point) ** 2).sum(axis=1))]
    u, v = best + _INSIDE * (corners.mean(axis=0) - best)
    divisor = 6.0 * u - 16.0 * v + 12.0
    return round(float(9.0 * u / divisor), 4), round(float(4.0 * v / divisor), 4)


def _seen(xy) -> np.ndarray:
    """CIE 1976 (u′, v′) of (x, y), last axis 2 (ISO/CIE 11664-5)."""
    x, y = np.moveaxis(np.asarray(xy, dtype=float), -1, 0)
    divisor = -2.0 * x + 12.0 * y + 3.0
    return np.stack([4.0 * x / divisor, 9.0 * y / divisor], axis=-1)
