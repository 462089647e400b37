"""The light that projectors put on points: classified first, looked up where it can be, split into cells where not.

For each point: is its patch of the gate dark, open or mixed; which blades cut it; what of the pupil does it see? While
at most one of these three is mixed, the mean of their product is the product of their means and one look-up answers
the whole integral over the pupil. Otherwise the pupil is split into cells, each with a smaller patch of its own.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from projector.jit import formula, kernel
from projector.tracing.gate.blur_stack import Stack
from projector.tracing.gate.gate_image import HAS_LIGHT, HAS_SHADE, GateImage
from projector.tracing.gate.lens_law import (
    Projection,
    blade_open_share,
    light_reach,
    mean_pupil_geometry,
    mean_pupil_geometry_in_air,
    pupil_geometry,
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
from projector.tracing.light.patches import (
    MIXED,
    NONE,
    OPEN,
    blade_class,
    blade_of_spot,
    flags_of_square,
    spot_of,
    stencil_class,
)
from projector.tracing.light.pupil_cells import PupilParts, share_arrived, share_seen
from projector.tracing.rays.vectors import address_of, load_float, stack_words, store_float
from projector.tracing.sight.emitter import in_light_frame
from projector.tracing.sight.points import DARK, IN_AIR, SURFACE, UNKNOWN
from projector.tracing.sight.squares import part_of_square

# The cosine on the surface may change by this share from the pupil's middle to its rim; beyond it the light differs too
# much across the pupil for one look-up. At an edge of the pattern the product of the means is then wrong by under 1 %:
# the covariance of a ramp of ±5 % with a step is at most 0.05 · 2/(3π) of full light.
LARGEST_SLOPE = 0.05
# A correction of the pupil's mean geometry beyond this share asks for cells.
LARGEST_CORRECTION = 0.02
# Of points in the air, which come by the hundred along a ray, twice the pupil's width before it: what the next order of
# the correction would add is its square.
LARGEST_CORRECTION_IN_AIR = 0.1


class Pattern(NamedTuple):
    """A projector ready for look-ups: its pupil in parts for the n_side of a Visibility, a stack of blurred pictures
    for the whole pupil and one for its cells, and the gate's picture.
    """

    light: Projection
    parts: PupilParts
    stack: Stack
    cell_stack: Stack
    image: GateImage


class _Sums(NamedTuple):
    """Where a point's light is added up: out (n, n_channels) at `point`, weights (n_materials, n_wavelengths,
    n_channels) in the row of its material, and the address of its table of patches.
    """

    table: int
    weights: np.ndarray
    material: int
    out: np.ndarray
    point: int


class _Seen(NamedTuple):
    """How a point takes its light: its receiver, and what it sees of the pupil by its state (a row of the rays that
    arrive, or below 0 for all of it).
    """

    receiver: int
    visibility: tuple
    state: int


class _Patch(NamedTuple):
    """A patch of the whole pupil, or of a cell round (ax, ay) of that radius, m, stretched by `bend`."""

    bend: float
    ax: float
    ay: float
    radius: float


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
def _choose(pattern, stack, first, spot, patch, table):
    """Make the table ready for eight wavelengths' patches of the whole pupil or of a cell of it."""
    light = pattern.light
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
        address_of(pattern.parts.inverse_sharp) + 4 * first,
        address_of(pattern.parts.lateral) + 4 * first,
        (
            np.float32(light.tube_length),
            np.float32(spot.inverse_distance - light.curvature * spot.field_squared),
            np.float32(patch.bend),
            np.float32(2.0 * patch.radius),
            np.float32(spot.footprint),
            np.float32(light.tube_length * spot.slope_x),
            np.float32(light.tube_length * spot.slope_y),
        ),
    )


@formula
def _take_blades(light, first, spot, patch, table):
    """Write to the table what the blades leave of eight wavelengths' patches."""
    normals = light.blades.normals
    for wavelength in range(first, min(first + LANES, light.inverse_sharp.shape[0])):
        passed = 1.0
        for blade in range(light.blades.limits.shape[0]):
            distance, scale = blade_of_spot(light, blade, wavelength, spot)
            distance -= (scale + patch.bend) * (normals[blade, 0] * patch.ax + normals[blade, 1] * patch.ay)
            passed *= _blade_light(light, blade, distance, scale, patch.radius, spot.footprint)
        store_float(table, PASSED * LANES + wavelength - first, np.float32(passed))


@formula
def _weigh(n_wavelengths, first, sums):
    """Add eight wavelengths' light, weighted, to a point's channels."""
    last = min(first + LANES, n_wavelengths)
    for channel in range(sums.weights.shape[2]):
        total = 0.0
        for wavelength in range(first, last):
            here = load_float(sums.table, SUM * LANES + wavelength - first)
            total += sums.weights[sums.material, wavelength, channel] * here
        sums.out[sums.point, channel] += total


@formula
def _open_pupil(geometry, sums):
    """All wavelengths come whole: neither the stencil nor a blade stands in the way of any."""
    for channel in range(sums.weights.shape[2]):
        total = 0.0
        for wavelength in range(sums.weights.shape[1]):
            total += sums.weights[sums.material, wavelength, channel]
        sums.out[sums.point, channel] += geometry * total


@formula
def _whole_pupil(pattern, spot, geometry, is_mixed, sums):
    """One look-up a wavelength: at most one of stencil, blades and shadow is mixed."""
    light = pattern.light
    whole = _Patch(0.0, 0.0, 0.0, light.emitter.radius)
    for first in range(0, light.inverse_sharp.shape[0], LANES):
        clear_patches(sums.table)
        if light.blades.limits.shape[0] > 0:
            _take_blades(light, first, spot, whole, sums.table)
        if is_mixed:
            _choose(pattern, pattern.stack, first, spot, whole, sums.table)
            add_patches(sums.table, np.float32(0.0), np.float32(0.0), np.float32(geometry))
        else:
            add_open(sums.table, np.float32(geometry))
        _weigh(light.inverse_sharp.shape[0], first, sums)


@formula
def _cell_geometry(spot, receiver, ax, ay):
    """`pupil_geometry` of a spot, behind what air there is."""
    x, y, z = spot.position
    return spot.kept * pupil_geometry(receiver, x, y, z, spot.normal[0], spot.normal[1], spot.normal[2], ax, ay)


@formula
def _cell_by_cell(pattern, spot, seen, cells, is_sparse, sums):
    """The pupil split into cells around centres (k, 2), each as far as it is seen; where the stencil is sparse held to
    the whole pupil.
    """
    light, table = pattern.light, sums.table
    n_cells = cells.shape[0]
    radius = light.emitter.radius * math.sqrt(light.emitter.outline.area / n_cells)
    area = math.pi * radius * radius
    joins = is_sparse and light.spherical == 0.0
    for first in range(0, light.inverse_sharp.shape[0], LANES):
        clear_patches(table)
        if light.spherical == 0.0:
            _choose(pattern, pattern.cell_stack, first, spot, _Patch(0.0, 0.0, 0.0, radius), table)
        clear = 0.0
        for cell in range(n_cells):
            arrived = share_arrived(seen.visibility, seen.state, cell, n_cells)
            if arrived == 0.0 and not joins:
                continue
            ax = cells[cell, 0]
            ay = cells[cell, 1]
            geometry = area * _cell_geometry(spot, seen.receiver, ax, ay)
            if geometry <= 0.0:
                continue
            clear += geometry
            patch = _Patch(light.spherical * (ax * ax + ay * ay), ax, ay, radius)
            if light.spherical != 0.0:
                _choose(pattern, pattern.cell_stack, first, spot, patch, table)
            if light.blades.limits.shape[0] > 0:
                _take_blades(light, first, spot, patch, table)
            if joins:
                add_cells(table, np.float32(ax), np.float32(ay), np.float32(geometry), np.float32(arrived))
            else:
                add_patches(table, np.float32(ax), np.float32(ay), np.float32(arrived * geometry))
        if joins and clear > 0.0:
            _choose(pattern, pattern.stack, first, spot, _Patch(0.0, 0.0, 0.0, light.emitter.radius), table)
            join_cells(table, np.float32(clear))
        _weigh(light.inverse_sharp.shape[0], first, sums)


@formula
def _geometry_by_cells(light, spot, seen, cells):
    """Geometry of the whole pupil where it changes across it: the sum over cells around centres (k, 2), each as far as
    it is seen.
    """
    n_cells = cells.shape[0]
    total = 0.0
    for cell in range(n_cells):
        arrived = share_arrived(seen.visibility, seen.state, cell, n_cells)
        if arrived > 0.0:
            total += arrived * _cell_geometry(spot, seen.receiver, cells[cell, 0], cells[cell, 1])
    return total * math.pi * light.emitter.radius * light.emitter.radius * light.emitter.outline.area / n_cells


@formula
def _mean_geometry(light, spot, receiver):
    """(geometry of the whole pupil, whether it changes too much across it for one look-up)."""
    x, y, z = spot.position
    normal, emitter = spot.normal, light.emitter
    area = spot.kept * math.pi * emitter.radius * emitter.radius * emitter.outline.area
    if receiver == IN_AIR:
        geometry, correction = mean_pupil_geometry_in_air(light, x, y, z)
        return area * geometry, abs(correction) > LARGEST_CORRECTION_IN_AIR * (geometry - correction)
    geometry, correction = mean_pupil_geometry(light, x, y, z, normal[0], normal[1], normal[2])
    rim = math.sqrt(normal[0] * normal[0] + normal[1] * normal[1]) * emitter.radius * emitter.outline.reach
    steep = rim > LARGEST_SLOPE * spot.height or abs(correction) > LARGEST_CORRECTION * (geometry - correction)
    geometry *= area
    # What a dome takes has no closed mean here: it is summed over cells.
    return geometry, steep or receiver != SURFACE


@formula
def _cells_for(pattern, spot, seen, stencil, is_product):
    """(centres of the cells that a point's pupil is split into, whether the stencil is sparse there)."""
    parts = pattern.parts
    # Behind small openings far out of focus a point sees little of the pupil lit: that is cut finer.
    reach = light_reach(pattern.light, spot.inverse_distance, spot.field_squared)
    is_sparse = stencil == MIXED and 2.0 * reach > pattern.stack.sparse_from
    if seen.state >= 0:
        return (parts.fine_seen if is_sparse else parts.seen), is_sparse
    if is_product:
        return (parts.fine_product if is_sparse else parts.product), is_sparse
    return parts.lit, is_sparse


@formula
def _n_mixed_blades(light, spot):
    """How many blades run across a spot's patches; −1 where one of them covers them."""
    n_mixed = 0
    for blade in range(light.blades.limits.shape[0]):
        found = blade_class(light, blade, spot)
        if found == NONE:
            return -1
        n_mixed += 1 if found == MIXED else 0
    return n_mixed


@formula
def _is_over_horizon(light, spot, receiver):
    """Whether a point faces any of the pupil; a dome and a point in the air see all round."""
    normal = spot.normal
    tilt = math.sqrt(normal[0] * normal[0] + normal[1] * normal[1])
    return receiver != SURFACE or spot.height + tilt * light.emitter.radius * light.emitter.outline.reach > 0.0


@formula
def _light_point(pattern, points, visibility, i, flags, weights, table, out):
    """Add one projector's light at point i; flags: those of its square in the gate's picture."""
    light, state = pattern.light, visibility.state[i]
    if state in (DARK, UNKNOWN):
        return
    position = in_light_frame(light.emitter, points.positions[i, 0], points.positions[i, 1], points.positions[i, 2])
    if not position[2] > light.nearest:
        return
    spot = spot_of(light, points, i, position)
    if not _is_over_horizon(light, spot, points.receiver):
        return
    stencil = OPEN if flags == HAS_LIGHT else stencil_class(light, pattern.image, spot)
    if stencil == NONE:
        return
    n_mixed = _n_mixed_blades(light, spot)
    if n_mixed < 0:
        return
    n_mixed += 1 if stencil == MIXED else 0
    geometry, steep = _mean_geometry(light, spot, points.receiver)
    bends = light.spherical != 0.0 and n_mixed > 0
    in_the_open = n_mixed == 0
    n_mixed += 1 if state >= 0 else 0
    seen = _Seen(points.receiver, visibility, state)
    sums = _Sums(table, weights, points.materials[i], out, i)
    if n_mixed == 0 or (n_mixed == 1 and (state >= 0 or not (steep or bends))):
        if steep:
            geometry = _geometry_by_cells(light, spot, seen, pattern.parts.seen if state >= 0 else pattern.parts.lit)
        elif state >= 0:
            geometry *= share_seen(visibility, state)
        if in_the_open:
            _open_pupil(geometry, sums)
        else:
            _whole_pupil(pattern, spot, geometry, stencil == MIXED, sums)
    else:
        cells, is_sparse = _cells_for(pattern, spot, seen, stencil, n_mixed >= 2 or bends)
        _cell_by_cell(pattern, spot, seen, cells, is_sparse, sums)


@kernel
def add_light(pattern, points, squares, visibility, weights, start, stop, out):
    """Add one projector's light to the points of the squares start … stop.

    pattern a Pattern; points Points, whose receiver says what takes the light; squares Squares, how the points lie;
    visibility Visibility; weights (n_materials, n_wavelengths, n_channels): what a unit of (radiance · steradian ·
    cosine) at each wavelength adds to the sums of out (n, n_channels) float64 or float32: linear colour, power and
    light, or every wavelength by itself, as the caller folds them.
    """
    table = stack_words(TABLE_WORDS)
    for square in range(start, stop):
        flags = flags_of_square(pattern.light, pattern.image, squares, square)
        if flags == HAS_SHADE:
            continue
        first_row, last_row, first_column, last_column = part_of_square(square, 0, squares.width, squares.height)
        for row in range(first_row, last_row):
            for i in range(row * squares.width + first_column, row * squares.width + last_column):
                _light_point(pattern, points, visibility, i, flags, weights, table, out)
