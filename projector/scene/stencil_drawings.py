"""The shipped stencils, drawn by formulas: sharp at any size, and one connected piece wherever they claim to be metal.

A stencil is a square bitmap meant for a round gate as wide as it; each drawing keeps a dark rim around its disc.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from projector.scene.stencil_shapes import box, disc, leaf, polygon, segment, spread_points, turned

RIM = 0.93
_KEY = "projector stencil"


@dataclass(frozen=True)
class Drawing:
    """A stencil: distance(x, y) negative in its openings; what it shows; what it is good for; whether it can be cut from one sheet."""

    distance: Callable
    description: str
    good_for: str
    is_metal: bool = True


def _within_rim(x, y, distance):
    return np.maximum(distance, disc(x, y, radius=RIM))


def _window(x, y):
    panes = [box(x, y, cx, cy, 0.235, 0.185, 0.012) for cx in (-0.265, 0.265) for cy in (-0.43, 0.0, 0.43)]
    return np.minimum.reduce(panes)


def _arched_window(x, y):
    outline = np.minimum(box(x, y, 0.0, 0.2, 0.5, 0.55), np.maximum(disc(x, y, 0.0, -0.35, 0.5), y + 0.30))
    bars = [np.abs(x) - 0.022, np.abs(y + 0.33) - 0.022, np.abs(y - 0.2) - 0.022]
    for angle in (45.0, 135.0):
        u, v = turned(x, y + 0.35, -angle)
        bars.append(np.maximum(np.abs(v) - 0.02, np.maximum(-u, y + 0.33)))
    ring = np.maximum(np.abs(np.hypot(x, y + 0.35) - 0.22) - 0.02, y + 0.33)
    return np.maximum(outline, -np.minimum.reduce([*bars, ring]))


def _blinds(x, y):
    slots = [box(x, y, 0.0, cy, 0.98, 0.045, 0.01) for cy in np.arange(-0.77, 0.78, 0.154)]
    # Two cords, as thin bridges that keep the slats from bending.
    cords = np.minimum(np.abs(x + 0.42) - 0.012, np.abs(x - 0.42) - 0.012)
    return _within_rim(x, y, np.maximum(np.minimum.reduce(slots), -cords))


def _slit(x, y):
    return box(x, y, 0.0, 0.0, 0.78, 0.06, 0.02)


def _circle(x, y):
    return disc(x, y, radius=0.6)


def _triangle(x, y):
    corners = [(0.72 * math.sin(a), -0.72 * math.cos(a)) for a in (0.0, 2.0 * math.pi / 3.0, 4.0 * math.pi / 3.0)]
    return polygon(x, y, corners, 0.015)


def _square(x, y):
    return box(x, y, 0.0, 0.0, 0.55, 0.55, 0.01)


def _door(x, y):
    return polygon(x, y, [(-0.17, -0.72), (0.2, -0.64), (0.2, 0.66), (-0.17, 0.74)], 0.006)


def _leaves(x, y):
    """Holes in the shape of leaves, each cut in two by its vein, which is the bridge that keeps it stiff."""
    random = np.random.default_rng(71)
    result = np.full(np.broadcast(x, y).shape, np.inf)
    for place in spread_points(5, 0.275, 0.86):
        degrees = math.degrees(math.atan2(place[1] + 0.5, place[0] + 0.9)) + random.uniform(-55, 55)
        length = random.uniform(0.2, 0.262)
        width = length * random.uniform(0.34, 0.5)
        base = place - 0.5 * length * np.array([math.cos(math.radians(degrees)), math.sin(math.radians(degrees))])
        blade = leaf(x, y, base, degrees, length, width)
        _, across = turned(x - base[0], y - base[1], degrees)
        result = np.minimum(result, np.maximum(blade, 0.0045 - np.abs(across)))
    return _within_rim(x, y, result)


def _branches(x, y):
    """Twigs that grow in from the rim with leaves on them, before an open sky: metal, all of it hanging together."""
    random = np.random.default_rng(23)
    metal = np.full(np.broadcast(x, y).shape, np.inf)

    def grow(start, degrees, length, radius, depth):
        nonlocal metal
        end = start + length * np.array([math.cos(math.radians(degrees)), math.sin(math.radians(degrees))])
        metal = np.minimum(metal, segment(x, y, start, end, radius, 0.72 * radius))
        if depth == 0:
            for turn in (-38, 0, 38):
                metal = np.minimum(metal, leaf(x, y, end - 0.01 * np.array([math.cos(math.radians(degrees)), math.sin(math.radians(degrees))]), degrees + turn, 0.16, 0.062))
            return
        for turn in (random.uniform(14, 34), -random.uniform(14, 38)):
            grow(end, degrees + turn, length * random.uniform(0.66, 0.84), 0.7 * radius, depth - 1)
        side = start + 0.6 * (end - start)
        metal = np.minimum(metal, leaf(x, y, side, degrees + 58, 0.13, 0.05))

    for angle in (205, 300, 75):
        start = 0.99 * np.array([math.cos(math.radians(angle)), math.sin(math.radians(angle))])
        grow(start, angle + 180 + random.uniform(-14, 14), 0.36, 0.034, 3)
    return _within_rim(x, y, -metal)


def _swirl(x, y):
    """A slot that winds inwards; three bridges carry the metal between its turns."""
    radius, angle = np.hypot(x, y), np.arctan2(y, x)
    pitch = 0.2
    phase = (radius / pitch - angle / (2.0 * math.pi)) % 1.0
    slot = (np.abs(phase - 0.5) - 0.27) * pitch
    bridges = [np.abs(turned(x, y, degrees)[1]) - 0.016 for degrees in (20.0, 80.0, 140.0)]
    return np.maximum.reduce([slot, disc(x, y, radius=0.88), 0.1 - radius, -np.minimum.reduce(bridges)])


def _lattice(x, y):
    u, v = turned(x, y, 45.0)
    pitch = 0.16
    du = np.abs((u / pitch) % 1.0 - 0.5) * pitch
    dv = np.abs((v / pitch) % 1.0 - 0.5) * pitch
    return _within_rim(x, y, np.maximum(du, dv) - 0.0575)


def _dots(x, y):
    result = np.full(np.broadcast(x, y).shape, np.inf)
    pitch = 0.15
    for row in range(-7, 8):
        for column in range(-7, 8):
            cx, cy = pitch * (column + 0.5 * (row % 2)), pitch * row * math.sqrt(0.75)
            distance = math.hypot(cx, cy)
            if distance < 0.86:
                result = np.minimum(result, disc(x, y, cx, cy, 0.062 - 0.045 * distance))
    return result


def _breakup(x, y):
    """Uneven cells with round corners: the web between them is the metal, and a web always hangs together."""
    places = spread_points(11, 0.17, 1.15, 6000)
    random = np.random.default_rng(3)
    shrink = random.uniform(0.012, 0.075, len(places))
    shut = random.uniform(0.0, 1.0, len(places)) < 0.18
    wave_x = x + 0.035 * np.sin(5.0 * y + 1.0) + 0.02 * np.sin(11.0 * y)
    wave_y = y + 0.035 * np.sin(6.0 * x + 2.0) + 0.02 * np.sin(9.0 * x)
    nearest = np.full(np.broadcast(x, y).shape, np.inf)
    second = nearest.copy()
    cell = np.zeros(nearest.shape, np.int32)
    for index, (px, py) in enumerate(places):
        distance = np.hypot(wave_x - px, wave_y - py)
        closer = distance < nearest
        second = np.where(closer, nearest, np.minimum(second, distance))
        cell = np.where(closer, index, cell)
        nearest = np.where(closer, distance, nearest)
    rounded = 0.5 * (nearest - second) + shrink[cell] + 0.25 * np.maximum(nearest - 0.085, 0.0)
    return _within_rim(x, y, np.where(shut[cell], 0.05, rounded))


def _orientation(x, y):
    """An F with four different corners: no turn and no mirror brings it back onto itself."""
    strokes = [box(x, y, -0.22, 0.0, 0.07, 0.5), box(x, y, 0.03, -0.43, 0.25, 0.07), box(x, y, -0.03, -0.05, 0.19, 0.06)]
    corners = [
        disc(x, y, 0.58, -0.55, 0.07),
        box(x, y, 0.58, 0.5, 0.07, 0.07),
        polygon(x, y, [(-0.62, 0.42), (-0.5, 0.62), (-0.7, 0.6)]),
        box(x, y, -0.6, -0.5, 0.09, 0.025),
    ]
    return np.minimum.reduce([np.minimum.reduce(strokes), *corners])


def _slanted_edge(x, y):
    u, _ = turned(x, y, 5.0)
    return np.maximum(-u, disc(x, y, radius=0.8))


def _stripes(x, y):
    _, v = turned(x, y, 30.0)
    pitch = 0.2
    return _within_rim(x, y, np.abs((v / pitch) % 1.0 - 0.5) * pitch - 0.055)


def _skylight(x, y):
    """Glazing in perspective: bars that run together upwards."""
    rows = [-0.62, -0.42, -0.17, 0.15, 0.58]
    result = np.full(np.broadcast(x, y).shape, np.inf)
    for top, bottom in zip(rows, rows[1:], strict=False):
        for column in range(-2, 2):
            gap = 0.016
            upper, lower = 0.17 + 0.11 * (top + 0.62), 0.17 + 0.11 * (bottom + 0.62)
            corners = [(column * upper + gap, top + gap), ((column + 1) * upper - gap, top + gap), ((column + 1) * lower - gap, bottom - gap), (column * lower + gap, bottom - gap)]
            result = np.minimum(result, polygon(x, y, corners))
    return result


DRAWINGS = {
    "arched-window": Drawing(_arched_window, "a window with a round head and glazing bars", "a place with a story on a plain wall"),
    "blinds": Drawing(_blinds, "ten slots between slats, two cords", "bands of light across a face"),
    "branches": Drawing(_branches, "twigs and leaves before an open sky", "standing under a tree"),
    "breakup": Drawing(_breakup, "uneven cells with a web between them", "texture on a backdrop, soft or sharp"),
    "circle": Drawing(_circle, "one round hole", "a clean disc, or a sun behind a head"),
    "door": Drawing(_door, "a door ajar, in perspective", "one upright shaft of light"),
    "dots": Drawing(_dots, "round holes, smaller outwards", "a dotted backdrop; shows the pupil's shape out of focus"),
    "lattice": Drawing(_lattice, "a diagonal lattice", "shadow of a trellis"),
    "leaves": Drawing(_leaves, "leaf-shaped holes with their veins", "bright leaves on skin or cloth"),
    "orientation": Drawing(_orientation, "an F with four different corners", "checking what is up, right and mirrored"),
    "skylight": Drawing(_skylight, "glazing that runs together upwards", "light that falls from above"),
    "slanted-edge": Drawing(_slanted_edge, "half open, its edge 5° off upright", "measuring how sharp a lens is"),
    "slit": Drawing(_slit, "one narrow slot", "a strip of light over the eyes"),
    "square": Drawing(_square, "one square hole", "measuring size and keystone"),
    "stripes": Drawing(_stripes, "slanting stripes", "a graphic backdrop"),
    "swirl": Drawing(_swirl, "a slot that winds inwards", "a vortex behind a head"),
    "triangle": Drawing(_triangle, "one triangular hole", "a graphic shape; orientation at a glance"),
    "window": Drawing(_window, "six panes", "the classic window on a wall"),
}  # fmt: skip


def draw(name: str, size: int = 2048) -> np.ndarray:
    """A shipped stencil, transmission (size, size) float32 0..1, each pixel its open share. KeyError for another name."""
    centres = ((np.arange(size) + 0.5) / size * 2.0 - 1.0).astype(np.float32)
    y, x = np.meshgrid(centres, centres, indexing="ij")
    distance = DRAWINGS[name].distance(x, y)
    return np.clip(0.5 - distance * (0.5 * size), 0.0, 1.0).astype(np.float32)


def write_all(folder, size: int = 2048) -> list[Path]:
    """Draw every stencil into a folder as 8-bit grey PNGs that carry their description."""
    from PIL import Image, PngImagePlugin

    paths = []
    for name, drawing in DRAWINGS.items():
        values = draw(name, size)
        notes = PngImagePlugin.PngInfo()
        facts = {"description": drawing.description, "good_for": drawing.good_for, "metal": drawing.is_metal, "open_share": round(float(values.mean()), 4)}
        notes.add_text(_KEY, json.dumps(facts))
        path = Path(folder) / f"{name}.png"
        Image.fromarray(np.round(values * 255.0).astype(np.uint8)).save(path, optimize=True, pnginfo=notes)
        paths.append(path)
    return paths


def list_stencils(folder) -> list[tuple[str, str, float]]:
    """Name, description and open share of the stencils in a folder, read from what their files say."""
    from PIL import Image

    found = []
    for path in sorted(Path(folder).glob("*.png")):
        with Image.open(path) as image:
            facts = json.loads(image.text.get(_KEY, "{}"))
        found.append((path.stem, f"{facts.get('description', '')}; {facts.get('good_for', '')}", float(facts.get("open_share", math.nan))))
    return found
