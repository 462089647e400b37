"""Rays against a mesh: the nearest triangle on a ray, and whether anything blocks a segment.

Triangles are tested in float64 as in S. Woop, C. Benthin and I. Wald, "Watertight ray/triangle intersection" (Journal
of Computer Graphics Techniques 2(1), 2013): both sides of an edge compute the same product with opposite signs, so no
ray slips between two triangles.

Boxes are float32, eight to a node, and never wrongly missed: they are grown by 2⁻²³ of the mesh's largest coordinate,
the ray's origin is rounded to either side so that each plane seems farther out than it is, and slopes are shrunk or
stretched by 2⁻²¹, more than the three roundings of (plane − origin) · slope together (3 · 2⁻²⁴). The idea is that of T.
Ize, "Robust BVH ray traversal" (JCGT 2(2), 2013), with the ray itself in float64.

A ray that runs in a triangle's own plane may count as a hit or not, as rounding has it: seen so, the triangle has no
width, and its neighbours close the surface.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from projector.jit import formula, kernel
from projector.tracing.rays.bvh_build import STACK_SIZE, aligned, gather_corners, grow_tree, widen_tree, wrap_triangles
from projector.tracing.rays.cone import cone_may_touch, cones_may_touch
from projector.tracing.rays.vectors import (
    CHILD_ROW_BYTES,
    GROUP,
    GROUP_BYTES,
    NODE_BYTES,
    WIDTH,
    address_of,
    boxes_entered,
    fetch_ahead,
    float_bits,
    load_double,
    load_float,
    load_int,
    load_word,
    lowest_bit,
    stack_words,
    store_word,
    triangles_met,
)

__all__ = [
    "Bvh",
    "any_hit",
    "any_hits",
    "build_bvh",
    "closest_hit",
    "closest_hits",
    "cone_may_touch",
    "cones_may_touch",
]

STEEPEST_SLOPE = 1e30
"""Stands for the slope of a ray along a box's face, so that no box test meets 0 · inf."""
GROWN = 1.0 + 2.0**-21
SHRUNK = 1.0 - 2.0**-21
ORIGIN_ROUNDING = 2.0**-23
LARGEST_COORDINATE = 1e6
"""Metres; a mesh beyond it is a mistake of units, and float32 boxes would lose a tenth of a metre."""


class Bvh(NamedTuple):
    """A mesh and its tree, as flat arrays that kernels take as one argument.

    nodes    (nodes, 7, 8) float32: of eight children low x, y, z, high x, y, z, and as int32 bits the child itself: a
             node, or ~group for a leaf
    corners  (groups, 3 corners, 3 axes, 4 triangles) float64, metres
    faces    (groups, 4) int32, index of each triangle in the mesh, -1 for none
    """

    nodes: np.ndarray
    corners: np.ndarray
    faces: np.ndarray


def build_bvh(vertices, triangles) -> Bvh:
    """The tree over a mesh of vertices (n, 3) metres and triangles (m, 3) int; m may be 0.

    Raises ValueError for vertices that are not finite or beyond 10⁶ m, and for triangles that name no vertex.
    """
    vertices = np.ascontiguousarray(vertices, np.float64).reshape(-1, 3)
    triangles = np.ascontiguousarray(triangles, np.int32).reshape(-1, 3)
    if not (np.abs(vertices) <= LARGEST_COORDINATE).all():
        raise ValueError("a mesh has corners that are not numbers or lie over 1000 km away; check its unit")
    if triangles.size and not (triangles.min() >= 0 and triangles.max() < len(vertices)):
        raise ValueError("a mesh has triangles that name corners it does not have; its file is damaged")
    n_triangles, n_rows = len(triangles), len(triangles) + 2
    extents, order = np.empty((n_triangles, 6), np.float32), np.arange(n_triangles, dtype=np.int32)
    wrap_triangles(vertices, triangles, float(np.abs(vertices).max(initial=0.0)), extents)
    boxes = np.empty((n_rows, 2, 6), np.float32)
    children, leaf_ranges = np.empty((n_rows, 2), np.int32), np.empty((n_rows, 2), np.int32)
    n_nodes, n_leaves = grow_tree(extents, order, boxes, children, leaf_ranges)
    nodes = aligned((n_nodes, 7, WIDTH), np.float32)
    n_wide = widen_tree(boxes, children, n_nodes, nodes, nodes.view(np.int32))
    corners, faces = aligned((n_leaves, 3, 3, GROUP), np.float64), np.empty((n_leaves, GROUP), np.int32)
    gather_corners(vertices, triangles, order, leaf_ranges, corners, faces)
    return Bvh(nodes[:n_wide], corners, faces)


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
def _triangle_frame(origin, direction):
    """(rows, origin, shear) for `triangles_met`: the ray's steepest axis serves as z."""
    axis_z = _steepest_axis(direction)
    axis_x = axis_z + 1 if axis_z < 2 else 0
    axis_y = axis_z - 1 if axis_z > 0 else 2
    share = 1.0 / _component(direction, axis_z)
    rows = (axis_x * 32, axis_y * 32, axis_z * 32)
    turned = (_component(origin, axis_x), _component(origin, axis_y), _component(origin, axis_z))
    return rows, turned, (_component(direction, axis_x) * share, _component(direction, axis_y) * share)


@formula
def _box_axis(origin, component, steepest):
    """One axis of a ray for `boxes_entered`: (0 or 1 for coming in by the high plane,
    near and far origin and slope).
    """
    slope = math.copysign(STEEPEST_SLOPE, component)
    if abs(component) > steepest * (1.0 / STEEPEST_SLOPE):
        slope = steepest / component
    margin = abs(origin) * ORIGIN_ROUNDING
    above, below = np.float32(origin + margin), np.float32(origin - margin)
    shrunk, grown = np.float32(slope * SHRUNK), np.float32(slope * GROWN)
    if slope < 0.0:
        return 1, below, shrunk, above, grown
    return 0, above, shrunk, below, grown


@formula
def _box_frame(origin, direction, steepest):
    """(near rows, near ray, far ray) for `boxes_entered`; t counts along the steepest axis, in metres."""
    x_high, x_near, x_shrunk, x_far, x_grown = _box_axis(origin[0], direction[0], steepest)
    y_high, y_near, y_shrunk, y_far, y_grown = _box_axis(origin[1], direction[1], steepest)
    z_high, z_near, z_shrunk, z_far, z_grown = _box_axis(origin[2], direction[2], steepest)
    near_rows = (96 * x_high, 96 * y_high + 32, 96 * z_high + 64)
    near_ray = (x_near, y_near, z_near, x_shrunk, y_shrunk, z_shrunk)
    return near_rows, near_ray, (x_far, y_far, z_far, x_grown, y_grown, z_grown)


@formula
def _address_of_child(nodes, corners, child):
    if child >= 0:
        return nodes + child * NODE_BYTES
    return corners + ~child * GROUP_BYTES


@formula
def _insert(waiting, floor, n_waiting, entry):
    """Put an entry among those from `floor` on, which stay sorted with the smallest on top."""
    place = n_waiting
    while place > floor:
        beneath = load_word(waiting, place - 1)
        if beneath >= entry:
            break
        store_word(waiting, place, beneath)
        place -= 1
    store_word(waiting, place, entry)


@formula
def _closest(nodes, corners, faces, origin, direction, t_min, t_max):
    """`closest_hit` on addresses."""
    best, face, best_u, best_v = t_max, np.int32(-1), 0.0, 0.0
    steepest = max(abs(direction[0]), abs(direction[1]), abs(direction[2]))
    if not (steepest > 0.0 and steepest < math.inf):
        return math.inf, face, best_u, best_v
    along = 1.0 / _component(direction, _steepest_axis(direction))
    rows, turned, shear = _triangle_frame(origin, direction)
    near_rows, near_ray, far_ray = _box_frame(origin, direction, steepest)
    first = np.float32(max(t_min, 0.0) * steepest * SHRUNK)
    last = np.float32(t_max * steepest * GROWN)
    scratch = stack_words(16)
    # Waiting nodes and leaves: bits of their t of entry above, which child below; nearest on top.
    waiting = stack_words(STACK_SIZE)
    n_waiting, current = 0, np.int64(0)
    while True:
        if current >= 0:
            node = nodes + current * NODE_BYTES
            mask = boxes_entered(node, near_rows, near_ray, far_ray, first, last, scratch)
            floor = n_waiting
            while mask != 0:
                lane = lowest_bit(mask)
                mask &= mask - 1
                child = np.int64(load_int(node + CHILD_ROW_BYTES, lane))
                fetch_ahead(_address_of_child(nodes, corners, child))
                entry = (float_bits(load_float(scratch, lane)) << 32) | (child & 0xFFFFFFFF)
                _insert(waiting, floor, n_waiting, entry)
                n_waiting += 1
        else:
            group = ~current
            mask = triangles_met(corners + group * GROUP_BYTES, rows, turned, shear, scratch)
            while mask != 0:
                lane = lowest_bit(mask)
                mask &= mask - 1
                share = 1.0 / load_double(scratch, lane + 8)
                t = load_double(scratch, lane + 12) * share * along
                if t > t_min and t <= best:
                    index = load_int(faces, group * GROUP + lane)
                    if t < best or index < face:
                        best, face = t, index
                        best_u, best_v = load_double(scratch, lane) * share, load_double(scratch, lane + 4) * share
                        last = np.float32(t * steepest * GROWN)
        farthest = float_bits(last)
        while n_waiting > 0:
            n_waiting -= 1
            entry = load_word(waiting, n_waiting)
            if entry >> 32 <= farthest:
                current = np.int64(np.int32(entry & 0xFFFFFFFF))
                break
        else:
            break
    if face < 0:
        best = math.inf
    return best, face, best_u, best_v


@formula
def closest_hit(bvh, origin, direction, t_min, t_max):
    """The first triangle on a ray: (t, triangle, u, v). For kernels only: it works on addresses.

    origin, direction  3-tuples of float64; the direction need not be of unit length
    t_min, t_max       open range of t; 0 ≤ t_min

    The point is origin + t · direction and also (1 − u − v) · a + u · b + v · c. Without a hit t is inf and the
    triangle is -1. Of two triangles at the same t the lower index wins.
    """
    return _closest(
        address_of(bvh.nodes),
        address_of(bvh.corners),
        address_of(bvh.faces),
        origin,
        direction,
        float(t_min),
        float(t_max),
    )


@formula
def _any(nodes, corners, origin, direction, t_min, t_max, likely):
    """`blocker` on addresses."""
    steepest = max(abs(direction[0]), abs(direction[1]), abs(direction[2]))
    if not (steepest > 0.0 and steepest < math.inf):
        return np.int64(0)
    along = 1.0 / _component(direction, _steepest_axis(direction))
    rows, turned, shear = _triangle_frame(origin, direction)
    near_rows, near_ray, far_ray = _box_frame(origin, direction, steepest)
    first = np.float32(max(t_min, 0.0) * steepest * SHRUNK)
    last = np.float32(t_max * steepest * GROWN)
    scratch = stack_words(16)
    waiting = stack_words(STACK_SIZE)
    n_waiting, current = 0, np.int64(likely)
    if current < 0:
        # The likely leaf first, the root after it.
        store_word(waiting, 0, np.int64(0))
        n_waiting = 1
    while True:
        if current >= 0:
            node = nodes + current * NODE_BYTES
            mask = boxes_entered(node, near_rows, near_ray, far_ray, first, last, scratch)
            while mask != 0:
                child = np.int64(load_int(node + CHILD_ROW_BYTES, lowest_bit(mask)))
                mask &= mask - 1
                fetch_ahead(_address_of_child(nodes, corners, child))
                store_word(waiting, n_waiting, child)
                n_waiting += 1
        else:
            mask = triangles_met(corners + ~current * GROUP_BYTES, rows, turned, shear, scratch)
            while mask != 0:
                lane = lowest_bit(mask)
                mask &= mask - 1
                t = load_double(scratch, lane + 12) * (1.0 / load_double(scratch, lane + 8)) * along
                if t_min < t < t_max:
                    return current
        if n_waiting == 0:
            return np.int64(0)
        n_waiting -= 1
        current = load_word(waiting, n_waiting)


@formula
def blocker(bvh, origin, direction, t_min, t_max, likely):
    """A leaf (below 0) with a triangle on the ray at t_min < t < t_max, or 0 if there is none (arguments as in
    `closest_hit`).

    likely: the leaf that blocked a ray nearby, which is asked first, or 0. Neighbouring shadow rays often share their
    blocker.
    """
    return _any(address_of(bvh.nodes), address_of(bvh.corners), origin, direction, float(t_min), float(t_max), likely)


@formula
def any_hit(bvh, origin, direction, t_min, t_max):
    """Whether any triangle lies on the ray at t_min < t < t_max (arguments as in `closest_hit`)."""
    return blocker(bvh, origin, direction, t_min, t_max, np.int64(0)) != 0


@kernel
def closest_hits(bvh, origins, directions, t_min, t_max, start, stop, t, faces, u, v):
    """`closest_hit` for rays [start, stop): origins, directions (n, 3) float64.

    t, u, v (n,) float64 and faces (n,) int32 are filled. No two calls at once may share part of a range.
    """
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
