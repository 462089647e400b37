"""A light without gate and lens: a panel, a strip, a tube, a dish, a lens spot, a bare head, or a measured one."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from projector.scene.model.beam import Filter, Source
from projector.scene.model.kinds import Degrees, FNumber, Length, Name, Part, Point, Seconds
from projector.scene.model.power import GearPower, Reading

# Wider than any lamp that is carried into a studio.
LampSize = Annotated[float, Field(ge=0.001, le=20.0)]
Iso = Annotated[float, Field(ge=1.0, le=10_000_000.0)]
# Sizes (m) and angles (degrees) that are taken where a scene says none: common practice, no source.
USUAL_SIZES: dict[str, dict[str, float]] = {
    "panel": {"width_m": 0.6, "height_m": 0.9},
    "strip": {"width_m": 0.3, "height_m": 1.2},
    "tube": {"length_m": 1.2, "diameter_m": 0.03},
    "dish": {"diameter_m": 0.55, "beam_deg": 75.0, "field_deg": 110.0},
    "spot": {"diameter_m": 0.15, "beam_deg": 20.0, "field_deg": 32.0},
    "bare": {"diameter_m": 0.08},
    "hard": {"diameter_m": 0.06, "beam_deg": 55.0, "field_deg": 90.0},
    "measured": {},
}


class Honeycomb(Part):
    """A honeycomb or a fabric grid before a light. "A 20° grid" has no standard meaning: here it is the full angle at
    which half of the light straight ahead passes.
    """

    beam_deg: Annotated[float, Field(ge=1.0, le=150.0)] | None = Field(
        None, description="Full angle at whose edge half passes, degrees (or cell_mm and depth_mm)."
    )
    cell_mm: Annotated[float, Field(ge=0.5, le=500.0)] | None = Field(None, description="Width of a cell, mm.")
    depth_mm: Annotated[float, Field(ge=0.5, le=1000.0)] | None = Field(None, description="Depth of a cell, mm.")


class LightReading(Part):
    """A meter reading of this light alone, turned to it, nothing between: it fixes the power.

    Without its filters, and with everything else (diffuser, grid) as it stands there.
    """

    f_number: FNumber = Field(description="F-number that the meter showed.")
    iso: Iso = Field(100.0, description="ISO that the meter was set to.")
    distance_m: Length | None = Field(None, description="Distance of the meter from the light, on its axis, m (or at).")
    at: str | Point | None = Field(None, description="Landmark or point where the meter was held (or distance_m).")
    shutter_s: Seconds | None = Field(
        None, description="Shutter time of the meter for steady light, s; without it the light is a flash."
    )
    receptor: Literal["flat", "dome"] = Field("flat", description="Receptor of the meter.")
    meter_constant: Annotated[float, Field(ge=100.0, le=500.0)] | None = Field(
        None, description="The meter's own constant C, where it is known."
    )


class Against(Part):
    """So many stops against another light of the scene, each alone and metered at one point with the meter turned to
    it, nothing between, filters counted; of a projector its open gate. Steady light counts for the camera's shutter.
    """

    of: Name = Field(description="Name of the other light or projector.")
    at: str | Point = Field(description="Landmark or point where both are metered.")
    stops: Annotated[float, Field(ge=-20.0, le=20.0)] = Field(
        description="Stops over the other light; negative: under it."
    )


class LightOutput(Part):
    """Light that leaves it as it stands there, diffuser and grid counted, without filters."""

    lumens: Annotated[float, Field(ge=0.001, le=1e7)] | None = Field(None, description="Steady light, lm.")
    lumen_seconds: Annotated[float, Field(ge=0.001, le=1e7)] | None = Field(None, description="Light of a flash, lm·s.")


class Energy(Part):
    """What the light takes in: a rough estimate of what comes out, within about a stop either way."""

    watt_seconds: Annotated[float, Field(ge=0.1, le=1e5)] | None = Field(
        None, description="Stored energy of a flash, W·s."
    )
    watts: Annotated[float, Field(ge=0.1, le=1e5)] | None = Field(None, description="Input power of steady light, W.")
    lumens_per_watt: Annotated[float, Field(ge=0.1, le=250.0)] | None = Field(
        None,
        description=(
            "Light of the bare lamp for each watt, lm/W (for each watt-second of a flash, lm·s); 40 for a flash and 90"
            " for steady light if not given."
        ),
    )


class Light(Part):
    """A light that throws no pattern. What it does not need of the sizes stays out; one statement of power, or none:
    then it is metered right for the camera's setting at what it aims at.
    """

    name: Name = Field(description="Its name, used in overrides and messages.")
    kind: Literal["panel", "strip", "tube", "dish", "spot", "bare", "hard", "measured"] = Field(
        description=(
            '"panel" (diffuse fabric: rectangle, disc or polygon), "strip" (a long one), "tube", "dish" (reflector or'
            ' beauty dish), "spot" (fresnel or lens spot), "bare" (a bare head, shines all round), "hard" (a small hard'
            ' head), "measured" (by an LM-63 file).'
        )
    )
    position_m: Point = Field(description="Where the middle of what shines stands, metres.")
    aim: str | Point = Field(description="What it points at: a landmark or a point in metres.")
    roll_deg: Degrees = Field(0.0, description="Turn about its axis, degrees, clockwise as seen from the light.")
    on: bool = Field(True, description="Whether it is on.")
    hung: bool = Field(
        False, description="Whether it hangs from a boom, a rail or the ceiling: then no stand is under it."
    )
    width_m: LampSize | None = Field(None, description="Width of a panel or a strip, m.")
    height_m: LampSize | None = Field(None, description="Height of a panel or a strip, m.")
    diameter_m: LampSize | None = Field(
        None, description="Diameter of a round light, of a polygon across its corners, or of a tube, m."
    )
    length_m: LampSize | None = Field(None, description="Length of a tube, m; it lies level, roll_deg turns it.")
    n_sides: Annotated[int, Field(ge=3, le=32)] | None = Field(
        None, description="Sides of a panel that is a regular polygon."
    )
    layers: Literal[1, 2] | None = Field(
        None,
        description=(
            "Layers of diffusion of a panel or a strip: 2 is even (if not given), 1 has a hot middle, its rim a stop"
            " dimmer."
        ),
    )
    recess_m: LampSize | None = Field(None, description="How deep the fabric lies behind its frame's front, m.")
    grid: Honeycomb | None = Field(None, description="A honeycomb or a fabric grid before it.")
    beam_deg: Annotated[float, Field(ge=1.0, le=170.0)] | None = Field(
        None, description="Full angle at whose edge the intensity is half, degrees (dish, spot, hard)."
    )
    field_deg: Annotated[float, Field(ge=1.5, le=178.0)] | None = Field(
        None, description="Full angle at whose edge the intensity is a tenth, degrees."
    )
    file: Annotated[str, Field(min_length=1)] | None = Field(
        None, description='LM-63 photometric file of a "measured" light, beside the scene.'
    )
    source: Source = Field(Source(), description="The lamp's colour.")
    filter: tuple[Filter, ...] = Field((), max_length=8, description="Filters before it.")
    flash: bool | None = Field(
        None,
        description=(
            "Whether it flashes, where its power does not say so: against another light as that one, metered right a"
            " flash."
        ),
    )
    reading: LightReading | None = Field(None, description="A meter reading that fixes the power.")
    against: Against | None = Field(None, description="Stops against another light that fix the power.")
    output: LightOutput | None = Field(None, description="Light out of it that fixes the power.")
    energy: Energy | None = Field(None, description="Energy that it takes in: an estimate of its power.")
    power: GearPower | None = Field(None, description="A unit of the scene's gear at a setting.")

    @property
    def meter_reading(self) -> LightReading | Reading | None:
        """The reading that fixes its power: its own, or its unit's as it is set; None where there is none."""
        return self.power.reading if self.reading is None and self.power is not None else self.reading


def size_of(spec: Light, key: str) -> float | None:
    """A size or an angle of a light, the usual one where the scene says none; None where its kind has no usual one."""
    value = getattr(spec, key)
    return value if value is not None else USUAL_SIZES[spec.kind].get(key)


def needed_size(spec: Light, key: str) -> float:
    """The same of one that its kind always has."""
    value = size_of(spec, key)
    assert value is not None
    return value


def states_power(spec: Light) -> bool:
    """Whether a light says how bright it is."""
    stated = (spec.meter_reading, spec.against, spec.output, spec.energy)
    return spec.kind == "measured" or any(item is not None for item in stated)


def half_sizes_of(spec: Light) -> tuple[float, float]:
    """Half width and half height (m) of what shines; of a light by file what the scene says, else nothing."""
    if spec.kind == "tube":
        return 0.5 * needed_size(spec, "length_m"), 0.5 * needed_size(spec, "diameter_m")
    if spec.diameter_m is None and "width_m" in USUAL_SIZES[spec.kind]:
        return 0.5 * needed_size(spec, "width_m"), 0.5 * needed_size(spec, "height_m")
    half = 0.5 * (size_of(spec, "diameter_m") or 0.0)
    return half, half
