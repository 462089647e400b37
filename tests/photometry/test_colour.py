"""Colour against colour-science 0.4.7 and the printed tables of CIE 015, IEC 61966-2-1 and McCamy."""

from __future__ import annotations

import colour as judge
import numpy as np
import pytest

from projector.photometry import colour, spectra

# Chromaticities at 1 nm, 360 to 830 nm; colour-science and luxpy agree to five digits. The package sums every 5 nm and
# stops at 380 and 730 nm: what is left out moves a warm black body by up to 1e-4 in x and y.
GRID_TOLERANCE = 1.5e-4


@pytest.mark.parametrize(
    "temperature_k, xy",
    [
        (2856.0, (0.44754, 0.40743)),
        (3000.0, (0.43693, 0.40408)),
        (3200.0, (0.42336, 0.39895)),
        (4000.0, (0.38044, 0.37675)),
        (5000.0, (0.34510, 0.35161)),
        (5600.0, (0.33020, 0.33908)),
        (6500.0, (0.31353, 0.32363)),
    ],
)
def test_black_body_chromaticity(temperature_k, xy):
    np.testing.assert_allclose(colour.planck_xy(temperature_k), xy, atol=GRID_TOLERANCE)


def test_illuminants_have_the_printed_white_points():
    # CIE 15:2004, A / D65 / D50 / D55 / E.
    np.testing.assert_allclose(colour.planck_xy(2855.5), (0.44758, 0.40745), atol=GRID_TOLERANCE)
    np.testing.assert_allclose(colour.xyz_from_spectrum(spectra.tungsten(2855.5)), (1.09850, 1.0, 0.35585), atol=4e-4)
    for temperature_k, xyz in (
        (6504.0, (0.95047, 1.0, 1.08883)),
        (5003.0, (0.96421, 1.0, 0.82521)),
        (5503.0, (0.95681, 1.0, 0.92148)),
    ):
        # The nominal temperatures are rounded to 1 K, which is up to 2e-4 of Z.
        np.testing.assert_allclose(colour.white_balance_xyz(temperature_k), xyz, atol=4e-4)
    np.testing.assert_allclose(
        colour.xy_from_xyz(colour.xyz_from_spectrum(spectra.equal_energy())), (1 / 3, 1 / 3), atol=GRID_TOLERANCE
    )


# ISO 7589 sources as shipped with colour-science 0.4.7, whose chromaticities come from the same tables at 1 nm.
@pytest.mark.parametrize(
    "name, xy",
    [
        ("ISO 7589 Photographic Daylight", (0.33204, 0.34726)),
        ("ISO 7589 Studio Tungsten", (0.43094, 0.40359)),
        ("ISO 7589 Photoflood", (0.41115, 0.39372)),
    ],
)
def test_measured_lamps_have_the_libraries_chromaticity(name, xy):
    lamps = judge.SDS_LIGHT_SOURCES if name in judge.SDS_LIGHT_SOURCES else judge.SDS_ILLUMINANTS
    spectrum = lamps[name].copy().align(judge.SpectralShape(380, 730, 5)).values
    np.testing.assert_allclose(colour.xy_from_xyz(colour.xyz_from_spectrum(spectrum)), xy, atol=GRID_TOLERANCE)


def test_temperature_back_from_chromaticity():
    # McCamy's formula on CIE illuminant A and D65, by colour-science: 2857.1 and 6505.1 K.
    assert colour.correlated_colour_temperature((0.44758, 0.40745)) == pytest.approx(2857.1, abs=0.3)
    assert colour.correlated_colour_temperature((0.31271, 0.32902)) == pytest.approx(6505.1, abs=1.0)
    xy = np.array([[0.42336, 0.39895], [0.3457, 0.3585]])
    np.testing.assert_allclose(
        colour.correlated_colour_temperature(xy), judge.temperature.xy_to_CCT(xy, method="McCamy 1992"), rtol=1e-9
    )


def test_srgb_matrices_are_the_standards():
    # IEC 61966-2-1 prints both to four digits.
    np.testing.assert_array_equal(
        colour.XYZ_FROM_LINEAR_SRGB, [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    )
    inverse = [[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]]
    np.testing.assert_allclose(colour.LINEAR_SRGB_FROM_XYZ, inverse, atol=5.1e-5)
    np.testing.assert_allclose(colour.linear_srgb_from_xyz(colour.SRGB_WHITE_XYZ), [1.0, 1.0, 1.0], atol=1e-12)
    # White to the four digits of D65, (0.3127, 0.3290).
    np.testing.assert_allclose(colour.xy_from_xyz(colour.SRGB_WHITE_XYZ), [0.3127, 0.3290], atol=5e-5)


def test_srgb_curve_has_the_standards_points():
    # IEC 61966-2-1; 0.18 → 0.4613561 is printed in colour-science's documentation.
    linear = np.array([0.0, 0.01, 0.18, 0.5, 1.0])
    encoded = np.array([0.0, 0.0998528, 0.4613561, 0.7353570, 1.0])
    np.testing.assert_allclose(colour.encode_srgb(linear), encoded, atol=5e-8)
    np.testing.assert_allclose(colour.decode_srgb(encoded), linear, atol=2e-7)
    assert colour.encode_srgb(0.0031308) == pytest.approx(0.04045, abs=1e-6)
    assert colour.decode_srgb(0.5) == pytest.approx(0.214041, abs=5e-7)
    values = np.linspace(0.0, 2.0, 401)
    np.testing.assert_allclose(colour.encode_srgb(values), judge.cctf_encoding(values, function="sRGB"), rtol=1e-12)
    # Powers of whole arrays and of single numbers come from different libraries: last bits differ from one processor to
    # another.
    np.testing.assert_allclose(
        colour.encode_srgb(values), [colour.encode_srgb_component(value) for value in values], rtol=1e-14
    )


def test_bradford_is_the_published_adaptation():
    tungsten, daylight = (1.0985, 1.0, 0.35585), (0.95047, 1.0, 1.08883)
    expected = judge.adaptation.matrix_chromatic_adaptation_VonKries(tungsten, daylight, transform="Bradford")
    np.testing.assert_allclose(colour.bradford(tungsten, daylight), expected, atol=1e-9)
    np.testing.assert_allclose(colour.bradford(tungsten, daylight) @ tungsten, daylight, atol=1e-12)


def test_a_camera_balanced_to_its_light_sees_it_neutral():
    for light in (spectra.tungsten(3200.0), spectra.white_light(5600.0)):
        white = colour.xyz_from_spectrum(light)
        np.testing.assert_allclose(colour.linear_srgb_under_white(white) @ white, [1.0, 1.0, 1.0], atol=1e-12)


def test_lab_and_delta_e_agree_with_the_library():
    generator = np.random.default_rng(3)
    white = np.array([0.95047, 1.0, 1.08883])
    first, second = generator.uniform(0.0, 1.0, (2, 50, 3))
    first[0] = 1e-4  # the straight part near black
    white_xy = judge.XYZ_to_xy(white)
    expected_first, expected_second = judge.XYZ_to_Lab(first, white_xy), judge.XYZ_to_Lab(second, white_xy)
    np.testing.assert_allclose(colour.lab_from_xyz(first, white), expected_first, atol=1e-6)
    expected = judge.delta_E(expected_first, expected_second, method="CIE 1976")
    np.testing.assert_allclose(colour.delta_e(first, second, white), expected, atol=1e-6)


def test_desaturation_keeps_luminance_and_hue_and_leaves_the_gamut_alone():
    rgb = np.random.default_rng(5).uniform(-0.5, 1.8, (500, 3))
    rgb = rgb[rgb @ colour.SRGB_LUMINANCE > 0.0]
    mapped = colour.desaturate_out_of_gamut(rgb)
    assert mapped.min() >= 0.0
    np.testing.assert_allclose(mapped @ colour.SRGB_LUMINANCE, rgb @ colour.SRGB_LUMINANCE, atol=1e-12)
    inside = rgb.min(axis=1) >= 0.0
    np.testing.assert_array_equal(mapped[inside], rgb[inside])
    # No further than needed: an outside colour ends on the wall, in the direction it had from grey.
    np.testing.assert_allclose(mapped[~inside].min(axis=1), 0.0, atol=1e-12)
    grey = (rgb @ colour.SRGB_LUMINANCE)[:, None]
    np.testing.assert_allclose(np.cross(mapped - grey, rgb - grey), 0.0, atol=1e-9)
    np.testing.assert_array_equal(colour.desaturate_out_of_gamut([-0.3, -0.1, 0.2]), [0.0, 0.0, 0.0])


def test_reflectance_has_its_colour_under_d65():
    light = judge.SDS_ILLUMINANTS["D65"].copy().align(judge.SpectralShape(380, 730, 5))
    observer = judge.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(judge.SpectralShape(380, 730, 5))
    values = (0.0, 0.05, 0.4, 1.0)
    for rgb in np.stack(np.meshgrid(values, values, values), axis=-1).reshape(-1, 3):
        reflectance = colour.reflectance_from_linear_srgb(rgb)
        assert reflectance.min() >= 0.0 and reflectance.max() <= 1.0
        spectrum = judge.SpectralDistribution(reflectance, observer.wavelengths)
        xyz = judge.sd_to_XYZ(spectrum, observer, light, method="Integration") / 100.0
        # 1e-3 is the wanted round trip: the judge's D65 has rounded M, and its white is not the four-digit one.
        np.testing.assert_allclose(colour.linear_srgb_from_xyz(xyz), rgb, atol=1e-3)


def test_grey_reflects_every_wavelength_alike():
    for value in (0.0, 0.18, 1.0):
        np.testing.assert_array_equal(colour.reflectance_from_linear_srgb((value, value, value)), np.full(71, value))
    with pytest.raises(ValueError, match="more than it receives"):
        colour.reflectance_from_linear_srgb((0.5, 1.2, 0.1))


def test_a_white_reflectance_has_luminance_one_under_any_light():
    for light in (spectra.tungsten(2800.0), 7.0 * spectra.led(4000.0)):
        assert colour.xyz_from_reflectance(np.full(71, 0.25), light)[1] == pytest.approx(0.25)
    np.testing.assert_allclose(colour.xy_from_xyz(colour.xyz_from_xy([0.4, 0.35])), [0.4, 0.35], rtol=1e-12)
