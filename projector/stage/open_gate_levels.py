"""What a projector's open gate puts on points, as chief rays go: without stencil and shadows."""

from __future__ import annotations

import math

import numpy as np

from projector.tracing.gate.chief_rays import gate_points, is_in_opening, passes_blades
from projector.tracing.gate.gate_image import hot_spot
from projector.tracing.gate.lens_law import Projection, has_lens, place_in_gate
from projector.tracing.sight.outline import outline_point

# Places along each side of a bare lamp's opening.
_N_OPENING = 8


def open_gate_levels(light: Projection, points: np.ndarray, normals: np.ndarray) -> np.ndarray:
    """Illuminance over luminance (n,) steradian that the open gate puts on points (n, 3) m with normals (n, 3), as
    chief rays go.

    cosθ of pupil and surface over the squared distance, with the gate's hot spot; NaN outside gate, blades and beam,
    and on surfaces that face away. Nothing casts a shadow.
    """
    if not has_lens(light):
        return _bare_levels(light, points, normals)
    gate = gate_points(light, points)
    towards = np.array(light.emitter.position) - points
    distances = np.linalg.norm(towards, axis=1)
    at_pupil = -(towards @ np.array(light.emitter.forward)) / distances
    at_surface = (towards * normals).sum(axis=1) / distances
    glow = hot_spot(light.gate, gate[:, 0], gate[:, 1])
    area = math.pi * light.emitter.radius**2 * light.emitter.outline.area
    lands = is_in_opening(light, gate) & passes_blades(light, *(gate.T / light.tube_length)) & (at_surface > 0.0)
    return np.where(lands, area * glow * at_pupil * at_surface / distances**2, np.nan)


def _bare_levels(light: Projection, points: np.ndarray, normals: np.ndarray) -> np.ndarray:
    """The same of a bare lamp, whose edges are wide: the mean over even places of its opening."""
    axes = np.array([light.emitter.right, light.emitter.down, light.emitter.forward])
    x, y, z = axes @ (points - np.array(light.emitter.position)).T
    nx, ny, nz = axes @ normals.T
    total, steps = np.zeros(len(points)), (np.arange(_N_OPENING) + 0.5) / _N_OPENING
    with np.errstate(divide="ignore", invalid="ignore"):
        for u, v in ((u, v) for u in steps for v in steps):
            ax, ay = (light.emitter.radius * part for part in outline_point(light.emitter.outline, u, v))
            gate = np.column_stack(place_in_gate(light, 0, x / z, y / z, 0.0, 1.0 / z, ax, ay))
            height = nx * (ax - x) + ny * (ay - y) - nz * z
            lands = is_in_opening(light, gate) & passes_blades(light, x / z, y / z, 1.0 / z, ax, ay)
            lands &= (height > 0.0) & (z > light.nearest)
            glow = hot_spot(light.gate, gate[:, 0], gate[:, 1])
            total += np.where(lands, glow * z * height / ((x - ax) ** 2 + (y - ay) ** 2 + z * z) ** 2, 0.0)
    area = math.pi * light.emitter.radius**2 * light.emitter.outline.area
    return np.where(total > 0.0, total * area / _N_OPENING**2, np.nan)
