"""Filters by name: correction shifts as sheets are sold, grey by its density, colours that look like their names."""

from __future__ import annotations

import math

import numpy as np
import pytest

from projector.photometry import filters, spectra
from projector.photometry.colour import linear_srgb_under_white, xyz_from_spectrum
from projector.photometry.named_filters import COLOUR, FILTER_NAMES, known_name, named_filter
from projector.photometry.nearest_temperature import nearest_temperature

COLOURS = [name for name in FILTER_NAMES if named_filter(name).kind == COLOUR]


# Mired/Filter Calculator, pointsinfocus.com: its table of cooling and warming filters.
@pytest.mark.parametrize(
    "name, shift",
    [
        ("full-warm", 159),
        ("half-warm", 109),
        ("quarter-warm", 64),
        ("eighth-warm", 26),
        ("full-cool", -137),
        ("half-cool", -78),
        ("quarter-cool", -35),
        ("eighth-cool", -18),
    ],
)
def test_correction_shifts_what_sheets_are_sold_with(name, shift):
    """From the lamp that it is made for, by the nearest black body: daylight lies off those, which is worth 3 mired."""
    lamp_k = 5600.0 if shift > 0 else 3200.0
    lamp = spectra.white_light(lamp_k)
    before, after = (
        1e6 / nearest_temperature(filters.xy_after(lamp, passed))[0]
        for passed in (np.ones(71), named_filter(name).spectrum)
    )
    assert after - before == pytest.approx(shift, abs=3.0)


# D = −log10 T by definition: densities as grey sheets are sold.
@pytest.mark.parametrize(
    "name, percent",
    [("neutral-half", 70.8), ("neutral-1", 50.1), ("neutral-2", 25.1), ("neutral-3", 12.6), ("neutral-4", 6.31)],
)
def test_grey_passes_its_density_at_every_wavelength(name, percent):
    np.testing.assert_allclose(100.0 * named_filter(name).spectrum, percent, rtol=1e-3)


@pytest.mark.parametrize(
    "written, name",
    [
        ("full warm", "full-warm"),
        ("Half_Warm", "half-warm"),
        ("full CTO", "full-warm"),
        ("CTO", "full-warm"),
        ("1/2 CTO", "half-warm"),
        ("1/4 ctb", "quarter-cool"),
        ("eighth CTB", "eighth-cool"),
        ("ND 0.6", "neutral-2"),
        ("nd0.3", "neutral-1"),
        ("pale blue", "pale-blue"),
        ("half warmth", None),
        ("", None),
    ],
)
def test_a_name_is_known_however_it_is_written(written, name):
    assert known_name(written) == name


def test_an_unknown_name_is_refused():
    with pytest.raises(ValueError, match="no filter is called 'peach'"):
        named_filter("peach")


@pytest.mark.parametrize("name", FILTER_NAMES)
def test_no_filter_passes_more_than_clear_film_or_nothing_at_all(name):
    spectrum = named_filter(name).spectrum
    assert spectrum.shape == (71,) and spectrum.min() > 0.0 and spectrum.max() <= filters.CLEAR_FILM + 1e-9
    # Smooth: of film and dye, no steps between neighbours of the grid (the steepest logistic of 20 nm has 0.27).
    assert np.abs(np.diff(spectrum)).max() < 0.12


def test_colours_look_like_their_names():
    """The hue of white paper in daylight, to a camera balanced to it, on the circle of red 0, green 120, blue 240."""
    light = spectra.white_light(5600.0)
    matrix = linear_srgb_under_white(xyz_from_spectrum(light))
    meant = {
        "pale-yellow": 58,
        "yellow": 45,
        "amber": 20,
        "orange": 8,
        "red": 0,
        "pink": 330,
        "magenta": 305,
        "violet": 250,
        "deep-blue": 240,
        "blue": 222,
        "pale-blue": 212,
        "cyan": 200,
        "green": 125,
        "lime": 75,
    }
    assert set(meant) == set(COLOURS) and len(meant) >= 12
    for name, hue in meant.items():
        red, green, blue = matrix @ xyz_from_spectrum(light * named_filter(name).spectrum)
        found = math.degrees(math.atan2(math.sqrt(3.0) * (green - blue), 2.0 * red - green - blue))
        assert (found - hue + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=15.0), (name, found % 360.0)


# colour-science 0.4.7 and luxpy 1.12.5: D65 is 6502.7 K, D_uv +0.0032; illuminant A 2856 K (CIE 15), on the curve. The
# cut grid of 380 to 730 nm moves a warm black body by a thousandth.
@pytest.mark.parametrize(
    "xy, temperature_k, duv", [((0.31271, 0.32902), 6502.7, 0.0032), ((0.44758, 0.40745), 2856.0, 0.0)]
)
def test_the_nearest_temperature_of_the_standard_illuminants(xy, temperature_k, duv):
    found_k, found_duv = nearest_temperature(xy)
    assert found_k == pytest.approx(temperature_k, rel=1e-3) and found_duv == pytest.approx(duv, abs=1e-4)


def test_green_lies_above_and_magenta_below():
    assert nearest_temperature((0.33, 0.38))[1] > 0.01 and nearest_temperature((0.33, 0.30))[1] < -0.01
