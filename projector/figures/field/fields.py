"""Building blocks of the figure's implicit surface: every function gives a field, negative inside, about millimetres.

A field is exact in its zero and close to a distance near it; the figure is modelled in millimetres, with the sitter's
left towards +x, up +y, forward +z, the origin between the ears at the height of the eyes.
Blends are cubic, so that the second derivative is continuous and no seam shows in a grazing light.
"""

from __future__ import annotations

import numpy as np


def smooth_union(first, second, width):
    """The nearer of two fields, rounded where they differ by less than `width` (mm)."""
    nearness = np.maximum(width - np.abs(first - second), 0.0) / width
    return np.minimum(first, second) - nearness**3 * (width / 6.0)


def smooth_intersection(first, second, width):
    """Inside of both fields, with an edge rounded over `width` (mm)."""
    return -smooth_union(-first, -second, width)


def smooth_cut(field, tool, width):
    """The field with the inside of `tool` taken away, the rim rounded over `width` (mm)."""
    return smooth_intersection(field, -tool, width)


def ellipsoid(points, centre, radii, axes=None):
    """An ellipsoid with half axes `radii` along the rows of `axes` (the world's axes if None)."""
    offset = [points[i] - centre[i] for i in range(3)]
    if axes is not None:
        offset = [sum(axis[i] * offset[i] for i in range(3)) for axis in axes]
    scaled = np.sqrt(sum((offset[i] / radii[i]) ** 2 for i in range(3))) + 1e-9
    slope = np.sqrt(sum((offset[i] / radii[i] ** 2) ** 2 for i in range(3))) + 1e-9
    return scaled * (scaled - 1.0) / slope


def lopsided_ellipsoid(points, centre, radii_minus, radii_plus, roundness):
    """A closed egg with other half axes on either side of its centre and a superellipse of exponent `roundness`."""
    total, length = 0.0, 1e-9
    for i in range(3):
        offset = points[i] - centre[i]
        radius = np.where(offset < 0.0, radii_minus[i], radii_plus[i])
        total = total + np.abs(offset / radius) ** roundness
        length = length + offset**2
    scaled = total ** (1.0 / roundness) + 1e-6
    return np.sqrt(length) * (1.0 - 1.0 / scaled)


def rounded_cone(points, start, end, start_radius, end_radius):
    """A rod from `start` to `end` with round ends, its radius running from one value to the other."""
    axis = np.subtract(end, start)
    offset = [points[i] - start[i] for i in range(3)]
    along = np.clip(sum(axis[i] * offset[i] for i in range(3)) / np.dot(axis, axis), 0.0, 1.0)
    distance = np.sqrt(sum((offset[i] - along * axis[i]) ** 2 for i in range(3)))
    return distance - (start_radius + along * (end_radius - start_radius))


def tube(points, stations, radii):
    """A bent rod through `stations` (n, 3), a smooth curve, with a radius for each of them."""
    stations, radii = np.asarray(stations, float), np.asarray(radii, float)
    position = np.linspace(0.0, len(stations) - 1.0, 4 * len(stations))
    curve = np.column_stack([table(range(len(stations)), stations[:, i])(position) for i in range(3)])
    widths = table(range(len(stations)), radii)(position)
    field = np.full(points[0].shape, np.inf)
    for i in range(len(curve) - 1):
        field = np.minimum(field, rounded_cone(points, curve[i], curve[i + 1], widths[i], widths[i + 1]))
    return field


def table(positions, values, smoothing=0.0):
    """A curve through the given values, held constant outside the given positions.

    With `smoothing` (in units of position) the curve is averaged over a bell of that width: its curvature is then
    continuous, which a surface needs if no band is to show on it under a grazing light.
    """
    from scipy.interpolate import PchipInterpolator
    from scipy.ndimage import gaussian_filter1d

    positions, values = np.asarray(positions, float), np.asarray(values, float)
    order = np.argsort(positions)
    curve = PchipInterpolator(positions[order], values[order])
    low, high = positions[order[0]], positions[order[-1]]
    # Sampled so densely that straight pieces between the samples stand for the curve.
    step = (high - low) / 4000.0
    places = np.arange(low - 4.0 * smoothing, high + 4.0 * smoothing + step, step)
    samples = curve(np.clip(places, low, high))
    if smoothing > 0.0:
        samples = gaussian_filter1d(samples, smoothing / step)
    return lambda wanted: np.interp(wanted, places, samples)


def loft(points, axis_z, half_width, front, back, front_roundness, back_roundness=2.0):
    """A stack of horizontal slices: superellipses about z = axis_z, other in front than behind.

    `half_width`, `front` and `back` are the slice's extents (mm): |x| at its widest, z in front, z behind. Arrays or
    numbers.
    """
    x, _, z = points
    offset = z - axis_z
    in_front = offset > 0.0
    depth = np.where(in_front, front - axis_z, axis_z - back)
    roundness = np.where(in_front, front_roundness, back_roundness)
    scaled = ((np.abs(x) / half_width) ** roundness + (np.abs(offset) / depth) ** roundness) ** (1.0 / roundness) + 1e-6
    return np.hypot(x, offset) * (1.0 - 1.0 / scaled)


def swelling(points, centre, spread, height):
    """How much to subtract from a field for a soft bump of `height` (mm; negative: a dent) about `centre`."""
    return height * np.exp(-sum(((points[i] - centre[i]) / spread[i]) ** 2 for i in range(3)))


def ridge(distance, width):
    """A bell of height 1 across a line: `distance` from it, falling to 1/e at `width` (mm)."""
    return np.exp(-((distance / width) ** 2))
