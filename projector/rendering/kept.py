"""What a render session keeps: the result of each of its stages beside the inputs it was made of; and, in one store for
all sessions, the large results that a budget in bytes bounds.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

import numpy as np

# Bytes that gates' pictures and their blurred stacks may take together; a stack of a 2048² stencil takes about 130 MB.
ROOM_BYTES = 500_000_000

T = TypeVar("T")


@dataclass(frozen=True, eq=False)
class Made(Generic[T]):
    """The result of a stage, and the results of others that it was made of. It is equal to itself alone."""

    value: T
    made_of: tuple[Made, ...] = ()


def _key(item) -> Hashable:
    """What tells an input from another: a stage's result by which it is, anything else by every bit of what it says."""
    kind = type(item)
    if kind is float:
        # Both zeros, and a number that is none, count as what they are.
        return item if item == item and item != 0.0 else item.hex()
    if kind is Made or kind is int or kind is str or item is None:
        return item
    if kind is np.ndarray:
        return item.shape, item.dtype.str, item.tobytes()
    if isinstance(item, tuple):
        return tuple([_key(part) for part in item])
    if isinstance(item, float):
        return _key(float(item))
    if isinstance(item, dict | list | set):
        raise TypeError(f"an input of a stage has to be as it is for good, not a {kind.__name__}")
    hash(item)
    return item


class Kept:
    """Results of stages by name. A stage is a function of its inputs alone; asked with others, it is made again.

    Results that were made of one that is gone go with it, and what a turn did not ask for goes at its end.
    """

    def __init__(self):
        self._entries: dict[str, OrderedDict[Hashable, Made]] = {}
        self._asked: set[str] = set()
        self.made: list[str] = []

    def get(self, name: str, make: Callable[..., T], inputs: tuple, count: int = 1) -> Made[T]:
        """What make(*inputs) gives. Inputs that are Made, alone or in a tuple, are handed over as their values.

        count: how many results of that name are remembered, each with its inputs: what was there before is at hand.
        """
        self._asked.add(name)
        entries, key = self._entries.setdefault(name, OrderedDict()), _key(inputs)
        if key not in entries:
            # What is let go makes room before the new one is made.
            while len(entries) >= count:
                self._drop(name, next(iter(entries)))
            entries[key] = Made(make(*map(_value, inputs)), tuple(_results((*inputs,))))
            self.made.append(name)
        entries.move_to_end(key)
        return entries[key]

    def keep(self, names: tuple[str, ...]) -> None:
        """Keep what there is of these names over this turn: it is not shown now, and may be again."""
        self._asked.update(names)

    def end_turn(self) -> None:
        """Let go of what was not asked for since the last turn: of lights that are no longer there."""
        for name in set(self._entries) - self._asked:
            del self._entries[name]
        self._asked.clear()

    def _drop(self, name: str, key: Hashable) -> None:
        gone = self._entries[name].pop(key)
        for other, entries in self._entries.items():
            for made_of_it in [key for key, made in entries.items() if gone in made.made_of]:
                if made_of_it in entries:
                    self._drop(other, made_of_it)


def _value(item):
    if isinstance(item, Made):
        return item.value
    if type(item) is tuple:
        return tuple(map(_value, item))
    return item


def _results(item):
    """The results among inputs."""
    if isinstance(item, Made):
        yield item
    elif type(item) is tuple:
        for part in item:
            yield from _results(part)


class _Entry:
    """A place of a store: one thread makes what belongs there, others wait for it."""

    def __init__(self):
        self.lock = threading.Lock()
        self.value: Any = None

    @property
    def n_bytes(self) -> int:
        return 0 if self.value is None else self.value.n_bytes


class Store:
    """Results with `n_bytes` that follow from their keys alone, shared by threads and sessions: kept while there is
    room, those unused for longest go first, and before a new one is made. They count as they have grown by then.
    """

    def __init__(self, room_bytes: int = ROOM_BYTES):
        self.room_bytes = room_bytes
        self._entries: OrderedDict[Hashable, _Entry] = OrderedDict()
        self._lock = threading.Lock()

    def get(self, key: tuple, make: Callable[[], T]) -> T:
        """The result of that key, made by whoever asks first."""
        key = tuple(map(_key, key))
        with self._lock:
            entry = self._entries.setdefault(key, _Entry())
            self._entries.move_to_end(key)
            gone = self._let_go(None) if entry.value is None else []
        _close(gone)
        with entry.lock:
            if entry.value is None:
                entry.value = make()
            value = entry.value
        with self._lock:
            gone = self._let_go(entry)
        _close(gone)
        return value

    def _let_go(self, last: _Entry | None) -> list:
        """Results that are no longer kept, so that the rest is within the room; `last` stays even if it alone is too
        large.
        """
        gone = []
        taken = sum(entry.n_bytes for entry in self._entries.values())
        for key, entry in list(self._entries.items()):
            if taken <= self.room_bytes:
                break
            # What another thread is still making takes nothing yet.
            if entry is not last and entry.value is not None:
                taken -= entry.n_bytes
                del self._entries[key]
                gone.append(entry.value)
        return gone


def _close(results: list) -> None:
    """Empty a list of results; those that hold memory of others' hand it back, for use once nobody looks at it."""
    while results:
        result = results.pop()
        if hasattr(result, "close"):
            result.close()


# The one for everybody: sessions of all threads, maps and studies.
STACKS = Store()
