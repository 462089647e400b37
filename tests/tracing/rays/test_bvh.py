"""Rays against meshes. Judges: Embree (through embreex) and a brute force in float64 numpy."""

from __future__ import annotations

import os
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest
import trimesh
from embreex import rtcore_scene
from embreex.mesh_construction import TriangleMesh

from projector.tracing.rays import bvh
from tests.conftest import mostly_slow

REPOSITORY = Path(__file__).resolve().parents[3]


def displaced_sphere(subdivisions: int = 5):
    """A bumpy closed ball of radius about 1; 20 480 triangles unless another number is given."""
    mesh = trimesh.creation.icosphere(subdivisions=subdivisions)
    vertices = np.array(mesh.vertices)
    vertices *= 1.0 + 0.15 * np.sin(7.0 * vertices[:, :1]) * np.cos(5.0 * vertices[:, 1:2])
    return vertices, np.array(mesh.faces, np.int32)


def random_soup(n_triangles: int = 3000):
    """Triangles of all sizes that cut through each other."""
    random = np.random.default_rng(11)
    middles = random.uniform(-1.0, 1.0, (n_triangles, 1, 3))
    sizes = 10.0 ** random.uniform(-3.0, -0.5, (n_triangles, 1, 1))
    vertices = (middles + sizes * random.normal(size=(n_triangles, 3, 3))).reshape(-1, 3)
    return vertices, np.arange(3 * n_triangles, dtype=np.int32).reshape(-1, 3)


def torus():
    mesh = trimesh.creation.torus(0.8, 0.3, major_sections=96, minor_sections=48)
    return np.array(mesh.vertices), np.array(mesh.faces, np.int32)


def l_shaped_box():
    """A closed room with an inner corner, all faces along the axes: the hardest case for boxes without thickness."""
    outline = [(-1, -1), (1, -1), (1, 0), (0, 0), (0, 1), (-1, 1)]
    vertices = np.array([(x, y, z) for z in (-1, 1) for x, y in outline], float)
    cap = [(0, 1, 3), (1, 2, 3), (0, 3, 5), (3, 4, 5)]
    walls = [face for i in range(6) for face in ((i, (i + 1) % 6, i + 6), ((i + 1) % 6, (i + 1) % 6 + 6, i + 6))]
    triangles = [*cap, *((a + 6, c + 6, b + 6) for a, b, c in cap), *walls]
    return vertices, np.array(triangles, np.int32)


def trace(tree, origins, directions, t_min=0.0, t_max=np.inf):
    """Closest hits (t, faces, u, v) of all rays; the answers of `any_hits` must agree."""
    origins, directions = np.array(origins, float), np.array(directions, float)
    n = len(origins)
    t, u, v, faces = np.empty(n), np.empty(n), np.empty(n), np.empty(n, np.int32)
    bvh.closest_hits(tree, origins, directions, t_min, t_max, 0, n, t, faces, u, v)
    blocked = np.empty(n, bool)
    bvh.any_hits(tree, origins, directions, t_min, t_max, 0, n, blocked)
    np.testing.assert_array_equal(blocked, faces >= 0)
    return t, faces, u, v


def brute_force(vertices, triangles, origin, direction):
    """(t, u, v) of one ray with every triangle, t = inf for a miss: T. Möller and B. Trumbore, "Fast, minimum storage
    ray/triangle intersection", Journal of Graphics Tools 2(1), 1997."""
    a = vertices[triangles[:, 0]]
    side_b, side_c = vertices[triangles[:, 1]] - a, vertices[triangles[:, 2]] - a
    across = np.cross(direction, side_c)
    volume = np.einsum("ij,ij->i", side_b, across)
    with np.errstate(divide="ignore", invalid="ignore"):
        u = np.einsum("ij,ij->i", origin - a, across) / volume
        other = np.cross(origin - a, side_b)
        v = other @ direction / volume
        t = np.einsum("ij,ij->i", side_c, other) / volume
    met = (volume != 0.0) & (u >= 0.0) & (v >= 0.0) & (u + v <= 1.0) & (t > 0.0)
    return np.where(met, t, np.inf), u, v


def distance_from_edges(vertices, triangle, origin, direction):
    """Smallest distance of the ray's line from the three edges of a triangle, by dense points and their refinement."""
    unit = direction / np.linalg.norm(direction)
    corners = vertices[triangle] - origin
    flat = corners - np.outer(corners @ unit, unit)
    nearest = np.inf
    for p, q in ((0, 1), (1, 2), (2, 0)):
        step = flat[q] - flat[p]
        share = np.clip(-(flat[p] @ step) / max(step @ step, 1e-300), 0.0, 1.0)
        nearest = min(nearest, np.linalg.norm(flat[p] + share * step))
    return nearest


@pytest.mark.parametrize("make_mesh", mostly_slow([l_shaped_box, torus, random_soup, displaced_sphere], 3))
def test_hits_agree_with_embree_except_at_edges(make_mesh):
    """Both get the same float32 numbers. Embree's arithmetic is float32: at distances up to 10 its error is some 6e-7,
    so a ray may be judged otherwise only if it passes an edge, or two surfaces meet, within 1e-6 of the scene's size.
    """
    vertices, triangles = make_mesh()
    vertices = vertices.astype(np.float32).astype(float)
    random = np.random.default_rng(3)
    origins = (2.0 * random.normal(size=(200_000, 3))).astype(np.float32)
    directions = (0.5 * random.normal(size=origins.shape) - origins).astype(np.float32)
    scene = rtcore_scene.EmbreeScene()
    TriangleMesh(scene, vertices.astype(np.float32), triangles)
    judged = scene.run(origins, directions, output=True)["primID"]
    origins, directions = origins.astype(float), directions.astype(float)
    t, faces, _, _ = trace(bvh.build_bvh(vertices, triangles), origins, directions)
    assert np.mean(faces >= 0) > 0.3
    differing = np.flatnonzero(faces != judged)
    assert len(differing) <= 1e-4 * len(origins)
    size = np.abs(vertices).max() + np.linalg.norm(origins, axis=1)
    for ray in differing:
        all_t, _, _ = brute_force(vertices, triangles, origins[ray], directions[ray])
        candidates = [face for face in (faces[ray], judged[ray]) if face >= 0]
        edge = min(distance_from_edges(vertices, triangles[face], origins[ray], directions[ray]) for face in candidates)
        same_depth = abs(all_t[judged[ray]] - t[ray]) * np.linalg.norm(directions[ray])
        assert t[ray] == pytest.approx(all_t.min(), rel=1e-9) or edge < 1e-12
        assert min(edge, same_depth) < 1e-6 * size[ray]


@pytest.mark.parametrize("make_mesh", [lambda: displaced_sphere(2), lambda: random_soup(300), l_shaped_box])
def test_hits_agree_with_a_brute_force(make_mesh):
    vertices, triangles = make_mesh()
    random = np.random.default_rng(5)
    origins = 1.5 * random.normal(size=(3000, 3))
    directions = 10.0 ** random.uniform(-3, 3, (3000, 1)) * random.normal(size=(3000, 3))
    t, faces, u, v = trace(bvh.build_bvh(vertices, triangles), origins, directions)
    for ray in range(len(origins)):
        all_t, all_u, all_v = brute_force(vertices, triangles, origins[ray], directions[ray])
        nearest = int(np.argmin(all_t))
        if all_t[nearest] == np.inf:
            assert (t[ray], faces[ray]) == (np.inf, -1)
        else:
            # Small triangles seen at a slant cost some digits; 1e-9 leaves four of them.
            assert faces[ray] == nearest
            assert t[ray] == pytest.approx(all_t[nearest], rel=1e-9)
            assert (u[ray], v[ray]) == (
                pytest.approx(all_u[nearest], abs=1e-8),
                pytest.approx(all_v[nearest], abs=1e-8),
            )


def all_triangles_tested(vertices, triangles, origins, directions):
    """(t, face) by the kernels' own triangle test in numpy, on every triangle without a tree, bit for bit."""
    n = len(origins)
    best, face = np.full(n, np.inf), np.full(n, -1)
    steepest = np.abs(directions)[:, ::-1].argmax(1)
    axis_z = 2 - steepest
    axes = np.stack([(axis_z + 1) % 3, (axis_z + 2) % 3, axis_z], axis=1)
    turned = np.take_along_axis(directions, axes, 1)
    along = 1.0 / turned[:, 2]
    for index, corners in enumerate(vertices[triangles]):
        seen = np.take_along_axis(corners[None] - origins[:, None], np.broadcast_to(axes[:, None], (n, 3, 3)), 2)
        z = seen[:, :, 2]
        x, y = seen[:, :, 0] - (turned[:, 0] * along)[:, None] * z, seen[:, :, 1] - (turned[:, 1] * along)[:, None] * z
        weights = np.stack([x[:, i] * y[:, j] - y[:, i] * x[:, j] for i, j in ((2, 1), (0, 2), (1, 0))], axis=1)
        total = weights[:, 0] + weights[:, 1] + weights[:, 2]
        depth = weights[:, 0] * z[:, 0] + weights[:, 1] * z[:, 1] + weights[:, 2] * z[:, 2]
        with np.errstate(divide="ignore", invalid="ignore"):
            t = depth * (1.0 / total) * along
        inside = ((weights >= 0).all(1) | (weights <= 0).all(1)) & (total != 0)
        nearer = inside & (t > 0.0) & (t < best)
        best[nearer], face[nearer] = t[nearer], index
    return best, face


@pytest.mark.parametrize("spread", [0.0, 1e-9, 1e-6])
def test_the_tree_loses_no_hit_of_any_triangle(spread):
    """Corners, origins and directions on a coarse lattice, or a hair off it: rays run in the faces of boxes, through
    corners and edges, along walls, and start on them; zeros have both signs. The tree must find exactly what testing
    every triangle finds."""
    random = np.random.default_rng(int(spread * 1e10) + 1)
    n_hits = 0
    for _ in range(60):
        vertices = random.integers(-2, 3, (60, 3)) + spread * random.normal(size=(60, 3))
        triangles = random.integers(0, 60, (40, 3))
        origins = random.integers(-3, 4, (400, 3)) + spread * random.normal(size=(400, 3))
        hair = spread * random.normal(size=(400, 3)) * random.integers(0, 2, (400, 3))
        directions = random.integers(-2, 3, (400, 3)) + hair
        directions = directions * random.choice([-1.0, 1.0], directions.shape)
        moving = directions.any(axis=1)
        origins, directions = origins[moving], directions[moving]
        t, faces, _, _ = trace(bvh.build_bvh(vertices, triangles), origins, directions)
        expected_t, expected_faces = all_triangles_tested(vertices, triangles, origins, directions)
        np.testing.assert_array_equal(t, expected_t)
        np.testing.assert_array_equal(faces, expected_faces)
        n_hits += (faces >= 0).sum()
    assert n_hits > 3000


CLOSED_MESHES = {
    "displaced sphere": (displaced_sphere, (0.05, -0.02, 0.03)),
    "torus": (torus, (0.8, 0.01, -0.02)),
    "l-shaped box": (l_shaped_box, (-0.5, -0.5, 0.0)),
    "l-shaped box off its planes": (l_shaped_box, (-0.43, -0.61, 0.17)),
}


@pytest.mark.parametrize("name", CLOSED_MESHES)
@pytest.mark.parametrize(("scale", "shift"), [(1.0, 0.0), (1e-5, 0.0), (1e4, 0.0), (1.0, 1000.0)])
def test_no_ray_escapes_from_a_closed_mesh(name, scale, shift):
    make_mesh, inside = CLOSED_MESHES[name]
    vertices, triangles = make_mesh()
    vertices, inside = vertices * scale + shift, np.array(inside) * scale + shift
    sides = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
    edges = np.unique(np.sort(sides, axis=1), axis=0)
    start, end = vertices[edges[:, 0]], vertices[edges[:, 1]]
    shares = np.random.default_rng(7).random((len(edges), 1))
    targets = np.concatenate([vertices, 0.5 * (start + end), start + shares * (end - start)])
    along_axes = np.concatenate([np.eye(3), -np.eye(3)])
    directions = np.concatenate([targets - inside, along_axes])
    _, faces, _, _ = trace(bvh.build_bvh(vertices, triangles), np.broadcast_to(inside, directions.shape), directions)
    assert np.all(faces >= 0)


def test_no_ray_slips_through_a_fan_at_its_hub():
    """Straight at the vertex that many slivers share, from every side and from far away."""
    turns = np.linspace(0.0, 2.0 * np.pi, 500, endpoint=False)
    rim = np.stack([np.cos(turns), np.sin(turns), 0.3 * np.cos(5 * turns)], axis=1)
    vertices = np.concatenate([[[1 / 3, 0.1, 0.7]], rim])
    spokes = np.arange(500)
    triangles = np.stack([0 * spokes, spokes + 1, (spokes + 1) % 500 + 1], axis=1)
    random = np.random.default_rng(2)
    origins = np.array([0, 0, 4.0]) + random.uniform(-0.5, 0.5, (20_000, 3))
    origins[::2] *= 1000.0
    # Rounding moves the ray by an ulp of its origin at most, to either side of the hub.
    _, faces, _, _ = trace(bvh.build_bvh(vertices, triangles), origins, vertices[0] - origins)
    assert np.all(faces >= 0)


def test_a_ray_along_a_wall_still_meets_what_stands_on_it():
    """The ray runs in the plane of a box's face, with two components zero: 0 · inf in a careless box test."""
    wall = [[0, 0, 0], [4, 0, 0], [4, 4, 0], [0, 4, 0]]
    post = [[2, 1, 0], [2, 3, 0], [2, 2, 1]]
    tree = bvh.build_bvh(np.array(wall + post, float), np.array([[0, 1, 2], [0, 2, 3], [4, 5, 6]]))
    t, faces, _, _ = trace(
        tree, [[0.5, 2.0, 0.0], [0.5, 1.5, 0.0], [3.5, 2.0, 0.0]], [[1, 0, 0], [1, 0, 0], [-1, 0, 0]]
    )
    np.testing.assert_array_equal(faces, 2)
    np.testing.assert_array_equal(t, 1.5)


def test_an_empty_mesh_is_never_hit():
    t, faces, _, _ = trace(bvh.build_bvh(np.zeros((0, 3)), np.zeros((0, 3))), np.zeros((1, 3)), np.ones((1, 3)))
    assert (t[0], faces[0]) == (np.inf, -1)


def test_a_single_triangle_is_hit_where_it_should_be():
    t, faces, u, v = trace(bvh.build_bvh(np.eye(3), [[0, 1, 2]]), np.zeros((2, 3)), [[1, 1, 2], [-1, 1, 1]])
    np.testing.assert_array_equal(faces, [0, -1])
    assert (t[0], u[0], v[0]) == (pytest.approx(0.25), pytest.approx(0.25), pytest.approx(0.5))


def test_triangles_without_area_are_never_hit():
    vertices = np.array([[0, 0, 0], [1, 0, 0], [2, 0, 0], [0, 1, 0]], float)
    tree = bvh.build_bvh(vertices, [[0, 1, 2], [3, 3, 3], [0, 3, 0]])
    origins = np.array([[1, 0, 1], [0.5, 0, 1], [0, 1, 1], [0, 0.5, 1], [-1, 0, 0]], float)
    _, faces, _, _ = trace(tree, origins, [[0, 0, -1]] * 4 + [[1, 0, 0]])
    np.testing.assert_array_equal(faces, -1)


def test_of_coincident_triangles_the_first_is_hit():
    triangles = np.tile([[0, 1, 2]], (1000, 1))
    _, faces, _, _ = trace(bvh.build_bvh(np.eye(3), triangles), np.zeros((1, 3)), np.ones((1, 3)))
    assert faces[0] == 0


def test_only_hits_inside_the_open_range_count():
    tree = bvh.build_bvh([[-1, -1, 2], [1, -1, 2], [0, 2, 2]], [[0, 1, 2]])
    ray = ([[0, 0, 0]], [[0, 0, 1]])
    for limits, met in (((0, 2.0), False), ((0, 2.0000001), True), ((2.0, 9), False), ((1.9999999, 9), True)):
        assert (trace(tree, *ray, *limits)[1][0] >= 0) == met


@pytest.mark.parametrize("direction", [[0, 0, 0], [np.nan, 0, 1], [np.inf, 0, 1]])
def test_a_ray_without_direction_meets_nothing(direction):
    assert trace(bvh.build_bvh(np.eye(3), [[0, 1, 2]]), np.zeros((1, 3)), [direction])[1][0] == -1


@pytest.mark.parametrize(
    ("vertices", "triangles", "word"),
    [
        ([[0, 0, np.nan], [1, 0, 0], [0, 1, 0]], [[0, 1, 2]], "unit"),
        ([[0, 0, 1e9], [1, 0, 0], [0, 1, 0]], [[0, 1, 2]], "unit"),
        ([[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[0, 1, 3]], "damaged"),
    ],
)
def test_a_mesh_that_cannot_be_is_refused(vertices, triangles, word):
    with pytest.raises(ValueError, match=word):
        bvh.build_bvh(vertices, triangles)


def test_threads_and_ranges_do_not_change_the_hits():
    vertices, triangles = displaced_sphere(4)
    tree = bvh.build_bvh(vertices, triangles)
    random = np.random.default_rng(9)
    origins, directions = 2.0 * random.normal(size=(10_000, 3)), random.normal(size=(10_000, 3))
    whole = trace(tree, origins, directions)
    n = len(origins)
    parts = np.empty(n), np.empty(n, np.int32), np.empty(n), np.empty(n)
    with ThreadPoolExecutor(3) as pool:
        jobs = [
            pool.submit(bvh.closest_hits, tree, origins, directions, 0.0, np.inf, start, min(start + 777, n), *parts)
            for start in range(0, n, 777)
        ]
    assert all(job.exception() is None for job in jobs)
    for one, other in zip(whole, parts, strict=True):
        np.testing.assert_array_equal(one, other)


@pytest.mark.slow
def test_kernels_load_from_the_cache_in_another_process(tmp_path):
    program = (
        "import numpy as np; from projector.tracing.rays import bvh\ntree = bvh.build_bvh(np.eye(3), [[0, 1, 2]]); ray"
        " = np.zeros((1, 3)), np.ones((1, 3)); out = np.empty(1, bool)\nbvh.any_hits(tree, *ray, 0.0, np.inf, 0, 1,"
        " out)\nprint(out[0], sum(bvh.any_hits.stats.cache_misses.values()))"
    )
    environment = os.environ | {"PROJECTOR_CACHE": str(tmp_path), "PYTHONPATH": str(REPOSITORY)}
    command = [sys.executable, "-c", program]
    first, second = (
        subprocess.run(command, env=environment, capture_output=True, text=True, check=True).stdout for _ in range(2)
    )
    assert (first.split(), second.split()) == (["True", "1"], ["True", "0"])
