"""The thin lens against worked examples of a textbook, closed forms and numbers frozen from ray-tracing libraries.

OS3 = OpenStax, University Physics Volume 3, "Thin Lenses" and "The Camera"; optiland 0.6.3; scikit-image 0.26.0.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from projector.optics import thin_lens

SHARP_M = 1.0 / (1.0 / 0.100 - 1.0 / 0.103)


def test_a_slide_is_projected_where_the_textbook_says():
    # OS3, slide projector: f 100 mm, slide 103 mm behind the lens, 24.0 × 36.0 mm: screen at 3.43 m, picture 0.800 ×
    # 1.20 m.
    throw = thin_lens.conjugate_distance(0.100, 0.103)
    assert throw == pytest.approx(3.433333, abs=5e-7)
    size = thin_lens.magnification(0.103, throw)
    assert size == pytest.approx(33.33, abs=0.005)
    assert (0.0240 * size, 0.0360 * size) == pytest.approx((0.800, 1.20), abs=5e-4)
    assert thin_lens.focal_length_for(size, throw) == pytest.approx(0.100, rel=1e-12)


# OS3 worked examples and printed answers: object distance, image distance (cm or mm as printed), signed size.
@pytest.mark.parametrize(
    "focal_length, distance, image, size, digits",
    [
        (10.0, 50.0, 12.5, 0.250, 0.005),
        (10.0, 20.0, 20.0, 1.00, 0.005),
        (5.0, 500.0, 5.05, 0.0101, 0.005),
        (5.0, 5000.0, 5.005, 0.001001, 0.0005),
        (50.0, 3000.0, 50.847, 1.695e-2, 0.0005),
        (10.0, 7.50, -30.0, -4.00, 0.05),
        (10.0, 8.50, -56.67, -6.67, 0.005),
        (10.0, 9.50, -190.0, -20.0, 0.5),
    ],
)
def test_images_stand_where_the_textbook_says(focal_length, distance, image, size, digits):
    found = thin_lens.conjugate_distance(focal_length, distance)
    assert found == pytest.approx(image, abs=digits)
    # The textbook's m is minus image over object distance; upright (virtual) images have the sign of a negative
    # distance here.
    assert thin_lens.magnification(distance, found) == pytest.approx(size, rel=3e-3)


def test_gate_and_wall_are_each_others_image():
    for distance in (0.3, 2.0, 50.0):
        tube = thin_lens.conjugate_distance(0.085, distance)
        assert thin_lens.conjugate_distance(0.085, tube) == pytest.approx(distance, rel=1e-12)


def test_a_camera_frame_covers_what_the_textbook_says():
    # OS3: f 50.0 mm at 3.00 m, a 36 mm frame covers 2.12 m.
    assert 0.036 * thin_lens.magnification(thin_lens.conjugate_distance(0.050, 3.0), 3.0) == pytest.approx(
        2.12, abs=0.005
    )


def test_the_image_of_the_sun_has_the_textbooks_size():
    # OS3: D 1.40e6 km at 1.50e8 km through f 100 mm: 0.933 mm.
    assert 1.40e9 / thin_lens.magnification(0.100, 1.50e11) == pytest.approx(0.933e-3, abs=5e-7)


@pytest.mark.parametrize("wall_m, blur_mm", [(3.0, 3.15534), (4.0, 4.12621)])
def test_blur_disc_on_the_wall(wall_m, blur_mm):
    # Similar triangles, D·|z − s|/s; optiland's real-ray spot at 3000 mm is 3.155339806 mm.
    blur = thin_lens.blur_circle_diameter(0.025, SHARP_M, wall_m)
    assert 1e3 * blur == pytest.approx(blur_mm, abs=5e-6)
    in_gate = thin_lens.gate_blur_diameter(0.025, 0.103, 1.0 / SHARP_M, 1.0 / wall_m)
    assert in_gate * thin_lens.magnification(0.103, wall_m) == pytest.approx(blur, rel=1e-12)
    # The edge it leaves: 10–90 % over 2.16787 and 2.83491 mm.
    assert 1e3 * thin_lens.DISC_EDGE_10_90 * blur == pytest.approx({3.0: 2.16787, 4.0: 2.83491}[wall_m], abs=1e-5)


# Exact thin-lens depth of field, near = s·h/(h + s − f), far = s·h/(h − s + f), h = f²/(Nc); c = 0.030 mm.
@pytest.mark.parametrize(
    "focal_length, f_number, focus, near, far",
    [(50.0, 2.8, 3000.0, 2729.456, 3330.077), (85.0, 1.8, 2000.0, 1971.778, 2029.041)],
)
def test_blur_at_the_limits_of_the_depth_of_field_is_the_circle_of_confusion(focal_length, f_number, focus, near, far):
    tube = thin_lens.conjugate_distance(focal_length, focus)
    for limit in (near, far):
        # Limits printed to a µm of some metres: 1e-5 of the blur.
        assert thin_lens.gate_blur_diameter(focal_length / f_number, tube, 1.0 / focus, 1.0 / limit) == pytest.approx(
            0.030, rel=1e-4
        )


def test_focused_at_the_hyperfocal_distance_all_from_its_half_to_infinity_is_within_the_circle():
    # Wikipedia, "Hyperfocal distance": f 50 mm, f/8, c 0.03 mm: 10 467 mm; near limit at half of it.
    hyperfocal = 10466.67
    tube = thin_lens.conjugate_distance(50.0, hyperfocal)
    for inverse_limit in (0.0, 1.0 / 5233.33):
        assert thin_lens.gate_blur_diameter(50.0 / 8.0, tube, 1.0 / hyperfocal, inverse_limit) == pytest.approx(
            0.03, rel=1e-5
        )


ANGLES_OF_VIEW = {
    24: (73.740, 53.130, 84.062),
    28: (65.470, 46.397, 75.381),
    35: (54.432, 37.849, 63.440),
    50: (39.598, 26.991, 46.793),
    65: (30.957, 20.920, 36.817),
    85: (23.913, 16.071, 28.558),
    100: (20.408, 13.686, 24.414),
    135: (15.189, 10.159, 18.208),
    200: (10.286, 6.867, 12.347),
}


@pytest.mark.parametrize("focal_length_mm", ANGLES_OF_VIEW)
def test_angles_of_view_are_the_published_ones(focal_length_mm):
    # B. Claff, "Angle of View Values for Common Focal Lengths" (2006), to 0.1°; three decimals from 2·atan(d/2f).
    for length_mm, degrees in zip((36.0, 24.0, 43.2666), ANGLES_OF_VIEW[focal_length_mm], strict=True):
        assert math.degrees(thin_lens.angle_of_view(focal_length_mm, length_mm)) == pytest.approx(degrees, abs=6e-4)
        # A gate seen from the lens is the same triangle.
        assert math.degrees(thin_lens.beam_angle(length_mm, focal_length_mm)) == pytest.approx(degrees, abs=6e-4)


@pytest.mark.parametrize("low, width", [(0.10, 0.687049), (0.05, 0.805384), (0.20, 0.491862), (0.25, 0.403973)])
def test_an_edge_through_a_uniform_disc_has_its_widths(low, width):
    # Closed form; scikit-image's disk(50) gives 0.68697 for 10–90 %.
    first, last = (
        brentq(lambda x, level=level: thin_lens.disc_edge_spread(x) - level, -0.5, 0.5) for level in (low, 1.0 - low)
    )
    assert last - first == pytest.approx(width, abs=6e-7)
    if low == 0.10:
        assert pytest.approx(last - first, abs=6e-7) == thin_lens.DISC_EDGE_10_90


def test_an_edge_through_a_disc_is_the_share_of_a_fine_drawn_disc():
    # A disc drawn 1500 pixels wide and summed by columns, as scikit-image draws it; a rim pixel more or less is 1/1500.
    from skimage.morphology import disk

    drawn = disk(750)
    share = np.cumsum(drawn.sum(axis=0)) / drawn.sum()
    positions = (np.arange(drawn.shape[1]) + 0.5 - 750.0) / 1500.0
    np.testing.assert_allclose([thin_lens.disc_edge_spread(x) for x in positions], share, atol=1.0 / 1500.0)
    assert thin_lens.disc_edge_spread(-0.7) == 0.0 and thin_lens.disc_edge_spread(0.7) == 1.0


def test_an_edge_is_steepest_in_the_middle_by_four_over_pi():
    step = 1e-5
    slope = (thin_lens.disc_edge_spread(step) - thin_lens.disc_edge_spread(-step)) / (2.0 * step)
    assert slope == pytest.approx(4.0 / math.pi, rel=1e-8)


@pytest.mark.parametrize(
    "degrees, share, stops",
    [(10, 0.94060, -0.088), (20, 0.77973, -0.359), (30, 0.56250, -0.830), (40, 0.34436, -1.538), (45, 0.25, -2.0)],
)
def test_light_falls_with_the_fourth_power_of_the_cosine(degrees, share, stops):
    # cos⁴θ, any radiometry text.
    aside = 3.0 * math.tan(math.radians(degrees))
    ratio = thin_lens.pupil_to_point_irradiance(
        1.0, 0.6 * aside, 0.8 * aside, 3.0
    ) / thin_lens.pupil_to_point_irradiance(1.0, 0.0, 0.0, 3.0)
    assert ratio == pytest.approx(share, abs=5e-6)
    assert math.log2(ratio) == pytest.approx(stops, abs=5e-4)


def test_a_small_source_over_a_table_lights_as_the_worked_example_says():
    # H. C. Verma, Concepts of Physics 1, ch. 22: 25 lx below, 2.4 m up, 1.8 m aside: 25·(2.4/3.0)⁴ = 10.24 lx.
    straight, aside = (thin_lens.pupil_to_point_irradiance(1.0, x, 0.0, 2.4) for x in (0.0, 1.8))
    assert 25.0 * aside / straight == pytest.approx(10.24, abs=1e-9)


def test_illuminance_behind_a_lens_is_the_worked_examples():
    # I. E. Irodov, Problems in General Physics, 5.38: L 260 cd/m², D : f = 1 : 3.5, 10 % lost: 15.0 lx.
    area = math.pi / 4.0 / 3.5**2
    assert 0.9 * 260.0 * thin_lens.pupil_to_point_irradiance(area, 0.0, 0.0, 1.0) == pytest.approx(15.0, abs=0.05)


def test_a_filled_pupil_lights_the_screen_as_its_disc_does():
    # L 2.0e6 cd/m² over a 25 mm pupil, τ 0.90, 3.43333 m: τLA/z² = 74.957 lx; the exact disc, πτL·sin²θ, 74.956 lx.
    area = math.pi * 0.0125**2
    centre = 0.9 * 2.0e6 * thin_lens.pupil_to_point_irradiance(area, 0.0, 0.0, SHARP_M)
    assert centre == pytest.approx(74.957, abs=5e-4)
    # The corner of the 0.800 × 1.20 m picture: 11.86° off axis, cos⁴ = 0.91729.
    corner = 0.9 * 2.0e6 * thin_lens.pupil_to_point_irradiance(area, 0.6, 0.4, SHARP_M)
    assert corner / centre == pytest.approx(0.91729, abs=5e-5)
