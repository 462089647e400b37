"""Proof of full light without a ray: nothing reaches into the cone between a point and a pupil.

The tree's boxes are held against six half-spaces round the cone, in float64, so that their margin covers all rounding.
The triangles that remain are seen from the point, where the cone is a disc and a triangle a polygon, and the distance
of the two decides.
"""

from __future__ import annotations

import math

from projector.geometry import add_scaled, cross, dot, normalised, subtract
from projector.jit import formula, kernel
from projector.tracing.rays.bvh_build import STACK_SIZE
from projector.tracing.rays.vectors import (
    CHILD_ROW_BYTES,
    GROUP,
    GROUP_BYTES,
    NODE_BYTES,
    address_of,
    boxes_reaching,
    load_double,
    load_int,
    load_word,
    lowest_bit,
    stack_words,
    store_double,
    store_word,
)

SEGMENT_START = 1e-5
"""A cone is judged for segments traced from this fraction of their length on (15 µm at 1.5 m)."""
_LEAST_CONE = 1.25
"""Balls at the ends of a shaft are taken to differ by this factor at least."""
ROUNDING = 1.0 + 1e-9
"""The disc is taken this much larger, a million times the rounding of the corners seen from the point."""


@formula
def _half_space(normal, point, lift):
    """(rows, normal, level) for `boxes_reaching`: what lies farther than `lift` from a point along a normal."""
    rows = (
        96 if normal[0] >= 0.0 else 0,
        128 if normal[1] >= 0.0 else 32,
        160 if normal[2] >= 0.0 else 64,
    )
    return rows, normal, dot(normal, point) + lift


@formula
def _cone_half_spaces(apex, normal, frame, cone):
    """Six half-spaces that hold all of the cone that counts: over the horizon, before the pupil's end, four sides."""
    across, upward, axis = frame
    end, sine, cosine, least_rise, _ = cone
    back = (-axis[0], -axis[1], -axis[2])
    inward = (axis[0] * sine, axis[1] * sine, axis[2] * sine)
    return (
        _half_space(normal, apex, least_rise),
        _half_space(back, apex, -end),
        _half_space(add_scaled(inward, across, cosine), apex, 0.0),
        _half_space(add_scaled(inward, across, -cosine), apex, 0.0),
        _half_space(add_scaled(inward, upward, cosine), apex, 0.0),
        _half_space(add_scaled(inward, upward, -cosine), apex, 0.0),
    )


@formula
def _boxes_in(node, spaces):
    """Mask of the node's boxes that reach into each of six half-spaces."""
    horizon, end, left, right, above, below = spaces
    mask = boxes_reaching(node, horizon[0], horizon[1], horizon[2])
    mask &= boxes_reaching(node, end[0], end[1], end[2])
    mask &= boxes_reaching(node, left[0], left[1], left[2])
    mask &= boxes_reaching(node, right[0], right[1], right[2])
    mask &= boxes_reaching(node, above[0], above[1], above[2])
    return mask & boxes_reaching(node, below[0], below[1], below[2])


@formula
def _clip(source, n_points, target, component, limit):
    """Keep the part of a polygon where one of its points' four numbers is at least `limit`; returns the points left."""
    n_kept = 0
    for point in range(n_points):
        following = point + 1 if point + 1 < n_points else 0
        here, there = load_double(source, 4 * point + component), load_double(source, 4 * following + component)
        if here >= limit:
            for k in range(4):
                store_double(target, 4 * n_kept + k, load_double(source, 4 * point + k))
            n_kept += 1
        if (here >= limit) != (there >= limit):
            share = (limit - here) / (there - here)
            for k in range(4):
                start = load_double(source, 4 * point + k)
                store_double(target, 4 * n_kept + k, start + share * (load_double(source, 4 * following + k) - start))
            n_kept += 1
    return n_kept


@formula
def _polygon_distance(polygon, n_points):
    """Distance in the plane z = 1 of the origin from a convex polygon of points (x, y, z, ·) with z > 0; 0 inside."""
    nearest, all_left, all_right = math.inf, True, True
    for point in range(n_points):
        following = point + 1 if point + 1 < n_points else 0
        x = load_double(polygon, 4 * point) / load_double(polygon, 4 * point + 2)
        y = load_double(polygon, 4 * point + 1) / load_double(polygon, 4 * point + 2)
        step_x = load_double(polygon, 4 * following) / load_double(polygon, 4 * following + 2) - x
        step_y = load_double(polygon, 4 * following + 1) / load_double(polygon, 4 * following + 2) - y
        turn = x * step_y - y * step_x
        all_left, all_right = all_left and turn >= 0.0, all_right and turn <= 0.0
        squared = step_x * step_x + step_y * step_y
        share = 0.0
        if squared > 0.0:
            share = min(1.0, max(0.0, -(x * step_x + y * step_y) / squared))
        x, y = x + share * step_x, y + share * step_y
        nearest = min(nearest, x * x + y * y)
    if all_left or all_right:
        return 0.0
    return math.sqrt(nearest)


@formula
def _corner_seen(group, corner, lane, apex):
    """A triangle's corner from the apex."""
    return (
        load_double(group, 12 * corner + lane) - apex[0],
        load_double(group, 12 * corner + 4 + lane) - apex[1],
        load_double(group, 12 * corner + 8 + lane) - apex[2],
    )


@formula
def _triangle_may_touch(group, lane, apex, normal, frame, cone, scratch):
    """False if a triangle leaves the cone free between apex and pupil."""
    across, upward, axis = frame
    end, sine, cosine, least_rise, start = cone
    a, b, c = _corner_seen(group, 0, lane, apex), _corner_seen(group, 1, lane, apex), _corner_seen(group, 2, lane, apex)
    rises = (dot(a, normal), dot(b, normal), dot(c, normal))
    if max(rises[0], rises[1], rises[2]) <= least_rise:
        return False
    z = (dot(a, axis), dot(b, axis), dot(c, axis))
    if max(z[0], z[1], z[2]) <= start or min(z[0], z[1], z[2]) > end:
        return False
    # Wholly beside a pyramid round the cone: the common case, and no division.
    x = (dot(a, across), dot(b, across), dot(c, across))
    y = (dot(a, upward), dot(b, upward), dot(c, upward))
    tangent = sine / cosine * ROUNDING
    if min(x[0] - tangent * z[0], x[1] - tangent * z[1], x[2] - tangent * z[2]) > 0.0:
        return False
    if max(x[0] + tangent * z[0], x[1] + tangent * z[1], x[2] + tangent * z[2]) < 0.0:
        return False
    if min(y[0] - tangent * z[0], y[1] - tangent * z[1], y[2] - tangent * z[2]) > 0.0:
        return False
    if max(y[0] + tangent * z[0], y[1] + tangent * z[1], y[2] + tangent * z[2]) < 0.0:
        return False
    for corner in range(3):
        store_double(scratch, 4 * corner, x[corner])
        store_double(scratch, 4 * corner + 1, y[corner])
        store_double(scratch, 4 * corner + 2, z[corner])
        store_double(scratch, 4 * corner + 3, rises[corner])
    # What lies under the tangent plane or before the segments' start blocks none of them.
    clipped = scratch + 8 * 32
    n_points = _clip(scratch, 3, clipped, 3, least_rise)
    n_points = _clip(clipped, n_points, scratch, 2, start)
    if n_points == 0:
        return False
    return _polygon_distance(scratch, n_points) <= tangent


@formula
def _anything_in_cone(nodes, corners, faces, apex, normal, frame, cone):
    """`cone_may_touch` on addresses, for a pupil over the horizon."""
    spaces = _cone_half_spaces(apex, normal, frame, cone)
    scratch = stack_words(64)
    waiting = stack_words(STACK_SIZE)
    n_waiting, current = 0, 0
    while True:
        if current >= 0:
            node = nodes + current * NODE_BYTES
            mask = _boxes_in(node, spaces)
            while mask != 0:
                store_word(waiting, n_waiting, load_int(node + CHILD_ROW_BYTES, lowest_bit(mask)))
                mask &= mask - 1
                n_waiting += 1
        else:
            group = corners + ~current * GROUP_BYTES
            for lane in range(GROUP):
                if load_int(faces, ~current * GROUP + lane) < 0:
                    break
                if _triangle_may_touch(group, lane, apex, normal, frame, cone, scratch):
                    return True
        if n_waiting == 0:
            return False
        n_waiting -= 1
        current = load_word(waiting, n_waiting)


@formula
def _frame_along(axis):
    """Two directions across an axis, and the axis."""
    across = normalised(cross(axis, (1.0, 0.0, 0.0) if abs(axis[0]) < 0.6 else (0.0, 1.0, 0.0)))
    return across, cross(axis, across), axis


@formula
def cone_may_touch(bvh, apex, normal, centre, radius, ray_start):
    """False only if nothing stands between a point and a whole pupil: proof of full light without a ray.

    apex, normal    the point and the unit geometric normal of the surface there, on the pupil's side; 3-tuples
    centre, radius  of the pupil, metres; whatever its tilt, it lies in the ball of this radius

    ray_start       share of a segment's length at its beginning on which nothing is looked for: SEGMENT_START

    When False, no segment from the apex to a point of the pupil is blocked beyond `ray_start` of its length. True
    means "perhaps": some triangle comes near, or the pupil dips under the apex's own horizon. For kernels only.
    """
    to_centre = subtract(centre, apex)
    length = math.sqrt(dot(to_centre, to_centre))
    clearance = dot(to_centre, normal) - radius
    # The negation also catches nan.
    if not (length > radius and clearance > 0.0):
        return True
    axis = (to_centre[0] / length, to_centre[1] / length, to_centre[2] / length)
    sine = radius / length
    # A segment rises by `clearance` at least: what stays lower than this can block only its very beginning.
    least_rise, start = ray_start * clearance, ray_start * (length - radius)
    cone = (length + radius, sine, math.sqrt(1.0 - sine * sine), least_rise, start)
    return _anything_in_cone(
        address_of(bvh.nodes), address_of(bvh.corners), address_of(bvh.faces), apex, normal, _frame_along(axis), cone
    )


@formula
def shaft_may_touch(bvh, middle, spread, unevenness, normal, centre, radius, share, ray_start):
    """False only if nothing stands between a flat patch of surface and a whole pupil: one proof for all its points.

    middle, spread  every point of the patch lies within `spread` metres of `middle`
    unevenness      how far (m) the points lie under the plane through `middle` across `normal`, at most
    share           how much of the way to the pupil is looked at: 1 for all of it

    Two balls, one round the patch and one round the pupil, lie in one cone whose apex is beyond the smaller of them;
    what the patch's own plane hides does not count. True means "perhaps". For kernels only.
    """
    # Of balls of one size the cone would be a cylinder: a patch nearly as wide as the pupil counts as a little wider.
    if spread * _LEAST_CONE > radius and spread < radius * _LEAST_CONE:
        spread = radius * _LEAST_CONE
    to_centre = subtract(centre, middle)
    distance = math.sqrt(dot(to_centre, to_centre))
    clearance = dot(to_centre, normal) - radius - spread
    if not (spread > 0.0 and radius > 0.0 and distance > radius + spread and clearance > 0.0):
        return True
    towards = (to_centre[0] / distance, to_centre[1] / distance, to_centre[2] / distance)
    looked_at = share * (distance + radius)
    if radius > spread:
        axis = towards
        sine = (radius - spread) / distance
        to_middle = spread / sine
        start, end = to_middle - spread, to_middle + looked_at
    else:
        axis = (-towards[0], -towards[1], -towards[2])
        sine = (spread - radius) / distance
        to_middle = spread / sine
        start, end = to_middle - looked_at, to_middle + spread
    apex = add_scaled(middle, axis, -to_middle)
    least_rise = to_middle * dot(axis, normal) - unevenness + ray_start * clearance
    cone = (end, sine, math.sqrt(1.0 - sine * sine), least_rise, start)
    return _anything_in_cone(
        address_of(bvh.nodes), address_of(bvh.corners), address_of(bvh.faces), apex, normal, _frame_along(axis), cone
    )


@kernel
def cones_may_touch(bvh, apexes, normals, centre, radius, start, stop, perhaps):
    """`cone_may_touch` for points [start, stop): apexes, normals (n, 3) float64, one pupil;
    perhaps (n,) bool filled.
    """
    for point in range(start, stop):
        apex = (apexes[point, 0], apexes[point, 1], apexes[point, 2])
        normal = (normals[point, 0], normals[point, 1], normals[point, 2])
        perhaps[point] = cone_may_touch(bvh, apex, normal, centre, radius, SEGMENT_START)
