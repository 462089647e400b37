"""Neighbours on one surface see nearly the same of a pupil: what a few of them agree on need not be traced for the
rest.

The points of a picture or a map are taken in squares. A flat square is proven lit at once by one shaft to the whole
pupil. Otherwise five of its points are looked at; where all five are dark, or in penumbra, so are those between, and a
shadow ray to a place in the pupil is traced only where the five disagree on that place. A shadow's edge moves across
the pupil from point to point, so in a penumbra they agree on most of it.

Five points that agree can miss only what is so narrow that its shadow slips between them. A square is shared only if it
is flat and nothing stands near it, so that such a strip hides little of the pupil: let the samples be g apart and the
pupil's radius be R at distance Z. A strip at distance z before the square with a shadow v < g wide hides up to
(4/π) · v (Z/z − 1) / 2R of the pupil, and of the rays it blocks a share of 1 − v/g at most is missed: the loss is
largest at v = g/2. Squares whose loss could exceed `_LARGEST_LOSS` are cut in four, or not shared.
"""

from __future__ import annotations

import math

import numpy as np

from projector.jit import formula, kernel
from projector.tracing.rays.cone import shaft_may_touch
from projector.tracing.rays.vectors import load_word, stack_words, store_word
from projector.tracing.sight.emitter import in_light_frame
from projector.tracing.sight.outline import RECTANGLE
from projector.tracing.sight.points import ALL_RAYS, DARK, LIT, SURFACE, UNKNOWN
from projector.tracing.sight.squares import POINTS_IN_SQUARE, part_of_square
from projector.tracing.sight.visibility import (
    N_PROBES,
    PENUMBRA,
    UNDECIDED,
    forget_blockers,
    look_at_point,
    rays_arriving,
)

_N_SAMPLES = 5
# After so many halvings of a square's sides every one of its points is a corner.
_LAST_RANK, _ANY_RANK = 3, -1
# Each sample takes every second of the probes, its neighbour the others: together they are dark only if all are.
_PROBES_SHARED = 2
# Share of the pupil that a strip lost between samples may hide at worst: a twentieth of the light, 0.07 stop.
_LARGEST_LOSS = 0.05
# A square so much wider than the pupil is seldom lit as a whole: its quarters are tried at once.
_LARGEST_SPREAD = 4.0
# Least cosine between the normals of a flat square. Its points leave their plane by less than this share of the way to
# the pupil, as rounding lets them.
_FLAT = 1.0 - 1e-6
_UNEVENNESS = 2e-6


@formula
def sample_place(bounds, width, sample):
    """Index of one of a part's four corners or of its middle."""
    first_row, last_row, first_column, last_column = bounds
    if sample == _N_SAMPLES - 1:
        return (first_row + last_row) // 2 * width + (first_column + last_column) // 2
    row = first_row if sample < 2 else last_row - 1
    column = first_column if sample % 2 == 0 else last_column - 1
    return row * width + column


@formula
def _middle(points, bounds, width):
    """Mean of the corners' places (m)."""
    x = y = z = 0.0
    for sample in range(4):
        i = sample_place(bounds, width, sample)
        x += points.origins[i, 0]
        y += points.origins[i, 1]
        z += points.origins[i, 2]
    return 0.25 * x, 0.25 * y, 0.25 * z


@formula
def _shape(points, bounds, width):
    """How a part lies: (least cosine between its normals and its first one's, middle, spread in m, unevenness in m).

    The cosine is −1 where the part holds points of more than one object, or of none, or that are no surface's.
    """
    first_row, last_row, first_column, last_column = bounds
    first = first_row * width + first_column
    owner = points.owners[first]
    nx, ny, nz = points.facets[first, 0], points.facets[first, 1], points.facets[first, 2]
    middle = _middle(points, bounds, width)
    least, farthest, unevenness = 1.0, 0.0, 0.0
    for row in range(first_row, last_row):
        for i in range(row * width + first_column, row * width + last_column):
            if points.owners[i] != owner or owner < 0 or points.receiver != SURFACE:
                return -1.0, middle, 0.0, 0.0
            least = min(least, nx * points.facets[i, 0] + ny * points.facets[i, 1] + nz * points.facets[i, 2])
            x = points.origins[i, 0] - middle[0]
            y = points.origins[i, 1] - middle[1]
            z = points.origins[i, 2] - middle[2]
            farthest = max(farthest, x * x + y * y + z * z)
            unevenness = max(unevenness, abs(nx * x + ny * y + nz * z))
    return least, middle, math.sqrt(farthest), unevenness


@formula
def _is_flat(emitter, shape):
    """Whether a part is flat, before the lens and not too wide against the pupil."""
    cosine, middle, spread, unevenness = shape
    _, _, z = in_light_frame(emitter, middle[0], middle[1], middle[2])
    rim = emitter.reach
    return cosine >= _FLAT and z > spread and unevenness <= _UNEVENNESS * z and 0.0 < spread < _LARGEST_SPREAD * rim


@formula
def _is_free(onlookers, bounds, shape, share):
    """Proof that nothing stands between a flat part and the pupil on that share of the way."""
    _, middle, spread, unevenness = shape
    emitter, points = onlookers.emitter, onlookers.points
    i = sample_place(bounds, onlookers.width, 0)
    normal = (float(points.facets[i, 0]), float(points.facets[i, 1]), float(points.facets[i, 2]))
    rim, start = emitter.reach, emitter.ray_start
    return not shaft_may_touch(onlookers.bvh, middle, spread, unevenness, normal, emitter.position, rim, share, start)


@formula
def _radius_against_strips(emitter):
    """Radius (m) of the disc of which a narrow strip hides as large a share, 2v/πR, as of this emitter at worst.

    Along a rectangle's long sides it hides v/2b.
    """
    if emitter.outline.kind == RECTANGLE:
        return 4.0 / math.pi * min(emitter.half_width, emitter.half_height)
    return emitter.reach


@formula
def _share_to_be_free(emitter, shape):
    """How much of the way from a flat part to the pupil has to be free for its points to share rays.

    The law of this module's head with samples half a side apart, g = spread / √2: the loss (4/π) · (g/4) (Z/z − 1) / 2R
    is the largest allowed at this z/Z.
    """
    gap = shape[2] / math.sqrt(2.0)
    return 1.0 / (1.0 + _LARGEST_LOSS * 2.0 * math.pi * _radius_against_strips(emitter) / gap)


@formula
def _settle(state, bounds, width, found):
    """Give every point of a part that is still undecided, and its samples where they are unknown, the same state."""
    for sample in range(_N_SAMPLES):
        i = sample_place(bounds, width, sample)
        if state[i] == UNKNOWN:
            state[i] = found
    first_row, last_row, first_column, last_column = bounds
    for row in range(first_row, last_row):
        for i in range(row * width + first_column, row * width + last_column):
            if state[i] == UNDECIDED:
                state[i] = found


@formula
def _is_undecided(state, bounds, width):
    first_row, last_row, first_column, last_column = bounds
    for row in range(first_row, last_row):
        for i in range(row * width + first_column, row * width + last_column):
            if state[i] == UNDECIDED:
                return True
    return False


@formula
def _look_at_part(onlookers, beam, bounds, whole, known, state):
    """Settle a part together if that can be done; else point by point, or, of a whole square, leave it.

    True if settled.
    """
    emitter, points, width = onlookers.emitter, onlookers.points, onlookers.width
    if not _is_undecided(state, bounds, width):
        return True
    shape = _shape(points, bounds, width)
    shares = False
    if _is_flat(emitter, shape):
        if _is_free(onlookers, bounds, shape, 1.0):
            _settle(state, bounds, width, LIT)
            return True
        shares = _is_free(onlookers, bounds, shape, _share_to_be_free(emitter, shape))
    if whole and not shares:
        return False
    first_row, last_row, first_column, last_column = bounds
    n_columns = last_column - first_column
    n_samples = _N_SAMPLES if shares else 0
    agreed, differ = UNDECIDED, False
    for step in range(n_samples + (last_row - first_row) * n_columns):
        if step < n_samples:
            if differ:
                continue
            i = sample_place(bounds, width, step)
        else:
            if step == n_samples and shares:
                # All lit, yet no shaft proves it; or samples that differ: rays decide, most of them shared.
                if agreed == LIT or differ:
                    agreed = PENUMBRA
                if agreed in (DARK, PENUMBRA):
                    _settle(state, bounds, width, agreed)
                    return True
            place = step - n_samples
            i = (first_row + place // n_columns) * width + first_column + place % n_columns
        # A sample that the pattern leaves dark is looked at all the same: its neighbours are not all dark.
        if state[i] == UNDECIDED or (state[i] == UNKNOWN and step < n_samples):
            state[i] = look_at_point(
                onlookers.bvh,
                emitter,
                onlookers.aims,
                points,
                i,
                beam,
                _PROBES_SHARED if step < n_samples else 0,
                step % _PROBES_SHARED,
                known,
            )
        if step == 0:
            agreed = state[i]
        elif step < n_samples and agreed != state[i]:
            agreed, differ = UNDECIDED, True
    return True


@kernel
def look_first_in_squares(onlookers, beam, start, stop, state):
    """`visibility.look_first` for points that form rows of a picture or a map, taken in squares start … stop.

    state (height · width,) int32: what is UNDECIDED becomes DARK, LIT, UNKNOWN or PENUMBRA.
    """
    known = stack_words(N_PROBES)
    forget_blockers(known)
    for square in range(start, stop):
        for part in range(5):
            bounds = part_of_square(square, part, onlookers.width, onlookers.height)
            if bounds[0] >= bounds[1] or bounds[2] >= bounds[3]:
                continue
            if _look_at_part(onlookers, beam, bounds, part == 0, known, state) and part == 0:
                break


@formula
def _mask_of(state, seen, i, cell):
    """Which rays of a cell arrive at a point; none at one that is unknown, which at worst lets more rays be traced
    beside it.
    """
    if state[i] >= 0:
        return int(seen[state[i], cell])
    return ALL_RAYS if state[i] == LIT else 0


@formula
def _rays_agreed(state, seen, bounds, width, cell):
    """(mask of a cell's rays on which the five samples agree, their mask)."""
    first = _mask_of(state, seen, sample_place(bounds, width, 0), cell)
    differing = 0
    for sample in range(1, _N_SAMPLES):
        differing |= first ^ _mask_of(state, seen, sample_place(bounds, width, sample), cell)
    return ALL_RAYS & ~differing, first


@formula
def lines_round(first, last, at, n_halvings):
    """The two lines between which one lies when first … last − 1 has been halved so often; twice itself where it is one
    of them.
    """
    low, high = first, last - 1
    for halving in range(n_halvings):
        # The first halving meets the fifth sample.
        middle = (first + last) // 2 if halving == 0 else (low + high) // 2
        if at <= middle:
            high = middle
        if at >= middle:
            low = middle
    if at in (low, high):
        return at, at
    return low, high


@formula
def _rays_agreed_nearby(state, seen, bounds, width, i, rank, cell):
    """The same for the points round point i of a rank: four of lower ranks, or two where it lies in line with them."""
    upper, lower = lines_round(bounds[0], bounds[1], i // width, rank - 1)
    left, right = lines_round(bounds[2], bounds[3], i % width, rank - 1)
    first = _mask_of(state, seen, upper * width + left, cell)
    differing = first ^ _mask_of(state, seen, lower * width + right, cell)
    if upper < lower and left < right:
        differing |= first ^ _mask_of(state, seen, upper * width + right, cell)
        differing |= first ^ _mask_of(state, seen, lower * width + left, cell)
    return ALL_RAYS & ~differing, first


@formula
def _rays_are_shared(onlookers, state, bounds):
    """Whether a part's points may take over what its five samples agree on."""
    emitter, width = onlookers.emitter, onlookers.width
    shape = _shape(onlookers.points, bounds, width)
    if not _is_flat(emitter, shape):
        return False
    for sample in range(_N_SAMPLES):
        if state[sample_place(bounds, width, sample)] == UNKNOWN:
            return False
    return _is_free(onlookers, bounds, shape, _share_to_be_free(emitter, shape))


@formula
def _n_halvings(first, last, at):
    """How often first … last − 1 is halved until a line is one of the ends; _LAST_RANK at most."""
    for halvings in range(_LAST_RANK):
        low, high = lines_round(first, last, at, halvings)
        if low == high:
            return halvings
    return _LAST_RANK


@formula
def rank_of(bounds, row, column):
    """When a point of a part is traced: 0 for the five samples, else after how many halvings of both sides it is a
    corner.
    """
    if row == (bounds[0] + bounds[1]) // 2 and column == (bounds[2] + bounds[3]) // 2:
        return 0
    return max(_n_halvings(bounds[0], bounds[1], row), _n_halvings(bounds[2], bounds[3], column))


@formula
def _has_penumbra(state, bounds, width):
    first_row, last_row, first_column, last_column = bounds
    for row in range(first_row, last_row):
        for i in range(row * width + first_column, row * width + last_column):
            if state[i] >= 0:
                return True
    return False


@formula
def _places_of_rank(state, bounds, width, rank, places):
    """Write a part's points in penumbra of one rank (or of any) to a list of words; how many they are."""
    count = 0
    for row in range(bounds[0], bounds[1]):
        for column in range(bounds[2], bounds[3]):
            i = row * width + column
            if state[i] >= 0 and (rank == _ANY_RANK or rank_of(bounds, row, column) == rank):
                store_word(places, count, np.int64(i))
                count += 1
    return count


@formula
def _trace_part(onlookers, state, bounds, n_side, whole, places, seen):
    """Shadow rays of a part's points in penumbra; of a whole square only if its points share. True if done."""
    width = onlookers.width
    if not _has_penumbra(state, bounds, width):
        return True
    shared = _rays_are_shared(onlookers, state, bounds)
    if whole and not shared:
        return False
    likely = np.int64(0)
    # Every ray of the five samples; of the others, rank by rank, those that the points round each leave open.
    for rank in range(_LAST_RANK + 1 if shared else 1):
        n_places = _places_of_rank(state, bounds, width, rank if shared else _ANY_RANK, places)
        for cell in range(n_side * n_side):
            agreed, mask = 0, 0
            if rank == 1:
                agreed, mask = _rays_agreed(state, seen, bounds, width, cell)
            for place in range(n_places):
                i = load_word(places, place)
                if rank > 1:
                    agreed, mask = _rays_agreed_nearby(state, seen, bounds, width, i, rank, cell)
                arrived = 0
                if agreed != ALL_RAYS:
                    wanted = ALL_RAYS & ~agreed
                    arrived, likely = rays_arriving(
                        onlookers.bvh, onlookers.emitter, onlookers.aims, onlookers.points, i, cell, wanted, likely
                    )
                seen[state[i], cell] = arrived | mask & agreed
    return True


@kernel
def look_closely_in_squares(onlookers, n_side, squares, start, stop, state, seen):
    """`visibility.look_closely` for points in rows: of the squares (k,) those from start to stop; seen (p, n_side²)
    uint8.
    """
    places = stack_words(POINTS_IN_SQUARE)
    for index in range(start, stop):
        for part in range(5):
            bounds = part_of_square(squares[index], part, onlookers.width, onlookers.height)
            if bounds[0] >= bounds[1] or bounds[2] >= bounds[3]:
                continue
            if _trace_part(onlookers, state, bounds, n_side, part == 0, places, seen) and part == 0:
                break
