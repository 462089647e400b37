"""Filters against definitions, published mired tables and the black-body chromaticities of the colour library."""

from __future__ import annotations

import math

import numpy as np
import pytest

from projector.photometry import colour, filters, spectra


@pytest.mark.parametrize(
    "from_k, to_k, shift",
    [
        (3200, 5600, -133.93),
        (3200, 5500, -130.68),
        (3200, 5700, -137.06),  # Wikipedia, "Mired": about −137
        (3200, 6500, -158.65),
        (5600, 3200, 133.93),
        (5600, 4500, 43.65),
        (2856, 5600, -171.57),
        (4000, 3000, 83.33),  # a camera reference manual: 83 mired
        (7000, 6000, 23.81),  # and 24
    ],
)
def test_mired_shifts(from_k, to_k, shift):
    assert filters.mired_shift(from_k, to_k) == pytest.approx(shift, abs=0.005)
    assert filters.shifted_temperature(from_k, shift) == pytest.approx(to_k, rel=1e-4)


def test_fractions_of_a_conversion():
    # Arithmetic on the definition: ¾, ½, ¼ and ⅛ of −133.93 from 3200 K.
    for share, temperature_k in ((0.75, 4716), (0.5, 4073), (0.25, 3584), (0.125, 3381)):
        assert filters.shifted_temperature(3200.0, -133.93 * share) == pytest.approx(temperature_k, abs=0.6)
    for share, temperature_k in ((0.75, 3584), (0.5, 4073), (0.25, 4716), (0.125, 5120)):
        assert filters.shifted_temperature(5600.0, 133.93 * share) == pytest.approx(temperature_k, abs=0.6)


# D = −log10 T, by definition; one stop is D 0.30103.
@pytest.mark.parametrize(
    "density, transmittance, stops", [(0.15, 0.70795, 0.498), (0.3, 0.50119, 0.997), (0.6, 0.25119, 1.993), (0.9, 0.12589, 2.990), (1.2, 0.06310, 3.986), (1.8, 0.01585, 5.979), (2.0, 0.01, 6.644), (3.0, 0.001, 9.966)]
)
def test_neutral_density(density, transmittance, stops):
    spectrum = filters.neutral(density=density)
    np.testing.assert_allclose(spectrum, transmittance, atol=5e-6)
    assert filters.stops_lost(spectra.led(5600.0), spectrum) == pytest.approx(stops, abs=6e-4)
    np.testing.assert_allclose(filters.neutral(stops=filters.stops_from_density(density)), spectrum)


def test_a_stop_is_density_0_301():
    assert filters.density_from_stops(1.0) == pytest.approx(0.30103, abs=1e-6)


def test_neutral_density_leaves_colour_alone():
    source = spectra.tungsten(3200.0)
    np.testing.assert_allclose(filters.xy_after(source, filters.neutral(stops=3.0)), colour.planck_xy(3200.0), rtol=1e-12)


def test_a_conversion_filter_moves_a_black_body_to_the_other_one():
    # 3200 K to (0.33020, 0.33908) of 5600 K and back to (0.42336, 0.39895): 1 nm sums of colour-science and luxpy;
    # 1.5e-4 for the 5 nm grid and its ends.
    to_daylight = filters.temperature_shift(filters.mired_shift(3200.0, 5600.0))
    np.testing.assert_allclose(filters.xy_after(spectra.tungsten(3200.0), to_daylight), (0.33020, 0.33908), atol=1.5e-4)
    to_tungsten = filters.temperature_shift(filters.mired_shift(5600.0, 3200.0))
    np.testing.assert_allclose(filters.xy_after(spectra.tungsten(5600.0), to_tungsten), (0.42336, 0.39895), atol=1.5e-4)
    assert to_daylight.max() == to_tungsten.max() == 1.0


def test_a_shift_holds_from_other_temperatures():
    # Wien's approximation, in which only the shift counts, is within a few per cent here: 3 mired of 134.
    for start_k in (2800.0, 3600.0):
        xy = filters.xy_after(spectra.tungsten(start_k), filters.temperature_shift(-133.93))
        reached = filters.mired(float(colour.correlated_colour_temperature(xy)))
        assert reached == pytest.approx(filters.mired(start_k) - 133.93, abs=4.0)


def test_opposite_conversions_are_neutral_together():
    both = filters.stack([filters.temperature_shift(80.0), filters.temperature_shift(-80.0)])
    np.testing.assert_allclose(both, both[0], rtol=1e-12)
    np.testing.assert_allclose(filters.temperature_shift(0.0), 1.0, rtol=1e-12)


def test_filters_multiply_and_their_densities_add():
    stacked = filters.stack([filters.neutral(density=0.3), filters.neutral(density=0.6)])
    np.testing.assert_allclose(stacked, filters.neutral(density=0.9))
    np.testing.assert_array_equal(filters.stack([]), np.ones(71))


def test_shapes_have_their_widths():
    shape = filters.band(550.0, 40.0)
    at = dict(zip(spectra.WAVELENGTHS_NM, shape, strict=True))
    assert at[550.0] == 1.0 and at[530.0] == pytest.approx(0.5) and at[570.0] == pytest.approx(0.5)
    edge = dict(zip(spectra.WAVELENGTHS_NM, filters.long_pass(600.0, 20.0), strict=True))
    assert edge[600.0] == 0.5 and edge[590.0] == pytest.approx(0.1) and edge[610.0] == pytest.approx(0.9)
    np.testing.assert_allclose(filters.short_pass(600.0, 20.0) + filters.long_pass(600.0, 20.0), 1.0)


def test_stops_lost_counts_luminous_light():
    # Half of the lumens gone is one stop, whatever the colour: a filter that is ½ at every second wavelength pair sums to that.
    source = spectra.equal_energy()
    assert filters.stops_lost(source, np.full(71, 0.5)) == pytest.approx(1.0)
    # The green of V(λ): 10 nm at 555 nm hold 9.36 % of the sum 106.857 (CIE 018), trapezoids of 550, 555 and 560 nm.
    passband = np.isin(spectra.WAVELENGTHS_NM, [550.0, 555.0]).astype(float)
    expected = -math.log2((0.99495 + 1.0) * 5.0 / 106.857)
    assert filters.stops_lost(source, passband) == pytest.approx(expected, abs=2e-4)
    assert filters.stops_lost(source, np.zeros(71)) == math.inf


def test_a_measured_table_is_straight_between_its_points():
    # ISO 7589 diffuser as shipped with colour-science 0.4.7.
    spectrum = filters.table([400.0, 450.0, 500.0, 550.0, 600.0], [0.69, 0.90, 0.96, 1.0, 1.0])
    at = dict(zip(spectra.WAVELENGTHS_NM, spectrum, strict=True))
    assert at[380.0] == 0.69 and at[425.0] == pytest.approx(0.795) and at[730.0] == 1.0


@pytest.mark.parametrize(
    "make, words",
    [
        (lambda: filters.neutral(density=-0.1), "cannot brighten"),
        (lambda: filters.neutral(), "either a density"),
        (lambda: filters.band(550.0, 0.0), "above 0"),
        (lambda: filters.temperature_shift(-400.0), "beyond"),
        (lambda: filters.shifted_temperature(5600.0, -200.0), "beyond any temperature"),
        (lambda: filters.table([500.0, 400.0], [0.1, 0.2]), "must rise"),
        (lambda: filters.table([400.0, 500.0], [10.0, 90.0]), "divided by 100"),
        (lambda: filters.table([400.0, 500.0], [0.5]), "as many"),
    ],
)
def test_faults_are_told_in_words(make, words):
    with pytest.raises(ValueError, match=words):
        make()
