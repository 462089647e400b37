"""A projector."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from projector.scene.model.beam import Blade, Filter, Focus, Gate, Source, Stencil
from projector.scene.model.kinds import Degrees, Name, Part, Point
from projector.scene.model.lens import Lamp, Lens, PupilShape
from projector.scene.model.named import AtMost, Named
from projector.scene.model.power import GearPower, Output, Reading


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
    power: GearPower | None = Field(
        None, description="A unit of the scene's gear at a setting, in the place of reading and output."
    )

    @property
    def meter_reading(self) -> Reading | None:
        """The reading that fixes its power: its own, or its unit's as it is set; None where there is none."""
        return self.power.reading if self.reading is None and self.power is not None else self.reading

    @property
    def power_is_stated(self) -> bool:
        """Whether anything says how bright it is."""
        return self.meter_reading is not None or self.output is not None

    @property
    def pupil_shape(self) -> PupilShape | None:
        """The shape that the lens's pupil was given; None for a plain disc, as a bare lamp's opening always is."""
        return None if self.lens is None else self.lens.pupil
