"""From light to picture: white balance, exposure, colours that the screen can show, and the sRGB code values."""

from __future__ import annotations

import numpy as np

from projector.jit import kernel
from projector.photometry.colour import SRGB_LUMINANCE, encode_srgb

# The code value of each linear value in steps of 1/65535: near black a step is a twentieth of a code.
CODE_OF = np.round(encode_srgb(np.arange(65536) / 65535.0) * 255.0).astype(np.uint8)


@kernel
def develop_rows(xyz, matrix, luminance, codes, start, stop, out):
    """Pixels start … stop of xyz (n, 3) float32, exposed and balanced by matrix (3, 3), to sRGB bytes out (n, 3) uint8.

    A colour outside sRGB keeps its luminance and gives up just the saturation that the screen cannot show; what is
    brighter than white is clipped, as a sensor would. codes: CODE_OF; luminance (3,): weights of linear red, green,
    blue.
    """
    for i in range(start, stop):
        red = matrix[0, 0] * xyz[i, 0] + matrix[0, 1] * xyz[i, 1] + matrix[0, 2] * xyz[i, 2]
        green = matrix[1, 0] * xyz[i, 0] + matrix[1, 1] * xyz[i, 1] + matrix[1, 2] * xyz[i, 2]
        blue = matrix[2, 0] * xyz[i, 0] + matrix[2, 1] * xyz[i, 1] + matrix[2, 2] * xyz[i, 2]
        lowest = min(red, green, blue)
        if lowest < 0.0:
            grey = luminance[0] * red + luminance[1] * green + luminance[2] * blue
            share = grey / (grey - lowest) if grey > 0.0 else 0.0
            grey = max(grey, 0.0)
            red = grey + share * (red - grey)
            green = grey + share * (green - grey)
            blue = grey + share * (blue - grey)
        out[i, 0] = codes[int(min(max(red, 0.0), 1.0) * 65535.0 + 0.5)]
        out[i, 1] = codes[int(min(max(green, 0.0), 1.0) * 65535.0 + 0.5)]
        out[i, 2] = codes[int(min(max(blue, 0.0), 1.0) * 65535.0 + 0.5)]


def develop(xyz: np.ndarray, matrix: np.ndarray, workers=None) -> np.ndarray:
    """xyz (h, w, 3) float32 through matrix (3, 3) float64 to sRGB bytes (h, w, 3) uint8."""
    flat = np.ascontiguousarray(xyz).reshape(-1, 3)
    out = np.empty(flat.shape, np.uint8)

    def work(start, stop):
        develop_rows(flat, matrix, SRGB_LUMINANCE, CODE_OF, start, stop, out)

    if workers is None:
        work(0, len(flat))
    else:
        workers.run_pieces(len(flat), work, piece=65536)
    return out.reshape(xyz.shape)
