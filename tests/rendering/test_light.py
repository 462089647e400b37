"""How much light lands: inverse square, cos⁴, conserved flux, sums, and the size of the pupil."""

from __future__ import annotations

import math

import numpy as np
import pytest

from projector.optics.dispersion import LINE_D_NM
from projector.rendering.maps.irradiance import irradiance_map
from projector.stage.optics import light_arrays


def open_scene(studio, distance=2.0, wall=0.1, **projector):
    base = {"position_m": [0.0, 1.5, distance], "focus": {"distance_m": 2.0}}
    return studio.scene({**base, **projector}, {"width_m": wall, "height_m": wall})


def middle(found):
    rows, columns = found.illuminance.shape
    return float(found.illuminance[rows // 2, columns // 2])


def test_the_meter_shows_what_the_reading_said(studio):
    """H = N²·C/S with C = 250 (ISO 2720, flat receptor): f/8 at ISO 100 is 160 lx·s, as a published worked example has
    it.
    """
    assert middle(irradiance_map(open_scene(studio), n_across=17)) == pytest.approx(160.0, rel=0.002)


def test_lux_and_watts_are_of_the_same_light(studio):
    """White light of equal energy carries 683 lm/W · ∫V dλ / 350 nm over 380 to 730 nm: 208.51 lm/W, with 106.8569 nm
    of V (CIE 018:2019, at 1 nm from 360 to 830 nm; what lies beyond the band is 7e-5 of it)."""
    found = irradiance_map(open_scene(studio, source={"kind": "equal_energy"}), n_across=17)
    assert middle(found) / float(found.irradiance[8, 8]) == pytest.approx(683.0 * 106.8569 / 350.0, rel=2e-4)


@pytest.mark.parametrize(("distance", "stops"), [(4.0, -2.0), (3.0, -2.0 * math.log2(1.5))])
def test_light_falls_with_the_square_of_the_distance_from_the_lens(studio, distance, stops):
    """At fixed tube length, as for any small source (textbook); 0.01 stop for the pupil's own size at 2 m."""
    near = middle(irradiance_map(open_scene(studio, 2.0), n_across=17))
    far = middle(irradiance_map(open_scene(studio, distance), n_across=17))
    assert math.log2(far / near) == pytest.approx(stops, abs=0.01)


@pytest.mark.parametrize("degrees", [5.0, 10.0, 13.0])
def test_light_falls_with_the_fourth_power_of_the_cosine(studio, degrees):
    """cos⁴ law (any radiometry text): 10° leaves 0.9406, 13° −0.15 stop.

    Pupil f/16 at 2 m: its own size is below 1e-4.
    """
    aside = 2.0 * math.tan(math.radians(degrees))
    scene = studio.scene(
        {"lens": {"f_number": 16.0}, "gate": {"diameter_mm": 70.0}, "aim": [0.0, 1.5, 0.0]},
        surfaces=[
            {"name": "wall", "shape": "flat", "position_m": [aside, 1.5, 0.0], "width_m": 0.02, "height_m": 0.02}
        ],
    )
    on_axis = middle(
        irradiance_map(open_scene(studio, lens={"f_number": 16.0}, gate={"diameter_mm": 70.0}), n_across=17)
    )
    assert middle(irradiance_map(scene, n_across=17)) / on_axis == pytest.approx(
        math.cos(math.radians(degrees)) ** 4, rel=0.002
    )


@pytest.mark.parametrize("distance", [1.2, 2.0, 4.0])
def test_the_flux_through_a_closing_wall_is_the_same_everywhere(studio, distance):
    """Φ = π·L·A·F between coaxial discs (configuration factor of Siegel & Howell's catalogue), within 0.5 %."""
    lens = {"focal_length_mm": 85.0, "f_number": 1.8}
    scene = open_scene(studio, distance, wall=0.75 * distance, lens=lens, gate={"diameter_mm": 50.0})
    light = light_arrays(scene, scene.projector[0], [LINE_D_NM])
    found = irradiance_map(scene, n_across=500)
    texel = (0.75 * distance / 500) ** 2
    flux = float(found.illuminance.sum(dtype=float)) * texel
    # Luminance from the reading's own law: 160 lx·s on the axis at 2.00 m from a disc of radius r: L·π·r²/(r² + d²).
    luminance = 160.0 / (math.pi * light.emitter.radius**2 / (light.emitter.radius**2 + 4.0))
    sharp = 1.0 / float(light.inverse_sharp[0])
    image_radius = 0.025 * sharp / light.tube_length
    x, y = light.emitter.radius / sharp, image_radius / sharp
    z = 1.0 + (1.0 + y * y) / (x * x)
    factor = 0.5 * (z - math.sqrt(z * z - 4.0 * (y / x) ** 2))
    assert flux == pytest.approx(luminance * math.pi * math.pi * light.emitter.radius**2 * factor, rel=0.005)


def test_two_projectors_add(studio):
    one = {"position_m": [-0.5, 1.5, 2.0], "stencil": {"file": studio.half_plane(512), "width_mm": 30.0}}
    two = {"name": "other", "position_m": [0.6, 1.5, 1.8]}
    both = irradiance_map(studio.scene(one, more_projectors=[two]), n_across=64)
    alone = [irradiance_map(studio.scene(item), n_across=64) for item in (one, two)]
    assert np.allclose(both.illuminance, alone[0].illuminance + alone[1].illuminance, rtol=1e-5, atol=1e-4)


def test_half_the_pupil_area_is_half_the_light(studio):
    """The reading was taken at f/2.8 and the ring is then turned to f/4: marks are taken as typed, (2.8/4)² = 0.49."""
    wide = open_scene(studio, lens={"f_number": 2.8})
    stopped = open_scene(
        studio, lens={"f_number": 4.0}, reading={"f_number": 8.0, "iso": 100.0, "distance_m": 2.0, "lens_f_number": 2.8}
    )
    ratio = middle(irradiance_map(stopped, n_across=17)) / middle(irradiance_map(wide, n_across=17))
    assert ratio == pytest.approx((2.8 / 4.0) ** 2, rel=0.002)


def test_an_unfilled_lens_loses_no_light_until_the_stop_bites(studio):
    reading = {"f_number": 8.0, "iso": 100.0, "distance_m": 2.0, "lens_f_number": 2.0}
    levels = []
    for f_number in (2.0, 4.0, 5.6, 8.0):
        lens = {"f_number": f_number, "filled_pupil_mm": 18.0}
        levels.append(middle(irradiance_map(open_scene(studio, lens=lens, reading=reading), n_across=17)))
    # 85 mm: f/4 is 21.25 mm wide and lets all of the 18 mm through, f/5.6 is 15.2 mm.
    assert levels[1] == pytest.approx(levels[0], rel=1e-6)
    assert levels[2] / levels[0] == pytest.approx((85.0 / 5.6 / 18.0) ** 2, rel=0.002)
    assert levels[3] / levels[0] == pytest.approx((85.0 / 8.0 / 18.0) ** 2, rel=0.002)


def test_the_hot_spot_dims_the_edge_by_the_stops_given(studio):
    gate = {"diameter_mm": 40.0, "edge_falloff_stops": 1.0}
    tube = 1.0 / (1.0 / 0.085 - 0.5)
    radius = 0.020 * 2.0 / tube
    flat = irradiance_map(
        open_scene(studio, wall=2.0 * radius, lens={"f_number": 16.0}, gate={"diameter_mm": 40.0}), n_across=201
    )
    hot = irradiance_map(open_scene(studio, wall=2.0 * radius, lens={"f_number": 16.0}, gate=gate), n_across=201)
    row = slice(5, 196)
    share = hot.illuminance[100, row] / flat.illuminance[100, row]
    x = (np.arange(201)[row] + 0.5) / 201 * 2.0 - 1.0
    assert share == pytest.approx(2.0 ** -(x**2), rel=0.005)


def test_lumens_through_the_lens_light_an_even_disc(studio):
    """Worked example, common practice: 1500 lm on an even disc of 1.20 m are 1326 lx in the mean."""
    tube = 1.0 / (1.0 / 0.085 - 0.5)
    gate = {"diameter_mm": 1200.0 * tube / 2.0}
    scene = open_scene(studio, wall=1.5, gate=gate, lens={"f_number": 8.0}, reading=None, output={"lumens": 1500.0})
    found = irradiance_map(scene, n_across=600)
    assert not found.is_flash
    flux = float(found.illuminance.sum(dtype=float)) * (1.5 / 600) ** 2
    assert flux == pytest.approx(1500.0, rel=0.005)
    assert flux / (math.pi * 0.36) == pytest.approx(1326.0, rel=0.006)


def test_a_veil_of_ambient_light_lowers_contrast_as_the_sum_says(studio):
    """(P + a)/a: ambient equal to the pattern leaves 1 stop, two stops under it 2.32 stops (arithmetic of stops)."""
    for under, contrast in ((0.0, 1.0), (2.0, 2.3219)):
        scene = studio.scene(
            {"stencil": {"file": studio.half_plane(512), "width_mm": 30.0}},
            {"width_m": 0.2, "height_m": 0.1},
            ambient={"stops_under": under},
        )
        values = irradiance_map(scene, n_across=64).illuminance[16]
        assert math.log2(values[-4] / values[4]) == pytest.approx(contrast, abs=0.02)
