"""Signed distances that stencils are drawn from: negative inside an opening, in units of half the bitmap's width.

x runs to the right and y down, both from −1 to 1. A distance turns into a pixel's open share by its size in pixels, so a
drawing is sharp at any resolution.
"""

from __future__ import annotations

import math

import numpy as np


def turned(x, y, degrees: float):
    """Coordinates in a frame turned clockwise as seen."""
    cosine, sine = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return cosine * x + sine * y, -sine * x + cosine * y


def disc(x, y, centre_x=0.0, centre_y=0.0, radius=1.0):
    """A round hole."""
    return np.hypot(x - centre_x, y - centre_y) - radius


def box(x, y, centre_x, centre_y, half_width, half_height, corner=0.0):
    """A rectangular hole with rounded corners."""
    dx = np.abs(x - centre_x) - (half_width - corner)
    dy = np.abs(y - centre_y) - (half_height - corner)
    return np.hypot(np.maximum(dx, 0), np.maximum(dy, 0)) + np.minimum(np.maximum(dx, dy), 0) - corner


def segment(x, y, start, end, start_radius, end_radius):
    """A tapering bar with round ends."""
    (ax, ay), (bx, by) = start, end
    length = max((bx - ax) ** 2 + (by - ay) ** 2, 1e-12)
    along = np.clip(((x - ax) * (bx - ax) + (y - ay) * (by - ay)) / length, 0.0, 1.0)
    return np.hypot(x - ax - along * (bx - ax), y - ay - along * (by - ay)) - (start_radius + along * (end_radius - start_radius))


def polygon(x, y, corners, rounding=0.0):
    """A hole with straight sides, corners (n, 2) in order, its corners rounded."""
    corners = np.asarray(corners, float)
    if rounding:
        centre = corners.mean(axis=0)
        inward = corners - centre
        corners = centre + inward * (1.0 - rounding / np.linalg.norm(inward, axis=1, keepdims=True) * 1.6)
    squared = np.full(np.broadcast(x, y).shape, np.inf)
    inside = np.zeros(squared.shape, bool)
    for (ax, ay), (bx, by) in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        ex, ey = bx - ax, by - ay
        along = np.clip(((x - ax) * ex + (y - ay) * ey) / (ex * ex + ey * ey), 0.0, 1.0)
        squared = np.minimum(squared, (x - ax - along * ex) ** 2 + (y - ay - along * ey) ** 2)
        crosses = (ay > y) != (by > y)
        inside ^= crosses & (x < (bx - ax) * (y - ay) / (by - ay + (by == ay)) + ax)
    return np.where(inside, -1.0, 1.0) * np.sqrt(squared) - rounding


def leaf(x, y, base, degrees, length, width):
    """A pointed leaf from its base: the overlap of two discs."""
    u, v = turned(x - base[0], y - base[1], degrees)
    half, waist = 0.5 * length, 0.5 * width
    radius = (half * half + waist * waist) / (2.0 * waist)
    offset = radius - waist
    return np.maximum(np.hypot(u - half, v - offset) - radius, np.hypot(u - half, v + offset) - radius)


def spread_points(seed: int, spacing: float, reach: float, tries: int = 4000) -> np.ndarray:
    """Points (n, 2) in a disc, none nearer to another than the spacing (dart throwing)."""
    random = np.random.default_rng(seed)
    kept: list[np.ndarray] = []
    for _ in range(tries):
        place = random.uniform(-reach, reach, 2)
        if np.hypot(*place) <= reach and all(np.hypot(*(place - other)) >= spacing for other in kept):
            kept.append(place)
    return np.array(kept)
