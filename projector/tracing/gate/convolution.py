"""Pictures blurred with small pictures, written as the 16-bit texels that look-ups read.

Small kernels are summed tap by tap, a strip of neighbours at once; so are larger ones that are mostly flat, at their
rims only, from the picture's running sums; what is neither goes through a real Fourier transform (scipy). All take a
picture (h, w) and a kernel (k, k) and fill all of (h + k − 1, w + k − 1).
"""

from __future__ import annotations

import numpy as np

from projector.jit import kernel
from projector.tracing.rays.vectors import STRIP, address_of, sum_taps

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
    """out[y, x] = Σ weights · padded at (y, x) + offsets (bytes), as texels; sums (w rounded up to STRIP,) float32 is
    room for one row.
    """
    height, width = out.shape
    places, row_bytes = address_of(padded), 4 * padded.shape[1]
    for y in range(height):
        for x in range(0, width, STRIP):
            sum_taps(
                places + y * row_bytes + 4 * x,
                address_of(offsets),
                address_of(weights),
                weights.shape[0],
                address_of(sums) + 4 * x,
            )
        _quantise_row(sums, out, y)


def _convolve_sparse(padded: np.ndarray, above: int, before: int, weights: np.ndarray, out: np.ndarray) -> None:
    """Sum over what is not zero of weights; padded holds the picture `above` rows down and `before` columns in, zeros
    round it.
    """
    # Column by column, so that where running sums are to cancel they do so at once and not after all have been added
    # up.
    columns, rows = np.nonzero(weights.T)
    # Convolution reads the picture against the kernel's order: tap (i, j) from i rows up and j columns back.
    offsets = 4 * ((above - rows) * padded.shape[1] + before - columns)
    sums = np.empty(_in_strips(out.shape[1]), np.float32)
    _convolve_taps(padded, offsets, weights[rows, columns].astype(np.float32), sums, out)


def _in_strips(width: int) -> int:
    return -(-width // STRIP) * STRIP


def convolve_directly(picture: np.ndarray, weights: np.ndarray, out: np.ndarray) -> None:
    """Full convolution of picture (h, w) float32 with weights (k, k), tap by tap, into out (h + k − 1, w + k − 1)
    uint16.
    """
    margin = weights.shape[0] - 1
    padded = np.zeros((out.shape[0] + margin, _in_strips(out.shape[1]) + margin), np.float32)
    padded[margin : margin + picture.shape[0], margin : margin + picture.shape[1]] = picture
    _convolve_sparse(padded, margin, margin, weights, out)


def rims(weights: np.ndarray) -> np.ndarray:
    """Where a kernel (k, k) changes from row to row, (k + 1, k): few of them are not zero where it is flat inside."""
    return np.diff(weights, axis=0, prepend=0.0, append=0.0)


@kernel
def _sum_down(picture, padded, above, before):
    """Write the sums of all rows so far: padded row `above` + y holds Σ picture[0 … y], those after the last one its
    sums.
    """
    height, width = picture.shape
    for y in range(padded.shape[0] - above):
        for x in range(width):
            so_far = padded[above + y - 1, before + x]
            padded[above + y, before + x] = so_far + picture[y, x] if y < height else so_far


class RunningSums:
    """A picture's sums down its columns, ready for kernels of up to `widest` pixels that are flat inside.

    Sums of a thousand float32 rows are off by 1e-4 at most, alike for near rows: their differences by less than a
    texel's step.
    """

    def __init__(self, picture: np.ndarray, widest: int):
        height, width = picture.shape
        self.widest = widest
        self._padded = np.zeros((height + 2 * widest, _in_strips(width + widest - 1) + widest), np.float32)
        _sum_down(picture, self._padded, widest, widest)

    @property
    def n_bytes(self) -> int:
        """Memory that it takes."""
        return self._padded.nbytes

    def convolve(self, weights: np.ndarray, out: np.ndarray) -> None:
        """Full convolution with weights (k, k), k up to `widest`, into out uint16."""
        _convolve_sparse(self._padded, self.widest, self.widest, rims(weights), out)


class Spectrum:
    """A picture's Fourier transform with room for kernels of up to `widest` pixels."""

    def __init__(self, picture: np.ndarray, widest: int):
        from scipy import fft

        self._shape = tuple(fft.next_fast_len(side + widest - 1, real=True) for side in picture.shape)
        self.widest = widest
        self._values = fft.rfft2(picture, self._shape)

    @property
    def n_bytes(self) -> int:
        """Memory that it takes."""
        return self._values.nbytes

    def convolve(self, weights: np.ndarray, out: np.ndarray) -> None:
        """Full convolution with weights (k, k), k up to `widest`, into out uint16."""
        from scipy import fft

        # The kernel fills few rows: transforming along them first leaves most of the first pass undone.
        product = fft.fft(
            fft.rfft(weights.astype(np.float32), self._shape[1], axis=1), self._shape[0], axis=0, overwrite_x=True
        )
        product *= self._values
        quantise(fft.irfft2(product, self._shape, overwrite_x=True), out)
