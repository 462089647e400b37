"""How bright a projector is: from a reading, an output, or metered right."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from projector.optics.dispersion import LINE_D_NM
from projector.optics.distortion import area_growth
from projector.photometry.exposure import METER_CONSTANTS, light_for_reading
from projector.photometry.spectra import K_M, photometric, scaled_to_luminous_one
from projector.scene.stated_power import CarriedOver, carried_over, stated_lens
from projector.stage.colours import filters_passed, spectrum_of
from projector.stage.optics import focus_of, gate_of, light_arrays, opening_before, pupil_of
from projector.tracing.gate.gate_image import gate_area, hot_spot, is_inside_gate, open_bitmap
from projector.tracing.gate.lens_law import Projection, has_lens, patch_scale
from projector.tracing.sight.outline import Outline, outline_point


@dataclass(frozen=True)
class Power:
    """How much light a projector gives, and how it was stated.

    spectrum (71,): the luminance spectrum of the open gate on its axis seen through the lens, per nanometre, so that
    683 · ∫ spectrum · V dλ is in cd/m² for steady light and cd·s/m² for a flash; relative where nothing was stated.
    carried_over: what was taken for granted where the statement belongs to another lens or stop; None for the same one.
    estimate_stops: how far off it may be either way where it is an estimate by energy; None where it is none.
    """

    spectrum: np.ndarray
    is_flash: bool
    is_stated: bool
    carried_over: CarriedOver | None = None
    estimate_stops: float | None = None

    @property
    def luminance(self) -> float:
        """Luminance of the open gate on its axis, cd/m², of a flash cd·s/m²."""
        return float(photometric(self.spectrum))


def open_gate_on_axis(light: Projection, distance: float) -> float:
    """Illuminance over luminance (steradian) that the open gate puts square on the axis at a distance (m) from the
    pupil.
    """
    on_axis = _pupil_on_axis(light.emitter.outline, light.emitter.radius, distance)
    return on_axis if has_lens(light) else on_axis * _share_through_card(light, distance)


def _share_through_card(light: Projection, distance: float) -> float:
    """Share of a bare lamp's opening that a point on the axis at a distance (m) sees through the hole of its card, the
    hot spot counted: a snout narrower than its lamp hides a part of it. 0 before the card.
    """
    if not distance > light.nearest:
        return 0.0
    places = patch_scale(light, 1.0 / light.tube_length, 1.0 / distance, 0.0) * _places(light, 256)
    return float((is_inside_gate(light.gate, *places.T) * hot_spot(light.gate, *places.T)).mean())


def _places(light: Projection, n_side: int) -> np.ndarray:
    """Even places (n_side², 2) m of an opening."""
    steps = (np.arange(n_side) + 0.5) / n_side
    return light.emitter.radius * np.array([outline_point(light.emitter.outline, u, v) for u in steps for v in steps])


def _flux_through_card(light: Projection, n_side: int = 16, n_steps: int = 120) -> float:
    """Luminous flux over luminance (m² sr) of a bare lamp through its card: ∬ hot spot · c²/d⁴ over opening and hole,
    which is π·A·F of two parallel faces (R. Siegel & J. Howell, Thermal Radiation Heat Transfer).
    """
    gate, card = light.gate, light.tube_length
    middles = (np.arange(n_steps) + 0.5) / n_steps * 2.0 - 1.0
    x, y = (axis.ravel() for axis in np.meshgrid(middles * gate.half_width, middles * gate.half_height))
    inside = is_inside_gate(gate, x, y)
    x, y = x[inside], y[inside]
    # A circle of squares is not round: its parts are scaled to the hole's own area.
    glow, total = hot_spot(gate, x, y), 0.0
    for ax, ay in _places(light, n_side):
        away = (x - ax) ** 2 + (y - ay) ** 2 + card * card
        total += float((glow * card * card / away**2).mean())
    return total / n_side**2 * gate_area(gate) * _open_area(light.emitter.outline, light.emitter.radius)


def _pupil_on_axis(pupil: Outline, radius: float, distance: float) -> float:
    """Projected solid angle (steradian) of a pupil on its axis: A/(d² + 2·mean square radius).

    Exact for a disc, π·R²/(d² + R²) (disc source: I. E. Irodov, Problems in General Physics, 5.11), of the same order
    for any other shape, and above zero however near.
    """
    return float(_open_area(pupil, radius) / (distance**2 + 2.0 * sum(pupil.second_moments) * radius**2))


def _open_area(pupil: Outline, radius: float) -> float:
    """Area (m²) of a pupil's opening."""
    return math.pi * radius**2 * pupil.area


def open_gate_flux(light: Projection, n_steps: int = 400) -> float:
    """Luminous flux over luminance (m² sr) of the open gate: A ∫ hot spot / (1 + ξ² + η²)² dξ dη over the slopes that
    it lands at.

    The far-field form of Φ = π·L·A·F (R. Siegel & J. Howell, Thermal Radiation Heat Transfer): for a round gate that
    lands at slope a it is π·A·a²/(1 + a²). Summed over the gate, each part as large as distortion lets it land.
    """
    if not has_lens(light):
        return _flux_through_card(light)
    gate = light.gate
    across, up = gate.half_width / light.tube_length, gate.half_height / light.tube_length
    middles = (np.arange(n_steps) + 0.5) / n_steps
    xi: np.ndarray
    eta: np.ndarray
    if gate.is_round:
        xi, eta = middles * across, np.zeros(n_steps)
        part = 2.0 * math.pi * xi * across / n_steps
    else:
        xi, eta = np.meshgrid(middles * across, middles * up)
        part = np.full(xi.shape, 4.0 * across * up / n_steps**2)
    squared = xi**2 + eta**2
    field_squared = squared * (light.tube_length / gate.norm) ** 2
    falloff = hot_spot(gate, light.tube_length * xi, light.tube_length * eta)
    landed_squared = squared * (1.0 + light.distortion * field_squared) ** 2
    growth = area_growth(light.distortion, field_squared)
    return float(
        _open_area(light.emitter.outline, light.emitter.radius)
        * (part * growth * falloff / (1.0 + landed_squared) ** 2).sum()
    )


def power_of(scene, spec) -> Power:
    """How bright the open gate is through the lens: from its reading or output, or, without one, metered right.

    The rule: a reading and an output are made without the projector's filters and belong to the lens and stop that they
    were made with (`stated_lens`). They fix the luminance seen through that lens; through the one there now it is
    larger by the ratio of the two transmittances, over an opening as large as its own. Before the lens, an output
    contains no transmittance.
    """
    if spec.lens is None:
        return _power_of_lamp(scene, spec)
    reading, output = spec.meter_reading, spec.output
    metered = spec.model_copy(update={"lens": stated_lens(spec)})
    glass = spec.lens.transmittance / (1.0 if output is not None and output.before_lens else metered.lens.transmittance)
    is_flash = True
    if reading is not None:
        distance = reading.distance_m - opening_before(metered)
        is_flash, level = reading.shutter_s is None, level_read(reading)
        luminance = level / _pupil_on_axis(*pupil_of(scene, metered.lens), distance) * glass
    elif output is not None:
        is_flash = output.lumens is None
        through = open_gate_flux(light_arrays(scene, metered, [LINE_D_NM], open_bitmap(gate_of(spec))))
        luminance = (output.lumen_seconds if is_flash else output.lumens) / through * glass
    else:
        camera = scene.camera
        level = light_for_reading(camera.f_number, camera.iso)
        luminance = level / _pupil_on_axis(*pupil_of(scene, spec.lens), abs(focus_of(scene, spec).sharp_distance))
    is_stated = reading is not None or output is not None
    return Power(
        emitted_spectrum(scene, spec, luminance), is_flash, is_stated, _carried_over(scene, spec) if is_stated else None
    )


def _power_of_lamp(scene, spec) -> Power:
    """The same of a bare lamp: what its reading or output was made through is its card's hole."""
    reading, output = spec.meter_reading, spec.output
    light = light_arrays(scene, spec, [LINE_D_NM], open_bitmap(gate_of(spec)))
    is_flash = True
    if reading is not None:
        is_flash = reading.shutter_s is None
        luminance = level_read(reading) / open_gate_on_axis(light, reading.distance_m - opening_before(spec))
    elif output is not None:
        is_flash = output.lumens is None
        luminance = (output.lumen_seconds if is_flash else output.lumens) / open_gate_flux(light)
    else:
        level = light_for_reading(scene.camera.f_number, scene.camera.iso)
        luminance = level / open_gate_on_axis(light, focus_of(scene, spec).sharp_distance)
    return Power(emitted_spectrum(scene, spec, luminance), is_flash, reading is not None or output is not None)


def level_read(reading) -> float:
    """Illuminance (lx) of steady light, or luminous exposure (lx·s) of a flash, that a meter showed."""
    constant = reading.meter_constant or METER_CONSTANTS[reading.receptor]
    return light_for_reading(reading.f_number, reading.iso, reading.shutter_s, constant)


def emitted_spectrum(scene, spec, luminance: float) -> np.ndarray:
    """Luminance spectrum (71,) of a projector or a light behind its filters; luminance: without them, of the lamp as it
    is set.
    """
    source = scaled_to_luminous_one(spectrum_of(spec.source))
    return source * (luminance / K_M) * filters_passed(scene.folder, spec.filter)


def filter_share(scene, spec) -> float:
    """Share of a projector's or a light's luminance that its filters let through."""
    return float(photometric(emitted_spectrum(scene, spec, 1.0)))


def _carried_over(scene, spec) -> CarriedOver | None:
    """What becomes of a statement of power through the lens there now; None where that is the one it was made with."""
    areas = [_open_area(*pupil_of(scene, lens)) for lens in (stated_lens(spec), spec.lens)]
    return carried_over(spec, *(2e3 * math.sqrt(area / math.pi) for area in areas))
