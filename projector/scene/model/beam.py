"""What stands in a projector's beam besides the lens: gate, stencil, focus, blades, lamp and filters."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from projector.scene.model.kinds import Degrees, Kelvin, Length, Millimetres, Part, Point, Share


class Gate(Part):
    """The opening that holds the stencil."""

    shape: Literal["round", "rectangle"] = Field(description='"round" or "rectangle".')
    diameter_mm: Millimetres | None = Field(None, description="Diameter of a round gate, mm.")
    width_mm: Millimetres | None = Field(None, description="Width of a rectangular gate, mm.")
    height_mm: Millimetres | None = Field(None, description="Height of a rectangular gate, mm.")
    edge_falloff_stops: Annotated[float, Field(ge=0.0, le=10.0)] = Field(
        0.0, description="Hot spot: how many stops dimmer the gate's edge is than its centre."
    )


class Stencil(Part):
    """The pattern in the gate: a bitmap, white passes light, black stops it, as it lands on a wall."""

    file: Annotated[str, Field(min_length=1)] = Field(
        description="A bitmap beside the scene, or the name of a shipped stencil."
    )
    width_mm: Millimetres = Field(description="Width of the whole bitmap in the gate, mm; its pixels are square.")
    grey: Literal["coverage", "glass"] = Field(
        "coverage",
        description='What grey means: "coverage" (linear share that is open) or "glass" (half-tone glass, sRGB coded).',
    )
    inverted: bool = Field(False, description="Swap black and white: a negative.")


class Focus(Part):
    """Where the projector is focused, and how far the stencil is moved from there."""

    at: str | Point | None = Field(
        None,
        description="Landmark or point that is sharp without the offset (the projector's aim if neither is given).",
    )
    distance_m: Length | None = Field(None, description="Distance of what is sharp without the offset, m.")
    offset_mm: Annotated[float, Field(ge=-500.0, le=500.0)] = Field(
        0.0, description="Stencil moved away from the lens, mm; what is sharp comes nearer."
    )


class Blade(Part):
    """A framing blade, named by the side of the landed pattern that it cuts."""

    side: Literal["left", "right", "top", "bottom"] = Field(description="Side of the landed pattern that it cuts.")
    insertion_mm: Annotated[float, Field(ge=-100.0, le=200.0)] = Field(
        description="How far it reaches in from the gate's edge, mm."
    )
    angle_deg: Annotated[float, Field(ge=-89.0, le=89.0)] = Field(
        0.0, description="Turn of its edge, degrees, clockwise as landed."
    )
    offset_mm: Annotated[float, Field(ge=-200.0, le=200.0)] = Field(
        0.0, description="Distance from the stencil's plane, mm; positive: lamp side."
    )


class Source(Part):
    """The lamp's colour. Tungsten, daylight and LED of T kelvin are neutral to a camera whose white balance is T.

    An LED may be set to a colour instead, by x and y or by hue and saturation; its level is what a meter shows of it as
    it is set.
    """

    kind: Literal["tungsten", "daylight", "led", "equal_energy"] = Field(
        "daylight", description="Kind of spectrum; a flash is daylight."
    )
    temperature_k: Kelvin | None = Field(
        None,
        description=(
            "Colour temperature, kelvin (5600 if not given, 3200 for tungsten); tungsten ends at 4000, an LED lies"
            " between 2000 and 20000. Of an LED set to a colour: of its white emitter, and of saturation 0."
        ),
    )
    xy: tuple[Share, Share] | None = Field(None, description="led: chromaticity that it is set to, CIE 1931 [x, y].")
    hue_deg: Degrees | None = Field(
        None, description="led: hue that it is set to, degrees: red 0, green 120, blue 240, in the place of xy."
    )
    saturation: Share | None = Field(None, description="led: saturation beside the hue, 0 (white) to 1 (if not given).")
    emitters: Literal["rgb", "rgbw", "rgbaw"] | None = Field(
        None,
        description=(
            "led set to a colour: its emitters, red, green and blue, with white (if not given), with amber and white."
        ),
    )


class Filter(Part):
    """A filter in the beam: by its name, by the file that it was measured in, or by what it does."""

    name: Annotated[str, Field(min_length=1)] | None = Field(
        None, description='One of those that `projector filters` lists, such as "half-warm".'
    )
    file: Annotated[str, Field(min_length=1)] | None = Field(
        None, description="A CSV file beside the scene: wavelength_nm,transmittance."
    )
    kind: Literal["neutral", "band", "edge_long", "edge_short", "temperature", "table"] | None = Field(
        None, description="What it does, in the place of a name or a file."
    )
    density: Annotated[float, Field(ge=0.0, le=10.0)] | None = Field(None, description="neutral: optical density.")
    stops: Annotated[float, Field(ge=0.0, le=30.0)] | None = Field(None, description="neutral: stops it costs.")
    centre_nm: Annotated[float, Field(ge=300.0, le=900.0)] | None = Field(None, description="band: centre, nm.")
    width_nm: Annotated[float, Field(ge=5.0, le=500.0)] | None = Field(
        None, description="band: width at half height; edges: 10 to 90 %, nm."
    )
    edge_nm: Annotated[float, Field(ge=300.0, le=900.0)] | None = Field(
        None, description="edge_long, edge_short: where half passes, nm."
    )
    mired_shift: Annotated[float, Field(ge=-270.0, le=300.0)] | None = Field(
        None,
        description=(
            "temperature: shift in mired; negative is bluer, exact from 3200 K; positive is warmer, exact from 5600 K."
        ),
    )
    wavelength_nm: tuple[float, ...] | None = Field(None, description="table: wavelengths, nm, rising.")
    transmittance: tuple[Share, ...] | None = Field(None, description="table: transmittance at each of them, 0 to 1.")
