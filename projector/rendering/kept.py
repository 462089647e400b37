"""What a render session keeps: results by name with the keys they were made for, and large ones as long as memory
lasts.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from typing import Any

# Bytes that gates' pictures and their blurred stacks may take together; a stack of a 2048² stencil takes about 130 MB.
ROOM_BYTES = 500_000_000
# Results of one name that are remembered beside the last.
N_REMEMBERED = 3


class Kept:
    """Results by name, each with the key it was made for; asked with another key, it is made again."""

    def __init__(self):
        self._entries: dict[str, tuple[Any, Any]] = {}
        self._serials: dict[str, int] = {}
        self._past: dict[str, OrderedDict] = {}
        self._large: OrderedDict = OrderedDict()
        self.made: list[str] = []

    def get(self, name: str, key, make: Callable[[], Any]):
        """The result of that name for that key."""
        entry = self._entries.get(name)
        if entry is not None and entry[0] == key:
            return entry[1]
        self._entries.pop(name, None)
        value = make()
        self._entries[name] = (key, value)
        self._serials[name] = self._serials.get(name, 0) + 1
        self.made.append(name)
        return value

    def get_recent(self, name: str, key, make: Callable[[], Any], count: int = N_REMEMBERED):
        """The same, with the last `count` results remembered: what was there before is at hand."""
        past = self._past.setdefault(name, OrderedDict())
        known = key in past
        value = self.get(name, key, (lambda: past[key]) if known else make)
        past[key] = value
        past.move_to_end(key)
        while len(past) > count:
            past.popitem(last=False)
        return value

    def get_large(self, name: str, key, make: Callable[[], Any]):
        """A result with `n_bytes` that follows from name and key alone: kept while there is room, those unused for
        longest go first, and before the new one is made. They count as they have grown by then.
        """
        whole = (name, key)
        if whole not in self._large:
            self._make_room(0)
            self._large[whole] = make()
            self.made.append(name)
        self._large.move_to_end(whole)
        self._make_room(1)
        return self._large[whole]

    def _make_room(self, fewest: int) -> None:
        """Let go of large results until the rest, or the last `fewest`, is within the room."""
        while len(self._large) > fewest and sum(value.n_bytes for value in self._large.values()) > ROOM_BYTES:
            self._large.popitem(last=False)

    def serials(self, *names: str) -> tuple[int, ...]:
        """How often each of these results has been made: a key for what is made from them."""
        return tuple(self._serials.get(name, 0) for name in names)

    def peek(self, name: str):
        """The last result of that name whatever its key, or None."""
        entry = self._entries.get(name)
        return None if entry is None else entry[1]
