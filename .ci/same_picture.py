"""Whether two pictures are the same to the last rounding of each colour: same_picture.py ONE.png OTHER.png."""

from __future__ import annotations

import sys

import numpy as np
from PIL import Image

one, other = (np.asarray(Image.open(path).convert("RGB"), int) for path in sys.argv[1:])
largest = int(np.abs(one - other).max()) if one.shape == other.shape else None
print(f"largest difference of a colour: {largest} of 255")
sys.exit(largest is None or largest > 1 or not one.any())
