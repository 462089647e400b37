"""The gate's picture blurred with the pupil at growing sizes: one look-up answers the integral over an unshadowed
pupil.

A point of the scene sees the gate through every part of the pupil at once, so its light is the gate's picture averaged
over a small copy of the pupil. The stack holds that average for a ladder of sizes; between two of them it is
interpolated. No level is coarser than a sixteenth of its patch, neighbours are at most 1.26 apart (for the cells of a
pupil an octave), and both are finer where little shines through (`blur_ladder`).

Levels are kept as shares of the most that any of their texels could hold: a pinhole's light spread over a wide patch is
little, but no less exact.
"""

from __future__ import annotations

import math
import threading
from collections import deque
from concurrent.futures import ThreadPoolExecutor
from contextlib import AbstractContextManager, contextmanager
from typing import NamedTuple

import numpy as np

from projector.tracing.gate.blur_ladder import (
    LEAST_PIXELS,
    level_shape,
    make_ladder,
    n_octaves,
    reduced_pictures,
    sparse_from,
)
from projector.tracing.gate.convolution import FULL, RunningSums, Spectrum, convolve_directly, quantise, rims
from projector.tracing.gate.gate_image import GateImage
from projector.tracing.gate.levels import LEVEL
from projector.tracing.sight.outline import Outline, coverage_image, kernel_size

# With up to so many terms a texel they are summed one by one; beyond, a Fourier transform is quicker.
MOST_TERMS = 250
# Running sums pay where they save so much of the terms: they have to be made, and round off.
_TERMS_SAVED = 0.7
# Memory that levels are filled into, texels: taken from the machine only as they are. Where they would take more, every
# second of a fine ladder's is left out, up to so many times.
ROOM = 2**27
MOST_THINNED = 4


class Stack(NamedTuple):
    """Blurred levels, flat for the look-ups of `patch_lanes`.

    texels     (n,) uint16, all levels one after the other; FULL stands for the scale of the level
    levels     (8·k,) int32, a LEVEL each: offset and size in texels, place and pitch (m), patch diameter (m), scale
    diameters  (k / n_signs,) float32 m, growing from the first level's: patch diameter of each level
    n_signs    1, or 2 where a half turn changes the pupil: the second half of the levels is for the turned pupil
    middle     x and y (m) of the light's centroid in the gate, and the size of the lit part as 1/m: levels are drawn
               larger or smaller about it for patches wider than the lit part
    sparse_from  patches wider than this (m) are mostly dark even where they hold light
    """

    texels: np.ndarray
    levels: np.ndarray
    diameters: np.ndarray
    n_signs: int
    middle: tuple
    sparse_from: float


class _Room:
    """Memory for levels. The machine gives it only as it is filled: `n_filled` texels of it have been, by whomever.

    n_users: how many look-ups are under way in it; is_let_go: whether its stack has no more use for it.
    """

    def __init__(self, n_texels: int):
        self.memory = np.empty(n_texels, np.uint16)
        self.n_filled = 0
        self.n_users = 0
        self.is_let_go = False


# Room that a stack has let go of, for the next one: filling fresh memory costs as much as the blur itself.
_spare: deque[_Room] = deque(maxlen=1)
_rooms_lock = threading.Lock()


def _room_for(n_texels: int) -> _Room:
    """Room for n_texels, unset: what was let go of where it is large enough."""
    with _rooms_lock:
        room = _spare.pop() if _spare else None
        if room is None or room.memory.size < n_texels:
            return _Room(n_texels)
        room.is_let_go = False
        return room


def _let_go(room: _Room) -> None:
    """Hand room back: the next stack may have it once the last look-up in it has ended."""
    with _rooms_lock:
        room.is_let_go = True
        if room.n_users == 0:
            _spare.append(room)


@contextmanager
def _used(room: _Room):
    """Keep room from being handed on while look-ups are under way in it."""
    with _rooms_lock:
        room.n_users += 1
    try:
        yield
    finally:
        with _rooms_lock:
            room.n_users -= 1
            if room.n_users == 0 and room.is_let_go:
                _spare.append(room)


class BlurStack:
    """Levels made when first asked for and kept; `stack` hands kernels the part of the ladder that they need.

    Whoever looks levels up does so within `used`, and whoever has no more use for the stack calls `close`: then its
    memory goes to the next stack. One that is asked again after that begins anew.
    """

    def __init__(self, image: GateImage, pupil: Outline, workers: int = 2):
        self._image = image
        self._pupil = pupil
        self._workers = workers
        # One pixel all round is metal.
        extent = math.hypot(image.values.shape[0] - 2, image.values.shape[1] - 2)
        self._reduced, fullness = reduced_pictures(image.values, n_octaves(extent) + 2)
        self._rungs = make_ladder(image.values.shape, extent, fullness, pupil)
        self.sparse_from = sparse_from(fullness) * image.pitch
        self._middle = (*_middle_of_light(image, self._reduced), 1.0 / (extent * image.pitch))
        self._total = float(self._reduced[-1].sum(dtype=float)) * 4.0 ** (len(self._reduced) - 1)
        self._ready_pictures: dict[tuple, Spectrum | RunningSums] = {}
        self._lock = threading.Lock()
        self._signs = (1,) if pupil.symmetric else (1, -1)
        self._plans: dict[int, _Plan] = {}
        # What FULL stands for in each level.
        self._scales = {0: 1.0}
        self._room: _Room | None = None
        self._start_over(0)

    @property
    def n_bytes(self) -> int:
        """Memory that it has taken beside the picture's; what others had filled before counts as well."""
        return (
            (2 * self._room.n_filled if self._room is not None else 0)
            + sum(item.nbytes for item in self._reduced[1:])
            + sum(item.n_bytes for item in self._ready_pictures.values())
        )

    def _start_over(self, n_texels: int) -> None:
        """Room for levels, none of them filled."""
        self.close()
        n_texels = max(n_texels, min(ROOM, self._n_texels(range(len(self._rungs)))))
        self._room = _room_for(n_texels)
        self._texels = self._room.memory[:n_texels]

    def close(self) -> None:
        """Let go of all levels; their memory is the next stack's once nobody uses it any more."""
        if self._room is not None:
            _let_go(self._room)
        self._room, self._texels = None, np.empty(0, np.uint16)
        self._taken = 0
        self._offsets: dict[tuple[int, int], int] = {}
        self._made: dict[tuple[int, ...], Stack] = {}

    def used(self) -> AbstractContextManager[None]:
        """Keep the levels where they are as long as look-ups in the stack that was handed out last are under way."""
        assert self._room is not None, "asked for a stack first"
        return _used(self._room)

    def _size(self, step: int) -> float:
        """Patch diameter (m) of a step of the ladder."""
        return self._rungs[step].diameter * self._image.pitch

    def _steps_for(self, low: float, high: float, cells_low: float, thinned: int) -> list[int]:
        """Steps of the ladder that span low … high (m), two at least, and fewer below them down to cells_low; every
        second one left out `thinned` times.
        """
        steps = [step for step, rung in enumerate(self._rungs) if rung.rank >= thinned]
        last = next((place for place in range(1, len(steps)) if self._size(steps[place]) >= high), len(steps) - 1)
        first = max((place for place in range(last) if self._size(steps[place]) <= low), default=0)
        below = [step for step in steps[:first] if self._rungs[step].serves_cells]
        if cells_low >= self._size(steps[first]):
            below = []
        lowest = max((step for step in below if self._size(step) <= cells_low), default=0)
        return [step for step in below if step >= lowest] + steps[first : last + 1]

    def stack(self, low: float, high: float, cells_low: float | None = None) -> Stack:
        """The levels for patch diameters from `low` to `high` (m), and coarser spaced ones for small cells below.

        Levels that are there already cost nothing. Steps are as fine as the ladder's where they find room.
        """
        cells_low = low if cells_low is None else min(low, cells_low)
        wanted = (self._steps_for(low, high, cells_low, thinned) for thinned in range(MOST_THINNED + 1))
        steps = next((steps for steps in wanted if self._n_texels(steps) <= ROOM), None)
        return self._ready(steps if steps is not None else self._steps_for(low, high, cells_low, MOST_THINNED))

    def _n_texels(self, steps: list[int]) -> int:
        return len(self._signs) * sum(self._plan(step).n_texels for step in steps)

    def _ready(self, steps: list[int]) -> Stack:
        if tuple(steps) in self._made:
            return self._made[tuple(steps)]
        keys = [(step, sign) for sign in self._signs for step in steps]
        if (
            self._room is None
            or self._taken + sum(self._plan(step).n_texels for step, sign in keys if (step, sign) not in self._offsets)
            > self._texels.size
        ):
            self._start_over(self._n_texels(steps))
        new = sorted((key for key in keys if key not in self._offsets), key=lambda key: -self._plan(key[0]).cost)
        for key in new:
            self._offsets[key] = self._taken
            self._taken += self._plan(key[0]).n_texels
        self._room.n_filled = max(self._room.n_filled, self._taken)
        with ThreadPoolExecutor(self._workers) as pool:
            list(pool.map(self._fill, new))
        levels = np.array([self._level(*key) for key in keys], LEVEL)
        stack = Stack(
            self._texels,
            levels.view(np.int32),
            levels["diameter"][: len(steps)].copy(),
            len(self._signs),
            self._middle,
            self.sparse_from,
        )
        self._made[tuple(steps)] = stack
        return stack

    def _level(self, step: int, sign: int) -> tuple:
        """A level as look-ups read it, in the order of LEVEL."""
        plan = self._plan(step)
        return (
            plan.left,
            plan.top,
            1.0 / plan.pitch,
            plan.height - 1,
            self._size(step),
            self._scales[step] / FULL,
            plan.width,
            self._offsets[step, sign],
        )

    def _plan(self, step: int) -> _Plan:
        """What a level will be: its size and place, and about how dear it is."""
        if step not in self._plans:
            image, rung = self._image, self._rungs[step]
            if step == 0:
                self._plans[0] = _Plan(*image.values.shape, image.left, image.top, image.pitch, 0.0)
            else:
                size = kernel_size(self._pupil, self._drawn(step))
                pitch = image.pitch * 2**rung.power
                shift = 0.5 * (pitch - image.pitch) - (size // 2) * pitch
                height, width = level_shape(image.values.shape, rung.power, size)
                terms = min(rung.diameter * rung.diameter, 6.0 * rung.diameter, MOST_TERMS)
                self._plans[step] = _Plan(
                    height, width, image.left + shift, image.top + shift, pitch, height * width * terms
                )
        return self._plans[step]

    def _drawn(self, step: int) -> float:
        """Diameter that the pupil is drawn with for a level, in pixels of the reduced picture."""
        rung = self._rungs[step]
        return _narrowed(rung.diameter, 2**rung.power)

    def _fill(self, key: tuple[int, int]) -> None:
        """Make one level in its place."""
        step, sign = key
        plan, power, offset = self._plan(step), self._rungs[step].power, self._offsets[key]
        out = self._texels[offset : offset + plan.n_texels].reshape(plan.height, plan.width)
        if step == 0:
            quantise(self._image.values, out)
            return
        weights = coverage_image(self._pupil, self._drawn(step))
        # All light within one patch, or an open one: no texel holds more.
        scale = min(1.0, float(weights.max()) * self._total / 4**power) or 1.0
        self._scales[step] = scale
        weights /= scale
        if sign > 0:
            # A patch gathers T(c + b·A): a correlation, so the convolution's kernel is the pupil turned by 180°.
            weights = weights[::-1, ::-1]
        n_taps, n_rims = np.count_nonzero(weights), np.count_nonzero(rims(weights))
        if min(n_taps, n_rims) > MOST_TERMS:
            self._prepared(Spectrum, step).convolve(weights, out)
        elif n_rims < _TERMS_SAVED * n_taps:
            self._prepared(RunningSums, step).convolve(weights, out)
        else:
            convolve_directly(self._reduced[power], weights, out)

    def _prepared(self, way: type, step: int):
        """A reduced picture made ready for one way to blur it, with room for the largest kernel of this step's kind;
        made once.
        """
        rung = self._rungs[step]
        widest = math.ceil(max(2.0 * LEAST_PIXELS, rung.widest) * self._pupil.reach) + 5
        with self._lock:
            if (way, rung.power, widest) not in self._ready_pictures:
                self._ready_pictures[way, rung.power, widest] = way(self._reduced[rung.power], widest)
            return self._ready_pictures[way, rung.power, widest]


def _middle_of_light(image: GateImage, reduced: list[np.ndarray]) -> tuple[float, float]:
    """x and y (m) of the centroid of the light in the gate."""
    power = max(0, min(len(reduced) - 1, math.ceil(math.log2(max(image.values.shape))) - 8))
    values, pitch = reduced[power], image.pitch * 2**power
    rows, columns = values.sum(axis=1, dtype=float), values.sum(axis=0, dtype=float)
    total = rows.sum() or 1.0
    shift = 0.5 * (pitch - image.pitch)
    return (
        image.left + shift + pitch * float(columns @ np.arange(columns.size)) / total,
        image.top + shift + pitch * float(rows @ np.arange(rows.size)) / total,
    )


class _Plan(NamedTuple):
    """A level: size in texels, place and pitch (m), and about how dear it is."""

    height: int
    width: int
    left: float
    top: float
    pitch: float
    cost: float

    @property
    def n_texels(self) -> int:
        """Texels of the level."""
        return self.height * self.width


def _narrowed(diameter: float, scale: int) -> float:
    """Diameter, in pixels of `scale`, that a patch of `diameter` gate pixels is drawn with, less what else blurs a
    look-up.

    Second moments add: a disc has d²/16 along each axis. Against a disc over the bitmap (itself linear between pixel
    centres, 1/6) a look-up has the reduced picture's pixels (p² − 1)/12, the kernel's p²/12, and p²/6 on average from
    running straight between texels.
    """
    wanted = diameter * diameter / 16.0 + 0.25 - scale * scale / 3.0
    return 4.0 * math.sqrt(max(wanted, 0.25 * diameter * diameter / 16.0)) / scale
