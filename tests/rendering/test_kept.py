"""What sessions keep: results as long as their inputs are the same, large ones only as far as there is room."""

from __future__ import annotations

import threading
import time
import weakref
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
import pytest

from projector.rendering.kept import ROOM_BYTES, Kept, Store


@dataclass
class Large:
    """Something that takes memory, and may grow after it is made, as stacks do when a focus asks for more levels."""

    n_bytes: int


class Held:
    """A store of large results, and which of those that were made it still holds."""

    def __init__(self):
        self.store, self._made = Store(), {}

    def ask(self, key, n_bytes=1):
        def make():
            found = Large(n_bytes)
            self._made[key] = weakref.ref(found)
            return found

        return self.store.get(("stack", key), make)

    @property
    def keys(self):
        return [key for key, found in self._made.items() if found() is not None]


def test_what_was_unused_for_longest_goes_when_there_is_no_room():
    held = Held()
    for key in "abcd":
        held.ask(key, ROOM_BYTES // 3)
        held.ask("a")
    assert held.keys == ["a", "c", "d"]


def test_what_grew_since_it_was_made_counts_as_it_is_now():
    held = Held()
    held.ask("a").n_bytes = ROOM_BYTES - 1
    held.ask("b")
    assert held.keys == ["a", "b"]
    held.ask("b").n_bytes = 2
    held.ask("b")
    assert held.keys == ["b"]


def test_the_last_one_stays_even_if_it_alone_is_too_large():
    held = Held()
    held.ask("a")
    assert held.ask("b", 2 * ROOM_BYTES).n_bytes == 2 * ROOM_BYTES
    assert held.keys == ["b"]


def test_room_is_made_before_more_is_filled():
    """What is too much goes before the next is made: both at once would take twice the room."""
    held = Held()
    held.ask("a").n_bytes = ROOM_BYTES + 1

    def made():
        assert held.keys == []
        return Large(1)

    held.store.get(("stack", "b"), made)


def test_what_is_let_go_of_is_told_so():
    """Its memory is handed back by a call, not when the last name for it happens to go."""
    closed = []

    class Lent(Large):
        def close(self):
            closed.append(self)

    store, lent = Store(), Lent(ROOM_BYTES)
    store.get(("a",), lambda: lent)
    store.get(("b",), lambda: Large(1))
    assert closed == [lent]


def test_threads_that_ask_for_the_same_at_once_get_one_and_others_do_not_wait():
    store, made, other = Store(), [], threading.Event()

    def make():
        # Another key is made meanwhile.
        assert other.wait(10.0)
        time.sleep(0.01)
        made.append(Large(1))
        return made[-1]

    def make_other():
        other.set()
        return Large(1)

    with ThreadPoolExecutor(4) as pool:
        asked = [pool.submit(store.get, ("a",), make) for _ in range(3)]
        pool.submit(store.get, ("b",), make_other).result(10.0)
        assert {id(item.result(10.0)) for item in asked} == {id(made[0])}
    assert len(made) == 1


def test_a_result_is_made_anew_for_any_other_bit_of_its_inputs_and_for_no_other_reason():
    kept = Kept()
    inputs = [(1.0, np.array([0.0])), (1.0, np.array([-0.0])), (np.nextafter(1.0, 2.0), np.array([0.0]))]
    inputs += [(1.0, np.array([0.0], np.float32)), (1.0, (np.array([0.0]),)), (1.0, np.array([[0.0]])), (1.0, np.nan)]
    for item in inputs:
        kept.made.clear()
        first = kept.get("stage", lambda *given: given, item)
        assert kept.get("stage", lambda *given: given, (*item,)) is first
        assert kept.made == ["stage"]
    with pytest.raises(TypeError, match="as it is for good"):
        kept.get("stage", len, ([1],))


def test_what_was_made_of_a_result_goes_with_it():
    """Old points would else be held by the shadows that were found for them."""
    kept, held = Kept(), []

    def large(*_):
        found = np.zeros(8)
        held.append(weakref.ref(found))
        return found

    for turn in range(3):
        points = kept.get("points", large, (turn,))
        kept.get("shadows", large, (points,))
        assert [item() is not None for item in held[-2:]] == [True, True]
        del points
        kept.end_turn()
    assert [item() is not None for item in held] == [False] * 4 + [True] * 2
    kept.get("points", large, (2,))
    kept.end_turn()
    assert [item() is not None for item in held] == [False] * 4 + [True, False]


def test_the_last_results_of_a_name_are_at_hand():
    kept = Kept()
    for turn, made in ((1, True), (2, True), (1, False), (3, True), (1, False), (2, True)):
        kept.made.clear()
        assert kept.get("look", lambda value: value, (turn,), count=2).value == turn
        assert bool(kept.made) == made
