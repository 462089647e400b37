"""Edges of known width, place and tint, drawn in closed form, read back from pixels; and what cannot be read is
refused.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import erf

from projector.faults import SceneError
from projector.optics.thin_lens import disc_edge_spread
from projector.studies.lenses.slanted_edge import edge_reading

# 10–90 % width of the normal distribution over its standard deviation: 2 · 1.281552, any table of it.
GAUSSIAN_10_90 = 2.563103


def linear(coded):
    return coded


def edge(rise, angle_deg=5.0, width=200, height=150, shifts=(0.0, 0.0, 0.0), dark=0.02, bright=0.8, bright_right=True):
    """A photograph (h, w, 3): rise(distance in pixels from the edge), shifted by so many pixels in each channel."""
    rows, columns = np.indices((height, width))
    angle = np.radians(angle_deg)
    distance = (columns - 0.5 * (width - 1)) * np.cos(angle) - (rows - 0.5 * (height - 1)) * np.sin(angle)
    sign = 1.0 if bright_right else -1.0
    return np.stack([dark + (bright - dark) * rise(sign * distance - shift) for shift in shifts], axis=2)


def gaussian(sigma):
    return lambda distance: 0.5 * (1.0 + erf(distance / (np.sqrt(2.0) * sigma)))


def disc(diameter):
    return np.vectorize(lambda distance: disc_edge_spread(distance / diameter))


@pytest.mark.parametrize("angle_deg", [2.5, 5.0, 12.0, -7.0, 25.0])
@pytest.mark.parametrize("sigma", [2.0, 6.0, 15.0])
def test_a_gaussian_edge_is_as_wide_as_the_normal_distribution_says(angle_deg, sigma):
    """Error budget: bins of a quarter pixel add 0.1 % at two pixels of sigma;
    the parabola through the crossing 0.3 %.
    """
    found = edge_reading(edge(gaussian(sigma), angle_deg), linear, 0.5)
    assert found.widths_mm == pytest.approx([0.5 * GAUSSIAN_10_90 * sigma] * 3, rel=5e-3)
    assert abs(found.angle_deg) == pytest.approx(abs(angle_deg), abs=0.05)


def test_a_disc_edge_is_as_wide_as_its_closed_form_says():
    """0.687 of the diameter: the chord law solved for 10 and 90 %."""
    found = edge_reading(edge(disc(40.0)), linear, 0.25)
    assert found.widths_mm == pytest.approx([0.25 * 0.687049 * 40.0] * 3, rel=5e-3)


def test_a_lying_edge_and_one_bright_on_the_other_side_read_alike():
    standing = edge(gaussian(4.0), shifts=(0.4, 0.0, -0.7))
    for pixels in (np.swapaxes(standing, 0, 1), standing[:, ::-1], standing[::-1], np.rot90(standing)):
        found = edge_reading(pixels, linear, 1.0)
        assert found.widths_mm == pytest.approx([GAUSSIAN_10_90 * 4.0] * 3, rel=5e-3)
        assert (found.shift_red_mm, found.shift_blue_mm) == pytest.approx((0.4, -0.7), abs=0.01)


def test_shifts_of_channels_are_told_to_a_fiftieth_of_a_pixel_under_noise():
    """Noise of 1 % on 150 rows: a channel's place is sure to 0.01 · √200 / √150 ≈ 0.012 pixels; four of those for a
    difference of two.
    """
    pixels = edge(gaussian(3.0), shifts=(0.33, 0.0, -0.21)) + np.random.default_rng(4).normal(0.0, 0.01, (150, 200, 3))
    found = edge_reading(pixels, linear, 1.0)
    assert found.shift_red_mm == pytest.approx(0.33, abs=0.06)
    assert found.shift_blue_mm == pytest.approx(-0.21, abs=0.06)
    assert found.widths_mm == pytest.approx([GAUSSIAN_10_90 * 3.0] * 3, rel=0.03)


def test_the_area_between_shifted_channels_is_their_shift():
    """Between two equal rises a distance apart lies an area of that distance, whatever their shape."""
    found = edge_reading(edge(gaussian(5.0), shifts=(0.5, 0.0, -1.0)), linear, 0.2)
    assert found.fringe_area_mm == pytest.approx(0.2 * 1.5, rel=0.02)


@pytest.mark.parametrize("bright_right", [True, False])
def test_the_axis_lies_on_the_side_where_it_was_pointed_out(bright_right):
    found = edge_reading(edge(gaussian(4.0), bright_right=bright_right), linear, 0.5, axis=(180.0, 75.0))
    # The middle of the picture lies on the edge, 100 columns in; the normal is turned by 5°.
    expected = 0.5 * 80.0 * np.cos(np.radians(5.0)) * (1.0 if bright_right else -1.0)
    assert found.axis_mm == pytest.approx(expected, abs=0.2)


def test_a_box_is_read_alone():
    pixels = np.zeros((300, 400, 3))
    pixels[100:250, 150:350] = edge(gaussian(4.0))
    found = edge_reading(pixels, linear, 1.0, box=(150, 100, 200, 150), axis=(250.0, 175.0))
    assert found.widths_mm == pytest.approx([GAUSSIAN_10_90 * 4.0] * 3, rel=5e-3)
    assert found.axis_mm == pytest.approx(0.0, abs=0.2)


def test_a_grey_photograph_is_known_and_a_coloured_one_is_not_taken_for_it():
    assert edge_reading(edge(gaussian(4.0)), linear, 1.0).is_grey
    assert not edge_reading(edge(gaussian(4.0)) * (1.0, 0.98, 1.0), linear, 1.0).is_grey


def test_colours_that_the_file_cannot_hold_are_named():
    """Red falls below black on the dark side of the edge, blue rises over white on its bright side,
    green does neither.
    """
    pixels = edge(gaussian(3.0), dark=0.05, bright=0.9)
    dip, hump = (
        edge(lambda distance: np.exp(-(((distance + 12.0) / 5.0) ** 2))),
        edge(lambda distance: np.exp(-(((distance - 12.0) / 5.0) ** 2))),
    )
    pixels[..., 0] -= 0.12 * dip[..., 0]
    pixels[..., 2] += 0.2 * hump[..., 2]
    found = edge_reading(pixels.clip(0.0, 1.0), linear, 1.0)
    assert (found.cut.dark_side, found.cut.below_black, found.cut.above_white) == ((), ("red",), ("blue",))
    whole = edge_reading(edge(gaussian(3.0), dark=0.05, bright=0.9), linear, 1.0)
    assert (whole.cut.dark_side, whole.cut.below_black, whole.cut.above_white) == ((), (), ())


def test_a_dark_side_that_is_black_throughout_is_named():
    assert edge_reading((edge(gaussian(6.0), dark=0.0) - 0.04).clip(0.0, 1.0), linear, 1.0).cut.dark_side == (
        "red",
        "green",
        "blue",
    )


def test_a_channel_without_light_is_refused():
    with pytest.raises(SceneError, match="no edge in green, blue"):
        edge_reading(edge(gaussian(4.0)) * (1.0, 0.0, 0.0), linear, 1.0)


def two_edges():
    pixels = edge(gaussian(3.0))
    pixels[:, 130:150] = 0.02
    return pixels


REFUSED = {
    "clipped": (edge(gaussian(4.0), bright=1.4).clip(0, 1), "clipped in red, green, blue"),
    "too soft": (edge(gaussian(60.0)), "mm soft"),
    "no edge": (np.full((150, 200, 3), 0.4) + np.random.default_rng(2).normal(0, 0.02, (150, 200, 3)), "no edge"),
    "not slanted": (edge(gaussian(4.0), angle_deg=0.2), "slanted by 2"),
    "too steep": (edge(gaussian(4.0), angle_deg=40.0), "slanted by 2"),
    "two edges": (two_edges(), "rises and falls"),
    "too small": (edge(gaussian(2.0))[:30], "40 or more each way"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_cannot_be_read_is_refused_with_the_reason(name):
    pixels, words = REFUSED[name]
    with pytest.raises(SceneError) as caught:
        edge_reading(pixels, linear, 0.5)
    assert words in str(caught.value)
    assert len(caught.value.faults) == 1


def test_a_box_beside_the_photograph_is_refused():
    with pytest.raises(SceneError, match="leaves the photograph of 200 × 150 pixels"):
        edge_reading(edge(gaussian(4.0)), linear, 0.5, box=(150, 0, 100, 100))
