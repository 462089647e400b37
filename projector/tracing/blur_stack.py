"""The gate's picture blurred with the pupil at growing sizes: one look-up answers the integral over an unshadowed pupil.

A point of the scene sees the gate through every part of the pupil at once, so its light is the gate's picture averaged
over a small copy of the pupil. The stack holds that average for a ladder of sizes; between two of them it is
interpolated. No level is coarser than a sixteenth of its patch, neighbours are at most 1.26 apart.
"""

from __future__ import annotations

import math
import threading
from concurrent.futures import ThreadPoolExecutor
from typing import NamedTuple

import numpy as np

from projector.jit import formula
from projector.tracing.convolution import FULL, Spectrum, convolve_directly, quantise
from projector.tracing.gate_image import GateImage
from projector.tracing.pupil import BITMAP, RING, Pupil, coverage_image

# Patch diameters of the ladder in pixels of the gate's picture: 0, then this, then growing by so many steps an octave.
FIRST_DIAMETER = 1.5
STEPS_PER_OCTAVE = 3
# A pupil with sharp features of its own (a ring, a drawing) shows them twice where two levels are mixed: a finer ladder.
STEPS_PER_OCTAVE_FINE = 6
PIXELS_PER_PATCH = 16
# Below this patch (pixels) taps are summed one by one; above, a Fourier transform is quicker.
DIRECT_BELOW = 16.0
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
        self._spectra: dict[int, Spectrum] = {}
        self._levels: dict[tuple[int, int], np.ndarray] = {}
        self._lock = threading.Lock()
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
        keys = [(step, sign) for sign in signs for step in steps]
        plans = [self._plan(step, sign) for step, sign in keys]
        sizes = [plan.height * plan.width for plan in plans]
        offsets = np.cumsum([0, *sizes[:-1]]).astype(np.int64)
        # One block for all levels, filled in place by as many threads as there are, the dearest levels first.
        texels = np.empty(sum(sizes), np.uint16)
        views = [texels[at : at + size].reshape(plan.height, plan.width) for at, size, plan in zip(offsets, sizes, plans, strict=True)]
        order = sorted(range(len(keys)), key=lambda i: -plans[i].cost)
        with ThreadPoolExecutor(self._workers) as pool:
            list(pool.map(lambda i: self._fill(keys[i], plans[i], views[i]), order))
        self._levels = dict(zip(keys, views, strict=True))
        stack = Stack(
            texels,
            offsets,
            np.array([plan.width for plan in plans], np.int64),
            np.array([plan.height for plan in plans], np.int64),
            np.array([plan.left for plan in plans]),
            np.array([plan.top for plan in plans]),
            1.0 / np.array([plan.pitch for plan in plans]),
            np.array([self._diameter(step) * self._image.pitch for step in steps]),
            len(signs),
        )
        self._last = (steps, stack)
        return stack

    def _plan(self, step: int, sign: int) -> _Plan:
        """What a level will be: its kernel, size and place."""
        image = self._image
        if step == 0:
            return _Plan(0, None, *image.values.shape, image.left, image.top, image.pitch, 0.0)
        diameter = self._diameter(step)
        power = max(0, math.floor(math.log2(diameter / PIXELS_PER_PATCH)))
        scale = 2**power
        kernel = _pupil_kernel(self._pupil, diameter, scale)
        if sign > 0:
            # A patch gathers T(c + b·A): a correlation, so the convolution's kernel is the pupil turned by 180°.
            kernel = kernel[::-1, ::-1]
        height, width = (side + kernel.shape[0] - 1 for side in self._picture(power).shape)
        pitch = image.pitch * scale
        shift = 0.5 * (pitch - image.pitch) - (kernel.shape[0] // 2) * pitch
        directly = diameter < DIRECT_BELOW and power == 0
        cost = height * width * (np.count_nonzero(kernel) if directly else 500.0)
        return _Plan(power, kernel, height, width, image.left + shift, image.top + shift, pitch, cost)

    def _fill(self, key: tuple[int, int], plan: _Plan, out: np.ndarray) -> None:
        """Make one level in place, or copy it from the last stack."""
        kept = self._levels.get(key)
        if kept is not None:
            out[...] = kept
        elif plan.kernel is None:
            quantise(self._image.values, out)
        elif plan.power == 0 and self._diameter(key[0]) < DIRECT_BELOW:
            convolve_directly(self._image.values, plan.kernel, out)
        else:
            self._spectrum(plan.power).convolve(plan.kernel, out)

    def _picture(self, power: int) -> np.ndarray:
        """The gate's picture averaged over blocks of 2^power pixels, padded with metal to whole blocks."""
        if power not in self._reduced:
            finer = self._picture(power - 1)
            padded = np.pad(finer, ((0, finer.shape[0] % 2), (0, finer.shape[1] % 2)))
            rows = padded[::2] + padded[1::2]
            self._reduced[power] = np.float32(0.25) * (rows[:, ::2] + rows[:, 1::2])
        return self._reduced[power]

    def _spectrum(self, power: int) -> Spectrum:
        """The reduced picture's transform, with room for the largest kernel of its part of the ladder; made once."""
        with self._lock:
            if power not in self._spectra:
                last = self._diameter(self._n_steps - 1) / 2**power
                widest = math.ceil(min(2 * PIXELS_PER_PATCH, last) * self._pupil.reach) + 5
                self._spectra[power] = Spectrum(self._picture(power), widest)
            return self._spectra[power]


class _Plan(NamedTuple):
    """A level to be made: reduction, kernel, size in texels, place and pitch (m), and about how dear it is."""

    power: int
    kernel: np.ndarray | None
    height: int
    width: int
    left: float
    top: float
    pitch: float
    cost: float


def _pupil_kernel(pupil: Pupil, diameter: float, scale: int) -> np.ndarray:
    """The pupil drawn `diameter` gate pixels wide on pixels of `scale`, narrowed by what else blurs a look-up.

    Second moments add: a disc has d²/16 along each axis. Against a disc over the bitmap (itself linear between pixel
    centres, 1/6) a look-up has the reduced picture's pixels (p² − 1)/12, the kernel's p²/12, and p²/6 on average from
    running straight between texels.
    """
    wanted = diameter * diameter / 16.0 + 0.25 - scale * scale / 3.0
    return coverage_image(pupil, 4.0 * math.sqrt(max(wanted, 0.25 * diameter * diameter / 16.0)) / scale)


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
