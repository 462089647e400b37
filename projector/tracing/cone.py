"""Proof of full light without a ray: nothing reaches into the cone between a point and a pupil.

The tree's boxes are held against half-spaces that contain the cone; the triangles that remain are seen from the point,
where the cone is a disc and a triangle a polygon, and the distance of the two decides.
"""

from __future__ import annotations

import math

from projector.geometry import cross, dot, normalised, subtract
from projector.jit import formula, kernel
from projector.tracing.bvh_build import STACK_SIZE
from projector.tracing.vectors import (
    CHILD_ROW_BYTES,
    GROUP,
    GROUP_BYTES,
    NODE_BYTES,
    WIDTH,
    address_of,
    load_double,
    load_float,
    load_int,
    load_word,
    stack_words,
    store_double,
    store_word,
)

SEGMENT_START = 1e-5
"""A cone is judged for segments traced from this fraction of their length on (15 µm at 1.5 m)."""
ROUNDING = 1.0 + 1e-9
"""The disc is taken this much larger, a million times the rounding of the corners seen from the point."""


@formula
def _child_box(node, lane):
    """(middle, half size) of a child's box, float64."""
    low_x, low_y, low_z = float(load_float(node, lane)), float(load_float(node, lane + 8)), float(load_float(node, lane + 16))
    half = (
        0.5 * (float(load_float(node, lane + 24)) - low_x),
        0.5 * (float(load_float(node, lane + 32)) - low_y),
        0.5 * (float(load_float(node, lane + 40)) - low_z),
    )
    return (low_x + half[0], low_y + half[1], low_z + half[2]), half


@formula
def _reach(half, direction):
    """How far a box of this half size reaches from its middle in a direction (times the direction's length)."""
    return half[0] * abs(direction[0]) + half[1] * abs(direction[1]) + half[2] * abs(direction[2])


@formula
def _box_may_touch(middle, half, normal, cone):
    """False if a box, seen from the apex, lies wholly beside the cone, behind it or under the tangent plane."""
    axis, length, radius, sine, cosine, least_rise = cone
    if dot(middle, normal) + _reach(half, normal) <= least_rise:
        return False
    along = dot(middle, axis)
    ahead = _reach(half, axis)
    if along + ahead < 0.0 or along - ahead > length + radius:
        return False
    outward = (middle[0] - along * axis[0], middle[1] - along * axis[1], middle[2] - along * axis[2])
    distance = math.sqrt(dot(outward, outward))
    if distance == 0.0:
        return True
    # The plane that touches the cone on the box's side: its normal leans back by the half-angle.
    scale = cosine / distance
    side = (outward[0] * scale - axis[0] * sine, outward[1] * scale - axis[1] * sine, outward[2] * scale - axis[2] * sine)
    return distance * cosine - along * sine <= _reach(half, side)


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
def _triangle_may_touch(group, lane, apex, normal, cone, across, upward, scratch):
    """False if a triangle leaves the cone free between apex and pupil."""
    axis, length, radius, sine, cosine, least_rise = cone
    clipped = scratch + 8 * 32
    highest, farthest, closest = -math.inf, -math.inf, math.inf
    for corner in range(3):
        x = load_double(group, 12 * corner + lane) - apex[0]
        y = load_double(group, 12 * corner + 4 + lane) - apex[1]
        z = load_double(group, 12 * corner + 8 + lane) - apex[2]
        seen = (x, y, z)
        along, rise = dot(seen, axis), dot(seen, normal)
        store_double(scratch, 4 * corner, dot(seen, across))
        store_double(scratch, 4 * corner + 1, dot(seen, upward))
        store_double(scratch, 4 * corner + 2, along)
        store_double(scratch, 4 * corner + 3, rise)
        highest, farthest, closest = max(highest, rise), max(farthest, along), min(closest, along)
    start = SEGMENT_START * (length - radius)
    if highest <= least_rise or farthest <= start or closest > length + radius:
        return False
    # What lies under the tangent plane or before the segments' start blocks none of them.
    n_points = _clip(scratch, 3, clipped, 3, least_rise)
    n_points = _clip(clipped, n_points, scratch, 2, start)
    if n_points == 0:
        return False
    return _polygon_distance(scratch, n_points) * cosine <= sine * ROUNDING


@formula
def cone_may_touch(bvh, apex, normal, centre, radius):
    """False only if nothing stands between a point and a whole pupil: proof of full light without a ray.

    apex, normal    the point and the unit geometric normal of the surface there, on the pupil's side; 3-tuples
    centre, radius  of the pupil, metres; whatever its tilt, it lies in the ball of this radius

    When False, no segment from the apex to a point of the pupil is blocked beyond `SEGMENT_START` of its length. True
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
    cone = (axis, length, radius, sine, math.sqrt(1.0 - sine * sine), SEGMENT_START * clearance)
    across = normalised(cross(axis, (1.0, 0.0, 0.0) if abs(axis[0]) < 0.6 else (0.0, 1.0, 0.0)))
    upward = cross(axis, across)
    nodes, corners, faces = address_of(bvh.nodes), address_of(bvh.corners), address_of(bvh.faces)
    scratch = stack_words(64)
    waiting = stack_words(STACK_SIZE)
    n_waiting, current = 0, 0
    while True:
        if current >= 0:
            node = nodes + current * NODE_BYTES
            for lane in range(WIDTH):
                middle, half = _child_box(node, lane)
                if half[0] > 0.0 and _box_may_touch(subtract(middle, apex), half, normal, cone):
                    store_word(waiting, n_waiting, load_int(node + CHILD_ROW_BYTES, lane))
                    n_waiting += 1
        else:
            group = corners + ~current * GROUP_BYTES
            for lane in range(GROUP):
                if load_int(faces, ~current * GROUP + lane) < 0:
                    break
                if _triangle_may_touch(group, lane, apex, normal, cone, across, upward, scratch):
                    return True
        if n_waiting == 0:
            return False
        n_waiting -= 1
        current = load_word(waiting, n_waiting)


@kernel
def cones_may_touch(bvh, apexes, normals, centre, radius, start, stop, perhaps):
    """`cone_may_touch` for points [start, stop): apexes, normals (n, 3) float64, one pupil; perhaps (n,) bool filled."""
    for point in range(start, stop):
        apex = (apexes[point, 0], apexes[point, 1], apexes[point, 2])
        normal = (normals[point, 0], normals[point, 1], normals[point, 2])
        perhaps[point] = cone_may_touch(bvh, apex, normal, centre, radius)
