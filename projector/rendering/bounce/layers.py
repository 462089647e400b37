"""What a session keeps of light between surfaces: rays once for all lights, and of each light its part."""

from __future__ import annotations

from functools import partial

import numpy as np

from projector.rendering.bounce import stages
from projector.rendering.kept import Made
from projector.rendering.stages import View, Work


class Bounces:
    """The stages of light between all surfaces in a session, whose lights say what they put on a cloud of places
    (`on_cloud`). sets: the points of the picture; left: what haze leaves of each on its way to the camera.
    """

    # Of each light, kept under its name.
    STAGES = ("sent", "bounced")

    def __init__(self, session, view: View, work: Work, sets: dict[str, Made], left: Made | None):
        self.session, self.view, self.work, self.sets, self.left = session, view, work, sets, left
        arrays, get = view.arrays, session.kept.get
        self.cloud = get("cloud", partial(stages.cloud, work), (arrays, len(session.scene.figure)))
        self.gather = get("gather", partial(stages.gather, work), (arrays, self.cloud, view.camera, view.quality))
        # One bounce needs no rays from surface to surface but those of the picture's points.
        self.between = None
        if session.scene.bounces > 1:
            self.between = get("between", partial(stages.between, work), (arrays, self.cloud))
        self.alone = tuple(self._alone(name, points) for name, points in sets.items())

    def _alone(self, name: str, points: Made) -> Made:
        view = self.view
        inputs = (view.arrays, self.cloud, self.gather, points, view.camera, view.quality)
        return self.session.kept.get(f"alone {name}", partial(stages.alone, self.work), inputs)

    def layer(self, light) -> np.ndarray:
        """A light's part (h, w, 3) float32."""
        session, view, reflectances = self.session, self.view, self.session.stage.reflectances
        shape, level = stages.shape_of(light.staged.power.spectrum)
        inputs = (light.on_cloud(self.cloud, shape), shape, reflectances, self.cloud, self.between)
        inputs += (session.scene.bounces,)
        sent = session.kept.get(f"sent {light.name}", partial(stages.bounced_on, self.work), inputs)
        inputs = (self.gather, sent, shape, reflectances, tuple(self.sets.values()), self.alone)
        inputs += (view.camera, view.quality, self.left)
        layer = session.kept.get(f"bounced {light.name}", partial(stages.layer, self.work), inputs)
        return layer.value * np.float32(level)
