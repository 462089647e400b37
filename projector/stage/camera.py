"""A scene's camera as arrays."""

from __future__ import annotations

from projector.geometry import Pose
from projector.scene.placement import point_of
from projector.stage.optics import _MM, _axes, _triple
from projector.tracing.rays.surfaces import PinholeCamera

FRAME_WIDTH, FRAME_HEIGHT = 0.036, 0.024


def camera_arrays(scene, width: int, height: int) -> PinholeCamera:
    """The scene's camera for a picture of width × height pixels: the largest centred crop of the 36 × 24 mm frame."""

    spec = scene.camera
    pose = Pose.looking_at(spec.position_m, point_of(scene, spec.aim), spec.roll_deg)
    focal_length = spec.focal_length_mm * _MM
    across = min(FRAME_WIDTH, FRAME_HEIGHT * width / height)
    half_width = 0.5 * across / focal_length
    right, down, forward = _axes(pose)
    return PinholeCamera(
        position=_triple(pose.position),
        right=right,
        down=down,
        forward=forward,
        half_width=half_width,
        half_height=half_width * height / width,
        width=width,
        height=height,
    )
