"""The light that projectors put on points: classified first, looked up where it can be, split into cells where not.

For each point: is its patch of the gate dark, open or mixed; which blades cut it; what of the pupil does it see? While
at most one of these three is mixed, the mean of their product is the product of their means and one look-up answers
the whole integral over the pupil. Otherwise the pupil is split into cells, each with a smaller patch of its own.
"""

from __future__ import annotations

import math

import numpy as np

from projector.jit import formula, kernel
from projector.tracing.gate.gate_image import HAS_LIGHT, HAS_SHADE, gate_flags
from projector.tracing.gate.lens_law import (
    blade_open_share,
    field_radius_squared,
    light_reach,
    mean_pupil_geometry,
    pupil_geometry,
    straight_slopes,
)
from projector.tracing.gate.patch_lanes import (
    LANES,
    PASSED,
    SUM,
    TABLE_WORDS,
    add_cells,
    add_open,
    add_patches,
    choose_patches,
    clear_patches,
    join_cells,
)
from projector.tracing.light.pupil_cells import share_arrived, share_seen
from projector.tracing.rays.vectors import address_of, load_float, stack_words, store_float
from projector.tracing.sight.emitter import direction_in_light_frame, in_light_frame
from projector.tracing.sight.points import DARK, UNKNOWN
from projector.tracing.sight.squares import footprint_per_tube, part_of_square

# The cosine on the surface may change by this share from the pupil's middle to its rim; beyond it the light differs too
# much across the pupil for one look-up. At an edge of the pattern the product of the means is then wrong by under 1 %:
# the covariance of a ramp of ±5 % with a step is at most 0.05 · 2/(3π) of full light.
LARGEST_SLOPE = 0.05
# A correction of the pupil's mean geometry beyond this share asks for cells.
LARGEST_CORRECTION = 0.02
_NONE, _OPEN, _MIXED = 0, 1, 2


@formula
def _stencil_class(light, image, field_squared, slope_x, slope_y, inverse_distance, footprint):
    """Whether the patches of all wavelengths together are dark, open or mixed in the gate's picture."""
    low = light.tube_length * light.lateral_range[0]
    high = light.tube_length * light.lateral_range[1]
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
def _blade_place(light, blade, wavelength, field_squared, slope_x, slope_y, inverse_distance):
    """Distance (m) of a blade's edge from the patch's middle in the blade's plane, and the patch's signed scale."""
    blades = light.blades
    tube = blades.tube_lengths[blade]
    spread = light.lateral[wavelength] * tube
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
        largest = light.emitter.reach
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
    reach = light.emitter.outline.reach
    if scale >= 0.0:
        return blade_open_share(light.blades, blade, distance / half, reach)
    return 1.0 - blade_open_share(light.blades, blade, -distance / half, reach)


@formula
def _choose(light, parts, stack, first, place, bend, diameter, footprint, table):
    """Make the table ready for eight wavelengths' patches of the whole pupil or of a cell of it."""
    slope_x, slope_y, inverse_distance, field_squared = place
    n_steps = stack.diameters.shape[0]
    choose_patches(
        table,
        (
            address_of(stack.texels),
            address_of(stack.levels),
            address_of(stack.diameters),
            n_steps,
            n_steps if stack.n_signs == 2 else 0,
        ),
        (np.float32(stack.middle[0]), np.float32(stack.middle[1]), np.float32(stack.middle[2])),
        address_of(parts.inverse_sharp) + 4 * first,
        address_of(parts.lateral) + 4 * first,
        (
            np.float32(light.tube_length),
            np.float32(inverse_distance - light.curvature * field_squared),
            np.float32(bend),
            np.float32(diameter),
            np.float32(footprint),
            np.float32(light.tube_length * slope_x),
            np.float32(light.tube_length * slope_y),
        ),
    )


@formula
def _take_blades(light, first, place, bend, ax, ay, radius, footprint, table):
    """Write to the table what the blades leave of eight wavelengths' patches around (ax, ay) in the pupil (m)."""
    slope_x, slope_y, inverse_distance, field_squared = place
    for wavelength in range(first, min(first + LANES, light.inverse_sharp.shape[0])):
        passed = 1.0
        for blade in range(light.blades.limits.shape[0]):
            distance, scale = _blade_place(light, blade, wavelength, field_squared, slope_x, slope_y, inverse_distance)
            distance -= (scale + bend) * (light.blades.normals[blade, 0] * ax + light.blades.normals[blade, 1] * ay)
            passed *= _blade_light(light, blade, distance, scale, radius, footprint)
        store_float(table, PASSED * LANES + wavelength - first, np.float32(passed))


@formula
def _weigh(light, weights, material, first, table, out, point):
    """Add eight wavelengths' light, weighted, to a point's sums."""
    red = green = blue = 0.0
    for wavelength in range(first, min(first + LANES, light.inverse_sharp.shape[0])):
        here = load_float(table, SUM * LANES + wavelength - first)
        red += weights[material, wavelength, 0] * here
        green += weights[material, wavelength, 1] * here
        blue += weights[material, wavelength, 2] * here
    out[point, 0] += red
    out[point, 1] += green
    out[point, 2] += blue


@formula
def _open_pupil(geometry, weights, material, out, point):
    """All wavelengths come whole: neither the stencil nor a blade stands in the way of any."""
    red = green = blue = 0.0
    for wavelength in range(weights.shape[1]):
        red += weights[material, wavelength, 0]
        green += weights[material, wavelength, 1]
        blue += weights[material, wavelength, 2]
    out[point, 0] += geometry * red
    out[point, 1] += geometry * green
    out[point, 2] += geometry * blue


@formula
def _whole_pupil(light, parts, stack, point, place, geometry, footprint, stencil_class, weights, material, table, out):
    """One look-up a wavelength: at most one of stencil, blades and shadow is mixed."""
    for first in range(0, light.inverse_sharp.shape[0], LANES):
        clear_patches(table)
        if light.blades.limits.shape[0] > 0:
            _take_blades(light, first, place, 0.0, 0.0, 0.0, light.emitter.radius, footprint, table)
        if stencil_class == _MIXED:
            _choose(light, parts, stack, first, place, 0.0, 2.0 * light.emitter.radius, footprint, table)
            add_patches(table, np.float32(0.0), np.float32(0.0), np.float32(geometry))
        else:
            add_open(table, np.float32(geometry))
        _weigh(light, weights, material, first, table, out, point)


@formula
def _cell_by_cell(
    light,
    parts,
    cells,
    is_sparse,
    stack,
    cell_stack,
    point,
    position,
    normal,
    place,
    footprint,
    visibility,
    state,
    weights,
    material,
    table,
    out,
):
    """The pupil split into cells around centres (k, 2), each as far as it is seen; where the stencil is sparse held to
    the whole pupil.
    """
    n_cells = cells.shape[0]
    radius = light.emitter.radius * math.sqrt(light.emitter.outline.area / n_cells)
    area = math.pi * radius * radius
    joins = is_sparse and light.spherical == 0.0
    for first in range(0, light.inverse_sharp.shape[0], LANES):
        clear_patches(table)
        if light.spherical == 0.0:
            _choose(light, parts, cell_stack, first, place, 0.0, 2.0 * radius, footprint, table)
        clear = 0.0
        for cell in range(n_cells):
            arrived = share_arrived(visibility, state, cell, n_cells)
            if arrived == 0.0 and not joins:
                continue
            ax = cells[cell, 0]
            ay = cells[cell, 1]
            geometry = area * pupil_geometry(
                position[0], position[1], position[2], normal[0], normal[1], normal[2], ax, ay
            )
            if geometry <= 0.0:
                continue
            clear += geometry
            bend = light.spherical * (ax * ax + ay * ay)
            if light.spherical != 0.0:
                _choose(light, parts, cell_stack, first, place, bend, 2.0 * radius, footprint, table)
            if light.blades.limits.shape[0] > 0:
                _take_blades(light, first, place, bend, ax, ay, radius, footprint, table)
            if joins:
                add_cells(table, np.float32(ax), np.float32(ay), np.float32(geometry), np.float32(arrived))
            else:
                add_patches(table, np.float32(ax), np.float32(ay), np.float32(arrived * geometry))
        if joins and clear > 0.0:
            _choose(light, parts, stack, first, place, 0.0, 2.0 * light.emitter.radius, footprint, table)
            join_cells(table, np.float32(clear))
        _weigh(light, weights, material, first, table, out, point)


@formula
def _geometry_by_cells(light, cells, position, normal, visibility, state):
    """Geometry of the whole pupil where it changes across it: the sum over cells around centres (k, 2), each as far as
    it is seen.
    """
    n_cells = cells.shape[0]
    total = 0.0
    for cell in range(n_cells):
        arrived = share_arrived(visibility, state, cell, n_cells)
        if arrived > 0.0:
            total += arrived * pupil_geometry(
                position[0], position[1], position[2], normal[0], normal[1], normal[2], cells[cell, 0], cells[cell, 1]
            )
    return total * math.pi * light.emitter.radius * light.emitter.radius * light.emitter.outline.area / n_cells


@formula
def _light_point(light, parts, stack, cell_stack, image, points, visibility, i, flags, weights, table, out):
    """Add one projector's light at point i; flags: those of its square in the gate's picture."""
    state = visibility.state[i]
    if state in (DARK, UNKNOWN):
        return
    x, y, z = in_light_frame(light.emitter, points.positions[i, 0], points.positions[i, 1], points.positions[i, 2])
    if not z > 1e-6:
        return
    normal = direction_in_light_frame(light.emitter, points.normals[i, 0], points.normals[i, 1], points.normals[i, 2])
    inverse_distance = 1.0 / z
    slope_x, slope_y = straight_slopes(light, x * inverse_distance, y * inverse_distance)
    field_squared = field_radius_squared(light, slope_x, slope_y)
    height = -(normal[0] * x + normal[1] * y + normal[2] * z)
    tilt = math.sqrt(normal[0] * normal[0] + normal[1] * normal[1])
    rim = tilt * light.emitter.reach
    if height + rim <= 0.0:
        return
    footprint = light.tube_length * footprint_per_tube(points.areas[i], height, z)
    stencil_class = (
        _OPEN
        if flags == HAS_LIGHT
        else _stencil_class(light, image, field_squared, slope_x, slope_y, inverse_distance, footprint)
    )
    if stencil_class == _NONE:
        return
    n_mixed = 1 if stencil_class == _MIXED else 0
    for blade in range(light.blades.limits.shape[0]):
        blade_class = _blade_class(light, blade, field_squared, slope_x, slope_y, inverse_distance, footprint)
        if blade_class == _NONE:
            return
        n_mixed += 1 if blade_class == _MIXED else 0
    geometry, correction = mean_pupil_geometry(light, x, y, z, normal[0], normal[1], normal[2])
    steep = rim > LARGEST_SLOPE * height or abs(correction) > LARGEST_CORRECTION * (geometry - correction)
    geometry *= math.pi * light.emitter.radius * light.emitter.radius * light.emitter.outline.area
    bends = light.spherical != 0.0 and n_mixed > 0
    place = (slope_x, slope_y, inverse_distance, field_squared)
    material = points.materials[i]
    in_the_open = n_mixed == 0
    n_mixed += 1 if state >= 0 else 0
    if n_mixed == 0 or (n_mixed == 1 and (state >= 0 or not (steep or bends))):
        if steep:
            geometry = _geometry_by_cells(
                light, parts.seen if state >= 0 else parts.lit, (x, y, z), normal, visibility, state
            )
        elif state >= 0:
            geometry *= share_seen(visibility, state)
        if in_the_open:
            _open_pupil(geometry, weights, material, out, i)
        else:
            _whole_pupil(
                light, parts, stack, i, place, geometry, footprint, stencil_class, weights, material, table, out
            )
    else:
        # Behind small openings far out of focus a point sees little of the pupil lit: that is cut finer.
        is_sparse = (
            stencil_class == _MIXED and 2.0 * light_reach(light, inverse_distance, field_squared) > stack.sparse_from
        )
        if state >= 0:
            cells = parts.fine_seen if is_sparse else parts.seen
        elif n_mixed >= 2 or bends:
            cells = parts.fine_product if is_sparse else parts.product
        else:
            cells = parts.lit
        _cell_by_cell(
            light,
            parts,
            cells,
            is_sparse,
            stack,
            cell_stack,
            i,
            (x, y, z),
            normal,
            place,
            footprint,
            visibility,
            state,
            weights,
            material,
            table,
            out,
        )


@kernel
def add_light(light, parts, stack, cell_stack, image, points, squares, visibility, weights, start, stop, out):
    """Add one projector's light to the points of the squares start … stop.

    light a Projection; parts its PupilParts for the visibility's n_side; stack and cell_stack a Stack for the whole
    pupil and for its cells; image a GateImage; points Points; squares Squares, how the points lie; visibility
    Visibility
    weights (n_materials, n_wavelengths, 3): what a unit of (radiance · steradian · cosine) at each wavelength adds to
    the three sums of out (n, 3) float64 or float32: linear colour, or power and light, as the caller folds them.
    """
    table = stack_words(TABLE_WORDS)
    for square in range(start, stop):
        flags = _flags_of_square(light, image, squares, square)
        if flags == HAS_SHADE:
            continue
        first_row, last_row, first_column, last_column = part_of_square(square, 0, squares.width, squares.height)
        for row in range(first_row, last_row):
            for i in range(row * squares.width + first_column, row * squares.width + last_column):
                _light_point(light, parts, stack, cell_stack, image, points, visibility, i, flags, weights, table, out)


@formula
def _is_unlit(light, image, points, i):
    """Whether the pattern leaves a point's patch of the gate dark at every wavelength."""
    x, y, z = in_light_frame(light.emitter, points.positions[i, 0], points.positions[i, 1], points.positions[i, 2])
    if not z > 1e-6:
        return True
    slope_x, slope_y = straight_slopes(light, x / z, y / z)
    field_squared = field_radius_squared(light, slope_x, slope_y)
    normal = direction_in_light_frame(light.emitter, points.normals[i, 0], points.normals[i, 1], points.normals[i, 2])
    footprint = light.tube_length * footprint_per_tube(
        points.areas[i], -(normal[0] * x + normal[1] * y + normal[2] * z), z
    )
    return _stencil_class(light, image, field_squared, slope_x, slope_y, 1.0 / z, footprint) == _NONE


@kernel
def mark_unlit(light, image, points, squares, start, stop, state):
    """Set state to UNKNOWN for the points of the squares start … stop that the pattern leaves dark: no ray need be cast
    for them.
    """
    for square in range(start, stop):
        flags = _flags_of_square(light, image, squares, square)
        if flags == HAS_LIGHT:
            continue
        first_row, last_row, first_column, last_column = part_of_square(square, 0, squares.width, squares.height)
        for row in range(first_row, last_row):
            for i in range(row * squares.width + first_column, row * squares.width + last_column):
                if flags == HAS_SHADE or _is_unlit(light, image, points, i):
                    state[i] = UNKNOWN
