"""A whole scene."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from typing import Literal

from pydantic import Field, PrivateAttr

from projector.scene.model.camera import Camera
from projector.scene.model.figure import Figure
from projector.scene.model.kinds import Part
from projector.scene.model.projector import Projector
from projector.scene.model.room import Ambient
from projector.scene.model.surface import Surface

FORMAT = 1


class Scene(Part):
    """A whole scene."""

    format: Literal[1] = Field(1, description="Version of this file format.")
    title: str = Field("", max_length=300, description="What the scene shows.")
    camera: Camera = Field(description="The camera.")
    projector: tuple[Projector, ...] = Field((), max_length=32, description="Projectors.")
    surface: tuple[Surface, ...] = Field((), max_length=200, description="Surfaces.")
    figure: tuple[Figure, ...] = Field((), max_length=20, description="Sitters.")
    ambient: Ambient | None = Field(None, description="Light from the room.")

    _name: str = PrivateAttr("scene")
    _folder: str = PrivateAttr(".")
    _overrides: tuple[str, ...] = PrivateAttr(())

    @property
    def name(self) -> str:
        """Name of the file that the scene came from, without its ending."""
        return self._name

    @property
    def folder(self) -> str:
        """Folder that the scene's own files are looked for in."""
        return self._folder

    @property
    def overrides(self) -> tuple[str, ...]:
        """The changes, as typed, that made this scene of its file's."""
        return self._overrides

    def placed_at(self, name: str, folder: str, overrides: Sequence[str] | None = None) -> Scene:
        """A scene that says the same, called so, whose own files are looked for there; by its own overrides if none are
        given.
        """
        placed = self.model_copy()
        placed._name, placed._folder = name, folder
        if overrides is not None:
            placed._overrides = tuple(overrides)
        return placed

    def digest(self) -> str:
        """Hash of everything that the scene says (64 hexadecimal digits)."""
        return hashlib.sha256(self.model_dump_json().encode()).hexdigest()


def scene_schema() -> dict:
    """JSON schema of the scene format, for editors."""
    schema = Scene.model_json_schema()
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    schema["title"] = "A scene for projector, format 1"
    return schema
