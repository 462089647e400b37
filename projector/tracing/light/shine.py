"""A light without a gate, ready for kernels: a panel, a dish, a tube, a bare head, and how its luminance falls off.

What arrives at P is E = L · ∫ f · V · cosθ_A · cosθ_P / d² dA over what shines, L its luminance straight ahead from its
middle. A flat light shines from its own plane; a tube is a Lambertian cylinder whose ends are dark. A ball looks like a
disc, put where the lines of sight touch it, so that the disc fills just the angle that the ball fills: one of one
luminance then gives π·L·(R/d)² exactly (disc source: I. E. Irodov, Problems in General Physics, 5.11).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from projector.geometry import add_scaled, cross, dot, normalised, subtract
from projector.jit import formula
from projector.optics.area_light import RECTANGLE as ANY_RECTANGLE
from projector.optics.area_light import dome_response
from projector.tracing.sight.emitter import Emitter, in_light_frame, in_world
from projector.tracing.sight.outline import DISC, POLYGON, RECTANGLE, Outline, outline_point
from projector.tracing.sight.points import DOME, IN_AIR

FLAT, TUBE, BALL = 0, 1, 2
N_ANGLES = 2048
"""Entries of a table over the angle θ from the axis: entry i stands for √(1 − cosθ) = i/(N_ANGLES − 1) · √2."""
_PER_STEP = (N_ANGLES - 1) / math.sqrt(2.0)
N_RAYS_MADE = 4096
N_LEVELS = 3
"""Sets of places that stand for the whole of what shines: few for a light far away, many for one close by."""
# Of an Outline's fields those that say its shape, where it is no bitmap's: kind … area.
_N_OF_SHAPE = Outline._fields.index("area") + 1


class Shine(NamedTuple):
    """What shines without a gate. Lengths in metres.

    emitter    its place, axes, outline and size; of a tube the outline is length × diameter, of a ball a disc
    form       FLAT, TUBE or BALL
    fall       (n_turns, N_ANGLES) luminance over that straight ahead, by the turn about the axis (from the right
               downwards, one whole turn) and the angle from it; a tube's is 1 everywhere
    rim_stops  how many stops dimmer the rim is than the middle
    lip        depth of a frame round the front, whose far edge has the outline's shape
    places     (m, 3) x, y in units of the outline, and the share of the whole that each stands for, level after level
    levels     (N_LEVELS + 1,) int32: where in `places` each level begins
    rays       (N_RAYS_MADE, 2) x, y in units of the outline: where rays go, evenly spread however many are taken
    is_even    whether nothing falls off: then closed forms hold
    extinction (1/m) of the air round it
    """

    emitter: Emitter
    form: int
    fall: np.ndarray
    rim_stops: float
    lip: float
    places: np.ndarray
    levels: np.ndarray
    rays: np.ndarray
    is_even: bool
    extinction: float = 0.0


def angles_of_table() -> np.ndarray:
    """Angles (N_ANGLES,) radians that the entries of `Shine.fall` stand for, from straight ahead to straight back."""
    return np.arccos(np.clip(1.0 - 2.0 * (np.arange(N_ANGLES) / (N_ANGLES - 1)) ** 2, -1.0, 1.0))


@formula
def _fall_towards(shine, x, y, cosine):
    """Luminance over that straight ahead in a direction of the light's frame: x right, y down, cosine to the axis."""
    place = math.sqrt(max(1.0 - cosine, 0.0)) * _PER_STEP
    low = min(int(place), N_ANGLES - 2)
    share = place - low
    n_turns = shine.fall.shape[0]
    if n_turns == 1:
        return (1.0 - share) * shine.fall[0, low] + share * shine.fall[0, low + 1]
    turn = math.atan2(y, x) / (2.0 * math.pi) * n_turns
    turn = turn + n_turns if turn < 0.0 else turn
    first = min(int(turn), n_turns - 1)
    second = (first + 1) % n_turns
    across = turn - first
    return (1.0 - across) * ((1.0 - share) * shine.fall[first, low] + share * shine.fall[first, low + 1]) + across * (
        (1.0 - share) * shine.fall[second, low] + share * shine.fall[second, low + 1]
    )


@formula
def is_within(outline, x, y):
    """Whether a place in units of an outline lies within it; only outlines that lights have."""
    if outline.kind == RECTANGLE:
        return abs(x) <= outline.half_sizes[0] and abs(y) <= outline.half_sizes[1]
    if outline.kind == POLYGON:
        # How far out along the way to the middle of the nearest side.
        step = 2.0 * math.pi / outline.n_blades
        turn = (math.atan2(y, x) - outline.rotation) % step - 0.5 * step
        return math.hypot(x, y) * math.cos(turn) <= outline.circumradius * math.cos(0.5 * step)
    return x * x + y * y <= 1.0


@formula
def _from_flat(shine, point, x, y):
    """`ray_to` of a flat light."""
    emitter = shine.emitter
    ax, ay = emitter.radius * x, emitter.radius * y
    px, py, pz = in_light_frame(emitter, point[0], point[1], point[2])
    goal = in_world(emitter, ax, ay)
    if pz <= 0.0:
        return goal, 0.0
    across_x, across_y = px - ax, py - ay
    squared = across_x * across_x + across_y * across_y + pz * pz
    distance = math.sqrt(squared)
    if shine.lip > 0.0:
        step = shine.lip / pz
        if pz > shine.lip and not is_within(
            emitter.outline, (ax + step * across_x) / emitter.radius, (ay + step * across_y) / emitter.radius
        ):
            return goal, 0.0
    cosine = pz / distance
    value = cosine * (1.0 if shine.is_even else _fall_towards(shine, across_x, across_y, cosine))
    if shine.rim_stops > 0.0:
        out = (x * x + y * y) / (emitter.outline.reach * emitter.outline.reach)
        value *= 2.0 ** (-shine.rim_stops * out)
    return goal, value * math.pi * emitter.radius * emitter.radius * emitter.outline.area / squared


@formula
def _from_tube(shine, point, x, y):
    """`ray_to` of a tube, whose axis is `right`: the place on its own surface, by even steps across the angle that it
    fills. With ρ how far the surface lies off in the plane square to the axis, dω = ρ²/(ρ² + x²)^1.5 · dφ dx.
    """
    emitter = shine.emitter
    away = subtract(point, emitter.position)
    along = dot(away, emitter.right)
    facing = add_scaled(away, emitter.right, -along)
    distance = math.sqrt(dot(facing, facing))
    thick = emitter.half_height
    if distance <= thick:
        return emitter.position, 0.0
    facing = (facing[0] / distance, facing[1] / distance, facing[2] / distance)
    half_angle = math.asin(thick / distance)
    turn = half_angle * y / emitter.outline.half_sizes[1]
    cosine, sine = math.cos(turn), math.sin(turn)
    off = distance * cosine - math.sqrt(max(thick * thick - distance * distance * sine * sine, 0.0))
    place = emitter.radius * x
    goal = add_scaled(emitter.position, emitter.right, place)
    goal = add_scaled(goal, facing, distance - off * cosine)
    goal = add_scaled(goal, cross(emitter.right, facing), off * sine)
    squared = off * off + (along - place) * (along - place)
    return goal, 4.0 * emitter.half_width * half_angle * off * off / (squared * math.sqrt(squared))


@formula
def _from_ball(shine, point, x, y):
    """`ray_to` of a ball."""
    emitter = shine.emitter
    away = subtract(point, emitter.position)
    distance = math.sqrt(dot(away, away))
    if distance <= emitter.radius:
        return emitter.position, 0.0
    facing = (away[0] / distance, away[1] / distance, away[2] / distance)
    touched = emitter.radius * math.sqrt(1.0 - (emitter.radius / distance) ** 2)
    other = emitter.right if abs(dot(facing, emitter.right)) < 0.7 else emitter.down
    right = normalised(cross(facing, other))
    down = cross(facing, right)
    goal = add_scaled(emitter.position, facing, emitter.radius * emitter.radius / distance)
    goal = add_scaled(add_scaled(goal, right, touched * x), down, touched * y)
    way = subtract(point, goal)
    squared = dot(way, way)
    value = math.pi * touched * touched * dot(way, facing) / (squared * math.sqrt(squared))
    if not shine.is_even:
        value *= _fall_towards(
            shine, dot(facing, emitter.right), dot(facing, emitter.down), dot(facing, emitter.forward)
        )
    return goal, value


@formula
def ray_to(shine, point, x, y):
    """Where in the world a place (units of the outline) of what shines lies as seen from a point, and what it gives.

    The second is f · cosθ_A / d² times the whole area (sr), 0 where it does not shine: its mean over the places times
    the receiver's share is E/L.
    """
    if shine.form == FLAT:
        return _from_flat(shine, point, x, y)
    if shine.form == TUBE:
        return _from_tube(shine, point, x, y)
    return _from_ball(shine, point, x, y)


@formula
def taken_by(receiver, normal, way):
    """What a receiver with this normal takes of light that comes along a way (towards the light, any length).

    SURFACE: cosθ_P, 0 below the horizon; DOME: (1 + cosθ_P)/2; IN_AIR: 1.
    """
    if receiver == IN_AIR:
        return 1.0
    cosine = dot(normal, way) / math.sqrt(dot(way, way))
    return dome_response(cosine) if receiver == DOME else max(cosine, 0.0)


@formula
def is_polygon(shine):
    """Whether Lambert's formula for polygons holds of it."""
    kind = shine.emitter.outline.kind
    return shine.is_even and shine.form == FLAT and kind in (RECTANGLE, POLYGON)


@formula
def as_panel(shine):
    """A light with corners as `optics.area_light` takes it: sides, turn, half sizes (a polygon's: circumradius)."""
    outline, radius = shine.emitter.outline, shine.emitter.radius
    if outline.kind == RECTANGLE:
        return ANY_RECTANGLE, 0.0, shine.emitter.half_width, shine.emitter.half_height
    return outline.n_blades, outline.rotation, radius * outline.circumradius, radius * outline.circumradius


def make_shine(
    emitter: Emitter, form: int, fall: np.ndarray | None = None, rim_stops: float = 0.0, lip: float = 0.0
) -> Shine:
    """A light of an emitter. fall: see Shine, None for one luminance everywhere and in every direction."""
    is_even = fall is None and rim_stops == 0.0 and lip == 0.0
    table = np.ones((1, N_ANGLES)) if fall is None else np.ascontiguousarray(np.atleast_2d(fall), float)
    return Shine(
        emitter,
        form,
        table,
        float(rim_stops),
        float(lip),
        *_places_of(_Sampled(emitter.outline[:_N_OF_SHAPE], lip > 0.0, emitter.outline)),
        is_even,
    )


@dataclass(frozen=True)
class _Sampled:
    """An outline that a light has, told from others by the numbers of its shape."""

    shape: tuple
    has_lip: bool
    outline: Outline = field(compare=False)


@lru_cache(maxsize=64)
def _places_of(sampled: _Sampled) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """`places`, `levels` and `rays` of a Shine: the same of every light of a shape, wherever it stands."""
    levels = [_even_places(sampled.outline, n_side, sampled.has_lip) for n_side in (4, 8, 16)]
    starts = np.concatenate([[0], np.cumsum([len(level) for level in levels])]).astype(np.int32)
    return np.concatenate(levels), starts, rays_to(sampled.outline)


def rays_to(outline) -> np.ndarray:
    """Places (N_RAYS_MADE, 2) of an outline that rays go to: the first two dimensions of I. M. Sobol's sequence.

    Any run of 4^k of them that starts at a multiple of 4^k has one in each cell of a square cut into 4^k cells of any
    proportions, slim strips included (a (0, 2)-sequence in base 2: T. Kollig & A. Keller, "Efficient multidimensional
    sampling", Computer Graphics Forum 21(3), 2002), so that no edge of any direction meets many at once.
    """
    bits = int(math.log2(N_RAYS_MADE))
    places = np.empty((N_RAYS_MADE, 2))
    for number in range(N_RAYS_MADE):
        u, v, step, column = 0, 0, 1 << (bits - 1), 1 << (bits - 1)
        for bit in range(bits):
            if number >> bit & 1:
                u ^= step >> bit
                v ^= column
            column ^= column >> 1
        places[number] = outline_point(outline, (u + 0.5) / N_RAYS_MADE, (v + 0.5) / N_RAYS_MADE)
    return places


def _even_places(outline, n_side: int, has_lip: bool) -> np.ndarray:
    """Places (m, 3) and their shares: Gauss's rule along both sides of a rectangle, and over a disc along the radius
    and even steps round it (P. Davis & P. Rabinowitz, Methods of Numerical Integration).

    Behind a lip the light ends at an edge, where Gauss's few places would leave steps: even cells instead.
    """
    nodes, weights = np.polynomial.legendre.leggauss(n_side)
    if outline.kind == RECTANGLE:
        if has_lip:
            nodes, weights = (np.arange(2 * n_side) + 0.5) / n_side - 1.0, np.full(2 * n_side, 1.0 / n_side)
        x, y = np.meshgrid(nodes * outline.half_sizes[0], nodes * outline.half_sizes[1])
        return np.column_stack([x.ravel(), y.ravel(), 0.25 * np.outer(weights, weights).ravel()])
    # Of a polygon as many on every side, eight at least.
    sides = 1 if outline.kind == DISC else outline.n_blades
    turns = sides * max(-(-2 * n_side // sides), 8)
    angles = outline_turns(outline, turns)
    # Even in the square of the radius; the rim of a polygon is nearer in the middle of its sides.
    out = np.sqrt(0.5 * (nodes + 1.0))
    rims = _rim_at(outline, angles)
    places = (out[:, None] * rims[None, :])[..., None] * np.stack([np.cos(angles), np.sin(angles)], axis=-1)[None]
    shares = 0.5 * weights[:, None] * (rims**2 / (rims**2).sum())[None, :]
    return np.column_stack([places.reshape(-1, 2), shares.ravel()])


def outline_turns(outline, count: int) -> np.ndarray:
    """Angles (count,) radians round an outline, even steps, none of them towards a corner."""
    return outline.rotation + 2.0 * math.pi * (np.arange(count) + 0.5) / count


def _rim_at(outline, angles: np.ndarray) -> np.ndarray:
    """How far out the rim of a disc or a polygon lies at angles (n,), in units of the outline."""
    if outline.kind == DISC:
        return np.ones(len(angles))
    step = 2.0 * math.pi / outline.n_blades
    from_middle = np.mod(angles - outline.rotation, step) - 0.5 * step
    return outline.circumradius * math.cos(0.5 * step) / np.cos(from_middle)
