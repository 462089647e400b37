"""Kinds of numbers that a scene file holds, with their ranges in the unit of the key, and what all parts share."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

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
Name = Annotated[str, Field(min_length=1, max_length=60, pattern=r"^[A-Za-z0-9_\- ]+$")]


class Part(BaseModel):
    """Frozen, strict about types, no unknown keys, no nan and no infinity."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)
