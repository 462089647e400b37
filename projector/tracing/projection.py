"""The light that projectors put on points: classified first, looked up where it can be, split into cells where not.

For each point: is its patch of the gate dark, open or mixed; which blades cut it; what of the pupil does it see? While
at most one of these three is mixed, the mean of their product is the product of their means and one look-up answers
the whole integral over the pupil. Otherwise the pupil is split into cells, each with a smaller patch of its own.
"""

from __future__ import annotations

import math

from projector.jit import formula, kernel
from projector.tracing.blur_stack import patch_light
from projector.tracing.gate_image import HAS_LIGHT, HAS_SHADE, gate_flags
from projector.tracing.light_path import (
    blade_open_share,
    direction_in_light_frame,
    field_radius_squared,
    in_light_frame,
    light_reach,
    mean_pupil_geometry,
    patch_scale,
    pupil_geometry,
)
from projector.tracing.points import DARK, RAYS_PER_CELL, UNKNOWN, n_arrived
from projector.tracing.pupil import pupil_point
from projector.tracing.squares import footprint_per_tube, part_of_square

# The cosine on the surface may change by this share from the pupil's middle to its rim; beyond it the light differs too
# much across the pupil for one look-up. At an edge of the pattern the product of the means is then wrong by under 1 %:
# the covariance of a ramp of ±5 % with a step is at most 0.05 · 2/(3π) of full light.
LARGEST_SLOPE = 0.05
# A correction of the pupil's mean geometry beyond this share asks for cells.
LARGEST_CORRECTION = 0.02
# Cells along each side of the pupil's unit square where a point sees all of it: where only the geometry changes across
# it, and where the mean of a product is wanted.
N_SIDE_LIT = 4
N_SIDE_PRODUCT = 10
_NONE, _OPEN, _MIXED = 0, 1, 2


@formula
def _stencil_class(light, image, field_squared, slope_x, slope_y, inverse_distance, footprint):
    """Whether the patches of all wavelengths together are dark, open or mixed in the gate's picture."""
    stretch = (1.0 + light.distortion * field_squared) * light.tube_length
    low = stretch * light.lateral_range[0]
    high = stretch * light.lateral_range[1]
    half = light_reach(light, inverse_distance, field_squared) + 0.5 * footprint
    x_low = min(low * slope_x, high * slope_x) - half
    x_high = max(low * slope_x, high * slope_x) + half
    y_low = min(low * slope_y, high * slope_y) - half
    y_high = max(low * slope_y, high * slope_y) + half
    flags = gate_flags(image, x_low, x_high, y_low, y_high)
    if flags == HAS_LIGHT:
        return _OPEN
    if flags == HAS_SHADE:
        return _NONE
    return _MIXED


@formula
def _flags_of_square(light, image, squares, square):
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
    field_squared = field_radius_squared(light, farthest_x, farthest_y)
    half = 0.0
    for distance in (low_d, high_d):
        for field in (0.0, field_squared):
            half = max(half, light_reach(light, distance, field))
    half += 0.5 * footprint * light.tube_length
    bent = 1.0 + light.distortion * field_squared
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
def _blade_place(light, blade, wavelength, field_squared, slope_x, slope_y, inverse_distance):
    """Distance (m) of a blade's edge from the patch's middle in the blade's plane, and the patch's signed scale."""
    blades = light.blades
    tube = blades.tube_lengths[blade]
    spread = (1.0 + light.distortion * field_squared) * light.lateral[wavelength] * tube
    middle = spread * (blades.normals[blade, 0] * slope_x + blades.normals[blade, 1] * slope_y)
    scale = tube * (blades.inverse_sharp[blade, wavelength] - inverse_distance + light.curvature * field_squared)
    return blades.limits[blade] - middle, scale


@formula
def _blade_class(light, blade, field_squared, slope_x, slope_y, inverse_distance, footprint):
    """Whether one blade is out of, across or over the patches of all wavelengths."""
    lowest = math.inf
    highest = -math.inf
    for wavelength in range(light.inverse_sharp.shape[0]):
        distance, scale = _blade_place(light, blade, wavelength, field_squared, slope_x, slope_y, inverse_distance)
        largest = light.radius * light.pupil.reach
        half = (abs(scale) + abs(light.spherical) * largest * largest) * largest + 0.5 * footprint
        lowest = min(lowest, distance - half)
        highest = max(highest, distance + half)
    if highest <= 0.0:
        return _NONE
    return _OPEN if lowest >= 0.0 else _MIXED


@formula
def _blade_light(light, blade, distance, scale, radius, footprint):
    """Share of a patch of pupil radius `radius` (m) that passes a blade at `distance` (m, in its plane)."""
    half = abs(scale) * radius
    half = max(math.sqrt(half * half + 0.25 * footprint * footprint), 1e-12)
    reach = light.pupil.reach
    if scale >= 0.0:
        return blade_open_share(light.blades, blade, distance / half, reach)
    return 1.0 - blade_open_share(light.blades, blade, -distance / half, reach)


@formula
def _added(sums, weights, material, wavelength, light_here):
    """Three sums with one wavelength's light added, weighted."""
    return (
        sums[0] + weights[material, wavelength, 0] * light_here,
        sums[1] + weights[material, wavelength, 1] * light_here,
        sums[2] + weights[material, wavelength, 2] * light_here,
    )


@formula
def _store(out, point, sums):
    """Add three sums to a point's."""
    for channel in range(3):
        out[point, channel] += sums[channel]


@formula
def _whole_pupil(light, stack, point, place, geometry, footprint, stencil_class, weights, material, out):
    """One look-up a wavelength: at most one of stencil, blades and shadow is mixed."""
    slope_x, slope_y, inverse_distance, field_squared = place
    stretch = (1.0 + light.distortion * field_squared) * light.tube_length
    step = 0
    sums = (0.0, 0.0, 0.0)
    for wavelength in range(light.inverse_sharp.shape[0]):
        value = geometry
        if stencil_class == _MIXED:
            across = stretch * light.lateral[wavelength]
            scale = patch_scale(light, light.inverse_sharp[wavelength], inverse_distance, field_squared)
            diameter = 2.0 * light.radius * abs(scale)
            diameter = math.sqrt(diameter * diameter + footprint * footprint)
            if scale < 0.0:
                diameter = -diameter
            seen, step = patch_light(stack, across * slope_x, across * slope_y, diameter, step)
            value *= seen
        for blade in range(light.blades.limits.shape[0]):
            distance, scale = _blade_place(light, blade, wavelength, field_squared, slope_x, slope_y, inverse_distance)
            value *= _blade_light(light, blade, distance, scale, light.radius, footprint)
        sums = _added(sums, weights, material, wavelength, value)
    _store(out, point, sums)


@formula
def _cell_light(light, stack, wavelength, place, ax, ay, cell_share, footprint):
    """Light through one cell of the pupil around (ax, ay) (m) that holds `cell_share` of its area."""
    slope_x, slope_y, inverse_distance, field_squared = place
    squared = ax * ax + ay * ay
    scale = patch_scale(light, light.inverse_sharp[wavelength], inverse_distance, field_squared)
    bend = light.spherical * squared
    across = (1.0 + light.distortion * field_squared) * light.lateral[wavelength] * light.tube_length
    # The spherical term stretches a cell more along the radius than across it; its area decides.
    stretched = math.sqrt(abs((scale + bend) * (scale + 3.0 * bend)))
    radius = light.radius * math.sqrt(light.pupil.area * cell_share)
    diameter = 2.0 * radius * stretched
    diameter = math.sqrt(diameter * diameter + footprint * footprint)
    x = across * slope_x + (scale + bend) * ax
    y = across * slope_y + (scale + bend) * ay
    value, _ = patch_light(stack, x, y, diameter, 0)
    for blade in range(light.blades.limits.shape[0]):
        if value <= 0.0:
            break
        distance, blade_scale = _blade_place(light, blade, wavelength, field_squared, slope_x, slope_y, inverse_distance)
        nx = light.blades.normals[blade, 0]
        ny = light.blades.normals[blade, 1]
        distance -= (blade_scale + bend) * (nx * ax + ny * ay)
        value *= _blade_light(light, blade, distance, blade_scale, radius, footprint)
    return value


@formula
def _cell_by_cell(light, stack, point, position, normal, place, footprint, visibility, state, n_side, weights, material, out):
    """The pupil split into n_side² cells, each with the share of its shadow rays that arrived (if state is a row of them)."""
    share = 1.0 / (n_side * n_side)
    sums = (0.0, 0.0, 0.0)
    area = math.pi * light.radius * light.radius * light.pupil.area * share
    for cell in range(n_side * n_side):
        arrived = 1.0
        if state >= 0:
            arrived = n_arrived(visibility.seen[state, cell]) / RAYS_PER_CELL
            if arrived == 0.0:
                continue
        u = (cell % n_side + 0.5) / n_side
        v = (cell // n_side + 0.5) / n_side
        px, py = pupil_point(light.pupil, u, v)
        ax = light.radius * px
        ay = light.radius * py
        geometry = pupil_geometry(position[0], position[1], position[2], normal[0], normal[1], normal[2], ax, ay)
        if geometry <= 0.0:
            continue
        for wavelength in range(light.inverse_sharp.shape[0]):
            value = _cell_light(light, stack, wavelength, place, ax, ay, share, footprint)
            sums = _added(sums, weights, material, wavelength, arrived * area * geometry * value)
    _store(out, point, sums)


@formula
def _seen_share(visibility, state):
    """Share of a point's shadow rays that arrived."""
    total = 0
    n_cells = visibility.n_side * visibility.n_side
    for cell in range(n_cells):
        total += n_arrived(visibility.seen[state, cell])
    return total / (n_cells * RAYS_PER_CELL)


@formula
def _geometry_by_cells(light, position, normal, visibility, state):
    """Geometry of the whole pupil where it changes across it: the sum over cells, each as far as it is seen."""
    n_side = visibility.n_side if state >= 0 else N_SIDE_LIT
    total = 0.0
    for cell in range(n_side * n_side):
        px, py = pupil_point(light.pupil, (cell % n_side + 0.5) / n_side, (cell // n_side + 0.5) / n_side)
        arrived = n_arrived(visibility.seen[state, cell]) / RAYS_PER_CELL if state >= 0 else 1.0
        if arrived > 0.0:
            ax = light.radius * px
            ay = light.radius * py
            total += arrived * pupil_geometry(position[0], position[1], position[2], normal[0], normal[1], normal[2], ax, ay)
    return total * math.pi * light.radius * light.radius * light.pupil.area / (n_side * n_side)


@formula
def _light_point(light, stack, cell_stack, image, points, visibility, i, weights, out):
    """Add one projector's light at point i."""
    state = visibility.state[i]
    if state == DARK or state == UNKNOWN:
        return
    x, y, z = in_light_frame(light, points.positions[i, 0], points.positions[i, 1], points.positions[i, 2])
    if not z > 1e-6:
        return
    normal = direction_in_light_frame(light, points.normals[i, 0], points.normals[i, 1], points.normals[i, 2])
    inverse_distance = 1.0 / z
    slope_x = x * inverse_distance
    slope_y = y * inverse_distance
    field_squared = field_radius_squared(light, slope_x, slope_y)
    height = -(normal[0] * x + normal[1] * y + normal[2] * z)
    tilt = math.sqrt(normal[0] * normal[0] + normal[1] * normal[1])
    rim = tilt * light.radius * light.pupil.reach
    if height + rim <= 0.0:
        return
    footprint = light.tube_length * footprint_per_tube(points.areas[i], height, z)
    stencil_class = _stencil_class(light, image, field_squared, slope_x, slope_y, inverse_distance, footprint)
    if stencil_class == _NONE:
        return
    n_mixed = 1 if stencil_class == _MIXED else 0
    for blade in range(light.blades.limits.shape[0]):
        blade_class = _blade_class(light, blade, field_squared, slope_x, slope_y, inverse_distance, footprint)
        if blade_class == _NONE:
            return
        n_mixed += 1 if blade_class == _MIXED else 0
    geometry, correction = mean_pupil_geometry(light, x, y, z, normal[0], normal[1], normal[2])
    geometry *= math.pi * light.radius * light.radius * light.pupil.area
    steep = rim > LARGEST_SLOPE * height or correction > LARGEST_CORRECTION
    bends = light.spherical != 0.0 and n_mixed > 0
    place = (slope_x, slope_y, inverse_distance, field_squared)
    material = points.materials[i]
    if state >= 0:
        n_mixed += 1
    if n_mixed == 0 or (n_mixed == 1 and (state >= 0 or not (steep or bends))):
        if steep:
            geometry = _geometry_by_cells(light, (x, y, z), normal, visibility, state)
        elif state >= 0:
            geometry *= _seen_share(visibility, state)
        _whole_pupil(light, stack, i, place, geometry, footprint, stencil_class, weights, material, out)
    else:
        n_side = visibility.n_side if state >= 0 else N_SIDE_PRODUCT if n_mixed >= 2 or bends else N_SIDE_LIT
        _cell_by_cell(light, cell_stack, i, (x, y, z), normal, place, footprint, visibility, state, n_side, weights, material, out)


@kernel
def add_light(light, stack, cell_stack, image, points, squares, visibility, weights, start, stop, out):
    """Add one projector's light to the points of the squares start … stop.

    light a Light; stack and cell_stack a Stack for the whole pupil and for its cells; image a GateImage;
    points Points; squares Squares, how the points lie; visibility Visibility
    weights (n_materials, n_wavelengths, 3): what a unit of (radiance · steradian · cosine) at each wavelength adds to
    the three sums of out (n, 3) float64 or float32: linear colour, or power and light, as the caller folds them.
    """
    for square in range(start, stop):
        if _flags_of_square(light, image, squares, square) == HAS_SHADE:
            continue
        first_row, last_row, first_column, last_column = part_of_square(square, 0, squares.width, squares.height)
        for row in range(first_row, last_row):
            for i in range(row * squares.width + first_column, row * squares.width + last_column):
                _light_point(light, stack, cell_stack, image, points, visibility, i, weights, out)


@formula
def _is_unlit(light, image, points, i):
    """Whether the pattern leaves a point's patch of the gate dark at every wavelength."""
    x, y, z = in_light_frame(light, points.positions[i, 0], points.positions[i, 1], points.positions[i, 2])
    if not z > 1e-6:
        return True
    slope_x = x / z
    slope_y = y / z
    field_squared = field_radius_squared(light, slope_x, slope_y)
    normal = direction_in_light_frame(light, points.normals[i, 0], points.normals[i, 1], points.normals[i, 2])
    footprint = light.tube_length * footprint_per_tube(points.areas[i], -(normal[0] * x + normal[1] * y + normal[2] * z), z)
    return _stencil_class(light, image, field_squared, slope_x, slope_y, 1.0 / z, footprint) == _NONE


@kernel
def mark_unlit(light, image, points, squares, start, stop, state):
    """Set state to UNKNOWN for the points of the squares start … stop that the pattern leaves dark: no ray need be cast for them."""
    for square in range(start, stop):
        flags = _flags_of_square(light, image, squares, square)
        if flags == HAS_LIGHT:
            continue
        first_row, last_row, first_column, last_column = part_of_square(square, 0, squares.width, squares.height)
        for row in range(first_row, last_row):
            for i in range(row * squares.width + first_column, row * squares.width + last_column):
                if flags == HAS_SHADE or _is_unlit(light, image, points, i):
                    state[i] = UNKNOWN
