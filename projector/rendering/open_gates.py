"""The light of open gates on the points of a map: what a projector would give there without stencil and shadows."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from projector.optics.dispersion import LINE_D_NM
from projector.rendering.ambient import LightLevel
from projector.stage.stage import StagedProjector
from projector.tracing.gate.chief_rays import gate_points, is_in_opening
from projector.tracing.gate.lens_law import Projection, blade_passes


@dataclass(frozen=True)
class OpenGate:
    """One projector's open gate on a map: stops (h', w') at every `stride`-th point of it, NaN where the gate's light
    does not land.
    """

    projector: str
    stops: np.ndarray
    stride: int


def open_gate_levels(light: Projection, points: np.ndarray, normals: np.ndarray) -> np.ndarray:
    """Illuminance over luminance (n,) steradian that the open gate puts on points (n, 3) m with normals (n, 3), as
    chief rays go.

    cosθ of pupil and surface over the squared distance, with the gate's hot spot; NaN outside gate, blades and beam,
    and on surfaces that face away. Nothing casts a shadow.
    """
    gate = gate_points(light, points)
    towards = np.array(light.emitter.position) - points
    distances = np.linalg.norm(towards, axis=1)
    at_pupil = -(towards @ np.array(light.emitter.forward)) / distances
    at_surface = (towards * normals).sum(axis=1) / distances
    glow = np.exp2(-light.gate.falloff_stops * (gate**2).sum(axis=1) / light.gate.norm**2)
    area = math.pi * light.emitter.radius**2 * light.emitter.outline.area
    lands = is_in_opening(light, gate) & (at_surface > 0.0)
    slopes = gate.T / light.tube_length
    for blade in range(len(light.blades.limits)):
        # Through the middle of the pupil the blade's own focus plays no part.
        lands &= blade_passes(light, blade, 0, slopes[0], slopes[1], 0.0, 0.0, 0.0, 0.0)
    return np.where(lands, area * glow * at_pupil * at_surface / distances**2, np.nan)


def open_gate(
    staged: StagedProjector,
    positions: np.ndarray,
    normals: np.ndarray,
    zero_level: float,
    counted: Callable[[LightLevel], float],
    most_across: int = 480,
) -> OpenGate:
    """A projector's open gate on a map's points (m) and normals (h, w, 3), in stops against `zero_level`.

    counted: gives a LightLevel in the map's unit (lx or lx·s), which is zero_level's.
    """
    stride = -(-positions.shape[1] // most_across)
    thinned, facing = (values[::stride, ::stride].reshape(-1, 3) for values in (positions, normals))
    light, power = staged.open_light([LINE_D_NM]), staged.power
    unit = counted(LightLevel(power.luminance, power.is_flash))
    with np.errstate(divide="ignore", invalid="ignore"):
        stops = np.log2(unit * open_gate_levels(light, thinned, facing) / zero_level)
    rows, columns = positions[::stride, ::stride].shape[:2]
    return OpenGate(staged.name, stops.reshape(rows, columns), stride)
