"""What a page may say: every message is one of these, within bounds, or it is refused."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter

Key = Annotated[str, Field(min_length=1, max_length=300)]
Name = Annotated[str, Field(min_length=1, max_length=120)]
Text = Annotated[str, Field(max_length=2000)]
Number = Annotated[float, Field(allow_inf_nan=False)]
Value = bool | int | Number | Text | Annotated[list[Number | Text], Field(max_length=400)] | None
Gesture = int | None


class Message(BaseModel):
    """Frozen, and with no key that is not known."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    # Counted by the page, so that it knows which picture shows it.
    serial: Annotated[int, Field(ge=0, le=2**53)] = 0


class Open(Message):
    """Open a scene by its name in the list; desk: one that is open already; state: what the address held."""

    do: Literal["open"]
    scene: Name
    desk: Annotated[str, Field(max_length=64, pattern=r"^[A-Za-z0-9_-]*$")] = ""
    state: Annotated[str, Field(max_length=100_000)] = ""


class Size(Message):
    """How large the picture is wanted."""

    do: Literal["size"]
    width: Annotated[int, Field(ge=16, le=4096)]
    height: Annotated[int, Field(ge=16, le=4096)]


class Change(Message):
    """Change values; None: as the file has it. is_turning: a hand is still at it, share: of the size until then."""

    do: Literal["change"]
    changes: Annotated[dict[Key, Value], Field(min_length=1, max_length=60)]
    gesture: Gesture = None
    is_turning: bool = False
    share: Literal[1, 0.5] = 1


class Turn(Message):
    """Turn a light's power, in stops against its file, or the distance that it is sharp at, in metres."""

    do: Literal["power", "focus"]
    light: Name
    to: Number
    gesture: Gesture = None
    is_turning: bool = False
    share: Literal[1, 0.5] = 1


class Filters(Message):
    """Put filters before a light by their names, in the place of what is there."""

    do: Literal["filters"]
    light: Name
    names: Annotated[list[Name], Field(max_length=8)]


class ToLight(Message):
    """Look at a light, put it out or on, or look at it alone (an empty name: at all)."""

    do: Literal["look", "off", "on", "alone"]
    light: Annotated[str, Field(max_length=120)]


class Plain(Message):
    """Back, forth, or only look again."""

    do: Literal["undo", "redo", "render"]


class Go(Message):
    """Go to a step of the history."""

    do: Literal["go"]
    at: Annotated[int, Field(ge=0, le=10_000)]


class Variant(Message):
    """Keep a variant, take it up again, or let it go."""

    do: Literal["keep", "take", "let go"]
    name: Name


class Save(Message):
    """Save the scene under a name in its folder."""

    do: Literal["save"]
    name: Name
    overwrite: bool = False


AnyMessage = Open | Size | Change | Turn | Filters | ToLight | Plain | Go | Variant | Save
_CHECK: TypeAdapter = TypeAdapter(Annotated[AnyMessage, Field(discriminator="do")])


def message_of(text: str) -> AnyMessage:
    """A message as the page sent it. ValueError for anything else."""
    return _CHECK.validate_json(text)
