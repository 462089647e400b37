"""One picture at a time, the newest first; what is shown is what a fresh render gives, to the byte."""

from __future__ import annotations

import threading

import numpy as np
import pytest

from projector.live import jobs
from projector.live.desk import Desk
from projector.live.jobs import FINE, QUICK, Renderer, Request
from projector.rendering.preview import preview
from projector.rendering.workers import Stopped

WALL, SIZE = "01-square-wall", (64, 48)
F_NUMBER = "projector.window.lens.f_number"


class Listener:
    """Hears what a renderer tells, and waits for it."""

    def __init__(self):
        self.heard, self._news = [], threading.Condition()

    def __call__(self, told):
        with self._news:
            self.heard.append(told)
            self._news.notify_all()

    def wait_for(self, wanted, seconds=60.0):
        """The first thing told for which `wanted` is true."""
        with self._news:
            assert self._news.wait_for(lambda: any(map(wanted, self.heard)), seconds), "nothing was told"
            return next(filter(wanted, self.heard))

    def done(self, serial):
        return self.wait_for(lambda told: told.serial == serial and told.is_done)

    def pictures(self, serial, quality):
        return [told.picture for told in self.heard if told.serial == serial and told.quality == quality]


@pytest.fixture
def renderer():
    with Renderer(threads=2) as found:
        yield found


def request(desk, serial, told, name="desk", **others):
    return Request(name, serial, desk.stage, None, *SIZE, told, **others)


def test_pictures_are_those_of_a_fresh_render_to_the_byte_after_many_changes(renderer):
    desk, told = Desk(WALL), Listener()
    for serial, value in enumerate((2.8, 4, 5.6, 2.8, 8), 1):
        desk.change({F_NUMBER: value})
        renderer.ask(request(desk, serial, told, is_turning=serial < 5))
        told.done(serial)
    for quality in (QUICK, FINE):
        (shown,) = told.pictures(5, quality)
        fresh = preview(WALL, {F_NUMBER: 8}, width=SIZE[0], height=SIZE[1], quality=quality).pixels
        assert np.array_equal(shown, fresh), quality


def test_what_lands_is_told_part_by_part_between_the_two_pictures(renderer):
    told = Listener()
    renderer.ask(request(Desk(WALL), 1, told))
    told.done(1)
    order = [item.quality or item.part for item in told.heard if item.quality or item.part]
    assert order == [QUICK, "size", "edge", "fringe", "light", FINE]
    assert {glance.label for item in told.heard for glance in item.glances} >= {"throw", "edge", "fringe", "together"}


@pytest.mark.parametrize("name", ["09-slats-before-a-bare-lamp", "05-two-projectors"])
def test_what_lands_is_told_of_every_kind_of_light(renderer, name):
    told = Listener()
    renderer.ask(request(Desk(name), 1, told))
    told.done(1)
    assert not any(item.faults for item in told.heard)


def test_the_newest_wins_and_what_it_replaces_is_stopped(renderer, monkeypatch):
    """The first picture is held until newer ones are asked for: of these only the last is made."""
    desk, told, held = Desk(WALL), Listener(), threading.Event()
    whole = jobs.RenderSession.rgb_bytes
    stopped = []

    def slow(self, progress):
        if not held.is_set():
            held.set()
            try:
                while True:
                    progress.check()
            except Stopped:
                stopped.append(True)
                raise
        return whole(self, progress)

    monkeypatch.setattr(jobs.RenderSession, "rgb_bytes", slow)
    renderer.ask(request(desk, 1, told))
    assert held.wait(20.0)
    for serial in (2, 3, 4):
        renderer.ask(request(desk, serial, told))
    told.done(4)
    assert stopped == [True]
    # The thread may have taken one of those between on before the last was asked; it told nothing whole.
    assert not any(item.is_done and item.serial < 4 for item in told.heard)
    assert not told.pictures(1, QUICK)


def test_another_desks_first_picture_goes_before_the_slow_part_of_this_one(renderer, monkeypatch):
    first, second, held = Listener(), Listener(), threading.Event()
    whole = jobs.preview

    def slow(stage, **others):
        if not held.is_set():
            held.set()
            while True:
                others["progress"].check()
        return whole(stage, **others)

    monkeypatch.setattr(jobs, "preview", slow)
    renderer.ask(request(Desk(WALL), 1, first, "first"))
    assert held.wait(60.0)
    renderer.ask(request(Desk(WALL), 1, second, "second"))
    second.done(1)
    first.done(1)
    assert len(first.pictures(1, FINE)) == len(second.pictures(1, FINE)) == 1
    assert len(first.pictures(1, QUICK)) == 1, "what was shown already is not made again"


def test_another_desk_that_asks_during_the_first_picture_goes_next(renderer, monkeypatch):
    told, order, held, asked = Listener(), [], threading.Event(), threading.Event()
    whole = jobs.RenderSession.rgb_bytes

    def slow(self, progress):
        if not held.is_set():
            held.set()
            assert asked.wait(20.0)
        return whole(self, progress)

    monkeypatch.setattr(jobs.RenderSession, "rgb_bytes", slow)

    def listen(name):
        return lambda item: (order.append((name, item.quality)) if item.quality else None, told(item))

    renderer.ask(request(Desk(WALL), 1, listen("first"), "first"))
    assert held.wait(20.0)
    renderer.ask(request(Desk(WALL), 2, listen("second"), "second"))
    asked.set()
    told.done(1)
    told.done(2)
    assert order[:2] == [("first", QUICK), ("second", QUICK)]
    assert sorted(order[2:]) == [("first", FINE), ("second", FINE)]


def test_while_a_hand_is_turning_only_the_quick_picture_is_made(renderer):
    told = Listener()
    renderer.ask(request(Desk(WALL), 1, told, is_turning=True, share=0.5))
    told.done(1)
    (shown,) = told.pictures(1, QUICK)
    assert shown.shape == (24, 32, 3) and not told.pictures(1, FINE) and not any(item.part for item in told.heard)


def test_a_fault_of_ours_is_told_and_the_next_picture_is_made(renderer, monkeypatch):
    told, whole = Listener(), jobs.RenderSession.rgb_bytes
    monkeypatch.setattr(jobs.RenderSession, "rgb_bytes", lambda *_: 1 / 0)
    renderer.ask(request(Desk(WALL), 1, told))
    assert "not yours" in told.wait_for(lambda item: item.faults).faults[0].found
    monkeypatch.setattr(jobs.RenderSession, "rgb_bytes", whole)
    renderer.ask(request(Desk(WALL), 2, told))
    told.done(2)
    assert told.pictures(2, QUICK)


def test_it_closes_while_it_works():
    renderer, told = Renderer(threads=1), Listener()
    renderer.ask(Request("desk", 1, Desk(WALL).stage, None, 640, 480, told))
    renderer.close()
    assert not renderer._thread.is_alive()
