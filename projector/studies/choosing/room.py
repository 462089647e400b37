"""Where a light may stand in a room: off its walls, within an angle of the camera's line, out of the picture, and with
a clear view of its target."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from projector.faults import Fault, SceneError
from projector.scene.checks.stands import hindered
from projector.stage.stage import SceneOrStage, Stage, stage_of
from projector.studies.light.light_at import faces_light
from projector.tracing.rays.bvh import any_hits, closest_hits

# Nobody puts a stand nearer to a wall or under a ceiling than this (m).
ROOM_MARGIN = 0.2
# What lies nearer to the target than this (m) is the target's own skin and hides nothing.
_OWN_SKIN = 0.03
# What a lamp hinders is looked at in steps of this (m) along each direction.
_STRETCH_STEP = 0.05


def room_corners(stage: SceneOrStage, room_m) -> tuple[np.ndarray, np.ndarray]:
    """Lowest and highest corner (m) of a room (width, depth, height in m): centred on x = 0, on the floor, its back
    wall behind the farthest surface."""
    vertices = np.concatenate([item.mesh.vertices for item in stage_of(stage).objects])
    width, depth, height = room_m
    back = float(vertices[:, 2].min())
    return np.array([-0.5 * width, 0.0, back]), np.array([0.5 * width, height, back + depth])


def check_target(stage: SceneOrStage, room_m, goal) -> None:
    """SceneError for a target outside the room: no light in the room is asked to reach it."""
    low, high = room_corners(stage, room_m)
    outside = np.maximum(np.maximum(low - goal, goal - high), 0.0)
    if float(outside.max()) <= 1e-6:
        return
    needed = (2.0 * abs(float(goal[0])), float(goal[2] - low[2]), float(goal[1]))
    larger = "x".join(
        f"{max(size, math.ceil(10.0 * need - 1e-6) / 10.0):g}" for size, need in zip(room_m, needed, strict=True)
    )
    ways = ", ".join(
        f"{distance:.2f} m {word}"
        for distance, word in zip(outside, ("to the side", "in height", "in depth"), strict=True)
        if distance > 1e-6
    )
    x, y, z = goal
    room = " × ".join(f"{size:g}" for size in room_m)
    found = f"the target at ({x:.2f}, {y:.2f}, {z:.2f}) m lies outside the room of {room} m: by {ways}"
    allowed = (
        "a room around the target; its width counts half to each side of x = 0, its depth from the farthest surface,"
        " its height from y = 0"
    )
    raise SceneError(
        Fault(
            found=found,
            allowed=allowed,
            try_="another target" if goal[1] < 0.0 else f"{larger} is the least that holds the target",
            key="room",
        )
    )


@dataclass(frozen=True)
class Stands:
    """Where a light may stand round a target: directions (n, 3) from it, nearest to where the light stands now first,
    and in each from which distance to which (n,) m; low, high: corners of the room less its margin; front: the
    horizontal direction towards the camera; seen_m (2, k): from where to where it could stand if lamps hindered neither
    camera nor sitter."""

    goal: np.ndarray
    low: np.ndarray
    high: np.ndarray
    front: np.ndarray
    directions: np.ndarray
    nearest_m: np.ndarray
    farthest_m: np.ndarray
    seen_m: np.ndarray

    @property
    def longest_m(self) -> float:
        """The longest distance from the target at which a light may stand; 0 if it may nowhere."""
        return float(self.farthest_m.max(initial=0.0))

    @property
    def longest_seen_m(self) -> float:
        """The same if lamps hindered neither camera nor sitter."""
        return float(self.seen_m[1].max(initial=0.0))

    def is_hindered_at(self, distance: float) -> bool:
        """Whether it may not stand at a distance (m) only because a lamp there hinders camera or sitter."""
        is_seen = (self.seen_m[0] <= distance + 1e-9) & (distance - 1e-9 <= self.seen_m[1])
        return self.at(distance) is None and bool(is_seen.any())

    def angle_deg(self, place) -> float:
        """How far off the camera's line a place (3,) is."""
        return float(_angles(np.asarray(place, float)[None, :] - self.goal, self.front)[0])

    def at(self, distance: float) -> np.ndarray | None:
        """The place (3,) at a distance (m) that is nearest to where the light stands now; None if there is none."""
        # The longest distance itself counts, whatever the last digit of a sum.
        free = np.flatnonzero((self.nearest_m <= distance + 1e-9) & (distance - 1e-9 <= self.farthest_m))
        return None if free.size == 0 else self.goal + distance * self.directions[free[0]]


def stands(stage: SceneOrStage, now_m, goal, room_m, largest_angle_deg: float) -> Stands:
    """Where a light that stands at `now_m` may go to reach `goal`."""
    stage = stage_of(stage)
    front = _front(stage.scene, goal)
    directions = _directions(np.asarray(now_m, float), goal, front, largest_angle_deg)
    low, high = (
        corner + margin for corner, margin in zip(room_corners(stage, room_m), (ROOM_MARGIN, -ROOM_MARGIN), strict=True)
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        ends = np.sort(np.stack([(low - goal) / directions, (high - goal) / directions]), axis=0)
    # Along an axis on which a direction does not move, the target itself is off the walls there or no place is.
    still = directions == 0.0
    off_walls = (low <= goal) & (goal <= high)
    ends[0] = np.where(still, np.where(off_walls, -np.inf, np.inf), ends[0])
    ends[1] = np.where(still, np.where(off_walls, np.inf, -np.inf), ends[1])
    nearest = np.maximum(ends[0].max(axis=1), 0.0)
    farthest = np.minimum(ends[1].min(axis=1), _clear_view(stage, goal, directions))
    some = farthest >= nearest
    directions, near, far = _unhindered(stage, goal, directions[some], nearest[some], farthest[some])
    return Stands(
        goal=goal,
        low=low,
        high=high,
        front=front,
        directions=directions,
        nearest_m=near,
        farthest_m=far,
        seen_m=np.stack([nearest[some], farthest[some]]),
    )


def _unhindered(stage: Stage, goal, directions, nearest, farthest):
    """The same directions, in order, each with those stretches where a lamp hinders neither camera nor sitter."""

    def hides(start, ends):
        found = np.empty(len(ends), np.bool_)
        any_hits(
            stage.arrays.bvh,
            np.tile(start, (len(ends), 1)),
            np.ascontiguousarray(ends - start),
            0.0,
            1.0,
            0,
            len(ends),
            found,
        )
        return found

    counts = np.ceil((farthest - nearest) / _STRETCH_STEP).astype(int) + 2
    rows = np.repeat(np.arange(len(directions)), counts)
    share = np.concatenate([np.zeros(0), *(np.linspace(0.0, 1.0, count) for count in counts)])
    distances = nearest[rows] + share * (farthest - nearest)[rows]
    free = ~hindered(stage.scene, goal + distances[:, None] * directions[rows], goal, hides)
    same = rows[1:] == rows[:-1]
    before, after = np.zeros(free.size, bool), np.zeros(free.size, bool)
    before[1:], after[:-1] = free[:-1] & same, free[1:] & same
    begins, ends = free & ~before, free & ~after
    return directions[rows[begins]], distances[begins], distances[ends]


def _front(scene, goal) -> np.ndarray:
    """The horizontal direction (3,) from the target towards the camera; a camera straight above counts as standing
    where z points."""
    front = np.asarray(scene.camera.position_m, float) - goal
    front[1] = 0.0
    return front / np.linalg.norm(front) if np.linalg.norm(front) > 1e-6 else np.array([0.0, 0.0, 1.0])


def _directions(now, goal, front, largest_angle_deg: float) -> np.ndarray:
    """Directions (n, 3) from the target, nearest to where the light stands now first."""
    away = float(np.linalg.norm(now - goal))
    now = (now - goal) / away if away > 1e-6 else front
    azimuth, elevation = (
        axis.ravel() for axis in np.meshgrid(np.radians(np.arange(-85, 86, 2.5)), np.radians(np.arange(-30, 66, 2.5)))
    )
    side = np.cross([0.0, 1.0, 0.0], front)
    found = np.cos(elevation)[:, None] * (np.cos(azimuth)[:, None] * front + np.sin(azimuth)[:, None] * side) + np.sin(
        elevation
    )[:, None] * np.array([0.0, 1.0, 0.0])
    found = np.concatenate([now[None, :], found])
    kept = found[_angles(found, front) <= largest_angle_deg]
    return kept[np.argsort(-(kept @ now), kind="stable")]


def _angles(directions, front) -> np.ndarray:
    """Angles (n,) degrees of directions (n, 3) off the camera's line."""
    return np.degrees(np.arccos(np.clip(directions @ front / np.linalg.norm(directions, axis=1), -1.0, 1.0)))


def _clear_view(stage: Stage, goal, directions) -> np.ndarray:
    """How far (n,) m from the target its view stays clear in each direction (n, 3); not at all behind a wall that it
    is on."""
    arrays, n = stage.arrays, len(directions)
    t, faces, u, v = np.empty(n), np.empty(n, np.int32), np.empty(n), np.empty(n)
    closest_hits(
        arrays.bvh,
        np.tile(np.asarray(goal, float), (n, 1)),
        np.ascontiguousarray(directions),
        _OWN_SKIN,
        1e6,
        0,
        n,
        t,
        faces,
        u,
        v,
    )
    return np.where(faces_light(stage, np.asarray(goal, float), directions), np.where(faces >= 0, t, np.inf), -np.inf)
