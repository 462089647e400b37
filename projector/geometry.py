"""Vectors as 3-tuples and poses. World: right-handed, metres, x right, y up, z towards the camera.

A projector or a camera looks along its own +z, with +x right and +y down as seen from behind it, so that
`world_from_device` is a pure rotation (columns: right, down, forward) and a shift.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from projector.jit import formula


@formula
def dot(a, b):
    """Scalar product of two 3-tuples."""
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


@formula
def cross(a, b):
    """Vector product of two 3-tuples."""
    return (a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0])


@formula
def subtract(a, b):
    """a − b for 3-tuples."""
    return (a[0] - b[0], a[1] - b[1], a[2] - b[2])


@formula
def add_scaled(a, b, factor):
    """a + factor · b for 3-tuples."""
    return (a[0] + factor * b[0], a[1] + factor * b[1], a[2] + factor * b[2])


@formula
def normalised(a):
    """The unit vector along a 3-tuple that is not zero."""
    scale = 1.0 / math.sqrt(a[0] * a[0] + a[1] * a[1] + a[2] * a[2])
    return (a[0] * scale, a[1] * scale, a[2] * scale)


@dataclass(frozen=True)
class Pose:
    """Where a projector or a camera stands and how it is turned.

    position  (3,) float, metres, world
    rotation  (3, 3) float, world_from_device; columns are right, down and forward
    """

    position: np.ndarray
    rotation: np.ndarray

    @classmethod
    def looking_at(cls, position, target, roll_deg: float = 0.0) -> Pose:
        """A pose at `position` looking at `target` (both metres, world).

        Roll 0 keeps the device's x horizontal; positive roll turns what it throws clockwise as seen from behind it.
        A device that looks straight up or down takes the world's −z as its "up", so that the pose stays defined.

        Raises ValueError if position and target coincide.
        """
        position = np.asarray(position, float)
        forward = np.asarray(target, float) - position
        distance = float(np.linalg.norm(forward))
        if not distance > 1e-9:
            raise ValueError("position and aim are the same point")
        forward /= distance
        up = np.array([0.0, 1.0, 0.0]) if abs(forward[1]) < 1.0 - 1e-9 else np.array([0.0, 0.0, -1.0])
        right = np.cross(forward, up)
        right /= np.linalg.norm(right)
        down = np.cross(forward, right)
        roll = math.radians(roll_deg)
        # Turning x towards y (down) is clockwise as seen from behind.
        rolled_right = math.cos(roll) * right + math.sin(roll) * down
        rolled_down = math.cos(roll) * down - math.sin(roll) * right
        return cls(position, np.column_stack([rolled_right, rolled_down, forward]))

    def to_world(self, points) -> np.ndarray:
        """Points (…, 3) of the device's frame in the world, metres."""
        return np.asarray(points, float) @ self.rotation.T + self.position


def figure_rotation(yaw_deg: float, pitch_deg: float, tilt_deg: float) -> np.ndarray:
    """World_from_figure rotation (3, 3) of a sitter or a mesh.

    Positive yaw turns to the sitter's left (towards +x), positive pitch lifts the chin, positive tilt leans to the
    sitter's left shoulder. Tilt is applied first, then pitch, then yaw.
    """
    yaw, pitch, tilt = (math.radians(angle) for angle in (yaw_deg, pitch_deg, tilt_deg))
    about_y = np.array([[math.cos(yaw), 0, math.sin(yaw)], [0, 1, 0], [-math.sin(yaw), 0, math.cos(yaw)]])
    about_x = np.array([[1, 0, 0], [0, math.cos(pitch), math.sin(pitch)], [0, -math.sin(pitch), math.cos(pitch)]])
    about_z = np.array([[math.cos(tilt), math.sin(tilt), 0], [-math.sin(tilt), math.cos(tilt), 0], [0, 0, 1]])
    return about_y @ about_x @ about_z
