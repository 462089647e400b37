"""The explicit vector operations against the same arithmetic in numpy, bit for bit."""

from __future__ import annotations

import numpy as np

from projector.jit import kernel
from projector.tracing.rays import vectors
from projector.tracing.rays.bvh_build import aligned


@kernel
def _enter(node, near_rows, near_ray, far_ray, t_min, t_max, entries):
    return vectors.boxes_entered(
        vectors.address_of(node), near_rows, near_ray, far_ray, t_min, t_max, vectors.address_of(entries)
    )


@kernel
def _meet(group, rows, origin, shear, results):
    return vectors.triangles_met(vectors.address_of(group), rows, origin, shear, vectors.address_of(results))


@kernel
def _stack_round_trip(values, places):
    words = vectors.stack_words(64)
    for index in range(len(values)):
        vectors.store_word(words, places[index], values[index])
    total = 0
    for index in range(len(values)):
        total += (index + 1) * vectors.load_word(words, places[index])
    return total


@kernel
def _bits(value, mask):
    return vectors.float_bits(value), vectors.lowest_bit(mask)


@kernel
def _reach(node, rows, normal, level):
    return vectors.boxes_reaching(vectors.address_of(node), rows, normal, level)


def lanes_of(mask: int, n_lanes: int) -> list[bool]:
    return [bool(mask >> lane & 1) for lane in range(n_lanes)]


def test_box_entries_are_those_of_numpy():
    random = np.random.default_rng(1)
    node, entries = aligned((6, 8), np.float32), aligned((8,), np.float32)
    n_entered = 0
    for _ in range(500):
        corners = random.normal(size=(2, 3, 8)).astype(np.float32)
        node[:3], node[3:] = corners.min(0), corners.max(0)
        comes_from_high = random.integers(0, 2, 3)
        near_origin, far_origin = random.normal(size=(2, 3)).astype(np.float32)
        slopes = (np.where(comes_from_high, -1, 1) * random.uniform(0.1, 5, (2, 3))).astype(np.float32)
        near_rows = tuple(int(32 * (axis + 3 * comes_from_high[axis])) for axis in range(3))
        near_ray, far_ray = (*near_origin, *slopes[0]), (*far_origin, *slopes[1])
        mask = _enter(node, near_rows, near_ray, far_ray, np.float32(0.25), np.float32(4.0), entries)
        near = np.array([node[axis + 3 * comes_from_high[axis]] for axis in range(3)])
        far = np.array([node[axis + 3 * (1 - comes_from_high[axis])] for axis in range(3)])
        enter = np.maximum(((near - near_origin[:, None]) * slopes[0][:, None]).max(0), np.float32(0.25))
        leave = np.minimum(((far - far_origin[:, None]) * slopes[1][:, None]).min(0), np.float32(4.0))
        np.testing.assert_array_equal(entries, enter)
        assert lanes_of(mask, 8) == list(enter <= leave)
        n_entered += (enter <= leave).sum()
    assert 200 < n_entered < 3800


def test_boxes_of_empty_children_are_never_entered():
    node, entries = aligned((6, 8), np.float32), aligned((8,), np.float32)
    node[:3], node[3:] = np.inf, -np.inf
    largest = (np.float32(1e6),) * 3 + (np.float32(1e30),) * 3
    assert _enter(node, (0, 32, 64), largest, largest, np.float32(0.0), np.float32(np.inf), entries) == 0


def test_boxes_over_a_plane_are_those_of_numpy():
    random = np.random.default_rng(7)
    node = aligned((6, 8), np.float32)
    n_over = 0
    for _ in range(500):
        corners = random.normal(size=(2, 3, 8)).astype(np.float32)
        node[:3], node[3:] = corners.min(0), corners.max(0)
        node[:3, 5], node[3:, 5] = np.inf, -np.inf
        normal, level = random.normal(size=3), random.normal() + 1.0
        high = normal >= 0
        rows = tuple(int(32 * (axis + 3 * high[axis])) for axis in range(3))
        farthest = np.where(high[:, None], node[3:], node[:3]).astype(float)
        over = normal @ farthest > level
        assert not over[5], "an empty child reaches nowhere"
        assert lanes_of(_reach(node, rows, tuple(normal), level), 8) == list(over)
        n_over += over.sum()
    assert 500 < n_over < 3000


def test_triangle_weights_are_those_of_numpy_to_the_last_bit():
    """Equality to the last bit shows that no product was fused with a sum,
    which would break the edges' antisymmetry.
    """
    random = np.random.default_rng(2)
    group, results = aligned((3, 3, 4), np.float64), aligned((4, 4), np.float64)
    n_met = 0
    for _ in range(500):
        group[:] = random.normal(size=group.shape)
        axes = random.permutation(3)
        origin, shear = random.normal(size=3), random.uniform(-1, 1, 2)
        rows = tuple(int(32 * axis) for axis in axes)
        mask = _meet(group, rows, tuple(origin), tuple(shear), results)
        x, y, z = (group[:, axes[k]] - origin[k] for k in range(3))
        x, y = x - shear[0] * z, y - shear[1] * z
        weights = np.array([x[2] * y[1] - y[2] * x[1], x[0] * y[2] - y[0] * x[2], x[1] * y[0] - y[1] * x[0]])
        total = weights[0] + weights[1] + weights[2]
        depth = weights[0] * z[0] + weights[1] * z[1] + weights[2] * z[2]
        np.testing.assert_array_equal(results, [weights[1], weights[2], total, depth])
        met = ((weights >= 0).all(0) | (weights <= 0).all(0)) & (total != 0)
        assert lanes_of(mask, 4) == list(met)
        n_met += met.sum()
    assert 20 < n_met < 1000


def test_both_sides_of_an_edge_weigh_it_alike():
    """Whatever rounding does, the two triangles at an edge agree on which side the ray passes."""
    random = np.random.default_rng(4)
    group, results = aligned((3, 3, 4), np.float64), aligned((4, 4), np.float64)
    for _ in range(500):
        p, q, r, s = random.normal(size=(4, 3))
        # The ray passes the edge p q as closely as rounding allows.
        target = p + random.random() * (q - p)
        group[:, :, 0], group[:, :, 1] = [p, q, r], [q, p, s]
        group[:, :, 2:] = 0.0
        _meet(group, (0, 32, 64), (target[0], target[1], target[2] - 1.0), tuple(random.uniform(-1, 1, 2)), results)
        # The weight of c is the edge from a to b.
        assert results[1, 0] == -results[1, 1]


def test_triangles_without_area_or_numbers_are_not_met():
    group, results = aligned((3, 3, 4), np.float64), aligned((4, 4), np.float64)
    group[:] = 0.0
    group[:, :, 1] = [[-1, 0, 1], [1, 0, 1], [3, 0, 1]]
    group[:, :, 2] = np.nan
    assert _meet(group, (0, 32, 64), (0.0, 0.0, 0.0), (0.0, 0.0), results) == 0


def test_words_of_the_stack_keep_what_was_put_there():
    values, places = np.array([5, -7, 1 << 62]), np.array([63, 0, 31])
    assert _stack_round_trip(values, places) == 5 - 14 + 3 * (1 << 62) - (1 << 64)


def test_bits_of_positive_floats_sort_like_the_floats():
    values = np.sort(np.concatenate([10.0 ** np.arange(-40, 38), [0.0, np.inf]]).astype(np.float32))
    bits = [_bits(value, 1)[0] for value in values]
    assert bits == sorted(bits)
    assert bits == list(values.view(np.int32))


def test_lowest_bit_counts_from_zero():
    assert [_bits(np.float32(0), mask)[1] for mask in (1, 12, 128, 0)] == [0, 2, 7, 64]
