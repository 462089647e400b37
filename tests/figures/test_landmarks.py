"""Landmarks found on the field itself, before any mesh."""

from __future__ import annotations

import numpy as np
import pytest

from projector.figures.field.surface import figure_field
from projector.figures.landmarks import find_landmarks, skin_met


@pytest.mark.parametrize("kind", ["head", "head_and_torso"])
def test_landmarks_lie_on_the_zero_of_the_field(kind):
    places = np.array(list(find_landmarks(kind).values()))
    # Twelve halvings of a step of 0.5 mm leave 1e-4 mm.
    assert np.abs(figure_field(tuple(places.T), kind)).max() < 1e-3


def test_lowest_point_of_the_chin_and_tip_of_the_nose_are_extremes_of_the_midline():
    landmarks = find_landmarks("head")
    for name, axis, sign in (("nose_tip", 2, 1.0), ("chin", 1, -1.0), ("top_of_head", 1, 1.0)):
        # The landmark is the best of lines 0.5 mm apart: half a spacing off it, nothing of the head goes farther.
        around = landmarks[name] + 1.5 * np.array([[0, dy, dz] for dy in (-1, 0, 1) for dz in (-1, 0, 1)])
        around[:, axis] = landmarks[name][axis] + sign * 0.02
        assert (figure_field(tuple(around.T), "head") > 0.0).all(), name


def test_a_line_that_meets_nothing_gives_its_start():
    start = [(0.0, 300.0, 150.0)]
    assert skin_met("head", start, (0.0, 0.0, -1.0)) == pytest.approx(np.array(start), abs=1e-12)
