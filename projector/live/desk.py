"""A scene on a desk: its file, what was changed by hand, the way back and forth, and the variants that were kept.

The scene is always its file with some overrides, so a change is said, saved and taken back in one way. Nothing is
written until somebody saves, and no file is replaced unless that was asked for.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from projector.answers.changes import change_words, gone_back_words
from projector.faults import Fault, SceneError
from projector.files.finding import find_scene, text_of
from projector.scene.model import Scene
from projector.scene.reading.file_format import parsed
from projector.scene.reading.given_overrides import typed_overrides
from projector.scene.reading.overrides import parsed_override
from projector.scene.reading.reader import check_text
from projector.scene.reading.saving import check_goal, variant_text, write_scene
from projector.stage.stage import Stage

# Steps that can be taken back, and variants that are kept; of more the oldest step goes, and a variant is refused.
MOST_STEPS, MOST_KEPT, MOST_CHANGES = 500, 60, 400

Changes = dict[str, str]


@dataclass(frozen=True)
class Step:
    """One change of the history: in words, and all that differs from the file after it."""

    words: str
    changes: Mapping[str, str]
    gesture: int | None = None


@dataclass
class Lit:
    """Which lights are looked at: some may be off, or one alone. It belongs to the desk and not to the scene's file."""

    off: set[str] = field(default_factory=set)
    alone: str | None = None


class Desk:
    """One open scene: the text of its file as it was opened, and what was changed since.

    folder: where it is saved, and its own files are looked for (None: beside its file). SceneError where there is no
    such file, or it cannot be read.
    """

    def __init__(self, source, folder=None):
        self.source: Path = find_scene(source)
        self.folder = self.source.parent if folder is None else Path(folder)
        self.lit = Lit()
        self.kept: dict[str, Changes] = {}
        self.steps: list[Step] = [Step("as its file has it", {})]
        self.at = 0
        self.scene: Scene | None = None
        # The file as it was last read or written, and what of the changes it holds.
        self._on_disk = text_of(self.source)
        self._text, self._home = self._moved(self._on_disk)
        self._saved: Changes = {}
        self._read()

    def _moved(self, text: str) -> tuple[str, Path]:
        """A text of the file as it reads in the desk's folder, and that folder; one that cannot be rewritten as it is,
        where it lies.
        """
        try:
            return variant_text(text, (), str(self.source), self.source.parent, self.folder), self.folder
        except SceneError:
            return text, self.source.parent

    # What stands on it.

    @property
    def changes(self) -> Mapping[str, str]:
        """What differs from the file, by key, as typed."""
        return self.steps[self.at].changes

    @property
    def overrides(self) -> list[str]:
        """The same as overrides are typed."""
        return [f"{key}={value}" for key, value in self.changes.items()]

    @property
    def stage(self) -> Stage | None:
        """The last scene without faults, lit as is looked at; None if there was none yet."""
        if self.scene is None:
            return None
        names = set(Stage(self.scene).light_names)
        if self.lit.alone in names:
            return Stage(self.scene, only=frozenset({self.lit.alone}))
        # A light that its file puts out stays out unless it is looked at alone.
        off = (self.lit.off & names) | {spec.name for spec in self.scene.light if not spec.on}
        return Stage(self.scene, only=frozenset(names - off)) if self.lit.off & names else Stage(self.scene)

    def _read(self) -> None:
        """Look at the text with its changes; the last scene without faults stays."""
        where = (self.source.stem, self._home)
        scene, self.faults, self.notes = check_text(self._text, *where, self.overrides, self.source.name)
        self.scene = scene or self.scene
        self.of_file = check_text(self._text, *where, (), self.source.name)[0] if self.changes else scene
        try:
            self.said = parsed(self._text, str(self.source))
        except SceneError:
            self.said = {}

    def follow_file(self) -> bool:
        """Read the file anew if somebody else wrote it; what was changed here and not saved stays on top. Whether it
        was. A file that is gone for a moment, as editors do it, is waited for.
        """
        try:
            text = text_of(self.source)
        except SceneError:
            return False
        if text == self._on_disk:
            return False
        self._on_disk = text
        self._text, self._home = self._moved(text)
        ours = {key: value for key, value in self.changes.items() if self._saved.get(key) != value}
        self._saved = {}
        self._step(Step("the file was changed on disk", ours))
        return True

    # Changing it.

    def change(self, changes: Mapping[str, object], gesture: int | None = None, called: str = "") -> None:
        """Change values by key, None: as the file has it. Changes of one gesture are one step; called: what the history
        calls it ("": each value that was changed).

        SceneError, and nothing is changed, for what cannot be typed, or names a file outside the scene's folder.
        """
        after = dict(self.changes)
        words = []
        for key, value in changes.items():
            if value is None:
                after.pop(key, None)
                words.append(gone_back_words(key))
                continue
            (typed,) = typed_overrides({key: value})
            refuse_files_elsewhere(typed)
            after[key] = typed.partition("=")[2]
            words.append(change_words(key, after[key]))
        if len(after) > MOST_CHANGES:
            raise SceneError(Fault(f"{len(after)} changes", f"at most {MOST_CHANGES}", "save the scene first"))
        self._step(Step(called or ", ".join(words), after, gesture))

    def _step(self, step: Step) -> None:
        last = self.steps[self.at]
        goes_on = step.gesture is not None and step.gesture == last.gesture and self.at == len(self.steps) - 1
        del self.steps[self.at + (0 if goes_on else 1) :]
        self.steps.append(step)
        del self.steps[: max(0, len(self.steps) - MOST_STEPS)]
        self.at = len(self.steps) - 1
        self._read()

    def go_to(self, at: int) -> None:
        """Go back or forth to a step of the history; beyond its ends to the first or the last."""
        self.at = min(max(at, 0), len(self.steps) - 1)
        self._read()

    def undo(self) -> None:
        """Take the last step back, if there is one."""
        self.go_to(self.at - 1)

    def redo(self) -> None:
        """Take the step again that was taken back, if there is one."""
        self.go_to(self.at + 1)

    # Variants, the address, and the file.

    def keep(self, name: str) -> None:
        """Keep the scene as it stands under a name. SceneError for no name, or one that is there."""
        name = name.strip()
        if not name or name in self.kept:
            found = f'a variant is called "{name}" already' if name else "a variant without a name"
            raise SceneError(Fault(found, "a name of its own", key="keep"))
        if len(self.kept) >= MOST_KEPT:
            raise SceneError(Fault(f"{MOST_KEPT} variants are kept", "no more", "let one of them go", key="keep"))
        self.kept[name] = dict(self.changes)

    def take(self, name: str) -> None:
        """Bring a kept variant back onto the desk: a step as any other."""
        if name not in self.kept:
            raise SceneError(Fault(f'no variant is called "{name}"', ", ".join(self.kept) or "none is kept"))
        self._step(Step(f'variant "{name}"', dict(self.kept[name])))

    def let_go(self, name: str) -> None:
        """Forget a variant."""
        self.kept.pop(name, None)

    def state(self) -> str:
        """All that a reload needs beside the file's name, as text for an address."""
        lit = {"off": sorted(self.lit.off), "alone": self.lit.alone}
        return json.dumps({"changes": dict(self.changes), "kept": self.kept, **lit}, separators=(",", ":"))

    def restore(self, state: str) -> None:
        """Take up what `state` gave. SceneError for a text that it never gave."""
        try:
            told = json.loads(state)
            changes, kept = _texts(told["changes"]), {str(name): _texts(part) for name, part in told["kept"].items()}
            off, alone = {str(name) for name in told["off"]}, told["alone"]
        except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
            raise SceneError(Fault("the address holds no state of a scene", try_="open the scene anew")) from None
        for part in (changes, *kept.values()):
            for key, value in part.items():
                refuse_files_elsewhere(f"{key}={value}")
        self.kept, self.lit = kept, Lit(off, alone if isinstance(alone, str) else None)
        if changes != self.changes:
            self._step(Step("as the address has it", changes))

    def save(self, name: str, overwrite: bool = False) -> Path:
        """Save the scene under a name in its folder, comments kept. The way back stays, beyond it as well.

        SceneError, and nothing is written, for a name with a folder in it, a file that is there (unless overwrite), or
        a scene with faults.
        """
        name = name.strip()
        if Path(name).name != name or name in ("", ".", "..") or "\\" in name or "\0" in name:
            raise SceneError(Fault(f'"{name}" is no plain name', "a name without folders", key="save"))
        path = self.folder / (name if name.endswith(".toml") else f"{name}.toml")
        if path.exists() and path.samefile(self.source) and text_of(path) != self._on_disk and not overwrite:
            raise SceneError(Fault("the file was changed on disk", "the file as it was read", "look at it first"))
        check_goal(self.source, path, overwrite)
        text = variant_text(self._text, self.overrides, str(self.source), self._home, path.parent)
        write_scene(text, path)
        self.source, self._on_disk, self._saved = path, text, dict(self.changes)
        self._read()
        return path


def _texts(table) -> Changes:
    if not all(isinstance(value, str) for value in table.values()):
        raise TypeError
    return {str(key): value for key, value in table.items()}


def refuse_files_elsewhere(override: str) -> None:
    """SceneError for an override that names a file by a way: from the page, files lie in the scene's folder or are
    shipped.
    """
    keys, value = parsed_override(override)
    for name in _files_named(keys[-1], value):
        if "/" in name or "\\" in name or ".." in name or "\0" in name or ":" in name:
            raise SceneError(
                Fault(
                    f'"{name}" lies elsewhere',
                    "the name of a file in the scene's folder, or of a shipped one",
                    "put it beside the scene",
                    key=".".join(keys),
                )
            )


def _files_named(key: str, value) -> Iterator[str]:
    if key == "file" and isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for name, inner in value.items():
            yield from _files_named(name, inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _files_named(key, inner)
