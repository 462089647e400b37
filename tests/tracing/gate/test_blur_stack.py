"""The memory of blurred stacks: used again only when nobody can look at it any more."""

from __future__ import annotations

import numpy as np
import pytest

from projector.tracing.gate.blur_ladder import level_shape, make_ladder, n_octaves
from projector.tracing.gate.blur_stack import MOST_THINNED, ROOM, BlurStack
from projector.tracing.gate.gate_image import MOST_PIXELS, Bitmap, draw_gate, round_gate
from projector.tracing.gate.levels import LEVEL
from projector.tracing.sight.outline import kernel_size, make_outline

PATCHES = (3e-4, 4e-4)


def picture(seed):
    random = np.random.default_rng(seed)
    return draw_gate(round_gate(0.03), Bitmap(random.random((300, 300), dtype=np.float32), 1e-4))


def same_levels(stack, wanted):
    """Whether two stacks hold the same texels in all their levels."""
    for level in wanted.levels.view(LEVEL):
        span = slice(level["offset"], level["offset"] + level["width"] * (int(level["last_row"]) + 1))
        np.testing.assert_array_equal(stack.texels[span], wanted.texels[span])
    return True


@pytest.mark.slow
def test_a_stack_keeps_its_texels_while_others_are_made_and_closed():
    held = BlurStack(picture(1), make_outline("disc")).stack(*PATCHES)
    kept = held.texels.copy()
    for seed in range(2, 6):
        other = BlurStack(picture(seed), make_outline("disc"))
        assert not np.shares_memory(other.stack(*PATCHES).texels, held.texels)
        other.close()
    np.testing.assert_array_equal(held.texels, kept)


def test_the_memory_of_a_closed_stack_serves_the_next_one():
    wanted = BlurStack(picture(2), make_outline("disc")).stack(*PATCHES)
    first = BlurStack(picture(1), make_outline("disc"))
    place = first.stack(*PATCHES).texels.ctypes.data
    first.close()
    stack = BlurStack(picture(2), make_outline("disc")).stack(*PATCHES)
    assert stack.texels.ctypes.data == place and same_levels(stack, wanted)


def test_memory_goes_on_only_after_the_last_look_up_in_it():
    first = BlurStack(picture(1), make_outline("disc"))
    held = first.stack(*PATCHES)
    kept = held.texels.copy()
    with first.used(), first.used():
        first.close()
        meanwhile = BlurStack(picture(2), make_outline("disc")).stack(*PATCHES)
        assert not np.shares_memory(meanwhile.texels, held.texels)
        np.testing.assert_array_equal(held.texels, kept)
    after = BlurStack(picture(3), make_outline("disc")).stack(*PATCHES)
    assert np.shares_memory(after.texels, held.texels)


def test_a_closed_stack_that_is_asked_again_begins_anew():
    stacks = BlurStack(picture(1), make_outline("disc"))
    wanted = stacks.stack(*PATCHES)
    kept = wanted._replace(texels=wanted.texels.copy())
    stacks.close()
    assert stacks.n_bytes < kept.texels.nbytes
    assert same_levels(stacks.stack(*PATCHES), kept)


def test_memory_that_another_stack_had_filled_counts_for_the_one_that_took_it_over():
    """It is the machine's no more, however little the new stack needs: a session has to let go of more."""
    wide = BlurStack(picture(1), make_outline("disc"))
    filled = wide.stack(1e-5, 1e-2).texels[:0].nbytes + wide.n_bytes
    narrow = BlurStack(picture(2), make_outline("disc"))
    narrow.stack(*PATCHES)
    by_itself = narrow.n_bytes
    wide.close()
    heir = BlurStack(picture(2), make_outline("disc"))
    heir.stack(*PATCHES)
    assert by_itself < 0.5 * filled
    assert heir.n_bytes > 0.8 * filled


def test_a_request_within_the_room_is_all_that_is_allocated():
    stack = BlurStack(picture(1), make_outline("ring", inner_fraction=0.9))
    assert stack.stack(1e-5, 1e-2).texels.size <= ROOM


def spread_bitmap(reach):
    """A drawn pupil that a half turn changes, its light spread as far as `reach`."""
    drawn = np.zeros((64, 64))
    drawn.flat[: int(np.pi * (32.0 * 2.0**0.5) ** 2 / reach**2)] = 1.0
    return make_outline("bitmap", bitmap=drawn)


@pytest.mark.parametrize(
    ("outline", "signs"),
    [
        (make_outline("disc"), 1),
        (make_outline("ring", inner_fraction=0.99), 1),
        (make_outline("polygon", n_blades=3), 2),
        (spread_bitmap(2.0), 2),
        (spread_bitmap(8.0), 2),
    ],
)
@pytest.mark.parametrize("full", [1.0, 1e-6])
def test_all_levels_of_the_largest_picture_fit_five_rooms_however_the_pupil_is_drawn(outline, signs, full):
    """The most that one request can come to, every size of patch at once, thinned: 1.3 GB, and only of a picture that
    is as fine as any and open to its corners. A scene's checks let no outline reach farther than 8.
    """
    shape, extent = (MOST_PIXELS + 2,) * 2, MOST_PIXELS * 2.0**0.5
    rungs = make_ladder(shape, extent, [1.0] + [full] * (n_octaves(extent) + 2), outline)
    sizes = [
        np.prod(level_shape(shape, rung.power, kernel_size(outline, rung.diameter / 2**rung.power)))
        for rung in rungs
        if rung.rank >= MOST_THINNED
    ]
    assert signs * sum(sizes) < 5 * ROOM
