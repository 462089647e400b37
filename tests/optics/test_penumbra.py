"""How large a source looks and how soft its shadows are, against the sun and a worked lamp."""

from __future__ import annotations

import pytest

from projector.optics import penumbra


def test_the_sun_is_as_large_as_is_published():
    """32 minutes of arc: 0.53291° by the IAU's nominal radius (2015); 9.30 mm for each metre of distance."""
    assert abs(penumbra.SUN_DEG - 0.53291) < 2e-5
    assert 1e3 * penumbra.size_of_angle(penumbra.SUN_DEG, 1.0) == pytest.approx(9.30, abs=5e-3)
    assert penumbra.angular_size_deg(0.010, 1.075) == pytest.approx(0.533, abs=5e-4)


@pytest.mark.parametrize("degrees", [0.5, 20.0, 90.0, 170.0])
def test_size_and_angle_undo_each_other(degrees):
    assert penumbra.angular_size_deg(penumbra.size_of_angle(degrees, 1.7), 1.7) == pytest.approx(degrees)


def test_a_lamp_of_40_mm_before_a_card_leaves_120_mm_of_penumbra():
    """An opening of 40 mm, a card 0.5 m before it, a wall at 2 m: 40·1.5/0.5 (plane geometry)."""
    assert penumbra.penumbra_width(40.0, 0.5, 1.5) == pytest.approx(120.0)
