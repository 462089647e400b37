"""How a picture's tones spread over its code values, which of them are clipped or blocked, and where."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from projector.photometry.colour import decode_srgb
from projector.photometry.exposure import stops_between
from projector.rendering.preview import Picture
from projector.shown import Drawn

CHANNELS = ("red", "green", "blue")
# A grey card: what renders at code 118 in light that the camera is set for (IEC 61966-2-1).
GREY_CARD = 0.18
WHITE_CODE = 255
# All three channels at this code or less are taken for black: a tenth of a per cent of white, ten stops under it (our
# own rule).
BLOCKED_CODE = 3
# The smallest linear value that is written as white: a channel that has it is clipped.
CLIPPED_FROM = float(decode_srgb((WHITE_CODE - 0.5) / 255.0))


@dataclass(frozen=True, repr=False)
class Histogram(Drawn):
    """How many pixels of a picture have which code value.

    counts (3, 256): of red, green and blue; stops_over_grey (256,): of each code against a grey card (18 %) in light
    that the camera is set for, −inf for 0; clipped_share: of the picture, by channel; blocked_share: with all three
    channels at code 3 or less; title: of the scene.
    """

    counts: np.ndarray
    stops_over_grey: np.ndarray
    n_pixels: int
    clipped_share: dict[str, float]
    blocked_share: float
    title: str

    def _line(self) -> str:
        clipped = ", ".join(f"{name} {100.0 * share:.2g} %" for name, share in self.clipped_share.items())
        return f"{self.n_pixels} pixels; clipped: {clipped}; black: {100.0 * self.blocked_share:.2g} %"


@dataclass(frozen=True, repr=False)
class MarkedPicture(Drawn):
    """Where a picture is clipped and where it is blocked.

    pixels (h, w, 3) uint8: the picture; clipped (h, w, 3) bool: by channel, None where nobody asked; blocked (h, w)
    bool: the same; title: of the scene.
    """

    pixels: np.ndarray
    clipped: np.ndarray | None
    blocked: np.ndarray | None
    title: str

    def _line(self) -> str:
        height, width = self.pixels.shape[:2]
        clipped = [] if self.clipped is None else [f"{100.0 * self.clipped.any(axis=2).mean():.2g} % clipped"]
        blocked = [] if self.blocked is None else [f"{100.0 * self.blocked.mean():.2g} % black"]
        return ", ".join([f"{width} × {height} pixels", *clipped, *blocked])


def histogram(picture: Picture) -> Histogram:
    """The histogram of a picture, over all of its pixels.

    >>> import projector
    >>> histogram(projector.preview("01-square-wall", only="window", width=96, height=72, quality="quick"))
    <Histogram: 6912 pixels; clipped: red 0 %, green 0 %, blue 0 %; black: 82 %>
    """
    pixels = picture.pixels
    counts = np.stack([np.bincount(pixels[..., channel].ravel(), minlength=256) for channel in range(3)])
    n_pixels = pixels.shape[0] * pixels.shape[1]
    clipped = dict(zip(CHANNELS, (float(count) / n_pixels for count in counts[:, WHITE_CODE]), strict=True))
    return Histogram(
        counts=counts,
        stops_over_grey=stops_between(decode_srgb(np.arange(256) / 255.0), GREY_CARD),
        n_pixels=n_pixels,
        clipped_share=clipped,
        blocked_share=float(is_blocked(pixels).mean()),
        title=title_of(picture),
    )


def marked(picture: Picture, clipped: bool = True, blocked: bool = True) -> MarkedPicture:
    """Where a picture is clipped, channel by channel, and where it is blocked; a large one thinned out.

    >>> import projector
    >>> marked(projector.preview("01-square-wall", only="window", width=96, height=72, quality="quick"))
    <MarkedPicture: 96 × 72 pixels, 0 % clipped, 82 % black>
    """
    pixels = picture.pixels[:: picture.light.step, :: picture.light.step]
    return MarkedPicture(
        pixels=pixels,
        clipped=is_clipped(pixels) if clipped else None,
        blocked=is_blocked(pixels) if blocked else None,
        title=title_of(picture),
    )


def is_clipped(pixels: np.ndarray) -> np.ndarray:
    """Which channels of pixels (..., 3) uint8 are white: something brighter would look the same."""
    return np.equal(pixels, WHITE_CODE)


def is_blocked(pixels: np.ndarray) -> np.ndarray:
    """Which pixels (..., 3) uint8 are black in all channels: (...)."""
    return np.all(pixels <= BLOCKED_CODE, axis=-1)


def title_of(picture: Picture) -> str:
    """What a figure of a picture is headed by: the scene, and which of its lights are on if not all."""
    light = picture.light
    title = light.scene.title or light.scene.name
    return title if light.only is None else f"{title} (only {', '.join(sorted(light.only))})"
