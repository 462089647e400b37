"""Hashed randomness against the published stream of its mixing steps and against chance.

Chi-square tests run on fixed seeds, so they cannot flicker; a correct generator with other seeds would fail each of
them once in a million (the false-alarm rate below).
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import chi2

from projector.jit import kernel
from projector.tracing.rays.sampling import point_key, uniform

FALSE_ALARM_RATE = 1e-6
# 64-bit products wrap round on purpose; numpy says so for single numbers.
pytestmark = pytest.mark.filterwarnings("ignore:overflow encountered:RuntimeWarning")


@kernel
def fill(seed, n_points, n_samples, n_dimensions, out):
    for point in range(n_points):
        key = point_key(seed, point)
        for sample in range(n_samples):
            for dimension in range(n_dimensions):
                out[point, sample, dimension] = uniform(key, sample, dimension)


def drawn(seed, n_points, n_samples, n_dimensions):
    """Numbers (n_points, n_samples, n_dimensions) as kernels draw them."""
    out = np.empty((n_points, n_samples, n_dimensions))
    fill(seed, n_points, n_samples, n_dimensions, out)
    return out


def chi_square_is_acceptable(counts) -> bool:
    """Whether counts that ought to be equal are as equal as chance allows, neither too uneven nor too even."""
    expected = counts.sum() / counts.size
    statistic = ((counts - expected) ** 2).sum() / expected
    low, high = chi2.ppf([0.5 * FALSE_ALARM_RATE, 1.0 - 0.5 * FALSE_ALARM_RATE], counts.size - 1)
    return low < statistic < high


def test_numbers_are_the_published_splitmix64_stream():
    # First five outputs for the state 1234567, as printed on Rosetta Code, "Pseudo-random numbers/Splitmix64".
    printed = [6457827717110365317, 3203168211198807973, 9817491932198370423, 4593380528125082431, 16408922859458223821]
    found = [uniform(np.uint64(1234567), 0, dimension) for dimension in range(5)]
    assert found == [(value >> 11) / 2.0**53 for value in printed]


def test_kernels_and_python_draw_the_same_numbers():
    in_kernel = drawn(5, 7, 3, 16)
    in_python = [
        [[uniform(point_key(5, point), sample, d) for d in range(16)] for sample in range(3)] for point in range(7)
    ]
    np.testing.assert_array_equal(in_kernel, in_python)


def test_samples_and_dimensions_never_share_a_number():
    values = drawn(0, 20, 50, 16)
    assert np.unique(values).size == values.size
    assert np.unique(drawn(0, 1000, 1, 1)).size == np.unique(drawn(1, 1000, 1, 1)).size == 1000
    assert np.intersect1d(drawn(0, 1000, 1, 1), drawn(1, 1000, 1, 1)).size == 0


def test_numbers_lie_in_the_half_open_unit_interval():
    values = drawn(2, 2000, 16, 16)
    assert values.min() >= 0.0 and values.max() < 1.0


@pytest.mark.parametrize("seed", [0, 1, 12345])
def test_every_dimension_is_uniform_over_points_and_over_samples(seed):
    # Many points with one sample each is how a picture draws; one point with many samples is how a reference value is
    # drawn.
    for values in (drawn(seed, 20000, 1, 16)[:, 0, :], drawn(seed, 1, 20000, 16)[0]):
        for dimension in range(16):
            assert chi_square_is_acceptable(np.bincount((values[:, dimension] * 100).astype(int), minlength=100))


def test_pairs_fill_the_square_evenly():
    values = drawn(3, 300, 300, 4)
    neighbours = {
        "two dimensions of a sample": (values[..., 0], values[..., 1]),
        "two samples of a point": (values[:, :-1, 2], values[:, 1:, 2]),
        "two points side by side": (values[:-1, :, 3], values[1:, :, 3]),
    }
    for name, (first, second) in neighbours.items():
        # Every other pair, so that the pairs share no number and the test's own statistics hold.
        step = (slice(None), slice(None, None, 2)) if "samples" in name else (slice(None, None, 2), slice(None))
        cells = (first[step] * 16).astype(int) * 16 + (second[step] * 16).astype(int)
        assert chi_square_is_acceptable(np.bincount(cells.ravel(), minlength=256)), name
