"""What stands in a light's way, part by part."""

import math

import pytest

from projector import load
from projector.studies import losses

SCENE = """
format = 1
[camera]
position_m = [0.0, 1.5, 3.0]
aim = "wall.centre"
[[surface]]
name = "wall"
width_m = 2
height_m = 2
position_m = [0, 1.5, 0]
[[light]]
name = "panel"
kind = "panel"
width_m = 0.02
height_m = 0.02
grid = { beam_deg = 20 }
layers = 1
filter = [{ kind = "neutral", stops = 1.5 }]
position_m = [0, 1.5, 2]
aim = "wall.centre"
[[light]]
name = "bare"
kind = "bare"
position_m = [0.5, 1.5, 2]
aim = "wall.centre"
"""


def test_a_lights_parts_in_stops(tmp_path):
    """1.5 stops of neutral filter and a layer are what they say. A grid with T(u) = (2/π)(acos u − u√(1 − u²)) lets
    ∫ T·cosθ dω / π of an even panel through: 2·∫ T(tanθ·2.291) sinθ cosθ dθ, summed here by itself.
    """
    path = tmp_path / "scene.toml"
    path.write_text(SCENE)
    panel, bare = losses(load(path))
    assert panel.filters_stops == pytest.approx(1.5, abs=1e-6) and panel.diffuser_stops == 1.0
    steps = 20000
    total = 0.0
    for step in range(steps):
        angle = (step + 0.5) / steps * math.pi / 2.0
        u = math.tan(angle) * 2.2910
        if u < 1.0:
            total += (
                (2.0 / math.pi) * (math.acos(u) - u * math.sqrt(1.0 - u * u)) * 2.0 * math.sin(angle) * math.cos(angle)
            )
    share = total * (math.pi / 2.0) / steps
    assert panel.grid_stops == pytest.approx(-math.log2(share), abs=0.02)
    assert bare.parts() == {}


def test_a_projectors_parts():
    (window,) = losses("01-square-wall")
    lens = load("01-square-wall").projector["window"].lens
    assert window.lens_stops == pytest.approx(-math.log2(lens.transmittance))
    assert window.stencil_mean_stops > 0.0 and window.grid_stops is None
