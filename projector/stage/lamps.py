"""How bright a light without gate is: from a reading, against another light, an output, a file or its energy."""

from __future__ import annotations

import math

import numpy as np

from projector.faults import Fault, SceneError
from projector.optics.dispersion import LINE_D_NM
from projector.photometry.exposure import light_for_reading
from projector.scene.placement import point_of
from projector.stage.open_gate_levels import open_gate_levels
from projector.stage.optics import gate_of, light_arrays
from projector.stage.power import Power, emitted_spectrum, filter_share, level_read, power_of
from projector.stage.shines import STOPS_A_LAYER, flux_of, grid_share, photometry_of, shine_of, turned_to
from projector.tracing.gate.gate_image import open_bitmap

# Light of a bare lamp for each watt (lm/W), or for each watt-second of a flash (lm·s), and how far off an estimate by
# them may be, in stops: common practice, no source.
EFFICACIES = {"flash": 40.0, "steady": 90.0}
ESTIMATE_STOPS = 1.0
# The most that a lamp's own luminance comes to: cd/m² of steady light, cd·s/m² of a flash. From memory: the arc of a
# xenon lamp 1e9 cd/m² (as bright as the sun's disc), a flash tube the same for about a millisecond at full power.
MOST_LUMINANCE = {"steady": 1e9, "flash": 5e6}


def lamp_power(scene, spec) -> Power:
    """How bright a light is: its luminance straight ahead, its filters counted in the spectrum.

    A reading and an output are made without its filters; stops against another light with them.
    """
    shine = shine_of(scene, spec)
    is_flash, luminance, is_stated = _stated(scene, spec, shine)
    if spec.against is not None:
        luminance /= filter_share(scene, spec)
    if spec.output is not None or spec.energy is not None:
        _refuse_brighter_than_a_lamp(spec, is_flash, luminance)
    spread = ESTIMATE_STOPS if spec.energy is not None else None
    return Power(emitted_spectrum(scene, spec, luminance), is_flash, is_stated, estimate_stops=spread)


def _stated(scene, spec, shine) -> tuple[bool, float, bool]:
    """(whether it flashes, its luminance before its filters, whether anything states it)."""
    if spec.meter_reading is not None:
        return spec.meter_reading.shutter_s is None, _by_reading(scene, spec, shine), True
    if spec.against is not None:
        return *_by_comparison(scene, spec, shine), True
    if spec.output is not None:
        is_flash = spec.output.lumens is None
        return is_flash, (spec.output.lumen_seconds if is_flash else spec.output.lumens) / flux_of(shine), True
    if spec.energy is not None:
        return spec.energy.watts is None, _by_energy(scene, spec, shine), True
    if spec.kind == "measured":
        area = math.pi * shine.emitter.radius**2
        return False, float(photometry_of(scene, spec).candela.max()) / area, True
    camera = scene.camera
    is_flash = spec.flash is not False
    level = light_for_reading(camera.f_number, camera.iso, None if is_flash else camera.shutter_s)
    return is_flash, _over(level, turned_to(shine, point_of(scene, spec.aim)), spec, "what it aims at"), False


def _refuse_brighter_than_a_lamp(spec, is_flash: bool, luminance: float) -> None:
    """SceneError where so much light out of so small an opening would be brighter than any lamp is."""
    most = MOST_LUMINANCE["flash" if is_flash else "steady"]
    if luminance > most:
        what = "energy" if spec.energy is not None else "output"
        raise SceneError(
            Fault(
                f"so much light out of its opening is {luminance / most:.3g} times as bright as any lamp's own surface",
                f"{most:.1g} cd/m²{'·s' if is_flash else ''} at most",
                "a larger opening, a wider beam, or less power",
                key=f"light.{spec.name}.{what}",
            )
        )


def _over(level: float, share: float, spec, where: str) -> float:
    """Luminance that gives a level where the light gives this share. SceneError where none of it gets there."""
    if not share > 0.0:
        raise SceneError(
            Fault(
                f"no light of it gets to {where}",
                "a point that it shines at",
                "turn it there, or meter elsewhere",
                key=f"light.{spec.name}",
            )
        )
    return level / share


def _by_reading(scene, spec, shine) -> float:
    reading = spec.meter_reading
    if spec.reading is not None and spec.reading.at is not None:
        place, where = np.asarray(point_of(scene, spec.reading.at), float), "where its reading was taken"
    else:
        place = np.array(shine.emitter.position) + reading.distance_m * np.array(shine.emitter.forward)
        where = "its own axis"
    return _over(level_read(reading), turned_to(shine, place, reading.receptor), spec, where)


def _by_energy(scene, spec, shine) -> float:
    """An estimate: the lamp's light, less what grid and diffusion keep."""
    energy, is_flash = spec.energy, spec.energy.watts is None
    efficacy = energy.lumens_per_watt or EFFICACIES["flash" if is_flash else "steady"]
    lumens = (energy.watt_seconds if is_flash else energy.watts) * efficacy
    lumens *= grid_share(spec, scene) * 2.0 ** (-STOPS_A_LAYER * n_layers(spec))
    return lumens / flux_of(shine)


def n_layers(spec) -> int:
    """Layers of diffusion before a light: a panel or a strip has two unless its scene says one, others have none."""
    return (spec.layers or 2) if spec.kind in ("panel", "strip") else 0


def _by_comparison(scene, spec, shine) -> tuple[bool, float]:
    """So many stops over another light: (whether it flashes, its luminance behind its filters)."""
    against = spec.against
    place = np.asarray(point_of(scene, against.at), float)
    level, other_flashes = metered_alone(scene, against.of, place)
    is_flash = other_flashes if spec.flash is None else spec.flash
    shutter_s = scene.camera.shutter_s
    if is_flash != other_flashes:
        level *= 1.0 / shutter_s if other_flashes else shutter_s
    return is_flash, _over(level * 2.0**against.stops, turned_to(shine, place), spec, f"{against.at}")


def metered_alone(scene, name: str, place: np.ndarray) -> tuple[float, bool]:
    """What a flat meter at a place (3,) m turned to one light gets of it, nothing between: (lx or lx·s, whether it is a
    flash); of a projector its open gate. SceneError where it does not shine there.
    """
    found = next((item for item in scene.light if item.name == name), None)
    if found is not None:
        power = lamp_power(scene, found)
        share = turned_to(shine_of(scene, found), place)
        return _shining(power.luminance * share, name, place), power.is_flash
    spec = next(item for item in scene.projector if item.name == name)
    light = light_arrays(scene, spec, [LINE_D_NM], open_bitmap(gate_of(spec)))
    towards = np.array(light.emitter.position) - place
    share = float(open_gate_levels(light, place[None], (towards / np.linalg.norm(towards))[None])[0])
    power = power_of(scene, spec)
    return _shining(power.luminance * share, name, place), power.is_flash


def _shining(level: float, name: str, place: np.ndarray) -> float:
    if not level > 0.0:
        at = ", ".join(f"{value:.2f}" for value in place)
        raise SceneError(Fault(f"no light of {name} gets to ({at})", "a point that both lights shine at", key=name))
    return level
