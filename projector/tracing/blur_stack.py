"""The gate's picture blurred with the pupil at growing sizes: one look-up answers the integral over an unshadowed pupil.

A point of the scene sees the gate through every part of the pupil at once, so its light is the gate's picture averaged
over a small copy of the pupil. The stack holds that average for a ladder of sizes; between two of them it is
interpolated. No level is coarser than a sixteenth of its patch, neighbours are at most 1.26 apart.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from projector.jit import formula
from projector.tracing.gate_image import GateImage
from projector.tracing.pupil import BITMAP, RING, Pupil, coverage_image

# Patch diameters of the ladder in pixels of the gate's picture: 0, then this, then growing by so many steps an octave.
FIRST_DIAMETER = 1.5
STEPS_PER_OCTAVE = 3
# A pupil with sharp features of its own (a ring, a drawing) shows them twice where two levels are mixed: a finer ladder.
STEPS_PER_OCTAVE_FINE = 6
PIXELS_PER_PATCH = 16
FULL = 65535.0
# Beyond this patch, in gate widths, a finer ladder changes nothing that can be seen; look-ups stay at the last level.
WIDEST_PATCH = 8.0


class Stack(NamedTuple):
    """Blurred levels, flat for kernels.

    texels     (n,) uint16, all levels one after the other; FULL stands for the open gate on the axis
    offsets, widths, heights (k,) int64; lefts, tops (k,) m, centre of each level's first texel; pitches (k,) m
    diameters  (k / n_signs,) m, growing from 0: patch diameter of each level
    n_signs    1, or 2 where a half turn changes the pupil: the second half of the levels is for the turned pupil
    """

    texels: np.ndarray
    offsets: np.ndarray
    widths: np.ndarray
    heights: np.ndarray
    lefts: np.ndarray
    tops: np.ndarray
    inverse_pitches: np.ndarray
    diameters: np.ndarray
    n_signs: int


class BlurStack:
    """Levels made when first asked for and kept; `stack` hands kernels the part of the ladder that they need."""

    def __init__(self, image: GateImage, pupil: Pupil, workers: int = 2):
        self._image = image
        self._pupil = pupil
        self._workers = workers
        self._reduced = {0: image.values}
        self._spectra: dict[int, tuple] = {}
        self._levels: dict[tuple[int, int], tuple] = {}
        self._last: tuple | None = None
        self._per_octave = STEPS_PER_OCTAVE_FINE if pupil.kind in (RING, BITMAP) else STEPS_PER_OCTAVE
        widest = WIDEST_PATCH * max(image.values.shape)
        self._n_steps = 1 + math.ceil(math.log2(widest / FIRST_DIAMETER) * self._per_octave)

    def _diameter(self, step: int) -> float:
        """Patch diameter of a step of the ladder, in pixels of the gate's picture."""
        return 0.0 if step == 0 else FIRST_DIAMETER * 2.0 ** ((step - 1) / self._per_octave)

    def _steps_for(self, low: float, high: float, cells_low: float) -> list[int]:
        """Steps of the ladder that span low … high (m), and one an octave below them down to cells_low."""
        sizes = [self._diameter(step) * self._image.pitch for step in range(self._n_steps)]
        last = next((step for step in range(1, self._n_steps) if sizes[step] >= high), self._n_steps - 1)
        first = max((step for step in range(last) if sizes[step] <= low), default=0)
        steps = list(range(first, last + 1))
        while steps[0] > 0 and sizes[steps[0]] > cells_low:
            steps.insert(0, max(steps[0] - self._per_octave, 0))
        return steps

    def stack(self, low: float, high: float, cells_low: float | None = None) -> Stack:
        """The levels for patch diameters from `low` to `high` (m), and coarser spaced ones for small cells below.

        The last answer is given again while it holds what is asked for and not much more.
        """
        steps = self._steps_for(low, high, low if cells_low is None else min(low, cells_low))
        if self._last is not None and set(steps) <= set(self._last[0]) and len(self._last[0]) <= len(steps) + 6:
            return self._last[1]
        signs = (1,) if self._pupil.symmetric else (1, -1)
        levels = [self._level(step, sign) for sign in signs for step in steps]
        texels = [level[0].ravel() for level in levels]
        sizes = np.array([0] + [item.size for item in texels[:-1]])
        stack = Stack(
            np.concatenate(texels),
            np.cumsum(sizes).astype(np.int64),
            np.array([level[0].shape[1] for level in levels], np.int64),
            np.array([level[0].shape[0] for level in levels], np.int64),
            np.array([level[1] for level in levels]),
            np.array([level[2] for level in levels]),
            1.0 / np.array([level[3] for level in levels]),
            np.array([self._diameter(step) * self._image.pitch for step in steps]),
            len(signs),
        )
        self._last = (steps, stack)
        return stack

    def _level(self, step: int, sign: int) -> tuple:
        key = (step, sign)
        if key not in self._levels:
            self._levels[key] = self._make_level(step, sign)
        return self._levels[key]

    def _make_level(self, step: int, sign: int) -> tuple:
        """One level: texels (h, w) uint16, left and top (m) of its first texel's centre, its pitch (m)."""
        image = self._image
        if step == 0:
            return _quantised(image.values), image.left, image.top, image.pitch
        diameter = self._diameter(step)
        power = max(0, math.floor(math.log2(diameter / PIXELS_PER_PATCH)))
        scale = 2**power
        kernel = _pupil_kernel(self._pupil, diameter, scale)
        if sign > 0:
            # A patch gathers T(c + b·A): a correlation, so the convolution's kernel is the pupil turned by 180°.
            kernel = kernel[::-1, ::-1]
        blurred = self._convolved(power, kernel)
        margin = kernel.shape[0] // 2
        pitch = image.pitch * scale
        left = image.left + 0.5 * (pitch - image.pitch) - margin * pitch
        top = image.top + 0.5 * (pitch - image.pitch) - margin * pitch
        return _quantised(blurred), left, top, pitch

    def _picture(self, power: int) -> np.ndarray:
        """The gate's picture averaged over blocks of 2^power pixels, padded with metal to whole blocks."""
        if power not in self._reduced:
            finer = self._picture(power - 1)
            padded = np.pad(finer, ((0, finer.shape[0] % 2), (0, finer.shape[1] % 2)))
            rows = padded[::2] + padded[1::2]
            self._reduced[power] = np.float32(0.25) * (rows[:, ::2] + rows[:, 1::2])
        return self._reduced[power]

    def _convolved(self, power: int, kernel: np.ndarray) -> np.ndarray:
        """Full convolution of the reduced picture with a kernel, by a real Fourier transform kept per reduction."""
        from scipy import fft

        picture = self._picture(power)
        full = tuple(side + kernel.shape[0] - 1 for side in picture.shape)
        kept = self._spectra.get(power)
        if kept is None or kept[0][0] < full[0] or kept[0][1] < full[1]:
            # Room for the largest kernel of this reduction, so that one transform serves the whole group.
            widest = math.ceil(2 * PIXELS_PER_PATCH * 1.02 * self._pupil.reach) + 4
            shape = tuple(fft.next_fast_len(max(side + widest, need), real=True) for side, need in zip(picture.shape, full, strict=True))
            kept = (shape, fft.rfft2(picture, shape, workers=self._workers))
            self._spectra = {power: kept}
        shape, spectrum = kept
        product = fft.rfft2(kernel.astype(np.float32), shape, workers=self._workers)
        product *= spectrum
        return fft.irfft2(product, shape, workers=self._workers, overwrite_x=True)[: full[0], : full[1]]


def _pupil_kernel(pupil: Pupil, diameter: float, scale: int) -> np.ndarray:
    """The pupil drawn `diameter` gate pixels wide on pixels of `scale`, narrowed by what else blurs a look-up.

    Second moments add: a disc has d²/16 along each axis. Against a disc over the bitmap (itself linear between pixel
    centres, 1/6) a look-up has the reduced picture's pixels (p² − 1)/12, the kernel's p²/12, and p²/6 on average from
    running straight between texels.
    """
    wanted = diameter * diameter / 16.0 + 0.25 - scale * scale / 3.0
    return coverage_image(pupil, 4.0 * math.sqrt(max(wanted, 0.25 * diameter * diameter / 16.0)) / scale)


def _quantised(values: np.ndarray) -> np.ndarray:
    scaled = values * np.float32(FULL)
    scaled += np.float32(0.5)
    return np.clip(scaled, 0.0, FULL, out=scaled).astype(np.uint16)


@formula
def _texel(stack, level, x, y):
    """One level at a point of the gate plane (m), linear between texel centres, 0 outside."""
    column = (x - stack.lefts[level]) * stack.inverse_pitches[level]
    row = (y - stack.tops[level]) * stack.inverse_pitches[level]
    width = stack.widths[level]
    height = stack.heights[level]
    if not (column >= 0.0 and row >= 0.0 and column < width - 1 and row < height - 1):
        return 0.0
    j = int(column)
    i = int(row)
    right = column - j
    lower = row - i
    first = stack.offsets[level] + i * width + j
    upper_row = stack.texels[first] * (1.0 - right) + stack.texels[first + 1] * right
    lower_row = stack.texels[first + width] * (1.0 - right) + stack.texels[first + width + 1] * right
    return upper_row * (1.0 - lower) + lower_row * lower


@formula
def patch_light(stack, x, y, signed_diameter, step):
    """Mean radiance (open gate on the axis = 1) over a patch of the gate plane, and the step of the ladder it used.

    x, y, signed_diameter in metres; negative diameters see the pupil turned by 180°. `step` is where the search
    starts: neighbouring wavelengths sit on neighbouring steps.
    """
    diameter = abs(signed_diameter)
    last = stack.diameters.shape[0] - 1
    while step + 1 < last and diameter > stack.diameters[step + 1]:
        step += 1
    while step > 0 and diameter < stack.diameters[step]:
        step -= 1
    low = stack.diameters[step]
    high = stack.diameters[step + 1]
    if low == 0.0:
        share = diameter * diameter / (high * high)
    else:
        share = (diameter - low) / (high - low)
    share = min(max(share, 0.0), 1.0)
    level = step
    if stack.n_signs == 2 and signed_diameter < 0.0:
        level += last + 1
    light = (1.0 - share) * _texel(stack, level, x, y) + share * _texel(stack, level + 1, x, y)
    return light * (1.0 / FULL), step
