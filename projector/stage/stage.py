"""A scene resolved once: its meshes as arrays, and of each projector by name its optics, focus and power.

Each is made when it is first asked for, once, whichever thread asks. Pictures, maps and studies of one scene take one
Stage, so that trees are built and figures placed a single time.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TypeAlias

import numpy as np

from projector.faults import Fault, SceneError
from projector.meshes.mesh import Mesh
from projector.phrases import did_you_mean, nearest
from projector.scene.model import Light, Projector, Scene
from projector.scene.model.named import Named
from projector.scene.placement import PlacedObject, file_stamp, placed_objects, point_of, stencil_path
from projector.scene.reading.given_overrides import Overrides
from projector.scene.reading.reader import scene_from
from projector.stage.camera import camera_arrays
from projector.stage.colours import filters_passed
from projector.stage.haze import extinction_of
from projector.stage.lamps import lamp_power
from projector.stage.optics import FocusDistances, bitmap_of, focus_of, gate_of, light_arrays
from projector.stage.power import Power, power_of
from projector.stage.shines import shine_of
from projector.stage.surfaces import SceneArrays, gloss_of, reflectances_of, scene_arrays
from projector.tracing.gate.gate_image import Bitmap, GateOpening, open_bitmap
from projector.tracing.gate.lens_law import Projection
from projector.tracing.light.glossy import Glossy, glossy_from
from projector.tracing.light.shine import Shine
from projector.tracing.rays.surfaces import PinholeCamera


class made_once:
    """A value of an object with a `lock`, made on first use and kept in its `made`; other threads wait for it."""

    def __init__(self, make: Callable):
        self.make, self.__doc__ = make, make.__doc__

    def __set_name__(self, owner, name: str) -> None:
        self.name = name

    def __get__(self, item, owner=None):
        if item is None:
            return self
        with item.lock:
            if self.name not in item.made:
                item.made[self.name] = self.make(item)
            return item.made[self.name]


# What the room's own light is called among the lights of a scene.
AMBIENT = "ambient"


class Stage:
    """A Scene with everything that is made of it alone. arrays: those of another scene with the same meshes, if there
    are any; only: the names of the lights that are on, None for all (see `lit_by`).
    """

    def __init__(self, scene: Scene, arrays: SceneArrays | None = None, only: frozenset[str] | None = None):
        self.scene, self.only = scene, only
        self.lock = threading.RLock()
        self.made: dict = {} if arrays is None else {"arrays": arrays}
        # What is made of the scene's own projectors, by their place in it, and of surfaces alone.
        self._made_of: dict[int, dict] = {}
        self._bare: dict[str, SceneArrays] = {}

    def with_arrays(self, arrays: SceneArrays) -> Stage:
        """This stage if it has no arrays yet, or these; else one that has these."""
        with self.lock:
            if self.made.setdefault("arrays", arrays) is arrays:
                return self
        return Stage(self.scene, arrays, self.only)

    def anew(self) -> Stage:
        """The same scene with the same lights on, resolved again: its files may have been edited since."""
        return Stage(self.scene, only=self.only)

    def lit_by(self, *names: str) -> Stage:
        """The same with these lights alone: projectors by name, "ambient" for the room's own light.

        SceneError for a name that none of them has.
        """
        known = self.light_names
        unknown = [name for name in dict.fromkeys(names) if name not in known]
        if unknown or not names:
            allowed = ", ".join(known) or "a scene with a light"
            found = [
                (f'there is no light called "{name}"', did_you_mean(nearest(name, known, 0.5))) for name in unknown
            ]
            found = found or [("no light is named", "")]
            raise SceneError([Fault(words, allowed, try_, key="only") for words, try_ in found])
        return Stage(self.scene, self.made.get("arrays"), frozenset(names))

    @property
    def light_names(self) -> tuple[str, ...]:
        """What the lights of the scene are called: each by its own name, the room's own "ambient"."""
        named = (*Named(self.scene.projector).names, *Named(self.scene.light).names)
        return (*named, *([AMBIENT] if self.scene.ambient is not None else ()))

    def is_on(self, name: str) -> bool:
        """Whether a light shines."""
        return self.only is None or name in self.only

    def __repr__(self) -> str:
        return f"Stage({self.scene.name!r})"

    @made_once
    def arrays(self) -> SceneArrays:
        """The scene's meshes in the world, and their tree."""
        return scene_arrays(self.scene)

    @made_once
    def objects(self) -> list[PlacedObject]:
        """Everything that light can fall on, surfaces first, then figures, each with its mesh in the world."""
        return placed_objects(self.scene)

    def flat(self, name: str | None) -> Mesh | None:
        """The mesh in the world, four corners, of the flat surface of that name; None if there is none."""
        pairs = zip(self.scene.surface, self.objects, strict=False)
        return next((item.mesh for spec, item in pairs if spec.name == name and spec.shape == "flat"), None)

    @made_once
    def reflectances(self) -> np.ndarray:
        """Reflectance spectra (k, 71) of the objects."""
        return reflectances_of(self.scene)

    @made_once
    def glossy(self) -> Glossy | None:
        """The skins of the objects as the camera looks at them; None where all are matte."""
        gloss = gloss_of(self.scene)
        return None if gloss is None else glossy_from(gloss, self.camera(1, 1).position)

    def camera(self, width: int, height: int) -> PinholeCamera:
        """The camera for a picture of width × height pixels."""
        return camera_arrays(self.scene, width, height)

    def point(self, reference) -> np.ndarray:
        """A point (3,) float, metres, from coordinates or a landmark's name. SceneError for a name that is none."""
        return np.asarray(point_of(self.scene, reference), float)

    def alone(self, name: str) -> SceneArrays:
        """Arrays of the surface of that name as if nothing else stood in the scene."""
        with self.lock:
            if name not in self._bare:
                surfaces = tuple(item for item in self.scene.surface if item.name == name)
                bare = self.scene.model_copy(update={"surface": surfaces, "figure": ()})
                self._bare[name] = scene_arrays(bare.placed_at(self.scene.name, self.scene.folder))
            return self._bare[name]

    @property
    def projectors(self) -> tuple[StagedProjector, ...]:
        """All projectors that are on, in the order of the file."""
        return tuple(self.projector(spec) for spec in self.scene.projector if self.is_on(spec.name))

    def projector(self, which: str | Projector | StagedProjector | None = None) -> StagedProjector:
        """One projector: by name, None for a scene's only one; or a variant, which need not be in the scene.

        SceneError for a name that the scene does not have, and for None where it has several projectors or none.
        """
        if isinstance(which, StagedProjector):
            return which if which.stage is self else self.projector(which.spec)
        if not isinstance(which, Projector):
            which = self._named(which)
        own = next((index for index, spec in enumerate(self.scene.projector) if spec is which), None)
        with self.lock:
            return StagedProjector(self, which, {} if own is None else self._made_of.setdefault(own, {}))

    @made_once
    def lights(self) -> tuple[StagedLight, ...]:
        """All other lights that are on, in the order of the file."""
        return tuple(StagedLight(self, spec) for spec in self.scene.light if self._is_wanted(spec))

    def _is_wanted(self, spec: Light) -> bool:
        """Whether one of the other lights is on: as the scene says, or because it is asked for by name."""
        return spec.on if self.only is None else self.is_on(spec.name)

    def light(self, name: str) -> StagedLight:
        """One of the other lights by name, on or off. SceneError for a name that the scene does not have."""
        return next((item for item in self.lights if item.name == name), None) or StagedLight(
            self, Named(self.scene.light)[name]
        )

    def _named(self, name: str | None) -> Projector:
        # A scene that was put together in code may hold them in a plain tuple.
        specs = Named(self.scene.projector)
        if name is not None:
            return specs[name]
        if len(specs) == 1:
            return specs[0]
        found = f"{len(specs)} projectors, and none is named" if specs else "the scene has no projector"
        raise SceneError(Fault(found, ", ".join(specs.names) or "a scene with a projector"))


class StagedProjector:
    """One projector where it stands on a stage. spec: as the scene says it, or a variant of that."""

    def __init__(self, stage: Stage, spec: Projector, made: dict):
        self.stage, self.spec = stage, spec
        self.lock, self.made = stage.lock, made

    def __repr__(self) -> str:
        return f"StagedProjector({self.spec.name!r})"

    @property
    def name(self) -> str:
        """Its name."""
        return self.spec.name

    @made_once
    def focus(self) -> FocusDistances:
        """Where it is focused."""
        return focus_of(self.stage.scene, self.spec)

    @made_once
    def power(self) -> Power:
        """How bright it is."""
        return power_of(self.stage.scene, self.spec)

    @made_once
    def passed(self) -> np.ndarray:
        """What its filters let through together, (71,)."""
        return filters_passed(self.stage.scene.folder, self.spec.filter)

    @made_once
    def gate(self) -> GateOpening:
        """Its gate, metres."""
        return gate_of(self.spec)

    @made_once
    def bitmap(self) -> Bitmap:
        """Its stencil as it lies in the gate, or an open one."""
        return bitmap_of(self.spec, self.stage.scene)

    @property
    def gate_inputs(self) -> tuple:
        """All that the gate's picture is made of, and the stencil's file as it is now."""
        stencil = self.spec.stencil
        if stencil is None:
            return (self.gate,)
        return self.gate, stencil.model_dump_json(), file_stamp(stencil_path(self.stage.scene, self.spec))

    def light(self, wavelengths_nm: Iterable[float]) -> Projection:
        """Its optics at wavelengths (n,) nm, with its stencil."""
        return self._at(wavelengths_nm, True)

    def open_light(self, wavelengths_nm: Iterable[float]) -> Projection:
        """The same with an open gate, for what does not depend on the stencil; its file is not read."""
        return self._at(wavelengths_nm, False)

    def _at(self, wavelengths_nm, with_stencil: bool) -> Projection:
        key = (tuple(map(float, wavelengths_nm)), with_stencil)
        with self.lock:
            if key not in self.made:
                bitmap = self.bitmap if with_stencil else open_bitmap(self.gate)
                self.made[key] = light_arrays(self.stage.scene, self.spec, key[0], bitmap)
            return self.made[key]

    def varied(self, **changes) -> StagedProjector:
        """The projector with some of its fields changed, on the same stage."""
        return StagedProjector(self.stage, self.spec.model_copy(update=changes), {})


class StagedLight:
    """One of the lights without gate and lens where it stands on a stage. spec: as the scene says it."""

    def __init__(self, stage: Stage, spec: Light):
        self.stage, self.spec = stage, spec
        self.lock = stage.lock
        self.made: dict = {}

    def __repr__(self) -> str:
        return f"StagedLight({self.spec.name!r})"

    @property
    def name(self) -> str:
        """Its name."""
        return self.spec.name

    @made_once
    def shine(self) -> Shine:
        """What shines of it: place, outline, and how its luminance falls off."""
        return shine_of(self.stage.scene, self.spec)._replace(extinction=extinction_of(self.stage.scene))

    @made_once
    def power(self) -> Power:
        """How bright it is, straight ahead from its middle."""
        return lamp_power(self.stage.scene, self.spec)


# What public calls take: a scene, the path of its file or a shipped scene's name, which is then resolved anew, or a
# stage; a projector, or its name.
SceneOrStage: TypeAlias = Scene | Stage | str | Path
AnyProjector: TypeAlias = str | Projector | StagedProjector | None


def stage_of(scene: SceneOrStage) -> Stage:
    """A scene, or the one of a file, on a stage of its own; a stage as it is. SceneError with all faults of a file."""
    return scene if isinstance(scene, Stage) else Stage(scene_from(scene))


def stage_with(scene: SceneOrStage, overrides: Overrides) -> Stage:
    """The same with overrides, if there are any."""
    if not overrides:
        return stage_of(scene)
    if isinstance(scene, Stage):
        return Stage(scene_from(scene.scene, overrides), only=scene.only)
    return Stage(scene_from(scene, overrides))


def projector_on(scene: SceneOrStage, projector: AnyProjector) -> StagedProjector:
    """One projector of a scene or a stage; its stage comes with it."""
    return stage_of(scene).projector(projector)
