"""The projection lens and what its pupil and its glass do."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from projector.scene.model.kinds import Degrees, FNumber, FocalLength, Length, Millimetres, Part


class Lamp(Part):
    """A lamp without a lens: its own opening shines through the gate, which is a hole in a card, the end of a tube or a
    window's frame.
    """

    opening_mm: Millimetres | None = Field(None, description="Diameter of the lamp's opening, mm.")
    card_mm: Annotated[float, Field(ge=1.0, le=5000.0)] | None = Field(
        None, description="How far in front of the opening the card with gate and stencil stands, mm."
    )
    opening_deg: Annotated[float, Field(ge=0.05, le=20.0)] | None = Field(
        None,
        description=(
            "In the place of both: how wide a light far away looks, degrees (the sun 0.53). The projector's position is"
            " then that of the card, and distances count from there."
        ),
    )


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
