"""A projector, and the statements that fix its power."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from projector.scene.model.beam import Blade, Filter, Focus, Gate, Source, Stencil
from projector.scene.model.kinds import Degrees, FNumber, Length, Name, Part, Point, Seconds
from projector.scene.model.lens import Lamp, Lens, PupilShape
from projector.scene.model.named import AtMost, Named


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


class Projector(Part):
    """A light with gate, stencil and lens, or with a bare lamp in the place of the lens."""

    name: Name = Field(description="Its name, used in overrides and messages.")
    position_m: Point = Field(description="Where it stands (the lens), metres.")
    aim: str | Point = Field(description="What it points at: a landmark or a point in metres.")
    roll_deg: Degrees = Field(
        0.0,
        description="Turn about its axis, degrees; positive turns the pattern clockwise as seen from the projector.",
    )
    gate: Gate = Field(description="The opening that holds the stencil.")
    stencil: Stencil | None = Field(None, description="The pattern (an open gate if not given).")
    lens: Lens | None = Field(None, description="The lens; a file's keys may be replaced one by one.")
    lamp: Lamp | None = Field(None, description="In the place of a lens: the lamp's own opening, and its card.")
    focus: Focus = Field(Focus(), description="Where it is focused.")
    blade: Annotated[Named[Blade], AtMost(4)] = Field((), validate_default=True, description="Framing blades.")
    source: Source = Field(Source(), description="The lamp's colour.")
    filter: tuple[Filter, ...] = Field((), max_length=8, description="Filters in the beam.")
    reading: Reading | None = Field(None, description="A meter reading that fixes the power (or output, not both).")
    output: Output | None = Field(
        None, description="Light out of the lens that fixes the power (or reading, not both)."
    )

    @property
    def pupil_shape(self) -> PupilShape | None:
        """The shape that the lens's pupil was given; None for a plain disc, as a bare lamp's opening always is."""
        return None if self.lens is None else self.lens.pupil
