"""Things that light falls on, other than the sitter."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from projector.scene.model.kinds import Colour, Degrees, Finish, Length, Name, Part, Point, Share


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
    finish: Finish = Field("matte", description="What its surface is like: what shines over its own colour.")
