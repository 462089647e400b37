"""What a photograph of a projected edge shows if the lens is this one: the rise of every channel, and how it changes.

The rise of a blurred edge is found by its spectrum: discs, a Gaussian, the camera's pixel and the profile's bin are
products there (any text on linear systems; the disc's is 2·J₁(x)/x). Each channel sees the discs of its part of the
light.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from projector.studies.lenses.slanted_edge import BINS_PER_PIXEL, EdgeReading

_TABLE_STEP, _TABLE_END = 0.02, 2000.0


class Rise(NamedTuple):
    """Profiles (n, 3), and their derivatives by each parameter of the discs (p, n, 3), by the blur's square, the place
    and the lateral colour (n, 3 each; the last None where all wavelengths lie in one place)."""

    profiles: np.ndarray
    by_discs: np.ndarray
    by_blur_squared: np.ndarray
    by_place: np.ndarray
    by_lateral: np.ndarray | None


@lru_cache(maxsize=1)
def _disc_table() -> tuple[np.ndarray, np.ndarray]:
    """2·J₁(x)/x and its derivative −2·J₂(x)/x on a grid fine enough for straight interpolation: off by 1e-5 at most."""
    from scipy.special import j1, jv

    x = np.arange(_TABLE_STEP, _TABLE_END + _TABLE_STEP, _TABLE_STEP)
    values, slopes = np.append(1.0, 2.0 * j1(x) / x), np.append(0.0, -2.0 * jv(2, x) / x)
    # Beyond its end the spectrum is under 2e-5: it ends at zero.
    values[-1] = slopes[-1] = 0.0
    return values, slopes


def _disc_spectrum(x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Spectrum of a uniform disc and its derivative at x = π · frequency · diameter."""
    values, slopes = _disc_table()
    place = np.minimum(x * (1.0 / _TABLE_STEP), values.size - 1.001)
    below = place.astype(np.int32)
    share = place - below
    first, first_slope = values[below], slopes[below]
    return first + share * (values[below + 1] - first), first_slope + share * (slopes[below + 1] - first_slope)


class EdgeSpectrum:
    """The model of one photograph's edge, on the positions of its reading."""

    def __init__(self, reading: EdgeReading):
        self._kept = len(reading.positions_mm)
        # Half the length again on either side, so that the edge that the transform repeats stays out of sight.
        self._n = 1 << math.ceil(math.log2(2 * self._kept))
        self._step = 1e-3 * reading.bin_mm
        frequencies = np.fft.rfftfreq(self._n, self._step)
        pixel = 1e-3 * reading.pixel_mm
        # Pixel and bin are crossed at a slant small enough to count as square.
        self._apertures = np.sinc(frequencies * pixel) * np.sinc(frequencies * pixel / BINS_PER_PIXEL)
        self._frequencies = frequencies
        # The line spread starts at minus half the period; the readings lie between its steps.
        places = 1e-3 * float(reading.positions_mm[0]) / self._step + self._n // 2
        self._first = math.floor(places)
        self._between = (places - self._first) * self._step

    def rise(
        self, discs, slopes, place: float, blur_squared: float, weights, lateral_shares=None, lateral: float = 0.0
    ) -> Rise:
        """The rise and its derivatives.

        discs (k,): diameter (m) for each wavelength; slopes (p, k): their derivatives by p parameters; place (m) of the
        edge; blur_squared (m²): the camera's variance; weights (3, k): of the wavelengths in each channel, with sum 1;
        lateral_shares (k,): how far each wavelength shifts for a lateral colour of 1, if it does.
        """
        # What the blur leaves under a hundred-thousandth need not be computed.
        highest = int(np.searchsorted(self._frequencies, 0.75 / max(math.sqrt(blur_squared), 0.02 * self._step)))
        used = self._frequencies[: max(highest, 16)]
        spectra, steeper = _disc_spectrum(np.pi * used[:, None] * discs[None, :])
        by_lateral = None
        if lateral_shares is not None:
            turned = np.exp((2j * np.pi * lateral) * used[:, None] * lateral_shares[None, :])
            spectra, steeper = spectra * turned, steeper * turned
            by_lateral = 2j * np.pi * used[:, None] * (spectra @ (weights * lateral_shares).T)
        n_slopes = len(slopes)
        by_discs = (
            np.pi * used[:, None] * (steeper @ (slopes[:, None, :] * weights[None, :, :]).reshape(3 * n_slopes, -1).T)
        )
        light = spectra @ weights.T
        by_blur_squared = -2.0 * np.pi**2 * used[:, None] ** 2 * light
        transfer = self._apertures[: used.size] * np.exp(
            -2.0 * blur_squared * (np.pi * used) ** 2 - 2j * np.pi * used * (place - self._between)
        )
        lines = np.zeros((self._frequencies.size, 6 + 3 * n_slopes + (0 if by_lateral is None else 3)), complex)
        parts = [light, by_discs, by_blur_squared] + ([] if by_lateral is None else [by_lateral])
        lines[: used.size] = np.concatenate(parts, axis=1) * transfer[:, None]
        spread = np.fft.fftshift(np.fft.irfft(lines, self._n, axis=0), axes=0)
        # The running sum of a spread is its rise; a step counts half before its middle and half after.
        rise = (np.cumsum(spread, axis=0) - 0.5 * spread)[self._first : self._first + self._kept]
        found = [rise[:, start : start + 3] for start in range(0, rise.shape[1], 3)]
        by_place = -spread[self._first : self._first + self._kept, :3] / self._step
        return Rise(
            found[0],
            np.stack(found[1 : 1 + n_slopes]),
            found[1 + n_slopes],
            by_place,
            None if by_lateral is None else found[-1],
        )
