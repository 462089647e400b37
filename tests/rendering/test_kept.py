"""What a session keeps: large results only as far as there is room."""

from __future__ import annotations

import weakref
from dataclasses import dataclass

from projector.rendering.kept import ROOM_BYTES, Kept


@dataclass
class Large:
    """Something that takes memory, and may grow after it is made, as stacks do when a focus asks for more levels."""

    n_bytes: int


class Held:
    """A session's large results, and which of those that were made it still holds."""

    def __init__(self):
        self.kept, self._made = Kept(), {}

    def ask(self, key, n_bytes=1):
        def make():
            found = Large(n_bytes)
            self._made[key] = weakref.ref(found)
            return found

        return self.kept.get_large("stack", key, make)

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

    held.kept.get_large("stack", "b", made)
