"""Blurred pictures against scipy's plain convolution: texels differ by the last of their 16 bits at most."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import convolve2d

from projector.tracing.convolution import Spectrum, convolve_directly, quantise
from projector.tracing.vectors import STRIP


def blurred_by_scipy(picture, weights):
    return np.clip(np.round(convolve2d(picture.astype(float), weights) * 65535.0), 0, 65535)


@pytest.mark.parametrize("shape", [(3, 3), (40, STRIP - 4), (41, STRIP - 3), (17, 3 * STRIP + 5), (90, 31)])
@pytest.mark.parametrize("size", [1, 3, 5, 11])
def test_both_ways_are_those_of_scipy(shape, size):
    """Kernels that no turn or mirror leaves as they are, with holes; sums of 121 float32 products are off by under half a texel's step, so rounding may differ by one."""
    random = np.random.default_rng(size)
    picture = random.random(shape).astype(np.float32)
    weights = random.random((size, size)) * (random.random((size, size)) < 0.7)
    weights[0, -1] = 1.0
    weights /= weights.sum()
    wanted = blurred_by_scipy(picture, weights)
    for blur in (convolve_directly, lambda picture, weights, out: Spectrum(picture, size).convolve(weights, out)):
        out = np.full(wanted.shape, 12345, np.uint16)
        blur(picture, weights, out)
        assert np.abs(out.astype(float) - wanted).max() <= 1
        assert (out == wanted).mean() > 0.95


def test_texels_end_at_black_and_at_full():
    out = np.empty((1, 5), np.uint16)
    quantise(np.array([[-0.1, 0.0, 0.5, 1.0, 1.2]], np.float32), out)
    assert out.tolist() == [[0, 0, 32768, 65535, 65535]]
