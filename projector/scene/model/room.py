"""Light that no projector of the scene throws."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from projector.scene.model.kinds import FNumber, Name, Part, Seconds


class RoomReading(Part):
    """A meter reading of the room alone, every projector off, where the sitter will be."""

    f_number: FNumber = Field(description="F-number that the meter showed.")
    shutter_s: Seconds = Field(description="Shutter time that the meter was set to, s.")
    iso: Annotated[float, Field(ge=1.0, le=10_000_000.0)] = Field(100.0, description="ISO that the meter was set to.")
    receptor: Literal["flat", "dome"] = Field(
        "flat",
        description=(
            "Receptor of the meter. In light that is even from all sides a dome gathers twice what a flat one does;"
            " that is reckoned with."
        ),
    )
    meter_constant: Annotated[float, Field(ge=100.0, le=500.0)] | None = Field(
        None, description="The meter's own constant C, where it is known."
    )


class Ambient(Part):
    """Even light from all sides: what the room throws back of a projector's light (stops_under, of), or its own lamps
    (lux, or a meter's reading of them).

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
            "Light of the room's own lamps or windows, lx: steady, it counts for as long as the shutter is open (one of"
            " lux, reading and stops_under)."
        ),
    )
    reading: RoomReading | None = Field(
        None, description="The same light as a meter showed it, every projector off: another way to say lux."
    )
