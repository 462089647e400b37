"""Shoulders, chest and upper arms of the figure, down to the waist, as one field in millimetres (frame of figure_fields)."""

from __future__ import annotations

import numpy as np

from projector.scene.figure_fields import (
    ellipsoid,
    loft,
    rounded_cone,
    smooth_intersection,
    smooth_union,
    swelling,
    table,
)

WAIST_HEIGHT = -545.0
_LEVELS = [-165, -190, -215, -250, -290, -330, -380, -440, -500, -560]
_HALF_WIDTH = table(_LEVELS, [50, 92, 124, 144, 152, 155, 152, 144, 136, 134])
_FRONT = table(_LEVELS, [2, 20, 36, 62, 82, 94, 96, 90, 84, 84])
_BACK = table(_LEVELS, [-95, -116, -128, -138, -143, -143, -136, -124, -114, -112])


def body_field(points):
    """Field of the torso at points (x, y, z), three arrays of one shape (mm); flat at the waist."""
    x, y, z = points
    points = (np.sqrt(x * x + 9.0), y, z)
    body = loft(points, -25.0, _HALF_WIDTH(y), _FRONT(y), _BACK(y), 2.5, 2.6)
    body = smooth_union(body, _shoulder_girdle(points), 34.0)
    body = body - _soft_forms(points)
    body = smooth_union(body, _arm(points), 20.0)
    return smooth_intersection(body, WAIST_HEIGHT - y, 12.0)


def _shoulder_girdle(points):
    """The slope from neck to shoulder, the collar bone and the top of the shoulder."""
    slope = rounded_cone(points, (22, -120, -66), (150, -214, -52), 26.0, 24.0)
    collar_bone = rounded_cone(points, (16, -203, 26), (150, -203, -22), 6.0, 8.0)
    shoulder = ellipsoid(points, (184, -250, -46), (50, 60, 52))
    girdle = smooth_union(slope, shoulder, 40.0)
    return smooth_union(girdle, collar_bone, 16.0)


def _arm(points):
    return rounded_cone(points, (190, -255, -46), (206, -640, -44), 48.0, 37.0)


def _soft_forms(points):
    """Chest muscles, the groove between them, the pit of the neck, shoulder blades and the furrow of the spine."""
    return (
        swelling(points, (68, -305, 84), (58, 46, 40), 9.0)
        + swelling(points, (0, -320, 96), (11, 80, 30), -4.0)
        + swelling(points, (0, -203, 30), (11, 10, 18), -7.0)
        + swelling(points, (75, -310, -140), (46, 60, 30), 6.0)
        + swelling(points, (0, -330, -140), (16, 150, 30), -6.0)
        + swelling(points, (100, -222, 20), (40, 14, 24), -4.0)
    )
