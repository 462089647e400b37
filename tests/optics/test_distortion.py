"""Distortion counted outwards, and its exact inverse: per cent as a data sheet states them, one root, no fold."""

from __future__ import annotations

import numpy as np
import pytest

from projector.optics import distortion as law

PER_CENT = [-33.3, -30.0, -20.0, -10.0, -1.5, -1e-9, 0.0, 1e-9, 4.0, 5.0, 10.0, 14.0, 20.0, 30.0, 40.0]


@pytest.mark.parametrize("percent", PER_CENT)
def test_the_edge_lands_farther_out_by_its_per_cent_and_half_way_by_a_quarter_of_them(percent):
    """Per cent at the edge of the field, growing with the square of the radius: the definition of third-order
    distortion.
    """
    share = percent / 100.0
    assert law.landed_radius(share, 1.0) == pytest.approx(1.0 + share, abs=1e-15)
    assert law.landed_radius(share, 0.5) == pytest.approx(0.5 * (1.0 + 0.25 * share), abs=1e-15)


@pytest.mark.parametrize("percent", PER_CENT)
def test_the_way_back_is_exact(percent):
    """Out and back again, within and beyond the edge. Close to the strongest barrel the law is flat at the edge: the
    root there is as sure as rounding over its slope."""
    share = percent / 100.0
    radii = np.concatenate([[0.0, 1e-12], np.linspace(1e-3, 1.0, 400), np.linspace(1.0, 4.0, 50)])
    back = np.array([law.gate_radius(share, law.landed_radius(share, radius)) for radius in radii])
    slope = np.where(radii < 1.0, 1.0 + 3.0 * share * radii**2, 1.0 + 3.0 * share)
    assert np.all(np.abs(back - radii) <= 4e-16 * (1.0 + radii) / slope)


@pytest.mark.parametrize("percent", PER_CENT)
def test_it_rises_everywhere_without_a_step(percent):
    share = percent / 100.0
    landed = np.linspace(0.0, 3.0, 30001)
    found = law.gate_radii(share, landed)
    steps = np.diff(found)
    assert steps.min() > 0.0
    # The steepest way back is at the edge.
    assert steps.max() <= 1.0001e-4 / min(1.0, 1.0 + 3.0 * share)


@pytest.mark.parametrize("percent", PER_CENT)
def test_arrays_go_by_the_same_law(percent):
    share = percent / 100.0
    radii = np.linspace(0.0, 2.0, 24).reshape(4, 6)
    assert np.array_equal(law.landed_radii(share, radii), np.vectorize(lambda r: law.landed_radius(share, r))(radii))
    assert law.gate_radii(share, radii) == pytest.approx(
        np.vectorize(lambda r: law.gate_radius(share, r))(radii), rel=1e-15
    )


@pytest.mark.parametrize("percent", PER_CENT)
def test_the_share_of_the_way_back_goes_one_way(percent):
    """What bounds over a square of points rest on."""
    share = percent / 100.0
    found = np.array([law.gate_over_landed(share, landed) for landed in np.linspace(0.0, 4.0, 4001)])
    assert found[0] == 1.0
    assert np.all(np.diff(found) * np.sign(share) <= 1e-15)


@pytest.mark.parametrize("percent", PER_CENT)
def test_the_growth_of_area_is_the_determinant_of_the_map(percent):
    """(R/r)·dR/dr by central differences; their own error is of the order of the step squared."""
    share, step = percent / 100.0, 1e-4
    for radius in (0.05, 0.3, 0.6, 0.99):
        slope = (law.landed_radius(share, radius + step) - law.landed_radius(share, radius - step)) / (2.0 * step)
        assert law.area_growth(share, radius**2) == pytest.approx(
            law.landed_radius(share, radius) / radius * slope, abs=1e-7
        )
    # Over the whole disc: the landed disc's area over the gate's.
    middles = (np.arange(20000) + 0.5) / 20000
    assert 2.0 * np.mean(middles * law.area_growth(share, middles**2)) == pytest.approx((1.0 + share) ** 2, abs=1e-8)
