"""Honeycombs: the overlap of two circles, held to its known half width and to a count of points."""

from __future__ import annotations

import math

import numpy as np
import pytest

from projector.optics import honeycomb


@pytest.mark.parametrize(
    ("beam_deg", "ratio", "cut_off"), [(10, 4.6174, 24.4), (20, 2.2910, 47.2), (30, 1.5076, 67.1), (40, 1.1099, 84.0)]
)
def test_a_beam_angle_gives_the_depth_of_the_cells(beam_deg, ratio, cut_off):
    """The overlap of two circles solved for one half: u = 0.403973 (closed form, computed independently)."""
    found = honeycomb.depth_over_cell_for_beam(beam_deg)
    assert found == pytest.approx(ratio, abs=1e-4)
    assert honeycomb.cut_off_deg(found) == pytest.approx(cut_off, abs=0.1)
    assert honeycomb.half_transmission() == pytest.approx(0.403973, abs=1e-6)


@pytest.mark.parametrize("u", [0.0, 0.1, 0.35, 0.8, 0.99, 1.0, 1.7])
def test_the_share_is_that_of_points_of_one_circle_inside_another(u):
    across = (np.arange(2000) + 0.5) / 1000.0 - 1.0
    x, y = np.meshgrid(across, across)
    inside = x * x + y * y <= 1.0
    # Ends of a tube of width 2 seen shifted by u times its width.
    both = inside & ((x - 2.0 * u) ** 2 + y * y <= 1.0)
    assert honeycomb.honeycomb_transmission(u, 1.0) == pytest.approx(both.sum() / inside.sum(), abs=2e-3)


def test_a_beam_that_cannot_be_is_refused():
    for angle in (0.0, 180.0, -5.0, math.nan):
        with pytest.raises(ValueError, match="between 0 and 180"):
            honeycomb.depth_over_cell_for_beam(angle)
