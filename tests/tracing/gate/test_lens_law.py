"""The law of the ray held to an explicit trace through a thin lens, and the pupil's mean geometry to quadrature."""

from __future__ import annotations

import math

import numpy as np
import pytest

from projector.optics import thin_lens
from projector.tracing.gate import lens_law
from projector.tracing.gate.gate_image import open_bitmap, round_gate
from projector.tracing.sight.emitter import in_world, make_emitter
from projector.tracing.sight.outline import make_outline, outline_point
from projector.tracing.sight.points import SURFACE


def plain_light(focal_length=0.085, f_number=2.0, sharp=2.0, pupil=None, **changes):
    tube = thin_lens.conjugate_distance(focal_length, sharp)
    gate = round_gate(0.04)
    inverse = np.array([1.0 / sharp])
    emitter = make_emitter(
        (0.0, 0.0, 0.0),
        ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)),
        pupil or make_outline(),
        0.5 * focal_length / f_number,
    )
    light = lens_law.Projection(
        emitter=emitter,
        tube_length=tube,
        inverse_sharp=inverse,
        lateral=np.ones(1),
        inverse_sharp_range=(1.0 / sharp, 1.0 / sharp),
        lateral_range=(1.0, 1.0),
        distortion=0.0,
        curvature=0.0,
        spherical=0.0,
        gate=gate,
        bitmap=open_bitmap(gate),
        blades=lens_law.without_blades(1),
    )
    return light._replace(**changes)


@pytest.mark.parametrize("seed", range(20))
def test_a_ray_leaves_the_gate_where_an_explicit_thin_lens_sends_it(seed):
    """Ray matrices (any optics text): a ray of slope u at height a leaves a thin lens with slope u − a/f. Traced
    backwards from the scene it meets the gate at a + s·(u' ) behind the lens, inverted; the law is stated upright, so
    the sign turns.
    """
    random = np.random.default_rng(seed)
    focal_length, sharp = random.uniform(0.03, 0.2), random.uniform(1.0, 5.0)
    light = plain_light(focal_length, 2.0, sharp)
    x, y, z = random.uniform(-1, 1), random.uniform(-1, 1), random.uniform(0.8, 6.0)
    ax, ay = random.uniform(-0.02, 0.02, 2)
    places = []
    for point, pupil in ((x, ax), (y, ay)):
        # From the scene towards the lens: the height falls from `point` to `pupil` over z.
        slope = (pupil - point) / z
        places.append(-(pupil + light.tube_length * (slope - pupil / focal_length)))
    scale = lens_law.patch_scale(light, 1.0 / focal_length - 1.0 / light.tube_length, 1.0 / z, 0.0)
    found = [light.tube_length * point / z + scale * pupil for point, pupil in ((x, ax), (y, ay))]
    assert found == pytest.approx(places, abs=1e-12)


@pytest.mark.parametrize("shape", [{}, {"shape": "ring", "inner_fraction": 0.5}, {"shape": "polygon", "n_blades": 6}])
def test_mean_geometry_is_the_integral_over_the_pupil(shape):
    """Against a sum over 60² equal parts of the pupil; the next term of the series is below 1e-4 at f/2 and 1.5 m."""
    light = plain_light(pupil=make_outline(**shape))
    x, y, z = 0.4, -0.3, 1.5
    normal = np.array([0.3, 0.2, -0.9])
    normal /= np.linalg.norm(normal)
    steps = (np.arange(60) + 0.5) / 60
    total = 0.0
    for u in steps:
        for v in steps:
            px, py = outline_point(light.emitter.outline, u, v)
            total += lens_law.pupil_geometry(
                SURFACE, x, y, z, *normal, light.emitter.radius * px, light.emitter.radius * py
            )
    value, correction = lens_law.mean_pupil_geometry(light, x, y, z, *normal)
    assert value == pytest.approx(total / 3600, rel=1e-4)
    assert correction < 0.01


def test_geometry_far_away_is_cosines_over_the_square():
    """cosθ_A · cosθ_P / r² (any radiometry text)."""
    value = lens_law.pupil_geometry(SURFACE, 1.0, 0.0, 3.0, 0.0, 0.0, -1.0, 0.0, 0.0)
    assert value == pytest.approx((3.0 / math.sqrt(10.0)) ** 2 / 10.0)


def test_light_below_a_points_horizon_counts_nothing():
    assert lens_law.pupil_geometry(SURFACE, 0.0, 0.0, 2.0, 0.0, 0.0, 1.0, 0.0, 0.0) == 0.0


@pytest.mark.parametrize(
    ("side", "landed"), [("left", (-1.0, 0.0)), ("right", (1.0, 0.0)), ("top", (0.0, -1.0)), ("bottom", (0.0, 1.0))]
)
def test_a_blade_cuts_the_side_it_is_named_by(side, landed):
    nx, ny, limit = lens_law.half_plane(side, 0.02, 0.005, 0.0)
    assert nx * 0.018 * landed[0] + ny * 0.018 * landed[1] > limit
    assert nx * 0.012 * landed[0] + ny * 0.012 * landed[1] < limit
    assert -nx * 0.018 * landed[0] - ny * 0.018 * landed[1] < limit


def test_a_turned_blade_turns_clockwise_about_its_own_middle():
    """Turned clockwise as seen, the top blade's right end goes down."""
    nx, ny, limit = lens_law.half_plane("top", 0.02, 0.005, math.radians(10.0))
    middle = (0.0, -0.015)
    assert nx * middle[0] + ny * middle[1] == pytest.approx(limit)
    right_end = (0.01, -0.015 + 0.01 * math.tan(math.radians(10.0)))
    assert nx * right_end[0] + ny * right_end[1] == pytest.approx(limit)


def test_pupil_points_lie_in_the_lens_plane():
    emitter = plain_light().emitter._replace(position=(1.0, 2.0, 3.0))
    assert in_world(emitter, 0.01, 0.02) == pytest.approx((1.01, 2.02, 3.0))


def test_a_stencil_in_a_blades_plane_meets_rays_where_the_blade_does():
    """Two ways to one place: the blade's own law, and the law of the gate with the stencil put where the blade stands;
    field, colour, corners and spherical term as the lens has them.
    """
    random = np.random.default_rng(2)
    light = plain_light(curvature=0.4, spherical=3.0, lateral=np.array([1.002]))
    normals, limits = np.array([[0.6, -0.8]]), np.array([0.004])
    tubes = np.array([light.tube_length + 0.006])
    sharp = thin_lens.inverse_conjugate(1.0 / 0.085, tubes)[:, None]
    blades = lens_law.Blades(normals, limits, tubes, sharp, np.zeros((1, 2)))
    light = light._replace(blades=blades)
    moved, passed = lens_law.as_if_in_blade_plane(light, 0), []
    for _ in range(300):
        slope_x, slope_y = random.uniform(-0.2, 0.2, 2)
        ax, ay, z = *random.uniform(-0.02, 0.02, 2), random.uniform(0.7, 5.0)
        squared = lens_law.field_radius_squared(light, slope_x, slope_y)
        assert lens_law.field_radius_squared(moved, slope_x, slope_y) == pytest.approx(squared, rel=1e-12)
        x, y = lens_law.place_in_gate(moved, 0, slope_x, slope_y, squared, 1.0 / z, ax, ay)
        passed.append(lens_law.blade_passes(light, 0, 0, slope_x, slope_y, squared, 1.0 / z, ax, ay))
        assert passed[-1] == (normals[0] @ (x, y) < limits[0])
    assert 50 < sum(passed) < 250
