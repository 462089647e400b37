"""Pictures blurred with small pictures, written as the 16-bit texels that look-ups read.

Small kernels are summed tap by tap, row by row, which the compiler turns into vector code; large ones go through a real
Fourier transform (scipy). Both take a picture (h, w) and a kernel (k, k) and fill all of (h + k − 1, w + k − 1).
"""

from __future__ import annotations

import numpy as np

from projector.jit import kernel, summing_kernel

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


@summing_kernel
def convolve_taps(padded, rows, columns, weights, total, out):
    """out[y, x] = Σ weights · padded[y + rows, x + columns], as texels; total (w,) float32 is room for one row.

    The number of taps is a multiple of four: four at a time halve the traffic with the row of sums.
    """
    width = out.shape[1]
    for y in range(out.shape[0]):
        for x in range(width):
            total[x] = 0.0
        for tap in range(0, weights.shape[0], 4):
            a, b, c, d = weights[tap], weights[tap + 1], weights[tap + 2], weights[tap + 3]
            # Slices from each tap's column on: indices that cannot be negative let the compiler use vectors.
            p = padded[y + rows[tap], columns[tap] :]
            q = padded[y + rows[tap + 1], columns[tap + 1] :]
            r = padded[y + rows[tap + 2], columns[tap + 2] :]
            s = padded[y + rows[tap + 3], columns[tap + 3] :]
            for x in range(width):
                total[x] += (a * p[x] + b * q[x]) + (c * r[x] + d * s[x])
        _quantise_row(total, out, y)


def convolve_directly(picture: np.ndarray, weights: np.ndarray, out: np.ndarray) -> None:
    """Full convolution of picture (h, w) float32 with weights (k, k), tap by tap, into out (h + k − 1, w + k − 1) uint16."""
    size = weights.shape[0]
    padded = np.pad(picture, size - 1)
    rows, columns = np.nonzero(weights)
    spare = -rows.size % 4
    rows, columns = np.pad(rows, (0, spare)), np.pad(columns, (0, spare))
    taps = weights[rows, columns].astype(np.float32)
    taps[taps.size - spare :] = 0.0
    # Convolution reads the picture against the kernel's order: tap (i, j) sits (k − 1 − i, k − 1 − j) further on.
    convolve_taps(padded, size - 1 - rows, size - 1 - columns, taps, np.empty(out.shape[1], np.float32), out)


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
