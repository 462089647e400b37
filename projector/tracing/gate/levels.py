"""A level of the blurred stack as look-ups read it: written by `blur_stack`, read by `patch_lanes`."""

from __future__ import annotations

import numpy as np

# A level as `choose_patches` reads it, one vector: place, last row, patch diameter, what a texel's unit stands for,
# width and offset in the block of texels.
LEVEL = np.dtype(
    [
        ("left", "f4"),
        ("top", "f4"),
        ("inverse_pitch", "f4"),
        ("last_row", "f4"),
        ("diameter", "f4"),
        ("unit", "f4"),
        ("width", "i4"),
        ("offset", "u4"),
    ]
)
