"""The fast way held to a ray at a time, on every shipped scene and where two soft edges lie on each other.

Relative RMSE by three answers: the mean of (F − R1)·(F − R2) over points above 2 % of the open gate's level, R1 and R2
independent references, divided by the mean there. The references' noise drops out of the product.
"""

from __future__ import annotations

import numpy as np
import pytest

from projector.files.finding import list_scenes
from projector.rendering.maps.irradiance import irradiance_map
from projector.scene.reading.reader import load
from tests.conftest import mostly_slow

SCENES = [path for path, _ in list_scenes()]


def relative_rmse(fast, first, second, level):
    bright = first > 0.02 * level
    assert bright.mean() > 0.005
    squared = np.mean((fast - first)[bright] * (fast - second)[bright], dtype=float)
    return np.sqrt(max(squared, 0.0)) / np.mean(fast[bright], dtype=float)


def compared(scene, surface, n_across, n_rays_side):
    fast = irradiance_map(scene, surface, n_across)
    references = [irradiance_map(scene, surface, n_across, n_rays_side=n_rays_side, seed=seed) for seed in (11, 12)]
    return relative_rmse(fast.illuminance, references[0].illuminance, references[1].illuminance, fast.open_level)


@pytest.mark.parametrize("path", mostly_slow(SCENES), ids=lambda path: path.stem)
def test_every_scene_agrees_on_its_first_surface(path):
    scene = load(path)
    assert compared(scene, scene.surface[0].name, 160, 14) < 0.01


def in_a_beam(path) -> bool:
    """Whether a projector of a scene aims at its sitter, who is mapped as it sees her."""
    scene = load(path)
    return any(str(spec.aim).startswith(f"{figure.name}.") for spec in scene.projector for figure in scene.figure)


@pytest.mark.parametrize("path", mostly_slow(filter(in_a_beam, SCENES)), ids=lambda path: path.stem)
def test_every_sitter_agrees(path):
    """The figure as its first projector sees it: attached and cast shadows, grazing light, pattern and penumbra
    together.
    """
    scene = load(path)
    assert compared(scene, scene.figure[0].name, 120, 14) < 0.01


def test_a_soft_blade_edge_along_a_soft_stencil_edge_agrees(studio):
    """Both blur over the same strip; the product of the means would be wrong by up to a quarter of full light."""
    lens = {"focal_length_mm": 85.0, "f_number": 2.0}
    projector = {
        "lens": lens,
        "focus": {"distance_m": 1.9},
        "stencil": {"file": studio.half_plane(1024), "width_mm": 30.0},
        "blade": [{"side": "right", "insertion_mm": 29.9, "offset_mm": -1.0}],
    }
    scene = studio.scene(projector, {"width_m": 0.1, "height_m": 0.02})
    assert compared(scene, None, 200, 24) < 0.01


def holes_mm(size, width_mm, places_mm, diameter_mm):
    """A bitmap (size, size) of round holes, their rims as grey as they cover a pixel."""
    middles = ((np.arange(size) + 0.5) / size - 0.5) * width_mm
    distance = np.min([np.hypot(middles[None, :] - x, middles[:, None] - y) for x, y in places_mm], axis=0)
    return np.clip(0.5 + (0.5 * diameter_mm - distance) * size / width_mm, 0.0, 1.0)


def slits_mm(size, width_mm, slit_mm, length_mm, pitch_mm, count):
    """The same of upright slits side by side."""
    middles = ((np.arange(size) + 0.5) / size - 0.5) * width_mm
    away = np.min([abs(middles - (i - 0.5 * (count - 1)) * pitch_mm) for i in range(count)], axis=0)
    across = np.clip(0.5 + (0.5 * slit_mm - away) * size / width_mm, 0.0, 1.0)
    return across[None, :] * (abs(middles) < 0.5 * length_mm)[:, None]


# Bitmaps 24 mm wide whose openings are smaller than the blur: what of the wall they light (m), rays a side that make
# some hundred of them meet an opening.
OPENINGS = {
    "slits": (slits_mm(800, 24.0, 0.5, 12.0, 2.0, 5), (0.35, 0.45), 50),
    "one hole": (holes_mm(800, 24.0, [(2.0, -1.0)], 0.8), (0.28, 0.28), 90),
    "three holes": (holes_mm(800, 24.0, [(-3.0, 1.0), (4.0, 0.0), (0.0, -4.0)], 0.6), (0.35, 0.35), 110),
    "dots": (holes_mm(800, 24.0, [(x, y) for x in range(-4, 5, 2) for y in range(-4, 5, 2)], 0.7), (0.32, 0.32), 60),
    "one slit": (slits_mm(800, 24.0, 0.5, 12.0, 1.0, 1), (0.3, 0.5), 60),
}
PUPILS = {
    "disc": None,
    "hexagon": {"shape": "polygon", "n_blades": 6, "rotation_deg": 10.0},
    "triangle": {"shape": "polygon", "n_blades": 3},
    "ring": {"shape": "ring", "inner_fraction": 0.6},
}


CASES = [(name, "disc", offset_mm) for name in OPENINGS for offset_mm in (2.5, -4.0)]
CASES += [
    ("three holes", "hexagon", 2.5),
    ("three holes", "ring", -4.0),
    ("dots", "triangle", -4.0),
    ("dots", "ring", 2.5),
    ("one slit", "triangle", 2.5),
    ("slits", "hexagon", -4.0),
]


@pytest.mark.parametrize(("name", "pupil", "offset_mm"), mostly_slow(CASES))
def test_openings_smaller_than_their_blur_agree(studio, name, pupil, offset_mm):
    """Holes, dots and slits spread over patches of 1.3 and 2.1 mm: two to four times as wide as they are."""
    values, (width, height), n_rays_side = OPENINGS[name]
    projector = {
        "lens": {"focal_length_mm": 85.0, "f_number": 1.8, "pupil": PUPILS[pupil]},
        "focus": {"distance_m": 2.0, "offset_mm": offset_mm},
        "stencil": {"file": studio.bitmap("openings.png", values), "width_mm": 24.0},
        "gate": {"diameter_mm": 30.0},
    }
    scene = studio.scene(projector, {"width_m": width, "height_m": height})
    fast = irradiance_map(scene, None, 32)
    references = [irradiance_map(scene, None, 32, n_rays_side=n_rays_side, seed=seed).illuminance for seed in (11, 12)]
    # Against the brightest there is, as little of the open gate's light arrives anywhere.
    assert relative_rmse(fast.illuminance, *references, fast.illuminance.max()) < 0.01


@pytest.mark.parametrize("in_the_way", ["plate", "blade"])
@pytest.mark.parametrize("name", ["three holes", "dots", "slits"])
@pytest.mark.slow
def test_openings_behind_a_soft_shadow_or_a_blade_agree(studio, name, in_the_way):
    """The edge of a plate 0.8 m before the wall, or of a blade 3 mm behind the stencil, across holes and slits half as
    wide as their blur.
    """
    values, (width, height), n_rays_side = OPENINGS[name]
    wall = {"name": "wall", "shape": "flat", "position_m": [0.0, 1.5, 0.0], "width_m": width, "height_m": height}
    plate = {
        "name": "plate",
        "shape": "flat",
        "position_m": [0.508, 1.5, 0.8],
        "width_m": 1.0,
        "height_m": 1.0,
        "tilt_deg": 15.0,
    }
    projector = {
        "lens": {"focal_length_mm": 85.0, "f_number": 1.8},
        "focus": {"distance_m": 2.0, "offset_mm": 2.5},
        "stencil": {"file": studio.bitmap("openings.png", values), "width_mm": 24.0},
        "gate": {"diameter_mm": 30.0},
        "blade": (
            [{"side": "left", "insertion_mm": 14.5, "offset_mm": 3.0, "angle_deg": 20.0}]
            if in_the_way == "blade"
            else []
        ),
    }
    scene = studio.scene(projector, surfaces=[wall, plate] if in_the_way == "plate" else [wall])
    fast = irradiance_map(scene, "wall", 40)
    references = [
        irradiance_map(scene, "wall", 40, n_rays_side=n_rays_side, seed=seed).illuminance for seed in (11, 12)
    ]
    assert relative_rmse(fast.illuminance, *references, fast.illuminance.max()) < 0.01


@pytest.mark.parametrize("offset_mm", mostly_slow([4.0, 10.0, 30.0]))
def test_a_pinhole_far_out_of_focus_keeps_its_light(studio, ruler, offset_mm):
    """A hole of 0.2 mm in a bitmap of 36 mm lands as a disc of D·s·|1/z_f − 1/Z|·Z/s, as bright as its area is of the
    patch's.

    Thin-lens conjugates, E = τ·L·A·cos⁴θ/Z² behind an opening of which the patch sees its share (M. Born & E. Wolf,
    Principles of Optics). The disc's rim is the hole's own image wide.
    """
    hole, focal, throw = 0.2e-3, 0.085, 2.0
    diameter = focal / 1.8
    tube = 1.0 / (1.0 / focal - 1.0 / throw) + 1e-3 * offset_mm
    blur = diameter * abs(1.0 - throw * (1.0 / focal - 1.0 / tube))
    bitmap = studio.bitmap("hole.png", holes_mm(2048, 36.0, [(0.0, 0.0)], 0.2))
    projector = {
        "lens": {"f_number": 1.8},
        "focus": {"distance_m": throw, "offset_mm": offset_mm},
        "stencil": {"file": bitmap, "width_mm": 36.0},
    }
    scene = studio.scene(projector, {"width_m": 1.2 * blur, "height_m": 0.03 * blur})
    found = irradiance_map(scene, None, 600)
    x, _ = ruler.axes(found)
    line = found.illuminance[found.illuminance.shape[0] // 2]
    ends = ruler.crossings(x, line, 0.5 * line[300])
    assert ends[-1] - ends[0] == pytest.approx(blur, rel=0.01)
    patch = blur * tube / throw
    assert line[300] / found.open_level == pytest.approx((hole / patch) ** 2, rel=0.01)


CORRECTIONS = {
    "field curvature": {"corner_softness_mm": 0.8},
    "spherical aberration": {"spherical_mm": 0.6},
    "distortion and lateral colour": {"distortion_percent": 4.0, "lateral_colour_mm": 0.1},
    "all at once": {
        "corner_softness_mm": 0.5,
        "spherical_mm": 0.4,
        "distortion_percent": -3.0,
        "lateral_colour_mm": 0.08,
        "pupil_offset_mm": 40.0,
        "dispersion": {"abbe_number": 40.0},
    },
}


@pytest.mark.slow
@pytest.mark.parametrize("name", mostly_slow(CORRECTIONS))
def test_every_correction_of_the_lens_agrees(studio, name):
    """A grating of dots over the whole gate, on a tilted wall, through each fault of the lens and all of them."""
    rows, columns = np.indices((512, 512))
    dots = ((rows // 24 + columns // 24) % 2).astype(float)
    projector = {
        "lens": {"f_number": 2.0, **CORRECTIONS[name]},
        "focus": {"distance_m": 1.9},
        "stencil": {"file": studio.bitmap("dots.png", dots), "width_mm": 40.0},
        "gate": {"diameter_mm": 38.0},
    }
    scene = studio.scene(projector, {"width_m": 1.1, "height_m": 0.8, "yaw_deg": 20.0})
    assert compared(scene, None, 160, 16) < 0.01


def test_shadows_under_an_opening_take_the_whole_pupil_and_behind_a_slit_a_strip(studio, ruler):
    """The edge of a shadow rises over D·gap/(throw − gap) under a wide opening and stays as narrow as the slit's strip
    behind one.

    A plate 0.3 m before the wall in a beam of 2.0 m from a 47 mm pupil: full penumbra 8.3 mm (similar triangles). The
    slit lets light through a strip of pupil (slit image over defocus); it runs along the plate's edge, so across the
    edge the strip is thin.
    """
    plate = {"name": "plate", "shape": "flat", "position_m": [0.5, 1.5, 0.3], "width_m": 1.0, "height_m": 1.0}
    wall = {"name": "wall", "shape": "flat", "position_m": [0.0, 1.5, 0.0], "width_m": 0.04, "height_m": 0.004}
    lens = {"focal_length_mm": 85.0, "f_number": 1.8}
    widths = {}
    values = np.zeros((1024, 1024))
    values[:, 511:514] = 1.0
    for name, stencil in (("wide", None), ("slit", {"file": studio.bitmap("slit.png", values), "width_mm": 30.0})):
        focus = {"distance_m": 2.0} if name == "wide" else {"distance_m": 1.3}
        scene = studio.scene({"lens": lens, "focus": focus, "stencil": stencil}, surfaces=[wall, plate])
        found = irradiance_map(scene, "wall", 300)
        x, _ = ruler.axes(found)
        if name == "wide":
            # The share rises in steps of one ray in 256: where a step meets the level twice, its middle counts.
            full = found.illuminance[15].max()
            ends = [ruler.crossings(x, found.illuminance[15], level * full).mean() for level in (0.1, 0.9)]
            widths[name] = abs(ends[1] - ends[0])
        else:
            plain = irradiance_map(
                studio.scene({"lens": lens, "focus": focus, "stencil": stencil}, surfaces=[wall]), "wall", 300
            )
            share = found.illuminance[15] / np.maximum(plain.illuminance[15], 1e-9)
            lit = plain.illuminance[15] > 0.3 * plain.illuminance[15].max()
            widths[name] = ruler.edge_width(x[lit], share[lit])
    pupil = 0.085 / 1.8
    assert widths["wide"] == pytest.approx(0.687 * pupil * 0.3 / 1.7, rel=0.04)
    assert widths["slit"] < 0.5 * widths["wide"]
