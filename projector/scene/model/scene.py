"""A whole scene."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import Field, PrivateAttr, model_validator

from projector.faults import SceneError
from projector.scene.model.camera import Camera
from projector.scene.model.figure import Figure
from projector.scene.model.gear import Gear, reading_at
from projector.scene.model.kinds import Part
from projector.scene.model.light import Light
from projector.scene.model.named import AtMost, Named
from projector.scene.model.projector import Projector
from projector.scene.model.room import Ambient, Haze
from projector.scene.model.surface import Surface

FORMAT = 1


class Scene(Part):
    """A whole scene."""

    format: Literal[1] = Field(1, description="Version of this file format.")
    title: str = Field("", max_length=300, description="What the scene shows.")
    camera: Camera = Field(description="The camera.")
    projector: Annotated[Named[Projector], AtMost(16)] = Field((), validate_default=True, description="Projectors.")
    light: Annotated[Named[Light], AtMost(32)] = Field(
        (), validate_default=True, description="Lights that throw no pattern."
    )
    surface: Annotated[Named[Surface], AtMost(200)] = Field((), validate_default=True, description="Surfaces.")
    figure: Annotated[Named[Figure], AtMost(20)] = Field((), validate_default=True, description="Sitters.")
    ambient: Ambient | None = Field(None, description="Light from the room.")
    haze: Haze | None = Field(None, description="Haze in the air.")
    gear: Gear | None = Field(None, description="One's own gear, most often a file's: gear = { file = \"my-gear\" }.")
    bounces: Annotated[int, Field(ge=0, le=8)] = Field(
        0, description="Over how many other surfaces light comes on in a picture: 0 for none, 1 for what matters most."
    )

    _is_unchecked: bool = PrivateAttr(False)
    _name: str = PrivateAttr("scene")
    _folder: str = PrivateAttr(".")
    _overrides: tuple[str, ...] = PrivateAttr(())

    if not TYPE_CHECKING:  # editors go by the fields

        def __init__(self, /, **values):
            super().__init__(**values)
            self._is_unchecked = True

        # As pydantic marks its own: reading a file, which checks all of it, goes past it.
        __init__.__pydantic_base_init__ = True

    @model_validator(mode="after")
    def _set_units(self):
        """Tell each light whose power is a unit at a setting what a meter shows of it."""
        for kind in ("projector", "light"):
            items = getattr(self, kind)
            if any(spec.power is not None for spec in items):
                self.__dict__[kind] = Named(_with_its_unit(spec, self.gear) for spec in items)
        return self

    @property
    def is_unchecked(self) -> bool:
        """Whether it was made in code, so that nobody has looked yet at what its parts must agree on."""
        return self._is_unchecked

    def note_checked(self) -> None:
        """Note that its parts agree: it need not be looked at again."""
        self._is_unchecked = False

    def __eq__(self, other) -> bool:
        """Two scenes are equal that say the same, whatever they are called and wherever they lie."""
        return self.__dict__ == other.__dict__ if isinstance(other, Scene) else NotImplemented

    def __repr__(self) -> str:
        kinds: dict[str, Named] = {
            "projector": self.projector,
            "light": self.light,
            "surface": self.surface,
            "sitter": self.figure,
        }
        counted = (
            f"{len(items)} {kind}{'s' if len(items) > 1 else ''} ({', '.join(items.names)})"
            for kind, items in kinds.items()
            if items
        )
        return f"<Scene: {'; '.join((self.name, *counted, *self.overrides))}>"

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


def _with_its_unit(spec, gear: Gear | None):
    """A light whose power knows its unit's reading; none where the gear has no such unit or setting, which the checks
    say.
    """
    if spec.power is None:
        return spec
    try:
        reading = reading_at(gear.unit[spec.power.unit], spec.power) if gear is not None else None
    except SceneError:
        reading = None
    return spec.model_copy(update={"power": spec.power.set_to(reading)})


def scene_schema() -> dict:
    """JSON schema of the scene format, for editors."""
    schema = Scene.model_json_schema()
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    schema["title"] = "A scene for projector, format 1"
    return schema
