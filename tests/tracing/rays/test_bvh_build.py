"""The tree itself: nothing lost, nothing sticking out, never deeper than a traversal's stack."""

from __future__ import annotations

import numpy as np
import pytest

from projector.tracing.rays import bvh, bvh_build


def walk(tree):
    """(depth, node, slot, child) of every child in use."""
    pending = [(0, 0)]
    bits = tree.nodes.view(np.int32)
    while pending:
        node, depth = pending.pop()
        for slot in range(8):
            if tree.nodes[node, 0, slot] > tree.nodes[node, 3, slot]:
                continue
            child = int(bits[node, 6, slot])
            yield depth, node, slot, child
            if child >= 0:
                pending.append((child, depth + 1))


def faces_below(tree):
    """{(node, slot): every triangle under it}"""
    below = {}
    for _, node, slot, child in reversed(list(walk(tree))):
        if child < 0:
            below[node, slot] = [face for face in tree.faces[~child] if face >= 0]
        else:
            below[node, slot] = [face for s in range(8) for face in below.get((child, s), [])]
    return below


def soup(n_triangles: int, seed: int = 0):
    random = np.random.default_rng(seed)
    vertices = random.normal(size=(n_triangles, 1, 3)) + 0.05 * random.normal(size=(n_triangles, 3, 3))
    return vertices.reshape(-1, 3), np.arange(3 * n_triangles, dtype=np.int32).reshape(-1, 3)


@pytest.mark.parametrize("n_triangles", [1, 4, 5, 9, 2000])
def test_each_triangle_is_in_one_leaf_and_inside_all_boxes_above(n_triangles):
    vertices, triangles = soup(n_triangles)
    tree = bvh.build_bvh(vertices, triangles)
    assert sorted(tree.faces[tree.faces >= 0]) == list(range(n_triangles))
    below = faces_below(tree)
    assert sorted(face for (node, _), faces in below.items() if node == 0 for face in faces) == list(range(n_triangles))
    for (node, slot), faces in below.items():
        corners = vertices[triangles[faces]].reshape(-1, 3)
        assert np.all(tree.nodes[node, :3, slot] < corners.min(0))
        assert np.all(tree.nodes[node, 3:6, slot] > corners.max(0))


def test_leaves_hold_the_corners_of_their_triangles():
    vertices, triangles = soup(500)
    tree = bvh.build_bvh(vertices, triangles)
    group, lane = np.nonzero(tree.faces >= 0)
    np.testing.assert_array_equal(tree.corners[group, :, :, lane], vertices[triangles[tree.faces[group, lane]]])
    unused = np.nonzero(tree.faces < 0)
    assert not tree.corners[unused[0], :, :, unused[1]].any()


def test_leaves_and_nodes_are_well_filled():
    """A leaf tests four triangles in the time of one, a node eight boxes: half-empty ones would waste it."""
    tree = bvh.build_bvh(*soup(20_000))
    assert (tree.faces >= 0).mean() > 0.7
    assert np.mean(tree.nodes[:, 0] <= tree.nodes[:, 3]) > 0.5


def narrow_depth(children) -> int:
    """Depth of a two-wide tree by its child table."""
    deepest, pending = 0, [(0, 1)]
    while pending:
        node, depth = pending.pop()
        deepest = max(deepest, depth)
        pending.extend((int(child), depth + 1) for child in children[node] if child >= 0)
    return deepest


def test_a_tree_is_never_deeper_than_its_bound():
    """Boxes that shrink by a factor of 16 towards one corner peel off one by one: 93 levels if nothing stopped it."""
    places = np.zeros((93 + 4000, 3), np.float32)
    for axis in range(3):
        places[31 * axis : 31 * (axis + 1), axis] = 16.0 ** -np.arange(31.0)
    extents = np.concatenate([places, places], axis=1)
    n = len(places)
    order = np.arange(n, dtype=np.int32)
    boxes, children = np.empty((n + 2, 2, 6), np.float32), np.empty((n + 2, 2), np.int32)
    leaf_ranges = np.empty((n + 2, 2), np.int32)
    n_nodes, n_leaves = bvh_build.grow_tree(extents, order, boxes, children, leaf_ranges)
    depth = narrow_depth(children)
    assert bvh_build.DEEPEST_AREA_SPLIT < depth <= bvh_build.DEEPEST_AREA_SPLIT + np.log2(n)
    assert sorted(order) == list(range(n))
    assert (leaf_ranges[:n_leaves, 1] - leaf_ranges[:n_leaves, 0]).sum() == n
    nodes = bvh_build.aligned((n_nodes, 7, 8), np.float32)
    n_wide = bvh_build.widen_tree(boxes, children, n_nodes, nodes, nodes.view(np.int32))
    tree = bvh.Bvh(nodes[:n_wide], np.empty((0, 3, 3, 4)), np.empty((0, 4), np.int32))
    deepest = max(depth for depth, *_ in walk(tree))
    assert 7 * (deepest + 1) + 8 <= bvh_build.STACK_SIZE
    # The worst that 2³¹ triangles could do.
    assert 7 * (bvh_build.DEEPEST_AREA_SPLIT + 29) + 8 <= bvh_build.STACK_SIZE


def test_copies_of_one_triangle_make_a_shallow_tree():
    tree = bvh.build_bvh(np.eye(3), np.tile([[0, 1, 2]], (4096, 1)))
    assert max(depth for depth, *_ in walk(tree)) <= 10
    assert (tree.faces >= 0).sum() == 4096


def test_nodes_and_leaves_begin_at_whole_vectors():
    tree = bvh.build_bvh(*soup(50))
    assert tree.nodes.ctypes.data % 32 == 0 and tree.nodes.strides[0] % 32 == 0
    assert tree.corners.ctypes.data % 32 == 0 and tree.corners.strides[0] % 32 == 0


def test_a_copy_at_an_odd_address_answers_the_same():
    """Arrays that come from a file or another process begin anywhere."""
    vertices, triangles = soup(500)
    tree = bvh.build_bvh(vertices, triangles)
    moved = []
    for array in tree:
        raw = np.empty(array.nbytes + 64, np.uint8)
        begin = -raw.ctypes.data % 64 + array.itemsize
        moved.append(raw[begin : begin + array.nbytes].view(array.dtype).reshape(array.shape))
        moved[-1][:] = array
    random = np.random.default_rng(6)
    origins, directions = random.normal(size=(2, 3000, 3))
    answers = []
    for one in (tree, bvh.Bvh(*moved)):
        t, u, v, faces = np.empty(3000), np.empty(3000), np.empty(3000), np.empty(3000, np.int32)
        bvh.closest_hits(one, origins, directions, 0.0, np.inf, 0, 3000, t, faces, u, v)
        answers.append((t, faces, u, v))
    for one, other in zip(*answers, strict=True):
        np.testing.assert_array_equal(one, other)
    assert (answers[0][1] >= 0).sum() > 100
