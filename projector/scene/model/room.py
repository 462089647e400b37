"""Light that no projector of the scene throws."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from projector.scene.model.kinds import Name, Part


class Ambient(Part):
    """Even light from all sides: what the room throws back of a projector's light (stops_under, of), or its own lamps
    (lux).

    What is thrown back is of that projector's kind: of a flash it comes with the flash, whatever the shutter. The
    room's own lamps are steady: they count for as long as the camera's shutter is open.
    """

    stops_under: Annotated[float, Field(ge=-20.0, le=40.0)] | None = Field(
        None,
        description=(
            "Stops under a projector's open gate, on its axis where it is focused; of a flash it is flash, too."
        ),
    )
    of: Name | None = Field(
        None, description="Name of the projector that stops_under counts from; with one projector it need not be said."
    )
    lux: Annotated[float, Field(ge=0.001, le=200_000.0)] | None = Field(
        None,
        description=(
            "Light of the room's own lamps or windows, lx: steady, it counts for as long as the shutter is open (lux or"
            " stops_under, not both)."
        ),
    )
