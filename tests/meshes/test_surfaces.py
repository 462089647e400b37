"""Walls, sweeps and boxes: where they stand, which way they face, and how they are laid out as maps."""

from __future__ import annotations

import math

import numpy as np
import pytest

from projector.faults import SceneError
from projector.meshes.surfaces import build_surface, surface_centre, surface_layout
from projector.scene.model import Surface


def facets(mesh):
    corners = mesh.vertices[mesh.triangles]
    return np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])


def test_a_wall_faces_the_camera_and_turns_to_its_left():
    straight = facets(build_surface(Surface(name="w", shape="flat", width_m=2.0, height_m=1.0)))
    assert np.allclose(straight / np.linalg.norm(straight, axis=1, keepdims=True), [0, 0, 1])
    turned = facets(build_surface(Surface(name="w", shape="flat", yaw_deg=90.0)))
    assert np.allclose(turned / np.linalg.norm(turned, axis=1, keepdims=True), [1, 0, 0], atol=1e-12)


def test_a_box_is_closed_and_faces_outwards():
    mesh = build_surface(
        Surface(name="b", shape="box", position_m=(1.0, 2.0, 3.0), width_m=1.0, height_m=2.0, depth_m=3.0)
    )
    corners = mesh.vertices[mesh.triangles] - np.array([1.0, 2.0, 3.0])
    volume = np.einsum("ij,ij->i", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])).sum() / 6.0
    assert volume == pytest.approx(6.0)


def test_a_sweep_curves_smoothly_from_wall_to_floor():
    spec = Surface(name="s", shape="sweep", width_m=2.0, height_m=2.5, foot_radius_m=0.5, floor_length_m=1.0)
    mesh = build_surface(spec)
    assert mesh.vertices.min(axis=0) == pytest.approx([-1.0, 0.0, 0.0])
    assert mesh.vertices.max(axis=0) == pytest.approx([1.0, 2.5, 1.5])
    own = facets(mesh)
    own /= np.linalg.norm(own, axis=1, keepdims=True)
    for corner in range(3):
        assert np.einsum("ij,ij->i", own, mesh.normals[mesh.triangles[:, corner]]).min() > math.cos(math.radians(1.0))


def test_a_sweep_unrolls_by_its_arc_length():
    """Quarter circle: π/2 · r (plane geometry)."""
    spec = Surface(name="s", shape="sweep", width_m=2.0, height_m=2.5, foot_radius_m=0.5, floor_length_m=1.0)
    layout = surface_layout(spec)
    _left, _right, bottom, top = layout.extent_m
    assert top - bottom == pytest.approx(2.0 + 0.25 * math.pi + 1.0)
    points, normals = layout.grid(64)
    steps = np.linalg.norm(np.diff(points[:, 0], axis=0), axis=1)
    assert steps == pytest.approx(np.full(len(steps), (top - bottom) / len(points)), rel=1e-3)
    assert normals[0, 0] == pytest.approx([0, 0, 1]) and normals[-1, 0] == pytest.approx([0, 1, 0])
    assert points[0, 0, 1] > points[-1, 0, 1]


def test_a_map_is_seen_from_the_front_with_its_top_up():
    spec = Surface(name="w", shape="flat", position_m=(0.0, 1.0, 0.0), width_m=2.0, height_m=1.0)
    layout = surface_layout(spec)
    points, _ = layout.grid(20)
    assert points.shape == (10, 20, 3) and layout.extent_m == (-1.0, 1.0, -0.5, 0.5)
    assert points[0, 0, 0] < points[0, -1, 0] and points[0, 0, 1] > points[-1, 0, 1]


@pytest.mark.parametrize("face", ["front", "back", "left", "right", "top", "bottom"])
def test_every_face_of_a_box_lies_on_the_box_and_is_not_mirrored(face):
    spec = Surface(name="b", shape="box", width_m=1.0, height_m=2.0, depth_m=3.0)
    points, normals = surface_layout(spec, face).grid(16)
    normal = normals[0, 0]
    assert np.einsum("ijk,k->ij", points, normal) == pytest.approx(
        np.full(points.shape[:2], 0.5 * abs(normal @ [1.0, 2.0, 3.0]))
    )
    right, up = points[0, -1] - points[0, 0], points[0, 0] - points[-1, 0]
    assert np.cross(right, up) @ normal > 0.0


def test_a_face_that_a_box_has_not_is_named():
    with pytest.raises(SceneError, match="no face"):
        surface_layout(Surface(name="b", shape="box"), "lid")


def test_the_centre_of_a_sweep_is_on_its_wall():
    spec = Surface(name="s", shape="sweep", height_m=2.0, position_m=(0.0, 0.0, -1.0))
    assert surface_centre(spec) == pytest.approx([0.0, 1.0, -1.0])
