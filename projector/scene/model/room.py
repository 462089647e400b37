"""What fills the room: light that no projector of the scene throws, and haze in its air."""

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
            "Stops under a projector's open gate, on its axis where it is focused, or under another light at what it"
            " aims at; of a flash it is flash, too."
        ),
    )
    of: Name | None = Field(
        None, description="Name of the light that stops_under counts from; a scene's only projector need not be named."
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


class Haze(Part):
    """Haze that fills the air of the room, even everywhere: beams show in it, and it dims what lies behind.

    How dense it is says one of loss_percent (with over_m) and extinction_per_m. A meter's reading, an output and
    ambient light are stated as in clear air.
    """

    loss_percent: Annotated[float, Field(ge=0.01, le=99.0)] | None = Field(
        None, description="Share of a beam that a length over_m of the air takes, per cent; a light haze: 10 over 4 m."
    )
    over_m: Annotated[float, Field(ge=0.1, le=1000.0)] | None = Field(
        None, description="The length that loss_percent is stated over, metres."
    )
    extinction_per_m: Annotated[float, Field(ge=1e-5, le=5.0)] | None = Field(
        None, description="The same as extinction, 1/m, in place of loss_percent and over_m."
    )
    forward: Annotated[float, Field(ge=-0.9, le=0.95)] = Field(
        0.75,
        description=(
            "How far forward it scatters: the mean cosine of the turn, 0 evenly to all sides. Haze has 0.7 to 0.8"
            " (S. Narasimhan & S. Nayar, Shedding Light on the Weather, CVPR 2003; from memory)."
        ),
    )
    albedo: Annotated[float, Field(ge=0.0, le=1.0)] = Field(
        1.0, description="Share of what it takes that it scatters; the rest is absorbed. Droplets of fog fluid: 1."
    )
    depth_m: Annotated[float, Field(ge=0.1, le=1000.0)] = Field(
        10.0, description="How deep it is where the camera looks past everything in the scene, metres from the camera."
    )
