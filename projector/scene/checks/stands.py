"""What a lamp on its stand gets in the way of: the camera's view, its own beam before the camera, and the sitter.

A lamp is taken as a body behind its lens, and its stand as a plain pole straight down to the floor. The body's sizes
are common practice, no source.
"""

from __future__ import annotations

import math

import numpy as np

from projector.geometry import Pose
from projector.optics.thin_lens import conjugate_distance
from projector.scene.placement import placed_figure, placed_objects, point_of

BODY_LENGTH_M, BODY_RADIUS_M = 0.4, 0.1
# A stand goes no nearer past a sitter than this, seen from above; the figure's corners lie closer together.
_STAND_MARGIN_M = 0.04
# Half the camera's frame, over its focal length: what a preview crops is less.
_HALF_FRAME_MM = (18.0, 12.0)
_SHARES = np.linspace(0.0, 1.0, 5)
_CURE = "hang it from a boom, or move it."


def lamp_notes(scene) -> list[str]:
    """What is to be said of where the lamps of a scene stand; its aims must be known to be good."""
    meshes = [item.mesh for item in placed_objects(scene)]
    boxes = np.array([(mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)) for mesh in meshes]).reshape(-1, 2, 3)

    def hides(start, ends):
        return np.array(
            [
                any(crosses(meshes[i], start, end) for i in np.flatnonzero(meets_boxes(boxes, start, end)))
                for end in ends
            ],
            bool,
        )

    notes = []
    lamps = (*scene.projector, *scene.light)
    stands = np.array([spec.position_m for spec in lamps], float).reshape(-1, 3)
    met = [(figure.name, stand_meets(figure, stands)) for figure in scene.figure]
    for index, spec in enumerate(lamps):
        place, goal = np.asarray(spec.position_m, float), point_of(scene, spec.aim)
        if _hides_aim(scene, place[None], goal)[0]:
            notes.append(f"{spec.name}: the lamp stands before the camera's lens and hides what the camera looks at.")
        elif shows(scene, place[None], goal, hides)[0]:
            notes.append(f"{spec.name}: the lamp stands in the camera's frame{_where(scene, place)}.")
        elif not _hangs(spec) and _stand_shows(scene, place, hides):
            notes.append(f"{spec.name}: a stand straight under it would show in the picture; {_CURE}")
        for name, meets in met:
            if meets[index] and not _hangs(spec):
                notes.append(f"{spec.name}: a stand straight under it would go through {name}; {_CURE}")
        for item, mesh in zip(scene.surface, meshes, strict=False):
            if (
                item.shape in ("box", "mesh")
                and not _hangs(spec)
                and place[1] > 0.0
                and crosses(mesh, place, np.array([place[0], 0.0, place[2]]))
            ):
                notes.append(f"{spec.name}: a stand straight under it would go through {item.name}; {_CURE}")
        if index < len(scene.projector) and _camera_in_beam(scene, spec, place, goal):
            notes.append(
                f"{spec.name}: the camera stands in its beam, before what it is aimed at: its shadow falls there."
            )
    return notes


def _hangs(spec) -> bool:
    """Whether a lamp is said to hang, so that no stand is under it."""
    return bool(getattr(spec, "hung", False))


def hindered(scene, places, goal, hides) -> np.ndarray:
    """Which places (n, 3) m no lamp aimed at `goal` may take: in the camera's frame, before its lens, on a stand in a
    sitter.

    hides(start (3,), ends (n, 3)): whether something stands on the way to each.
    """
    found = shows(scene, places, goal, hides) | _hides_aim(scene, places, goal)
    for figure in scene.figure:
        found |= stand_meets(figure, places)
    return found


def shows(scene, places, goal, hides) -> np.ndarray:
    """Whether the body of a lamp at places (n, 3), aimed at `goal`, is seen by the camera, (n,)."""
    bodies = _bodies(np.asarray(places, float), goal)
    inside = _in_frame(scene, bodies, BODY_RADIUS_M)
    found = np.zeros(inside.shape, bool)
    if inside.any():
        found[inside] = ~hides(np.asarray(scene.camera.position_m, float), bodies[inside])
    return np.asarray(found.any(axis=1))


def stand_meets(figure, places) -> np.ndarray:
    """Whether poles from places (n, 3) down to the floor would go through a sitter, or where its legs are, (n,)."""
    from scipy.spatial import cKDTree

    places = np.asarray(places, float)
    seen_from_above = cKDTree(placed_figure(figure).mesh.vertices[:, [0, 2]])
    distance, _ = seen_from_above.query(places[:, [0, 2]], distance_upper_bound=_STAND_MARGIN_M)
    return np.isfinite(distance) & (places[:, 1] > 0.0)


def crosses(mesh, start, end) -> bool:
    """Whether the way from start to end, but for its last thousandth, goes through a triangle.

    T. Möller, B. Trumbore, "Fast, minimum storage ray/triangle intersection", J. Graphics Tools 2, 21 (1997).
    """
    a, b, c = (mesh.vertices[mesh.triangles[:, i]] for i in range(3))
    way = end - start
    across = np.cross(way, c - a)
    scale = np.einsum("ij,ij->i", b - a, across)
    hit = np.abs(scale) > 1e-12
    a, b, c, across, scale = a[hit], b[hit], c[hit], across[hit], scale[hit]
    u = np.einsum("ij,ij->i", start - a, across) / scale
    beside = np.cross(start - a, b - a)
    v = beside @ way / scale
    share = np.einsum("ij,ij->i", c - a, beside) / scale
    return bool(np.any((u >= 0.0) & (v >= 0.0) & (u + v <= 1.0) & (share > 0.0) & (share < 0.999)))


def meets_boxes(boxes, start, end) -> np.ndarray:
    """Whether the way from start to end comes into boxes (k, 2, 3) along the axes, low and high corners: (k,)."""
    way = end - start
    # Along an axis that the way does not move on it is in the box all the while, or never.
    moves = np.abs(way) > 1e-12
    inside = ((boxes[:, 0] <= start + 1e-9) & (start - 1e-9 <= boxes[:, 1]))[:, ~moves].all(axis=1)
    shares = (boxes[:, :, moves] - start[moves]) / way[moves]
    first = shares.min(axis=1).max(axis=1, initial=0.0)
    last = shares.max(axis=1).min(axis=1, initial=1.0)
    return inside & (first <= last + 1e-9)


def _bodies(places, goal) -> np.ndarray:
    """Points (n, 5, 3) along the middle of lamps at places (n, 3), from the lens backwards."""
    forward = goal - places
    forward /= np.maximum(np.linalg.norm(forward, axis=1, keepdims=True), 1e-9)
    return places[:, None] - BODY_LENGTH_M * _SHARES[None, :, None] * forward[:, None]


def _camera_pose(scene) -> Pose:
    camera = scene.camera
    return Pose.looking_at(camera.position_m, point_of(scene, camera.aim), camera.roll_deg)


def _in_frame(scene, points, radius: float) -> np.ndarray:
    """Whether balls of a radius (m) round points (…, 3) reach into the camera's frame."""
    pose = _camera_pose(scene)
    x, y, z = np.moveaxis((points - pose.position) @ pose.rotation, -1, 0)
    inside = z > 0.0
    for across, half in zip((x, y), _HALF_FRAME_MM, strict=True):
        slope = half / scene.camera.focal_length_mm
        inside &= np.abs(across) <= slope * z + radius * math.hypot(1.0, slope)
    return inside


def _hides_aim(scene, places, goal) -> np.ndarray:
    """Whether the body of a lamp at places (n, 3), aimed at `goal`, hides what the camera is aimed at, (n,)."""
    camera, aim = np.asarray(scene.camera.position_m, float), point_of(scene, scene.camera.aim)
    length = float(np.linalg.norm(aim - camera))
    way = (aim - camera) / length
    from_camera = _bodies(np.asarray(places, float), goal) - camera
    along = from_camera @ way
    beside = np.linalg.norm(from_camera - along[..., None] * way, axis=-1)
    return ((along > 0.0) & (along < length) & (beside < BODY_RADIUS_M)).any(axis=1)


def _where(scene, place) -> str:
    """Where in the frame a lamp is, in words: ", upper left, 1.2 m from the camera"."""
    pose = _camera_pose(scene)
    x, y, z = (place - pose.position) @ pose.rotation
    half_width, half_height = (half / scene.camera.focal_length_mm * max(z, 1e-9) for half in _HALF_FRAME_MM)
    up = "upper" if y < -half_height / 3.0 else "lower" if y > half_height / 3.0 else ""
    side = "left" if x < -half_width / 3.0 else "right" if x > half_width / 3.0 else ""
    words = " ".join(word for word in (up, side) if word) or "in its middle"
    return f", {words}, {np.linalg.norm(place - pose.position):.2f} m from the camera"


def _stand_shows(scene, place, hides) -> bool:
    """Whether some of the pole under a lamp is seen by the camera."""
    heights = np.linspace(0.0, max(place[1], 0.0), 60)
    pole = np.column_stack([np.full(60, place[0]), heights, np.full(60, place[2])])
    camera, inside = np.asarray(scene.camera.position_m, float), pole[_in_frame(scene, pole, 0.0)]
    # One place that is seen is enough, and each costs a look at all meshes: a few spread over the pole come first.
    return any(not hides(camera, part).all() for part in (inside[::13], inside[::3], inside) if len(part))


def _camera_in_beam(scene, spec, place, goal) -> bool:
    """Whether the camera stands in a projector's beam nearer than what it is aimed at."""
    pose = Pose.looking_at(spec.position_m, goal, spec.roll_deg)
    x, y, z = (np.asarray(scene.camera.position_m, float) - pose.position) @ pose.rotation
    depth = float((goal - place) @ pose.rotation[:, 2])
    if not 0.0 < z < depth - BODY_RADIUS_M:
        return False
    if spec.lens is None:
        # Parallel light of something far away, else a beam that grows from the lamp through its card.
        reach = 0.5e-3 * (1.0 if spec.lamp.card_mm is None else 1e3 * z / spec.lamp.card_mm)
    elif depth <= 1.02e-3 * spec.lens.focal_length_mm:
        return False
    else:
        reach = 0.5e-3 * z / conjugate_distance(1e-3 * spec.lens.focal_length_mm, depth)
    if spec.gate.shape == "round":
        return math.hypot(x, y) < reach * spec.gate.diameter_mm
    return abs(x) < reach * spec.gate.width_mm and abs(y) < reach * spec.gate.height_mm
