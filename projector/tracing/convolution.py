"""Pictures blurred with small pictures, written as the 16-bit texels that look-ups read.

Small kernels are summed tap by tap, a strip of neighbours at once; large ones go through a real Fourier transform (scipy).
Both take a picture (h, w) and a kernel (k, k) and fill all of (h + k − 1, w + k − 1).
"""

from __future__ import annotations

import numpy as np

from projector.jit import kernel
from projector.tracing.vectors import STRIP, address_of, sum_taps

FULL = 65535.0


@kernel
def _quantise_row(values, out, row):
    """One row of floats 0..1 to texels."""
    for column in range(out.shape[1]):
        scaled = values[column] * np.float32(FULL) + np.float32(0.5)
        out[row, column] = np.uint16(min(max(scaled, np.float32(0.0)), np.float32(FULL)))


@kernel
def quantise(values, out):
    """Floats (h, w) 0..1 to texels out (h, w) uint16."""
    for row in range(out.shape[0]):
        _quantise_row(values[row], out, row)


@kernel
def _convolve_taps(padded, offsets, weights, sums, out):
    """out[y, x] = Σ weights · padded at (y, x) + offsets (bytes), as texels; sums (w rounded up to STRIP,) float32 is room for one row."""
    height, width = out.shape
    places, row_bytes = address_of(padded), 4 * padded.shape[1]
    for y in range(height):
        for x in range(0, width, STRIP):
            sum_taps(places + y * row_bytes + 4 * x, address_of(offsets), address_of(weights), weights.shape[0], address_of(sums) + 4 * x)
        _quantise_row(sums, out, y)


def convolve_directly(picture: np.ndarray, weights: np.ndarray, out: np.ndarray) -> None:
    """Full convolution of picture (h, w) float32 with weights (k, k), tap by tap, into out (h + k − 1, w + k − 1) uint16."""
    margin = weights.shape[0] - 1
    width = -(-out.shape[1] // STRIP) * STRIP
    padded = np.zeros((out.shape[0] + margin, width + margin), np.float32)
    padded[margin : margin + picture.shape[0], margin : margin + picture.shape[1]] = picture
    rows, columns = np.nonzero(weights)
    # Convolution reads the picture against the kernel's order: tap (i, j) sits (k − 1 − i, k − 1 − j) further on.
    offsets = 4 * ((margin - rows) * padded.shape[1] + margin - columns)
    _convolve_taps(padded, offsets, weights[rows, columns].astype(np.float32), np.empty(width, np.float32), out)


class Spectrum:
    """A picture's Fourier transform with room for kernels of up to `widest` pixels."""

    def __init__(self, picture: np.ndarray, widest: int):
        from scipy import fft

        self._shape = tuple(fft.next_fast_len(side + widest - 1, real=True) for side in picture.shape)
        self.widest = widest
        self._values = fft.rfft2(picture, self._shape)

    def convolve(self, weights: np.ndarray, out: np.ndarray) -> None:
        """Full convolution with weights (k, k), k up to `widest`, into out uint16."""
        from scipy import fft

        # The kernel fills few rows: transforming along them first leaves most of the first pass undone.
        product = fft.fft(fft.rfft(weights.astype(np.float32), self._shape[1], axis=1), self._shape[0], axis=0, overwrite_x=True)
        product *= self._values
        quantise(fft.irfft2(product, self._shape, overwrite_x=True), out)
