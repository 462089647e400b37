"""One page and its desk: what the page says is done, and what it has to know is said back, in order."""

from __future__ import annotations

import json
import logging
import secrets
import struct
from collections import OrderedDict
from collections.abc import Callable

import numpy as np
from pydantic import ValidationError

from projector.answers.as_json import finite
from projector.answers.changes import focus_words, power_words
from projector.faults import Fault, SceneError
from projector.live import messages
from projector.live.described import (
    change_for_filters,
    change_for_focus,
    change_for_power,
    fault_shown,
    form_of,
    values_of,
)
from projector.live.desk import Desk
from projector.live.jobs import Renderer, Request, Told
from projector.live.scenes import SceneList

_LOG = logging.getLogger(__name__)
# Desks that stay open though their page is gone: a reload finds its own again, with its way back.
_MOST_DESKS = 12
Send = Callable[[str | bytes], None]


class Desks:
    """All open desks by their names, of which nobody can guess one."""

    def __init__(self, scenes: SceneList, renderer: Renderer):
        self.scenes, self.renderer = scenes, renderer
        self._open: OrderedDict[str, tuple[str, Desk]] = OrderedDict()

    def open(self, scene: str, name: str, state: str) -> tuple[str, Desk]:
        """The desk of that name if it holds that scene, else a new one of the scene in the state that is given."""
        if name in self._open and self._open[name][0] == scene:
            self._open.move_to_end(name)
            return name, self._open[name][1]
        desk = self.scenes.opened(scene)
        if state:
            desk.restore(state)
        name = secrets.token_urlsafe(12)
        self._open[name] = (scene, desk)
        while len(self._open) > _MOST_DESKS:
            gone, _ = self._open.popitem(last=False)
            self.renderer.forget(gone)
        return name, desk

    def moved(self, name: str, scene: str) -> None:
        """A desk holds another file now."""
        self._open[name] = (scene, self._open[name][1])


class Conversation:
    """What is said between one page and its desk. send: takes text or bytes, from any thread."""

    def __init__(self, desks: Desks, send: Send):
        self.desks, self.send = desks, send
        self.name = ""
        self.desk: Desk | None = None
        self.light: str | None = None
        self.width, self.height = 960, 720
        self._form: str = ""
        self._serial = 0

    def hear(self, text: str) -> None:
        """Do what a message asks; what cannot be done is said, and nothing is changed."""
        try:
            message = messages.message_of(text)
        except ValidationError as error:
            _LOG.warning("a message was refused: %s", error.errors(include_input=False)[0]["msg"])
            self.say("refused", faults=[{"found": "this is no message of the page's"}])
            return
        try:
            self._do(message)
        except SceneError as error:
            self.say("refused", serial=message.serial, faults=[fault_shown(fault) for fault in error.faults])

    def say(self, what: str, **told) -> None:
        """Say something to the page."""
        self.send(json.dumps(finite({"say": what, **told}), ensure_ascii=False))

    def _do(self, message: messages.AnyMessage) -> None:
        if isinstance(message, messages.Open):
            self._open(message)
        elif isinstance(message, messages.Size):
            self.width, self.height = message.width, message.height
        elif isinstance(message, messages.ToLight):
            self._light(message)
        else:
            self._change(self._at_desk(), message)
        if self.desk is not None:
            self.show(message.serial, getattr(message, "is_turning", False), float(getattr(message, "share", 1.0)))

    def _at_desk(self) -> Desk:
        if self.desk is None:
            raise SceneError(Fault("no scene is open", try_="open one"))
        return self.desk

    def _open(self, message: messages.Open) -> None:
        if self.name and message.desk != self.name:
            self.desks.renderer.forget(self.name)
        self.name, self.desk = self.desks.open(message.scene, message.desk, message.state)
        self._form, self.light = "", None
        self.say("open", scene=message.scene, desk=self.name)

    def _light(self, message: messages.ToLight) -> None:
        desk, light = self._at_desk(), message.light
        if message.do == "look":
            self.light = light or None
        elif message.do == "alone":
            desk.lit.alone = light or None
        elif desk.scene is not None and light in [spec.name for spec in desk.scene.light]:
            desk.change({f"light.{light}.on": message.do == "on"})
        elif message.do == "off":
            desk.lit.off.add(light)
        else:
            desk.lit.off.discard(light)

    def _change(self, desk: Desk, message: messages.AnyMessage) -> None:
        if isinstance(message, messages.Change):
            desk.change(message.changes, message.gesture)
        elif isinstance(message, messages.Turn):
            changes, words = self._turned(desk, message)
            desk.change(changes, message.gesture, words)
        elif isinstance(message, messages.Filters):
            desk.change(change_for_filters(desk, message.light, message.names))
        elif isinstance(message, messages.Go):
            desk.go_to(message.at)
        elif isinstance(message, messages.Save):
            path = desk.save(message.name, message.overwrite)
            scene = self.desks.scenes.saved(path)
            self.desks.moved(self.name, scene)
            self.say("saved", file=path.name, scene=scene)
        elif isinstance(message, messages.Variant):
            {"keep": desk.keep, "take": desk.take, "let go": desk.let_go}[message.do](message.name)
        elif message.do == "undo":
            desk.undo()
        elif message.do == "redo":
            desk.redo()

    @staticmethod
    def _turned(desk: Desk, message: messages.Turn) -> tuple[dict[str, float], str]:
        """What a ring changes, and how the history calls it."""
        if desk.scene is None:
            raise SceneError(Fault("the scene has faults", try_="put them right first"))
        if message.do == "focus":
            return change_for_focus(desk.scene, message.light, message.to), focus_words(message.light, message.to)
        change = change_for_power(desk, message.light, message.to)
        if change is None:
            raise SceneError(Fault(f"the power of {message.light} is not stated in numbers", try_="type its setting"))
        return change, power_words(message.light, message.to)

    def show(self, serial: int, is_turning: bool = False, share: float = 1.0) -> None:
        """Ask for the picture of what is on the desk, and say how it stands."""
        desk, self._serial = self._at_desk(), serial
        stage = None if desk.faults else desk.stage
        if stage is not None:
            size = (self.width, self.height)
            request = Request(self.name, serial, stage, self.light, *size, self.tell, is_turning, share)
            self.desks.renderer.ask(request)
        form = form_of(desk)
        written = json.dumps(finite(form), ensure_ascii=False)
        if form is not None and written != self._form:
            self._form = written
            self.say("form", **form)
        self.say("values", serial=serial, is_drawn=stage is not None, **values_of(desk))

    def follow_file(self) -> None:
        """Show the scene anew if its file was written by somebody else."""
        if self.desk is not None and self.desk.follow_file():
            self.show(self._serial)

    def tell(self, told: Told) -> None:
        """Hand an answer of the renderer on to the page."""
        if told.picture is not None:
            self.send(picture_bytes(told))
        elif told.progress is not None:
            name, done, total = told.progress
            self.say("progress", serial=told.serial, name=name, done=done, total=total)
        elif told.part:
            glances = [glance._asdict() for glance in told.glances]
            self.say("lands", serial=told.serial, part=told.part, glances=glances)
        elif told.notes is not None:
            self.say("notes", serial=told.serial, notes=told.notes)
        elif told.faults:
            self.say("faults", serial=told.serial, faults=[fault_shown(fault) for fault in told.faults])
        elif told.is_done:
            self.say("done", serial=told.serial)


def picture_bytes(told: Told) -> bytes:
    """A picture as the page takes it: the length of what is said of it (4 bytes, big end first), that as JSON, and
    pixels as red, green, blue, opaque.
    """
    assert told.picture is not None
    height, width = told.picture.shape[:2]
    about = {"serial": told.serial, "quality": told.quality, "width": width, "height": height, "s": told.seconds}
    head = json.dumps(about).encode()
    pixels = np.full((height, width, 4), 255, np.uint8)
    pixels[..., :3] = told.picture
    return struct.pack(">I", len(head)) + head + pixels.tobytes()
