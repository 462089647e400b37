"""Smear and flicker: closed forms, and a lamp summed up instant by instant."""

from __future__ import annotations

import math

import numpy as np
import pytest

from projector.faults import SceneError
from projector.studies.light import timing as study


def test_smear_is_speed_times_time():
    assert study.smear_mm(1.0, 1.0 / 800.0) == pytest.approx(1.25)


def test_t01_is_t05_times_log_10_over_log_2():
    """Exponential decay: e^(−t/τ) falls to a tenth 3.32 times as late as to a half."""
    assert study.flash_length_s(0.001) == pytest.approx(0.0033219, rel=1e-4)


@pytest.mark.parametrize(("shutter_s", "modulation"), [(1 / 125, 1.0), (1 / 60, 0.4), (1 / 400, 0.2)])
def test_bands_are_those_of_a_lamp_summed_up(shutter_s, modulation):
    starts = np.linspace(0.0, 0.01, 400, endpoint=False)
    times = (np.arange(4000) + 0.5) / 4000 * shutter_s
    exposures = (1.0 + modulation * np.cos(2.0 * math.pi * 100.0 * (starts[:, None] + times[None, :]))).mean(axis=1)
    assert study.flicker(shutter_s, 100.0, modulation).bands_stops == pytest.approx(
        math.log2(exposures.max() / exposures.min()), rel=1e-3
    )


def test_the_nearest_whole_shutter_passes():
    found = study.flicker(1 / 160, 100.0)
    assert not found.passes
    assert study.flicker(found.whole_shutter_s, 100.0).passes


def test_a_shutter_beyond_sync_lets_the_flash_light_a_strip():
    """A slit of 1/400 s under blinds that cross in 1/200 s is half of the frame wide (geometry of a shutter with two
    blinds).
    """
    beyond = study.flash_in_shutter(1 / 400, 1 / 200)
    assert beyond.lit_frame_share == pytest.approx(0.5) and not beyond.is_whole
    assert study.flash_in_shutter(1 / 200).is_whole and study.flash_in_shutter(1 / 60, 1 / 200, 1 / 500).is_whole
    assert study.flash_in_shutter(1 / 400, 1 / 500).is_whole


def test_the_strip_and_its_fade_are_those_of_a_flash_summed_line_by_line():
    """Each line of the frame is open for the shutter time, one after the other within the sync time; the flash fires
    when the first blind has crossed and decays exponentially. Lit are the lines that get any, fading those that miss
    its last tenth.
    """
    shutter, sync, tenth = 1 / 400, 1 / 200, 1 / 1600
    lines = (np.arange(100_000) + 0.5) / 100_000
    open_for = np.clip(lines * sync + shutter - sync, 0.0, shutter)
    light = 1.0 - np.exp(-open_for * math.log(10.0) / tenth)
    found = study.flash_in_shutter(shutter, sync, tenth)
    assert found.lit_frame_share == pytest.approx((light > 0.0).mean(), abs=1e-4)
    assert found.fading_frame_share == pytest.approx(((light > 0.0) & (light < 0.9)).mean(), abs=1e-4)


@pytest.mark.parametrize(
    "call",
    [
        lambda: study.flash_in_shutter(0.01, 0.0),
        lambda: study.flash_in_shutter(0.01, 0.005, -1.0),
        lambda: study.smear_mm(0.0, 1.0),
        lambda: study.flash_length_s(-1.0),
        lambda: study.flicker(math.nan, 100.0),
        lambda: study.flicker(0.01, 100.0, 1.5),
    ],
)
def test_impossible_times_get_plain_words(call):
    with pytest.raises(SceneError):
        call()
