"""Pictures made as they are asked for: one at a time, in a thread of its own, the newest first.

What is asked of a desk again takes the place of what was asked before, which is stopped; what another desk waits for
goes before the slow part of this one's. Each answer is told as soon as it is there: a quick picture, what lands, a fine
picture.
"""

from __future__ import annotations

import logging
import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field
from time import monotonic

import numpy as np

from projector.answers.at_a_glance import Glance
from projector.faults import Fault, SceneError
from projector.live.lands import parts_of
from projector.rendering.preview import preview
from projector.rendering.session import RenderSession
from projector.rendering.workers import Progress, Stopped, Workers
from projector.stage.stage import Stage
from projector.studies.notes import scene_notes

_LOG = logging.getLogger(__name__)
# Sessions that are kept, each with what it found: of more desks the one longest unused starts anew.
_MOST_SESSIONS = 4
_SECONDS_BETWEEN_REPORTS = 0.1
QUICK, LANDS, FINE = "quick", "lands", "fine"


@dataclass(frozen=True)
class Told:
    """An answer: which request it belongs to, and one of a picture (h, w, 3) uint8 with its quality, a part of what
    lands, what to note of the scene, faults, or how far the work is.
    """

    serial: int
    picture: np.ndarray | None = None
    quality: str = ""
    seconds: float = 0.0
    part: str = ""
    glances: tuple[Glance, ...] = ()
    notes: tuple[str, ...] | None = None
    faults: tuple[Fault, ...] = ()
    progress: tuple[str, int, int] | None = None
    is_done: bool = False


@dataclass
class Request:
    """What a desk asks for. tell: is called from the thread that renders. share: of the size, 1 or a half while a hand
    is still turning, when nothing but the quick picture is wanted.
    """

    desk: str
    serial: int
    stage: Stage
    light: str | None
    width: int
    height: int
    tell: Callable[[Told], None]
    is_turning: bool = False
    share: float = 1.0
    left: list[str] = field(default_factory=lambda: [QUICK, LANDS, FINE])


class Renderer:
    """The thread that makes pictures; close it, or use it as a context. threads: to render with."""

    def __init__(self, threads: int | None = None):
        self._workers = Workers(threads)
        self._sessions: OrderedDict[tuple[str, float], RenderSession] = OrderedDict()
        self._waiting: OrderedDict[str, Request] = OrderedDict()
        self._change = threading.Condition()
        self._now: Request | None = None
        self._progress = Progress()
        self._is_closed = False
        self._thread = threading.Thread(target=self._work, name="renderer", daemon=True)
        self._thread.start()

    def __enter__(self) -> Renderer:
        return self

    def __exit__(self, *_) -> None:
        self.close()

    def ask(self, request: Request) -> None:
        """Ask for a picture; what that desk asked for before is dropped."""
        with self._change:
            self._waiting[request.desk] = request
            self._waiting.move_to_end(request.desk)
            now = self._now
            if now is not None and (now.desk == request.desk or QUICK not in now.left):
                self._progress.stop()
            self._change.notify()

    def forget(self, desk: str) -> None:
        """Drop what a desk asked for, and what was kept for it."""
        with self._change:
            self._waiting.pop(desk, None)
            if self._now is not None and self._now.desk == desk:
                self._progress.stop()
            for key in [key for key in self._sessions if key[0] == desk]:
                del self._sessions[key]

    def close(self) -> None:
        """Stop what is being made, and end the thread."""
        with self._change:
            self._is_closed = True
            self._waiting.clear()
            self._progress.stop()
            self._change.notify()
        self._thread.join(timeout=20.0)
        self._workers.close()

    def _work(self) -> None:
        while True:
            with self._change:
                while not self._waiting and not self._is_closed:
                    self._change.wait()
                if self._is_closed:
                    return
                # Who waits for its first picture goes before who waits for a better one; of these the newest.
                order = sorted(self._waiting, key=lambda desk: QUICK in self._waiting[desk].left)
                request = self._now = self._waiting.pop(order[-1])
                self._progress = Progress(_Reports(request))
            self._answer(request, self._progress)
            with self._change:
                self._now = None

    def _answer(self, request: Request, progress: Progress) -> None:
        steps = {QUICK: self._quick, LANDS: self._lands, FINE: self._fine}
        try:
            while request.left:
                steps[request.left[0]](request, progress)
                progress.check()
                request.left.pop(0)
                if request.is_turning:
                    break
                self._let_others_go_first(request)
            request.tell(Told(request.serial, is_done=True))
        except Stopped:
            with self._change:
                # Another desk's turn: what is left of this one comes after it, unless it asked for something new.
                if not self._is_closed and self._waiting and request.desk not in self._waiting:
                    self._waiting[request.desk] = request
                    self._waiting.move_to_end(request.desk, last=False)
        except SceneError as error:
            request.tell(Told(request.serial, faults=tuple(error.faults), is_done=True))
        except Exception as error:
            _LOG.exception("a picture could not be made")
            words = f"this is a fault of the program, not yours: {type(error).__name__}: {error}"
            request.tell(Told(request.serial, faults=(Fault(words),), is_done=True))

    def _let_others_go_first(self, request: Request) -> None:
        """Stopped where another desk waits for its first picture, and only what is slow is left of this one's."""
        with self._change:
            if request.left and any(QUICK in other.left for other in self._waiting.values()):
                raise Stopped

    def _session(self, request: Request) -> RenderSession:
        key = (request.desk, request.share)
        width, height = round(request.width * request.share), round(request.height * request.share)
        with self._change:
            session = self._sessions.get(key)
            if session is None or (session.width, session.height) != (width, height):
                session = RenderSession(request.stage, width, height, QUICK, self._workers)
                self._sessions[key] = session
            self._sessions.move_to_end(key)
            while len(self._sessions) > _MOST_SESSIONS:
                self._sessions.popitem(last=False)
        return session

    def _quick(self, request: Request, progress: Progress) -> None:
        began, session = monotonic(), self._session(request)
        session.change_to(request.stage)
        picture = session.rgb_bytes(progress)
        request.tell(Told(request.serial, picture, QUICK, monotonic() - began))

    def _lands(self, request: Request, progress: Progress) -> None:
        for part, find in parts_of(request.stage, request.light):
            progress.check()
            request.tell(Told(request.serial, part=part, glances=tuple(find())))
        progress.check()
        request.tell(Told(request.serial, notes=tuple(scene_notes(request.stage))))

    def _fine(self, request: Request, progress: Progress) -> None:
        began = monotonic()
        picture = preview(request.stage, width=request.width, height=request.height, progress=progress).pixels
        request.tell(Told(request.serial, picture, FINE, monotonic() - began))


class _Reports:
    """Tells how far a request is, now and then."""

    def __init__(self, request: Request):
        self.request, self.last = request, monotonic()

    def __call__(self, name: str, done: int, total: int) -> None:
        if monotonic() - self.last > _SECONDS_BETWEEN_REPORTS:
            self.last = monotonic()
            self.request.tell(Told(self.request.serial, progress=(name, done, total)))
