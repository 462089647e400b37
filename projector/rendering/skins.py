"""What a session keeps of skins over matte materials: of each light what they do of it, and of even light."""

from __future__ import annotations

from functools import partial

import numpy as np

from projector.rendering import stages
from projector.rendering.area_light import Rows
from projector.rendering.kept import Kept, Made
from projector.rendering.prepared_light import XYZ_CHANNELS, LightSource
from projector.rendering.stages import Work
from projector.stage.stage import StagedLight
from projector.stage.surfaces import SceneArrays
from projector.tracing.light.glossy import Glossy


class Skins:
    """The stages of skins in a session, looked at as `glossy` says."""

    # Of each light without a gate, kept under its name: of the grid, of outlines and of shadows' edges.
    STAGES = ("sheen grid", "sheen outlines", "sheen shadow edges")

    def __init__(self, kept: Kept, glossy: Glossy, work: Work):
        self.kept, self.glossy, self.work = kept, glossy, work

    def of_even_light(self, sets: tuple[Made, ...], white: np.ndarray) -> tuple[Made, np.ndarray]:
        """What `stages.even` takes. white (3,): XYZ that a white material sends back of it."""
        make = partial(stages.even_lobes, self.work)
        return self.kept.get("even lobes", make, (self.glossy, sets)), white

    def of_light(
        self, light: StagedLight, arrays: Made[SceneArrays], sets: tuple[Made, ...], lit: tuple[Made, ...], rows: Rows
    ) -> tuple[tuple[Made, ...], np.ndarray]:
        """What `stages.tinted` takes of one light over all sets of points, the first of them in rows."""
        sheens = tuple(
            self.kept.get(
                f"{stage} {light.name}",
                partial(stages.sheen, self.work),
                (arrays, light.shine, points, found, self.glossy, lie),
            )
            for stage, points, found, lie in zip(self.STAGES, sets, lit, (rows, None, None), strict=True)
        )
        return sheens, light.power.spectrum @ XYZ_CHANNELS


def weights_with_lobes(source: LightSource, reflectances: np.ndarray, channels: np.ndarray) -> np.ndarray:
    """Weights (k, n_wavelengths, 6) of a projector by channels (71, 3): `LightSource.weights`, then those of white."""
    white = source.weights(np.ones_like(reflectances), channels)
    return np.ascontiguousarray(np.concatenate([source.weights(reflectances, channels), white], axis=2))
