"""Neighbours that share what they see: the same answer as a ray for every point, wherever the claim of one square is
made.
"""

from __future__ import annotations

import numpy as np
import pytest

from projector.jit import kernel
from projector.optics.dispersion import LINE_D_NM
from projector.rendering.sampling import QUALITIES, Window, grid_points
from projector.rendering.shadows import find_visibility
from projector.rendering.workers import Workers
from projector.stage.camera import camera_arrays
from projector.stage.optics import light_arrays
from projector.stage.surfaces import scene_arrays
from projector.tracing.rays import bvh
from projector.tracing.rays.cone import SEGMENT_START, shaft_may_touch
from projector.tracing.sight import sharing
from projector.tracing.sight.points import LIT, UNKNOWN
from projector.tracing.sight.squares import BOUNDS, Squares
from projector.tracing.sight.visibility import seen_shares

WIDTH, HEIGHT = 203, 150


def both_ways(scene, n_side=4):
    """Share of the pupil seen by the pixels (h, w) of a scene's picture: shared among neighbours,
    and each on its own.
    """
    arrays, camera = scene_arrays(scene), camera_arrays(scene, WIDTH, HEIGHT)
    light = light_arrays(scene, scene.projector[0], [LINE_D_NM])
    with Workers() as workers:
        points = grid_points(arrays, camera, Window(0, HEIGHT), QUALITIES["quick"], workers).points
        shared = find_visibility(
            arrays, light, points, n_side, workers, squares=Squares(WIDTH, HEIGHT, np.zeros((0, BOUNDS)))
        )
        alone = find_visibility(arrays, light, points, n_side, workers)
    # What lies beyond the beam's margin may be left unknown by one and not by the other.
    known = (shared.state != UNKNOWN) & (alone.state != UNKNOWN)
    assert known.mean() > 0.3
    return (
        seen_shares(shared).reshape(HEIGHT, WIDTH),
        seen_shares(alone).reshape(HEIGHT, WIDTH),
        known.reshape(HEIGHT, WIDTH),
    )


@pytest.mark.slow
def test_on_a_wall_behind_a_head_neighbours_see_what_they_would_see_alone(studio):
    """47 mm of pupil at two metres: a wide penumbra beside the head, and the head's own folds, where nothing is shared.

    The two may differ by a ray of 64 at a silhouette's rim; on average by less than one ray in ten thousand.
    """
    sitter = {"name": "sitter", "kind": "head", "position_m": [0.0, 0.0, 0.9]}
    projector = {"position_m": [-0.9, 1.9, 2.2], "aim": "sitter.nose_tip", "lens": {"f_number": 1.8}}
    camera = {"aim": [0.5, 1.2, 0.0], "position_m": [0.7, 1.5, 2.4], "focal_length_mm": 200.0}
    shared, alone, known = both_ways(studio.scene(projector, camera=camera, figures=[sitter]))
    assert (known & (alone > 0.05) & (alone < 0.95)).sum() > 1500
    difference = np.abs(shared - alone)[known]
    assert difference.mean() < 1e-4
    assert (difference > 3 / 64).mean() < 1e-3


def behind_a_post(studio, thickness_m, before_wall_m):
    post = {
        "name": "post",
        "shape": "box",
        "position_m": [0.05, 1.5, before_wall_m],
        "width_m": thickness_m,
        "height_m": 1.0,
        "depth_m": 0.002,
        "yaw_deg": 7.0,
    }
    wall = {"name": "wall", "shape": "flat", "position_m": [0.0, 1.5, 0.0], "width_m": 2.0, "height_m": 2.0}
    projector = {"lens": {"f_number": 1.8}, "gate": {"diameter_mm": 40.0}}
    camera = {"aim": [0.1, 1.5, 0.0], "position_m": [0.9, 1.5, 2.0], "focal_length_mm": 150.0}
    return both_ways(studio.scene(projector, camera=camera, surfaces=[wall, post]))


@pytest.mark.slow
@pytest.mark.parametrize("thickness_m", [0.001, 0.002, 0.004])
def test_a_thin_post_in_the_beam_loses_at_most_the_stated_share(studio, thickness_m):
    """The stated twentieth of the pupil, and three rays of 64 for the noise of so few rays on so thin a strip."""
    shared, alone, known = behind_a_post(studio, thickness_m, 0.9)
    assert (alone[known] < 0.99).sum() > 300
    assert np.abs(shared - alone)[known].max() <= 0.05 + 3 / 64
    assert abs(shared[known].mean() - alone[known].mean()) < 2e-3


@pytest.mark.parametrize("thickness_m", [0.001, 0.002, 0.004])
def test_the_shadow_of_a_thin_post_close_to_the_wall_loses_nothing(studio, thickness_m):
    shared, alone, known = behind_a_post(studio, thickness_m, 0.3)
    assert (alone[known] < 0.9).sum() > 20
    assert np.array_equal(shared[known], alone[known])


@kernel
def _shafts(tree, middles, normals, spread, centre, radius, perhaps):
    for i in range(middles.shape[0]):
        middle = (middles[i, 0], middles[i, 1], middles[i, 2])
        normal = (normals[i, 0], normals[i, 1], normals[i, 2])
        perhaps[i] = shaft_may_touch(tree, middle, spread, 0.0, normal, centre, radius, 1.0, SEGMENT_START)


@pytest.mark.parametrize(
    ("spread", "unproven"),
    [(0.02, 0.1), (0.055, 0.4), (0.12, 0.4)],
    ids=["narrower than the pupil", "as wide", "wider"],
)
def test_no_ray_of_a_patch_is_blocked_where_a_shaft_is_declared_free(spread, unproven):
    """Patches on a floor under a cloud of triangles; rays from random points of a patch to random points of the pupil's
    ball.

    unproven: the share of patches without a blocked ray that may stay unproven. The wider the shaft, the more often a
    triangle grazes it that 200 rays miss, and the rounder the ends that the proof has to take in.
    """
    random = np.random.default_rng(5)
    soup = random.uniform([-1, 0.2, -1], [1, 1.6, 1], (60, 1, 3)) + 0.06 * random.normal(size=(60, 3, 3))
    floor = np.array([[[-3, 0, -3], [3, 0, 3], [3, 0, -3]], [[-3, 0, -3], [-3, 0, 3], [3, 0, 3]]], float)
    tree = bvh.build_bvh(np.concatenate([soup, floor]).reshape(-1, 3), np.arange(186).reshape(-1, 3))
    centre, radius, count = np.array([0.3, 2.0, 0.4]), 0.06, 3000
    middles = np.column_stack([random.uniform(-1, 1, count), np.zeros(count), random.uniform(-1, 1, count)])
    normals = np.tile([0.0, 1.0, 0.0], (count, 1))
    perhaps = np.empty(count, bool)
    _shafts(tree, middles, normals, spread, tuple(centre), radius, perhaps)
    blocked = np.zeros(count)
    found = np.empty(count, bool)
    for _ in range(200):
        angle, out = random.uniform(0, 2 * np.pi, count), spread * np.sqrt(random.random(count))
        origins = middles + np.column_stack([out * np.cos(angle), np.zeros(count), out * np.sin(angle)])
        ends = random.normal(size=(count, 3))
        ends *= radius / np.linalg.norm(ends, axis=1, keepdims=True)
        bvh.any_hits(tree, origins, centre + ends - origins, SEGMENT_START, 1.0, 0, count, found)
        blocked += found
    assert not blocked[~perhaps].any()
    # And the proof is given for most patches that no ray found blocked.
    assert (blocked == 0).sum() > 100
    assert perhaps[blocked == 0].mean() < unproven


@pytest.mark.parametrize("rows", range(1, 9))
@pytest.mark.parametrize("columns", range(1, 9))
def test_the_samples_of_a_part_of_any_size_are_traced_before_they_are_read(rows, columns):
    """The five samples have rank 0, and what a point goes by has a lower rank than itself; those of rank 1 go by the
    samples.
    """
    bounds = (3, 3 + rows, 5, 5 + columns)
    samples = [divmod(sharing.sample_place(bounds, 1000, sample), 1000) for sample in range(5)]
    assert {sharing.rank_of(bounds, *place) for place in samples} == {0}
    for row in range(bounds[0], bounds[1]):
        for column in range(bounds[2], bounds[3]):
            rank = sharing.rank_of(bounds, row, column)
            assert rank <= 3
            if rank > 1:
                lines = [
                    sharing.lines_round(*ends, at, rank - 1) for ends, at in ((bounds[:2], row), (bounds[2:], column))
                ]
                assert max(sharing.rank_of(bounds, r, c) for r in lines[0] for c in lines[1]) < rank


def test_a_bare_wall_is_lit_without_a_point_in_penumbra(studio):
    scene = studio.scene({"lens": {"f_number": 1.8}, "gate": {"diameter_mm": 40.0}})
    arrays, light = scene_arrays(scene), light_arrays(scene, scene.projector[0], [LINE_D_NM])
    with Workers() as workers:
        points = grid_points(
            arrays, camera_arrays(scene, WIDTH, HEIGHT), Window(0, HEIGHT), QUALITIES["quick"], workers
        ).points
        found = find_visibility(
            arrays, light, points, 4, workers, squares=Squares(WIDTH, HEIGHT, np.zeros((0, BOUNDS)))
        )
    assert found.seen.shape[0] == 0
    assert (found.state == LIT).mean() > 0.3
