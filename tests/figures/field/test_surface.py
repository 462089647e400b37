"""From field to mesh: edges split without opening the mesh, grid lines where they are wanted, vertices drawn on to the
skin.
"""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
import trimesh

from projector.figures.field.surface import (
    COARSE_STEP,
    _drawn_on,
    _graded,
    _with_split_edges,
    field_gradient,
    figure_field,
)


def test_any_choice_of_split_edges_keeps_a_tetrahedron_closed():
    corners = np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.1], [0.1, 1.0, 0.0], [0.0, 0.2, 1.0]])
    triangles = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]])
    edges = [(0, 1), (0, 2), (0, 3), (1, 2), (1, 3), (2, 3)]
    whole = trimesh.Trimesh(corners, triangles, process=False)
    for choice in product([False, True], repeat=6):
        split = [edge for edge, chosen in zip(edges, choice, strict=True) if chosen]
        number = {edge: 4 + i for i, edge in enumerate(split)}
        middle = [
            [number.get((min(a, b), max(a, b)), -1) for a, b in zip(row, np.roll(row, -1), strict=True)]
            for row in triangles
        ]
        vertices = np.concatenate([corners, *(corners[list(edge)].mean(axis=0)[None] for edge in split)])
        pieces = trimesh.Trimesh(vertices, _with_split_edges(vertices, triangles, np.array(middle)), process=False)
        # Every split edge adds a piece to both of its triangles.
        assert len(pieces.faces) == 4 + 2 * len(split)
        assert pieces.is_watertight and pieces.is_winding_consistent
        assert pieces.volume == pytest.approx(whole.volume)
        assert pieces.area == pytest.approx(whole.area)


def test_grid_lines_are_as_far_apart_as_wanted_and_fit_the_coarse_grid():
    lines = _graded(0.0, 100.0, ([0, 40, 60, 100], [2.0, 2.0, 5.0, 5.0]))
    assert (len(lines) - 1) % COARSE_STEP == 0
    assert lines[0] == 0.0 and lines[-1] == pytest.approx(100.0)
    spacing, middle = np.diff(lines), 0.5 * (lines[1:] + lines[:-1])
    # Rounding to whole coarse cells draws the lines together by less than one coarse cell in the whole row of 31.
    assert spacing[middle < 38.0] == pytest.approx(2.0, rel=COARSE_STEP / 31)
    assert spacing[middle > 62.0] == pytest.approx(5.0, rel=COARSE_STEP / 31)


@pytest.mark.parametrize("kind", ["head", "head_and_torso"])
def test_points_near_the_skin_are_drawn_on_to_it(kind):
    # Directions out of the skull that do not run down the neck.
    directions = np.random.default_rng(5).normal(size=(60, 3))
    directions[:, 1] = np.abs(directions[:, 1])
    directions /= np.linalg.norm(directions, axis=1, keepdims=True)
    steps = np.linspace(0.0, 160.0, 400)
    paths = np.array([0.0, 5.0, 0.0]) + steps[:, None, None] * directions
    inside = figure_field(tuple(paths.reshape(-1, 3).T), kind).reshape(400, 60) < 0.0
    assert not inside[-1].any()
    start = paths[np.argmin(inside, axis=0), np.arange(60)]
    drawn = _drawn_on(start, kind, 4)
    steepness = np.linalg.norm(field_gradient(drawn, kind), axis=1)
    # Newton's steps halve an error at the very least; after four of them it is far under the mesh's 0.14 mm.
    assert (np.abs(figure_field(tuple(drawn.T), kind)) / steepness).max() < 0.02
    assert np.linalg.norm(drawn - start, axis=1).max() < 2.0


def test_gradient_points_out_of_the_head_and_is_near_one():
    points = np.array([[0.0, 112.0, -12.0], [0.0, 30.0, -119.0], [0.0, 48.0, 93.5]])
    gradient = field_gradient(points, "head")
    length = np.linalg.norm(gradient, axis=1)
    assert (gradient / length[:, None] * [[0, 1, 0], [0, 0, -1], [0, 0, 1]]).sum(axis=1).min() > 0.9
    # The field is to be about a distance: within a factor of two, or the steps towards it go astray.
    assert length.min() > 0.5 and length.max() < 2.0


def test_head_is_the_same_with_and_without_a_torso():
    points = tuple(np.random.default_rng(11).uniform([-80, -88, -100], [80, 120, 125], (3000, 3)).T)
    assert np.array_equal(figure_field(points, "head_and_torso"), figure_field(points, "head"))
