"""The gate's picture blurred with the pupil at growing sizes: one look-up answers the integral over an unshadowed pupil.

A point of the scene sees the gate through every part of the pupil at once, so its light is the gate's picture averaged
over a small copy of the pupil. The stack holds that average for a ladder of sizes; between two of them it is
interpolated. No level is coarser than a sixteenth of its patch, neighbours are at most 1.26 apart (for the cells of a
pupil an octave).
"""

from __future__ import annotations

import math
import threading
import weakref
from collections import deque
from concurrent.futures import ThreadPoolExecutor
from typing import NamedTuple

import numpy as np

from projector.tracing.convolution import RunningSums, Spectrum, convolve_directly, quantise, rims
from projector.tracing.gate_image import GateImage
from projector.tracing.patch_lanes import LEVEL
from projector.tracing.pupil import BITMAP, RING, Pupil, coverage_image, kernel_size

# Patch diameters of the ladder in pixels of the gate's picture: 0, then this, then growing by so many steps an octave.
FIRST_DIAMETER = 1.5
STEPS_PER_OCTAVE = 3
# A pupil with sharp features of its own (a ring, a drawing) shows them twice where two levels are mixed: a finer ladder.
STEPS_PER_OCTAVE_FINE = 6
PIXELS_PER_PATCH = 16
# With up to so many terms a texel they are summed one by one; beyond, a Fourier transform is quicker.
MOST_TERMS = 250
# Running sums pay where they save so much of the terms: they have to be made, and round off.
_TERMS_SAVED = 0.7
# Beyond this patch, in gate widths, a finer ladder changes nothing that can be seen; look-ups stay at the last level.
WIDEST_PATCH = 8.0


class Stack(NamedTuple):
    """Blurred levels, flat for the look-ups of `patch_lanes`.

    texels     (n,) uint16, all levels one after the other; FULL stands for the open gate on the axis
    levels     (8·k,) int32, a LEVEL each: offset and size in texels, place and pitch (m), patch diameter (m)
    diameters  (k / n_signs,) float32 m, growing from the first level's: patch diameter of each level
    n_signs    1, or 2 where a half turn changes the pupil: the second half of the levels is for the turned pupil
    """

    texels: np.ndarray
    levels: np.ndarray
    diameters: np.ndarray
    n_signs: int


# Memory of the last stack that nobody holds any more. Filling fresh memory costs as much as the blur itself.
_spare: deque[np.ndarray] = deque(maxlen=1)


def _room_for(n_texels: int) -> np.ndarray:
    """Room for (n_texels,) uint16, unset; it may be used again once neither the array nor a Stack of it is held."""
    try:
        memory = _spare.pop()
    except IndexError:
        memory = np.empty(0, np.uint16)
    if memory.size < n_texels:
        memory = np.empty(n_texels, np.uint16)
    texels = memory[:n_texels]
    weakref.finalize(texels, _spare.append, memory).atexit = False
    return texels


class BlurStack:
    """Levels made when first asked for and kept; `stack` hands kernels the part of the ladder that they need."""

    def __init__(self, image: GateImage, pupil: Pupil, workers: int = 2):
        self._image = image
        self._pupil = pupil
        self._workers = workers
        self._reduced = {0: image.values}
        self._ready_pictures: dict[tuple[type, int], Spectrum | RunningSums] = {}
        self._filled: set[tuple[int, int]] = set()
        self._lock = threading.Lock()
        self._made: dict[tuple[int, ...], Stack] = {}
        self._per_octave = STEPS_PER_OCTAVE_FINE if pupil.kind in (RING, BITMAP) else STEPS_PER_OCTAVE
        widest = WIDEST_PATCH * max(image.values.shape)
        self._n_steps = 1 + math.ceil(math.log2(widest / FIRST_DIAMETER) * self._per_octave)
        self._signs = (1,) if pupil.symmetric else (1, -1)
        self._plans = self._all_plans()

    def _diameter(self, step: int) -> float:
        """Patch diameter of a step of the ladder, in pixels of the gate's picture."""
        return 0.0 if step == 0 else FIRST_DIAMETER * 2.0 ** ((step - 1) / self._per_octave)

    def _steps_for(self, low: float, high: float, cells_low: float) -> list[int]:
        """Steps of the ladder that span low … high (m), two at least, and one an octave below them down to cells_low."""
        sizes = [self._diameter(step) * self._image.pitch for step in range(self._n_steps)]
        last = next((step for step in range(1, self._n_steps) if sizes[step] >= high), self._n_steps - 1)
        first = max((step for step in range(last) if sizes[step] <= low), default=0)
        steps = list(range(first, last + 1))
        while steps[0] > 0 and sizes[steps[0]] > cells_low:
            steps.insert(0, max(steps[0] - self._per_octave, 0))
        return steps

    def stack(self, low: float, high: float, cells_low: float | None = None) -> Stack:
        """The levels for patch diameters from `low` to `high` (m), and coarser spaced ones for small cells below.

        Levels that are there already cost nothing.
        """
        return self._ready(self._steps_for(low, high, low if cells_low is None else min(low, cells_low)))

    def _ready(self, steps: list[int]) -> Stack:
        if tuple(steps) in self._made:
            return self._made[tuple(steps)]
        keys = [(step, sign) for sign in self._signs for step in steps]
        new = sorted((key for key in keys if key not in self._filled), key=lambda key: -self._plans[key].cost)
        with ThreadPoolExecutor(self._workers) as pool:
            list(pool.map(self._fill, new))
        self._filled.update(new)
        levels = np.array([self._level(*key) for key in keys], LEVEL)
        stack = Stack(self._texels, levels.view(np.int32), levels["diameter"][: len(steps)].copy(), len(self._signs))
        self._made[tuple(steps)] = stack
        return stack

    def _level(self, step: int, sign: int) -> tuple:
        """A level as look-ups read it, in the order of LEVEL."""
        plan = self._plans[step, sign]
        return plan.left, plan.top, 1.0 / plan.pitch, plan.height - 1, self._diameter(step) * self._image.pitch, plan.width, plan.offset

    def _all_plans(self) -> dict[tuple[int, int], _Plan]:
        """Where every level of the ladder will lie in one block of texels. Memory is taken only as levels are filled."""
        plans, offset = {}, 0
        for sign in self._signs:
            for step in range(self._n_steps):
                plans[step, sign] = plan = self._plan(step, sign)._replace(offset=offset)
                offset += plan.height * plan.width
        self._texels = _room_for(offset)
        return plans

    def _plan(self, step: int, sign: int) -> _Plan:
        """What a level will be: its size and place, and about how dear it is."""
        image = self._image
        height, width = image.values.shape
        if step == 0:
            return _Plan(0, 0, height, width, image.left, image.top, image.pitch, 0.0)
        diameter = self._diameter(step)
        power = max(0, math.floor(math.log2(diameter / PIXELS_PER_PATCH)))
        for _ in range(power):
            height, width = -(-height // 2), -(-width // 2)
        size = kernel_size(self._pupil, _narrowed(diameter, 2**power))
        pitch = image.pitch * 2**power
        shift = 0.5 * (pitch - image.pitch) - (size // 2) * pitch
        terms = min(diameter * diameter, 6.0 * diameter, MOST_TERMS)
        height, width = height + size - 1, width + size - 1
        return _Plan(power, 0, height, width, image.left + shift, image.top + shift, pitch, height * width * terms)

    def _fill(self, key: tuple[int, int]) -> None:
        """Make one level in its place."""
        step, sign = key
        plan = self._plans[key]
        out = self._texels[plan.offset : plan.offset + plan.height * plan.width].reshape(plan.height, plan.width)
        if step == 0:
            quantise(self._image.values, out)
            return
        weights = coverage_image(self._pupil, _narrowed(self._diameter(step), 2**plan.power))
        if sign > 0:
            # A patch gathers T(c + b·A): a correlation, so the convolution's kernel is the pupil turned by 180°.
            weights = weights[::-1, ::-1]
        n_taps, n_rims = np.count_nonzero(weights), np.count_nonzero(rims(weights))
        if min(n_taps, n_rims) > MOST_TERMS:
            self._prepared(Spectrum, plan.power).convolve(weights, out)
        elif n_rims < _TERMS_SAVED * n_taps:
            self._prepared(RunningSums, plan.power).convolve(weights, out)
        else:
            convolve_directly(self._picture(plan.power), weights, out)

    def _picture(self, power: int) -> np.ndarray:
        """The gate's picture averaged over blocks of 2^power pixels, padded with metal to whole blocks."""
        if power not in self._reduced:
            finer = self._picture(power - 1)
            padded = np.pad(finer, ((0, finer.shape[0] % 2), (0, finer.shape[1] % 2)))
            rows = padded[::2] + padded[1::2]
            self._reduced[power] = np.float32(0.25) * (rows[:, ::2] + rows[:, 1::2])
        return self._reduced[power]

    def _prepared(self, way: type, power: int):
        """The reduced picture made ready for one way to blur it, with room for the largest kernel of its part of the ladder; made once."""
        with self._lock:
            if (way, power) not in self._ready_pictures:
                last = self._diameter(self._n_steps - 1) / 2**power
                widest = math.ceil(min(2 * PIXELS_PER_PATCH, last) * self._pupil.reach) + 5
                self._ready_pictures[way, power] = way(self._picture(power), widest)
            return self._ready_pictures[way, power]


class _Plan(NamedTuple):
    """A level: reduction, place in the block of texels, size in texels, place and pitch (m), and about how dear it is."""

    power: int
    offset: int
    height: int
    width: int
    left: float
    top: float
    pitch: float
    cost: float


def _narrowed(diameter: float, scale: int) -> float:
    """Diameter, in pixels of `scale`, that a patch of `diameter` gate pixels is drawn with, less what else blurs a look-up.

    Second moments add: a disc has d²/16 along each axis. Against a disc over the bitmap (itself linear between pixel
    centres, 1/6) a look-up has the reduced picture's pixels (p² − 1)/12, the kernel's p²/12, and p²/6 on average from
    running straight between texels.
    """
    wanted = diameter * diameter / 16.0 + 0.25 - scale * scale / 3.0
    return 4.0 * math.sqrt(max(wanted, 0.25 * diameter * diameter / 16.0)) / scale
