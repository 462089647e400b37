"""What stands between a lamp and the light that it gives, each part in stops."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields

from projector.shown import Shown
from projector.stage.lamps import n_layers
from projector.stage.power import filter_share
from projector.stage.shines import STOPS_A_LAYER, grid_share
from projector.stage.stage import SceneOrStage, Stage, StagedLight, StagedProjector, stage_of
from projector.studies.light.contrast import open_share_of


@dataclass(frozen=True, repr=False)
class Losses(Shown):
    """What each part of a light costs, stops; None where it has no such part.

    stop: the lens's stop against its widest; lens: its glass; filters: before it; grid: of all its light, none straight
    ahead; diffuser: its layers (common practice, no source); stencil: in the mean over the gate, nothing where it is
    open.
    """

    light: str
    stop_stops: float | None = None
    lens_stops: float | None = None
    filters_stops: float | None = None
    grid_stops: float | None = None
    diffuser_stops: float | None = None
    stencil_mean_stops: float | None = None

    def parts(self) -> dict[str, float]:
        """Stops by part, of those that it has."""
        found = {field.name: getattr(self, field.name) for field in fields(self)[1:]}
        return {name: stops for name, stops in found.items() if stops is not None}

    def _line(self) -> str:
        parts = (f"{name.removesuffix('_stops')} {stops:.1f}" for name, stops in self.parts().items())
        return f"{self.light}: {', '.join(parts) or 'nothing in its way'}"


def losses(scene: SceneOrStage) -> tuple[Losses, ...]:
    """What the parts of every light that is on cost, projectors first.

    >>> losses("03-cabin-window")
    (<Losses: window: stop 0.0, lens 0.2, stencil_mean 1.3>,)
    """
    stage = stage_of(scene)
    return (
        *(_of_projector(stage, staged) for staged in stage.projectors),
        *(_of_other_light(stage, light) for light in stage.lights),
    )


def _stops(share: float) -> float:
    return max(-math.log2(share), 0.0) if share > 0.0 else math.inf


def _of_projector(stage: Stage, staged: StagedProjector) -> Losses:
    spec, lens = staged.spec, staged.spec.lens
    return Losses(
        light=spec.name,
        stop_stops=None if lens is None else 2.0 * math.log2(lens.f_number / (lens.widest_f_number or lens.f_number)),
        lens_stops=None if lens is None else _stops(lens.transmittance),
        filters_stops=_stops(filter_share(stage.scene, spec)) if spec.filter else None,
        stencil_mean_stops=None if spec.stencil is None else _stops(open_share_of(stage, staged)),
    )


def _of_other_light(stage: Stage, light: StagedLight) -> Losses:
    spec = light.spec
    layers = n_layers(spec)
    return Losses(
        light=spec.name,
        filters_stops=_stops(filter_share(stage.scene, spec)) if spec.filter else None,
        grid_stops=None if spec.grid is None else _stops(grid_share(spec, stage.scene)),
        diffuser_stops=layers * STOPS_A_LAYER if layers else None,
    )
