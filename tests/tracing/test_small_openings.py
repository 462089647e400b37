"""Holes, slits and dots far out of focus: look-ups against the pupil summed over every point of the openings.

The light at a point is the share of the pupil's image in the gate that openings fill. Here the openings are cut into
points half a pixel apart or less, and each is asked whether it lies in that image: no blurring, no levels. Error budget
of the 1 % (relative RMSE over the lit points): steps of the ladder 0.6 %, a level's pixels 0.5 %, these points 0.2 %.
Half a per cent more is allowed where a ring is only two of the bitmap's own pixels wide.
"""

from __future__ import annotations

import numpy as np
import pytest

from projector.jit import kernel
from projector.tracing.gate.blur_stack import BlurStack
from projector.tracing.gate.gate_image import Bitmap, draw_gate, round_gate
from projector.tracing.gate.patch_lanes import SUM, TABLE_WORDS, add_patches, choose_patches, clear_patches
from projector.tracing.rays.vectors import address_of, load_float, stack_words
from projector.tracing.sight.outline import make_outline
from tests.conftest import mostly_slow

PIXELS, WIDTH = 1024, 0.036
GATE = round_gate(0.040)
X, Y = np.meshgrid(
    (np.arange(PIXELS) + 0.5) / PIXELS * WIDTH - WIDTH / 2, (np.arange(PIXELS) + 0.5) / PIXELS * WIDTH - WIDTH / 2
)


def covered(distance):
    """Share of a pixel inside a shape, from the distance (m) of its middle from the rim."""
    return np.clip(0.5 + distance * PIXELS / WIDTH, 0.0, 1.0)


def holes(places, diameter):
    return np.max([covered(0.5 * diameter - np.hypot(X - x, Y - y)) for x, y in places], axis=0)


STARS = np.random.default_rng(3).uniform(-0.012, 0.012, (18, 2))
STENCILS = {
    "hole of 0.2 mm": holes([(0.003, -0.002)], 2e-4),
    "hole of 1 mm": holes([(-0.004, 0.001)], 1e-3),
    "three holes": holes([(-0.004, 0.001), (0.005, -0.003), (0.0, 0.006)], 3e-4),
    "stars": holes(STARS, 4e-4),
    "slit of 0.3 mm": covered(1.5e-4 - abs(X - 0.001)) * covered(0.01 - abs(Y)),
    "cross of slits": np.maximum(
        covered(2e-4 - abs(X)) * covered(0.008 - abs(Y)), covered(2e-4 - abs(Y - 0.002)) * covered(0.008 - abs(X))
    ),
    "dots": (
        covered(2.5e-4 - np.hypot(X % 1e-3 - 5e-4, Y % 1e-3 - 5e-4))
        * covered(0.0045 - abs(X))
        * covered(0.0045 - abs(Y))
    ),
    "a small window": covered(0.0015 - abs(X)) * covered(0.0015 - abs(Y)),
}
PUPILS = {
    "disc": make_outline("disc"),
    "hexagon": make_outline("polygon", 6, 10.0),
    "triangle": make_outline("polygon", 3, 25.0),
    "ring": make_outline("ring", inner_fraction=0.6),
}
PATCHES_MM = (0.45, 1.0, 2.1, 5.3, 9.7, 19.0)


@kernel
def _look_up(texels, levels, diameters, turned, middle, numbers, x, y, scale, out):
    table = stack_words(TABLE_WORDS)
    stack = (address_of(texels), address_of(levels), address_of(diameters), diameters.shape[0], turned)
    about = (np.float32(middle[0]), np.float32(middle[1]), np.float32(middle[2]))
    for i in range(x.shape[0]):
        clear_patches(table)
        # Tube 1, pupil 2 wide, sharp at infinity: the patch is 2 · |scale| wide.
        patch = (
            np.float32(1.0),
            np.float32(-scale),
            np.float32(0.0),
            np.float32(2.0),
            np.float32(0.0),
            np.float32(x[i]),
            np.float32(y[i]),
        )
        choose_patches(table, stack, about, address_of(numbers), address_of(numbers) + 32, patch)
        add_patches(table, np.float32(0.0), np.float32(0.0), np.float32(1.0))
        out[i] = load_float(table, SUM * 8)


def looked_up(stack, x, y, scale):
    out = np.empty(x.size)
    numbers = np.concatenate([np.zeros(8, np.float32), np.ones(8, np.float32)])
    _look_up(
        stack.texels,
        stack.levels,
        stack.diameters,
        len(stack.diameters) if stack.n_signs == 2 else 0,
        stack.middle,
        numbers,
        x,
        y,
        scale,
        out,
    )
    return out


def opening_points(values):
    """Places (k, 2) m in the openings and the area that each stands for: the bitmap straight between its pixels, as
    rays see it.
    """
    from scipy.ndimage import map_coordinates

    rows, columns = np.nonzero(map_coordinates(values, np.indices(values.shape), order=1) > 0)
    rows, columns = np.unique(
        np.concatenate([np.stack([rows + i, columns + j], 1) for i in (-1, 0, 1) for j in (-1, 0, 1)]), axis=0
    ).T
    n = int(np.clip(np.sqrt(60000 / rows.size), 2, 8))
    steps = (np.arange(n) + 0.5) / n - 0.5
    rows = (rows[:, None, None] + steps[:, None] + 0 * steps).ravel()
    columns = (columns[:, None, None] + 0 * steps[:, None] + steps).ravel()
    weights = map_coordinates(values, [rows, columns], order=1, mode="constant")
    kept = weights > 0
    pitch = WIDTH / PIXELS
    places = (np.stack([columns, rows], 1)[kept] + 0.5) * pitch - WIDTH / 2
    return places, weights[kept] * (pitch / n) ** 2


@kernel
def _sum(places, weights, x, y, scale, inner, planes, out):
    """Of each point's image of the pupil: what lies within radius 1 or the half-planes (nx, ny, limit), and beyond the
    inner radius.
    """
    for i in range(x.shape[0]):
        for k in range(places.shape[0]):
            u, v = (places[k, 0] - x[i]) / scale, (places[k, 1] - y[i]) / scale
            within = u * u + v * v >= inner * inner and (planes.shape[0] > 0 or u * u + v * v <= 1.0)
            for plane in range(planes.shape[0]):
                within = within and planes[plane, 0] * u + planes[plane, 1] * v <= planes[plane, 2]
            if within:
                out[i] += weights[k]


def summed(values, pupil, x, y, scale):
    places, weights = opening_points(values)
    angles = pupil.rotation + 2.0 * np.pi * (np.arange(pupil.n_blades) + 0.5) / max(pupil.n_blades, 1)
    # A polygon has the area of the unit disc: n · apothem² · tan(π/n) = π.
    apothem = np.sqrt(np.pi / (pupil.n_blades * np.tan(np.pi / pupil.n_blades))) if pupil.n_blades else 1.0
    planes = np.stack([np.cos(angles), np.sin(angles), np.full(angles.size, apothem)], 1)
    out = np.zeros(x.size)
    _sum(places, weights, x, y, scale, pupil.inner, planes, out)
    return out / (np.pi * (1.0 - pupil.inner**2) * scale**2)


def around(values, pupil, scale, count, seed=1):
    """Places (count,) in the gate whose patches hold some of the openings."""
    random = np.random.default_rng(seed)
    rows, columns = np.nonzero(values > 0.5)
    at = random.integers(rows.size, size=count)
    away, turn = abs(scale) * pupil.reach * 1.05 * np.sqrt(random.random(count)), random.uniform(0, 2 * np.pi, count)
    pitch = WIDTH / PIXELS
    return (columns[at] + 0.5) * pitch - WIDTH / 2 + away * np.cos(turn), (
        rows[at] + 0.5
    ) * pitch - WIDTH / 2 + away * np.sin(turn)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("form", "sign"), [("disc", 1.0), ("hexagon", -1.0), ("triangle", 1.0), ("triangle", -1.0), ("ring", 1.0)]
)
@pytest.mark.parametrize("name", mostly_slow(STENCILS))
def test_small_openings_shine_as_the_pupil_summed_over_them(name, form, sign):
    values, pupil = STENCILS[name], PUPILS[form]
    stacks = BlurStack(draw_gate(GATE, Bitmap(values.astype(np.float32), WIDTH / PIXELS)), pupil)
    for millimetres in PATCHES_MM:
        scale = 0.5e-3 * millimetres * sign
        x, y = around(values, pupil, scale, 200)
        found = looked_up(stacks.stack(0.9e-3 * millimetres, 1.1e-3 * millimetres), x, y, scale)
        wanted = summed(values, pupil, x, y, scale)
        bright = wanted > 0.02 * wanted.max()
        error = np.sqrt(np.mean((found - wanted)[bright] ** 2)) / wanted[bright].mean()
        assert error < (0.015 if millimetres < 0.5 and form == "ring" else 0.01), millimetres


@pytest.mark.parametrize("times", [50.0, 400.0, 3000.0])
def test_beyond_the_last_level_light_falls_with_the_square_and_the_disc_grows(times):
    """A hole of 0.2 mm under patches so many times as wide: its light is its area over the patch's, within a disc as
    wide as that.
    """
    values = STENCILS["hole of 0.2 mm"]
    stacks = BlurStack(draw_gate(GATE, Bitmap(values.astype(np.float32), WIDTH / PIXELS)), PUPILS["disc"])
    scale = 0.5 * times * 2e-4
    area = values.sum() * (WIDTH / PIXELS) ** 2
    away = scale * np.linspace(0.0, 1.1, 200)
    found = looked_up(stacks.stack(1.9 * scale, 2.1 * scale), 0.003 + away, np.full(200, -0.002), scale)
    level = area / (np.pi * scale**2)
    assert found[away < 0.97 * scale] == pytest.approx(level, rel=0.01)
    assert np.interp(-0.5 * level, -found[100:], away[100:]) == pytest.approx(scale, rel=0.01)
    assert found[away > 1.03 * scale].max() < 1e-4 * level
