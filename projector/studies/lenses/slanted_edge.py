"""An edge in a photograph, read the slanted-edge way: its rise far finer than the pixels, channel by channel.

A straight edge that runs at a few degrees to the pixel rows crosses each pixel at another place, so that all rows
together sample its rise many times a pixel. Source of the method: ISO 12233 (edge-based spatial frequency response);
P. D. Burns, "Slanted-edge MTF for digital camera and scanner analysis", Proc. IS&T PICS 2000. Here the edge's place in
a row is the area under the rise instead of the centroid of its derivative: the same place, with less noise.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from projector.faults import Fault, SceneError
from projector.files.bitmap_file import checked_box
from projector.shown import Shown

BINS_PER_PIXEL = 4
CHANNELS = ("red", "green", "blue")
# Bands of rows that the readings are repeated without, one at a time, to learn how sure they are.
N_BANDS = 8
FEWEST_PIXELS = 40
# Rows have to cross this many pixel columns, or the rise is sampled at too few places within a pixel (ISO 12233 asks
# for whole phases).
FEWEST_COLUMNS_CROSSED = 3.0
STEEPEST_DEG = 30.0
# Bright ends over this coded value are taken as clipped: highlights roll off before 1.
CLIPPED_FROM = 0.985
# Codes up to this are black: none but 0 of 8 bits.
BLACK_TO = 1e-4
# Where this share of the pixels lies at black or white, the profile is no longer the light's.
CUT_FROM_SHARE = 0.3
LEAST_CONTRAST, LEAST_SIGNAL_TO_NOISE = 0.05, 4.0
# The rise has to leave this share of the width for its two ends.
LARGEST_RISE = 0.6
_PLATEAU = 0.12
_ROWS_AT_ONCE_PIXELS = 1 << 20


@dataclass(frozen=True, repr=False)
class EdgeReading(Shown):
    """The edge of one photograph; lengths in mm on the wall, across the edge, dark side negative.

    angle_deg: between edge and pixel columns (rows, for a lying edge); positions_mm (n,); profiles (n, 3): light of
        each channel with dark 0 and bright 1; floor, ceiling (3,): where black and white lie on that scale, beyond
        which a photograph holds nothing; noise (3,): standard error of a profile's value; bands (N_BANDS, n, 3):
        profiles without one band of rows each; widths_mm (3,): 10–90 %; shift_red_mm, shift_blue_mm: where they rise
        against green;
    fringe_area_mm: area between the highest and lowest channel, in mm of full light; axis_mm: where the lens's axis
    meets the line across the edge, or None; pixel_mm, bin_mm: what one pixel and one value of the profile span;
    is_grey: whether all three channels are one and the same; cut: what of the edge the file could not hold.
    """

    angle_deg: float
    positions_mm: np.ndarray
    profiles: np.ndarray
    floor: np.ndarray
    ceiling: np.ndarray
    noise: np.ndarray
    bands: np.ndarray
    widths_mm: tuple[float, float, float]
    shift_red_mm: float
    shift_blue_mm: float
    fringe_area_mm: float
    axis_mm: float | None
    pixel_mm: float
    bin_mm: float
    is_grey: bool
    cut: Cut

    def _line(self) -> str:
        red, green, blue = self.widths_mm
        return f"{self.angle_deg:.1f}°, 10–90 % in {red:.3f}, {green:.3f}, {blue:.3f} mm (red, green, blue)"


@dataclass(frozen=True)
class Cut:
    """Channels whose dark side is at black throughout, and those that beside the edge go beyond black, and beyond
    white.
    """

    dark_side: tuple[str, ...] = ()
    below_black: tuple[str, ...] = ()
    above_white: tuple[str, ...] = ()


def edge_reading(
    coded: np.ndarray, decode, mm_per_pixel: float, box=None, axis=None, name: str = "photograph"
) -> EdgeReading:
    """Read the edge in a photograph (h, w, 3), coded 0..1; decode takes coded to linear light.

    box: (left, top, width, height) in pixels, all of it if None. axis: (x, y) in pixels of the whole photograph where
    the lens's axis meets the wall. SceneError with every reason why the edge cannot be read.
    """
    left, top, part = _cut_out(coded, box, name)
    turned = _edge_lies(part)
    coded_upright = np.swapaxes(part, 0, 1) if turned else part
    faults = _clipping(coded_upright, name)
    upright = _decoded(coded_upright, decode)
    line = _EdgeLine.through(upright, name, faults)
    if faults or line is None:
        raise SceneError(faults)
    sums, counts, first_bin = line.binned(upright)
    bands, full = _profiles(sums, counts)
    bins = first_bin + np.arange(full.shape[0])
    kept = np.isfinite(full).all(axis=1) & np.isfinite(bands).all(axis=(0, 2))
    bin_mm = mm_per_pixel / BINS_PER_PIXEL
    positions, full, bands = (bins[kept] + 0.5) * bin_mm, full[kept], bands[:, kept]
    low, high = _ends(full)
    noise = line.noise / np.sqrt(np.median(counts.sum(axis=0)[kept])) / (high - low)
    profiles, bands = (
        (full - low) / (high - low),
        np.stack([(band - _ends(band)[0]) / np.ptp(np.stack(_ends(band)), axis=0) for band in bands]),
    )
    red, green, blue = (_rise(positions, profiles[:, channel]) for channel in range(3))
    widths = (red, green, blue)
    _refuse_what_the_profile_shows(positions, profiles, noise, widths, name)
    places = positions[-1] - np.sum(profiles, axis=0) * bin_mm
    smooth = _smoothed(profiles, max(3, round(0.1 * max(widths) / bin_mm)))
    return EdgeReading(
        angle_deg=line.angle_deg,
        positions_mm=positions,
        profiles=profiles,
        floor=-low / (high - low),
        ceiling=(1.0 - low) / (high - low),
        noise=noise,
        bands=bands,
        widths_mm=widths,
        shift_red_mm=float(places[0] - places[1]),
        shift_blue_mm=float(places[2] - places[1]),
        fringe_area_mm=float(np.sum(smooth.max(axis=1) - smooth.min(axis=1)) * bin_mm),
        axis_mm=None if axis is None else line.across(axis[0] - left, axis[1] - top, turned) * mm_per_pixel,
        pixel_mm=mm_per_pixel,
        bin_mm=bin_mm,
        is_grey=all(np.array_equal(part[..., 0], part[..., channel]) for channel in (1, 2)),
        cut=_cut(line, coded_upright, kept),
    )


def _cut_out(coded: np.ndarray, box, name: str):
    """Left, top and pixels of the part that is looked at. SceneError if it is too small or not in the photograph."""
    left, top, across, down = checked_box(box, coded.shape[1], coded.shape[0], name)
    if min(across, down) < FEWEST_PIXELS:
        raise SceneError(
            Fault(
                found=f"{across} × {down} pixels to read an edge from",
                allowed=f"{FEWEST_PIXELS} or more each way",
                try_="a larger box, or a photograph from nearer",
                file=name,
            )
        )
    return left, top, coded[top : top + down, left : left + across]


def _decoded(coded: np.ndarray, decode) -> np.ndarray:
    """Linear light (h, w, 3) float32, some rows at a time: what decoding needs in between never
    stands whole in memory.
    """
    linear = np.empty(coded.shape, np.float32)
    rows = max(1, _ROWS_AT_ONCE_PIXELS // coded.shape[1])
    for top in range(0, coded.shape[0], rows):
        linear[top : top + rows] = decode(coded[top : top + rows])
    return linear


def _clipping(coded: np.ndarray, name: str) -> list[Fault]:
    """A fault if the bright side of a standing edge is clipped."""
    end = _end_length(coded.shape[1])
    bright = max(coded[:, :end], coded[:, -end:], key=lambda side: float(side.mean()))
    clipped = [channel for channel in range(3) if np.mean(bright[..., channel] >= CLIPPED_FROM) > 0.01]
    if not clipped:
        return []
    return [
        Fault(
            found=f"the bright side is clipped in {', '.join(CHANNELS[i] for i in clipped)}",
            allowed=f"every channel under {100.0 * CLIPPED_FROM:.0f} % of full",
            try_="expose a stop less, or develop the raw file darker",
            file=name,
        )
    ]


def _cut(line: _EdgeLine, coded: np.ndarray, kept: np.ndarray) -> Cut:
    """What black and white cut off of a standing edge, along the profile:
    where a good part of the pixels lies at them.
    """

    def shares(there: np.ndarray) -> np.ndarray:
        if not there.any():
            return np.zeros((int(kept.sum()), 3))
        sums, counts, _ = line.binned(there)
        return sums.sum(axis=0)[kept] / counts.sum(axis=0)[kept, None]

    black, white = shares(coded <= BLACK_TO), shares(coded >= CLIPPED_FROM)
    end = _end_length(len(black))
    dark_side = black[:end].mean(axis=0) > CUT_FROM_SHARE
    below, above = (black[end:].max(axis=0) > CUT_FROM_SHARE) & ~dark_side, white[:-end].max(axis=0) > CUT_FROM_SHARE
    return Cut(
        *(tuple(name for name, cut in zip(CHANNELS, which, strict=True) if cut) for which in (dark_side, below, above))
    )


def _end_length(whole: int) -> int:
    """How much of a side counts as its even end."""
    return max(4, round(_PLATEAU * whole))


def _edge_lies(coded: np.ndarray) -> bool:
    """Whether the edge runs along the rows more than along the columns."""
    grey = coded.mean(axis=2)
    across = np.abs(grey[:, -grey.shape[1] // 5 :].mean() - grey[:, : grey.shape[1] // 5].mean())
    down = np.abs(grey[-grey.shape[0] // 5 :].mean() - grey[: grey.shape[0] // 5].mean())
    return bool(across < down)


@dataclass(frozen=True)
class _EdgeLine:
    """A standing edge: column = middle + slope · (row − centre), bright towards `side` (+1: right). noise (3,): of a
    pixel.
    """

    middle: float
    slope: float
    centre: float
    side: float
    noise: np.ndarray

    @property
    def angle_deg(self) -> float:
        return math.degrees(math.atan(self.slope))

    @classmethod
    def through(cls, pixels: np.ndarray, name: str, faults: list[Fault]) -> _EdgeLine | None:
        """Fit the line to the edge's place in every row; None, and faults added, where there is none to be read."""
        height, width = pixels.shape[:2]
        end = _end_length(width)
        grey = pixels.mean(axis=2)
        noise = np.sqrt(np.mean([_noise(pixels[:, :end]), _noise(pixels[:, -end:])], axis=0))
        low, high = grey[:, :end].mean(), grey[:, -end:].mean()
        contrast = abs(high - low) / max(high, low, 1e-12)
        grey_noise = float(np.sqrt(np.mean(noise**2) / 3.0))
        if contrast < LEAST_CONTRAST or abs(high - low) < LEAST_SIGNAL_TO_NOISE * grey_noise / math.sqrt(end):
            faults.append(
                Fault(
                    found=f"no edge: the two sides differ by {100.0 * contrast:.1f} %",
                    allowed="one straight edge, dark on one side and bright on the other",
                    try_="a box round the edge: left, top, width, height",
                    typed="a box round the edge: --box left,top,width,height",
                    file=name,
                )
            )
            return None
        ends = np.stack([pixels[:, :end].mean(axis=(0, 1)), pixels[:, -end:].mean(axis=(0, 1))])
        small = np.abs(ends[1] - ends[0]) <= np.maximum(
            LEAST_CONTRAST * ends.max(axis=0), LEAST_SIGNAL_TO_NOISE * noise / math.sqrt(end)
        )
        if small.any():
            dark = ", ".join(channel for channel, is_small in zip(CHANNELS, small, strict=True) if is_small)
            faults.append(
                Fault(
                    found=f"no edge in {dark}: the two sides hardly differ there",
                    allowed="light in every channel",
                    try_="no coloured filter before the lamp, and the white balance of the lamp",
                    file=name,
                )
            )
            return None
        side = 1.0 if high > low else -1.0
        share = np.clip((grey - low) / (high - low), -0.5, 1.5)
        places, rows = width - share.sum(axis=1, dtype=float), np.arange(height, dtype=float)
        centre = 0.5 * (height - 1)
        kept = np.ones(height, bool)
        for _ in range(3):
            slope, middle = np.polyfit(rows[kept] - centre, places[kept], 1)
            off = places - middle - slope * (rows - centre)
            kept = np.abs(off) <= 3.0 * max(1.4826 * float(np.median(np.abs(off))), 1e-6)
        line = cls(float(middle) - 0.5, float(slope), centre, side, noise)
        crossed = abs(slope) * height
        if crossed < FEWEST_COLUMNS_CROSSED or abs(line.angle_deg) > STEEPEST_DEG:
            faults.append(
                Fault(
                    found=f"the edge runs at {line.angle_deg:.1f}° to the pixels and crosses {crossed:.1f} of them",
                    allowed=f"slanted by 2 to {STEEPEST_DEG:g}°, across {FEWEST_COLUMNS_CROSSED:g} pixels or more",
                    try_="turn the camera or the stencil by about 5°",
                    file=name,
                )
            )
            return None
        return line

    def across(self, x: float, y: float, turned: bool) -> float:
        """Signed distance (pixels) of a place in the part from the edge, positive on the bright side."""
        column, row = (y, x) if turned else (x, y)
        return self._distance(row - 0.5, column - 0.5)

    def binned(self, pixels: np.ndarray):
        """(sums (bands, n, 3), counts (bands, n), number of the first bin) of pixels sorted by their distance from the
        edge.
        """
        height, width = pixels.shape[:2]
        corners = [self._distance(row, column) for row in (0, height - 1) for column in (0, width - 1)]
        first = math.floor(min(corners) * BINS_PER_PIXEL)
        n_bins = math.floor(max(corners) * BINS_PER_PIXEL) - first + 1
        sums, counts = np.zeros((N_BANDS, n_bins, 3)), np.zeros((N_BANDS, n_bins), int)
        columns = np.arange(width)
        for band in range(N_BANDS):
            rows = np.arange(-(-band * height // N_BANDS), -(-(band + 1) * height // N_BANDS))
            index = np.floor(self._distance(rows[:, None], columns) * BINS_PER_PIXEL).astype(np.int32).ravel() - first
            counts[band] = np.bincount(index, minlength=n_bins)
            for channel in range(3):
                sums[band, :, channel] = np.bincount(index, pixels[rows[0] : rows[-1] + 1, :, channel].ravel(), n_bins)
        return sums, counts, first

    def _distance(self, row, column):
        """Distance of a pixel's middle from the edge, in pixels, positive on the bright side."""
        return self.side * (column - self.middle - self.slope * (row - self.centre)) / math.hypot(1.0, self.slope)


def _noise(patch: np.ndarray) -> np.ndarray:
    """Variance (3,) of single pixels in an even patch: half that of the difference of rows, which a slow slope leaves
    alone.
    """
    return 0.5 * np.mean(np.diff(patch, axis=0) ** 2, axis=(0, 1))


def _profiles(sums: np.ndarray, counts: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(profiles without one band each, profile of all); nan where too few rows reach."""
    total, number = sums.sum(axis=0), counts.sum(axis=0)
    # A bin that most rows do not reach lies in a corner of the slanted part.
    enough = number >= 0.6 * np.median(number[number > 0])
    with np.errstate(invalid="ignore", divide="ignore"):
        full = np.where(enough[:, None], total / number[:, None], np.nan)
        left = (number - counts)[..., None]
        bands = np.where(enough[:, None] & (left > 0), (total - sums) / left, np.nan)
    return bands, full


def _ends(profile: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Dark and bright level (3,) of a profile (n, 3): the means of its ends."""
    end = _end_length(len(profile))
    return profile[:end].mean(axis=0), profile[-end:].mean(axis=0)


def _crossing(positions: np.ndarray, values: np.ndarray, level: float) -> float:
    """Where a noisy rise crosses a level.

    First the place that parts the values best into lower and higher ones, then a parabola through those near the level.
    """
    at = int(np.argmin(np.cumsum(values - level)))
    near = slice(max(at - 40, 0), at + 42)
    x, y = positions[near], values[near]
    close = np.abs(y - level) < 0.06
    if close.sum() >= 8:
        return float(np.polyfit(y[close] - level, x[close], 2)[-1])
    return float(np.interp(level, np.maximum.accumulate(y), x))


def _rise(positions: np.ndarray, values: np.ndarray) -> float:
    """10–90 % width of a rise."""
    return _crossing(positions, values, 0.9) - _crossing(positions, values, 0.1)


def _smoothed(profiles: np.ndarray, size: int) -> np.ndarray:
    from scipy.ndimage import uniform_filter1d

    return uniform_filter1d(profiles, size, axis=0, mode="nearest")


def _refuse_what_the_profile_shows(positions, profiles, noise, widths, name: str) -> None:
    """SceneError for an edge too soft for its box, or one that is not a single rise."""
    faults, span = [], positions[-1] - positions[0]
    if max(widths) > LARGEST_RISE * span:
        faults.append(
            Fault(
                found=f"the edge is {max(widths):.1f} mm soft and the box {span:.1f} mm across",
                allowed=f"an edge of at most {100.0 * LARGEST_RISE:.0f} % of the box, so that both ends are seen",
                try_="a larger box, or less focus offset",
                file=name,
            )
        )
    # A single channel may well rise over its end and fall back: the red of sRGB counts green light as negative.
    grey = _smoothed(profiles, max(3, round(0.15 * max(widths) / (positions[1] - positions[0])))).mean(axis=1)
    backwards = float(np.max(np.maximum.accumulate(grey) - grey))
    if backwards > max(0.1, 4.0 * float(noise.max())):
        faults.append(
            Fault(
                found="more than one edge, or an uneven one: the light rises and falls again",
                allowed="one straight edge",
                try_="a box round a single edge: left, top, width, height",
                typed="a box round a single edge: --box left,top,width,height",
                file=name,
            )
        )
    if faults:
        raise SceneError(faults)
