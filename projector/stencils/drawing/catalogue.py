"""The shipped stencils, drawn by formulas: sharp at any size, and one connected piece wherever they claim to be metal.

A stencil is a square bitmap meant for a round gate about as wide; each drawing keeps a dark rim around its disc.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from projector.stencils.drawing import geometric, organic

_KEY = "projector stencil"


@dataclass(frozen=True)
class Drawing:
    """A stencil.

    pattern(x, y): distance to its openings, negative inside, if it can be cut from one sheet of metal; else
        transmission 0..1 of a printed glass. description: what it shows; good_for: what one would use it for.
    """

    pattern: Callable
    description: str
    good_for: str
    is_metal: bool = True


DRAWINGS = {
    "arched-window": Drawing(
        geometric.arched_window, "a window with a round head and glazing bars", "a place with a story on a plain wall"
    ),
    "blinds": Drawing(geometric.blinds, "eleven slots between slats, two cords", "bands of light across a face"),
    "branches": Drawing(organic.branches, "a bough with twigs and leaves before an open sky", "standing under a tree"),
    "breakup": Drawing(
        organic.breakup, "uneven flakes with a web between them", "texture on a backdrop, soft or sharp"
    ),
    "church-window": Drawing(geometric.church_window, "two pointed lights under a rose", "solemn light from one side"),
    "circle": Drawing(geometric.circle, "one round hole", "a clean disc, or a sun behind a head"),
    "clouds": Drawing(organic.clouds, "clouds in greys, printed on glass", "a sky on a backdrop", is_metal=False),
    "door": Drawing(geometric.door, "a door ajar, in perspective", "one upright shaft of light"),
    "dots": Drawing(
        geometric.dots, "round holes, smaller outwards", "a dotted backdrop; shows the pupil's shape out of focus"
    ),
    "lattice": Drawing(geometric.lattice, "a diagonal lattice", "shadow of a trellis"),
    "leaves": Drawing(organic.leaves, "leaf-shaped holes with their veins", "bright leaves on skin or cloth"),
    "orientation": Drawing(
        geometric.orientation, "an F with one to four dots in its corners", "checking what is up, right and mirrored"
    ),
    "palm": Drawing(organic.palm, "a palm frond", "summer on a wall, or fingers of light over a face"),
    "rays": Drawing(geometric.rays, "a round heart with beams around it", "a burst behind a head"),
    "ripples": Drawing(
        organic.ripples, "the bright net under water, printed on glass", "light off a pool", is_metal=False
    ),
    "screen": Drawing(geometric.screen, "stars and crosses of a pierced screen", "fine ornament on a face or a cloth"),
    "skylight": Drawing(geometric.skylight, "glazing that runs together upwards", "light that falls from above"),
    "slanted-edge": Drawing(
        geometric.slanted_edge, "half open, its edge 5° off upright", "measuring how sharp a lens is"
    ),
    "slit": Drawing(geometric.slit, "one narrow slot", "a strip of light over the eyes"),
    "square": Drawing(geometric.square, "one square hole", "measuring size and keystone"),
    "stripes": Drawing(geometric.stripes, "slanting stripes", "a graphic backdrop"),
    "swirl": Drawing(geometric.swirl, "seven curved blades that wind into a hub", "a vortex behind a head"),
    "triangle": Drawing(geometric.triangle, "one triangular hole", "a graphic shape; orientation at a glance"),
    "window": Drawing(geometric.window, "two sashes of six panes", "the classic window on a wall"),
}


def draw(name: str, size: int = 2048) -> np.ndarray:
    """A shipped stencil, transmission (size, size) float32 0..1, each pixel its open share.

    KeyError for another name.
    """
    drawing = DRAWINGS[name]
    centres = ((np.arange(size) + 0.5) / size * 2.0 - 1.0).astype(np.float32)
    y, x = np.meshgrid(centres, centres, indexing="ij")
    values = drawing.pattern(x, y)
    if drawing.is_metal:
        values = 0.5 - values * (0.5 * size)
    return np.clip(values, 0.0, 1.0).astype(np.float32)


def write_all(folder, size: int = 2048) -> list[Path]:
    """Draw every stencil into a folder as 8-bit grey PNGs that carry their description."""
    from PIL import Image, PngImagePlugin

    paths = []
    for name, drawing in DRAWINGS.items():
        values = draw(name, size)
        notes = PngImagePlugin.PngInfo()
        facts = {
            "description": drawing.description,
            "good_for": drawing.good_for,
            "metal": drawing.is_metal,
            "open_share": round(float(values.mean(dtype=float)), 4),
        }
        notes.add_text(_KEY, json.dumps(facts))
        path = Path(folder) / f"{name}.png"
        Image.fromarray(np.round(values * 255.0).astype(np.uint8)).save(path, optimize=True, pnginfo=notes)
        paths.append(path)
    return paths


def list_stencils(folder) -> list[tuple[str, str, float]]:
    """Name, description and open share of the stencils in a folder, read from what their files say (nan where one says
    nothing).
    """
    from PIL import Image

    found = []
    for path in sorted(Path(folder).glob("*.png")):
        with Image.open(path) as image:
            facts = json.loads(image.info.get(_KEY, "{}"))
        words = ": ".join(part for part in (facts.get("description"), facts.get("good_for")) if part)
        found.append((path.stem, words, float(facts.get("open_share", math.nan))))
    return found
