"""Kinds of numbers that a scene file holds, with their ranges in the unit of the key, and what all parts share."""

from __future__ import annotations

import inspect
import textwrap
from pathlib import PurePath
from typing import TYPE_CHECKING, Annotated, ClassVar, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from projector.faults import Fault, SceneError
from projector.scene.model.named import Named

if TYPE_CHECKING:
    from pydantic._internal._model_construction import ModelMetaclass as _Metaclass
else:
    _Metaclass = type(BaseModel)

_FARTHEST_M = 1000.0

Metres = Annotated[float, Field(ge=-_FARTHEST_M, le=_FARTHEST_M)]
# The smallest of a thing that still means something; below it arrays would grow and ratios overflow for nothing.
Length = Annotated[float, Field(ge=0.001, le=_FARTHEST_M)]
Millimetres = Annotated[float, Field(ge=0.1, le=2000.0)]
Seconds = Annotated[float, Field(ge=1e-6, le=3600.0)]
FocalLength = Annotated[float, Field(ge=1.0, le=2000.0)]
FNumber = Annotated[float, Field(ge=0.5, le=256.0)]
Degrees = Annotated[float, Field(ge=-360.0, le=360.0)]
Share = Annotated[float, Field(ge=0.0, le=1.0)]
Kelvin = Annotated[float, Field(ge=1000.0, le=25000.0)]
Point = tuple[Metres, Metres, Metres]
Colour = tuple[Share, Share, Share]
# What a thing's surface is like, by words of the trade; their numbers stand in `optics.finishes`.
Finish = Literal["matte", "skin", "powdered skin", "oily skin", "satin", "gloss paint"]
Name = Annotated[str, Field(min_length=1, max_length=60, pattern=r"^[A-Za-z0-9_\- ]+$")]


class _InOurWords(_Metaclass):
    """So that help() of a part shows the fields of a scene file, with their units, and none of what checks them."""

    def __dir__(cls) -> list[str]:
        ours = [vars(item) for item in cls.__mro__ if issubclass(item, Part)]
        return sorted({name for names in ours for name in names if not name.startswith(("_", "model_"))})


class Part(BaseModel, metaclass=_InOurWords):
    """Frozen, strict about types, no unknown keys, no nan and no infinity.

    Made in code it takes lists, arrays and numpy's numbers as well, and raises SceneError with all faults, as a file
    does.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)

    _says: ClassVar[str] = ""

    if not TYPE_CHECKING:  # editors go by the fields

        def __init__(self, /, **values):
            written = as_in_a_file(values)
            try:
                self.__pydantic_validator__.validate_python(written, self_instance=self)
            except ValidationError as error:
                from projector.scene.reading.field_faults import Places, faults_of

                raise SceneError(faults_of(error, written, type(self), Places())) from None

        # As pydantic marks its own: reading a file goes past it.
        __init__.__pydantic_base_init__ = True

    @classmethod
    def __pydantic_init_subclass__(cls, **_) -> None:
        """Say every field in the docstring, and the call without what checks its values."""
        cls._says = inspect.cleandoc(cls.__doc__ or "")
        wide = max((len(name) for name in cls.model_fields), default=0)
        fields = "\n".join(_field_words(name, field, wide) for name, field in cls.model_fields.items())
        cls.__doc__ = f"{cls._says}\n\n{fields}" if fields else cls._says
        cls.__signature__ = inspect.Signature(
            [
                inspect.Parameter(
                    name,
                    inspect.Parameter.KEYWORD_ONLY,
                    default=inspect.Parameter.empty if field.is_required() else field.default,
                )
                for name, field in cls.model_fields.items()
            ]
        )

    @classmethod
    def __get_pydantic_json_schema__(cls, core_schema, handler):
        """The schema says what the part is; its fields speak for themselves there."""
        schema = handler(core_schema)
        handler.resolve_ref_schema(schema)["description"] = cls._says
        return schema

    def __setattr__(self, name: str, value) -> None:
        if not name.startswith("_"):
            try_ = f'with_overrides(scene, {{"….{name}": …}}) makes a scene that says so'
            raise SceneError(Fault("a scene stays as it was made", try_=try_, key=name))
        super().__setattr__(name, value)

    def __dir__(self) -> list[str]:
        return sorted({*type(self).model_fields, *dir(type(self))})

    def __str__(self) -> str:
        return repr(self)

    def __repr_args__(self):
        """What differs from what is taken if nothing is said."""
        for name, field in type(self).model_fields.items():
            value = getattr(self, name)
            if field.is_required() or value != field.default:
                yield name, value


def _field_words(name: str, field, wide: int) -> str:
    indent = " " * (wide + 2)
    return textwrap.fill(field.description or "", 100, initial_indent=f"{name:<{wide}}  ", subsequent_indent=indent)


def as_in_a_file(value):
    """A value as the check of a file's values takes it: tuples for lists and arrays, plain numbers, names for paths."""
    if isinstance(value, dict):
        return {key: as_in_a_file(item) for key, item in value.items()}
    if hasattr(value, "tolist"):
        value = value.tolist()
    if isinstance(value, (list, tuple)) and not isinstance(value, Named):
        return tuple(map(as_in_a_file, value))
    return str(value) if isinstance(value, PurePath) else value
