"""The outline of what shines, a lens's pupil or a panel: its shape, its samples and its moments.

All coordinates are in units of half the nominal diameter (of a lens: focal length / f-number): a disc has radius 1, a
polygon and a rectangle the area of that disc, a ring that outer radius, a bitmap the disc's area. x is to the right and
y down, as seen from behind.
"""

from __future__ import annotations

import functools
import math
from typing import NamedTuple

import numpy as np

from projector.jit import formula

DISC, POLYGON, RING, BITMAP, RECTANGLE = 0, 1, 2, 3, 4
N_PROJECTION_STEPS = 1024
RING_STRIPS = 4
_RASTER = 1024
# A picture of a pupil wider than this needs no sub-samples, pixels.
_LARGE = 96


class Outline(NamedTuple):
    """A shape, flat enough for kernels.

    kind, n_blades, rotation (radians), inner (ring: inner over outer radius)
    circumradius   (polygon: of its corners), reach: the farthest point of any shape
    half_sizes     (2,) half width and half height of the box round it
    area           in units of the nominal disc's area
    second_moments (3,) mean of x², y² and xy over the shape
    row_cdf        (h + 1,) and column_cdf (h, w + 1): inverse-transform tables of a bitmap, (2,) and (1, 2) otherwise
    extent         half side of a bitmap's square pixels grid, in pupil units
    symmetric      whether a half turn leaves it as it is (then both sides of focus look alike)
    """

    kind: int
    n_blades: int
    rotation: float
    inner: float
    circumradius: float
    reach: float
    half_sizes: tuple
    area: float
    second_moments: np.ndarray
    row_cdf: np.ndarray
    column_cdf: np.ndarray
    extent: float
    symmetric: bool


def make_outline(
    shape: str = "disc",
    n_blades: int = 6,
    rotation_deg: float = 0.0,
    inner_fraction: float = 0.5,
    bitmap=None,
    aspect: float = 1.0,
) -> Outline:
    """An outline: "disc", "polygon", "ring", "rectangle" (aspect: width over height) or "bitmap" ((h, w) float
    coverage, row 0 at the top).
    """
    empty = (np.array([0.0, 1.0]), np.array([[0.0, 1.0]]))
    rotation = math.radians(rotation_deg)
    if shape == "disc":
        return Outline(DISC, 0, 0.0, 0.0, 1.0, 1.0, (1.0, 1.0), 1.0, np.array([0.25, 0.25, 0.0]), *empty, 1.0, True)
    if shape == "ring":
        second = 0.25 * (1.0 + inner_fraction**2)
        area = 1.0 - inner_fraction**2
        return Outline(
            RING,
            0,
            0.0,
            float(inner_fraction),
            1.0,
            1.0,
            (1.0, 1.0),
            area,
            np.array([second, second, 0.0]),
            *empty,
            1.0,
            True,
        )
    if shape == "rectangle":
        half_sizes = (math.sqrt(0.25 * math.pi * aspect), math.sqrt(0.25 * math.pi / aspect))
        moments = np.array([half_sizes[0] ** 2 / 3.0, half_sizes[1] ** 2 / 3.0, 0.0])
        return Outline(
            RECTANGLE, 0, 0.0, 0.0, 1.0, math.hypot(*half_sizes), half_sizes, 1.0, moments, *empty, 1.0, True
        )
    if shape == "polygon":
        circumradius = math.sqrt(2.0 * math.pi / (n_blades * math.sin(2.0 * math.pi / n_blades)))
        # Mean of x² over a regular polygon is the same in every direction: R²·(2 + cos(2π/n)) / 12.
        second = circumradius**2 * (2.0 + math.cos(2.0 * math.pi / n_blades)) / 12.0
        moments = np.array([second, second, 0.0])
        corners = rotation + 2.0 * math.pi * np.arange(n_blades) / n_blades
        half_sizes = tuple(float(circumradius * np.abs(turn(corners)).max()) for turn in (np.cos, np.sin))
        return Outline(
            POLYGON,
            n_blades,
            rotation,
            0.0,
            circumradius,
            circumradius,
            half_sizes,
            1.0,
            moments,
            *empty,
            1.0,
            n_blades % 2 == 0,
        )
    if shape == "bitmap":
        return _bitmap_pupil(np.asarray(bitmap, float))
    raise ValueError(f"unknown pupil shape: {shape}")


def _bitmap_pupil(coverage: np.ndarray) -> Outline:
    """A pupil drawn by the user, scaled so that its open area is that of the nominal disc."""
    height, width = coverage.shape
    side = max(height, width)
    square = np.zeros((side, side))
    square[(side - height) // 2 : (side - height) // 2 + height, (side - width) // 2 : (side - width) // 2 + width] = (
        coverage
    )
    total = square.sum()
    if not total > 0:
        raise ValueError("the pupil bitmap lets no light through")
    # pixel² · total = π, the nominal disc's area; the bitmap's own middle stays on the axis.
    pixel = math.sqrt(math.pi / total)
    extent = 0.5 * side * pixel
    centres = (np.arange(side) + 0.5) * pixel - extent
    x, y = np.meshgrid(centres, centres)
    weights = square / total
    within = pixel * pixel / 12.0
    moments = np.array([(weights * x * x).sum() + within, (weights * y * y).sum() + within, (weights * x * y).sum()])
    reach = float(np.sqrt((x * x + y * y)[square > 0].max()) + 0.7072 * pixel)
    half_sizes = tuple(float(np.abs(places[square > 0]).max() + 0.5 * pixel) for places in (x, y))
    rows = square.sum(axis=1)
    row_cdf = np.concatenate([[0.0], np.cumsum(rows)]) / total
    column_cdf = np.zeros((side, side + 1))
    column_cdf[:, 1:] = np.cumsum(square, axis=1)
    column_cdf /= np.where(rows > 0, rows, 1.0)[:, None]
    symmetric = bool(np.allclose(square, square[::-1, ::-1]))
    return Outline(BITMAP, 0, 0.0, 0.0, 1.0, reach, half_sizes, 1.0, moments, row_cdf, column_cdf, extent, symmetric)


@formula
def _search(cdf, value):
    """The interval of a cumulative table that holds a value, and the place inside it."""
    low = 0
    high = cdf.shape[0] - 1
    while high - low > 1:
        middle = (low + high) // 2
        if cdf[middle] <= value:
            low = middle
        else:
            high = middle
    width = cdf[low + 1] - cdf[low]
    return low, ((value - cdf[low]) / width if width > 0.0 else 0.5)


@formula
def disc_point(u, v):
    """The point (x, y) of the unit disc for (u, v) in the unit square: concentric squares to circles (P. Shirley & K.
    Chiu, Journal of Graphics Tools 2(3), 1997), so that cells stay compact.
    """
    a = 2.0 * u - 1.0
    b = 2.0 * v - 1.0
    if a == 0.0 and b == 0.0:
        return 0.0, 0.0
    if a * a > b * b:
        radius = a
        angle = 0.25 * math.pi * b / a
    else:
        radius = b
        angle = 0.5 * math.pi - 0.25 * math.pi * a / b
    return radius * math.cos(angle), radius * math.sin(angle)


@formula
def outline_point(pupil, u, v):
    """The point (x, y) of an outline for (u, v) in the unit square; equal areas go to equal areas."""
    if pupil.kind == RECTANGLE:
        return (2.0 * u - 1.0) * pupil.half_sizes[0], (2.0 * v - 1.0) * pupil.half_sizes[1]
    if pupil.kind == DISC:
        return disc_point(u, v)
    if pupil.kind == RING:
        # The square is cut into strips that are laid round the ring one after the other: cells stay about as long as
        # wide.
        strip = min(int(v * RING_STRIPS), RING_STRIPS - 1)
        out = v * RING_STRIPS - strip
        radius = math.sqrt(pupil.inner * pupil.inner + out * (1.0 - pupil.inner * pupil.inner))
        angle = 2.0 * math.pi * (strip + u) / RING_STRIPS
        return radius * math.cos(angle), radius * math.sin(angle)
    if pupil.kind == POLYGON:
        # A fan of equal triangles; the square root spreads points evenly from the centre to the rim.
        sector = min(int(u * pupil.n_blades), pupil.n_blades - 1)
        along = u * pupil.n_blades - sector
        out = math.sqrt(v) * pupil.circumradius
        first = pupil.rotation + 2.0 * math.pi * sector / pupil.n_blades
        second = pupil.rotation + 2.0 * math.pi * (sector + 1) / pupil.n_blades
        x = out * ((1.0 - along) * math.cos(first) + along * math.cos(second))
        y = out * ((1.0 - along) * math.sin(first) + along * math.sin(second))
        return x, y
    row, down = _search(pupil.row_cdf, v)
    column, right = _search(pupil.column_cdf[row], u)
    pixel = 2.0 * pupil.extent / pupil.column_cdf.shape[0]
    return (column + right) * pixel - pupil.extent, (row + down) * pixel - pupil.extent


def rim_length(pupil: Outline) -> float:
    """Length of a pupil's rim over that of its own area as strips one radius wide: 1 of a disc, 1 / (1 − inner) of a
    ring.
    """
    if pupil.kind == DISC:
        return 1.0
    if pupil.kind == RING:
        return 1.0 / (1.0 - pupil.inner)
    if pupil.kind == POLYGON:
        return pupil.n_blades * pupil.circumradius * math.sin(math.pi / pupil.n_blades) / math.pi
    if pupil.kind == RECTANGLE:
        return 2.0 * sum(pupil.half_sizes) / math.pi
    density = np.pad(_bitmap_density(pupil), 1)
    steps = np.abs(np.diff(density, axis=0)).sum() + np.abs(np.diff(density, axis=1)).sum()
    # Summed along rows and columns a rim counts 4/π times its length on average over its directions.
    return float(
        0.25 * math.pi * steps / density.max() * (2.0 * pupil.extent / pupil.column_cdf.shape[0]) / (2.0 * math.pi)
    )


def kernel_size(pupil: Outline, diameter_pixels: float) -> int:
    """Side (pixels, odd) of the picture of a pupil whose nominal diameter is `diameter_pixels`."""
    return 2 * math.ceil(0.5 * diameter_pixels * pupil.reach + 0.5) + 1


def coverage_image(pupil: Outline, diameter_pixels: float, oversampling: int = 0) -> np.ndarray:
    """The pupil drawn with its nominal diameter `diameter_pixels` wide: (n, n) float, odd n, centred, sum 1.

    Each pixel holds the covered share of its area: exactly for a bitmap, whose straight sides would all round the same
    way, else from sub-samples, enough of them that small pupils keep their shape; in a large one from how far the rim
    is.
    """
    radius = 0.5 * diameter_pixels
    n = kernel_size(pupil, diameter_pixels)
    half = n // 2
    if pupil.kind == BITMAP:
        image = _bitmap_coverage(pupil, (np.arange(n + 1) - 0.5 * n) / radius)
    elif n > _LARGE and oversampling <= 0:
        centres = (np.arange(n) - half) / radius
        image = np.clip(0.5 + radius * _depth(pupil, centres[None, :], centres[:, None]), 0.0, 1.0)
    else:
        if oversampling <= 0:
            oversampling = max(3, math.ceil(96.0 / n))
        offsets = (np.arange(n * oversampling) + 0.5) / oversampling - 0.5 * n
        covered = inside(pupil, offsets[None, :] / radius, offsets[:, None] / radius)
        image = covered.reshape(n, oversampling, n, oversampling).mean(axis=(1, 3))
    total = image.sum()
    if not total > 0:
        image[half, half] = total = 1.0
    return image / total


def _depth(pupil: Outline, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """How deep points lie within any outline but a bitmap (its units; negative outside): x and y broadcast."""
    if pupil.kind == RECTANGLE:
        return np.minimum(pupil.half_sizes[0] - np.abs(x), pupil.half_sizes[1] - np.abs(y))
    if pupil.kind == POLYGON:
        apothem = pupil.circumradius * math.cos(math.pi / pupil.n_blades)
        angles = pupil.rotation + 2.0 * math.pi * (np.arange(pupil.n_blades) + 0.5) / pupil.n_blades
        return apothem - functools.reduce(np.maximum, (x * math.cos(angle) + y * math.sin(angle) for angle in angles))
    distance = np.sqrt(x * x + y * y)
    return np.minimum(1.0 - distance, distance - pupil.inner) if pupil.kind == RING else 1.0 - distance


def _bitmap_density(pupil: Outline) -> np.ndarray:
    """Share (h, w) of a bitmap's light in each of its cells."""
    return np.diff(pupil.column_cdf, axis=1) * np.diff(pupil.row_cdf)[:, None]


def _bitmap_coverage(pupil: Outline, edges: np.ndarray) -> np.ndarray:
    """Light of a bitmap (n, n) within the squares between edges (n + 1,), pupil units: cells count by what lies in a
    square.
    """
    n_cells = pupil.column_cdf.shape[0]
    places = (edges + pupil.extent) * (n_cells / (2.0 * pupil.extent))
    cells = np.arange(n_cells)
    overlap = np.minimum(places[1:, None], cells + 1.0) - np.maximum(places[:-1, None], cells)
    overlap = np.maximum(overlap, 0.0)
    return overlap @ _bitmap_density(pupil) @ overlap.T


def inside(pupil: Outline, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Transmission (0..1 float) of the pupil at points in pupil units; x and y broadcast."""
    if pupil.kind == BITMAP:
        n = pupil.column_cdf.shape[0]
        pixel = 2.0 * pupil.extent / n
        columns = np.floor((x + pupil.extent) / pixel).astype(int)
        rows = np.floor((y + pupil.extent) / pixel).astype(int)
        density = _bitmap_density(pupil)
        valid = (columns >= 0) & (columns < n) & (rows >= 0) & (rows < n)
        values = density[np.clip(rows, 0, n - 1), np.clip(columns, 0, n - 1)]
        return np.where(valid, values / density.max(), 0.0)
    squared = x * x + y * y
    if pupil.kind == DISC:
        return (squared <= 1.0).astype(float)
    if pupil.kind == RING:
        return ((squared <= 1.0) & (squared >= pupil.inner**2)).astype(float)
    if pupil.kind == RECTANGLE:
        return ((np.abs(x) <= pupil.half_sizes[0]) & (np.abs(y) <= pupil.half_sizes[1])).astype(float)
    apothem = pupil.circumradius * math.cos(math.pi / pupil.n_blades)
    result = np.ones(np.broadcast(x, y).shape, bool)
    for blade in range(pupil.n_blades):
        angle = pupil.rotation + 2.0 * math.pi * (blade + 0.5) / pupil.n_blades
        result &= x * math.cos(angle) + y * math.sin(angle) <= apothem
    return result.astype(float)


def projection_table(pupil: Outline, direction_x: float, direction_y: float) -> np.ndarray:
    """Share of the pupil whose projection on a unit direction lies above t, for t from −reach to +reach.

    (N_PROJECTION_STEPS + 1,) float, falling from 1 to 0. This is the edge-spread function of a straight blade.
    """
    steps = np.linspace(-pupil.reach, pupil.reach, N_PROJECTION_STEPS + 1)
    if pupil.kind in (DISC, RING):
        above = _disc_share_above(steps)
        if pupil.kind == RING:
            above = (above - pupil.inner**2 * _disc_share_above(steps / max(pupil.inner, 1e-12))) / pupil.area
        return np.clip(above, 0.0, 1.0)
    offsets = ((np.arange(_RASTER) + 0.5) / _RASTER * 2.0 - 1.0) * pupil.reach
    weights = inside(pupil, offsets[None, :], offsets[:, None])
    projected = offsets[None, :] * direction_x + offsets[:, None] * direction_y
    counts, _ = np.histogram(projected, bins=steps, weights=weights)
    below = np.concatenate([[0.0], np.cumsum(counts)])
    return 1.0 - below / below[-1]


def _disc_share_above(t: np.ndarray) -> np.ndarray:
    """Share of a unit disc beyond a chord at signed distance t."""
    t = np.clip(t, -1.0, 1.0)
    return (np.arccos(t) - t * np.sqrt(1.0 - t * t)) / math.pi
