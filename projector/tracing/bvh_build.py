"""Builds the tree of boxes over a mesh: binned surface-area splits, halves where those fail.

The splitting rule is that of I. Wald, "On fast construction of SAH-based bounding volume hierarchies" (IEEE Symposium
on Interactive Ray Tracing 2007), with cost counted in groups of four triangles, since that is what a leaf tests at once.
"""

from __future__ import annotations

import numpy as np

from projector.jit import kernel
from projector.tracing.vectors import GROUP, WIDTH

N_BINS = 16
DEEPEST_AREA_SPLIT = 40
"""Below this depth nodes are halved, so that no tree is deeper than 40 + 29 levels (2³¹ triangles, leaves of 4)."""
STACK_SIZE = 512
"""Entries that a traversal may have waiting: seven a level at most, 7 · 69 + 8 in all."""


def aligned(shape, dtype) -> np.ndarray:
    """An uninitialised array that begins at a multiple of 64 bytes: no vector of a node straddles two cache lines."""
    n_bytes = int(np.prod(shape)) * np.dtype(dtype).itemsize
    raw = np.empty(n_bytes + 64, np.uint8)
    begin = -raw.ctypes.data % 64
    return raw[begin : begin + n_bytes].view(dtype).reshape(shape)


def padded_extents(vertices: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    """(m, 6) float32 boxes (low x y z, high x y z) that surely hold each triangle.

    Rounded outward to float32 and grown by 2⁻²³ of the largest coordinate: flat boxes get a thickness, and a ray that
    rounding moves along a box's face still enters it.
    """
    corners = vertices[triangles]
    margin = 2.0**-23 * max(float(np.abs(vertices).max(initial=0.0)), 1e-30)
    extents = np.empty((len(triangles), 6), np.float32)
    extents[:, :3] = np.nextafter((corners.min(axis=1) - margin).astype(np.float32), np.float32(-np.inf))
    extents[:, 3:] = np.nextafter((corners.max(axis=1) + margin).astype(np.float32), np.float32(np.inf))
    return extents


@kernel
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


@kernel
def _half_area(box):
    x, y, z = box[3] - box[0], box[4] - box[1], box[5] - box[2]
    return x * y + y * z + z * x


@kernel
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


@kernel
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


@kernel
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


@kernel
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


@kernel
def _open_range(pending, row, begin, end, depth, parent, side):
    pending[row, 0], pending[row, 1], pending[row, 2], pending[row, 3], pending[row, 4] = begin, end, depth, parent, side


@kernel
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


@kernel
def _open_largest(boxes, children, slots, n_slots):
    """Replace the child with the largest box that is a node by its two children; returns the new count."""
    largest, chosen = -1.0, -1
    for slot in range(n_slots):
        parent, side = slots[slot, 0], slots[slot, 1]
        if children[parent, side] >= 0:
            area = _half_area(boxes[parent, side])
            if area > largest:
                largest, chosen = area, slot
    if chosen < 0:
        return n_slots
    node = children[slots[chosen, 0], slots[chosen, 1]]
    slots[chosen, 0], slots[chosen, 1] = node, 0
    slots[n_slots, 0], slots[n_slots, 1] = node, 1
    return n_slots + 1


@kernel
def widen_tree(boxes, children, nodes, node_bits):
    """Collapse a two-wide tree to eight children a node; returns the number of nodes.

    boxes, children  as `grow_tree` left them
    nodes            (n or more, 7, 8) float32 filled; node_bits the same memory as int32
    """
    slots = np.empty((WIDTH, 2), np.int64)
    # A node of the narrow tree and the wide node that stands for it.
    pending = np.empty((STACK_SIZE, 2), np.int64)
    pending[0, 0] = pending[0, 1] = 0
    n_pending, n_nodes = 1, 1
    while n_pending > 0:
        n_pending -= 1
        narrow, wide = pending[n_pending, 0], pending[n_pending, 1]
        slots[0, 0], slots[0, 1], slots[1, 0], slots[1, 1] = narrow, 0, narrow, 1
        n_slots, n_before = 2, 0
        while n_before < n_slots < WIDTH:
            n_before = n_slots
            n_slots = _open_largest(boxes, children, slots, n_slots)
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
