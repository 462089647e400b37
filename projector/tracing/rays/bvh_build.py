"""Builds the tree of boxes over a mesh: binned surface-area splits, halves where those fail.

The splitting rule is that of I. Wald, "On fast construction of SAH-based bounding volume hierarchies" (IEEE Symposium
on Interactive Ray Tracing 2007), with cost counted in groups of four triangles, since that is what a leaf tests at
once.
"""

from __future__ import annotations

import numpy as np

from projector.jit import building_kernel, formula, kernel
from projector.tracing.rays.vectors import GROUP, WIDTH

N_BINS = 16
DEEPEST_AREA_SPLIT = 40
"""Below this depth nodes are halved, so that no tree is deeper than 40 + 29 levels (2³¹ triangles, leaves of 4)."""
LEAF_COST = 0.6
"""Time to test a leaf's four triangles over the time to test a node's eight boxes and sort the ones entered."""
STACK_SIZE = 512
"""Entries that a traversal may have waiting: seven a level at most, 7 · 69 + 8 in all."""


def aligned(shape, dtype) -> np.ndarray:
    """An uninitialised array that begins at a multiple of 64 bytes: no vector of a node straddles two cache lines."""
    n_bytes = int(np.prod(shape)) * np.dtype(dtype).itemsize
    raw = np.empty(n_bytes + 64, np.uint8)
    begin = -raw.ctypes.data % 64
    return raw[begin : begin + n_bytes].view(dtype).reshape(shape)


@kernel
def wrap_triangles(vertices, triangles, largest, extents):
    """Fill extents (m, 6) float32 with boxes (low x y z, high x y z) that surely hold each triangle.

    They are grown by 2⁻²² of the largest coordinate, of which rounding to float32 takes a quarter at most: flat boxes
    get a thickness, and a ray that rounding moves along a box's face still enters it.
    """
    margin = 2.0**-22 * max(largest, 1e-30)
    for triangle in range(len(triangles)):
        a, b, c = triangles[triangle, 0], triangles[triangle, 1], triangles[triangle, 2]
        for axis in range(3):
            at_a, at_b, at_c = vertices[a, axis], vertices[b, axis], vertices[c, axis]
            extents[triangle, axis] = min(at_a, at_b, at_c) - margin
            extents[triangle, axis + 3] = max(at_a, at_b, at_c) + margin


@formula
def _measure(extents, start, stop, bounds, middles):
    """Bounds of a range of boxes, and bounds of their (doubled) middles, both (6,) float32."""
    for axis in range(3):
        bounds[axis] = middles[axis] = np.inf
        bounds[axis + 3] = middles[axis + 3] = -np.inf
    for item in range(start, stop):
        for axis in range(3):
            low = extents[item, axis]
            high = extents[item, axis + 3]
            middle = low + high
            bounds[axis] = min(bounds[axis], low)
            bounds[axis + 3] = max(bounds[axis + 3], high)
            middles[axis] = min(middles[axis], middle)
            middles[axis + 3] = max(middles[axis + 3], middle)


@formula
def _half_area(box):
    x, y, z = box[3] - box[0], box[4] - box[1], box[5] - box[2]
    return x * y + y * z + z * x


@formula
def _fill_bins(extents, start, stop, axis, low, scale, n_bins, counts, bins):
    for index in range(n_bins):
        counts[index] = 0
        for k in range(3):
            bins[index, k] = np.inf
            bins[index, k + 3] = -np.inf
    for item in range(start, stop):
        index = min(n_bins - 1, int((extents[item, axis] + extents[item, axis + 3] - low) * scale))
        counts[index] += 1
        for k in range(3):
            bins[index, k] = min(bins[index, k], extents[item, k])
            bins[index, k + 3] = max(bins[index, k + 3], extents[item, k + 3])


@formula
def _cheapest_cut(n_bins, counts, bins, running, costs):
    """(cost, bin): everything below `bin` goes left. Cost is inf if no cut has triangles on both sides."""
    for reverse in range(2):
        n_items = 0
        for k in range(3):
            running[k] = np.inf
            running[k + 3] = -np.inf
        for step in range(n_bins - 1):
            index = n_bins - 1 - step if reverse else step
            n_items += counts[index]
            for k in range(3):
                running[k] = min(running[k], bins[index, k])
                running[k + 3] = max(running[k + 3], bins[index, k + 3])
            cost = np.inf
            if n_items > 0:
                area = _half_area(running)
                cost = area * ((n_items + GROUP - 1) // GROUP)
            # Cut c lies between bins c − 1 and c.
            if reverse:
                costs[index] += cost
            else:
                costs[index + 1] = cost
    best, best_cut = np.inf, 0
    for cut in range(1, n_bins):
        if costs[cut] < best:
            best, best_cut = costs[cut], cut
    return best, best_cut


@formula
def _partition(extents, order, start, stop, axis, low, scale, n_bins, cut):
    """Put the triangles below the cut first; returns where the others begin."""
    left, right = start, stop - 1
    while left <= right:
        index = min(n_bins - 1, int((extents[left, axis] + extents[left, axis + 3] - low) * scale))
        if index < cut:
            left += 1
        else:
            for k in range(6):
                extents[left, k], extents[right, k] = extents[right, k], extents[left, k]
            order[left], order[right] = order[right], order[left]
            right -= 1
    return left


@formula
def _split(extents, order, start, stop, depth, middles, counts, bins, running, costs):
    """Reorder [start, stop) and return where its right part begins."""
    halfway = (start + stop) // 2
    if depth >= DEEPEST_AREA_SPLIT:
        return halfway
    n_bins = min(N_BINS, max(4, stop - start))
    best, best_axis, best_cut = np.inf, -1, 0
    for axis in range(3):
        width = middles[axis + 3] - middles[axis]
        if not (width > 0.0 and n_bins / width < np.inf):
            continue
        _fill_bins(extents, start, stop, axis, middles[axis], n_bins / width, n_bins, counts, bins)
        cost, cut = _cheapest_cut(n_bins, counts, bins, running, costs)
        if cost < best:
            best, best_axis, best_cut = cost, axis, cut
    if best_axis < 0:
        return halfway
    low = middles[best_axis]
    scale = n_bins / (middles[best_axis + 3] - low)
    middle = _partition(extents, order, start, stop, best_axis, low, scale, n_bins, best_cut)
    return middle if start < middle < stop else halfway


@formula
def _open_range(pending, row, begin, end, depth, parent, side):
    pending[row, 0], pending[row, 1], pending[row, 2], pending[row, 3], pending[row, 4] = (
        begin,
        end,
        depth,
        parent,
        side,
    )


@building_kernel
def grow_tree(extents, order, boxes, children, leaf_ranges):
    """Fill a two-wide tree; returns (nodes, leaves).

    extents      (m, 6) float32, order (m,) int32: reordered in place
    boxes        (m + 2, 2, 6) float32: both children's boxes of each node
    children     (m + 2, 2) int32: node, or ~leaf
    leaf_ranges  (m + 2, 2) int32: begin and end of each leaf in `order`
    """
    counts = np.empty(N_BINS, np.int64)
    bins = np.empty((N_BINS, 6), np.float32)
    running = np.empty(6, np.float32)
    costs = np.empty(N_BINS + 1, np.float64)
    bounds = np.empty(6, np.float32)
    middles = np.empty(6, np.float32)
    # Begin, end, depth, parent node and side of each range still to do.
    pending = np.empty((128, 5), np.int64)
    # The root's own box goes to a spare last row, and the root is split however small, so that node 0 always exists.
    _open_range(pending, 0, 0, len(extents), 0, len(boxes) - 1, 0)
    n_pending, n_nodes, n_leaves = 1, 0, 0
    while n_pending > 0:
        n_pending -= 1
        begin, end, depth = pending[n_pending, 0], pending[n_pending, 1], pending[n_pending, 2]
        parent, side = pending[n_pending, 3], pending[n_pending, 4]
        _measure(extents, begin, end, bounds, middles)
        for row in range(6):
            boxes[parent, side, row] = bounds[row]
        if end - begin <= GROUP and depth > 0:
            children[parent, side] = ~n_leaves
            leaf_ranges[n_leaves, 0], leaf_ranges[n_leaves, 1] = begin, end
            n_leaves += 1
            continue
        children[parent, side] = n_nodes
        middle = _split(extents, order, begin, end, depth, middles, counts, bins, running, costs)
        # The left part is taken first, so there is one range waiting a level.
        _open_range(pending, n_pending, middle, end, depth + 1, n_nodes, 1)
        _open_range(pending, n_pending + 1, begin, middle, depth + 1, n_nodes, 0)
        n_pending += 2
        n_nodes += 1
    return n_nodes, n_leaves


@building_kernel
def _choose_cuts(boxes, children, n_nodes, costs, shares):
    """For each narrow node and each number of slots (2 … 8) of a wide node above it: the cheapest way to fill them.

    costs   (nodes, 9): expected cost of what is under the node if it may take up so many slots
    shares  (nodes, 9): how many of them its left child gets; 0 if the node rather stays one slot, a wide node itself
    """
    hull = np.empty(6, np.float32)
    both = np.empty((2, WIDTH + 1), np.float64)
    # Children come after their parents, so that they are settled first.
    for node in range(n_nodes - 1, -1, -1):
        for side in range(2):
            child = children[node, side]
            leaf_cost = LEAF_COST * max(0.0, _half_area(boxes[node, side]))
            for n_slots in range(1, WIDTH + 1):
                both[side, n_slots] = costs[child, n_slots] if child >= 0 else leaf_cost
        for row in range(3):
            hull[row] = min(boxes[node, 0, row], boxes[node, 1, row])
            hull[row + 3] = max(boxes[node, 0, row + 3], boxes[node, 1, row + 3])
        for n_slots in range(2, WIDTH + 1):
            costs[node, n_slots] = np.inf
            for share in range(1, n_slots):
                cost = both[0, share] + both[1, n_slots - share]
                if cost < costs[node, n_slots]:
                    costs[node, n_slots], shares[node, n_slots] = cost, share
        costs[node, 1] = costs[node, WIDTH] + max(0.0, _half_area(hull))
        # A wide node's own slots are shared out as they are; only what lies under another may stay whole.
        shares[node, 0] = shares[node, WIDTH]
        for n_slots in range(1, WIDTH + 1):
            if costs[node, 1] <= costs[node, n_slots]:
                costs[node, n_slots], shares[node, n_slots] = costs[node, 1], 0


@building_kernel
def _fill_slots(children, narrow, shares, slots):
    """Narrow (parent, side) of each child of the wide node that stands for a narrow one; returns their number."""
    waiting = np.empty((WIDTH, 3), np.int64)
    share = shares[narrow, 0]
    waiting[0, 0], waiting[0, 1], waiting[0, 2] = narrow, 1, WIDTH - share
    waiting[1, 0], waiting[1, 1], waiting[1, 2] = narrow, 0, share
    n_waiting, n_slots = 2, 0
    while n_waiting > 0:
        n_waiting -= 1
        parent, side, n_free = waiting[n_waiting, 0], waiting[n_waiting, 1], waiting[n_waiting, 2]
        child = children[parent, side]
        share = shares[child, n_free] if child >= 0 else 0
        if share == 0:
            slots[n_slots, 0], slots[n_slots, 1] = parent, side
            n_slots += 1
            continue
        waiting[n_waiting, 0], waiting[n_waiting, 1], waiting[n_waiting, 2] = child, 1, n_free - share
        waiting[n_waiting + 1, 0], waiting[n_waiting + 1, 1], waiting[n_waiting + 1, 2] = child, 0, share
        n_waiting += 2
    return n_slots


@building_kernel
def widen_tree(boxes, children, n_narrow, nodes, node_bits):
    """Collapse a two-wide tree to eight children a node, at the least expected cost; returns the number of wide nodes.

    The choice is that of H. Ylitie, T. Karras and S. Laine, "Efficient incoherent ray traversal on GPUs through
    compressed wide BVHs" (High-Performance Graphics 2017).

    boxes, children  as `grow_tree` left them, n_narrow nodes
    nodes            (n_narrow or more, 7, 8) float32 filled; node_bits the same memory as int32
    """
    costs = np.empty((n_narrow, WIDTH + 1), np.float32)
    shares = np.empty((n_narrow, WIDTH + 1), np.int8)
    _choose_cuts(boxes, children, n_narrow, costs, shares)
    slots = np.empty((WIDTH, 2), np.int64)
    # A node of the narrow tree and the wide node that stands for it.
    pending = np.empty((STACK_SIZE, 2), np.int64)
    pending[0, 0] = pending[0, 1] = 0
    n_pending, n_nodes = 1, 1
    while n_pending > 0:
        n_pending -= 1
        narrow, wide = pending[n_pending, 0], pending[n_pending, 1]
        n_slots = _fill_slots(children, narrow, shares, slots)
        for slot in range(WIDTH):
            for row in range(3):
                nodes[wide, row, slot], nodes[wide, row + 3, slot] = np.inf, -np.inf
            node_bits[wide, 6, slot] = 0
        for slot in range(n_slots):
            parent, side = slots[slot, 0], slots[slot, 1]
            for row in range(6):
                nodes[wide, row, slot] = boxes[parent, side, row]
            child = children[parent, side]
            if child >= 0:
                pending[n_pending, 0], pending[n_pending, 1] = child, n_nodes
                child = n_nodes
                n_pending += 1
                n_nodes += 1
            node_bits[wide, 6, slot] = child
    return n_nodes


@kernel
def gather_corners(vertices, triangles, order, leaf_ranges, corners, faces):
    """Lay the triangles of each leaf side by side; what a leaf lacks becomes points, which no ray hits.

    corners (leaves, 3 corners, 3 axes, 4) float64 and faces (leaves, 4) int32 are filled, faces with -1 for none.
    """
    for leaf in range(len(faces)):
        begin, end = leaf_ranges[leaf, 0], leaf_ranges[leaf, 1]
        for lane in range(GROUP):
            triangle = order[begin + lane] if begin + lane < end else -1
            faces[leaf, lane] = triangle
            for corner in range(3):
                for axis in range(3):
                    place = vertices[triangles[triangle, corner], axis] if triangle >= 0 else 0.0
                    corners[leaf, corner, axis, lane] = place
