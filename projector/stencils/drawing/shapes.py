"""Signed distances that stencils are drawn from: negative inside an opening, in units of half the bitmap's width.

x runs to the right and y down, both from −1 to 1. A distance turns into a pixel's open share by its size in pixels, so
a drawing is sharp at any resolution. Numbers meet the grid as plain floats: NumPy's own would turn it into double
precision.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable

import numpy as np

FAR = 4.0
# Half the width of the finest bridge or slot: 0.05 mm in a stencil of 40 mm (common practice for etched metal, no
# source).
FINEST = 0.0025


def turned(x, y, degrees: float):
    """Coordinates in a frame turned clockwise as seen."""
    cosine, sine = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return cosine * x + sine * y, -sine * x + cosine * y


def direction(degrees: float) -> np.ndarray:
    """Unit vector (2,) at an angle, clockwise as seen from the right."""
    return np.array([math.cos(math.radians(degrees)), math.sin(math.radians(degrees))])


def disc(x, y, centre_x=0.0, centre_y=0.0, radius=1.0):
    """A round hole."""
    return np.hypot(x - float(centre_x), y - float(centre_y)) - radius


def box(x, y, centre_x, centre_y, half_width, half_height, corner=0.0):
    """A rectangular hole with rounded corners."""
    dx = np.abs(x - centre_x) - (half_width - corner)
    dy = np.abs(y - centre_y) - (half_height - corner)
    return np.hypot(np.maximum(dx, 0), np.maximum(dy, 0)) + np.minimum(np.maximum(dx, dy), 0) - corner


def segment(x, y, start, end, start_radius, end_radius):
    """A tapering bar with round ends."""
    (ax, ay), (bx, by) = np.asarray(start, float).tolist(), np.asarray(end, float).tolist()
    length = max((bx - ax) ** 2 + (by - ay) ** 2, 1e-12)
    along = np.clip(((x - ax) * (bx - ax) + (y - ay) * (by - ay)) / length, 0.0, 1.0)
    return np.hypot(x - ax - along * (bx - ax), y - ay - along * (by - ay)) - (
        start_radius + along * (end_radius - start_radius)
    )


def polygon(x, y, corners, rounding=0.0):
    """A hole with straight sides, corners (n, 2) in order, its corners rounded."""
    corners = np.asarray(corners, float)
    if rounding:
        centre = corners.mean(axis=0)
        inward = corners - centre
        corners = centre + inward * (1.0 - rounding / np.linalg.norm(inward, axis=1, keepdims=True) * 1.6)
    squared = np.full(np.broadcast(x, y).shape, FAR, np.float32)
    inside = np.zeros(squared.shape, bool)
    for (ax, ay), (bx, by) in zip(corners.tolist(), np.roll(corners, -1, axis=0).tolist(), strict=True):
        ex, ey = bx - ax, by - ay
        along = np.clip(((x - ax) * ex + (y - ay) * ey) / (ex * ex + ey * ey), 0.0, 1.0)
        squared = np.minimum(squared, (x - ax - along * ex) ** 2 + (y - ay - along * ey) ** 2)
        crosses = (ay > y) != (by > y)
        inside ^= crosses & (x < (bx - ax) * (y - ay) / (by - ay + (by == ay)) + ax)
    return np.where(inside, -1.0, 1.0) * np.sqrt(squared) - rounding


def pointed_arch(x, y, centre_x, spring_y, bottom_y, half_width, margin=0.0):
    """An upright opening with a pointed head: two arcs, each struck from the other one's foot, that meet above the
    spring line.

    margin draws it in on all sides.
    """
    x = x - centre_x
    head = np.hypot(np.abs(x) + half_width, y - spring_y) - 2.0 * half_width
    return np.maximum(np.where(y < spring_y, head, np.abs(x) - half_width), y - bottom_y) + margin


def smooth_maximum(first, second, radius: float):
    """The greater of two distances, their crease rounded with about this radius (a quadratic blend)."""
    overlap = np.maximum(radius - np.abs(first - second), 0.0)
    return np.maximum(first, second) + 0.25 * overlap * overlap / radius


def leaf_blade(u, v, length, width, widest=0.4):
    """A leaf from its base at u = 0 to its tip at u = length, `width` across, widest at that share of its length.

    Its ends stop where it is finer than metal can be cut. Returns the distance to its outline, good near the outline,
    and the half-width of the leaf there.
    """
    along = np.clip(u / length, 1e-3, 1.0 - 1e-3)
    power, end_power = 1.0, (1.0 - widest) / widest
    peak = widest**power * (1.0 - widest) ** end_power
    half = 0.5 * width / peak * along**power * (1.0 - along) ** end_power
    slope = half * (power / along - end_power / (1.0 - along)) / length
    beyond = np.maximum(-u, u - length)
    outline = (np.abs(v) - half) / np.sqrt(1.0 + np.minimum(slope * slope, 9.0))
    ends = (FINEST - half) / np.maximum(np.abs(slope), 0.03)
    return np.maximum.reduce([outline, beyond, ends]), half


def window_of(x, y, centre, reach: float) -> tuple[slice, slice]:
    """Rows and columns of the grid x, y (each (n, n), from meshgrid) within `reach` of a centre on both axes."""
    rows = np.searchsorted(y[:, 0], (centre[1] - reach, centre[1] + reach))
    columns = np.searchsorted(x[0], (centre[0] - reach, centre[0] + reach))
    return slice(*rows), slice(*columns)


Part = tuple[np.ndarray, float, Callable]


def union(x, y, parts: Iterable[Part]) -> np.ndarray:
    """The nearest of many small shapes (centre, reach, distance(x, y)), each worked out only within its reach of its
    centre.
    """
    nearest = np.full(x.shape, FAR, np.float32)
    for centre, reach, shape in parts:
        window = window_of(x, y, centre, reach)
        nearest[window] = np.minimum(nearest[window], shape(x[window], y[window]))
    return nearest


def fixed_random(seed: int) -> np.random.RandomState:
    """Random numbers whose order NumPy promises never to change, so that a drawing is the same for ever."""
    return np.random.RandomState(seed)


def spread_points(seed: int, spacing: float | Callable, reach: float, tries: int = 4000) -> np.ndarray:
    """Points (n, 2) in a disc, none nearer to another than the spacing (dart throwing); the spacing may vary with the
    place.
    """
    wanted = spacing if callable(spacing) else lambda place: spacing
    kept = np.empty((0, 2))
    for place in fixed_random(seed).uniform(-reach, reach, (tries, 2)):
        if np.hypot(*place) <= reach and (np.hypot(*(kept - place).T) >= wanted(place)).all():
            kept = np.vstack([kept, place])
    return kept


def lay_over(x, y, below: np.ndarray, part: Part, rim: float) -> None:
    """Lay a shape over the openings `below`, in place: it hides what is behind it, and a rim of metal parts the two.

    The part's function gives two distances: to its openings, and to the outline that hides.
    """
    centre, reach, shape = part
    window = window_of(x, y, centre, reach)
    distance, outline = shape(x[window], y[window])
    below[window] = np.minimum(np.maximum(below[window], rim - outline), distance)


def tuck_under(x, y, above: np.ndarray, part: Part, rim: float) -> None:
    """Add a shape behind the openings `above`, in place: it shows only where they leave room, a rim away from them."""
    centre, reach, shape = part
    window = window_of(x, y, centre, reach)
    above[window] = np.minimum(above[window], np.maximum(shape(x[window], y[window]), rim - above[window]))


def smooth_noise(x, y, seed: int) -> np.ndarray:
    """Gradient noise with features about one unit wide, some −0.7 to 0.7, the same for every size of drawing.

    K. Perlin, "Improving noise", ACM Trans. Graphics 21, 681 (2002): random slopes on a lattice, quintic fade between
    them.
    """
    angles = fixed_random(seed).uniform(0.0, 2.0 * math.pi, 64 * 64)
    slopes_x, slopes_y = np.cos(angles).astype(np.float32), np.sin(angles).astype(np.float32)
    column, row = np.floor(x), np.floor(y)
    fx, fy = x - column, y - row
    fade_x, fade_y = (f * f * f * (f * (6.0 * f - 15.0) + 10.0) for f in (fx, fy))
    column, row = column.astype(np.int32), row.astype(np.int32)

    def rise(right: int, down: int):
        at = ((row + down) & 63) * 64 + ((column + right) & 63)
        return slopes_x.take(at) * (fx - right) + slopes_y.take(at) * (fy - down)

    upper = rise(0, 0) * (1.0 - fade_x) + rise(1, 0) * fade_x
    lower = rise(0, 1) * (1.0 - fade_x) + rise(1, 1) * fade_x
    return upper * (1.0 - fade_y) + lower * fade_y
