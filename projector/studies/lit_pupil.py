"""How large the light is for one point: the part of the lens pupil that shines through the stencil onto it.

The pattern's edges go by the focus; shadows of nose and chin go by this. Under an opening wider than the blur the whole
pupil shines, behind a narrow slit out of focus only a strip of it (similar triangles, as in `tracing.light_path`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from projector.studies.edge_profile import Place
from projector.tracing.light_path import blade_passes, field_radius_squared, patch_scale, straight_slopes
from projector.tracing.pupil import inside

# Samples across the pupil; odd, so that a row of them runs through its middle from rim to rim.
_N_ACROSS = 801
# An obstacle so far before the surface stands for a nose or a chin.
GAP_M = 0.05


@dataclass(frozen=True)
class LitPupil:
    """The shining part of the pupil as one point sees it; all 0 for a point in the dark.

    share: of the pupil's light; shortest_mm, longest_mm: extent where it is narrowest and square to that, of what shines
    at least half as brightly as its brightest part; longest_deg, shortest_deg: the same as angles from the point; shadow_mm: how wide the edge of a shadow fades that an
    obstacle 50 mm before the surface casts, at most.
    """

    share: float
    longest_mm: float
    shortest_mm: float
    longest_deg: float
    shortest_deg: float
    shadow_mm: float


def lit_pupil(light, place: Place) -> LitPupil:
    """What of a light's pupil shines on a place, at the first of its wavelengths. Nothing in the room stands in between."""
    reach = light.pupil.reach
    offsets = ((np.arange(_N_ACROSS) + 0.5) / _N_ACROSS * 2.0 - 1.0) * reach
    px, py = np.meshgrid(offsets, offsets)
    opening = inside(light.pupil, px, py)
    shining = opening * _through_the_gate(light, place, light.radius * px, light.radius * py)
    total = float(shining.sum())
    if not total > 0.0:
        return LitPupil(0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    counted = shining >= 0.5 * float(shining.max())
    places = light.radius * np.column_stack([px[counted], py[counted]])
    extents = _extents(places, 2.0 * reach * light.radius / _N_ACROSS)
    distance = float(np.linalg.norm(place.local))
    angles = [math.degrees(2.0 * math.atan(0.5 * extent / distance)) for extent in extents]
    gap = min(GAP_M, 0.5 * distance)
    return LitPupil(total / float(opening.sum()), 1e3 * extents[0], 1e3 * extents[1], *angles, 1e3 * extents[0] * gap / (distance - gap))


def _through_the_gate(light, place: Place, ax: np.ndarray, ay: np.ndarray) -> np.ndarray:
    """Share of light that passes gate, stencil and blades on its way through pupil points (m) to the place: the ray's law."""
    from scipy.ndimage import map_coordinates

    slope_x, slope_y = straight_slopes(light, place.local[0] / place.local[2], place.local[1] / place.local[2])
    squared = field_radius_squared(light, slope_x, slope_y)
    across = light.lateral[0] * light.tube_length
    scale = patch_scale(light, light.inverse_sharp[0], 1.0 / place.distance, squared) + light.spherical * (ax * ax + ay * ay)
    gx, gy = across * slope_x + scale * ax, across * slope_y + scale * ay
    gate, bitmap = light.gate, light.bitmap
    in_gate = gx * gx + gy * gy <= gate.half_width**2 if gate.is_round else (np.abs(gx) <= gate.half_width) & (np.abs(gy) <= gate.half_height)
    rows, columns = bitmap.transmission.shape
    # Outside the bitmap is metal.
    passed = in_gate * map_coordinates(bitmap.transmission.astype(float), [gy / bitmap.pitch + 0.5 * (rows - 1), gx / bitmap.pitch + 0.5 * (columns - 1)], order=1, mode="grid-constant", cval=0.0)
    for blade in range(light.blades.limits.size):
        passed = passed * blade_passes(light, blade, 0, slope_x, slope_y, squared, 1.0 / place.distance, ax, ay)
    return passed


def _extents(places: np.ndarray, cell: float) -> list[float]:
    """Shortest extent (m) of points, and the extent square to it before it; a cell more than between the outermost points."""
    angles = np.radians(np.arange(0.0, 180.0, 3.0))
    widths = np.array([np.ptp(places @ (np.cos(angle), np.sin(angle))) for angle in angles]) + cell
    shortest = int(np.argmin(widths))
    return [float(widths[(shortest + 30) % 60]), float(widths[shortest])]
