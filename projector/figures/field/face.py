"""The head of the figure without its ears: skull, face, eyes, nose, mouth, jaw and neck as one field in millimetres.

Proportions follow the canon of drawing schools (eyes at half of the head's height, ear from brow to the base of the
nose, mouth a third of the way down to the chin, one eye's width between the eyes) and the sizes of the U.S. Army
survey of 2012 (Gordon et al., NATICK/TR-15/007), between its men and its women.
"""

from __future__ import annotations

import numpy as np

from projector.figures.field.fields import (
    ellipsoid,
    loft,
    lopsided_ellipsoid,
    ridge,
    rounded_cone,
    smooth_cut,
    smooth_intersection,
    smooth_union,
    swelling,
    table,
)

EYE = (31.5, -1.0, 66.0)
EYELID_RADIUS = 13.6
MOUTH_HALF_WIDTH = 26.0


def face_field(points):
    """Field of head and neck at points (x, y, z), three arrays of one shape (mm).

    The neck goes on below the shoulders.
    """
    x, y, z = points
    # A soft |x| keeps the middle of the face free of a crease.
    points = (np.sqrt(x * x + 2.0), y, z)
    # The front of skull and face is shifted as a whole: sockets go into both.
    shift = _relief(points[0], y) * np.clip((z - 5.0) / 35.0, 0.0, 1.0)
    shifted = (points[0], y, z - shift)
    head = smooth_union(_skull(shifted), _face_mass(shifted), 16.0)
    head = head - _soft_forms(points)
    head = smooth_union(head, _cheekbone(points), 26.0)
    head = smooth_union(head, _neck(points), 14.0)
    head = smooth_union(head, _neck_muscle(points), 16.0)
    head = _with_eye(points, head)
    head = _with_nose(points, head)
    return head


def _skull(points):
    return lopsided_ellipsoid(points, (0.0, 30.0, -12.0), (74.5, 84.0, 85.5), (74.5, 81.0, 105.5), 2.25)


# The midline without nose, lips and the fold above the chin: height against the foremost z.
_PROFILE = table(
    [70, 55, 40, 30, 20, 10, 2, -10, -25, -40, -47, -55, -62, -70, -78, -86, -92, -99, -106, -114, -125],
    [68, 82, 91, 94.5, 95, 91.5, 87.5, 89.5, 94, 98, 100, 100.5, 100.5, 99.5, 98.5, 97.5, 97.3, 97, 95.5, 91.5, 82],
    3.5,
)
_HALF_WIDTH = table(
    [70, 40, 20, 0, -15, -30, -50, -70, -85, -100, -114, -125],
    [60, 66, 67.5, 68.0, 68.0, 66, 61.5, 55.5, 49.5, 41, 33, 28],
    5.0,
)
_ROUNDNESS = table([60, 20, 0, -20, -45, -65, -85, -100, -120], [2.3, 2.4, 2.35, 2.25, 2.0, 1.85, 1.85, 1.9, 2.0], 6.0)
# The lower edge of the jaw: depth against height, from the chin back over the angle of the jaw to the ear.
_JAW_EDGE = table([105, 90, 75, 55, 35, 20, 8, -2, -12], [-113.5, -113, -111.5, -106, -97, -90, -80, -62, -45], 5.0)


def _face_mass(points):
    """Forehead to chin; its lower edge is the jaw line."""
    _, y, z = points
    mass = loft(points, 14.0, _HALF_WIDTH(y), _PROFILE(y), -12.0, _ROUNDNESS(y), 2.6)
    mass = smooth_intersection(mass, y - 64.0, 10.0)
    return smooth_intersection(mass, (_JAW_EDGE(z) - y) * 0.9, 16.0)


def _relief(x, y):
    """What is modelled on the front of the face, as a shift of the surface towards +z (mm) at (x, y)."""
    brow_line = 17.0 + 5.0 * np.sin(np.clip((x - 8.0) / 40.0, 0.0, 1.0) * np.pi * 0.62)
    brow = 3.0 * ridge(y - brow_line, 8.0) * np.exp(-((x / 44.0) ** 6)) * (1.0 - 0.35 * ridge(x, 9.0))
    socket = -11.0 * np.exp(-((((x - 32.0) / 18.5) ** 2 + ((y - 0.5) / 12.5) ** 2) ** 1.25))
    inner_corner = -1.5 * np.exp(-(((x - 16.5) / 7.0) ** 2) - ((y - 3.0) / 10.0) ** 2)
    return brow + socket + inner_corner + _mouth_relief(x, y)


_UPPER_BORDER = table([0, 2.5, 5.5, 10, 18, 26], [-61.6, -61.0, -60.0, -61.4, -65.8, -69.6], 1.2)
_MOUTH_LINE = table([0, 4, 9, 16, 26], [-70.0, -69.7, -69.0, -69.5, -70.4], 2.0)
_LOWER_BORDER = table([0, 8, 15, 21, 26], [-80.4, -79.7, -77.0, -73.8, -71.0], 2.0)


def _mouth_relief(x, y):
    """Lips, the line between them, the groove above them and the corners of the mouth."""
    taper = np.clip(1.0 - (x / (MOUTH_HALF_WIDTH + 2.5)) ** 2, 0.0, None)
    upper, line, lower = _UPPER_BORDER(x), _MOUTH_LINE(x), _LOWER_BORDER(x)
    upper_lip = 4.4 * taper**1.3 * ridge(y - (0.42 * upper + 0.58 * line), 0.52 * (upper - line) + 1.4)
    lower_lip = 5.4 * taper**1.3 * ridge(y - (0.52 * lower + 0.48 * line), 0.46 * (line - lower) + 1.2)
    border = 0.45 * taper * ridge(y - upper - 0.3, 1.7)
    parting = -2.3 * ridge(y - line, 1.9) * np.exp(-((x / MOUTH_HALF_WIDTH) ** 10))
    corner = -1.3 * np.exp(-(((x - 27.5) / 6.0) ** 2) - ((y + 70.5) / 6.0) ** 2)
    philtrum = (-0.9 * ridge(x, 3.6) + 0.4 * ridge(x - 6.0, 3.0)) * ridge(y + 55.5, 6.0)
    chin_fold = -2.6 * ridge(y + 86.0, 5.0) * np.exp(-((x / 17.0) ** 4))
    return chin_fold + upper_lip + lower_lip + border + parting + corner + philtrum


def _soft_forms(points):
    """Bumps and hollows of flesh and bone that have no edge of their own."""
    return (
        swelling(points, (0, -101, 92), (14, 11, 16), 3.2)
        + swelling(points, (0, -67, 96), (26, 20, 22), 1.6)
        + swelling(points, (50, -52, 50), (14, 16, 20), -1.0)
        + swelling(points, (64, 22, 44), (14, 18, 22), -3.0)
        + swelling(points, (34, -28, 80), (14, 12, 14), 2.2)
        + swelling(points, (25, -52, 88), (5, 10, 12), -1.4)
        + swelling(points, (24, 48, 84), (20, 16, 20), 1.2)
        + swelling(points, (20, -84, 86), (9, 7, 12), -1.2)
    )


def _cheekbone(points):
    body = ellipsoid(points, (45, -20, 54), (17, 12, 19))
    arch = rounded_cone(points, (53, -17, 44), (61.0, -13, 10), 8.0, 5.0)
    return smooth_union(body, arch, 16.0)


_NECK_WIDTH = table([-20, -60, -100, -140, -175, -205, -240], [46, 51, 53, 55, 58, 64, 72])
_NECK_FRONT = table([-20, -60, -100, -125, -150, -180, -205, -240], [10, 20, 31, 36, 38, 34, 30, 26])
_NECK_BACK = table([-20, -60, -100, -140, -175, -205, -240], [-80, -78, -78, -81, -88, -98, -110])


def _neck(points):
    y = points[1]
    column = loft(points, -24.0, _NECK_WIDTH(y), _NECK_FRONT(y), _NECK_BACK(y), 2.1, 2.3)
    column = smooth_intersection(column, y + 12.0, 10.0)
    return column - swelling(points, (0, -143, 38), (9, 12, 12), 3.0)


def _neck_muscle(points):
    """The muscle from the bone behind the ear to the pit of the neck."""
    bone = ellipsoid(points, (52, -36, -12), (11, 15, 15))
    return smooth_union(bone, rounded_cone(points, (46, -44, -22), (12, -200, 24), 11.0, 8.0), 12.0)


def _with_eye(points, head):
    """A ball under closed lids, the lid line and the fold of the upper lid cut into it."""
    x, y, z = points
    ball = ellipsoid(points, EYE, (EYELID_RADIUS + 2.4, EYELID_RADIUS, EYELID_RADIUS))
    cushion = ellipsoid(points, (31.0, 4.5, 63.5), (19.5, 12.0, 13.5))
    head = smooth_union(head, smooth_union(ball, cushion, 3.0), 7.0)
    across = (x - EYE[0]) / 15.5
    within = np.exp(-((np.abs(across) / 1.08) ** 5)) * np.clip((z - 40.0) / 10.0, 0.0, 1.0)
    lid_line = -1.5 - 5.5 * np.clip(1.0 - across**2, -0.6, None) + 1.2 * across
    fold_line = 4.0 + 6.5 * np.clip(1.0 - 0.8 * across**2, -0.6, None) + 0.3 * across
    # The upper lid lies over the lower one as a step, with a thin shadow line under its rim.
    step = 0.45 * np.tanh((y - lid_line) / 1.3) * ridge(y - lid_line, 6.0)
    line = -0.7 * ridge(y - lid_line + 0.6, 1.5)
    fold = -0.9 * ridge(y - fold_line, 2.4)
    return head - (step + line + fold) * within


def _with_nose(points, head):
    bridge = rounded_cone(points, (0, 10, 83.0), (0, -30, 108.0), 5.5, 7.0)
    flank = rounded_cone(points, (0, 6, 76), (0, -34, 94.5), 9.0, 15.0)
    bridge = smooth_union(bridge, flank, 18.0)
    tip = ellipsoid(points, (0, -37.6, 111.0), (9.2, 9.0, 9.6))
    wing = ellipsoid(points, (11.0, -41.5, 100.5), (6.2, 7.4, 10.0))
    column = rounded_cone(points, (0, -43.0, 111.0), (0, -46.5, 93), 3.4, 4.6)
    nose = smooth_union(smooth_union(bridge, tip, 12.0), wing, 8.0)
    nose = smooth_union(nose, column, 5.0)
    head = smooth_union(head, nose, 12.0)
    nostril = ellipsoid(points, (6.4, -49.8, 105.0), (2.7, 4.4, 4.2))
    return smooth_cut(head, nostril, 3.5)
