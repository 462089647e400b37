"""The gate's picture: flags never claim what is not so, edges and hot spot are where they belong."""

from __future__ import annotations

import numpy as np
import pytest

from projector.tracing.gate import gate_image
from projector.tracing.gate.gate_image import (
    HAS_LIGHT,
    HAS_SHADE,
    Bitmap,
    draw_gate,
    gate_flags,
    rectangular_gate,
    round_gate,
)


def spotted(seed=1, size=300):
    """Blobs of full light, of shade and of grey."""
    from scipy.ndimage import gaussian_filter

    field = gaussian_filter(np.random.default_rng(seed).normal(size=(size, size)), 9.0)
    return np.clip(0.5 + field / field.std(), 0.0, 1.0).astype(np.float32)


@pytest.mark.parametrize("gate", [round_gate(0.03), rectangular_gate(0.03, 0.02)], ids=["round", "rectangle"])
def test_flags_are_never_less_than_the_truth(gate):
    image = draw_gate(gate, Bitmap(spotted(), 1e-4))
    rows, columns = image.values.shape
    random = np.random.default_rng(4)
    claimed = 0
    for _ in range(2000):
        x, y = random.uniform(-0.018, 0.018, 2)
        half = 10.0 ** random.uniform(-5, -2.3)
        found = gate_flags(image, x - half, x + half, y - half, y + half)
        left, right = (
            int(np.floor((edge - image.left) / image.pitch)) + more for edge, more in ((x - half, 0), (x + half, 2))
        )
        top, bottom = (
            int(np.floor((edge - image.top) / image.pitch)) + more for edge, more in ((y - half, 0), (y + half, 2))
        )
        inside = image.values[max(top, 0) : max(bottom, 0), max(left, 0) : max(right, 0)]
        outside = left < 0 or top < 0 or right > columns or bottom > rows
        if outside or (inside < 1.0).any():
            assert found & HAS_SHADE
        if (inside > 0.0).any():
            assert found & HAS_LIGHT
        claimed += found in (HAS_LIGHT, HAS_SHADE)
    assert claimed > 200


def test_a_round_gate_lets_its_area_through():
    """πr² within what a rim of half pixels can hide."""
    image = draw_gate(round_gate(0.03), Bitmap(np.ones((400, 400), np.float32), 1e-4))
    assert image.values.sum() * image.pitch**2 == pytest.approx(np.pi * 0.015**2, rel=1e-3)


def test_the_hot_spot_is_down_by_its_stops_at_the_edge():
    gate = round_gate(0.03, 2.0)
    assert gate_image.hot_spot(gate, 0.015, 0.0) == pytest.approx(0.25)
    assert gate_image.hot_spot(gate, 0.0, 0.0) == 1.0


def test_a_bitmap_runs_straight_between_pixels_and_ends_in_metal():
    bitmap = Bitmap(np.array([[0.0, 1.0], [0.0, 1.0]], np.float32), 1.0)
    assert gate_image.bitmap_value(bitmap, 0.0, 0.0) == pytest.approx(0.5)
    assert gate_image.bitmap_value(bitmap, 0.5, 0.5) == pytest.approx(1.0)
    assert gate_image.bitmap_value(bitmap, 1.6, 0.0) == 0.0


def test_only_the_lit_part_is_kept_with_metal_round_it():
    values = np.zeros((200, 200), np.float32)
    values[50:60, 80:120] = 1.0
    image = draw_gate(round_gate(0.03), Bitmap(values, 1e-4))
    assert (image.values[0] == 0).all() and (image.values[:, -1] == 0).all()
    assert image.values.sum() * image.pitch**2 == pytest.approx(400e-8, rel=0.02)


def test_a_stencil_without_light_stays_dark():
    image = draw_gate(round_gate(0.03), Bitmap(np.zeros((50, 50), np.float32), 1e-3))
    assert image.values.max() == 0.0
    assert gate_flags(image, -0.01, 0.01, -0.01, 0.01) == HAS_SHADE


@pytest.mark.parametrize(
    ("width", "height", "pixels", "pitch"),
    [
        (0.04, 0.04, (900, 5000), 8e-6),
        # A gate far smaller than one pixel of its stencil, one far longer than wide, and both at once.
        (1e-4, 1e-4, (60, 60), 1e-3),
        (2.0, 1e-4, (40, 400), 5e-3),
        (2.0, 1e-4, (1, 2), 1.0),
    ],
)
def test_no_gate_is_drawn_on_more_pixels_than_its_budget(width, height, pixels, pitch):
    image = draw_gate(gate_image.rectangular_gate(width, height), Bitmap(np.ones(pixels, np.float32), pitch))
    assert max(image.values.shape) <= gate_image.MOST_PIXELS + 2
    assert image.values.max() > 0.0
