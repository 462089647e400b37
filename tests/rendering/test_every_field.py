"""Every single field of four scenes is changed, one at a time: a session that has just shown the scene as it was has
to show the changed one as a new session does, to the byte.

The fields are found by walking the model, so a field that is new is changed as well; for each another legal value is
looked for, and optional parts are added and taken away. The new session keeps nothing and shares no stacks: what it
shows follows from its scene alone.
"""

from __future__ import annotations

import copy
import json
import random
import tempfile
import types
from pathlib import Path
from typing import Annotated, Literal, Union, get_args, get_origin

import numpy as np
import pytest
from PIL import Image

from projector.rendering.kept import Store
from projector.rendering.session import RenderSession
from projector.rendering.workers import Workers
from projector.scene.checks.cross import cross_check
from projector.scene.model import Scene
from projector.scene.model.kinds import Part
from projector.scene.reading.reader import load_text
from tests.conftest import mostly_slow

SIZE = (64, 48)
BARE = """
format = 1
[camera]
position_m = [0.4, 1.5, 2.6]
aim = [0.0, 1.5, 0.0]
focal_length_mm = 35
[[projector]]
name = "window"
position_m = [-0.8, 1.7, 2.0]
aim = [0.0, 1.5, 0.0]
gate = { shape = "round", diameter_mm = 40 }
lens = { focal_length_mm = 85, f_number = 2.8 }
[[surface]]
name = "wall"
position_m = [0.0, 1.4, 0.0]
width_m = 3.0
height_m = 2.6
[[surface]]
name = "post"
shape = "box"
position_m = [-0.1, 1.5, 0.4]
width_m = 0.06
height_m = 0.5
depth_m = 0.06
[haze]
loss_percent = 20
over_m = 4
"""
FULL = """
format = 1
title = "Two lights on a head"
[camera]
position_m = [0.3, 1.6, 2.6]
aim = "sitter.chin"
roll_deg = 2
focal_length_mm = 50
focus = "sitter.chin"
[[projector]]
name = "key"
position_m = [-1.0, 1.9, 1.6]
aim = "sitter.nose_tip"
roll_deg = 5
gate = { shape = "rectangle", width_mm = 38, height_mm = 30, edge_falloff_stops = 0.5 }
stencil = { file = "blots.png", width_mm = 36, grey = "glass" }
blade = [{ side = "left", insertion_mm = 6, angle_deg = 8, offset_mm = 2 }, { side = "top", insertion_mm = 3 }]
filter = [
    { kind = "temperature", mired_shift = 60 },
    { kind = "neutral", density = 0.2 },
    { kind = "neutral", stops = 0.3 },
    { kind = "band", centre_nm = 560, width_nm = 300 },
    { kind = "edge_long", edge_nm = 420, width_nm = 30 },
    { kind = "edge_short", edge_nm = 680, width_nm = 30 },
    { kind = "table", wavelength_nm = [400, 600, 700], transmittance = [0.6, 0.9, 0.8] },
    { name = "eighth-warm" },
]
source = { kind = "tungsten", temperature_k = 3200 }
focus = { at = "sitter.left_eye", offset_mm = 0.4 }
[projector.reading]
f_number = 8
iso = 100
distance_m = 2.0
shutter_s = 0.01
receptor = "dome"
meter_constant = 320
lens_f_number = 2.0
[projector.lens]
focal_length_mm = 85
f_number = 2.2
widest_f_number = 1.8
transmittance = 0.85
filled_pupil_mm = 36
pupil_offset_mm = 12
nearest_focus_m = 0.8
lateral_colour_mm = 0.05
corner_softness_mm = 0.2
spherical_mm = 0.1
distortion_percent = 2
dispersion = { abbe_number = 55 }
[[projector]]
name = "back"
position_m = [1.4, 2.1, 0.9]
aim = "sitter.nose_tip"
gate = { shape = "round", diameter_mm = 30 }
stencil = { file = "stripes.png", width_mm = 29 }
lens = { focal_length_mm = 70, f_number = 2.8, pupil = { shape = "polygon", n_blades = 7, rotation_deg = 10 } }
focus = { distance_m = 1.5 }
output = { lumen_seconds = 20, lens_f_number = 2.0 }
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
name = "bars"
shape = "box"
position_m = [-0.15, 1.6, 0.3]
pitch_deg = 20
width_m = 0.5
height_m = 0.015
depth_m = 0.02
colour = [0.6, 0.3, 0.2]
[[figure]]
name = "sitter"
kind = "head"
position_m = [0.1, 0.0, 0.0]
stature_m = 1.7
yaw_deg = 10
pitch_deg = 2
tilt_deg = 1
colour = [0.5, 0.4, 0.3]
[ambient]
of = "key"
stops_under = 5
"""
ODD = """
format = 1
[gear]
title = "What is there"
[[gear.unit]]
name = "lamp"
reading = { f_number = 8, distance_m = 2.0 }
steps = "thirds"
lowest = "1/64"
[camera]
position_m = [0.0, 1.2, 3.2]
aim = "sweep.centre"
[[projector]]
name = "drawn"
position_m = [-1.2, 1.8, 2.2]
aim = "rock.centre"
gate = { shape = "round", diameter_mm = 36 }
stencil = { file = "dots.png", width_mm = 34 }
source = { kind = "led", hue_deg = 30, saturation = 0.5, emitters = "rgbaw", temperature_k = 4000 }
filter = [{ file = "mauve.csv" }]
output = { lumens = 900, before_lens = true }
[projector.lens]
focal_length_mm = 60
f_number = 2.0
pupil = { shape = "bitmap", file = "pupil.png" }
dispersion = { glass = "N-BK7" }
[[projector]]
name = "ring"
position_m = [1.0, 1.4, 2.0]
aim = [0.1, 1.0, 0.0]
gate = { shape = "rectangle", width_mm = 24, height_mm = 36 }
[projector.lens]
focal_length_mm = 85
f_number = 2.8
pupil = { shape = "ring", inner_fraction = 0.5 }
dispersion = { achromat = ["N-BK7", "F2"] }
[projector.output]
lumens = 500
[projector.output.lens]
focal_length_mm = 85
f_number = 2.0
dispersion = { secondary_spectrum_mm = 0.4 }
[[projector]]
name = "card"
position_m = [0.2, 1.6, 2.2]
aim = [0.1, 1.0, 0.0]
gate = { shape = "rectangle", width_mm = 120, height_mm = 90 }
lamp = { opening_mm = 30, card_mm = 400 }
source = { kind = "led", xy = [0.4, 0.42] }
power = { unit = "lamp", setting = "1/2" }
[[surface]]
name = "sweep"
shape = "sweep"
width_m = 2.4
height_m = 2.0
foot_radius_m = 0.4
floor_length_m = 1.2
[[surface]]
name = "rock"
shape = "mesh"
file = "rock.off"
unit = "cm"
position_m = [0.1, 0.9, 0.6]
[[figure]]
name = "passer-by"
kind = "head"
position_m = [-0.5, -0.4, 0.2]
[ambient]
reading = { f_number = 2.8, shutter_s = 0.02, iso = 100, receptor = "flat", meter_constant = 250 }
"""
LIT = """
format = 1
[gear]
title = "What is there"
[[gear.unit]]
name = "lamp"
reading = { f_number = 8, distance_m = 2.0 }
[[gear.unit]]
name = "second lamp"
reading = { f_number = 5.6, distance_m = 2.0 }
[[gear.unit]]
name = "spare"
reading = { f_number = 4, distance_m = 2.0 }
[camera]
position_m = [0.3, 1.6, 2.6]
aim = "sitter.chin"
focal_length_mm = 40
[[figure]]
name = "sitter"
kind = "head"
[[surface]]
name = "wall"
position_m = [0.0, 1.4, -0.8]
width_m = 3.0
height_m = 3.0
[[projector]]
name = "window"
position_m = [-0.7, 1.7, 1.8]
aim = "wall.centre"
gate = { shape = "round", diameter_mm = 30 }
lens = { focal_length_mm = 85, f_number = 2.8 }
power = { unit = "lamp", setting = "1/2" }
[[light]]
name = "head"
kind = "bare"
position_m = [0.9, 1.9, 1.2]
aim = "sitter.chin"
power = { unit = "second lamp", stops = -1 }
[[light]]
name = "key"
kind = "panel"
width_m = 0.7
height_m = 0.9
recess_m = 0.05
layers = 1
grid = { beam_deg = 50 }
roll_deg = 10
position_m = [-1.0, 2.0, 1.3]
aim = "sitter.nose_tip"
filter = [{ kind = "neutral", stops = 0.5 }]
reading = { f_number = 8, at = "sitter.nose_tip", iso = 200, receptor = "dome" }
[[light]]
name = "back"
kind = "panel"
diameter_m = 0.8
n_sides = 8
position_m = [1.3, 1.9, 0.9]
aim = "sitter.nose_tip"
source = { kind = "led", temperature_k = 4000 }
flash = false
against = { of = "key", at = "sitter.chin", stops = -1 }
[[light]]
name = "spot"
kind = "spot"
diameter_m = 0.1
beam_deg = 12
field_deg = 25
position_m = [0.4, 2.6, -0.5]
aim = "sitter.chin"
output = { lumen_seconds = 4 }
[[light]]
name = "tube"
kind = "tube"
length_m = 0.8
diameter_m = 0.03
position_m = [-0.9, 1.2, -0.4]
aim = "wall.centre"
energy = { watts = 20, lumens_per_watt = 60 }
[[light]]
name = "lamp"
kind = "measured"
file = "lamp.ies"
diameter_m = 0.2
position_m = [0.8, 1.2, 1.8]
aim = "wall.centre"
[[light]]
name = "strip"
kind = "strip"
width_m = 0.2
height_m = 0.9
grid = { cell_mm = 20, depth_mm = 25 }
position_m = [1.2, 1.6, -0.3]
aim = "sitter.chin"
reading = { f_number = 4, distance_m = 1.0, shutter_s = 0.01 }
[ambient]
of = "back"
stops_under = 5
"""
HELD = tempfile.TemporaryDirectory(prefix="every-field-")
FOLDER = Path(HELD.name)
ROWS, COLUMNS = np.indices((72, 72))
BITMAPS = {
    "blots": np.clip(0.5 + np.sin(0.4 * ROWS + np.sin(0.2 * COLUMNS)) + np.cos(0.33 * COLUMNS), 0.0, 1.0),
    "stripes": COLUMNS // 8 % 2 == 0,
    "dots": np.hypot(ROWS % 18 - 9, COLUMNS % 18 - 9) < 5,
    "pupil": (abs(ROWS - 36) < 24) & (abs(COLUMNS - 36) < 10),
    "slot": abs(ROWS - 36) < 12,
}
ROCK = "OFF\n4 4 0\n-12 0 -8\n14 2 -6\n1 26 -2\n0 4 18\n3 0 2 1\n3 0 1 3\n3 1 2 3\n3 2 0 3\n"
for name, values in BITMAPS.items():
    Image.fromarray(np.round(np.asarray(values, float) * 255).astype(np.uint8)).save(FOLDER / f"{name}.png")
for name, passed in (("mauve", (0.7, 0.3, 0.6)), ("straw", (0.2, 0.7, 0.8))):
    table = [(nm, np.interp(nm, (400, 550, 700), passed)) for nm in range(400, 701, 20)]
    rows = "".join(f"{nm},{share:.3f}\n" for nm, share in table)
    (FOLDER / f"{name}.csv").write_text(f"wavelength_nm,transmittance\n{rows}")
(FOLDER / "rock.off").write_text(ROCK)
(FOLDER / "stone.off").write_text(ROCK.replace("26", "34"))
ANGLES = range(0, 91, 15)
for name, power in (("lamp", 1), ("other", 3)):
    candela = " ".join(f"{900 * np.cos(np.radians(angle)) ** power:.3f}" for angle in ANGLES)
    (FOLDER / f"{name}.ies").write_text(
        f"IESNA:LM-63-2002\nTILT=NONE\n1 -1 1 {len(ANGLES)} 1 1 2 -0.1 -0.1 0\n1 1 50\n"
        f"{' '.join(map(str, ANGLES))}\n0\n{candela}\n"
    )
TEXTS = {"bare": BARE, "full": FULL, "odd": ODD, "lit": LIT}
OF_LIGHTS = ("light", "gear", "ambient", "power")
SCENES = {name: load_text(text, name, FOLDER) for name, text in TEXTS.items()}

# Other words for what a string may say, by its field.
WORDS = {
    "title": ["Other"],
    "name": ["other", "key", "half-cool"],
    "unit": ["second lamp"],
    "setting": ["1/4"],
    "lowest": ["1/32"],
    "of": ["back", "window", "key", "strip"],
    "glass": ["N-SF11"],
    "achromat": [["N-BK7", "N-SF11"]],
    "file": ["stripes.png", "dots.png", "slot.png", "stone.off", "straw.csv", "other.ies"],
}
PLACES = ["sitter.mouth", "sitter.right_eye", "wall.centre", "rock.centre", [0.05, 1.35, 0.02]]
NUMBERS = [0.4, 0.7, 1.5, 3, 7, 20, 60, 250, 550, 5000]
COLOURS = [[0.7, 0.3, 0.2]]
# Whole parts, to be added, or put in the place of one whose kind is another.
EXAMPLES = {
    "Gate": [
        {"shape": "rectangle", "width_mm": 30, "height_mm": 26},
        {"shape": "round", "diameter_mm": 33},
    ],
    "Stencil": [{"file": "stripes.png", "width_mm": 33}],
    "PupilShape": [
        {"shape": "ring", "inner_fraction": 0.6},
        {"shape": "polygon", "n_blades": 5},
        {"shape": "disc"},
        {"shape": "bitmap", "file": "slot.png"},
    ],
    "Dispersion": [{"abbe_number": 40}, {"glass": "N-SF11"}],
    "Lens": [{"focal_length_mm": 75, "f_number": 4}],
    "Lamp": [{"opening_deg": 0.6}, {"opening_mm": 50, "card_mm": 300}],
    "Blade": [{"side": "right", "insertion_mm": 8}],
    "Filter": [
        {"kind": "temperature", "mired_shift": -60},
        {"kind": "neutral", "stops": 1},
        {"name": "pink"},
        {"file": "straw.csv"},
    ],
    "Source": [{"kind": "led", "xy": [0.3, 0.4]}, {"kind": "led", "hue_deg": 200, "saturation": 0.4}],
    "Reading": [
        {"f_number": 5.6, "distance_m": 1.8},
        {"f_number": 5.6, "distance_m": 1.8, "lens": {"focal_length_mm": 75, "f_number": 4}},
    ],
    "RoomReading": [{"f_number": 2, "shutter_s": 0.01}],
    "Output": [{"lumen_seconds": 15}],
    "GearPower": [{"unit": "lamp", "stops": -2}],
    "Gear": [{"unit": [{"name": "lamp", "reading": {"f_number": 4, "distance_m": 2.0}}]}],
    "GearUnit": [{"name": "other lamp", "reading": {"f_number": 4, "distance_m": 2.0}}],
    "Ambient": [
        {"stops_under": 3, "of": "back"},
        {"stops_under": 3},
        {"lux": 40},
        {"reading": {"f_number": 2, "shutter_s": 0.01}},
    ],
    "Light": [
        {"name": "more", "kind": "bare", "position_m": [0.5, 1.9, 1.9], "aim": [0, 1.4, 0]},
        {"name": "more", "kind": "dish", "position_m": [0.5, 1.9, 1.9], "aim": [0, 1.4, 0], "grid": {"beam_deg": 40}},
        {"name": "more", "kind": "hard", "position_m": [0.5, 1.9, 1.9], "aim": [0, 1.4, 0], "on": False},
    ],
    "Honeycomb": [{"beam_deg": 30}, {"cell_mm": 10, "depth_mm": 15}],
    "LightReading": [{"f_number": 5.6, "distance_m": 1.2}, {"f_number": 5.6, "at": [0, 1.5, 0.2], "shutter_s": 0.02}],
    "Against": [{"of": "key", "at": [0, 1.5, 0.2], "stops": 1}],
    "LightOutput": [{"lumens": 300}],
    "Energy": [{"watt_seconds": 5}],
    "Haze": [{"extinction_per_m": 0.08}, {"loss_percent": 15, "over_m": 3}],
    "Focus": [{"distance_m": 1.7}],
    "Surface": [
        {
            "name": "more",
            "shape": "box",
            "position_m": [0.3, 1.5, 0.3],
            "width_m": 0.1,
            "height_m": 0.1,
            "depth_m": 0.1,
        },
        {
            "name": "rock",
            "shape": "box",
            "position_m": [0.1, 1.0, 0.5],
            "width_m": 0.1,
            "height_m": 0.1,
            "depth_m": 0.1,
        },
        {"name": "wall", "shape": "sweep", "position_m": [0.0, 0.0, -0.2]},
    ],
    "Figure": [{"kind": "head", "position_m": [-0.2, 0, 0.1]}],
    "Projector": [
        {
            "name": "more",
            "position_m": [0.5, 1.9, 1.9],
            "aim": [0, 1.4, 0],
            "gate": {"shape": "round", "diameter_mm": 20},
            "lens": {"focal_length_mm": 85, "f_number": 4},
            "reading": {"f_number": 4, "distance_m": 2},
        },
        {
            "name": "more",
            "position_m": [0.5, 1.9, 1.9],
            "aim": [0, 1.4, 0],
            "gate": {"shape": "round", "diameter_mm": 90},
            "lamp": {"opening_mm": 25, "card_mm": 350},
        },
    ],
}


def meanings(annotation):
    """What an annotation allows, one by one: unions, marks and named tuples taken apart."""
    origin = get_origin(annotation)
    if origin is Annotated:
        yield from meanings(get_args(annotation)[0])
    elif origin in (Union, types.UnionType):
        for part in get_args(annotation):
            yield from meanings(part)
    else:
        yield annotation


def part_of(annotation):
    """The class of parts that a field holds one or several of, and whether several; None for any other field."""
    for meaning in meanings(annotation):
        if isinstance(meaning, type) and issubclass(meaning, Part):
            return meaning, False
        inner = [one for item in get_args(meaning) if item is not ... for one in meanings(item)]
        if inner and isinstance(inner[0], type) and issubclass(inner[0], Part):
            return inner[0], True
    return None


def others(field: str, annotation, value):
    """Other values for a field, most likely legal ones first; whole parts among them."""
    part = part_of(annotation)
    allowed = list(meanings(annotation))
    if part is not None and part[1]:
        yield from ([*value, item] for item in EXAMPLES[part[0].__name__])
        yield from (value[:-1], value[::-1]) if value else ()
    elif part is not None:
        yield from EXAMPLES[part[0].__name__] if value is None else ()
    elif field in ("aim", "at", "focus"):
        yield from PLACES
    elif any(get_origin(one) is Literal for one in allowed):
        yield from (word for one in allowed for word in get_args(one))
    elif field in WORDS:
        yield from WORDS[field]
    elif isinstance(value, bool):
        yield not value
    elif isinstance(value, list):
        yield from ([first, *value[1:]] for first in (value[0] + 0.15, value[0] - 0.15, 1.02 * value[0]))
    elif isinstance(value, int):
        yield from (value + 1, value - 1)
    elif isinstance(value, float):
        yield from (value * 1.06 + 0.02, value * 0.94 - 0.02, round(value * 1.06) + 1)
    elif value is None:
        yield from COLOURS if field == "colour" else NUMBERS
    if type(None) in allowed:
        yield None


def fields(part: type[Part], data: dict, path=()):
    """Path, class, field's name and value of every field of a scene's data, in its parts as well."""
    for name, info in part.model_fields.items():
        value, inner = data.get(name), part_of(info.annotation)
        yield (*path, name), part, name, value
        if inner is not None and value:
            for index, item in enumerate(value) if inner[1] else [(None, value)]:
                yield from fields(inner[0], item, (*path, name) if index is None else (*path, name, index))


def put(data: dict, path, value) -> dict:
    """A copy of a scene's data with another value at a path."""
    copied = copy.deepcopy(data)
    place = copied
    for key in path[:-1]:
        place = place[key]
    place[path[-1]] = value
    return copied


def legal(data: dict) -> Scene | None:
    """The scene of such data, None if something is wrong with it."""
    try:
        scene = Scene.model_validate_json(json.dumps(data)).placed_at("changed", str(FOLDER))
        return None if cross_check(scene)[0] else scene
    except ValueError:
        return None


def changed(data: dict, path, part: type[Part], field: str, value):
    """Scenes in which one field is another: the first legal one, and, of a part or an option, the one without it.

    Where a kind cannot change alone, the whole part is put in place of which it is the kind.
    """
    found = []
    candidates = [put(data, path, other) for other in others(field, part.model_fields[field].annotation, value)]
    for example in EXAMPLES.get(part.__name__, []):
        if example.get(field) not in (None, value):
            candidates.append(put(data, path[:-1], example))
    for candidate in candidates:
        scene = None if candidate == data else legal(candidate)
        # The kind that a part is of is tried in every way: another way is another code.
        if scene is not None and (not found or field in ("shape", "kind")):
            found.append(scene)
    if value is not None and type(None) in meanings(part.model_fields[field].annotation):
        without = legal(put(data, path, None))
        found += [without] if without is not None else []
    return found


def all_changes():
    """Name of the scene, path, class and field, and the changed scene, for every field that can be another alone."""
    for name, scene in SCENES.items():
        data = json.loads(scene.model_dump_json())
        for path, part, field, value in fields(Scene, data):
            # What other scenes change as well is not changed beside eight lights again.
            if name != "lit" or {*path[:1], *path[2:3], field} & {*OF_LIGHTS}:
                for other in changed(data, path, part, field, value):
                    yield name, path, (part.__name__, field), other


@pytest.fixture(scope="module")
def changes():
    """All changes, in no order of their own."""
    found = list(all_changes())
    return random.Random(11).sample(found, len(found))


def shown_wrongly(changes) -> list:
    """Of changes those that a session does not show as a new one does, and those from which it does not come back."""
    wrong = []
    with Workers(1) as workers:
        names = {name for name, *_ in changes}
        sessions = {name: RenderSession(SCENES[name], *SIZE, workers=workers) for name in names}
        before = {name: session.rgb_bytes() for name, session in sessions.items()}
        for name, path, _, scene in changes:
            session = sessions[name]
            session.change_to(scene)
            alone = RenderSession(scene, *SIZE, workers=workers, stacks=Store())
            if not np.array_equal(session.rgb_bytes(), alone.rgb_bytes()):
                wrong.append((name, path))
            # Back again, so that the next change is the only one.
            session.change_to(SCENES[name])
            if not np.array_equal(session.rgb_bytes(), before[name]):
                wrong.append((name, path, "and back"))
    return wrong


@pytest.mark.slow
def test_every_field_of_every_part_is_changed_in_one_of_the_scenes(changes):
    """There is one version of the format, so that alone can be no other; a part that is always there changes field by
    field.
    """
    known = {(part.__name__, name) for part in parts(Scene) for name, info in part.model_fields.items() if may_go(info)}
    assert known - {field for _, _, field, _ in changes} == {("Scene", "format")}
    assert len({(name, path) for name, path, *_ in changes}) > 260


def may_go(info) -> bool:
    """Whether a field holds anything but a single part that is always there."""
    return part_of(info.annotation) is None or part_of(info.annotation)[1] or type(None) in meanings(info.annotation)


def parts(part: type[Part]):
    """A class of parts and those of its fields."""
    yield part
    for info in part.model_fields.values():
        inner = part_of(info.annotation)
        if inner is not None and inner[0] is not part:
            yield from parts(inner[0])


@pytest.mark.parametrize("share", mostly_slow(range(24), quick=0))
def test_a_session_shows_every_change_as_a_new_session_does(share, changes):
    """Those of the scene with lights are in a file of their own, for a process of its own."""
    assert shown_wrongly([change for change in changes if change[0] != "lit"][share::24]) == []
