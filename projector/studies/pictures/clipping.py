"""Whether a channel clips in a large part of the pattern, and what would bring it back.

The picture's own arithmetic again, at another exposure or white balance: what is asked is how bright the pattern's
brightest places are, channel by channel, after colours outside sRGB are moved as the picture moves them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from projector.photometry import filters
from projector.photometry.colour import (
    SRGB_LUMINANCE,
    desaturate_out_of_gamut,
    linear_srgb_under_white,
    white_balance_xyz,
    xy_from_xyz,
    xyz_from_spectrum,
)
from projector.photometry.exposure import stops_between
from projector.photometry.spectra import white_xy
from projector.rendering.preview import Picture
from projector.shown import Shown
from projector.stage.stage import Stage
from projector.studies.pictures.tones import CHANNELS, CLIPPED_FROM

# From this share of a pattern on, clipping is worth a word.
LARGE_PART = 0.10
# A pixel belongs to the pattern that gets at most so many stops less of its light than its brightest hundredth.
_STOPS_OF_PATTERN = 3.0
# What is brought back leaves this share of the pattern clipped: the speck on an eye stays.
_LEFT_CLIPPED = 0.01
# Another white balance is worth a word that gains so much (stops); a lamp farther off the whites (in x, y) has none.
_LEAST_GAIN_STOPS, _NEAR_WHITE = 0.15, 0.02
_WHITES_MIRED = (67.0, 588.0)
_MOST_PIXELS = 50_000


@dataclass(frozen=True, repr=False)
class Clipping(Shown):
    """What of a pattern clips in a picture.

    shares: of the pattern's pixels, by channel; channel: the one that clips most; stops_less: how much less light
    leaves no more than a hundredth of the pattern clipped; neutral_density: of a filter that takes so much;
    pattern_share: of the pattern's own in the light of the places that clip. The rest None unless the lamp's colour is
    what makes one channel clip: white_balance_k, what a camera set to the lamp would have, white_balance_stops, how
    much of stops_less that gains by itself; mired_shift, of a filter before the lamp that does the same and takes
    filter_stops of light besides.
    """

    in_one_line = "{channel} most; {stops_less:.1f} stops less light bring it back"

    shares: dict[str, float]
    channel: str
    stops_less: float
    neutral_density: float
    pattern_share: float
    white_balance_k: float | None = None
    white_balance_stops: float | None = None
    mired_shift: float | None = None
    filter_stops: float | None = None

    @property
    def is_large(self) -> bool:
        """Whether a large part of the pattern clips."""
        return self.shares[self.channel] >= LARGE_PART


def clipping(picture: Picture) -> Clipping | None:
    """What of the patterns in a picture clips; None where nothing does, or no projector shines.

    >>> import projector
    >>> clipping(projector.preview("01-square-wall", "camera.iso=1600", width=96, height=72, quality="quick"))
    <Clipping: blue most; 1.6 stops less light bring it back>
    """
    found = _light_of_pattern(picture)
    if found is None:
        return None
    linear, own = found
    over = _over_white(linear)
    clips = desaturate_out_of_gamut(linear) >= CLIPPED_FROM
    shares = clips.mean(axis=0)
    most = int(np.lexsort((over, shares))[-1])
    if shares[most] <= 0.0:
        return None
    stops_less = max(float(over.max()), 0.0)
    cure = _white_balance(picture, linear, float(over.max())) if stops_less > 0.0 else None
    return Clipping(
        shares=dict(zip(CHANNELS, map(float, shares), strict=True)),
        channel=CHANNELS[most],
        stops_less=stops_less,
        neutral_density=filters.density_from_stops(stops_less),
        pattern_share=float(own[clips.any(axis=1)].mean()),
        **(cure or {}),
    )


def _light_of_pattern(picture: Picture) -> tuple[np.ndarray, np.ndarray] | None:
    """Linear sRGB (n, 3) of pixels on which the patterns land, and the patterns' own share (n,) of their luminance.

    None where there are none.
    """
    pattern = picture.light.pattern.astype(np.float32)
    if not pattern.max() > 0.0:
        return None
    brightest = np.percentile(pattern[pattern > 0.0], 99.0)
    rows = np.flatnonzero(pattern.ravel() >= brightest * 2.0**-_STOPS_OF_PATTERN)
    rows = rows[:: -(-rows.size // _MOST_PIXELS)]
    linear = picture.light.linear.reshape(-1, 3)[rows].astype(float)
    return linear, np.minimum(pattern.ravel()[rows] / np.maximum(linear @ SRGB_LUMINANCE, 1e-9), 1.0)


def _over_white(linear: np.ndarray) -> np.ndarray:
    """Stops (3,) by which the brightest places of each channel lie over what is written as white."""
    return stops_between(np.quantile(desaturate_out_of_gamut(linear), 1.0 - _LEFT_CLIPPED, axis=0), CLIPPED_FROM)


def _white_balance(picture: Picture, linear: np.ndarray, over: float) -> dict | None:
    """The best white balance of those that call a lamp of the scene white, what it gains, and the filter that does the
    same; None where none gains anything.
    """
    stage, now_k = Stage(picture.light.scene, only=picture.light.only), picture.light.scene.camera.white_balance_k
    best = None
    for staged in stage.projectors:
        lamp_k = _called_white(xy_from_xyz(xyz_from_spectrum(staged.power.spectrum)))
        if lamp_k is None:
            continue
        change = _balanced(lamp_k) @ np.linalg.inv(_balanced(now_k))
        gain = over - float(_over_white(linear @ change.T).max())
        if gain >= _LEAST_GAIN_STOPS and (best is None or gain > best["white_balance_stops"]):
            best = {"white_balance_k": lamp_k, "white_balance_stops": gain, **_filter(staged, lamp_k, now_k)}
    return best


def _called_white(xy: np.ndarray) -> float | None:
    """The white balance (K, in steps of 10) whose white lies nearest to a chromaticity (2,); None where it is none."""
    from scipy.optimize import minimize_scalar

    def away(mired: float) -> float:
        return float(np.linalg.norm(white_xy(1e6 / mired) - xy))

    found = minimize_scalar(away, bounds=_WHITES_MIRED, method="bounded")
    return 10.0 * round(1e5 / found.x) if found.fun <= _NEAR_WHITE else None


def _balanced(white_balance_k: float) -> np.ndarray:
    return linear_srgb_under_white(white_balance_xyz(white_balance_k))


def _filter(staged, lamp_k: float, wanted_k: float) -> dict:
    """The temperature filter that gives a lamp the colour that the camera calls white; nothing where none is so
    strong.
    """
    shift = round(filters.mired_shift(lamp_k, wanted_k))
    least, most = filters.MIRED_SHIFTS
    if not least <= shift <= most:
        return {}
    costs = filters.stops_lost(staged.power.spectrum, filters.temperature_shift(shift))
    return {"mired_shift": float(shift), "filter_stops": costs}
