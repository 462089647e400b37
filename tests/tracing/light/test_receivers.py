"""What takes the light at a point: a surface, a meter's dome, a point in the air; one ray at a time and the fast way.

Closed forms of a disc seen at half angle α, luminance L (any radiometry text): a flat receiver facing it gets
π·L·sin²α, a point in the air 2π·L·(1 − cosα), a dome the mean of both, (1 + cosθ)/2 of every ray.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from projector.rendering import prepared_light
from projector.rendering.maps.map_grid import surface_points
from projector.rendering.shadows import find_visibility
from projector.rendering.workers import Workers
from projector.stage.surfaces import scene_arrays
from projector.tracing.light.reference import add_light_by_rays
from projector.tracing.sight.points import DOME, IN_AIR, SURFACE

ONE = np.ones((1, 1, 1))


def scene_with(studio, lens, distance, **projector):
    """An open gate on its axis, sharp at a distance; the wall lies far behind."""
    wall = {"position_m": [0.0, 1.5, -50.0]}
    return studio.scene({"lens": lens, "focus": {"at": None, "distance_m": distance}, **projector}, wall=wall)


def place_before(scene, distance, turns_deg):
    """Places on a projector's axis, their normals turned away from it by so many degrees."""
    light = prepared_light.prepare_light(scene, scene.projector[0], 1).light
    forward, right = np.array(light.emitter.forward), np.array(light.emitter.right)
    turns = np.radians(np.asarray(turns_deg, float))[:, None]
    positions = np.tile(np.array(light.emitter.position) + distance * forward, (len(turns), 1))
    return light, positions, -np.cos(turns) * forward + np.sin(turns) * right


def by_rays(scene, light, points, n_side=60):
    out = np.zeros((len(points.positions), 1))
    add_light_by_rays(light, scene_arrays(scene).bvh, points, ONE, n_side, 0, 0, len(out), out)
    return out[:, 0]


def fast(scene, points, weights=ONE, n_channels=1, n_wavelengths=1):
    arrays = scene_arrays(scene)
    out = np.zeros((len(points.positions), n_channels))
    with Workers(1) as workers:
        prepared = prepared_light.prepare_light(scene, scene.projector[0], n_wavelengths)
        weights = weights(prepared) if callable(weights) else weights
        visibility = find_visibility(arrays, prepared.light, points, 8, workers)
        reach = prepared_light.reach_of(prepared.light.emitter, points, visibility.state)
        with prepared_light.stacks_ready(prepared, reach) as stacks:
            prepared_light.light_points(prepared, points, visibility, stacks, weights, out, workers)
    return out


@pytest.mark.parametrize(("turn", "share"), [(60.0, 0.75), (90.0, 0.5), (120.0, 0.25)])
def test_a_dome_takes_half_of_one_and_the_cosine(studio, turn, share):
    """Projected area of a hemisphere, exact for a small source: 0.75, 0.5 and 0.25 of the normal illuminance. The pupil
    of 2 mm at 3 m is 3e-4 wide, so the cosine is one number to 1e-4.
    """
    scene = scene_with(studio, {"focal_length_mm": 85.0, "f_number": 42.5}, 3.0)
    light, positions, normals = place_before(scene, 3.0, [0.0, turn])
    facing = by_rays(scene, light, surface_points(positions, normals, receiver=SURFACE))[0]
    points = surface_points(positions, normals, receiver=DOME)
    assert by_rays(scene, light, points)[1] == pytest.approx(share * facing, rel=5e-4)
    assert fast(scene, points)[1, 0] == pytest.approx(share * facing, rel=5e-4)


def test_receivers_before_a_wide_disc_take_the_closed_forms(studio):
    """A pupil of 85 mm at 0.3 m: α = 8.1°. 3600 stratified rays are right to 1e-4. The fast way sums 16 cells, the
    middle of each for all of it: the mean square radius is short by what a cell spreads, about R²/16, and the light too
    large by 2·(R/d)²/16 = 2.5e-3.
    """
    scene = scene_with(studio, {"focal_length_mm": 85.0, "f_number": 1.0}, 0.3)
    light, positions, normals = place_before(scene, 0.3, [0.0])
    angle = math.atan(light.emitter.radius / 0.3)
    flat, air = math.pi * math.sin(angle) ** 2, 2.0 * math.pi * (1.0 - math.cos(angle))
    for receiver, expected in ((SURFACE, flat), (IN_AIR, air), (DOME, 0.5 * (flat + air))):
        points = surface_points(positions, normals, receiver=receiver)
        assert by_rays(scene, light, points)[0] == pytest.approx(expected, rel=1e-3)
        assert fast(scene, points)[0, 0] == pytest.approx(expected, rel=3e-3)


@pytest.mark.parametrize("receiver", [SURFACE, DOME, IN_AIR])
def test_the_fast_way_is_that_of_rays_across_an_edge_and_a_shadow(studio, receiver):
    """A soft edge of the pattern and a plate's half shadow, the receiver turned by 70°: 1 % of full light."""
    plate = {"name": "plate", "shape": "flat", "position_m": [0.5, 1.5, 1.5], "width_m": 1.0, "height_m": 2.0}
    wall = {"name": "wall", "shape": "flat", "position_m": [0.0, 1.5, -50.0], "width_m": 2.0, "height_m": 2.0}
    scene = studio.scene(
        {
            "stencil": {"file": studio.half_plane(vertical=False), "width_mm": 30.0},
            "lens": {"focal_length_mm": 85.0, "f_number": 1.8},
            "focus": {"at": None, "distance_m": 2.0},
        },
        surfaces=[wall, plate],
    )
    light, positions, normals = place_before(scene, 3.0, np.full(25, 70.0))
    right, down = np.array(light.emitter.right), np.array(light.emitter.down)
    offsets = np.linspace(-0.02, 0.02, 5)
    steps = np.array([(x, y) for x in offsets for y in offsets])
    points = surface_points(positions + steps @ np.array([right, down]), normals, receiver=receiver)
    rays, found = by_rays(scene, light, points, 100), fast(scene, points)[:, 0]
    full = by_rays(
        scene, light, surface_points(positions[:1] - 0.15 * right + 0.1 * down, normals[:1], receiver=receiver)
    )
    assert rays.max() > 0.5 * full[0] and rays.min() < 0.2 * full[0]
    assert np.abs(found - rays).max() < 0.012 * full[0]


def test_a_channel_for_each_wavelength_adds_up_to_the_colours(studio):
    """XYZ of every node's power, as far as a node stands for its part of the spectrum: the weights that the colours are
    made with, over the node's own power, sum the channels to the same light but for rounding.
    """
    scene = studio.scene(
        {
            "stencil": {"file": studio.half_plane(), "width_mm": 30.0},
            "lens": {"f_number": 2.0, "dispersion": {"glass": "N-BK7"}},
        },
        wall={"position_m": [0.0, 1.5, -50.0]},
    )
    spec, white = scene.projector[0], np.ones((1, 71))
    _, positions, normals = place_before(scene, 2.8, np.zeros(9))
    positions = positions + np.linspace(-0.02, 0.02, 9)[:, None] * np.array([1.0, 0.0, 0.0])
    points = surface_points(positions, normals)
    n_nodes = 12
    colours = fast(scene, points, lambda item: item.weights(white, prepared_light.XYZ_CHANNELS), 3, n_nodes)
    nodes = fast(scene, points, lambda item: item.source.node_weights(white), n_nodes, n_nodes)
    prepared = prepared_light.prepare_light(scene, spec, n_nodes)
    power = prepared.source.node_weights(white)[0].diagonal()
    worth = prepared.weights(white, prepared_light.XYZ_CHANNELS)[0] / power[:, None]
    assert nodes.shape == (9, n_nodes) and (colours.max(axis=0) > 0.0).all()
    assert nodes @ worth == pytest.approx(colours, rel=1e-6)
