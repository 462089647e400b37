"""An object and what it is made of are two numbers: outlines go by the object, light by the material."""

from __future__ import annotations

import numpy as np

from projector.rendering import prepared_light
from projector.rendering.shadows import find_visibility
from projector.rendering.workers import Workers
from projector.stage.camera import camera_arrays
from projector.stage.surfaces import scene_arrays
from projector.tracing.rays.first_hits import camera_points, empty_points, mark_outlines
from projector.tracing.sight.visibility import mark_steps

WIDTH, HEIGHT = 48, 36
REFLECTANCES = np.array([[0.2], [0.6]]) * np.ones((1, 71))


def two_materials(scene):
    """The scene's wall, its first triangle of one material, the other of a second."""
    arrays = scene_arrays(scene)
    materials = np.ascontiguousarray(np.arange(len(arrays.surfaces.owners)) % 2, dtype=np.int32)
    return type(arrays)(arrays.surfaces._replace(materials=materials), arrays.bvh, arrays.names)


def seen(arrays, scene):
    camera = camera_arrays(scene, WIDTH, HEIGHT)
    rows, columns = (values.ravel() for values in np.meshgrid(np.arange(HEIGHT), np.arange(WIDTH), indexing="ij"))
    points, triangles = empty_points(rows.size), np.empty(rows.size, np.int32)
    camera_points(arrays.bvh, arrays.surfaces, camera, columns + 0.5, rows + 0.5, 1.0, 0, rows.size, points, triangles)
    return points, triangles


def marked(points, triangles):
    marks = np.empty(WIDTH * HEIGHT, np.bool_)
    mark_outlines(triangles, points, WIDTH, HEIGHT, 0, HEIGHT, marks)
    return marks


def test_an_object_of_two_materials_reflects_as_both_and_has_no_outline_between(studio):
    scene = studio.scene({"gate": {"diameter_mm": 60.0}})
    arrays = two_materials(scene)
    points, triangles = seen(arrays, scene)
    on_wall = points.owners == 0
    assert {0, 1} <= set(points.materials[on_wall]) and on_wall.all()
    assert not marked(points, triangles).any()
    # The same seam between two objects is an outline.
    assert marked(points._replace(owners=points.materials), triangles).any()
    with Workers(1) as workers:
        prepared = prepared_light.prepare_light(scene, scene.projector[0], 6)
        visibility = find_visibility(arrays, prepared.light, points, 4, workers)
        reach = prepared_light.reach_of(prepared.light.emitter, points, visibility.state)
        found = []
        for reflectances in (REFLECTANCES, np.ones((2, 71))):
            out = np.zeros((len(points.materials), 3))
            weights = prepared.weights(reflectances, prepared_light.XYZ_CHANNELS)
            with prepared_light.stacks_ready(prepared, reach) as stacks:
                prepared_light.light_points(prepared, points, visibility, stacks, weights, out, workers)
            found.append(out[:, 1])
    lit = found[1] > 0.01 * found[1].max()
    shares = found[0][lit] / found[1][lit]
    assert np.abs(shares - np.where(points.materials[lit] == 0, 0.2, 0.6)).max() < 1e-6
    assert set(points.materials[lit]) == {0, 1}


def test_a_shadows_edge_runs_on_over_a_change_of_material(studio):
    """Steps of what is seen of a pupil are marked within an object, whatever it is made of, and not between two."""
    points, _ = seen(two_materials(studio.scene()), studio.scene())
    values = points.materials.astype(np.float32)
    marks = np.zeros(WIDTH * HEIGHT, np.bool_)
    mark_steps(values, points.owners, WIDTH, HEIGHT, 0.5, 0, HEIGHT, marks)
    assert marks.any()
    marks[:] = False
    mark_steps(values, points.materials, WIDTH, HEIGHT, 0.5, 0, HEIGHT, marks)
    assert not marks.any()
