"""LED lamps set to a colour: they give the chromaticity that they are set to, or say what they can give."""

from __future__ import annotations

import colour as colour_science
import numpy as np
import pytest

from projector.photometry import spectra
from projector.photometry.colour import xy_from_xyz, xyz_from_spectrum
from projector.photometry.colour_led import (
    LAMPS,
    OutOfReach,
    emitter,
    nearest_in_reach,
    reach,
    set_to_xy,
    xy_of_hue,
)


def chromaticity(spectrum):
    return xy_from_xyz(xyz_from_spectrum(spectrum))


@pytest.mark.parametrize("peak, width", [(630.0, 20.0), (460.0, 24.0), (555.0, 25.0)])
def test_a_chip_has_the_published_shape(peak, width):
    """Y. Ohno, Optical Engineering 44, 111302 (2005), as colour-science has it."""
    shape = colour_science.SpectralShape(380, 730, 5)
    judge = colour_science.colorimetry.sd_single_led_Ohno2005(peak, width, shape).values
    np.testing.assert_allclose(emitter(peak, width), judge, atol=1e-12)


@pytest.mark.parametrize("lamp", LAMPS)
@pytest.mark.parametrize("xy", [(0.40, 0.40), (0.33, 0.34), (0.20, 0.15), (0.30, 0.60), (0.60, 0.36)])
def test_a_lamp_gives_the_chromaticity_it_is_set_to(lamp, xy):
    spectrum = set_to_xy(xy, lamp)
    np.testing.assert_allclose(chromaticity(spectrum), xy, atol=1e-9)
    assert spectrum.min() >= 0.0 and spectra.luminous(spectrum) == pytest.approx(1.0, rel=1e-12)


def test_another_library_sees_the_colour_that_was_set():
    """CIE 1931 by colour-science, its own tables and interpolation, every nanometre; sums over 5 nm of chips 20 nm wide
    are right to 1e-3.
    """
    every_nm = colour_science.SpectralShape(380, 730, 1)
    observer = colour_science.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().trim(every_nm).values
    judge = colour_science.SpectralDistribution(set_to_xy((0.25, 0.20), "rgbaw"), spectra.WAVELENGTHS_NM)
    seen = judge.interpolate(every_nm).values @ observer
    np.testing.assert_allclose(seen[:2] / seen.sum(), (0.25, 0.20), atol=1e-3)


@pytest.mark.parametrize("white_k", [3200.0, 5600.0])
def test_near_white_a_lamp_with_white_is_all_white(white_k):
    """Set to its white's own colour it is that emitter alone, and next to it nearly so: no step."""
    np.testing.assert_allclose(set_to_xy(spectra.white_xy(white_k), "rgbw", white_k), spectra.led(white_k), rtol=1e-9)
    near = set_to_xy(spectra.white_xy(white_k) + 1e-4, "rgbaw", white_k)
    assert np.abs(near - spectra.led(white_k)).max() < 0.01 * near.max()


@pytest.mark.parametrize("lamp", LAMPS)
def test_a_setting_turns_without_a_step_where_other_emitters_take_over(lamp):
    """Half the turn changes half as much; at a step it would change as much."""
    coarse, fine = (
        np.abs(np.diff([set_to_xy(xy_of_hue(hue, 0.7), lamp) for hue in np.arange(0.0, 360.1, step)], axis=0)).max()
        for step in (0.5, 0.25)
    )
    assert fine < 0.55 * coarse


def test_the_dial_has_red_green_and_blue_where_it_says_and_white_in_the_middle():
    for hue, corner in zip((0.0, 120.0, 240.0), reach("rgb"), strict=True):
        np.testing.assert_allclose(xy_of_hue(hue, 1.0), corner, atol=1e-12)
    for hue in (0.0, 77.0, 200.0):
        np.testing.assert_allclose(xy_of_hue(hue, 0.0, 4000.0), spectra.white_xy(4000.0), atol=1e-12)
    np.testing.assert_allclose(xy_of_hue(-90.0, 0.6), xy_of_hue(270.0, 0.6), atol=1e-12)


def test_opposite_hues_lie_on_opposite_sides_of_the_white():
    white = spectra.white_xy(5600.0)
    for hue in (0.0, 60.0, 120.0):
        one, other = xy_of_hue(hue, 1.0) - white, xy_of_hue(hue + 180.0, 1.0) - white
        # Additive mixture: both lie on one line through the white (Grassmann).
        assert one[0] * other[1] == pytest.approx(one[1] * other[0], abs=1e-12) and one @ other < 0.0


def test_amber_widens_what_can_be_mixed():
    with pytest.raises(OutOfReach):
        set_to_xy((0.578, 0.418), "rgbw")
    np.testing.assert_allclose(chromaticity(set_to_xy((0.578, 0.418), "rgbaw")), (0.578, 0.418), atol=1e-9)


@pytest.mark.parametrize("xy", [(0.05, 0.85), (0.7, 0.1), (0.0, 0.0), (1.0, 1.0), (0.1, 0.4)])
def test_out_of_reach_says_what_is_within_and_the_nearest_can_be_set(xy):
    with pytest.raises(OutOfReach, match="between red") as caught:
        set_to_xy(xy)
    nearest = caught.value.nearest
    np.testing.assert_allclose(chromaticity(set_to_xy(nearest)), nearest, atol=1e-9)
    # Nothing on the rim looks nearer, but for how far inside the answer lies (CIE 1976 by colour-science).
    corners = reach("rgbw")
    steps = np.linspace(0.0, 1.0, 200)[:, None]
    rim = np.concatenate(
        [one + steps * (other - one) for one, other in zip(corners, np.roll(corners, -1, axis=0), strict=True)]
    )
    seen = colour_science.xy_to_Luv_uv
    least = np.linalg.norm(seen(rim) - seen(np.array(xy)), axis=1).min()
    assert np.linalg.norm(seen(np.array(nearest)) - seen(np.array(xy))) < least + 0.002
    assert nearest == nearest_in_reach(xy)
