"""Shoulders, chest and upper arms of the figure, down to the waist, as one field in millimetres (frame of
figure_fields).
"""

from __future__ import annotations

import numpy as np

from projector.figures.field.fields import (
    ellipsoid,
    loft,
    rounded_cone,
    smooth_intersection,
    smooth_union,
    swelling,
    table,
)

WAIST_HEIGHT = -545.0
# Slices from the nape to the waist; the upper ones are the slope from neck to shoulder.
_LEVELS = [-95, -120, -140, -158, -174, -190, -206, -225, -255, -290, -330, -380, -440, -500, -560]
_HALF_WIDTH = table(_LEVELS, [40, 55, 72, 97, 130, 162, 180, 178, 166, 156, 154, 148, 138, 131, 130], 8.0)
_FRONT = table(_LEVELS, [-40, -28, -18, -8, 2, 14, 27, 44, 66, 83, 93, 95, 90, 84, 84], 9.0)
_BACK = table(_LEVELS, [-70, -82, -90, -99, -108, -117, -125, -132, -139, -143, -143, -136, -124, -114, -112], 9.0)
_ROUNDNESS = table([-100, -190, -260, -400], [2.0, 2.1, 2.5, 2.5], 10.0)


def body_field(points):
    """Field of the torso at points (x, y, z), three arrays of one shape (mm); flat at the waist."""
    x, y, z = points
    points = (np.sqrt(x * x + 9.0), y, z)
    body = loft(points, -48.0 + 24.0 * _lowness(y), _HALF_WIDTH(y), _FRONT(y), _BACK(y), _ROUNDNESS(y), 2.5)
    body = smooth_union(body, _collar_bone(points), 18.0)
    body = body - _soft_forms(points)
    body = smooth_union(body, _arm(points), 34.0)
    return smooth_intersection(body, WAIST_HEIGHT - y, 16.0)


_lowness = table([-180, -280], [0.0, 1.0], 12.0)


def _collar_bone(points):
    return rounded_cone(points, (18, -204, 24), (158, -200, -26), 4.5, 4.5)


def _arm(points):
    shoulder = ellipsoid(points, (180, -252, -46), (56, 60, 54))
    rod = rounded_cone(points, (194, -290, -46), (214, -640, -40), 42.0, 36.0)
    # The arm rests against the side: the gap is filled deep in, so that no thin slit is left to mesh.
    web = rounded_cone(points, (156, -300, -46), (154, -640, -42), 24.0, 27.0)
    return smooth_union(smooth_union(shoulder, rod, 40.0), web, 22.0)


def _soft_forms(points):
    """Chest muscles, the groove between them, the pit of the neck, shoulder blades and the furrow of the spine."""
    return (
        swelling(points, (68, -300, 84), (60, 56, 44), 7.0)
        + swelling(points, (0, -320, 96), (14, 80, 30), -3.5)
        + swelling(points, (0, -203, 30), (13, 13, 18), -5.0)
        + swelling(points, (75, -310, -140), (46, 60, 30), 6.0)
        + swelling(points, (0, -330, -140), (16, 150, 30), -6.0)
        + swelling(points, (100, -222, 20), (40, 14, 24), -4.0)
    )
