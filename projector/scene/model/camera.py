"""The camera."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from projector.scene.model.kinds import Degrees, FNumber, FocalLength, Kelvin, Part, Point, Seconds


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
        6000, description="Pixels of the real camera along the long side; fringes are given in them."
    )
    white_balance_k: Kelvin = Field(5600.0, description="White balance, kelvin.")
    focus: str | Point | None = Field(
        None, description="What the camera is focused on (its aim if not given); used for the blur that previews print."
    )
