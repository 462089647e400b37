"""Exposure against ISO 2720, ISO 10157 and ISO 1230 relations, published EV tables and worked examples."""

from __future__ import annotations

import math

import numpy as np
import pytest

from projector.photometry import exposure


# Wikipedia, "Exposure value", table 3 (mirror
# https://liquisearch.com/exposure_value/ev_as_a_measure_of_luminance_and_illuminance).
@pytest.mark.parametrize(
    "ev, lux",
    [
        (0, 2.5),
        (3, 20),
        (5, 80),
        (8, 640),
        (10, 2560),
        (12, 10240),
        (13, 20480),
        (14, 40960),
        (15, 81920),
        (16, 163840),
    ],
)
def test_exposure_value_to_lux(ev, lux):
    assert exposure.illuminance_for_exposure_value(ev) == lux
    assert exposure.illuminance_for_settings(1.0, 2.0**-ev, 100.0) == pytest.approx(lux)


@pytest.mark.parametrize("ev, luminance", [(3, 1), (10, 128), (13, 1024), (15, 4096)])
def test_exposure_value_to_luminance(ev, luminance):
    # Same table, K = 12.5.
    assert exposure.luminance_for_settings(1.0, 2.0**-ev, 100.0) == pytest.approx(luminance)


def test_worked_example_f16_at_one_over_speed():
    # https://www.photrio.com thread 135325 on the ANSI exposure-meter text: K 12.5, S 125, f/16 gives 3200 cd/m².
    assert exposure.luminance_for_settings(16.0, 1.0 / 125.0, 125.0) == pytest.approx(3200.0)
    assert exposure.illuminance_for_settings(16.0, 1.0 / 125.0, 125.0) == pytest.approx(64000.0)
    assert exposure.exposure_value(16.0, 1.0 / 100.0, 100.0) == pytest.approx(14.644, abs=5e-4)


def test_worked_example_f8():
    # N²/t = E·S/C (ISO 2720): 64·125·2.5; with the exact 1/128 s it is EV 13.
    assert exposure.illuminance_for_settings(8.0, 1.0 / 125.0, 100.0) == pytest.approx(20000.0)
    assert exposure.exposure_value(8.0, 1.0 / 128.0) == pytest.approx(13.0)
    assert exposure.f_number_for_illuminance(20000.0, 1.0 / 125.0, 100.0) == pytest.approx(8.0)
    assert exposure.shutter_for_illuminance(20000.0, 8.0, 100.0) == pytest.approx(1.0 / 125.0)


# H = N²·C/S with exact half-stop f-numbers behind the marks.
@pytest.mark.parametrize(
    "half_stops, luminous_exposure", [(3, 20), (4, 40), (5, 80), (6, 160), (7, 320), (8, 640), (9, 1280)]
)
def test_flash_exposure_at_full_stops(half_stops, luminous_exposure):
    f_number = math.sqrt(2.0) ** half_stops
    assert exposure.luminous_exposure_for_flash(f_number, 100.0) == pytest.approx(luminous_exposure)
    assert exposure.f_number_for_luminous_exposure(luminous_exposure, 100.0) == pytest.approx(f_number)


def test_dome_reads_a_receptor_constant_lower():
    # ISO 2720:1974: 250 common for flat, 330 within 320–340 for domes; f/8 at ISO 100 is then 211.2 lx·s, 0.40 stop
    # more.
    dome = exposure.luminous_exposure_for_flash(8.0, 100.0, exposure.C_DOME)
    assert dome == pytest.approx(211.2)
    assert exposure.stops_between(dome, 160.0) == pytest.approx(0.40, abs=0.005)


def test_guide_number_of_36_metres():
    # ISO 1230: GN = N·d. 36 m at 4.5 m is f/8, which is 160 lx·s there and, by inverse squares, 3240 lx·s at 1 m.
    assert exposure.f_number_for_guide_number(36.0, 4.5) == pytest.approx(8.0)
    assert exposure.guide_number(3240.0) == pytest.approx(36.0)
    assert exposure.guide_number(3240.0, iso=200.0) == pytest.approx(50.9, abs=0.05)
    assert exposure.guide_number(3240.0 / 2.0) == pytest.approx(25.5, abs=0.05)
    assert exposure.f_number_for_guide_number(36.0, 4.5, iso=200.0) == pytest.approx(8.0 * math.sqrt(2.0))


@pytest.mark.parametrize(
    "reflected, incident, grey",
    [(12.5, 250.0, 0.157), (14.0, 250.0, 0.176), (12.5, 330.0, 0.119), (14.32, 250.0, 0.18)],
)
def test_reflected_and_incident_meters_agree_on_the_grey_they_are_built_for(reflected, incident, grey):
    # ISO 2720: L = K·N²/(t·S) and E = C·N²/(t·S); a matt card sends back L = ρE/π, so ρ = πK/C (Wikipedia, "Light
    # meter").
    luminance = exposure.luminance_for_settings(5.6, 1.0 / 60.0, 400.0, reflected)
    illuminance = exposure.illuminance_for_settings(5.6, 1.0 / 60.0, 400.0, incident)
    assert math.pi * luminance / illuminance == pytest.approx(grey, abs=5e-4)


def test_nominal_marks_are_near_the_exact_third_stops():
    # ISO 517 marks against 2^(i/6); f/11 and f/22 stray most, 0.081 stop.
    marks = {1.4: 3, 2.8: 9, 5.6: 15, 8.0: 18, 11.0: 21, 16.0: 24, 22.0: 27, 32.0: 30}
    deviations = [abs(exposure.stops_between_f_numbers(mark, 2.0 ** (sixths / 6.0))) for mark, sixths in marks.items()]
    assert max(deviations) == pytest.approx(0.081, abs=5e-4)


def test_lighting_ratios_and_distances_in_stops():
    for ratio, stops in ((2.0, 1.0), (3.0, 1.585), (4.0, 2.0), (8.0, 3.0)):
        assert exposure.stops_between(ratio, 1.0) == pytest.approx(stops, abs=5e-4)
    for distance, stops in ((2.0, -2.0), (1.4, -0.97), (1.5, -1.17)):
        assert exposure.stops_between(distance**-2.0, 1.0) == pytest.approx(stops, abs=0.005)
    assert exposure.stops_between(0.0, 1.0) == -math.inf


def test_flash_and_steady_light_add():
    # Each meters f/8 alone; together 320 lx·s, which is f/11 (exactly 8·√2).
    steady = exposure.illuminance_for_settings(8.0, 1.0 / 125.0, 100.0)
    both = exposure.combined_luminous_exposure(160.0, steady, 1.0 / 125.0)
    assert exposure.f_number_for_luminous_exposure(both, 100.0) == pytest.approx(8.0 * math.sqrt(2.0))


def test_metered_exposure_renders_a_reflectance_as_itself():
    for f_number, iso in ((8.0, 100.0), (2.8, 400.0)):
        metered = exposure.luminous_exposure_for_flash(f_number, iso)
        assert 0.18 * metered * exposure.picture_scale(f_number, iso) == pytest.approx(0.18)


def test_flash_duration_of_an_exponential_decay():
    # t0.1/t0.5 = ln 10/ln 2; half-peak definition: CIE ILV 17-26-071, https://cie.co.at/eilvterm/17-26-071
    assert exposure.duration_tenth_from_half(1.0) == pytest.approx(3.3219, abs=5e-5)
    decay = exposure.decay_time_from_half_peak(0.6931)
    assert decay == pytest.approx(1.0, abs=1e-4)
    assert exposure.flash_share_within(math.log(2.0), 1.0) == pytest.approx(0.5)
    assert exposure.flash_share_within(math.log(10.0), 1.0) == pytest.approx(0.9)
    for open_time, stops in ((1.0, 0.662), (2.0, 0.210), (3.0, 0.074)):
        assert exposure.stops_cut_by_shutter(open_time, math.log(2.0)) == pytest.approx(stops, abs=5e-4)


def test_stops_of_arrays_keep_their_shape():
    np.testing.assert_allclose(
        exposure.stops_between(np.array([[1.0, 2.0], [4.0, 0.5]]), 1.0), [[0.0, 1.0], [2.0, -1.0]]
    )
