"""Randomness without a state: a number is a hash of (seed, point, sample, dimension), whatever thread asks for it.

The mixing steps are those of SplitMix64 (G. Steele, D. Lea, C. Flood, "Fast splittable pseudorandom number
generators", OOPSLA 2014): an odd multiply and xor-shifts that pass statistical test batteries.
"""

from __future__ import annotations

import numpy as np

from projector.jit import formula

_GOLDEN = np.uint64(0x9E3779B97F4A7C15)
_MIX_1 = np.uint64(0xBF58476D1CE4E5B9)
_MIX_2 = np.uint64(0x94D049BB133111EB)
_SHIFT_30 = np.uint64(30)
_SHIFT_27 = np.uint64(27)
_SHIFT_31 = np.uint64(31)
_SHIFT_11 = np.uint64(11)
_UNIT = 1.0 / 9007199254740992.0


@formula
def _mixed(state):
    state = (state ^ (state >> _SHIFT_30)) * _MIX_1
    state = (state ^ (state >> _SHIFT_27)) * _MIX_2
    return state ^ (state >> _SHIFT_31)


@formula
def point_key(seed, point):
    """A 64-bit key for one point; draw its numbers with `uniform`."""
    return _mixed(_mixed(np.uint64(seed) + _GOLDEN) ^ (np.uint64(point) * _GOLDEN))


@formula
def uniform(key, sample, dimension):
    """A number in [0, 1) for this key, sample and dimension (0 … 15)."""
    counter = np.uint64(sample) * np.uint64(16) + np.uint64(dimension) + np.uint64(1)
    return np.float64(_mixed(key + counter * _GOLDEN) >> _SHIFT_11) * _UNIT
