"""Where a meter is held: at a point of a surface or in the air, and which way its receptor faces."""

from __future__ import annotations

import itertools
from typing import NamedTuple

import numpy as np

from projector.faults import Fault, SceneError
from projector.phrases import did_you_mean, either, nearest
from projector.rendering.maps.map_grid import surface_points
from projector.scene.placement import landmarks_of
from projector.stage.stage import Stage
from projector.studies.edges.profile import NothingThere, OnSurface, name_of, surface_near
from projector.tracing.rays.bvh import closest_hits
from projector.tracing.sight.points import DOME, SURFACE, Points

RECEPTORS = {"dome": DOME, "flat": SURFACE}
CAMERA, OUT_OF_SURFACE = "camera", "surface"
# A receptor stands so far (m) off what it is held against.
_LIFT_M = 2e-3


class MeterPlace(NamedTuple):
    """A meter's receptor, and what is asked of every light there.

    name: of the point; point, axis (3,): m, and the unit way it faces; towards: what that is, in words; surface: what
    it is held against, None in the air; points: the receptor as kernels take it.
    """

    name: str
    point: np.ndarray
    axis: np.ndarray
    towards: str
    surface: OnSurface | None
    points: Points


def meter_place(stage: Stage, reference, receptor: str, towards: str | tuple | None = None) -> MeterPlace:
    """A meter at a landmark or point (m). receptor: "dome" or "flat"; towards: "camera", "surface" (out of it), a
    light, a landmark or a point; None: a dome faces the camera, a flat receptor lies on the surface.

    SceneError for a point inside a body, and for a meter that faces itself.
    """
    if receptor not in RECEPTORS:
        raise SceneError(Fault(allowed=either(RECEPTORS), key="receptor", value=receptor))
    goal = stage.point(reference)
    name = name_of(reference, goal)
    camera = np.asarray(stage.scene.camera.position_m, float)
    surface = _surface_at(stage, camera, goal, name)
    if surface is None:
        _refuse_inside(stage, camera, goal, name)
    point = goal if surface is None else surface.point
    faced = towards or (OUT_OF_SURFACE if receptor == "flat" and surface is not None else CAMERA)
    axis, words = _axis(stage, point, surface, faced)
    points = surface_points(point[None], axis[None], receiver=RECEPTORS[receptor])
    if surface is not None:
        points = points._replace(origins=(point + _LIFT_M * surface.normal)[None].astype(np.float32))
    return MeterPlace(name, point, axis, words, surface, points)


def _surface_at(stage: Stage, camera: np.ndarray, goal: np.ndarray, name: str) -> OnSurface | None:
    """What the meter is held against, its normal on the outer side of a body and on the camera's of a wall or of a room
    that it stands in; None in the air.
    """
    origin = camera if np.linalg.norm(camera - goal) > 1e-3 else camera + np.array([0.0, 0.0, 1.0])
    try:
        surface = surface_near(stage.arrays, origin, goal, name)
    except NothingThere:
        return None
    shapes = {item.name: item.shape for item in stage.scene.surface}
    is_wall = shapes.get(stage.arrays.names[surface.owner]) in ("flat", "sweep")
    is_room = not is_wall and _body_around(stage, camera) == surface.owner
    if (is_wall or is_room) and surface.normal @ (camera - surface.point) < 0.0:
        return surface._replace(normal=-surface.normal)
    return surface


def _refuse_inside(stage: Stage, camera: np.ndarray, goal: np.ndarray, name: str) -> None:
    """SceneError for a point inside a body that the camera stands outside of."""
    body = _body_around(stage, goal)
    if body is not None and body != _body_around(stage, camera):
        raise SceneError(
            Fault(
                found=f"{name} lies inside {stage.arrays.names[body]}",
                allowed="a landmark, or a point on a surface or in the air",
                key="at",
            )
        )


def _body_around(stage: Stage, point: np.ndarray) -> int | None:
    """The object whose back is met first in every direction; None where there is none."""
    ways = np.array([way for way in itertools.product((-1.0, 0.0, 1.0), repeat=3) if any(way)])
    # Turned a little, so that no ray runs along an edge of a box.
    ways = ways @ np.linalg.qr(np.array([[1.0, 0.1, 0.2], [0.05, 1.0, 0.13], [0.11, 0.07, 1.0]]))[0]
    count, arrays = len(ways), stage.arrays
    t, faces, u, v = np.empty(count), np.empty(count, np.int32), np.empty(count), np.empty(count)
    closest_hits(arrays.bvh, np.tile(point, (count, 1)), ways, 0.0, 1e6, 0, count, t, faces, u, v)
    if (faces < 0).any():
        return None
    owners = arrays.surfaces.owners[faces]
    normals = arrays.surfaces.normals[arrays.surfaces.triangles[faces]].sum(axis=1)
    is_back = (normals * ways).sum(axis=1) > 0.0
    return int(owners[0]) if (owners == owners[0]).all() and is_back.all() else None


def _axis(stage: Stage, point: np.ndarray, surface: OnSurface | None, towards) -> tuple[np.ndarray, str]:
    """The way that a receptor faces, and what that is."""
    if towards == OUT_OF_SURFACE:
        if surface is None:
            found = "there is no surface for the meter to lie on"
            raise SceneError(Fault(found, "camera, a light, a landmark or a point", key="towards"))
        return np.asarray(surface.normal, float), f"out of {stage.arrays.names[surface.owner]}"
    goal, words = _faced(stage, towards)
    way = goal - point
    distance = float(np.linalg.norm(way))
    if not distance > 1e-6:
        raise SceneError(Fault(f"the meter stands at {words} itself", "something that it can face", key="towards"))
    return way / distance, words


def _faced(stage: Stage, towards) -> tuple[np.ndarray, str]:
    """Where that is which a receptor faces, and what it is called."""
    if towards == CAMERA:
        return np.asarray(stage.scene.camera.position_m, float), "the camera"
    lights = {item.name: item.position_m for item in stage.scene.projector}
    lights |= {item.name: item.position_m for item in stage.scene.light}
    if isinstance(towards, str) and towards in lights:
        return np.asarray(lights[towards], float), towards
    known = [CAMERA, OUT_OF_SURFACE, *lights, *landmarks_of(stage.scene)]
    if isinstance(towards, str) and towards not in known:
        raise SceneError(
            Fault(
                f'there is no "{towards}" to face',
                f"{', '.join(known)}; or a point x,y,z in metres",
                did_you_mean(nearest(towards, known)),
                key="towards",
            )
        )
    goal = stage.point(towards)
    return goal, name_of(towards, goal)
