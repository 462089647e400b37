"""Drawn stencils of straight lines and arcs: windows, slots, plain shapes, grilles, and marks to measure by.

Each function takes the grid x, y of stencil_shapes and returns the signed distance to its openings.
"""

from __future__ import annotations

import itertools
import math

import numpy as np

from projector.stencils.drawing.shapes import box, direction, disc, pointed_arch, polygon, smooth_maximum, turned, union

# Openings end here; from there on outwards the sheet is whole, for the gate to hold it by.
RIM = 0.93


def within_rim(x, y, distance):
    """The same openings, cut off at the rim."""
    return np.maximum(distance, disc(x, y, radius=RIM))


def window(x, y):
    """Two sashes of three panes; the bars of a sash are thinner than the frame between the sashes."""
    column, level = np.abs(x), np.clip(np.round(y / 0.41), -1, 1) * 0.41
    return np.minimum(*(box(column, y - level, centre, 0.0, 0.112, 0.19, 0.006) for centre in (0.15, 0.392)))


def arched_window(x, y):
    """A round head with a fan of bars over two rows of panes."""
    outline = np.minimum(box(x, y, 0.0, 0.2, 0.5, 0.55), np.maximum(disc(x, y, 0.0, -0.35, 0.5), y + 0.30))
    bars = [np.abs(x) - 0.022, np.abs(y + 0.33) - 0.022, np.abs(y - 0.2) - 0.022]
    for angle in (45.0, 135.0):
        u, v = turned(x, y + 0.35, -angle)
        bars.append(np.maximum(np.abs(v) - 0.02, np.maximum(-u, y + 0.33)))
    ring = np.maximum(np.abs(np.hypot(x, y + 0.35) - 0.22) - 0.02, y + 0.33)
    return np.maximum(outline, -np.minimum.reduce([*bars, ring]))


def church_window(x, y):
    """Two pointed lights under a rose of six petals, all within one pointed arch."""
    # Both halves are alike: one light, drawn on the distance from the middle.
    column, light_x = np.abs(x), 0.245
    bars = np.minimum.reduce(
        [np.abs(column - light_x) - 0.011, *(np.abs(y - level) - 0.011 for level in (0.12, 0.35, 0.58))]
    )
    light = np.maximum(pointed_arch(column, y, light_x, 0.12, 0.8, 0.212), -bars)
    rose_y = -0.315
    petals = [disc(x, y, *(np.array([0.0, rose_y]) + 0.125 * direction(angle)), 0.055) for angle in range(30, 390, 60)]
    heart = disc(x, y, 0.0, rose_y, 0.045)
    # What the rose and the lights leave of the great arch: two spandrels beside the rose and an eye above it.
    arch = pointed_arch(x, y, 0.0, 0.05, 0.8, 0.5, 0.04)
    hood = pointed_arch(column, y, light_x, 0.12, 0.8, 0.252)
    rest = np.maximum.reduce([arch, 0.235 - np.hypot(x, y - rose_y), y - 0.02, -hood])
    return np.minimum.reduce([light, *petals, heart, rest + 0.004])


def blinds(x, y):
    """Eleven slots; two cords are the thin bridges that keep the slats from bending."""
    pitch = 0.154
    level = np.clip(np.round(y / pitch), -5, 5) * pitch
    slots = box(x, y - level, 0.0, 0.0, 0.98, 0.045, 0.01)
    cords = np.minimum(np.abs(x + 0.42) - 0.012, np.abs(x - 0.42) - 0.012)
    return within_rim(x, y, np.maximum(slots, -cords))


def skylight(x, y):
    """Glazing in perspective: bars that run together upwards."""
    rows = [-0.62, -0.42, -0.17, 0.15, 0.58]
    gap = 0.016
    parts = []
    for top, bottom in itertools.pairwise(rows):
        upper, lower = 0.17 + 0.11 * (top + 0.62), 0.17 + 0.11 * (bottom + 0.62)
        for column in range(-2, 2):
            left, right = column + gap / upper, column + 1 - gap / upper
            corners = [
                (left * upper, top + gap),
                (right * upper, top + gap),
                (right * lower, bottom - gap),
                (left * lower, bottom - gap),
            ]
            parts.append((np.mean(corners, axis=0), 0.45, lambda x, y, c=corners: polygon(x, y, c)))
    return union(x, y, parts)


def door(x, y):
    """A door ajar, in perspective."""
    return polygon(x, y, [(-0.17, -0.72), (0.2, -0.64), (0.2, 0.66), (-0.17, 0.74)], 0.006)


def slit(x, y):
    """One narrow slot, level."""
    return box(x, y, 0.0, 0.0, 0.78, 0.06, 0.02)


def circle(x, y):
    """One round hole."""
    return disc(x, y, radius=0.6)


def square(x, y):
    """One square hole."""
    return box(x, y, 0.0, 0.0, 0.55, 0.55, 0.01)


def triangle(x, y):
    """One triangular hole, a corner up."""
    return polygon(x, y, [0.72 * direction(angle) for angle in (-90.0, 30.0, 150.0)], 0.015)


def stripes(x, y):
    """Slanting stripes of one width."""
    _, v = turned(x, y, 30.0)
    pitch = 0.2
    return within_rim(x, y, np.abs((v / pitch) % 1.0 - 0.5) * pitch - 0.055)


def lattice(x, y):
    """A diagonal trellis."""
    u, v = turned(x, y, 45.0)
    pitch = 0.16
    du, dv = (np.abs((w / pitch) % 1.0 - 0.5) * pitch for w in (u, v))
    return within_rim(x, y, np.maximum(du, dv) - 0.0575)


def screen(x, y):
    """A pierced screen of eight-pointed stars and the crosses that they leave between them."""
    pitch, bar = 0.37, 0.017
    u, v = ((w / pitch + 0.5) % 1.0 * pitch - 0.5 * pitch for w in (x, y))
    # A star is a square and the same square turned by 45°; neighbours touch with their points.
    half = 0.5 * pitch / math.sqrt(2.0)
    star = np.minimum(np.maximum(np.abs(u), np.abs(v)), (np.abs(u) + np.abs(v)) / math.sqrt(2.0)) - half
    return within_rim(x, y, np.minimum(star + bar, bar - star))


def dots(x, y):
    """Round holes on a triangular grid, smaller outwards."""
    pitch, parts = 0.15, []
    for row in range(-7, 8):
        for column in range(-7, 8):
            centre = np.array([pitch * (column + 0.5 * (row % 2)), pitch * row * math.sqrt(0.75)])
            radius = 0.062 - 0.045 * math.hypot(*centre)
            if math.hypot(*centre) < 0.86:
                parts.append((centre, 0.1, lambda x, y, c=centre, r=radius: disc(x, y, *c, r)))
    return union(x, y, parts)


def rays(x, y):
    """A sun: a round heart and thirty-two beams, long and short by turns, that widen outwards."""
    n = 32
    radius, angle = np.hypot(x, y), np.arctan2(y, x)
    place = angle / (2.0 * math.pi) * n
    beam = np.round(place)
    u, v = (
        radius * np.cos((place - beam) * 2.0 * math.pi / n),
        radius * np.abs(np.sin((place - beam) * 2.0 * math.pi / n)),
    )
    end = np.where(beam.astype(int) % 2 == 0, 0.88, 0.66)
    beams = smooth_maximum((v - 0.25 * 2.0 * math.pi / n * u), smooth_maximum(0.36 - u, radius - end, 0.01), 0.01)
    return np.minimum(beams, disc(x, y, radius=0.25))


def swirl(x, y):
    """Seven curved blades of light that wind into a hub, pointed at both ends."""
    n, winding = 7, 1.15
    radius, angle = np.maximum(np.hypot(x, y), 1e-3), np.arctan2(y, x)
    # Along a logarithmic spiral the angle grows with the logarithm of the radius, so the blades are alike at every
    # size.
    phase = n * (angle - winding * np.log(radius))
    off = np.abs((phase / (2.0 * math.pi)) % 1.0 - 0.5) * 2.0 * math.pi
    along = np.clip(np.log(radius / 0.1) / math.log(0.92 / 0.1), 0.0, 1.0)
    half = 2.25 * (along * (1.0 - along) * 4.0) ** 0.6
    distance = (off - half) * radius / (n * math.hypot(1.0, winding))
    return np.maximum.reduce([distance, disc(x, y, radius=0.92), 0.1 - radius])


def orientation(x, y):
    """An F with one to four dots in its corners, counted clockwise from upper left: no turn and no mirror brings it
    back.
    """
    corners = [(-0.52, -0.5), (0.52, -0.5), (0.52, 0.5), (-0.52, 0.5)]
    spots = [(cx + 0.105 * (i - 0.5 * n), cy) for n, (cx, cy) in enumerate(corners) for i in range(n + 1)]
    strokes = [box(x, y, -0.2, 0.0, 0.07, 0.5), box(x, y, 0.03, -0.43, 0.25, 0.07), box(x, y, -0.02, -0.05, 0.19, 0.06)]
    arrow = [box(x, y, 0.0, -0.73, 0.022, 0.08), polygon(x, y, [(0.0, -0.9), (0.075, -0.77), (-0.075, -0.77)])]
    dots_ = union(x, y, [(spot, 0.1, lambda x, y, c=spot: disc(x, y, *c, 0.038)) for spot in spots])
    return np.minimum.reduce([*strokes, *arrow, dots_])


def slanted_edge(x, y):
    """A disc, half open, its edge 5° off upright, as ISO 12233 has an edge slanted to find it finer than the pixels."""
    u, _ = turned(x, y, 5.0)
    return np.maximum(-u, disc(x, y, radius=0.8))
