"""What stands in the studio: the fields of a scene file, checked one by one. Field names are the file's keys.

What concerns several fields at once (landmarks, focus, power) is checked in `scene.checks`, so that one wrong field
does not hide the others.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, PrivateAttr

FORMAT = 1
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


class Camera(Part):
    """A pinhole camera. Its f-number, shutter and ISO set the exposure only; nothing of the picture is out of focus."""

    position_m: Point = Field(
        description="Where the camera stands: x to the right, y up, z towards the camera, metres."
    )
    aim: str | Point = Field(description='What it looks at: a landmark such as "sitter.nose_tip" or a point in metres.')
    roll_deg: Degrees = Field(0.0, description="Turn about its own axis, degrees, clockwise as seen from behind.")
    focal_length_mm: FocalLength = Field(
        85.0, description="Focal length on a 36 × 24 mm frame, mm; other picture shapes take the largest centred crop."
    )
    f_number: FNumber = Field(5.6, description="The camera's f-number, as marked.")
    shutter_s: Seconds = Field(0.005, description="Shutter time, seconds (1/200 s is 0.005).")
    iso: Annotated[float, Field(ge=1.0, le=10_000_000.0)] = Field(100.0, description="ISO setting.")
    pixels_across: Annotated[int, Field(ge=100, le=100_000)] = Field(
        6000, description="Pixels of the real camera along the long side; fringes are told in them."
    )
    white_balance_k: Kelvin = Field(5600.0, description="White balance, kelvin.")
    focus: str | Point | None = Field(
        None, description="What the camera is focused on (its aim if not given); used for the blur that previews print."
    )


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


class PupilShape(Part):
    """What the lens pupil looks like from the scene."""

    shape: Literal["disc", "polygon", "ring", "bitmap"] = Field(
        description='"disc", "polygon" (blades of an iris), "ring" or "bitmap".'
    )
    n_blades: Annotated[int, Field(ge=3, le=32)] | None = Field(None, description="Blades of a polygon.")
    rotation_deg: Degrees = Field(0.0, description="Turn of a polygon, degrees.")
    inner_fraction: Annotated[float, Field(ge=0.01, le=0.99)] | None = Field(
        None, description="Inner over outer diameter of a ring."
    )
    file: Annotated[str, Field(min_length=1)] | None = Field(None, description="Bitmap of a pupil, white is open.")


class Dispersion(Part):
    """How the lens splits colours; exactly one of these."""

    glass: str | None = Field(None, description='Glass of a single lens, such as "N-BK7".')
    abbe_number: Annotated[float, Field(ge=10.0, le=120.0)] | None = Field(
        None, description="Abbe number V_d of a single lens."
    )
    achromat: tuple[str, str] | None = Field(None, description="Crown and flint of a cemented achromat.")
    secondary_spectrum_mm: Annotated[float, Field(ge=-50.0, le=50.0)] | None = Field(
        None, description="Focus shift of the g' side against d of a corrected lens, mm, as its data sheet states it."
    )


class Lens(Part):
    """The projection lens. Every correction is zero unless it is given, in a unit that can be seen or measured."""

    focal_length_mm: FocalLength = Field(description="Focal length, mm.")
    f_number: FNumber = Field(description="F-number it is used at, as marked.")
    widest_f_number: FNumber | None = Field(
        None,
        description=(
            "F-number at full opening; corner softness and spherical blur are stated there (f_number if not given)."
        ),
    )
    transmittance: Annotated[float, Field(ge=0.001, le=1.0)] = Field(
        0.9,
        description=(
            "Share of light that the glass lets through. It counts against the lens that a reading or an output was"
            " made with (which contains that lens's own), and in full for an output before the lens."
        ),
    )
    filled_pupil_mm: Millimetres | None = Field(
        None, description="Diameter that source and condenser fill, mm; a stop costs no light until it bites."
    )
    pupil_offset_mm: Annotated[float, Field(ge=-500.0, le=500.0)] = Field(
        0.0, description="How far the scene-side pupil lies in front of where distances are measured, mm."
    )
    nearest_focus_m: Length | None = Field(None, description="Nearest distance the lens can be focused at, m.")
    pupil: PupilShape | None = Field(None, description="Shape of the pupil (a disc if not given).")
    dispersion: Dispersion | None = Field(None, description="How the lens splits colours (not at all if not given).")
    lateral_colour_mm: Annotated[float, Field(ge=-5.0, le=5.0)] = Field(
        0.0, description="Lateral colour in the gate's edge between 450 and 650 nm, mm; positive: blue lands larger."
    )
    corner_softness_mm: Annotated[float, Field(ge=-20.0, le=20.0)] = Field(
        0.0,
        description=(
            "Blur in the gate's edge at full opening when the centre is sharp, mm; positive: corners focus nearer the"
            " lens."
        ),
    )
    spherical_mm: Annotated[float, Field(ge=-20.0, le=20.0)] = Field(
        0.0, description="Full-opening disc of spherical aberration in the gate at the paraxial focus, mm."
    )
    distortion_percent: Annotated[float, Field(ge=-100.0, le=40.0)] = Field(
        0.0,
        description=(
            "How much farther out the gate's edge (a rectangle's corner) lands, per cent; positive: pincushion on the"
            " wall, negative: barrel. The level that any lit point of the wall sees stays, so pincushion brings more"
            " light in all."
        ),
    )


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
    """The lamp's colour. Tungsten, daylight and LED of T kelvin are neutral to a camera whose white balance is T."""

    kind: Literal["tungsten", "daylight", "led", "equal_energy"] = Field(
        "daylight", description="Kind of spectrum; a flash is daylight."
    )
    temperature_k: Kelvin | None = Field(
        None,
        description=(
            "Colour temperature, kelvin (5600 if not given, 3200 for tungsten); tungsten ends at 4000, an LED lies"
            " between 2000 and 20000."
        ),
    )


class Filter(Part):
    """A filter in the beam."""

    kind: Literal["neutral", "band", "edge_long", "edge_short", "temperature", "table"] = Field(
        description="What it does."
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
    """A light with gate, stencil and lens."""

    name: Name = Field(description="Its name, used in overrides and messages.")
    position_m: Point = Field(description="Where it stands (the lens), metres.")
    aim: str | Point = Field(description="What it points at: a landmark or a point in metres.")
    roll_deg: Degrees = Field(
        0.0,
        description="Turn about its axis, degrees; positive turns the pattern clockwise as seen from the projector.",
    )
    gate: Gate = Field(description="The opening that holds the stencil.")
    stencil: Stencil | None = Field(None, description="The pattern (an open gate if not given).")
    lens: Lens = Field(description="The lens; a file's keys may be replaced one by one.")
    focus: Focus = Field(Focus(), description="Where it is focused.")
    blade: tuple[Blade, ...] = Field((), max_length=4, description="Framing blades.")
    source: Source = Field(Source(), description="The lamp's colour.")
    filter: tuple[Filter, ...] = Field((), max_length=8, description="Filters in the beam.")
    reading: Reading | None = Field(None, description="A meter reading that fixes the power (or output, not both).")
    output: Output | None = Field(
        None, description="Light out of the lens that fixes the power (or reading, not both)."
    )


class Surface(Part):
    """Something that light falls on: a wall, a sweep, a box or any mesh."""

    name: Name = Field(description="Its name.")
    shape: Literal["flat", "sweep", "box", "mesh"] = Field("flat", description="What it is.")
    position_m: Point = Field(
        (0.0, 0.0, 0.0),
        description="Middle of a flat surface or a box; foot of a sweep's wall on the floor; a mesh's origin; metres.",
    )
    yaw_deg: Degrees = Field(0.0, description="Turn to its own left about the vertical, degrees.")
    pitch_deg: Degrees = Field(0.0, description="Tilt of its face upwards, degrees.")
    tilt_deg: Degrees = Field(0.0, description="Lean in its own plane, degrees.")
    width_m: Length | None = Field(None, description="Width, m.")
    height_m: Length | None = Field(None, description="Height, m.")
    depth_m: Length | None = Field(None, description="Depth of a box, m.")
    foot_radius_m: Length | None = Field(None, description="Radius of a sweep's curved foot, m.")
    floor_length_m: Length | None = Field(None, description="Length of a sweep's floor in front of the curve, m.")
    file: Annotated[str, Field(min_length=1)] | None = Field(None, description="Mesh file: STL, OBJ, PLY, OFF or GLB.")
    unit: Literal["mm", "cm", "m", "inch", "foot"] = Field("m", description="Unit of the mesh file.")
    up: Literal["y", "z"] = Field("y", description="Which axis of the mesh file points up.")
    reflectance: Share = Field(0.8, description="Share of light it sends back, 0 to 1.")
    colour: Colour | None = Field(None, description="Linear sRGB reflectance, three numbers 0 to 1, instead of one.")


class Figure(Part):
    """The sitter."""

    name: Name = Field("sitter", description="Its name; landmarks are name.left_eye and so on.")
    kind: Literal["head", "head_and_torso"] = Field("head_and_torso", description="How much of a person.")
    position_m: Point = Field((0.0, 0.0, 0.0), description="Floor below the head, metres.")
    stature_m: Annotated[float, Field(ge=0.5, le=2.5)] = Field(
        1.70, description="Standing height that scales the figure, m."
    )
    yaw_deg: Degrees = Field(0.0, description="Head turned to the sitter's left, degrees.")
    pitch_deg: Annotated[float, Field(ge=-60.0, le=60.0)] = Field(0.0, description="Chin lifted, degrees.")
    tilt_deg: Annotated[float, Field(ge=-60.0, le=60.0)] = Field(
        0.0, description="Head leaning to the sitter's left shoulder, degrees."
    )
    torso_yaw_deg: Degrees = Field(0.0, description="Torso turned to the sitter's left, degrees.")
    reflectance: Share = Field(0.45, description="Share of light the figure sends back, 0 to 1.")
    colour: Colour | None = Field(None, description="Linear sRGB reflectance, three numbers 0 to 1, instead of one.")


class Ambient(Part):
    """Even light from all sides: what the room throws back of a projector's light (stops_under, of), or its own lamps
    (lux).

    What is thrown back is of that projector's kind: of a flash it comes with the flash, whatever the shutter. The
        room's
    own lamps are steady: they count for as long as the camera's shutter is open.
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


class Scene(Part):
    """A whole scene."""

    format: Literal[1] = Field(1, description="Version of this file format.")
    title: str = Field("", max_length=300, description="What the scene shows.")
    camera: Camera = Field(description="The camera.")
    projector: tuple[Projector, ...] = Field((), max_length=32, description="Projectors.")
    surface: tuple[Surface, ...] = Field((), max_length=200, description="Surfaces.")
    figure: tuple[Figure, ...] = Field((), max_length=20, description="Sitters.")
    ambient: Ambient | None = Field(None, description="Light from the room.")

    _name: str = PrivateAttr("scene")
    _folder: str = PrivateAttr(".")
    _overrides: tuple[str, ...] = PrivateAttr(())

    @property
    def name(self) -> str:
        """Name of the file that the scene came from, without its ending."""
        return self._name

    @property
    def folder(self) -> str:
        """Folder that the scene's own files are looked for in."""
        return self._folder

    @property
    def overrides(self) -> tuple[str, ...]:
        """The changes, as typed, that made this scene of its file's."""
        return self._overrides

    def placed_at(self, name: str, folder: str, overrides: Sequence[str] | None = None) -> Scene:
        """A scene that says the same, called so, whose own files are looked for there; by its own overrides if none are
        given.
        """
        placed = self.model_copy()
        placed._name, placed._folder = name, folder
        if overrides is not None:
            placed._overrides = tuple(overrides)
        return placed

    def digest(self) -> str:
        """Hash of everything that the scene says (64 hexadecimal digits)."""
        return hashlib.sha256(self.model_dump_json().encode()).hexdigest()


def scene_schema() -> dict:
    """JSON schema of the scene format, for editors."""
    schema = Scene.model_json_schema()
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    schema["title"] = "A scene for projector, format 1"
    return schema
