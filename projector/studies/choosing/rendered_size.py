"""The size of a pattern and the softness of its edge measured in a rendered map, to check closed forms with."""

from __future__ import annotations

import math

import numpy as np

from projector.rendering.maps.irradiance import irradiance_map
from projector.scene.model import Blade, Surface
from projector.stage.optics import gate_of
from projector.stage.stage import SceneOrStage, stage_of
from projector.studies.edges.profile import edge_measured, full_spectrum, place_on_axis


def lit_width(spec) -> float:
    """Width (m) of what is in the gate: the stencil's, or the gate's where that is narrower."""
    gate = 2.0 * gate_of(spec).half_width
    return min(gate, 1e-3 * spec.stencil.width_mm) if spec.stencil is not None else gate


def rendered_size(stage: SceneOrStage, set_up, width_m: float, edge_mm: float) -> tuple[float, float]:
    """Width (m) and edge width (mm, 10–90 %) that a projector aimed at a point lands there, square to its beam.

    The width is found in a map of a strip of plate, the edge in its middle through the same kernels. width_m, edge_mm:
    about what is expected.
    """
    stage, size = stage_of(stage), 1.1 * width_m + 8.0e-3 * edge_mm
    found = irradiance_map(_strip_scene(stage.scene, set_up, size), "strip", 4000)
    row = found.illuminance[found.illuminance.shape[0] // 2].astype(float)
    x = (np.arange(row.size) + 0.5) / row.size * size
    # The border is where half of the light is left of what the open gate has just inside it, clear of the edge's own
    # rise.
    inside = max(0.5 * width_m - 1e-3 * edge_mm, 0.0) / size
    left, right = (float(row[int(row.size * share)]) for share in (0.5 - inside, 0.5 + inside))
    width = _crossing(x[::-1], row[::-1], 0.5 * right) - _crossing(x, row, 0.5 * left)
    light, weights = full_spectrum(stage, set_up)
    throw = float((np.asarray(set_up.aim) - np.array(light.emitter.position)) @ np.array(light.emitter.forward))
    edge = edge_measured(light, place_on_axis(light, throw), "across", 2.0e-3 * edge_mm)
    return float(width), 1e3 * edge.width(weights[:, 1])


def _strip_scene(scene, set_up, size: float):
    """The projector with an open gate as wide as its pattern, before a strip of plate square to its beam at the
    target."""
    direction = np.asarray(set_up.position_m, float) - np.asarray(set_up.aim, float)
    direction /= np.linalg.norm(direction)
    yaw, pitch = math.degrees(math.atan2(direction[0], direction[2])), math.degrees(math.asin(direction[1]))
    middle = set_up.aim
    strip = Surface(
        name="strip", shape="flat", position_m=middle, yaw_deg=yaw, pitch_deg=pitch, width_m=size, height_m=0.004 * size
    )
    # A stencil narrower than the gate ends where two blades in its own plane do; the gate stays, as distortion is
    # stated at its edge.
    beside = 1e3 * (gate_of(set_up).half_width - 0.5 * lit_width(set_up))
    blades = tuple(Blade(side=side, insertion_mm=beside) for side in ("left", "right")) if beside > 0.0 else ()
    open_gate = set_up.model_copy(update={"stencil": None, "blade": blades, "roll_deg": 0.0})
    camera = scene.camera.model_copy(update={"aim": middle, "focus": None})
    changed = {"projector": (open_gate,), "surface": (strip,), "figure": (), "ambient": None, "camera": camera}
    return scene.model_copy(update=changed).placed_at(scene.name, scene.folder)


def _crossing(x, values, level: float) -> float:
    """Where a rising line first passes a level."""
    index = int(np.argmax(values > level))
    if index == 0:
        return float(x[0])
    share = (level - values[index - 1]) / (values[index] - values[index - 1])
    return float(x[index - 1] + share * (x[index] - x[index - 1]))
