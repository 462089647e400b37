"""The sitter."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from projector.scene.model.kinds import Colour, Degrees, Finish, Name, Part, Point, Share


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
    finish: Finish = Field("matte", description="What its surface is like: what shines over its own colour.")
