"""Where shadow rays start: closed forms on a sphere and a saddle, and nothing in between is jumped."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from projector.jit import kernel
from projector.tracing.rays.bvh import any_hits, build_bvh
from projector.tracing.rays.first_hits import camera_points, empty_points
from projector.tracing.rays.smooth_surface import clearances_of, edge_bulge, shadow_ray_start
from projector.tracing.rays.surfaces import PinholeCamera, Surfaces

SIZE = 160


def unit(vectors):
    return vectors / np.linalg.norm(vectors, axis=-1, keepdims=True)


def sphere(n_halvings):
    """A sphere of radius 0.1 m, and where its smooth surface lies for points near it: places and normals."""
    ball = trimesh.creation.icosphere(n_halvings, 0.1)
    vertices = np.array(ball.vertices)
    return (vertices, unit(vertices), np.array(ball.faces, np.int32)), lambda points: (0.1 * unit(points), unit(points))


def waist_radius(y):
    return 0.06 - 0.03 * np.cos(y / 0.15 * np.pi), 0.03 * np.sin(y / 0.15 * np.pi) * np.pi / 0.15


def waist(n_round, n_up):
    """A surface of revolution with a waist of 0.03 m: hollow along it, round across it."""
    angles, heights = np.meshgrid(
        np.arange(n_round) / n_round * 2.0 * np.pi, np.linspace(-0.15, 0.15, n_up), indexing="ij"
    )

    def of(angle, y):
        radius, slope = waist_radius(y)
        outwards = np.stack([np.cos(angle), -slope, np.sin(angle)], axis=-1)
        return np.stack([radius * np.cos(angle), y, radius * np.sin(angle)], axis=-1), unit(outwards)

    vertices, normals = (part.reshape(-1, 3) for part in of(angles, heights))
    i, j = np.arange(n_round)[:, None], np.arange(n_up - 1)[None]
    a, b = i * n_up + j, (i + 1) % n_round * n_up + j
    triangles = np.concatenate(
        [
            np.stack(np.broadcast_arrays(a, b + 1, b), axis=-1).reshape(-1, 3),
            np.stack(np.broadcast_arrays(a, a + 1, b + 1), axis=-1).reshape(-1, 3),
        ]
    )
    return (vertices, normals, triangles.astype(np.int32)), lambda points: of(
        np.arctan2(points[:, 2], points[:, 0]), points[:, 1]
    )


def surfaces_of(vertices, normals, triangles):
    owners = np.zeros(len(triangles), np.int32)
    return Surfaces(
        vertices, normals, triangles, owners, owners, clearances_of(vertices, normals, triangles)
    ), build_bvh(vertices, triangles)


def seen_from(surfaces, tree, eye):
    """Points that a camera at `eye`, aimed at the origin, sees of a mesh's outside, and the triangles' numbers."""
    forward = unit(-np.asarray(eye, float))
    right = unit(np.cross(forward, [0.0, 1.0, 0.0]))
    camera = PinholeCamera(
        tuple(map(float, eye)), tuple(right), tuple(np.cross(forward, right)), tuple(forward), 0.16, 0.16, SIZE, SIZE
    )
    rows, columns = (grid.ravel() + 0.5 for grid in np.indices((SIZE, SIZE)))
    points, triangles = empty_points(SIZE * SIZE), np.empty(SIZE * SIZE, np.int32)
    camera_points(tree, surfaces, camera, columns, rows, 1.0, 0, SIZE * SIZE, points, triangles)
    met = triangles >= 0
    outwards = np.einsum("ij,ij->i", points.normals[met], surfaces.normals[surfaces.triangles[triangles[met], 0]]) > 0.0
    return (
        points.positions[met][outwards].astype(float),
        points.normals[met][outwards].astype(float),
        points.origins[met][outwards].astype(float),
    )


def is_blocked(tree, origins, goal):
    found = np.empty(len(origins), np.bool_)
    any_hits(
        tree, np.ascontiguousarray(origins), np.ascontiguousarray(goal - origins), 1e-5, 1.0, 0, len(origins), found
    )
    return found


def ring(n_lights, height):
    angles = np.radians(7.0) + np.arange(n_lights) / n_lights * 2.0 * np.pi
    return [1.3 * unit(np.array([np.sin(angle), height, np.cos(angle)])) for angle in angles]


def light_on(shape, fine, project):
    """(light on a coarse mesh, light on what it stands for) of every point from every light round it, as a cosine times
    sight.
    """
    surfaces, tree = surfaces_of(*shape)
    _, judge = surfaces_of(*fine)
    coarse, truth = [], []
    for eye in ([1.1, 0.6, 0.3], [-0.5, -0.4, 1.0]):
        positions, normals, origins = seen_from(surfaces, tree, eye)
        places, outwards = project(positions)
        for height in (-1.2, 0.0, 0.7):
            for lamp in ring(9, height):
                cosine = np.einsum("ij,ij->i", unit(lamp - positions), normals).clip(0.0)
                coarse.append(cosine * ~is_blocked(tree, origins, lamp))
                cosine = np.einsum("ij,ij->i", unit(lamp - places), outwards).clip(0.0)
                truth.append(cosine * ~is_blocked(judge, places + 1e-4 * outwards, lamp))
    return np.concatenate(coarse), np.concatenate(truth)


def test_an_edge_bulges_as_the_arc_over_it():
    """The height of an arc of angle 2φ over its chord is r·(1 − cos φ); to fourth order it is the law's r·sin²φ/2."""
    phi = np.radians(8.0)
    a, b = (np.sin(phi), np.cos(phi), 0.0), (-np.sin(phi), np.cos(phi), 0.0)
    assert edge_bulge(a, b, a, b) == pytest.approx(1.0 - np.cos(phi), rel=0.01)
    hollow = [tuple(-x for x in corner) for corner in (a, b)]
    assert edge_bulge(a, b, *hollow) == pytest.approx(-(1.0 - np.cos(phi)), rel=0.01)


@pytest.mark.parametrize("n_halvings", [1, 2])
def test_a_coarse_sphere_is_lit_as_a_sphere_from_all_sides(n_halvings):
    """Lambert's cosine of the true normal, no point darker or lighter than twice what interpolated normals miss it by
    (0.005 and 0.0014).
    """
    shape, project = sphere(n_halvings)
    fine, _ = sphere(5)
    found, truth = light_on(shape, fine, project)
    assert (truth > 0.05).sum() > 100_000
    assert np.abs(found - truth).max() < {1: 0.01, 2: 0.003}[n_halvings]


def test_a_waist_shows_no_tooth_from_any_side():
    """Light that grazes along the round of a saddle meets the ridges of its hollow. A tooth is dark where the fine mesh
    is lit by a cosine over 0.05.

    Three points in 300 000 are allowed, where the coarse rim itself throws a shadow that the fine one does not.
    """
    shape, project = waist(16, 14)
    fine, _ = waist(200, 200)
    found, truth = light_on(shape, fine, project)
    teeth = (found == 0.0) & (truth > 0.05)
    assert (truth > 0.05).sum() > 100_000
    assert teeth.mean() < 1e-5


def test_a_flat_mesh_starts_its_rays_on_its_facets():
    """No clearance but rounding: a facet keeps its edge, and what touches it keeps its shadow."""
    box = trimesh.creation.box((0.1, 0.1, 0.1))
    corners = box.vertices[box.faces].reshape(-1, 3)
    shape = (corners, np.repeat(box.face_normals, 3, axis=0), np.arange(36, dtype=np.int32).reshape(-1, 3))
    surfaces, tree = surfaces_of(*shape)
    assert not surfaces.clearances.any()
    positions, _, origins = seen_from(surfaces, tree, [1.0, 0.7, 0.5])
    assert np.abs(origins - positions).max() < 1e-6


@kernel
def _starts(tree, surfaces, u, v, places, smooth, facets, starts):
    for i in range(surfaces.triangles.shape[0]):
        place, normal, facet = (
            (places[i, 0], places[i, 1], places[i, 2]),
            (smooth[i, 0], smooth[i, 1], smooth[i, 2]),
            (facets[i, 0], facets[i, 1], facets[i, 2]),
        )
        found = shadow_ray_start(tree, surfaces, i, (1.0 - u - v, u, v), place, normal, facet, 1.0)
        starts[i, 0], starts[i, 1], starts[i, 2] = found


def starts_of(tree, surfaces, u, v):
    """`shadow_ray_start` of every triangle at barycentric u and v, seen from outside, (m, 3)."""
    corners, normals = surfaces.vertices[surfaces.triangles], surfaces.normals[surfaces.triangles]
    weights = np.array([1.0 - u - v, u, v])
    facets = unit(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]))
    starts = np.empty((len(corners), 3))
    _starts(
        tree,
        surfaces,
        u,
        v,
        np.einsum("j,mji->mi", weights, corners),
        unit(np.einsum("j,mji->mi", weights, normals)),
        facets,
        starts,
    )
    return starts


@pytest.mark.parametrize("gap_m", [2e-4, 5e-4, 1e-3])
def test_a_cover_close_over_a_coarse_surface_is_not_jumped(gap_m):
    """A shell a fraction of a millimetre over a coarse sphere, whose rays start up to 6 mm over its facets, still
    darkens all of it.
    """
    (vertices, normals, triangles), _ = sphere(1)
    shell = trimesh.creation.icosphere(4, 0.1 + gap_m)
    n = len(vertices)
    both = (
        np.concatenate([vertices, np.array(shell.vertices)]),
        np.concatenate([normals, unit(np.array(shell.vertices))]),
        np.concatenate([triangles, np.array(shell.faces, np.int32) + n]).astype(np.int32),
    )
    _, tree = surfaces_of(*both)
    bare, _ = surfaces_of(vertices, normals, triangles)
    assert bare.clearances[:, 0].max() > 1e-3
    for u, v in ((1 / 3, 1 / 3), (0.45, 0.1), (0.02, 0.02)):
        starts = starts_of(tree, bare, u, v)
        assert all(is_blocked(tree, starts, lamp).all() for lamp in ring(6, 0.4))
