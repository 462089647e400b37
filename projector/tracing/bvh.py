"""Rays against a mesh: the nearest triangle on a ray, whether anything blocks a segment, what may shade a point.

Triangles are tested in float64 as in S. Woop, C. Benthin and I. Wald, "Watertight ray/triangle intersection" (Journal
of Computer Graphics Techniques 2(1), 2013): both sides of an edge compute the same product with opposite signs, so no
ray slips between two triangles. Boxes are float32, rounded outward and grown by more than a float64 ray's error.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from projector.geometry import cross, dot, normalised, subtract
from projector.jit import formula, kernel
from projector.tracing.bvh_build import GROUP, grow_tree, padded_extents
from projector.tracing.vectors import load_word, stack_words, store_word

STACK_SIZE = 128
SEGMENT_START = 1e-5
"""`cone_may_touch` speaks for segments traced from this fraction of their length on (15 µm at 1.5 m)."""


class Bvh(NamedTuple):
    """A mesh and its tree, as flat arrays that kernels take as one argument.

    boxes     (nodes, 2, 6) float32, low and high corner of both children
    children  (nodes, 2) int32, node or ~group
    corners   (groups, 3 corners, 3 axes, 4 triangles) float64, metres
    faces     (groups, 4) int32, index of each triangle in the mesh, -1 for none
    """

    boxes: np.ndarray
    children: np.ndarray
    corners: np.ndarray
    faces: np.ndarray


def build_bvh(vertices, triangles) -> Bvh:
    """The tree over a mesh of vertices (n, 3) metres and triangles (m, 3) int; m may be 0."""
    vertices = np.ascontiguousarray(vertices, np.float64).reshape(-1, 3)
    triangles = np.ascontiguousarray(triangles, np.int32).reshape(-1, 3)
    extents = padded_extents(vertices, triangles)
    n_rows = max(1, len(triangles))
    order = np.arange(len(triangles), dtype=np.int32)
    boxes = np.empty((n_rows, 2, 6), np.float32)
    children = np.empty((n_rows, 2), np.int32)
    leaf_ranges = np.empty((n_rows + 1, 2), np.int32)
    n_nodes, n_leaves = grow_tree(extents, order, boxes, children, leaf_ranges)
    # Triangles of a leaf lie side by side; what a leaf lacks is filled with points, which no ray hits.
    slots = leaf_ranges[:n_leaves, :1] + np.arange(GROUP)
    taken = slots < leaf_ranges[:n_leaves, 1:]
    faces = np.full((n_leaves, GROUP), -1, np.int32)
    faces[taken] = order[slots[taken]]
    corners = np.zeros((n_leaves, GROUP, 3, 3))
    corners[taken] = vertices[triangles[faces[taken]]]
    corners = np.ascontiguousarray(corners.transpose(0, 2, 3, 1))
    return Bvh(boxes[:n_nodes].copy(), children[:n_nodes].copy(), corners, faces)


@formula
def _steepest_axis(direction):
    x, y, z = abs(direction[0]), abs(direction[1]), abs(direction[2])
    if x > y and x > z:
        return 0
    return 1 if y > z else 2


@formula
def _component(vector, axis):
    if axis == 0:
        return vector[0]
    return vector[1] if axis == 1 else vector[2]


@formula
def _slope(component):
    """1 / component, kept finite so that no box test meets 0 · inf."""
    if abs(component) < 1e-30:
        return math.copysign(1e30, component)
    return 1.0 / component


@formula
def _hit_triangle(bvh, group, lane, origin, frame):
    """(t, u, v) where the ray's line meets a triangle, t = nan for a miss; frame from `_ray_frame`."""
    axis_x, axis_y, axis_z, shear_x, shear_y, shear_z = frame
    corners = bvh.corners
    origin_x, origin_y, origin_z = _component(origin, axis_x), _component(origin, axis_y), _component(origin, axis_z)
    # The corners as seen along the ray: it runs through (0, 0), and z counts in t.
    a_z = corners[group, 0, axis_z, lane] - origin_z
    b_z = corners[group, 1, axis_z, lane] - origin_z
    c_z = corners[group, 2, axis_z, lane] - origin_z
    a_x = (corners[group, 0, axis_x, lane] - origin_x) - shear_x * a_z
    a_y = (corners[group, 0, axis_y, lane] - origin_y) - shear_y * a_z
    b_x = (corners[group, 1, axis_x, lane] - origin_x) - shear_x * b_z
    b_y = (corners[group, 1, axis_y, lane] - origin_y) - shear_y * b_z
    c_x = (corners[group, 2, axis_x, lane] - origin_x) - shear_x * c_z
    c_y = (corners[group, 2, axis_y, lane] - origin_y) - shear_y * c_z
    weight_a = c_x * b_y - c_y * b_x
    weight_b = a_x * c_y - a_y * c_x
    weight_c = b_x * a_y - b_y * a_x
    total = weight_a + weight_b + weight_c
    inside = (weight_a >= 0.0 and weight_b >= 0.0 and weight_c >= 0.0) or (
        weight_a <= 0.0 and weight_b <= 0.0 and weight_c <= 0.0
    )
    if not inside or total == 0.0:
        return math.nan, 0.0, 0.0
    share = 1.0 / total
    t = (weight_a * a_z + weight_b * b_z + weight_c * c_z) * share * shear_z
    return t, weight_b * share, weight_c * share


@formula
def _ray_frame(direction):
    """Axes and shear that turn a ray into the line x = y = 0."""
    axis_z = _steepest_axis(direction)
    axis_x = (axis_z + 1) % 3
    axis_y = (axis_z + 2) % 3
    shear_z = 1.0 / _component(direction, axis_z)
    return (
        axis_x,
        axis_y,
        axis_z,
        _component(direction, axis_x) * shear_z,
        _component(direction, axis_y) * shear_z,
        shear_z,
    )


@formula
def _box_entry(boxes, node, side, origin, slopes, t_min, t_max):
    """t at which the ray enters a child's box, inf if it misses it."""
    enter, leave = t_min, t_max
    for axis in range(3):
        t_low = (boxes[node, side, axis] - origin[axis]) * slopes[axis]
        t_high = (boxes[node, side, axis + 3] - origin[axis]) * slopes[axis]
        enter = max(enter, min(t_low, t_high))
        leave = min(leave, max(t_low, t_high))
    return enter if enter <= leave else math.inf


@formula
def closest_hit(bvh, origin, direction, t_min, t_max):
    """The first triangle on a ray: (t, triangle, u, v).

    origin, direction  3-tuples of float64; the direction need not be of unit length
    t_min, t_max       open range of t; 0 ≤ t_min

    The point is origin + t · direction and also (1 − u − v) · a + u · b + v · c. Without a hit t is inf and the triangle
    is -1. Of two triangles at the same t the lower index wins.
    """
    best, face, best_u, best_v = t_max, -1, 0.0, 0.0
    if direction[0] == 0.0 and direction[1] == 0.0 and direction[2] == 0.0:
        return math.inf, face, best_u, best_v
    frame = _ray_frame(direction)
    slopes = (_slope(direction[0]), _slope(direction[1]), _slope(direction[2]))
    waiting = stack_words(STACK_SIZE)
    n_waiting, current = 0, 0
    while True:
        if current >= 0:
            left = _box_entry(bvh.boxes, current, 0, origin, slopes, t_min, best)
            right = _box_entry(bvh.boxes, current, 1, origin, slopes, t_min, best)
            if left < math.inf or right < math.inf:
                nearer = 0 if left <= right else 1
                if max(left, right) < math.inf:
                    store_word(waiting, n_waiting, bvh.children[current, 1 - nearer])
                    n_waiting += 1
                current = bvh.children[current, nearer]
                continue
        else:
            for lane in range(GROUP):
                t, u, v = _hit_triangle(bvh, ~current, lane, origin, frame)
                index = bvh.faces[~current, lane]
                if t > t_min and (t < best or (t == best and index < face)):
                    best, face, best_u, best_v = t, index, u, v
        if n_waiting == 0:
            break
        n_waiting -= 1
        current = load_word(waiting, n_waiting)
    if face < 0:
        best = math.inf
    return best, face, best_u, best_v


@formula
def any_hit(bvh, origin, direction, t_min, t_max):
    """Whether any triangle lies on the ray at t_min < t < t_max (arguments as in `closest_hit`)."""
    if direction[0] == 0.0 and direction[1] == 0.0 and direction[2] == 0.0:
        return False
    frame = _ray_frame(direction)
    slopes = (_slope(direction[0]), _slope(direction[1]), _slope(direction[2]))
    waiting = stack_words(STACK_SIZE)
    n_waiting, current = 0, 0
    while True:
        if current >= 0:
            left = _box_entry(bvh.boxes, current, 0, origin, slopes, t_min, t_max) < math.inf
            right = _box_entry(bvh.boxes, current, 1, origin, slopes, t_min, t_max) < math.inf
            if left or right:
                if left and right:
                    store_word(waiting, n_waiting, bvh.children[current, 1])
                    n_waiting += 1
                current = bvh.children[current, 0 if left else 1]
                continue
        else:
            for lane in range(GROUP):
                t, _, _ = _hit_triangle(bvh, ~current, lane, origin, frame)
                if t_min < t < t_max:
                    return True
        if n_waiting == 0:
            return False
        n_waiting -= 1
        current = load_word(waiting, n_waiting)


@kernel
def closest_hits(bvh, origins, directions, t_min, t_max, start, stop, t, faces, u, v):
    """`closest_hit` for rays [start, stop): origins, directions (n, 3) float64; t, u, v (n,) float64 and faces (n,) int32 filled."""
    for ray in range(start, stop):
        origin = (origins[ray, 0], origins[ray, 1], origins[ray, 2])
        direction = (directions[ray, 0], directions[ray, 1], directions[ray, 2])
        t[ray], faces[ray], u[ray], v[ray] = closest_hit(bvh, origin, direction, t_min, t_max)


@kernel
def any_hits(bvh, origins, directions, t_min, t_max, start, stop, blocked):
    """`any_hit` for rays [start, stop): origins, directions (n, 3) float64; blocked (n,) bool filled."""
    for ray in range(start, stop):
        origin = (origins[ray, 0], origins[ray, 1], origins[ray, 2])
        direction = (directions[ray, 0], directions[ray, 1], directions[ray, 2])
        blocked[ray] = any_hit(bvh, origin, direction, t_min, t_max)


@formula
def _box_may_touch(boxes, node, side, apex, normal, cone):
    """False if a child's box lies wholly outside the cone, behind it or under the tangent plane."""
    axis, length, radius, sine, cosine, least_rise = cone
    low = (float(boxes[node, side, 0]), float(boxes[node, side, 1]), float(boxes[node, side, 2]))
    high = (float(boxes[node, side, 3]), float(boxes[node, side, 4]), float(boxes[node, side, 5]))
    if not low[0] <= high[0]:
        return False
    half = (0.5 * (high[0] - low[0]), 0.5 * (high[1] - low[1]), 0.5 * (high[2] - low[2]))
    middle = subtract((low[0] + half[0], low[1] + half[1], low[2] + half[2]), apex)
    rise = dot(middle, normal) + half[0] * abs(normal[0]) + half[1] * abs(normal[1]) + half[2] * abs(normal[2])
    along = dot(middle, axis)
    reach = half[0] * abs(axis[0]) + half[1] * abs(axis[1]) + half[2] * abs(axis[2])
    if rise <= least_rise or along + reach < 0.0 or along - reach > length + radius:
        return False
    # The plane that touches the cone's side towards the box's middle: its normal leans back by the half-angle.
    outward = (middle[0] - along * axis[0], middle[1] - along * axis[1], middle[2] - along * axis[2])
    distance = math.sqrt(dot(outward, outward))
    if distance == 0.0:
        return True
    scale = cosine / distance
    x = outward[0] * scale - axis[0] * sine
    y = outward[1] * scale - axis[1] * sine
    z = outward[2] * scale - axis[2] * sine
    return distance * cosine - along * sine <= half[0] * abs(x) + half[1] * abs(y) + half[2] * abs(z)


@formula
def _corner_from(bvh, group, corner, lane, apex):
    corners = bvh.corners
    return (
        corners[group, corner, 0, lane] - apex[0],
        corners[group, corner, 1, lane] - apex[1],
        corners[group, corner, 2, lane] - apex[2],
    )


@formula
def _edge_distance(p, q):
    """Distance of the origin from the segment between two points of a plane."""
    step_x, step_y = q[0] - p[0], q[1] - p[1]
    squared = step_x * step_x + step_y * step_y
    share = 0.0
    if squared > 0.0:
        share = min(1.0, max(0.0, -(p[0] * step_x + p[1] * step_y) / squared))
    return math.hypot(p[0] + share * step_x, p[1] + share * step_y)


@formula
def _triangle_may_touch(bvh, group, lane, apex, normal, cone, across, upward):
    """False if a triangle surely leaves the cone between apex and pupil free."""
    axis, length, radius, sine, cosine, least_rise = cone
    a = _corner_from(bvh, group, 0, lane, apex)
    b = _corner_from(bvh, group, 1, lane, apex)
    c = _corner_from(bvh, group, 2, lane, apex)
    if max(dot(a, normal), dot(b, normal), dot(c, normal)) <= least_rise:
        return False
    a_z, b_z, c_z = dot(a, axis), dot(b, axis), dot(c, axis)
    if max(a_z, b_z, c_z) < 0.0 or min(a_z, b_z, c_z) > length + radius:
        return False
    if min(a_z, b_z, c_z) <= SEGMENT_START * length:
        return True
    # Seen from the apex the cone is a disc round the origin and the triangle stays a triangle.
    p = (dot(a, across) / a_z, dot(a, upward) / a_z)
    q = (dot(b, across) / b_z, dot(b, upward) / b_z)
    r = (dot(c, across) / c_z, dot(c, upward) / c_z)
    turn_pq, turn_qr, turn_rp = p[0] * q[1] - p[1] * q[0], q[0] * r[1] - q[1] * r[0], r[0] * p[1] - r[1] * p[0]
    if min(turn_pq, turn_qr, turn_rp) >= 0.0 or max(turn_pq, turn_qr, turn_rp) <= 0.0:
        return True
    distance = min(_edge_distance(p, q), _edge_distance(q, r), _edge_distance(r, p))
    return distance * cosine <= sine * (1.0 + 1e-9)


@formula
def cone_may_touch(bvh, apex, normal, centre, radius):
    """False only if nothing stands between a point and a whole pupil: proof of full light without a ray.

    apex, normal    the point and the unit geometric normal of the surface there, on the pupil's side; 3-tuples
    centre, radius  of the pupil, metres; whatever its tilt, it lies in the ball of this radius

    When False, no segment from the apex to a point of the pupil is blocked beyond `SEGMENT_START` of its length. True
    means "perhaps": some triangle comes near, or the pupil dips under the apex's own horizon.
    """
    to_centre = subtract(centre, apex)
    length = math.sqrt(dot(to_centre, to_centre))
    clearance = dot(to_centre, normal) - radius
    if length <= radius or clearance <= 0.0:
        return True
    axis = (to_centre[0] / length, to_centre[1] / length, to_centre[2] / length)
    sine = radius / length
    # A segment rises by `clearance` at least: what stays lower than this can block only its very beginning.
    cone = (axis, length, radius, sine, math.sqrt(1.0 - sine * sine), SEGMENT_START * clearance)
    across = cross(axis, (1.0, 0.0, 0.0) if abs(axis[0]) < 0.6 else (0.0, 1.0, 0.0))
    across = normalised(across)
    upward = cross(axis, across)
    waiting = stack_words(STACK_SIZE)
    n_waiting, current = 0, 0
    while True:
        if current >= 0:
            for side in range(2):
                if _box_may_touch(bvh.boxes, current, side, apex, normal, cone):
                    store_word(waiting, n_waiting, bvh.children[current, side])
                    n_waiting += 1
        else:
            for lane in range(GROUP):
                if bvh.faces[~current, lane] >= 0:
                    if _triangle_may_touch(bvh, ~current, lane, apex, normal, cone, across, upward):
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
