"""A picture follows from its scene alone: not from what its session showed before, nor from how many threads made it.

The changes that reach furthest (pupil, beam, focus, stencil) are made in steps, in one session that keeps all it can;
each picture must be that of a new session, to the byte. `test_every_field` changes every field.
"""

from __future__ import annotations

import random
import tempfile
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from projector.rendering.kept import Store
from projector.rendering.preview import preview
from projector.rendering.session import RenderSession
from projector.rendering.workers import Workers
from projector.scene.reading.reader import load_text, with_overrides
from tests.conftest import mostly_slow

SIZE = (96, 72)
SIZED = dict(zip(("width", "height"), SIZE, strict=True))
# Two projectors that overlap, one with everything that can be given it, on a head, a box and a wall.
SCENE = """
format = 1
[camera]
position_m = [0.3, 1.6, 2.6]
aim = "sitter.chin"
focal_length_mm = 50
[[projector]]
name = "key"
position_m = [-1.0, 1.9, 1.6]
aim = "sitter.nose_tip"
roll_deg = 5
gate = { shape = "rectangle", width_mm = 38, height_mm = 30, edge_falloff_stops = 0.5 }
stencil = { file = "blots.png", width_mm = 36 }
blade = [{ side = "left", insertion_mm = 6, angle_deg = 8, offset_mm = 2 }]
filter = [{ kind = "temperature", mired_shift = 60 }, { kind = "neutral", density = 0.2 }]
source = { kind = "tungsten", temperature_k = 3200 }
focus = { at = "sitter.left_eye", offset_mm = 0.4 }
reading = { f_number = 8, iso = 100, distance_m = 2.0, shutter_s = 0.01, lens_f_number = 2.0 }
[projector.lens]
focal_length_mm = 85
f_number = 2.2
transmittance = 0.85
pupil_offset_mm = 12
lateral_colour_mm = 0.05
corner_softness_mm = 0.2
spherical_mm = 0.1
distortion_percent = 2
pupil = { shape = "polygon", n_blades = 7, rotation_deg = 10 }
dispersion = { abbe_number = 55 }
[[projector]]
name = "back"
position_m = [1.4, 2.1, 0.9]
aim = "sitter.nose_tip"
gate = { shape = "round", diameter_mm = 30 }
stencil = { file = "stripes.png", width_mm = 29 }
lens = { focal_length_mm = 70, f_number = 2.8, widest_f_number = 2.0, filled_pupil_mm = 21 }
focus = { distance_m = 1.5 }
output = { lumen_seconds = 20 }
[[surface]]
name = "wall"
position_m = [0.0, 1.4, -0.6]
yaw_deg = 10
pitch_deg = 2
tilt_deg = 1
width_m = 3.0
height_m = 3.0
reflectance = 0.7
[[surface]]
name = "block"
shape = "box"
position_m = [-0.3, 1.5, 0.5]
yaw_deg = 20
width_m = 0.02
height_m = 0.3
depth_m = 0.05
colour = [0.6, 0.3, 0.2]
[[surface]]
name = "bars"
shape = "box"
position_m = [-0.15, 1.6, 0.3]
pitch_deg = 20
width_m = 0.5
height_m = 0.015
depth_m = 0.02
[[figure]]
name = "sitter"
kind = "head"
position_m = [0.1, 0.0, 0.0]
stature_m = 1.7
yaw_deg = 10
pitch_deg = 2
tilt_deg = 1
reflectance = 0.4
[ambient]
of = "key"
stops_under = 5
"""
ROWS, COLUMNS = np.indices((200, 200))
BITMAPS = {
    "blots": np.sin(0.2 * ROWS + np.sin(0.1 * COLUMNS)) + np.cos(0.17 * COLUMNS) > 0.2,
    "stripes": COLUMNS // 20 % 2 == 0,
    "dots": np.hypot(ROWS % 40 - 20, COLUMNS % 40 - 20) < 6,
    "slit": abs(ROWS - 100) < 3,
}
HELD = tempfile.TemporaryDirectory(prefix="same-bytes-")
FOLDER = Path(HELD.name)
for name, values in BITMAPS.items():
    Image.fromarray(values.astype(np.uint8) * 255).save(FOLDER / f"{name}.png")
BASE = load_text(SCENE, "same-bytes", FOLDER)
# What moves pupils, beams and patches furthest, up and down again.
STEPS = [
    *(f"projector.key.lens.f_number={value}" for value in (1.8, 2.0, 4.0, 2.2, 8.0, 2.8, 1.8)),
    *(f"projector.back.lens.f_number={value}" for value in (2.8, 5.6, 4.0, 16.0)),
    *(f"projector.back.lens.filled_pupil_mm={value}" for value in (25, 10, 21)),
    *(f"projector.key.focus.offset_mm={value}" for value in (-8.0, 12.0, 0.4, 3.0)),
    *(f"projector.key.lens.focal_length_mm={value}" for value in (50.0, 120.0, 85.0)),
    *(f"projector.key.lens.spherical_mm={value}" for value in (4.0, 0.1)),
    *(
        f"projector.key.lens.pupil={value}"
        for value in ('{shape="ring",inner_fraction=0.5}', '{shape="disc"}', '{shape="polygon",n_blades=3}')
    ),
    *(
        f"projector.key.stencil.file={value}"
        for value in ("stripes.png", "dots.png", "slit.png", "blots.png", "dots.png")
    ),
    *(f"projector.key.position_m={value}" for value in ("[-1.4, 1.9, 1.6]", "[-1.0, 1.9, 1.6]")),
    *(f"camera.position_m={value}" for value in ("[0.1, 1.6, 2.6]", "[0.3, 1.6, 2.6]")),
]


def differing(scenes):
    """Which of the scenes (name, Scene) look otherwise in a session that showed those before than in a new one."""
    session = RenderSession(BASE, *SIZE)
    session.rgb_bytes()
    found = []
    for name, scene in scenes:
        session.change_to(scene)
        if not np.array_equal(session.rgb_bytes(), RenderSession(scene, *SIZE, stacks=Store()).rgb_bytes()):
            found.append(name)
    return found


@pytest.mark.slow
@pytest.mark.parametrize(("seed", "count"), mostly_slow([(0, 5), (1, len(STEPS)), (2, len(STEPS))]))
def test_far_steps_in_any_order_give_the_bytes_of_a_new_session(seed, count):
    steps = random.Random(seed).sample(STEPS, count)
    assert differing([(step, with_overrides(BASE, [step])) for step in steps]) == []


@pytest.mark.parametrize("quality", ["quick", "fine"])
def test_one_two_and_three_threads_give_the_same_bytes(quality):
    one, two, three = (preview(BASE, **SIZED, quality=quality, threads=threads).pixels for threads in (1, 2, 3))
    assert np.array_equal(one, two)
    assert np.array_equal(one, three)


@pytest.mark.slow
def test_threads_of_a_session_with_a_past_make_no_difference():
    steps = random.Random(3).sample(STEPS, len(STEPS))[:12]
    pictures = []
    for threads in (1, 2, 3):
        with Workers(threads) as workers:
            session = RenderSession(BASE, *SIZE, workers=workers)
            seen = []
            # Another order for each: what is left at the end follows from the last scene.
            for step in [*steps[threads:], *steps[:threads], STEPS[0]]:
                session.change_to(with_overrides(BASE, [step]))
                seen.append(session.rgb_bytes())
            pictures.append(seen[-1])
    assert np.array_equal(pictures[0], pictures[1])
    assert np.array_equal(pictures[0], pictures[2])
