"""Even light from all sides: what the room throws back of one projector, or its own lamps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from projector.optics.dispersion import LINE_D_NM
from projector.photometry.exposure import even_light_constant, light_for_reading
from projector.photometry.spectra import K_M, white_light
from projector.scene.model.named import Named
from projector.stage.power import open_gate_on_axis
from projector.stage.shines import turned_to
from projector.stage.stage import AMBIENT, AnyProjector, SceneOrStage, StagedLight, projector_on, stage_of


@dataclass(frozen=True)
class LightLevel:
    """An illuminance (lx) or, of a flash, a luminous exposure (lx·s) on what faces the light."""

    level: float
    is_flash: bool

    def during(self, shutter_s: float) -> float:
        """Its luminous exposure (lx·s) while a shutter is open: steady light counts for that long,
        a flash comes whole.
        """
        return self.level if self.is_flash else self.level * shutter_s


def open_gate_light(stage: SceneOrStage, projector: AnyProjector = None) -> LightLevel:
    """Light of a projector's open gate, its filters counted, square on its axis at the distance that it is focused
    at.
    """
    staged = projector_on(stage, projector)
    share = open_gate_on_axis(staged.open_light([LINE_D_NM]), abs(staged.focus.sharp_distance))
    return LightLevel(staged.power.luminance * share, staged.power.is_flash)


def light_at_its_aim(light: StagedLight) -> LightLevel:
    """Light of a light without a gate, its filters counted, in clear air on a meter turned to it at what it aims at."""
    share = turned_to(light.shine._replace(extinction=0.0), light.stage.point(light.spec.aim))
    return LightLevel(light.power.luminance * share, light.power.is_flash)


def light_called(stage: SceneOrStage, name: str | None) -> LightLevel:
    """A level by a light's name: of a projector its open gate, of others at their aim; None: the only projector."""
    stage = stage_of(stage)
    if name is not None and name in Named(stage.scene.light):
        return light_at_its_aim(stage.light(name))
    return open_gate_light(stage, name)


def room_light(stage: SceneOrStage) -> LightLevel | None:
    """The scene's ambient light; None without any, or where it is off.

    It is stated by itself or under one light by name, so the order of lights plays no part.
    """
    stage = stage_of(stage)
    ambient = stage.scene.ambient
    if ambient is None or not stage.is_on(AMBIENT):
        return None
    if ambient.lux is not None:
        return LightLevel(ambient.lux, False)
    if ambient.reading is not None:
        reading = ambient.reading
        constant = even_light_constant(reading.receptor, reading.meter_constant)
        return LightLevel(light_for_reading(reading.f_number, reading.iso, reading.shutter_s, constant), False)
    of = light_called(stage, ambient.of)
    return LightLevel(of.level * 2.0**-ambient.stops_under, of.is_flash)


def room_spectrum(scene, level: float) -> np.ndarray:
    """Spectrum (71,) per nanometre of an even light of so many lx or lx·s, neutral in the picture:
    the camera's white.
    """
    return white_light(scene.camera.white_balance_k) * (level / K_M)
