"""Long work in pieces: a pool of threads over serial kernels, progress for people, and a way to stop.

Every piece writes rows of its own, so the answer is the same for any number of threads and any size of piece.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor, wait
from dataclasses import dataclass, field

DEFAULT_PIECE = 16384
# Short lists are cut finer, so that every thread has several pieces; below this a piece costs more than it holds.
SMALLEST_PIECE = 256


class Stopped(Exception):
    """The user asked the work to stop; what was finished before stands."""


def default_threads() -> int:
    """The CPUs that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


@dataclass
class Progress:
    """Hears how far the work is, and is asked whether to stop.

    report(name, done, total) is called from the thread that called `run_pieces`, between pieces.
    """

    report: Callable[[str, int, int], None] | None = None
    stop_asked: bool = False
    _name: str = field(default="", repr=False)

    def stop(self) -> None:
        """Ask the work to end at the next piece."""
        self.stop_asked = True

    def check(self) -> None:
        """Raise Stopped if somebody has asked."""
        if self.stop_asked:
            raise Stopped

    def tell(self, name: str, done: int, total: int) -> None:
        """Hand a count to whoever shows it."""
        self.check()
        if self.report is not None:
            self.report(name, done, total)


class Workers:
    """A pool that is made once and used for many runs; close it or use it as a context."""

    def __init__(self, threads: int | None = None):
        self.threads = max(1, threads or default_threads())
        self._pool = ThreadPoolExecutor(self.threads) if self.threads > 1 else None

    def __enter__(self) -> Workers:
        return self

    def __exit__(self, *_) -> None:
        self.close()

    def close(self) -> None:
        """Let the threads go."""
        if self._pool is not None:
            self._pool.shutdown(wait=False, cancel_futures=True)
            self._pool = None

    def run_pieces(
        self,
        count: int,
        work: Callable[[int, int], None],
        name: str = "",
        progress: Progress | None = None,
        piece: int = DEFAULT_PIECE,
    ) -> None:
        """Call work(start, stop) over 0 … count. An error or a wish to stop ends the rest of it."""
        piece = max(min(piece, -(-count // (6 * self.threads))), min(SMALLEST_PIECE, piece))
        bounds = [(start, min(start + piece, count)) for start in range(0, count, piece)]
        if self._pool is None or len(bounds) <= 1:
            for done, (start, stop) in enumerate(bounds):
                if progress is not None:
                    progress.tell(name, done, len(bounds))
                work(start, stop)
        else:
            futures = [self._pool.submit(work, start, stop) for start, stop in bounds]
            try:
                for done, future in enumerate(futures):
                    if progress is not None:
                        progress.tell(name, done, len(bounds))
                    future.result()
            finally:
                for future in futures:
                    future.cancel()
                # Pieces that had begun still write into the caller's arrays: leave only after the last of them.
                wait(futures)
        if progress is not None:
            progress.tell(name, len(bounds), len(bounds))
