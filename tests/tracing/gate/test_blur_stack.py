"""The memory of blurred stacks: used again only when nobody can look at it any more."""

from __future__ import annotations

import gc

import numpy as np

from projector.tracing.gate.blur_stack import BlurStack
from projector.tracing.gate.gate_image import Bitmap, draw_gate, round_gate
from projector.tracing.gate.patch_lanes import LEVEL
from projector.tracing.sight.outline import make_outline

PATCHES = (3e-4, 4e-4)


def picture(seed):
    random = np.random.default_rng(seed)
    return draw_gate(round_gate(0.03), Bitmap(random.random((300, 300), dtype=np.float32), 1e-4))


def test_a_stack_keeps_its_texels_while_others_are_made_and_dropped():
    held = BlurStack(picture(1), make_outline("disc")).stack(*PATCHES)
    kept = held.texels.copy()
    for seed in range(2, 6):
        other = BlurStack(picture(seed), make_outline("disc"))
        assert not np.shares_memory(other.stack(*PATCHES).texels, held.texels)
        del other
        gc.collect()
    np.testing.assert_array_equal(held.texels, kept)


def test_memory_of_a_stack_that_nobody_holds_is_used_again_and_says_nothing_of_it():
    first = BlurStack(picture(1), make_outline("disc"))
    expected = BlurStack(picture(2), make_outline("disc"))
    wanted, place = expected.stack(*PATCHES), first.stack(*PATCHES).texels.ctypes.data
    del first
    gc.collect()
    again = BlurStack(picture(2), make_outline("disc"))
    stack = again.stack(*PATCHES)
    assert stack.texels.ctypes.data == place
    for level in wanted.levels.view(LEVEL):
        span = slice(level["offset"], level["offset"] + level["width"] * (int(level["last_row"]) + 1))
        np.testing.assert_array_equal(stack.texels[span], wanted.texels[span])
