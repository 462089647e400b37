"""The scenes that a page may open: those of one folder, and the shipped ones. No name leads out of there."""

from __future__ import annotations

from pathlib import Path

from projector.faults import Fault, SceneError
from projector.files.finding import find_scene, list_scenes, nearest_file
from projector.live.desk import Desk
from projector.phrases import did_you_mean

_MOST_LISTED = 500


class SceneList:
    """folder: where a page opens and saves scenes; first: a scene that is opened at once (a path or a shipped name)."""

    def __init__(self, folder, first=None):
        self.folder = Path(folder).resolve()
        self.first = None if first is None else find_scene(first).resolve()
        if self.first is not None and not self._is_shipped(self.first):
            self.folder = self.first.parent

    @staticmethod
    def _is_shipped(path: Path) -> bool:
        return any(path == other.resolve() for other, _ in list_scenes())

    def _own(self) -> dict[str, Path]:
        try:
            found = sorted(path for path in self.folder.glob("*.toml") if path.is_file())[:_MOST_LISTED]
        except OSError:
            return {}
        return {path.name: path for path in found if "[camera]" in _start(path)}

    @property
    def first_name(self) -> str:
        """What the list calls the scene that is opened at once; "" for none."""
        if self.first is None:
            return ""
        return self.first.stem if self._is_shipped(self.first) else self.first.name

    def listed(self) -> list[dict]:
        """What there is to open: names, titles, and whether it is a shipped set-up."""
        shipped = [{"name": path.stem, "title": title, "is_shipped": True} for path, title in list_scenes()]
        own = [{"name": name, "title": "", "is_shipped": False} for name in self._own()]
        return own + shipped

    def opened(self, name: str) -> Desk:
        """A desk with the scene of that name. SceneError for a name that is not in the list."""
        own, shipped = self._own(), {path.stem: path for path, _ in list_scenes()}
        if self.first is not None and name == self.first_name:
            return Desk(self.first, self.folder)
        if name not in own and name not in shipped:
            close = nearest_file(name, [*own, *shipped])
            raise SceneError(Fault(f'there is no scene "{name}" here', "one of the list", did_you_mean(close)))
        return Desk(own.get(name) or shipped[name], self.folder)

    def saved(self, path: Path) -> str:
        """What the list calls a scene that was saved."""
        return path.name


def _start(path: Path) -> str:
    try:
        with path.open(encoding="utf-8", errors="replace") as file:
            return file.read(20_000)
    except OSError:
        return ""
