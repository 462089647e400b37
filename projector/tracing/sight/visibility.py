"""What each point sees of a projector's pupil; kept apart from the lens, so that turning a ring costs no ray.

A cone test proves most points fully lit. The rest are probed with a few rays (all blocked: dark) and only what is left
gets a ray to every cell of the pupil. Points far outside the beam are left unknown until the beam grows to them.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from projector.geometry import subtract
from projector.jit import formula, kernel
from projector.tracing.rays.bvh import Bvh, blocker
from projector.tracing.rays.cone import cone_may_touch
from projector.tracing.rays.vectors import load_word, stack_words, store_word
from projector.tracing.sight.emitter import Emitter, direction_in_light_frame, in_light_frame, in_world
from projector.tracing.sight.outline import outline_point
from projector.tracing.sight.points import ALL_RAYS, DARK, LIT, RAYS_PER_CELL, SURFACE, UNKNOWN, Points
from projector.tracing.sight.squares import footprint_per_tube

# States of a point between the two passes: neither proven lit nor found dark; not looked at yet.
PENUMBRA, UNDECIDED = -4, -5
# Rays that all have to be blocked before a point counts as dark: cells spread over the whole pupil, rim first.
N_PROBES = 20
# An emitter looks wide whose radius is more than this share of its distance: a disc of 11°, wider than any lens.
_WIDE = 0.1


@formula
def _ray_place(ray, n_side):
    """Where in the pupil's unit square shadow ray `ray` of a grid of n_side² cells goes.

    Each cell is cut in two by two; a ray sits in each part, shifted so that no two of a row or a column share a
    coordinate: an edge of any direction then meets the rays one after the other, not in rows.
    """
    fine = 2 * n_side
    cell = ray // RAYS_PER_CELL
    part = ray % RAYS_PER_CELL
    column = 2 * (cell % n_side) + part % 2
    row = 2 * (cell // n_side) + part // 2
    u = (column + ((5 * row + 3) % fine + 0.5) / fine) / fine
    v = (row + ((5 * column + 1) % fine + 0.5) / fine) / fine
    return u, v


class Aims(NamedTuple):
    """Places in the pupil (m) that shadow rays go to: probes (N_PROBES, 2) and rays (n_side² · RAYS_PER_CELL, 2), cell
    after cell.
    """

    probes: np.ndarray
    rays: np.ndarray


class Onlookers(NamedTuple):
    """Points that look at an emitter through a scene, row by row of a picture or a map.

    aims: where in the emitter their rays go; width, height: points in a row, and rows
    """

    bvh: Bvh
    emitter: Emitter
    aims: Aims
    points: Points
    width: int
    height: int


def aims_at(emitter, n_side: int) -> Aims:
    """Where rays to an emitter go if it is cut into n_side² cells; found once, as it takes a sine and a cosine
    each.
    """
    aims = Aims(np.empty((N_PROBES, 2)), np.empty((n_side * n_side * RAYS_PER_CELL, 2)))
    _fill_aims(emitter.outline, emitter.radius, n_side, aims)
    return aims


@kernel
def _fill_aims(pupil, radius, n_side, aims):
    """Fill both tables of Aims."""
    for probe in range(N_PROBES):
        u, v = _probe_place(probe)
        x, y = outline_point(pupil, u, v)
        aims.probes[probe, 0], aims.probes[probe, 1] = radius * x, radius * y
    for ray in range(n_side * n_side * RAYS_PER_CELL):
        u, v = _ray_place(ray, n_side)
        x, y = outline_point(pupil, u, v)
        aims.rays[ray, 0], aims.rays[ray, 1] = radius * x, radius * y


@formula
def _probe_place(probe):
    """Probes: sixteen near the border of the unit square, which is the pupil's rim, and four inside."""
    if probe < 16:
        along = (probe % 4 + 0.5) / 4.0
        side = probe // 4
        if side == 0:
            return along, 0.02
        if side == 1:
            return along, 0.98
        if side == 2:
            return 0.02, along
        return 0.98, along
    return 0.3 + 0.4 * (probe % 2), 0.3 + 0.4 * ((probe - 16) // 2)


@formula
def _horizon(emitter, points, normals, i):
    """The direction, in the emitter's frame, over whose plane a point sees: its normal (n, 3), or, where it is no
    surface's and sees all round, that towards the emitter's plane.
    """
    if points.receiver != SURFACE:
        return 0.0, 0.0, -1.0
    return direction_in_light_frame(emitter, normals[i, 0], normals[i, 1], normals[i, 2])


@formula
def _horizon_in_world(emitter, points, i):
    """The same of a point's facet in the world."""
    if points.receiver != SURFACE:
        return -emitter.forward[0], -emitter.forward[1], -emitter.forward[2]
    return float(points.facets[i, 0]), float(points.facets[i, 1]), float(points.facets[i, 2])


@formula
def _blocker(bvh, emitter, origin, place, normal, aims, aim, likely):
    """What hides one of the aims (k, 2): 0 nothing, 1 the smooth surface's own horizon, below 0 a leaf of the tree."""
    ax = aims[aim, 0]
    ay = aims[aim, 1]
    if normal[0] * (ax - place[0]) + normal[1] * (ay - place[1]) - normal[2] * place[2] <= 0.0:
        return np.int64(1)
    goal = in_world(emitter, ax, ay)
    return blocker(bvh, origin, subtract(goal, origin), emitter.ray_start, 1.0, min(likely, 0))


@formula
def forget_blockers(known):
    """Clear the N_PROBES words that hold the leaf that last blocked each probe: it mostly blocks a neighbour's ray
    there too.
    """
    for probe in range(N_PROBES):
        store_word(known, probe, np.int64(0))


@formula
def _probes(bvh, emitter, aims, origin, place, normal, first, step, known):
    """How many of the probes first, first + step … see the pupil, and how many are blocked, as far as one of each is
    found.
    """
    n_seen, n_blocked = 0, 0
    for probe in range(first, N_PROBES, step):
        found = _blocker(bvh, emitter, origin, place, normal, aims.probes, probe, load_word(known, probe))
        if found == 0:
            n_seen += 1
        else:
            n_blocked += 1
            store_word(known, probe, found)
        if n_seen > 0 and n_blocked > 0:
            break
    return n_seen, n_blocked


@formula
def looks_wide(emitter, place):
    """Whether an emitter looks so wide from a place in its frame that what slips between the probes would show.

    Twenty probes that are blocked may hide up to a twentieth of the emitter. Of a lens's pupil the penumbra is so
    narrow that nobody sees such a step; a panel's is as wide as a face, and there all rays decide.
    """
    squared = place[0] * place[0] + place[1] * place[1] + place[2] * place[2]
    return emitter.reach * emitter.reach > _WIDE * _WIDE * squared


@formula
def look_at_point(bvh, emitter, aims, points, i, beam, probes, first_probe, known):
    """DARK, LIT, UNKNOWN or PENUMBRA for one point.

    With `probes` = 0 the cone is tried before any ray, which pays where most points are lit. With 1 or more, rays go
    first, only every so many of the probes from `first_probe` on: near a shadow's edge two of them decide.
    aims: Aims of the emitter; known: address of `forget_blockers`, for a run over neighbours.
    """
    x, y, z = in_light_frame(emitter, points.positions[i, 0], points.positions[i, 1], points.positions[i, 2])
    facet = _horizon(emitter, points, points.facets, i)
    normal = _horizon(emitter, points, points.normals, i)
    rim = emitter.reach
    smooth_height = -(normal[0] * x + normal[1] * y + normal[2] * z)
    height = -(facet[0] * x + facet[1] * y + facet[2] * z)
    if not z > 1e-6 or smooth_height + rim * math.hypot(normal[0], normal[1]) <= 0.0:
        return DARK
    # What the largest beam can reach: its slope at the gate's corner plus the pupil's own width seen from here.
    if max(abs(x), abs(y)) > beam[0] * z + beam[1]:
        return UNKNOWN
    origin = (float(points.origins[i, 0]), float(points.origins[i, 1]), float(points.origins[i, 2]))
    n_blocked = 0
    for turn in range(2):
        if (turn == 0) == (probes > 0):
            n_seen, n_blocked = _probes(
                bvh, emitter, aims, origin, (x, y, z), normal, first_probe, max(probes, 1), known
            )
            if n_seen == 0:
                return PENUMBRA if looks_wide(emitter, (x, y, z)) else DARK
            if n_blocked > 0 or turn == 1:
                return PENUMBRA
        else:
            above = height - rim * math.hypot(facet[0], facet[1]) > 0.0
            facet_world = _horizon_in_world(emitter, points, i)
            if above and not cone_may_touch(bvh, origin, facet_world, emitter.position, rim, emitter.ray_start):
                return LIT
    return PENUMBRA


@kernel
def look_first(bvh, emitter, aims, points, beam, start, stop, state):
    """First pass over points start … stop: of state (n,) int32, what is UNDECIDED becomes DARK, LIT, UNKNOWN or
    PENUMBRA.

    beam: (largest slope, largest reach in m) of the light that can come, from `beam_bounds`; (inf, 0) where it
    shines everywhere.
    """
    known = stack_words(N_PROBES)
    forget_blockers(known)
    for i in range(start, stop):
        if state[i] == UNDECIDED:
            state[i] = look_at_point(bvh, emitter, aims, points, i, beam, 0, 0, known)


@formula
def rays_arriving(bvh, emitter, aims, points, i, cell, wanted, likely):
    """(mask of the wanted rays from point i to one cell of the pupil that arrive, what blocked the last one that does
    not).

    wanted: mask of rays; likely: what blocked a ray nearby, from an earlier call, or 0.
    """
    place = in_light_frame(emitter, points.positions[i, 0], points.positions[i, 1], points.positions[i, 2])
    normal = _horizon(emitter, points, points.normals, i)
    origin = (float(points.origins[i, 0]), float(points.origins[i, 1]), float(points.origins[i, 2]))
    arrived = 0
    for part in range(RAYS_PER_CELL):
        if wanted >> part & 1:
            found = _blocker(bvh, emitter, origin, place, normal, aims.rays, cell * RAYS_PER_CELL + part, likely)
            if found == 0:
                arrived |= 1 << part
            else:
                likely = found
    return arrived, likely


@kernel
def look_closely(bvh, emitter, aims, points, rows, n_side, start, stop, seen):
    """Second pass: shadow rays to every cell for the points rows[start … stop]; seen (p, n_side²) uint8."""
    likely = np.int64(0)
    for row in range(start, stop):
        for cell in range(n_side * n_side):
            seen[row, cell], likely = rays_arriving(bvh, emitter, aims, points, rows[row], cell, ALL_RAYS, likely)


@kernel
def settle_rows(rows, seen, start, stop, state):
    """Of the points rows[start … stop], those that see all or nothing of the pupil become LIT or DARK in state (n,)
    int32.
    """
    n_cells = seen.shape[1]
    for row in range(start, stop):
        all_arrived, any_arrived = ALL_RAYS, 0
        for cell in range(n_cells):
            all_arrived &= seen[row, cell]
            any_arrived |= seen[row, cell]
        if all_arrived == ALL_RAYS:
            state[rows[row]] = LIT
        elif any_arrived == 0:
            state[rows[row]] = DARK


@kernel
def depths_reached(emitter, points, state):
    """Of the points that may get light: nearest and farthest depth (m), and the largest footprint over the tube
    length.
    """
    nearest, farthest, footprint = math.inf, -math.inf, 0.0
    for i in range(state.shape[0]):
        if state[i] == DARK or state[i] == UNKNOWN:
            continue
        x, y, z = in_light_frame(emitter, points.positions[i, 0], points.positions[i, 1], points.positions[i, 2])
        nearest, farthest = min(nearest, z), max(farthest, z)
        if points.areas[i] > 0.0 and z > 1e-6:
            normal = direction_in_light_frame(emitter, points.normals[i, 0], points.normals[i, 1], points.normals[i, 2])
            footprint = max(
                footprint, footprint_per_tube(points.areas[i], -(normal[0] * x + normal[1] * y + normal[2] * z), z)
            )
    return nearest, farthest, footprint


def number_penumbrae(state: np.ndarray) -> np.ndarray:
    """Number the points in PENUMBRA in place, from 0; returns their rows (p,)."""
    rows = np.flatnonzero(state == PENUMBRA)
    state[rows] = np.arange(rows.size, dtype=np.int32)
    return rows


def seen_shares(visibility) -> np.ndarray:
    """Share of the pupil that each point sees, (n,) float32; UNKNOWN counts as dark."""
    shares = (visibility.state == LIT).astype(np.float32)
    rows = np.flatnonzero(visibility.state >= 0)
    total = np.bitwise_count(visibility.seen[visibility.state[rows]]).sum(axis=1, dtype=np.float32)
    shares[rows] = total / np.float32(RAYS_PER_CELL * visibility.n_side**2)
    return shares


@kernel
def mark_steps(values, owners, width, height, threshold, start, stop, marks):
    """Mark the grid points of rows start … stop whose value differs from a neighbour's of the same surface by more than
    a threshold.
    """
    for row in range(start, stop):
        for column in range(width):
            i = row * width + column
            for step in range(4):
                other_row = row + (step == 0) - (step == 1)
                other_column = column + (step == 2) - (step == 3)
                if other_row < 0 or other_column < 0 or other_row >= height or other_column >= width:
                    continue
                j = other_row * width + other_column
                if owners[i] == owners[j] and abs(values[i] - values[j]) > threshold:
                    marks[i] = True
