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
    "density, transmittance, stops",
    [
        (0.15, 0.70795, 0.498),
        (0.3, 0.50119, 0.997),
        (0.6, 0.25119, 1.993),
        (0.9, 0.12589, 2.990),
        (1.2, 0.06310, 3.986),
        (1.8, 0.01585, 5.979),
        (2.0, 0.01, 6.644),
        (3.0, 0.001, 9.966),
    ],
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
    np.testing.assert_allclose(
        filters.xy_after(source, filters.neutral(stops=3.0)), colour.planck_xy(3200.0), rtol=1e-12
    )


def test_a_conversion_filter_moves_a_black_body_to_the_other_one():
    # 3200 K to (0.33020, 0.33908) of 5600 K and back to (0.42336, 0.39895): 1 nm sums of colour-science and luxpy;
    # 1.5e-4 for the 5 nm grid and its ends.
    to_daylight = filters.conversion(3200.0, 5600.0)
    np.testing.assert_allclose(
        filters.xy_after(spectra.black_body(3200.0), to_daylight), (0.33020, 0.33908), atol=1.5e-4
    )
    to_tungsten = filters.conversion(5600.0, 3200.0)
    np.testing.assert_allclose(
        filters.xy_after(spectra.black_body(5600.0), to_tungsten), (0.42336, 0.39895), atol=1.5e-4
    )
    assert to_daylight.max() == to_tungsten.max() == 1.0


@pytest.mark.parametrize(
    "shift",
    [-270.0, -200.0, -137.0, -133.93, -67.0, -34.0, -18.0, -0.5, 0.0, 0.5, 20.0, 42.0, 81.0, 133.93, 159.0, 300.0],
)
def test_a_temperature_filter_is_exact_from_the_lamp_it_is_made_for(shift):
    """Before tungsten of 3200 K, or a flash of 5600 K, it gives the white of the temperature so many mireds away, which
    a camera set to that takes for neutral.
    """
    start_k = 3200.0 if shift < 0.0 else 5600.0
    reached = filters.xy_after(spectra.white_light(start_k), filters.temperature_shift(shift))
    np.testing.assert_allclose(reached, spectra.white_xy(1e6 / (1e6 / start_k + shift)), atol=1e-9)


def test_temperature_filters_are_of_film_and_dye():
    """Never more light than falls in, never dye that brightens, and no step from one strength to the next."""
    shifts = np.arange(-270.0, 301.0, 2.0)
    spectra_of = np.array([filters.temperature_shift(shift) for shift in shifts])
    assert spectra_of.max() <= filters.CLEAR_FILM + 1e-9
    # Two mired are a density of 0.01 of either dye; the slopes of the wanted white change where daylight sets in.
    assert np.abs(np.diff(np.log10(spectra_of), axis=0)).max() < 0.02
    # Fresnel at normal incidence: 4 % at each face, 0.116 stops for a clear film of index 1.5.
    np.testing.assert_allclose(filters.temperature_shift(0.0), 0.9231, atol=1e-4)


# Exposure increments of colour conversion and light balancing filters by their shift, as a colour meter's manual prints
# them in its appendix "Filter types" (82, 82A–C, 80D–A; 81, 81A–EF, 85C–B).
PRINTED_STOPS = {
    -10: 1 / 3,
    -21: 1 / 3,
    -32: 2 / 3,
    -45: 2 / 3,
    -56: 2 / 3,
    -81: 1.0,
    -112: 5 / 3,
    -131: 2.0,
    9: 1 / 3,
    18: 1 / 3,
    27: 1 / 3,
    35: 1 / 3,
    42: 2 / 3,
    52: 2 / 3,
    81: 1 / 3,
    112: 2 / 3,
    131: 2 / 3,
}


@pytest.mark.parametrize("shift", list(PRINTED_STOPS))
def test_temperature_filters_cost_what_printed_ones_cost(shift):
    """Printed in whole thirds, for glass and gelatine whose neighbours differ by as much (+52 costs two thirds, +81
    one): no smooth law can be nearer than a third and a little to all of them."""
    start_k = 3200.0 if shift < 0 else 5600.0
    cost = filters.stops_lost(spectra.white_light(start_k), filters.temperature_shift(float(shift)))
    assert cost == pytest.approx(PRINTED_STOPS[shift], abs=0.37)


def test_full_conversions_cost_what_gels_cost():
    """Blue of −137 mired 1.5 to 2 stops, orange of +159 mired 0.7 to 1.1 (common practice, no source); a half costs
    about half of the dye.
    """
    tungsten, flash = spectra.tungsten(3200.0), spectra.white_light(5600.0)
    assert 1.5 < filters.stops_lost(tungsten, filters.temperature_shift(-137.0)) < 2.0
    assert 0.7 < filters.stops_lost(flash, filters.temperature_shift(159.0)) < 1.1
    assert 0.8 < filters.stops_lost(tungsten, filters.temperature_shift(-68.5)) < 1.1
    assert 0.4 < filters.stops_lost(flash, filters.temperature_shift(79.5)) < 0.7


def test_a_shift_holds_from_other_temperatures():
    # No filter shifts every lamp alike; neighbours of the one it is made for within 3 % of 134 mired.
    for start_k in (2800.0, 3600.0):
        xy = filters.xy_after(spectra.tungsten(start_k), filters.temperature_shift(-133.93))
        reached = filters.mired(float(colour.correlated_colour_temperature(xy)))
        assert reached == pytest.approx(filters.mired(start_k) - 133.93, abs=4.0)


def test_opposite_conversions_are_neutral_together():
    both = filters.stack([filters.conversion(3200.0, 4300.0), filters.conversion(4300.0, 3200.0)])
    np.testing.assert_allclose(both, both[0], rtol=1e-12)
    np.testing.assert_allclose(filters.conversion(3200.0, 3200.0), 1.0, rtol=1e-12)
    # Of film and dye they are so within 4 mired of 81, for a flash: no two dyes absorb what two others leave.
    xy = filters.xy_after(
        spectra.white_light(5600.0), filters.stack([filters.temperature_shift(81.0), filters.temperature_shift(-81.0)])
    )
    assert filters.mired(float(colour.correlated_colour_temperature(xy))) == pytest.approx(
        filters.mired(5600.0), abs=4.0
    )


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
    # Half of the lumens gone is one stop, whatever the colour: a filter that is ½ at every second wavelength pair sums
    # to that.
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
