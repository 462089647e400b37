"""Which patch sizes a blurred stack holds, and how fine it draws each: as fine as what shines through the stencil asks.

A look-up mixes two levels. Of an opening much smaller than the patch each shows the pupil's own image, with an edge as
sharp as the opening is small, and the mixture two edges where there should be one. How much light lies between them
follows from how full the patch is where light comes from: of a solid stencil neighbouring levels hardly differ, of a
pinhole their difference is all edge; many openings in one patch even each other out. So each octave of patch sizes
gets its steps and its pixels by that one number.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from projector.jit import kernel
from projector.tracing.sight.outline import Outline, kernel_size, rim_length

# Patch diameters in pixels of the gate's picture: 0, then this, then growing by so many steps an octave.
FIRST_DIAMETER = 1.5
# The last level is so many times as wide as the lit part: what is wider still is that level drawn larger.
WIDEST_PATCH = 64.0
# No level is coarser than this share of its patch.
LEAST_PIXELS = 16
# Steps an octave and least pixels across a patch where it is at least so full. Found by comparing with single rays.
_KINDS = ((0.66, 3, LEAST_PIXELS), (0.33, 6, 32), (0.05, 12, 64), (0.01, 24, 64), (0.0, 48, 128))
_MOST_PIXELS = 512
# Where levels have fewer texels than this they cost next to nothing: only what is fuller makes do with the fewest.
_SMALL, _SOLID = 2**17, 0.9
_ALWAYS = 99
# Patches less full than this are mostly dark.
_SPARSE = 0.45
# A level finer than its kind asks first may have so many texels.
_MOST_TEXELS = 2**20


class Rung(NamedTuple):
    """A size of patch: its diameter in pixels of the gate's picture, and by how many halvings of that its level is
    drawn.

    widest: pixels of the reduced picture that neither this patch nor those near it exceed
    serves_cells: whether it is among the fewer that cells of the pupil look up
    rank: how often every second rung can be left out, beyond three an octave, before this one is
    """

    diameter: float
    power: int
    widest: float
    serves_cells: bool
    rank: int


@kernel
def _halve(finer, coarser):
    """Means over 2 × 2 pixels, with metal beyond the border; returns their sum and that of their squares."""
    height, width = finer.shape
    total = squares = 0.0
    for i in range(coarser.shape[0]):
        for j in range(coarser.shape[1]):
            value = finer[2 * i, 2 * j]
            if 2 * j + 1 < width:
                value += finer[2 * i, 2 * j + 1]
            if 2 * i + 1 < height:
                value += finer[2 * i + 1, 2 * j]
                if 2 * j + 1 < width:
                    value += finer[2 * i + 1, 2 * j + 1]
            value *= np.float32(0.25)
            coarser[i, j] = value
            total += value
            squares += value * value
    return total, squares


def reduced_pictures(picture: np.ndarray, count: int) -> tuple[list[np.ndarray], list[float]]:
    """The picture (h, w) float32 averaged over blocks of 1, 2, 4 … 2^count pixels, and how full those with light are.

    Fullness: the mean over all light of what passes the block around it, 1 where every lit block is open.
    """
    pictures, fullness = [picture], [1.0]
    for _ in range(count):
        finer = pictures[-1]
        coarser = np.empty((-(-finer.shape[0] // 2), -(-finer.shape[1] // 2)), np.float32)
        total, squares = _halve(finer, coarser)
        pictures.append(coarser)
        fullness.append(squares / total if total > 0.0 else 1.0)
    return pictures, fullness


def n_octaves(extent: float) -> int:
    """Octaves from the first patch to the last for a lit part `extent` pixels wide."""
    return max(1, math.ceil(math.log2(WIDEST_PATCH * extent / FIRST_DIAMETER)))


def make_ladder(shape: tuple[int, int], extent: float, fullness: list[float], pupil: Outline) -> list[Rung]:
    """The rungs for a picture of a shape (h, w), lit over `extent` pixels,
    with the fullness of blocks of 2^i pixels.
    """
    rungs = [Rung(0.0, 0, 0.0, True, _ALWAYS)]
    # A thin ring's image is all edge too.
    thin = rim_length(pupil)
    for octave in range(n_octaves(extent) + 1):
        first = FIRST_DIAMETER * 2.0**octave
        full = _fullness_of_patches(fullness, octave) / thin**2
        # Levels wider than the lit part are drawn larger or smaller about its middle, which leaves less between their
        # edges.
        is_small = math.prod(shape) < _SMALL * (first / LEAST_PIXELS) ** 2
        steps, _ = _kind(full * max(1.0, first / extent) ** 2, thin, is_small)
        _, pixels = _kind(full, thin, is_small)
        # The last octave is only begun.
        for step in range(steps if octave < n_octaves(extent) else 1):
            diameter = first * 2.0 ** (step / steps)
            power = _power(shape, diameter, pixels, pupil)
            halvings = steps // _KINDS[0][1]
            rank = _ALWAYS if step % halvings == 0 else (step & -step).bit_length() - 1
            rungs.append(
                Rung(diameter, power, min(2.0 * pixels, 2.0 * first / 2**power), step % _KINDS[0][1] == 0, rank)
            )
    return rungs


def _fullness_of_patches(fullness: list[float], octave: int) -> float:
    """How full patches at an octave's upper end are: these are as large as squares 1.33 times the blocks of 2^(octave +
    1) pixels.
    """
    return fullness[octave + 1] ** 0.59 * fullness[octave + 2] ** 0.41


def sparse_from(fullness: list[float]) -> float:
    """Patch diameter in pixels beyond which patches are mostly dark; inf if none are."""
    octaves = range(len(fullness) - 2)
    return next(
        (
            FIRST_DIAMETER * 2.0 ** (octave + 0.5)
            for octave in octaves
            if _fullness_of_patches(fullness, octave) < _SPARSE
        ),
        math.inf,
    )


def _kind(full: float, thin: float, is_small: bool) -> tuple[int, int]:
    """Steps an octave and least pixels across a patch."""
    index = next(index for index, (least, _, _) in enumerate(_KINDS) if full >= least)
    if full * thin**2 >= _KINDS[0][0]:
        # The image of what is solid is smooth, whatever the pupil.
        index = min(index, 1)
    if index == 0 and is_small and full < _SOLID:
        index = 1
    _, steps, pixels = _KINDS[index]
    return steps, (
        min(max(pixels, 2 ** math.ceil(math.log2(4.0 / math.sqrt(full)))), _MOST_PIXELS) if index > 1 else pixels
    )


def _power(shape: tuple[int, int], diameter: float, pixels: int, pupil: Outline) -> int:
    """Halvings of the picture for a level with so many pixels across its patch, or fewer where that would take too many
    texels.
    """
    coarsest = max(0, math.floor(math.log2(diameter / _KINDS[0][2])))
    power = min(coarsest, max(0, math.floor(math.log2(diameter / pixels))))
    while (
        power < coarsest
        and math.prod(level_shape(shape, power, kernel_size(pupil, diameter / 2**power))) > _MOST_TEXELS
    ):
        power += 1
    return power


def level_shape(shape: tuple[int, int], power: int, size: int) -> tuple[int, int]:
    """Texels (h, w) of a picture halved `power` times and blurred by a kernel of a size."""
    block = 2**power
    return -(-shape[0] // block) + size - 1, -(-shape[1] // block) + size - 1
