"""Mitsuba 3 as a judge of the meter: panels, a tube and a bare head round a sitter, at points on the face and in the
air, for a flat receptor and a dome.

Mitsuba samples its own emitters, their pdf and its own shadow rays; only the receptor's law is put to its samples by
hand (cosθ; (1 + cosθ)/2). Budget of 0.02 stop: 96² of them at the edge of a shadow 0.005, our 128² rays 0.003, its
rays that meet facets where ours start over the smooth surface 0.01.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from projector.figures.figure import build_figure
from projector.scene.reading.reader import load_text
from projector.stage.stage import Stage
from projector.studies.light.meter import meter
from projector.studies.light.meter_place import meter_place

N_SIDE = 96
LUMENS = 1000.0
PLACES = {
    "fill": (1.3, 1.9, 1.6),
    "edge": (-1.1, 1.6, -0.9),
    "disc": (0.2, 2.6, 1.0),
    "tube": (-0.9, 1.3, 0.9),
    "bare": (0.9, 2.1, -0.7),
}
AIM = (0.0, 1.55, 0.05)
SCENE = f"""
format = 1
[camera]
position_m = [0.0, 1.55, 2.5]
aim = {list(AIM)}
shutter_s = 0.01
[[light]]
name = "fill"
kind = "panel"
position_m = {list(PLACES["fill"])}
aim = {list(AIM)}
width_m = 0.9
height_m = 1.2
output = {{ lumens = {LUMENS} }}
[[light]]
name = "edge"
kind = "strip"
position_m = {list(PLACES["edge"])}
aim = {list(AIM)}
width_m = 0.3
height_m = 1.2
output = {{ lumens = {LUMENS} }}
[[light]]
name = "disc"
kind = "panel"
position_m = {list(PLACES["disc"])}
aim = {list(AIM)}
diameter_m = 0.8
output = {{ lumens = {LUMENS} }}
[[light]]
name = "tube"
kind = "tube"
position_m = {list(PLACES["tube"])}
aim = {list(AIM)}
length_m = 0.8
diameter_m = 0.05
output = {{ lumens = {LUMENS} }}
[[light]]
name = "bare"
kind = "bare"
position_m = {list(PLACES["bare"])}
aim = {list(AIM)}
diameter_m = 0.1
output = {{ lumens = {LUMENS} }}
[[surface]]
name = "backdrop"
position_m = [0.0, 1.5, -1.5]
width_m = 5.0
height_m = 3.0
[[figure]]
name = "sitter"
kind = "head"
position_m = [0.0, 0.0, 0.0]
"""
POINTS = ["sitter.left_cheek", "sitter.right_ear", "sitter.nose_tip", (0.4, 1.5, -1.4)]


def shape_of(mi, name: str, kind: dict, area: float) -> dict:
    """One light as Mitsuba takes it: an area emitter of the luminance of so many lumens, Φ = π·L·A."""
    value = {"type": "rgb", "value": [LUMENS / (math.pi * area)] * 3}
    return {**kind, "emitter": {"type": "area", "radiance": value}}


def lights_of(mi) -> dict:
    def facing(name: str, across: float, up: float):
        # The lights' own `right` is level; a rectangle and a disc are symmetric, so their turn about the axis is that.
        look = mi.ScalarTransform4f().look_at(origin=PLACES[name], target=AIM, up=(0.0, 1.0, 0.0))
        return look @ mi.ScalarTransform4f().scale((0.5 * across, 0.5 * up, 1.0))

    way = np.subtract(AIM, PLACES["tube"])
    along = np.cross(way, (0.0, 1.0, 0.0))
    along *= 0.4 / np.linalg.norm(along)
    ends = [[float(value) for value in np.array(PLACES["tube"]) + sign * along] for sign in (1.0, -1.0)]
    kinds = {
        "fill": ({"type": "rectangle", "to_world": facing("fill", 0.9, 1.2)}, 0.9 * 1.2),
        "edge": ({"type": "rectangle", "to_world": facing("edge", 0.3, 1.2)}, 0.3 * 1.2),
        "disc": ({"type": "disk", "to_world": facing("disc", 0.8, 0.8)}, math.pi * 0.16),
        "tube": ({"type": "cylinder", "p0": ends[0], "p1": ends[1], "radius": 0.025}, math.pi * 0.05 * 0.8),
        "bare": ({"type": "sphere", "center": list(PLACES["bare"]), "radius": 0.05}, 4.0 * math.pi * 0.0025),
    }
    return {name: shape_of(mi, name, kind, area) for name, (kind, area) in kinds.items()}


def theirs(mi, lights: dict, place) -> tuple[float, float]:
    """(flat, dome) lx of some lights at a meter's place, by Mitsuba's own samples of its emitters."""
    figure = build_figure("head")
    head = mi.Mesh("head", len(figure.mesh.vertices), len(figure.mesh.triangles), has_vertex_normals=True)
    values = mi.traverse(head)
    values["vertex_positions"] = figure.mesh.vertices.astype(np.float32).ravel()
    values["vertex_normals"] = figure.mesh.normals.astype(np.float32).ravel()
    values["faces"] = figure.mesh.triangles.astype(np.uint32).ravel()
    values.update()
    wall = mi.ScalarTransform4f().translate((0.0, 1.5, -1.5)).scale((2.5, 1.5, 1.0))
    scene = mi.load_dict({"type": "scene", **lights, "head": head, "wall": {"type": "rectangle", "to_world": wall}})
    asked = mi.SurfaceInteraction3f()
    asked.p = mi.Point3f(*map(float, place.points.origins[0]))
    chosen = np.random.default_rng(0)
    total = np.zeros(2)
    # One sample at a time, in one cell each of the unit square.
    for row in range(N_SIDE):
        for column in range(N_SIDE):
            u, v = (np.array([column, row]) + chosen.random(2)) / N_SIDE
            found, weight = scene.sample_emitter_direction(asked, mi.Point2f(u, v), True)
            if weight[0] > 0.0:
                cosine = float(np.array(found.d) @ place.axis)
                total += weight[0] * np.array([max(cosine, 0.0), 0.5 * (1.0 + cosine)])
    return tuple(total / N_SIDE**2)


@pytest.mark.slow
@pytest.mark.parametrize("point", POINTS, ids=str)
def test_every_light_alone_and_all_together_meter_as_mitsubas_do(point):
    import mitsuba as mi

    mi.set_variant("scalar_rgb")
    stage, lights = Stage(load_text(SCENE)), lights_of(mi)
    # Both receptors face the camera, so that one set of Mitsuba's samples serves both.
    readings = {kind: meter(stage, point, kind, towards="camera") for kind in ("flat", "dome")}
    place = meter_place(stage, point, "flat", "camera")
    sums = np.zeros(2)
    for name, light in lights.items():
        alone = theirs(mi, {name: light}, place)
        sums += alone
        for kind, wanted in zip(("flat", "dome"), alone, strict=True):
            found = next(item.alone.lx for item in readings[kind].lights if item.light == name)
            if wanted < 1e-3:
                assert found < 1e-2
            else:
                assert abs(math.log2(found / wanted)) < 0.02, (name, kind, found, wanted)
    for kind, wanted in zip(("flat", "dome"), sums, strict=True):
        assert abs(math.log2(readings[kind].together.lx / wanted)) < 0.01
