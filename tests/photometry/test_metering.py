"""How a meter's numbers are called and how lights compare, against standards and worked examples."""

from __future__ import annotations

import math

import pytest

from projector.photometry import metering
from projector.photometry.exposure import f_number_for_luminous_exposure, stops_between


@pytest.mark.parametrize(
    ("f_number", "third", "shown"),
    [
        # Marks of ISO 517 (from memory) beside the exact 2^(i/6): 5.6569, 6.3496, 7.1272, 11.314, 22.627.
        (5.6569, "f/5.6", "f/5.6"),
        (6.3496, "f/6.3", "f/5.6 + 0.3"),
        (7.1272, "f/7.1", "f/5.6 + 0.7"),
        (11.3137, "f/11", "f/11"),
        (22.627, "f/22", "f/22"),
        (1.0, "f/1", "f/1"),
        (0.7071, "f/0.7", "f/0.7"),
        # Half a tenth under a whole stop is that stop.
        (7.95, "f/8", "f/8"),
        (5.6569 * 2.0**0.47, "f/8", "f/5.6 + 0.9"),
    ],
)
def test_an_f_number_in_thirds_and_as_a_display_has_it(f_number, third, shown):
    assert metering.in_thirds(f_number) == third
    assert str(metering.as_shown(f_number)) == shown


def test_every_mark_is_the_nearest_to_its_own_third():
    """Marks in thirds are rounded: f/3.5 and f/11 stray most, by 0.1 stop at most (ISO 517, from memory)."""
    for number, mark in enumerate(metering.THIRD_MARKS):
        exact = 2.0 ** ((number - 6) / 6.0)
        assert abs(2.0 * math.log2(float(mark) / exact)) < 0.15, mark
        assert metering.in_thirds(exact) == f"f/{mark}"
    for number, mark in enumerate(metering.WHOLE_MARKS):
        assert metering.as_shown(2.0 ** (number / 2.0 - 1.0)) == (mark, 0)


def test_beyond_the_marks_a_number_stays_a_number():
    assert metering.in_thirds(0.2) == "f/0.2"
    assert metering.in_thirds(500.0) == "f/500"
    assert metering.as_shown(0.2) is None and metering.as_shown(500.0) is None


@pytest.mark.parametrize("f_number", [2.8, 5.6, 8.0])
def test_a_flash_of_published_exposure_shows_its_mark(f_number):
    """ISO 100, C 250: f/2.8 20 lx·s, f/5.6 80, f/8 160 (relation of ISO 2720, as tabulated for flash meters)."""
    exposure = {2.8: 20.0, 5.6: 80.0, 8.0: 160.0}[f_number]
    assert metering.in_thirds(f_number_for_luminous_exposure(exposure, 100.0)) == f"f/{f_number:g}"


def test_a_third_of_a_stop_over_f_16_at_iso_400():
    """f/16⅓ is f/18 as marked."""
    assert metering.in_thirds(16.0 * 2.0 ** (1 / 6)) == "f/18"


def test_whole_marks_between_two_are_both_ends_included():
    assert metering.whole_marks_between(4, 6) == [(4, "4"), (5, "5.6"), (6, "8")]
    assert metering.whole_marks_between(4.1, 4.9) == []


@pytest.mark.parametrize(("ratio", "lights", "sides"), [(2.0, 1.0, 0.0), (3.0, 1.585, 1.0), (4.0, 2.0, 1.585)])
def test_a_ratio_has_two_meanings(ratio, lights, sides):
    """3 : 1 of the lights is 1.585 stops, of the sides 1 stop: 0.58 stop apart; 2 : 1 of the sides means equal lights
    (arithmetic of ratios, log2).
    """
    assert metering.stops_for_ratio(ratio, of_sides=False) == pytest.approx(lights, abs=5e-4)
    assert metering.stops_for_ratio(ratio, of_sides=True) == pytest.approx(sides, abs=5e-4)
    if ratio == 3.0:
        assert lights - sides == pytest.approx(0.585, abs=5e-4)
    fill = 40.0
    key = fill * 2.0**lights
    assert metering.ratio_of_lights(key, fill) == pytest.approx(ratio, rel=1e-3)
    assert metering.ratio_of_sides(fill * 2.0**sides, fill) == pytest.approx(ratio, rel=1e-3)


def test_no_fill_is_no_ratio_and_no_difference_is_no_stops():
    assert metering.ratio_of_lights(1.0, 0.0) == math.inf
    assert metering.ratio_of_sides(1.0, 0.0) == math.inf
    assert metering.stops_for_ratio(1.0, of_sides=True) == -math.inf


def test_the_share_of_a_flash_follows_the_shutter():
    """f/5.6 at ISO 100 is 80 lx·s (ISO 2720). Steady light that meters the same at 1/30 s is half of it all there; at
    1/8 s the steady part is 1.907 stops more (marks taken as typed), the flash none.
    """
    steady = 80.0 * 30.0
    assert metering.flash_share(80.0, steady, 1 / 30) == pytest.approx(0.5)
    longer = metering.flash_share(80.0, steady, 1 / 8)
    assert stops_between((1 - longer) / longer, 1.0) == pytest.approx(1.907, abs=1e-3)
    assert metering.flash_share(0.0, 0.0, 1.0) == 0.0 and metering.flash_share(80.0, 0.0, 1.0) == 1.0
