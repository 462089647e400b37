"""The figure's left ear as a field in millimetres: rim, inner fold, bowl, flap and lobe."""

from __future__ import annotations

import numpy as np

from projector.figures.field.fields import ellipsoid, smooth_cut, smooth_union, tube

# Where the ear is rooted (just behind its flap) and how it stands: leaning back, its rear edge off the head.
ROOT = np.array([66.5, -15.0, -8.0])
_LEAN, _FLARE, _DROOP = np.radians(12.0), np.radians(28.0), np.radians(4.0)


def _axes():
    """Rows: towards the rear edge, towards the top, outwards, of the ear's own frame in the head's."""
    rear = np.array([np.sin(_FLARE), 0.0, -np.cos(_FLARE)])
    outwards = np.array([np.cos(_FLARE), 0.0, np.sin(_FLARE)])
    up = np.array([0.0, 1.0, 0.0])
    leaning_up = np.cos(_LEAN) * up + np.sin(_LEAN) * rear
    leaning_rear = np.cos(_LEAN) * rear - np.sin(_LEAN) * up
    tilted_up = np.cos(_DROOP) * leaning_up + np.sin(_DROOP) * outwards
    tilted_out = np.cos(_DROOP) * outwards - np.sin(_DROOP) * leaning_up
    return np.array([leaning_rear, tilted_up, tilted_out])


# The rim from its root in the bowl over the top and down the rear edge to the lobe: (rear, up, out), thickness.
_RIM = [
    (-1, 2, 2),
    (-8, 8, 3.2),
    (-8.5, 18, 4.2),
    (-3, 27, 4.6),
    (7, 31, 4.6),
    (18, 27, 4.4),
    (23.5, 16, 4.2),
    (23, 3, 3.8),
    (18.5, -9, 3.0),
    (12.5, -19, 2.2),
]
_RIM_RADIUS = [1.6, 2.2, 2.5, 2.7, 2.8, 2.9, 2.8, 2.5, 2.4, 2.2]
_FOLD = [(-1, 21, 3), (7, 19, 5), (12.5, 11, 6), (13, 1, 6.5), (10, -8, 6), (5, -13, 5.5)]
_FOLD_RADIUS = [1.8, 2.4, 2.8, 2.8, 2.7, 2.4]


def ear_field(points):
    """Field of the left ear at points (x, y, z), three arrays of one shape (mm); to be joined to the head."""
    axes = _axes()
    offset = [points[i] - ROOT[i] for i in range(3)]
    ear = tuple(sum(axis[i] * offset[i] for i in range(3)) for axis in axes)
    plate = ellipsoid(ear, (7.0, 4.0, 1.4), (17.5, 27.0, 4.2))
    lobe = ellipsoid(ear, (3.0, -21.5, 2.0), (9.5, 10.5, 3.0))
    shell = smooth_union(plate, lobe, 8.0)
    shell = smooth_union(shell, tube(ear, _RIM, _RIM_RADIUS), 4.5)
    shell = smooth_union(shell, tube(ear, _FOLD, _FOLD_RADIUS), 5.0)
    root = ellipsoid(ear, (4.5, 2.0, -7.5), (11.5, 21.0, 9.5))
    shell = smooth_union(shell, root, 8.0)
    bowl = ellipsoid(ear, (1.5, -2.0, 6.5), (8.5, 11.5, 8.5))
    shell = smooth_cut(shell, bowl, 2.5)
    flap = ellipsoid(ear, (-8.5, -2.5, 3.5), (4.0, 6.0, 3.6))
    counter_flap = ellipsoid(ear, (4.0, -14.5, 4.5), (4.5, 3.2, 3.2))
    return smooth_union(smooth_union(shell, flap, 4.0), counter_flap, 5.0)
