"""Rays against meshes. Judges: Embree (through embreex) and a brute force in float64 numpy."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from embreex import rtcore_scene
from embreex.mesh_construction import TriangleMesh

from projector.tracing import bvh


def displaced_sphere(subdivisions: int = 5):
    """A bumpy closed ball of radius about 1, 20 480 triangles by default."""
    mesh = trimesh.creation.icosphere(subdivisions=subdivisions)
    vertices = np.array(mesh.vertices)
    vertices *= 1.0 + 0.15 * np.sin(7.0 * vertices[:, :1]) * np.cos(5.0 * vertices[:, 1:2])
    return vertices, np.array(mesh.faces, np.int32)


def trace(tree, origins, directions, t_min=0.0, t_max=np.inf):
    n = len(origins)
    t, u, v, faces = np.empty(n), np.empty(n), np.empty(n), np.empty(n, np.int32)
    bvh.closest_hits(tree, origins, directions, t_min, t_max, 0, n, t, faces, u, v)
    blocked = np.empty(n, bool)
    bvh.any_hits(tree, origins, directions, t_min, t_max, 0, n, blocked)
    np.testing.assert_array_equal(blocked, faces >= 0)
    return t, faces, u, v


def test_hits_agree_with_embree_on_a_displaced_sphere():
    vertices, triangles = displaced_sphere()
    random = np.random.default_rng(3)
    origins = (2.0 * random.normal(size=(100_000, 3))).astype(np.float32)
    directions = (0.6 * random.normal(size=origins.shape) - origins).astype(np.float32)
    scene = rtcore_scene.EmbreeScene()
    TriangleMesh(scene, vertices.astype(np.float32), triangles)
    judged = scene.run(origins, directions, output=True)["primID"]
    _, faces, _, _ = trace(bvh.build_bvh(vertices, triangles), origins.astype(float), directions.astype(float))
    assert np.mean(faces != judged) <= 1e-4


@pytest.mark.parametrize("n_triangles", [0, 1])
def test_tiny_meshes_are_traced(n_triangles):
    tree = bvh.build_bvh(np.eye(3), np.array([[0, 1, 2]])[:n_triangles])
    t, faces, _, _ = trace(tree, np.zeros((1, 3)), np.ones((1, 3)))
    assert faces[0] == n_triangles - 1
    assert t[0] == (pytest.approx(1 / 3) if n_triangles else np.inf)
