"""Blurred pictures against scipy's plain convolution: texels differ by the last of their 16 bits at most."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import convolve2d

from projector.tracing.gate.convolution import RunningSums, Spectrum, convolve_directly, quantise, rims
from projector.tracing.rays.vectors import STRIP
from projector.tracing.sight.outline import coverage_image, make_outline


def blurred_by_scipy(picture, weights):
    return np.clip(np.round(convolve2d(picture.astype(float), weights) * 65535.0), 0, 65535)


@pytest.mark.parametrize("shape", [(3, 3), (40, STRIP - 4), (41, STRIP - 3), (17, 3 * STRIP + 5), (90, 31)])
@pytest.mark.parametrize("size", [1, 3, 5, 11])
def test_all_ways_are_those_of_scipy(shape, size):
    """Kernels that no turn or mirror leaves as they are, with holes; sums of 121 float32 products are off by under half
    a texel's step, so rounding may differ by one.
    """
    random = np.random.default_rng(size)
    picture = random.random(shape).astype(np.float32)
    weights = random.random((size, size)) * (random.random((size, size)) < 0.7)
    weights[0, -1] = 1.0
    weights /= weights.sum()
    wanted = blurred_by_scipy(picture, weights)
    by_sums, by_transform = (
        lambda picture, weights, out, way=way: way(picture, size).convolve(weights, out)
        for way in (RunningSums, Spectrum)
    )
    for blur in (convolve_directly, by_sums, by_transform):
        out = np.full(wanted.shape, 12345, np.uint16)
        blur(picture, weights, out)
        assert np.abs(out.astype(float) - wanted).max() <= 1
        assert (out == wanted).mean() > 0.95


@pytest.mark.parametrize("diameter", [7.5, 12.0, 31.0])
def test_running_sums_of_two_thousand_rows_keep_texels_right(diameter):
    """Where their rounding is largest: a tall picture, nearly all open.

    Black stays black, open stays open, the rest is off by two steps of 65535.
    """
    random = np.random.default_rng(5)
    picture = random.uniform(0.9, 1.0, (2048, 60)).astype(np.float32)
    picture[:, 40:] = 1.0
    picture[1500:1900] = 0.0
    weights = coverage_image(make_outline("disc"), diameter)
    wanted = blurred_by_scipy(picture, weights)
    out = np.empty(wanted.shape, np.uint16)
    RunningSums(picture, weights.shape[0] + 3).convolve(weights, out)
    assert np.abs(out.astype(float) - wanted).max() <= 2
    margin = weights.shape[0]
    assert (out[1500 + margin : 1900 - margin] <= 1).all()
    # Flat kernels change at their rims only: that is what makes this way the quicker one.
    assert np.count_nonzero(rims(weights)) < 8 * diameter


def test_texels_end_at_black_and_at_full():
    out = np.empty((1, 5), np.uint16)
    quantise(np.array([[-0.1, 0.0, 0.5, 1.0, 1.2]], np.float32), out)
    assert out.tolist() == [[0, 0, 32768, 65535, 65535]]
