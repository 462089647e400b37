"""The head of the figure without its ears: skull, face, eyes, nose, mouth, jaw and neck as one field in millimetres.

Proportions follow the canon of drawing schools (eyes at half of the head's height, ear from brow to the base of the
nose, mouth a third of the way down to the chin, one eye's width between the eyes) and the sizes of the U.S. Army
survey of 2012 (Gordon et al., NATICK/TR-15/007), between its men and its women.
"""

from __future__ import annotations

import numpy as np

from projector.scene.figure_fields import (
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
    """Field of head and neck at points (x, y, z), three arrays of one shape (mm). The neck goes on below the shoulders."""
    x, y, z = points
    # A soft |x| keeps the middle of the face free of a crease.
    points = (np.sqrt(x * x + 2.0), y, z)
    head = smooth_union(_skull(points), _face_mass(points), 16.0)
    head = head - _soft_forms(points)
    head = smooth_union(head, _cheekbone(points), 22.0)
    head = smooth_union(head, _neck(points), 14.0)
    head = smooth_union(head, _neck_muscle(points), 16.0)
    head = _with_eye(points, head)
    head = _with_nose(points, head)
    return head


def _skull(points):
    return lopsided_ellipsoid(points, (0.0, 30.0, -12.0), (74.5, 84.0, 85.5), (74.5, 81.0, 105.5), 2.25)


# The midline without the nose: height against the foremost z.
_PROFILE = table(
    [70, 55, 40, 30, 20, 10, 2, -10, -25, -40, -47, -55, -62, -70, -78, -86, -92, -99, -106, -114, -125],
    [68, 82, 91.5, 95, 96.5, 94, 91.5, 92, 95, 99, 101, 101.5, 102, 100.5, 99, 95.0, 95.0, 96.5, 95.5, 91, 80],
)
_HALF_WIDTH = table(
    [70, 40, 20, 0, -15, -30, -50, -70, -85, -100, -114, -125],
    [60, 66, 67.5, 68.0, 68.5, 66, 61, 56, 51, 44, 36, 30],
)
_ROUNDNESS = table([60, 20, 0, -20, -45, -65, -85, -100, -120], [2.3, 2.4, 2.35, 2.2, 1.95, 1.85, 1.95, 2.05, 2.1])
# The lower edge of the jaw: depth against height, from the chin back over the angle of the jaw to the ear.
_JAW_EDGE = table([105, 90, 75, 55, 35, 20, 8, -2, -12], [-117, -116.5, -114.5, -107, -98, -91, -80, -62, -45])


def _face_mass(points):
    """Forehead to chin with the mouth's relief; its lower edge is the jaw line."""
    x, y, z = points
    z = z - _relief(x, y)
    mass = loft((x, y, z), 14.0, _HALF_WIDTH(y), _PROFILE(y), -12.0, _ROUNDNESS(y), 2.6)
    mass = smooth_intersection(mass, y - 64.0, 10.0)
    return smooth_intersection(mass, (_JAW_EDGE(z) - y) * 0.9, 16.0)


def _relief(x, y):
    """What is modelled on the front of the face, as a shift of the surface towards +z (mm) at (x, y)."""
    brow_line = 17.0 + 5.0 * np.sin(np.clip((x - 8.0) / 40.0, 0.0, 1.0) * np.pi * 0.62)
    brow = 3.6 * ridge(y - brow_line, 7.5) * np.exp(-(((x - 24.0) / 24.0) ** 4))
    socket = -13.0 * np.exp(-((((x - 32.0) / 18.0) ** 2 + ((y - 1.0) / 11.5) ** 2) ** 1.35))
    inner_corner = -4.5 * np.exp(-(((x - 15.5) / 6.5) ** 2) - ((y - 2.0) / 9.0) ** 2)
    return brow + socket + inner_corner + _mouth_relief(x, y)


_UPPER_BORDER = table([0, 2.5, 5.5, 10, 18, 26], [-62.6, -62.0, -61.0, -62.2, -66.0, -69.8])
_MOUTH_LINE = table([0, 4, 9, 16, 26], [-69.8, -69.4, -68.9, -69.4, -70.4])
_LOWER_BORDER = table([0, 8, 15, 21, 26], [-79.6, -79.0, -76.5, -73.4, -70.8])


def _mouth_relief(x, y):
    """Lips, the line between them, the groove above them and the corners of the mouth."""
    taper = np.clip(1.0 - (x / (MOUTH_HALF_WIDTH + 1.5)) ** 2, 0.0, None)
    upper, line, lower = _UPPER_BORDER(x), _MOUTH_LINE(x), _LOWER_BORDER(x)
    upper_lip = 3.9 * taper**0.8 * ridge(y - (0.36 * upper + 0.64 * line), 0.50 * (upper - line) + 1.4)
    lower_lip = 4.6 * taper**0.8 * ridge(y - (0.52 * lower + 0.48 * line), 0.46 * (line - lower) + 1.2)
    border = 0.9 * taper * ridge(y - upper - 0.3, 1.3)
    parting = -3.4 * ridge(y - line, 1.5) * np.clip(1.0 - (x / (MOUTH_HALF_WIDTH + 3.0)) ** 6, 0.0, None)
    corner = -2.0 * np.exp(-(((x - 27.5) / 5.0) ** 2) - ((y + 70.5) / 5.0) ** 2)
    philtrum = (-1.7 * ridge(x, 3.2) + 0.8 * ridge(x - 5.6, 2.6)) * ridge(y + 55.5, 6.5)
    return upper_lip + lower_lip + border + parting + corner + philtrum


def _soft_forms(points):
    """Bumps and hollows of flesh and bone that have no edge of their own."""
    return (
        swelling(points, (0, -101, 92), (15, 10, 16), 2.2)
        + swelling(points, (0, -67, 96), (26, 20, 22), 2.0)
        + swelling(points, (50, -52, 50), (14, 16, 20), -3.6)
        + swelling(points, (64, 22, 44), (14, 18, 22), -3.0)
        + swelling(points, (34, -28, 80), (14, 12, 14), 2.2)
        + swelling(points, (25, -52, 88), (5, 10, 12), -1.4)
        + swelling(points, (24, 48, 84), (20, 16, 20), 1.2)
        + swelling(points, (20, -84, 86), (9, 7, 12), -1.2)
    )


def _cheekbone(points):
    body = ellipsoid(points, (46, -20, 54), (17, 11, 19))
    arch = rounded_cone(points, (56, -17, 44), (64, -13, 12), 8.0, 5.5)
    return smooth_union(body, arch, 14.0)


_NECK_WIDTH = table([-20, -60, -100, -140, -175, -205, -240], [46, 51, 53, 55, 58, 64, 72])
_NECK_FRONT = table([-20, -60, -100, -125, -150, -180, -205, -240], [10, 20, 31, 36, 38, 34, 30, 26])
_NECK_BACK = table([-20, -60, -100, -140, -175, -205, -240], [-80, -78, -78, -81, -88, -98, -110])


def _neck(points):
    y = points[1]
    column = loft(points, -24.0, _NECK_WIDTH(y), _NECK_FRONT(y), _NECK_BACK(y), 2.1, 2.3)
    column = smooth_intersection(column, y + 12.0, 10.0)
    return column - swelling(points, (0, -143, 38), (9, 12, 12), 3.0)


def _neck_muscle(points):
    """The muscle from behind the ear to the pit of the neck."""
    return rounded_cone(points, (54, -48, -24), (12, -200, 24), 10.0, 8.0)


def _with_eye(points, head):
    """A ball under closed lids, the lid line and the fold of the upper lid cut into it."""
    x, y, z = points
    ball = ellipsoid(points, EYE, (EYELID_RADIUS + 1.4, EYELID_RADIUS, EYELID_RADIUS))
    head = smooth_union(head, ball, 7.0)
    across = (x - EYE[0]) / 15.5
    within = np.exp(-(across**6)) * (z > 40.0)
    lid_line = -1.5 - 5.0 * np.clip(1.0 - across**2, -0.4, None) + 1.0 * across
    fold_line = 1.5 + 7.0 * np.clip(1.0 - 0.75 * across**2, -0.4, None) + 0.6 * across
    lashes = -1.2 * ridge(y - lid_line, 1.3) + 0.5 * ridge(y - lid_line - 2.4, 1.6)
    fold = -1.3 * ridge(y - fold_line, 1.7)
    return head - (lashes + fold) * within


def _with_nose(points, head):
    x, y, z = points
    bridge = rounded_cone(points, (0, 8, 84.5), (0, -30, 104.5), 7.5, 8.5)
    bridge = smooth_union(bridge, rounded_cone(points, (0, -8, 80), (0, -34, 92), 9.0, 15.5), 10.0)
    tip = ellipsoid(points, (0, -37.0, 111.5), (9.5, 8.2, 9.5))
    wing = ellipsoid(points, (11.5, -40.5, 101.0), (6.6, 7.4, 10.0))
    column = rounded_cone(points, (0, -43.5, 111.0), (0, -47, 98), 3.6, 4.6)
    nose = smooth_union(smooth_union(bridge, tip, 9.0), wing, 5.0)
    nose = smooth_union(nose, column, 4.5)
    head = smooth_union(head, nose, 8.0)
    nostril = ellipsoid(points, (6.6, -48.5, 103.5), (3.2, 5.0, 5.6))
    return smooth_cut(head, nostril, 3.0)
