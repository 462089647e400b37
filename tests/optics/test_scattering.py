"""Haze: published values of loss and direction, and the air-light of a point source in closed form."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad

from projector.optics.scattering import extinction_for_loss, kept_share, phase, visual_range


def test_what_is_left_follows_beer_and_lambert():
    assert kept_share(0.05, 4.0) == pytest.approx(0.818731, abs=1e-6)
    assert kept_share(0.1, 5.0) == pytest.approx(0.606531, abs=1e-6)
    assert kept_share(extinction_for_loss(10.0, 4.0), 4.0) == pytest.approx(0.9)
    assert visual_range(0.1) == pytest.approx(39.12, abs=0.01) and visual_range(0.1, 0.05) == pytest.approx(
        29.96, abs=0.01
    )


@pytest.mark.parametrize(
    ("asymmetry", "forward", "aside", "back"),
    [
        (0.0, 0.0795775, 0.0795775, 0.0795775),
        (0.3, 0.211124, 0.063634, 0.032961),
        (0.5, 0.477465, 0.042706, 0.017684),
        (0.76, 2.431534, 0.016964, 0.006166),
        (0.85, 6.543037, 0.009768, 0.003488),
    ],
)
def test_the_phase_function_has_its_published_values(asymmetry, forward, aside, back):
    """L. G. Henyey & J. L. Greenstein (1941); normalisation in M. L. Shendeleva, JEOS-RP 13 (2017), eq. 1–2."""
    assert phase(1.0, asymmetry) == pytest.approx(forward, rel=3e-5)
    assert phase(0.0, asymmetry) == pytest.approx(aside, rel=5e-5)
    assert phase(-1.0, asymmetry) == pytest.approx(back, rel=2e-4)


@pytest.mark.parametrize("asymmetry", [-0.3, 0.0, 0.5, 0.85])
def test_all_scattered_light_goes_somewhere_and_on_the_mean_as_far_forward_as_stated(asymmetry):
    total, _ = quad(lambda c: 2.0 * math.pi * phase(c, asymmetry), -1.0, 1.0, epsabs=1e-12)
    mean, _ = quad(lambda c: 2.0 * math.pi * c * phase(c, asymmetry), -1.0, 1.0, epsabs=1e-12)
    assert total == pytest.approx(1.0, abs=1e-10) and mean == pytest.approx(asymmetry, abs=1e-10)


@pytest.mark.parametrize(
    ("sigma", "intensity", "distance", "angle_deg", "length", "expected"),
    [
        (0.05, 100.0, 4.0, 30.0, 6.0, 0.29269147),
        (0.02, 1000.0, 3.0, 60.0, 10.0, 0.96733134),
        (0.5, 1.0, 2.0, 20.0, 5.0, 0.03697255),
    ],
)
def test_the_laws_together_give_the_air_light_of_a_point_source(
    sigma, intensity, distance, angle_deg, length, expected
):
    """B. Sun, R. Ramamoorthi, S. Narasimhan & S. Nayar, "A Practical Analytic Single Scattering Model for Real Time
    Rendering", SIGGRAPH 2005: their closed form's values."""
    source = distance * np.array([math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))])

    def added(x):
        away = math.hypot(source[0] - x, source[1])
        return sigma * phase(0.3, 0.0) * intensity * kept_share(sigma, x + away) / away**2

    found, _ = quad(added, 0.0, length, epsabs=1e-13, limit=200)
    assert found == pytest.approx(expected, rel=1e-6)
