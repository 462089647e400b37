"""Things of a scene in the order of its file, found by name as well: scene.projector["leaves"]."""

from __future__ import annotations

from typing import Generic, TypeVar, get_args

from pydantic_core import core_schema

from projector.faults import Fault, SceneError
from projector.phrases import did_you_mean, nearest

Item = TypeVar("Item")


class Named(tuple[Item, ...], Generic[Item]):
    """A tuple whose items are found by name, too; a blade is called by its side.

    SceneError for a name that none of them has.
    """

    @property
    def names(self) -> tuple[str, ...]:
        """What the items are called, in order."""
        return tuple(_name_of(item) for item in self)

    def __getitem__(self, which):
        if isinstance(which, slice):
            return type(self)(super().__getitem__(which))
        if not isinstance(which, str):
            return super().__getitem__(which)
        if which not in self.names:
            kind = getattr(type(self[0]), "_called", type(self[0]).__name__.lower()) if self else "thing"
            raise SceneError(
                Fault(
                    found=f'there is no {kind} called "{which}"',
                    allowed=", ".join(self.names) or "none: the scene has none",
                    try_=did_you_mean(nearest(which, self.names, 0.5)),
                )
            )
        return super().__getitem__(self.names.index(which))

    def __contains__(self, which) -> bool:
        return which in self.names if isinstance(which, str) else super().__contains__(which)

    @classmethod
    def __get_pydantic_core_schema__(cls, source, handler):
        """Checked and described as a tuple of its items."""
        return core_schema.no_info_after_validator_function(cls, handler(tuple[get_args(source)[0], ...]))


class AtMost:
    """How many items there may be: a limit of the tuple that is checked, so that the JSON schema says it."""

    def __init__(self, count: int):
        self.count = count

    def __get_pydantic_core_schema__(self, source, handler):
        schema = handler(source)
        schema["schema"]["max_length"] = self.count
        return schema


def _name_of(item) -> str:
    return getattr(item, "name", None) or item.side
