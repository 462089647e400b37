"""What is known of a point's patches of the gate before any look-up: dark, open or mixed, by stencil and blade."""

from __future__ import annotations

import math
from typing import NamedTuple

from projector.jit import formula, kernel
from projector.tracing.gate.gate_image import HAS_LIGHT, HAS_SHADE, gate_flags
from projector.tracing.gate.lens_law import (
    blade_patch,
    field_radius_squared,
    light_reach,
    share_through_air,
    straight_slopes,
)
from projector.tracing.sight.emitter import direction_in_light_frame, in_light_frame
from projector.tracing.sight.points import UNKNOWN
from projector.tracing.sight.squares import footprint_per_tube, part_of_square

NONE, OPEN, MIXED = 0, 1, 2


class Spot(NamedTuple):
    """A point as one projector's laws take it: in its frame, m.

    position, normal (3); height: of the pupil's middle over the point's horizon; slope_x, slope_y: straight slopes of
    its chief ray; inverse_distance 1/m; field_squared: r²; footprint: width of its patch of surface in the gate;
    kept: share of the light that the air leaves on its way
    """

    position: tuple
    normal: tuple
    height: float
    slope_x: float
    slope_y: float
    inverse_distance: float
    field_squared: float
    footprint: float
    kept: float


@formula
def spot_of(light, points, i, position):
    """The Spot of point i, whose place in the projector's frame lies before the lens."""
    x, y, z = position
    inverse_distance = 1.0 / z
    slope_x, slope_y = straight_slopes(light, x * inverse_distance, y * inverse_distance)
    normal = direction_in_light_frame(light.emitter, points.normals[i, 0], points.normals[i, 1], points.normals[i, 2])
    height = -(normal[0] * x + normal[1] * y + normal[2] * z)
    return Spot(
        position,
        normal,
        height,
        slope_x,
        slope_y,
        inverse_distance,
        field_radius_squared(light, slope_x, slope_y),
        light.tube_length * footprint_per_tube(points.areas[i], height, z),
        share_through_air(light, x, y, z),
    )


@formula
def stencil_class(light, image, spot):
    """Whether the patches of all wavelengths together are dark, open or mixed in the gate's picture."""
    low = light.tube_length * light.lateral_range[0]
    high = light.tube_length * light.lateral_range[1]
    half = light_reach(light, spot.inverse_distance, spot.field_squared) + 0.5 * spot.footprint
    x_low = min(low * spot.slope_x, high * spot.slope_x) - half
    x_high = max(low * spot.slope_x, high * spot.slope_x) + half
    y_low = min(low * spot.slope_y, high * spot.slope_y) - half
    y_high = max(low * spot.slope_y, high * spot.slope_y) + half
    flags = gate_flags(image, x_low, x_high, y_low, y_high)
    if flags == HAS_LIGHT:
        return OPEN
    if flags == HAS_SHADE:
        return NONE
    return MIXED


@formula
def flags_of_square(light, image, squares, square):
    """Whether there is light or shade in the box that holds the patches of all points of a square, at every wavelength.

    HAS_LIGHT | HAS_SHADE where its bounds are not known.
    """
    if squares.bounds.shape[0] == 0:
        return HAS_LIGHT | HAS_SHADE
    low_x, high_x = squares.bounds[square, 0], squares.bounds[square, 1]
    low_y, high_y = squares.bounds[square, 2], squares.bounds[square, 3]
    low_d, high_d, footprint = squares.bounds[square, 4], squares.bounds[square, 5], squares.bounds[square, 6]
    if low_d > high_d:
        return HAS_SHADE
    farthest_x, farthest_y = max(abs(low_x), abs(high_x)), max(abs(low_y), abs(high_y))
    straight_x, straight_y = straight_slopes(light, farthest_x, farthest_y)
    field_squared = field_radius_squared(light, straight_x, straight_y)
    half = 0.0
    for distance in (low_d, high_d):
        for field in (0.0, field_squared):
            half = max(half, light_reach(light, distance, field))
    half += 0.5 * footprint * light.tube_length
    # Distortion draws slopes in or out by a share that goes one way from the axis outwards.
    farthest = max(farthest_x, farthest_y)
    bent = max(straight_x, straight_y) / farthest if farthest > 0.0 else 1.0
    low = light.tube_length * min(1.0, bent) * light.lateral_range[0]
    high = light.tube_length * max(1.0, bent) * light.lateral_range[1]
    return gate_flags(
        image,
        min(low * low_x, high * low_x) - half,
        max(low * high_x, high * high_x) + half,
        min(low * low_y, high * low_y) - half,
        max(low * high_y, high * high_y) + half,
    )


@formula
def blade_of_spot(light, blade, wavelength, spot):
    """`blade_patch` of a spot: distance (m) of the blade's edge from the patch's middle, and its signed scale."""
    return blade_patch(light, blade, wavelength, spot.slope_x, spot.slope_y, spot.field_squared, spot.inverse_distance)


@formula
def blade_class(light, blade, spot):
    """Whether one blade is out of, across or over the patches of all wavelengths."""
    lowest = math.inf
    highest = -math.inf
    for wavelength in range(light.inverse_sharp.shape[0]):
        distance, scale = blade_of_spot(light, blade, wavelength, spot)
        largest = light.emitter.reach
        half = (abs(scale) + abs(light.spherical) * largest * largest) * largest + 0.5 * spot.footprint
        lowest = min(lowest, distance - half)
        highest = max(highest, distance + half)
    if highest <= 0.0:
        return NONE
    return OPEN if lowest >= 0.0 else MIXED


@formula
def _is_unlit(light, image, points, i):
    """Whether the pattern leaves a point's patch of the gate dark at every wavelength."""
    position = in_light_frame(light.emitter, points.positions[i, 0], points.positions[i, 1], points.positions[i, 2])
    if not position[2] > light.nearest:
        return True
    return stencil_class(light, image, spot_of(light, points, i, position)) == NONE


@kernel
def mark_unlit(light, image, points, squares, start, stop, state):
    """Set state to UNKNOWN for the points of the squares start … stop that the pattern leaves dark: no ray need be cast
    for them.
    """
    for square in range(start, stop):
        flags = flags_of_square(light, image, squares, square)
        if flags == HAS_LIGHT:
            continue
        first_row, last_row, first_column, last_column = part_of_square(square, 0, squares.width, squares.height)
        for row in range(first_row, last_row):
            for i in range(row * squares.width + first_column, row * squares.width + last_column):
                if flags == HAS_SHADE or _is_unlit(light, image, points, i):
                    state[i] = UNKNOWN
