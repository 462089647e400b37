"""Eight look-ups at once against one at a time, places by the lens's law and texels in numpy, and the laws that hold
for all of them.
"""

from __future__ import annotations

import numpy as np
import pytest

from projector.jit import kernel
from projector.tracing.gate import lens_law
from projector.tracing.gate.gate_image import open_bitmap, round_gate
from projector.tracing.gate.levels import LEVEL
from projector.tracing.gate.patch_lanes import (
    LANES,
    PASSED,
    SUM,
    TABLE_WORDS,
    add_open,
    add_patches,
    choose_patches,
    clear_patches,
)
from projector.tracing.rays.vectors import address_of, load_float, stack_words, store_float

PITCH = 4e-5
# Places are float32: of metres up to 0.02 rounded a few times by 2⁻²⁴ that is 1.2e-4 of a pixel of 4e-5 m, times the
# steepest step between texels, which is all of full light.
ROUNDED = 2.5e-4
CURVATURE = 0.3


@kernel
def _seen(texels, levels, diameters, turned, middle, inverse_sharp, lateral, patch, ax, ay, factor, passed, out):
    """Sums of two equal look-ups, the second behind what `passed` leaves."""
    table = stack_words(TABLE_WORDS)
    clear_patches(table)
    stack = (address_of(texels), address_of(levels), address_of(diameters), diameters.shape[0], turned)
    choose_patches(table, stack, middle, address_of(inverse_sharp), address_of(lateral), patch)
    add_patches(table, ax, ay, factor)
    for lane in range(LANES):
        store_float(table, PASSED * LANES + lane, passed[lane])
    add_patches(table, ax, ay, factor)
    for lane in range(LANES):
        out[lane] = load_float(table, SUM * LANES + lane)


@kernel
def _open(factor, passed, out):
    table = stack_words(TABLE_WORDS)
    clear_patches(table)
    add_open(table, factor)
    for lane in range(LANES):
        store_float(table, PASSED * LANES + lane, passed[lane])
    add_open(table, factor)
    for lane in range(LANES):
        out[lane] = load_float(table, SUM * LANES + lane)


def lanes_of(middle):
    return tuple(np.float32(value) for value in middle)


def make_stack(random, diameters, n_signs):
    """Levels of random texels, each of a size and pitch of its own."""
    levels, texels, offset = np.zeros(len(diameters) * n_signs, LEVEL), [], 0
    for index, level in enumerate(levels):
        height, width = random.integers(20, 400, 2)
        pitch = PITCH * 2.0 ** random.integers(0, 3)
        level["left"], level["top"] = -0.5 * width * pitch, -0.5 * height * pitch + 0.001
        level["inverse_pitch"], level["last_row"], level["width"] = 1.0 / pitch, height - 1, width
        level["diameter"], level["offset"], level["unit"] = (
            diameters[index % len(diameters)],
            offset,
            random.uniform(0.1, 1.0) / 65535.0,
        )
        texels.append(random.integers(0, 65536, (height, width)).astype(np.uint16))
        offset += height * width
    return levels, texels


def projection(tube, sharp, lateral, spherical):
    """A lens of one wavelength with a curved field, which the lanes get taken off the inverse distance."""
    one = np.ones(1)
    gate = round_gate(0.04)
    return lens_law.Projection(
        emitter=None,
        tube_length=tube,
        inverse_sharp=sharp * one,
        lateral=lateral * one,
        inverse_sharp_range=(sharp, sharp),
        lateral_range=(lateral, lateral),
        distortion=0.0,
        curvature=CURVATURE,
        spherical=spherical,
        gate=gate,
        bitmap=open_bitmap(gate),
        blades=lens_law.without_blades(1),
    )


def one_at_a_time(levels, texels, n_steps, n_signs, middle, sharp, spread, patch, ax, ay):
    """The same in float64: (light, whether it came from the turned levels, step)."""
    tube, inverse_distance, bend, diameter, footprint, x, y = (float(value) for value in patch)
    light = projection(tube, float(sharp), spread, bend / (ax * ax + ay * ay))
    field_squared = lens_law.field_radius_squared(light, x / tube, y / tube)
    inverse_distance += CURVATURE * field_squared
    scale = lens_law.patch_scale(light, float(sharp), inverse_distance, field_squared)
    wide = np.sqrt(diameter**2 * abs((scale + bend) * (scale + 3 * bend)) + footprint**2)
    ladder = levels["diameter"][:n_steps].astype(float)
    step = int(np.clip(np.searchsorted(ladder, wide) - 1, 0, n_steps - 2))
    share = np.clip((wide - ladder[step]) / (ladder[step + 1] - ladder[step]), 0.0, 1.0)
    share = share if ladder[step] > 0 else share**2
    turned = n_signs == 2 and scale < 0
    found = []
    turn = np.clip(wide * middle[2] - 1.0, 0.0, 1.0)
    place = np.array(lens_law.place_in_gate(light, 0, x / tube, y / tube, field_squared, inverse_distance, ax, ay))
    for level in (step + n_steps * turned, step + n_steps * turned + 1):
        smaller = 1.0 + turn * (levels[level]["diameter"] / wide - 1.0)
        column, row = (
            middle[:2] + (place - middle[:2]) * smaller - [levels[level]["left"], levels[level]["top"]]
        ) * levels[level]["inverse_pitch"]
        height, width = texels[level].shape
        if not (0 <= column < width - 1 and 0 <= row < height - 1):
            found.append(0.0)
            continue
        i, j = int(row), int(column)
        piece = texels[level][i : i + 2, j : j + 2] * float(levels[level]["unit"]) * smaller**2
        found.append(np.array([1 - row + i, row - i]) @ piece @ np.array([1 - column + j, column - j]))
    return (1 - share) * found[0] + share * found[1], turned, step


# x, y and 1/size of the lit part: larger than every patch, or than the smallest alone.
MIDDLES = {
    "patches within the lit part": (0.001, -0.002, 1.0 / 0.02),
    "patches about the size of the lit part": (0.001, -0.002, 1.0 / 3e-4),
    "patches wider than the lit part": (0.001, -0.002, 1.0 / 2e-5),
}


@pytest.mark.parametrize("middle", MIDDLES.values(), ids=MIDDLES)
@pytest.mark.parametrize("n_signs", [1, 2])
@pytest.mark.parametrize("first", [0.0, 6e-5], ids=["from a point", "from a patch"])
def test_eight_look_ups_are_those_of_numpy(n_signs, first, middle):
    random = np.random.default_rng(3)
    diameters = np.concatenate([[first], 8e-5 * 1.26 ** np.arange(12)]).astype(np.float32)
    levels, texels = make_stack(random, diameters, n_signs)
    flat = np.concatenate([item.ravel() for item in texels])
    out, seen = np.empty(8, np.float32), set()
    n_far = n_lit = 0
    for _ in range(400):
        sharp = (0.45 + 0.03 * random.normal(size=8)).astype(np.float32)
        spread = (1.0 + 0.002 * random.normal(size=8)).astype(np.float32)
        bend = random.choice([0.0, 2e-4])
        patch = tuple(
            np.float32(value)
            for value in (
                0.09,
                0.45 + 0.05 * random.normal(),
                bend,
                0.04,
                random.choice([0.0, 5e-5]),
                *random.uniform(-0.006, 0.006, 2),
            )
        )
        ax, ay, factor = (
            np.float32(random.uniform(-0.02, 0.02)),
            np.float32(random.uniform(-0.02, 0.02)),
            np.float32(random.uniform(0.5, 2.0)),
        )
        passed = random.random(8).astype(np.float32)
        _seen(
            flat,
            levels.view(np.int32),
            diameters,
            len(diameters) if n_signs == 2 else 0,
            lanes_of(middle),
            sharp,
            spread,
            patch,
            ax,
            ay,
            factor,
            passed,
            out,
        )
        for lane in range(8):
            light, turned, step = one_at_a_time(
                levels,
                texels,
                len(diameters),
                n_signs,
                np.array(middle),
                sharp[lane],
                float(spread[lane]),
                patch,
                float(ax),
                float(ay),
            )
            seen.add((turned, step))
            n_lit += light > 0
            # A place on the very rim of a level may fall to either side of it.
            n_far += abs(out[lane] / factor - light * (1.0 + passed[lane])) > 2 * ROUNDED
    assert n_lit > 1500
    assert n_far <= 3
    assert len(seen) >= 9 * n_signs


def test_beyond_every_level_is_dark():
    random = np.random.default_rng(4)
    diameters = np.array([0.0, 1e-4, 2e-4], np.float32)
    levels, texels = make_stack(random, diameters, 1)
    out = np.empty(8, np.float32)
    for x, y in ((0.5, 0.0), (-0.5, 0.0), (0.0, 0.5), (0.0, -0.5), (np.nan, 0.0), (1e30, -1e30)):
        patch = tuple(np.float32(value) for value in (0.09, 0.45, 0.0, 0.04, 1e-5, x, y))
        _seen(
            np.concatenate([item.ravel() for item in texels]),
            levels.view(np.int32),
            diameters,
            0,
            lanes_of((0.0, 0.0, 1.0)),
            np.full(8, 0.46, np.float32),
            np.ones(8, np.float32),
            patch,
            np.float32(0),
            np.float32(0),
            np.float32(1),
            np.ones(8, np.float32),
            out,
        )
        assert not out.any()


def test_an_open_gate_passes_what_the_blades_leave():
    passed, out = np.linspace(0, 1, 8, dtype=np.float32), np.empty(8, np.float32)
    _open(np.float32(3.0), passed, out)
    assert out == pytest.approx(3.0 * (1.0 + passed), rel=1e-6)
