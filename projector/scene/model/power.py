"""What fixes a light's power: a meter's reading, an output, or a unit of one's own gear at a setting."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, PrivateAttr

from projector.scene.model.kinds import FNumber, Length, Part, Seconds
from projector.scene.model.lens import Lens


class Statement(Part):
    """A statement of power belongs to the lens and stop that it was made with: with another the light is computed from
    the two openings and transmittances.
    """

    lens_f_number: FNumber | None = Field(
        None, description="F-number that this lens had then, if it is another one now."
    )
    lens: Lens | None = Field(
        None, description="The lens that was there then, if it is another one now: its own keys, or a file."
    )


class Reading(Statement):
    """A meter reading of this projector, gate open, without its filters, on the axis: it fixes the power.

    It was taken through the lens, so the lens's transmittance is in it.
    """

    f_number: FNumber = Field(description="F-number that the meter showed.")
    iso: Annotated[float, Field(ge=1.0, le=10_000_000.0)] = Field(100.0, description="ISO that the meter was set to.")
    distance_m: Length = Field(description="Distance of the meter, m.")
    shutter_s: Seconds | None = Field(
        None, description="Shutter time of the meter for steady light, s; without it the light is a flash."
    )
    receptor: Literal["flat", "dome"] = Field("flat", description="Receptor of the meter.")
    meter_constant: Annotated[float, Field(ge=100.0, le=500.0)] | None = Field(
        None, description="The meter's own constant C, where it is known."
    )


class Output(Statement):
    """Light out of the lens, gate open, without filters: another way to fix the power.

    Out of the lens its transmittance is in it; before the lens it is not, and the lens takes its share.
    """

    lumens: Annotated[float, Field(ge=0.001, le=1e7)] | None = Field(None, description="Steady light, lm.")
    lumen_seconds: Annotated[float, Field(ge=0.001, le=1e7)] | None = Field(None, description="Light of a flash, lm·s.")
    before_lens: bool = Field(
        False,
        description=(
            "The light was counted before the lens, as what passes the open gate into it; the lens then takes its"
            " transmittance in full."
        ),
    )


class GearPower(Statement):
    """A unit of one's own gear at a setting; full power if none is given.

    What it gives stands in the gear's table, read at full power, and belongs to the lens that it was read with there,
    or else to this one.
    """

    unit: Annotated[str, Field(min_length=1)] = Field(description="Name of the unit in the gear's table.")
    setting: Annotated[str, Field(min_length=1)] | None = Field(
        None, description='As its dial says: "1/4", "1/4 +0.3", "25 %" or "full".'
    )
    stops: Annotated[float, Field(ge=-20.0, le=0.0)] | None = Field(
        None, description="In the place of a setting: stops against full power, 0 or less."
    )

    # Of its unit, as it is set; None until the scene has its gear, and where that has no such unit or setting.
    _reading: Reading | None = PrivateAttr(None)

    @property
    def reading(self) -> Reading | None:
        """What a meter shows of the unit as it is set; None where the gear of the scene has no such unit or setting."""
        return self._reading

    def set_to(self, reading: Reading | None) -> GearPower:
        """The same with what a meter shows of its unit."""
        found = self.model_copy()
        found._reading = reading
        return found
