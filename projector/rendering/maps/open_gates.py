"""The light of open gates on the points of a map: what a projector would give there without stencil and shadows."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from projector.optics.dispersion import LINE_D_NM
from projector.rendering.ambient import LightLevel
from projector.stage.open_gate_levels import open_gate_levels
from projector.stage.stage import StagedProjector


@dataclass(frozen=True)
class OpenGate:
    """One projector's open gate on a map: stops (h', w') at every `stride`-th point of it, NaN where the gate's light
    does not land.
    """

    projector: str
    stops: np.ndarray
    stride: int


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
