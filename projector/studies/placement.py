"""Place it for me: from wishes (width, softness, light, room, angle) to lens, stop, throw, focus offset and a place to stand.

Width gives the throw, D = f·(M + 1), and softness the focus offset, both of the thin lens (OpenStax, University Physics
Volume 3, "Thin Lenses"); where colour and corners matter too, the offset is solved for. The lamp's luminance is taken
from the scene's own reading and is the same behind every lens.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from projector.optics import thin_lens
from projector.photometry.exposure import f_number_for_illuminance, f_number_for_luminous_exposure
from projector.photometry.spectra import K_M, luminous
from projector.rendering.irradiance import irradiance_map
from projector.scene.faults import Fault, SceneError
from projector.scene.model import Focus, Gate, Surface
from projector.scene.placement import placed_objects, point_of
from projector.studies.edge_profile import edge_by_formula, edge_measured, full_spectrum, place_on_axis
from projector.studies.fringe import with_lens
from projector.studies.widest_fringe import widest_fringe
from projector.tracing.arrays import open_gate_on_axis, power_of, scene_arrays
from projector.tracing.bvh import any_hits

# Nobody puts a stand nearer to a wall or under a ceiling than this (m).
ROOM_MARGIN = 0.2
_STOPS = tuple(2.0 ** (index / 6.0) for index in range(0, 55))


@dataclass(frozen=True)
class Wishes:
    """What is wanted at the target: pattern width (m), edge width (mm, 10–90 %), f-number of the meter at an ISO, room and angle.

    room: (width, depth, height) in m: across x, from the farthest surface towards the camera, and up from the floor.
    """

    width_m: float
    edge_mm: float
    f_number: float
    iso: float
    room_m: tuple[float, float, float]
    largest_angle_deg: float = 60.0


@dataclass(frozen=True)
class Answer:
    """One way to do it. spare_stops: light beyond the wish (negative: short); fringe_mm: colour fringe at the target (see `fringe`). got_*: measured in a rendered map, None where not rendered."""

    lens: str
    focal_length_mm: float
    f_number: float
    throw_m: float
    focus_offset_mm: float
    position_m: tuple[float, float, float]
    aim_m: tuple[float, float, float]
    angle_deg: float
    edge_mm: float
    meter_f_number: float
    spare_stops: float
    fringe_mm: float
    got_width_m: float | None = None
    got_edge_mm: float | None = None


@dataclass(frozen=True)
class Relaxation:
    """A wish that one lens cannot meet, and how far it would have to give."""

    lens: str
    wish: str
    wanted: float
    possible: float
    words: str


def check_wishes(wishes: Wishes) -> None:
    """SceneError for wishes that no light can meet."""
    faults = []
    named = {"width": wishes.width_m, "edge": wishes.edge_mm, "f-number": wishes.f_number, "iso": wishes.iso, "angle": wishes.largest_angle_deg}
    for name, value in named.items():
        if not (math.isfinite(value) and value > 0.0):
            faults.append(Fault(found=f"{name} = {value:g}", allowed="a number above zero", key=name))
    if min(wishes.room_m) <= 2.0 * ROOM_MARGIN:
        faults.append(Fault(found=f"a room of {wishes.room_m[0]:g} × {wishes.room_m[1]:g} × {wishes.room_m[2]:g} m", allowed=f"more than {2 * ROOM_MARGIN:g} m each way", key="room"))
    if faults:
        raise SceneError(faults)


def _check_target(scene, wishes: Wishes, goal) -> None:
    """SceneError for a target outside the room: no light in the room is asked to reach it."""
    low, high = room_corners(scene, wishes)
    outside = np.maximum(np.maximum(low - goal, goal - high), 0.0)
    if float(outside.max()) <= 1e-6:
        return
    needed = (2.0 * abs(float(goal[0])), float(goal[2] - low[2]), float(goal[1]))
    larger = "x".join(f"{max(size, math.ceil(10.0 * need - 1e-6) / 10.0):g}" for size, need in zip(wishes.room_m, needed, strict=True))
    ways = ", ".join(f"{distance:.2f} m {word}" for distance, word in zip(outside, ("to the side", "in height", "in depth"), strict=True) if distance > 1e-6)
    x, y, z = goal
    found = f"the target at ({x:.2f}, {y:.2f}, {z:.2f}) m lies outside the room of {' × '.join(f'{size:g}' for size in wishes.room_m)} m: by {ways}"
    allowed = "a room around the target; its width counts half to each side of x = 0, its depth from the farthest surface, its height from y = 0"
    raise SceneError(Fault(found=found, allowed=allowed, try_="another target" if goal[1] < 0.0 else f"{larger} is the least that holds the target", key="room"))


def place(scene, spec, wishes: Wishes, lenses, target=None, render: bool = True) -> tuple[list[Answer], list[Relaxation]]:
    """All ways that meet the wishes, most spare light first and of equal light (a tenth of a stop) least fringe first, and, for lenses that cannot, what would have to give.

    lenses: names of lens files. target: landmark or point (the projector's aim). Each answer is checked by rendering it.
    """
    check_wishes(wishes)
    target = target if target is not None else spec.aim
    _check_target(scene, wishes, point_of(scene, target))
    answers, relaxations = [], []
    for name in lenses:
        wide = with_lens(scene, spec, name, 0.5)
        answer, missed = _with_one_lens(scene, spec, wide, name, wishes, target, wishes.width_m)
        if answer is not None and not missed and render:
            # The offset moves the stencil and distortion bends the border: what was measured corrects the throw once.
            first = _rendered(scene, wide, answer, wishes)
            answer, missed = _with_one_lens(scene, spec, wide, name, wishes, target, wishes.width_m**2 / first.got_width_m)
            answer = _rendered(scene, wide, answer, wishes) if not missed else answer
        relaxations += missed
        if answer is not None and not missed:
            answers.append(answer)
    return sorted(answers, key=lambda item: (-round(item.spare_stops, 1), item.fringe_mm)), sorted(relaxations, key=lambda item: abs(math.log(item.possible / item.wanted)) if item.possible > 0 else math.inf)


def _lit_width(spec) -> float:
    """Lit width (m) of what is in the gate."""
    gate = spec.gate.diameter_mm if spec.gate.shape == "round" else spec.gate.width_mm
    return 1e-3 * (min(gate, spec.stencil.width_mm) if spec.stencil is not None else gate)


def _with_one_lens(scene, spec, wide, name: str, wishes: Wishes, target, width_m: float):
    focal_length = 1e-3 * wide.lens.focal_length_mm
    lit = _lit_width(spec)
    throw = focal_length * (width_m / lit + 1.0)
    goal = point_of(scene, target)
    spot = _stand(scene, spec, goal, throw, wishes)
    if spot is None:
        longest = _longest_throw(scene, spec, goal, wishes)
        return None, [_shorter(name, wishes, lit, focal_length, throw, longest)]
    position, angle = spot
    found = _stop_and_offset(scene, wide, position, goal, wishes)
    if found is None:
        least = _edge(scene, _set_up(wide, position, goal, 22.0, 0.0), goal)
        return None, [Relaxation(name, "edge", wishes.edge_mm, least, f"{name}: its sharpest edge at that throw, at f/22, is {least:.2f} mm")]
    f_number, offset, edge = found
    stopped = _set_up(wide, position, goal, f_number, offset)
    meter = float(_meter(scene, spec, stopped, throw, wishes))
    spare = 2.0 * math.log2(meter / wishes.f_number)
    light, _ = full_spectrum(scene, stopped)
    fringe = widest_fringe(light, place_on_axis(light, throw), stopped).width_mm
    answer = Answer(name, wide.lens.focal_length_mm, f_number, throw, offset, tuple(map(float, position)), tuple(map(float, goal)), angle, edge, meter, spare, fringe)
    if spare < -1e-6:
        return answer, [Relaxation(name, "light", wishes.f_number, meter, f"{name}: {-spare:.1f} stops short; a meter would read f/{meter:.1f} there at ISO {wishes.iso:g}, and f/{wishes.f_number:g} at ISO {wishes.iso * 2 ** -spare:.0f}")]
    return answer, []


def _shorter(name, wishes, lit, focal_length, throw, longest) -> Relaxation:
    possible = lit * max(longest / focal_length - 1.0, 0.0)
    return Relaxation(name, "width", wishes.width_m, possible, f"{name}: {wishes.width_m:g} m needs a throw of {throw:.2f} m; the room allows {longest:.2f} m, which gives {possible:.2f} m")


def _set_up(wide, position, goal, f_number: float, offset_mm: float):
    """The projector at a place, focused on the target with an offset."""
    lens = wide.lens.model_copy(update={"f_number": max(f_number, wide.lens.widest_f_number or 0.0)})
    place = tuple(map(float, position))
    aim = tuple(map(float, goal))
    return wide.model_copy(update={"position_m": place, "aim": aim, "lens": lens, "focus": Focus(at=aim, offset_mm=offset_mm)})


def room_corners(scene, wishes: Wishes) -> tuple[np.ndarray, np.ndarray]:
    """Lowest and highest corner (m) of the room: centred on x = 0, on the floor, its back wall behind the farthest surface."""
    vertices = np.concatenate([item.mesh.vertices for item in placed_objects(scene)])
    width, depth, height = wishes.room_m
    back = float(vertices[:, 2].min())
    return np.array([-0.5 * width, 0.0, back]), np.array([0.5 * width, height, back + depth])


def _bounds(scene, wishes: Wishes):
    """Lowest and highest corner (m) of where a projector may stand."""
    low, high = room_corners(scene, wishes)
    return low + ROOM_MARGIN, high - ROOM_MARGIN


def _directions(scene, spec, goal, wishes: Wishes):
    """Directions (n, 3) from the target in which a projector may stand, nearest to where it stands now first, and their angles.

    The angle is told from the camera's side: from the horizontal line towards the camera.
    """
    now = np.asarray(spec.position_m, float) - goal
    now /= np.linalg.norm(now)
    front = np.asarray(scene.camera.position_m, float) - goal
    front[1] = 0.0
    # A camera straight above counts as standing where z points.
    front = front / np.linalg.norm(front) if np.linalg.norm(front) > 1e-6 else np.array([0.0, 0.0, 1.0])
    azimuth, elevation = (axis.ravel() for axis in np.meshgrid(np.radians(np.arange(-85, 86, 2.5)), np.radians(np.arange(-30, 66, 2.5))))
    side = np.cross([0.0, 1.0, 0.0], front)
    found = np.cos(elevation)[:, None] * (np.cos(azimuth)[:, None] * front + np.sin(azimuth)[:, None] * side) + np.sin(elevation)[:, None] * np.array([0.0, 1.0, 0.0])
    found = np.concatenate([now[None, :], found])
    angles = np.degrees(np.arccos(np.clip(found @ front, -1.0, 1.0)))
    kept = angles <= wishes.largest_angle_deg
    order = np.argsort(-(found[kept] @ now), kind="stable")
    return found[kept][order], angles[kept][order]


def _stand(scene, spec, goal, throw: float, wishes: Wishes):
    """The place at the throw that is nearest to where the projector stands now, in the room and with a clear view; None if there is none."""
    directions, angles = _directions(scene, spec, goal, wishes)
    places = goal + throw * directions
    low, high = _bounds(scene, wishes)
    inside = np.all((places >= low) & (places <= high), axis=1)
    if not inside.any():
        return None
    arrays = scene_arrays(scene)
    rays = np.ascontiguousarray(np.tile(goal, (len(places), 1)) - places)
    blocked = np.empty(len(places), np.bool_)
    any_hits(arrays.bvh, np.ascontiguousarray(places), rays, 0.0, 1.0 - 0.03 / throw, 0, len(places), blocked)
    free = np.flatnonzero(inside & ~blocked)
    return None if free.size == 0 else (places[free[0]], float(angles[free[0]]))


def _longest_throw(scene, spec, goal, wishes: Wishes) -> float:
    """The longest throw that the room allows within the angle."""
    directions, _ = _directions(scene, spec, goal, wishes)
    low, high = _bounds(scene, wishes)
    with np.errstate(divide="ignore", invalid="ignore"):
        limits = np.where(directions > 0.0, (high - goal) / directions, np.where(directions < 0.0, (low - goal) / directions, np.inf))
    return float(max(limits.min(axis=1).max(initial=0.0), 0.0)) if len(directions) else 0.0


def _edge(scene, set_up, goal) -> float:
    """Edge width (mm) square to the beam at the target by the closed forms, all wavelengths together."""
    light, weights = full_spectrum(scene, set_up)
    place = place_on_axis(light, float((goal - np.array(light.position)) @ np.array(light.forward)))
    return 1e3 * edge_by_formula(light, place, "across", 1201).width(weights[:, 1])


def _stop_and_offset(scene, wide, position, goal, wishes: Wishes):
    """The widest stop whose sharpest edge is sharp enough, and the offset that softens it to the wish; None if no stop is."""
    from scipy.optimize import brentq

    widest = wide.lens.widest_f_number or wide.lens.f_number
    for number in (widest, *(stop for stop in _STOPS if widest < stop <= 22.5)):
        if _edge(scene, _set_up(wide, position, goal, number, 0.0), goal) > wishes.edge_mm * 1.001:
            continue
        focal_length = 1e-3 * wide.lens.focal_length_mm
        distance = float(np.linalg.norm(goal - position))
        pupil = min(focal_length / number, 1e-3 * (wide.lens.filled_pupil_mm or math.inf))
        tube = thin_lens.conjugate_distance(focal_length, distance)
        sharp = distance / (1.0 + 1e-3 * wishes.edge_mm / (thin_lens.DISC_EDGE_10_90 * pupil))
        start = 1e3 * (thin_lens.conjugate_distance(focal_length, sharp) - tube) if sharp > 1.05 * focal_length else 0.2e3 * focal_length

        def excess(offset):
            return _edge(scene, _set_up(wide, position, goal, number, offset), goal) - wishes.edge_mm

        if excess(0.0) >= 0.0:
            return number, 0.0, wishes.edge_mm
        high = 1.1 * start + 0.01
        while excess(high) < 0.0 and high < 0.5e3 * focal_length:
            high *= 1.5
        offset = float(brentq(excess, 0.0, high, xtol=1e-4))
        return number, offset, _edge(scene, _set_up(wide, position, goal, number, offset), goal)
    return None


def _meter(scene, spec, set_up, throw: float, wishes: Wishes) -> float:
    """What a flat meter shows at the target through the lens and stop set up there, the reading carried over by the one rule of `power_of`."""
    # Unstated, the light is as bright as meters right where and as the projector stands now.
    power = power_of(scene, set_up if spec.reading or spec.output else spec)
    light, _ = full_spectrum(scene, set_up)
    level = K_M * float(luminous(power.spectrum)) * open_gate_on_axis(light, throw)
    if power.is_flash:
        return f_number_for_luminous_exposure(level, wishes.iso)
    return f_number_for_illuminance(level, scene.camera.shutter_s, wishes.iso)


def _strip_scene(scene, set_up, goal, size: float):
    """The projector, its gate open as wide as its pattern, before a strip of plate square to its beam at the target."""
    direction = np.asarray(set_up.position_m, float) - goal
    direction /= np.linalg.norm(direction)
    yaw, pitch = math.degrees(math.atan2(direction[0], direction[2])), math.degrees(math.asin(direction[1]))
    middle = tuple(map(float, goal))
    strip = Surface(name="strip", shape="flat", position_m=middle, yaw_deg=yaw, pitch_deg=pitch, width_m=size, height_m=0.004 * size)
    lit = 1e3 * _lit_width(set_up)
    square = set_up.model_copy(update={"stencil": None, "blade": (), "gate": Gate(shape="rectangle", width_mm=lit, height_mm=lit)})
    camera = scene.camera.model_copy(update={"aim": middle, "focus": None})
    changed = {"projector": (square,), "surface": (strip,), "figure": (), "ambient": None, "camera": camera}
    return scene.model_copy(update=changed).placed_at(scene.name, scene.folder)


def _rendered(scene, wide, answer: Answer, wishes: Wishes) -> Answer:
    """The answer with its width measured in a rendered map, and the edge in its middle through the same kernels."""
    goal = np.asarray(answer.aim_m)
    set_up = _set_up(wide, answer.position_m, goal, answer.f_number, answer.focus_offset_mm)
    size = 1.1 * wishes.width_m + 8.0e-3 * wishes.edge_mm
    found = irradiance_map(_strip_scene(scene, set_up, goal, size), "strip", 4000)
    row = found.illuminance[found.illuminance.shape[0] // 2].astype(float)
    x = (np.arange(row.size) + 0.5) / row.size * size
    # The border is where half of the light is left of what the open gate has just inside it.
    left, right = (float(row[int(row.size * share)]) for share in (0.12, 0.88))
    width = _crossing(x[::-1], row[::-1], 0.5 * right) - _crossing(x, row, 0.5 * left)
    light, weights = full_spectrum(scene, set_up)
    edge = edge_measured(light, place_on_axis(light, answer.throw_m), "across", 2.0e-3 * answer.edge_mm)
    return replace(answer, got_width_m=float(width), got_edge_mm=1e3 * edge.width(weights[:, 1]))


def _crossing(x, values, level: float) -> float:
    """Where a rising line first passes a level."""
    index = int(np.argmax(values > level))
    if index == 0:
        return float(x[0])
    share = (level - values[index - 1]) / (values[index] - values[index - 1])
    return float(x[index - 1] + share * (x[index] - x[index - 1]))
