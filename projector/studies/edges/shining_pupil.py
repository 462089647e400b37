"""How large the light is for one point: the part of the lens pupil that shines through the stencil onto it.

The pattern's edges go by the focus; shadows of nose and chin go by this. Under an opening wider than the blur the whole
pupil shines, behind a narrow slit out of focus only a strip of it (similar triangles, as in `tracing.gate.lens_law`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from projector.optics.penumbra import angular_size_deg, penumbra_width
from projector.shown import Shown
from projector.studies.edges.profile import Place
from projector.tracing.gate.gate_image import is_inside_gate
from projector.tracing.gate.lens_law import blade_passes, field_radius_squared, place_in_gate, straight_slopes
from projector.tracing.sight.outline import inside

# Samples across the pupil; odd, so that a row of them runs through its middle from rim to rim.
N_ACROSS = 801
# An obstacle so far before the surface stands for a nose or a chin.
GAP_M = 0.05


@dataclass(frozen=True, repr=False)
class LitPupil(Shown):
    """The shining part of the pupil as one point sees it; all 0 for a point in the dark.

    share: of the pupil's light; shortest_mm, longest_mm: extent where it is narrowest and square to that, of what
    shines at least half as brightly as its brightest part; longest_deg, shortest_deg: the same as angles from the
    point; shadow_mm: how wide the edge of a shadow fades that an obstacle 50 mm before the surface casts, at most.
    """

    in_one_line = "{share:.2f} of the pupil, {longest_mm:.1f} × {shortest_mm:.1f} mm, shadows {shadow_mm:.2f} mm"

    share: float
    longest_mm: float
    shortest_mm: float
    longest_deg: float
    shortest_deg: float
    shadow_mm: float


class Samples(NamedTuple):
    """Samples (n, n) of a pupil on their way to a point: x, y (in half the pupil's diameter), and what lets each pass.

    opening: the pupil's own share; gate: whether it comes through the gate; blades (b, n, n): past each blade;
    stencil: the share that the pattern lets through.
    """

    x: np.ndarray
    y: np.ndarray
    opening: np.ndarray
    gate: np.ndarray
    blades: np.ndarray
    stencil: np.ndarray

    @property
    def enters(self) -> np.ndarray:
        """The share that comes through pupil and gate."""
        return self.opening * self.gate

    @property
    def framed(self) -> np.ndarray:
        """The share that the blades leave of it, whatever the pattern."""
        return self.enters * self.blades.all(axis=0)

    @property
    def shining(self) -> np.ndarray:
        """The share that comes through all of them."""
        return self.framed * self.stencil


def pupil_samples(light, local: np.ndarray, n_across: int = N_ACROSS) -> Samples:
    """What of a light's pupil, at the first of its wavelengths, is on its way to a point (3,) m in its frame: the ray's
    law for n_across² samples.
    """
    from scipy.ndimage import map_coordinates

    offsets = ((np.arange(n_across) + 0.5) / n_across * 2.0 - 1.0) * light.emitter.outline.reach
    px, py = np.meshgrid(offsets, offsets)
    ax, ay = light.emitter.radius * px, light.emitter.radius * py
    slope_x, slope_y = straight_slopes(light, local[0] / local[2], local[1] / local[2])
    squared = field_radius_squared(light, slope_x, slope_y)
    gx, gy = place_in_gate(light, 0, slope_x, slope_y, squared, 1.0 / local[2], ax, ay)
    bitmap = light.bitmap
    rows, columns = bitmap.transmission.shape
    # Outside the bitmap is metal.
    stencil = map_coordinates(
        bitmap.transmission.astype(float),
        [gy / bitmap.pitch + 0.5 * (rows - 1), gx / bitmap.pitch + 0.5 * (columns - 1)],
        order=1,
        mode="grid-constant",
        cval=0.0,
    )
    passed = [
        blade_passes(light, blade, 0, slope_x, slope_y, squared, 1.0 / local[2], ax, ay)
        for blade in range(light.blades.limits.size)
    ]
    return Samples(
        x=px,
        y=py,
        opening=inside(light.emitter.outline, px, py),
        gate=is_inside_gate(light.gate, gx, gy),
        blades=np.array(passed, bool).reshape(-1, *px.shape),
        stencil=stencil,
    )


def lit_pupil(light, place: Place, samples: Samples | None = None) -> LitPupil:
    """What of a light's pupil shines on a place, at the first of its wavelengths.

    Nothing in the room stands in between.
    """
    samples = samples or pupil_samples(light, place.local)
    shining = samples.shining
    total = float(shining.sum())
    if not total > 0.0:
        return LitPupil(share=0.0, longest_mm=0.0, shortest_mm=0.0, longest_deg=0.0, shortest_deg=0.0, shadow_mm=0.0)
    counted = shining >= 0.5 * float(shining.max())
    # Of each row its ends: whatever lies outermost in any direction is one of them.
    rows = np.flatnonzero(counted.any(axis=1))
    ends = [counted[rows].argmax(axis=1), counted.shape[1] - 1 - counted[rows, ::-1].argmax(axis=1)]
    rows, columns = np.tile(rows, 2), np.concatenate(ends)
    places = light.emitter.radius * np.column_stack([samples.x[rows, columns], samples.y[rows, columns]])
    extents = extents_of(places, 2.0 * light.emitter.outline.reach * light.emitter.radius / len(samples.x))
    distance = float(np.linalg.norm(place.local))
    longest_deg, shortest_deg = (float(angular_size_deg(extent, distance)) for extent in extents)
    gap = min(GAP_M, 0.5 * distance)
    return LitPupil(
        share=total / float(samples.opening.sum()),
        longest_mm=1e3 * extents[0],
        shortest_mm=1e3 * extents[1],
        longest_deg=longest_deg,
        shortest_deg=shortest_deg,
        shadow_mm=1e3 * penumbra_width(extents[0], distance - gap, gap),
    )


def extents_of(places: np.ndarray, cell: float = 0.0) -> list[float]:
    """Extents (m) of points (n, 2) square to the shortest, and that; `cell` more than between the outermost."""
    angles = np.radians(np.arange(0.0, 180.0, 3.0))
    widths = np.array([np.ptp(places @ (np.cos(angle), np.sin(angle))) for angle in angles]) + cell
    shortest = int(np.argmin(widths))
    return [float(widths[(shortest + 30) % 60]), float(widths[shortest])]
