"""Published values of panels, grids, meters and gloss, computed again: the laws that lights without a lens
follow.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from projector.optics.area_light import RECTANGLE, dome_response, panel_on_flat, tube_on_flat
from projector.optics.gloss import fresnel
from projector.optics.honeycomb import cut_off_deg, depth_over_cell_for_beam, half_transmission
from projector.verification.published import COMPUTED, HOWELL, LAMBERT, PRINTED, Published

_FACING = (0.0, 0.0, -1.0)
_MANY_SIDES = 720


def _panel(width: float, height: float, aside_x: float, aside_y: float, distance: float) -> float:
    return panel_on_flat((RECTANGLE, 0.0, 0.5 * width, 0.5 * height), (aside_x, aside_y, distance), _FACING)


def _disc(radius: float, aside: float, distance: float) -> float:
    return panel_on_flat((_MANY_SIDES, 0.0, radius, radius), (aside, 0.0, distance), _FACING)


VALUES = (
    Published(
        "panel", "panel 1.0 × 1.0 m at 1.0 m on its axis, over its luminance", 0.752275, "sr", 1e-6, PRINTED, LAMBERT
    ),
    Published(
        "strip", "strip 0.35 × 1.00 m at 1.5 m on its axis, over its luminance", 0.143817, "sr", 1e-6, PRINTED, LAMBERT
    ),
    Published(
        "panel corner",
        "panel 2 × 1 m, 1 m over its corner: configuration factor",
        0.1673750,
        "",
        1e-7,
        PRINTED,
        HOWELL,
    ),
    Published(
        "disc",
        "disc of radius 0.25 m and 700 lm/m², 0.75 m away on its axis",
        70.0,
        "lx",
        2e-3,
        "a polygon of 720 sides",
        "I. E. Irodov, Problems in General Physics, 5.11",
    ),
    Published("disc aside", "the same, 0.5 m beside the axis", 36.9505, "lx", 1e-3, "a polygon of 720 sides", HOWELL),
    Published(
        "tube",
        "tube of 0.04 × 1.0 m at 1.0 m from its middle, over its luminance",
        0.0345459,
        "sr",
        1e-7,
        PRINTED,
        COMPUTED,
    ),
    Published(
        "honeycomb half",
        "honeycomb: tangent times depth over cell width where half passes",
        0.403973,
        "",
        1e-6,
        PRINTED,
        COMPUTED,
    ),
    Published("honeycomb depth", "honeycomb of 20° beam: depth over cell width", 2.2910, "", 1e-4, PRINTED, COMPUTED),
    Published("honeycomb end", "the same: full angle beyond which nothing passes", 47.2, "°", 0.05, PRINTED, COMPUTED),
    Published(
        "dome aside", "dome receptor, light from 60°", 0.75, "", 1e-12, PRINTED, "projected area of a hemisphere"
    ),
    Published(
        "fresnel", "glass of index 1.5, square on: share reflected", 0.04, "", 1e-9, PRINTED, "Fresnel's equations"
    ),
)

COMPUTE: dict[str, Callable[[], float]] = {
    "panel": lambda: _panel(1.0, 1.0, 0.0, 0.0, 1.0),
    "strip": lambda: _panel(0.35, 1.0, 0.0, 0.0, 1.5),
    "panel corner": lambda: _panel(2.0, 1.0, 1.0, 0.5, 1.0) / math.pi,
    "disc": lambda: _disc(0.25, 0.0, 0.75) * 700.0 / math.pi,
    "disc aside": lambda: _disc(0.25, 0.5, 0.75) * 700.0 / math.pi,
    "tube": lambda: tube_on_flat(0.04, 0.5, 1.0),
    "honeycomb half": half_transmission,
    "honeycomb depth": lambda: depth_over_cell_for_beam(20.0),
    "honeycomb end": lambda: cut_off_deg(depth_over_cell_for_beam(20.0)),
    "dome aside": lambda: dome_response(math.cos(math.radians(60.0))),
    "fresnel": lambda: fresnel(1.0, 1.5),
}
