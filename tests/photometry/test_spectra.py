"""The observer and the light sources against colour-science 0.4.7 and the published tables it ships."""

from __future__ import annotations

import colour
import numpy as np
import pytest

from projector.photometry import colour as projector_colour
from projector.photometry import spectra

SHAPE = colour.SpectralShape(380, 730, 5)
OBSERVER = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]


def relative_to_560_nm(spectrum):
    return np.asarray(spectrum) / spectrum[int((560 - 380) / 5)]


def chromaticity(spectrum):
    totals = spectrum @ spectra.OBSERVER_STEPS
    return totals[:2] / totals.sum()


def test_grid_is_380_to_730_nm_every_5():
    assert spectra.WAVELENGTHS_NM.shape == (71,)
    np.testing.assert_array_equal(spectra.WAVELENGTHS_NM, SHAPE.wavelengths)


def test_observer_is_the_published_table():
    # CIE 015:2018 / ISO/CIE 11664-1, through colour-science 0.4.7.
    on_grid = np.isin(OBSERVER.wavelengths, SHAPE.wavelengths)
    np.testing.assert_allclose(spectra.OBSERVER, OBSERVER.values[on_grid], atol=1e-12)
    # Rows as printed in CIE 15 (five decimals).
    rows = {
        450: [0.33620, 0.03800, 1.77211],
        500: [0.00490, 0.32300, 0.27200],
        550: [0.43345, 0.99495, 0.00875],
        600: [1.06220, 0.63100, 0.00080],
        650: [0.28350, 0.10700, 0.00000],
    }
    for wavelength, row in rows.items():
        np.testing.assert_allclose(spectra.OBSERVER[(wavelength - 380) // 5], row, atol=1e-5)
    # Sums at 1 nm, 360 to 830 nm, are 106.8655, 106.8569 and 106.8923. The band from 380 to 730 nm leaves out what lies
    # beyond it, 4.6e-4 of z̄ below 380 nm; within it trapezoids of 5 nm and of 1 nm agree to 3e-5.
    np.testing.assert_allclose(spectra.OBSERVER_STEPS.sum(axis=0), [106.8655, 106.8569, 106.8923], rtol=5e-4)
    within = (OBSERVER.wavelengths >= 380.0) & (OBSERVER.wavelengths <= 730.0)
    np.testing.assert_allclose(
        spectra.OBSERVER_STEPS.sum(axis=0),
        np.trapezoid(OBSERVER.values[within], OBSERVER.wavelengths[within], axis=0),
        rtol=3e-5,
    )


def test_luminous_efficiency_is_the_published_table():
    # CIE 1924 V(λ), CIE 018:2019.
    table = {
        400: 0.000396,
        450: 0.038,
        500: 0.323,
        510: 0.503,
        550: 0.99495,
        555: 1.0,
        560: 0.995,
        600: 0.631,
        650: 0.107,
        700: 0.004102,
    }
    for wavelength, value in table.items():
        assert spectra.LUMINOUS_EFFICIENCY[(wavelength - 380) // 5] == pytest.approx(value, abs=1e-5)
    # The sum at 1 nm from 360 to 830 nm is published as 106.8569; at 5 nm the trapezoids of so smooth a curve agree to
    # 1e-4.
    assert spectra.LUMINOUS_STEPS.sum() == pytest.approx(106.8569, rel=1e-4)


def test_integrals_run_over_the_band_as_it_is_named():
    """380 to 730 nm are 350 nm: a spectrum of 1 W/nm carries 350 W, one that rises straight from 0 to 1 W/nm 175 W."""
    assert spectra.STEPS_NM.sum() == 350.0
    rising = (spectra.WAVELENGTHS_NM - 380.0) / 350.0
    assert rising @ spectra.STEPS_NM == pytest.approx(175.0, rel=1e-12)


@pytest.mark.parametrize("temperature_k", [1500.0, 2856.0, 3200.0, 5600.0, 12000.0])
def test_black_body_is_planck_law(temperature_k):
    metres = spectra.WAVELENGTHS_NM * 1e-9
    # The judge's own constants are rounded; with the exact ones of 2019 (c₁ = 2πhc², c₂ = hc/k, CODATA 2018) only
    # rounding is left.
    judge = colour.colorimetry.planck_law(metres, temperature_k, c1=3.741771852e-16, c2=1.438776877e-2) * 1e-9
    np.testing.assert_allclose(spectra.planck_radiance(temperature_k), judge, rtol=2e-8)


def test_second_radiation_constant_is_codata_2018():
    assert pytest.approx(1.438776877e-2, rel=1e-9) == spectra.SECOND_RADIATION_CONSTANT


def test_a_black_body_gives_its_luminance_in_candela():
    # Liquid platinum, 2045 K (1768.24 °C): about 6e5 cd/m², the old definition of the candela (9th CGPM, 1948).
    # The freezing point was later placed at 2041.4 K, and luminance moves by 0.6 % a kelvin: 3 % covers both.
    assert spectra.K_M * spectra.luminous(spectra.planck_radiance(2041.4)) == pytest.approx(6.0e5, rel=0.03)


@pytest.mark.parametrize("temperature_k", [4000.0, 4500.0, 5000.0, 5600.0, 6504.0, 10000.0, 25000.0])
def test_daylight_is_the_published_construction(temperature_k):
    xy = colour.temperature.CCT_to_xy_CIE_D(temperature_k)
    np.testing.assert_allclose(spectra.daylight_xy(temperature_k), xy, atol=1e-9)
    judge = colour.sd_CIE_illuminant_D_series(xy, M1_M2_rounding=False).align(SHAPE).values
    np.testing.assert_allclose(
        relative_to_560_nm(spectra.cie_daylight(temperature_k)), relative_to_560_nm(judge), atol=2e-6
    )


def test_d65_is_the_published_illuminant():
    # CIE 015:2018 tabulates D65 with M rounded to three decimals: 5e-4 of S1 and S2, whose largest values are 43 and 10
    # of 100.
    judge = colour.SDS_ILLUMINANTS["D65"].copy().align(SHAPE).values / 100.0
    np.testing.assert_allclose(relative_to_560_nm(spectra.cie_daylight(6504.0)), judge, atol=4e-4)


def test_white_is_continuous_where_it_turns_from_black_body_to_daylight():
    for temperature_k in (4000.0, 5000.0):
        below, above = spectra.white_light(temperature_k - 0.01), spectra.white_light(temperature_k + 0.01)
        # 0.02 K of a cross-fade over 1000 K between shapes that differ by up to a third.
        np.testing.assert_allclose(below, above, rtol=1e-4)
    np.testing.assert_array_equal(spectra.white_light(3200.0), spectra.tungsten(3200.0))


@pytest.mark.filterwarnings("ignore:Aligning")
@pytest.mark.parametrize("temperature_k", [2500.0, 4000.0, 4200.0, 4500.0, 4900.0, 5000.0, 6500.0])
def test_white_is_the_reference_illuminant_of_colour_rendition(temperature_k):
    """CIE 224:2017 and ANSI/IES TM-30-20, through colour-science 0.4.7, which rounds M of daylight to three decimals:
    up to 5e-4 of a spectrum in its blue end (as for D65 above)."""
    from colour.quality.cfi2017 import sd_reference_illuminant

    judge = sd_reference_illuminant(temperature_k, colour.SpectralShape(360, 830, 1)).align(SHAPE).values
    np.testing.assert_allclose(
        relative_to_560_nm(spectra.white_light(temperature_k)), relative_to_560_nm(judge), rtol=6e-4
    )


# 2000 to 12 000 K in steps of some 20 mired, and on either side of every change of rule.
TEMPERATURES = (
    2000.0,
    2700.0,
    3200.0,
    3500.0,
    3900.0,
    4000.0,
    4100.0,
    4500.0,
    4900.0,
    5000.0,
    5100.0,
    5600.0,
    6500.0,
    8000.0,
    12000.0,
)


@pytest.mark.parametrize(
    ("kind", "temperature_k"),
    [
        (kind, kelvin)
        for kind in ("tungsten", "daylight", "led")
        for kelvin in TEMPERATURES
        if kind != "tungsten" or kelvin <= 4000.0
    ],
)
def test_a_lamp_is_neutral_to_a_camera_set_to_its_temperature(kind, temperature_k):
    """By the rule, exactly; ΔE*ab 0.5 is far under what is seen. White paper in full light, adapted to sRGB's white."""
    light = spectra.source_spectrum(kind, temperature_k)
    seen = projector_colour.linear_srgb_under_white(
        projector_colour.white_balance_xyz(temperature_k)
    ) @ projector_colour.xyz_from_spectrum(light)
    white = projector_colour.SRGB_WHITE_XYZ
    assert projector_colour.delta_e(projector_colour.XYZ_FROM_LINEAR_SRGB @ seen, white, white) < 0.5
    np.testing.assert_allclose(seen, 1.0, atol=1e-9)


def test_lamps_without_a_temperature_have_the_usual_one():
    np.testing.assert_array_equal(spectra.source_spectrum("tungsten"), spectra.tungsten(3200.0))
    np.testing.assert_array_equal(spectra.source_spectrum("daylight"), spectra.cie_daylight(5600.0))


@pytest.mark.parametrize("temperature_k", [2000.0, 2700.0, 3200.0, 4000.0, 4500.0, 5600.0, 6500.0, 10000.0, 20000.0])
def test_white_led_has_its_white_point(temperature_k):
    spectrum = spectra.led(temperature_k)
    assert spectrum.min() >= 0.0
    # The white point of IES TM-30: black body to 4000 K, daylight from 5000 K; the mixture is linear, so only rounding
    # remains.
    np.testing.assert_allclose(chromaticity(spectrum), spectra.white_xy(temperature_k), atol=1e-9)
    # Correlated temperature by Ohno (2013) in u, v of the same 2° observer. The cut grid moves a warm white by 1e-4 in
    # x, which is 0.1 %; daylight's nominal temperature uses the older c₂, 0.03 %, and its cubics are good to about 0.1
    # %.
    found, _ = colour.temperature.uv_to_CCT_Ohno2013(colour.xy_to_UCS_uv(chromaticity(spectrum)))
    assert found == pytest.approx(temperature_k, rel=3e-3)


@pytest.mark.parametrize("kind", ["tungsten", "daylight", "led", "equal_energy"])
def test_every_source_has_luminous_one(kind):
    spectrum = spectra.source_spectrum(kind, 3800.0)
    assert spectrum.shape == (71,)
    assert spectra.luminous(spectrum) == pytest.approx(1.0, rel=1e-12)


def test_the_cut_grid_loses_little_light():
    fine_nm = np.arange(360.0, 831.0)
    weights = OBSERVER.values[:, 1]
    for temperature_k in (2800.0, 3200.0, 5600.0):
        whole = spectra.planck_radiance(temperature_k, fine_nm) @ weights
        on_grid = spectra.luminous(spectra.planck_radiance(temperature_k))
        # 4e-4 is the claim of the module's docstring.
        assert on_grid == pytest.approx(whole, rel=4e-4)


def test_unknown_sources_and_impossible_temperatures_are_told():
    with pytest.raises(ValueError, match="known are: tungsten"):
        spectra.source_spectrum("candle", 1900.0)
    with pytest.raises(ValueError, match="above 0 K"):
        spectra.tungsten(0.0)
    with pytest.raises(ValueError, match="25000 K"):
        spectra.white_light(30000.0)
    with pytest.raises(ValueError, match="no filament gives 5600 K"):
        spectra.tungsten(5600.0)
    with pytest.raises(ValueError, match="2000 to 20000 K"):
        spectra.led(1500.0)
