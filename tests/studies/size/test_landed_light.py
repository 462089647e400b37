"""On whom light lands: shares held to rendered maps, sizes to what a map shows, measures to the figure's own
landmarks."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from projector.answers.landing import landing_words
from projector.rendering.maps.irradiance import irradiance_map
from projector.scene.placement import placed_figure
from projector.scene.reading.reader import load_text
from projector.studies.size import landed_light as study
from projector.studies.size.landing import landing
from tests.conftest import mostly_slow

SITTER = {"name": "keeper", "kind": "head", "position_m": [0.1, -0.1, 0.8]}
STRIP = np.zeros((500, 1000))
STRIP[300:350, 200:800] = 1.0


def flux(scene) -> float:
    return float(irradiance_map(scene, "wall", 512).illuminance.sum())


@pytest.mark.parametrize(
    "projector",
    [
        {},
        {"gate": {"edge_falloff_stops": 1.5}, "lens": {"distortion_percent": 15.0}},
        {
            "gate": {"shape": "rectangle", "diameter_mm": None, "width_mm": 60.0, "height_mm": 44.0},
            "blade": [{"side": "left", "insertion_mm": 12.0, "angle_deg": 10.0}],
        },
    ],
    ids=["even", "hot spot and pincushion", "a blade"],
)
@pytest.mark.parametrize("has_stencil", mostly_slow([True, False]))
def test_what_passes_a_head_is_what_a_map_of_the_wall_behind_shows(studio, projector, has_stencil):
    """Light on the wall with the head over light without it, all of the beam on the wall: within 0.005, the penumbra
    of f/16 round the head."""
    drawn = (
        {
            "stencil": {
                "file": studio.bitmap("ramp.png", np.tile(np.linspace(0.0, 1.0, 256), (256, 1))),
                "width_mm": 50.0,
            }
        }
        if has_stencil
        else {}
    )
    changes = {**projector, **drawn, "lens": {"f_number": 16.0, **projector.get("lens", {})}}
    scene = studio.scene(changes, {"width_m": 2.4, "height_m": 2.4}, figures=[SITTER])
    landed = {item.name: item for item in study.landed_light(scene, scene.projector[0])}
    bare = scene.model_copy(update={"figure": ()}).placed_at("t", scene.folder)
    assert landed["wall"].share == pytest.approx(flux(scene) / flux(bare), abs=0.005)
    assert sum(item.share for item in landed.values()) == pytest.approx(1.0, abs=1e-12)
    assert list(landed) == ["keeper", "wall"] and landed["keeper"].share > 0.05


def test_a_strip_is_as_large_as_a_map_shows_it(studio, ruler):
    """600 × 50 of 1000 pixels over 50 mm: 30 × 2.5 mm; on the wall at 2.00 m times (D − f)/f, and in a map's middle."""
    scene = studio.scene(
        {"stencil": {"file": studio.bitmap("strip.png", STRIP), "width_mm": 50.0}, "lens": {"f_number": 11.0}}
    )
    spec = scene.projector[0]
    found = study.opening(scene, spec)
    assert (found.width_mm, found.height_mm, found.detail_mm) == pytest.approx((30.0, 2.5, 2.5), rel=1e-9)
    assert (found.bitmap_width_mm, found.bitmap_height_mm) == pytest.approx((50.0, 25.0), rel=1e-9)
    assert found.box_mm == pytest.approx((-15.0, 2.5, 15.0, 5.0), abs=1e-9)
    (item,) = study.landed_light(scene, spec)
    magnification = (2.0 - 0.085) / 0.085
    assert (item.opening_width_m, item.opening_height_m, item.detail_mm) == pytest.approx(
        (0.030 * magnification, 0.0025 * magnification, 2.5 * magnification), rel=1e-6
    )
    light = irradiance_map(scene, n_across=1024)
    x, y = ruler.axes(light)
    column = light.illuminance[:, 512].astype(float)
    row = light.illuminance[int(np.argmax(column))].astype(float)
    # Edges at half of the light; pixels of a bitmap's edge are drawn linear between their centres, a pixel of 1000 in
    # all.
    for line, places, wanted in ((row, x, item.opening_width_m), (column, y, item.opening_height_m)):
        ends = ruler.crossings(places, line, 0.5 * line.max())
        assert abs(ends[-1] - ends[0]) == pytest.approx(wanted, abs=50e-6 * magnification)


def test_blades_make_the_opening_of_a_gate_without_a_stencil(studio):
    blades = [{"side": "left", "insertion_mm": 12.0}, {"side": "top", "insertion_mm": 20.0}]
    scene = studio.scene(
        {"gate": {"shape": "rectangle", "diameter_mm": None, "width_mm": 60.0, "height_mm": 50.0}, "blade": blades}
    )
    found = study.opening(scene, scene.projector[0])
    # Looked for in 1024 steps.
    assert found.box_mm == pytest.approx((-18.0, -5.0, 30.0, 25.0), abs=0.06)
    assert found.bitmap_width_mm is None and found.detail_mm is None


def test_half_a_beam_beside_the_wall_lands_on_nothing(studio):
    scene = studio.scene({"aim": [1.0, 1.5, 0.0], "position_m": [1.0, 1.5, 2.0]})
    (item,) = study.landed_light(scene, scene.projector[0])
    assert item.share == pytest.approx(0.5, abs=0.003)


@pytest.mark.parametrize("stature", [1.0, 1.9])
def test_a_sitter_is_measured_between_its_landmarks(studio, stature):
    figure = {"name": "keeper", "kind": "head_and_torso", "stature_m": stature, "position_m": [0.0, 0.0, 0.5]}
    scene = studio.scene({"gate": {"diameter_mm": 1.0}}, figures=[figure])
    marks = placed_figure(scene.figure[0]).landmarks
    for target, on_head in (("keeper.forehead", 1.0), ("keeper.chest", 0.0)):
        spec = scene.projector[0].model_copy(update={"aim": target})
        (item,) = study.landed_light(scene, spec)
        assert (item.name, item.share, item.sitter.head_share) == ("keeper", pytest.approx(1.0), pytest.approx(on_head))
        assert item.sitter.face_width_m == pytest.approx(np.linalg.norm(marks["left_ear"] - marks["right_ear"]))
        # Of 1.70 m: bitragion breadth about 145 mm, chin to crown about 230 mm, of adults (ISO 7250-1 measures, values
        # from memory, ± 10 %).
        assert (item.sitter.face_width_m, item.sitter.head_height_m) == pytest.approx(
            (0.145 * stature / 1.7, 0.230 * stature / 1.7), rel=0.1
        )
        assert 0.33 < item.sitter.shoulder_width_m / (stature / 1.7) < 0.45


def test_a_black_stencil_lights_nothing(studio):
    scene = studio.scene({"stencil": {"file": studio.bitmap("black.png", np.zeros((64, 64))), "width_mm": 40.0}})
    assert study.landed_light(scene, scene.projector[0]) == []
    assert math.isnan(study.opening(scene, scene.projector[0]).width_mm)


def test_a_preview_says_how_large_opening_and_finest_detail_land(studio):
    """An open strip of 18 × 1.5 mm in a bitmap of 30 × 15 mm, 85 mm sharp at 2 m: all of it × 2 m / tube. A gate
    without a stencil has no detail, and its opening is its pattern; of a black stencil there is neither.
    """
    scale = 2.0 * (1.0 / 0.085 - 1.0 / 2.0)
    stencils = [{"file": studio.bitmap("strip.png", STRIP), "width_mm": 30.0}, None]
    stencils.append({"file": studio.bitmap("black.png", np.zeros((64, 64))), "width_mm": 30.0})
    said = []
    for stencil in stencils:
        scene = studio.scene({} if stencil is None else {"stencil": stencil})
        found = landing(scene, scene.projector[0])
        opened = study.landed_opening(scene, scene.projector[0], found.throw_m)
        said.append(
            (opened, [line for line in landing_words(found, opened, 8.0) if "open" in line and "gate m" not in line])
        )
    (strip, words), (gate, none), (black, nothing) = said
    assert (strip.opening_width_m, strip.opening_height_m) == pytest.approx((0.018 * scale, 0.0015 * scale), rel=0.01)
    assert strip.detail_mm == pytest.approx(1.5 * scale, rel=0.01)
    assert len(words) == 1 and f"{1500 * 0.001 * scale:.1f} mm" in words[0] and "finest detail" in words[0]
    assert gate.detail_mm is None and gate.opening_width_m == pytest.approx(0.06 * scale, rel=0.01) and none == []
    assert black.opening_width_m is None and nothing == ["window: nothing is open in its gate"]


SUN = """
format = 1
[camera]
position_m = [0.35, 1.5, 3.6]
aim = [0.0, 1.5, 0.0]
[[projector]]
name = "sun"
position_m = [0.0, 1.5, 2.0]
aim = [0.0, 1.5, 0.0]
gate = { shape = "rectangle", width_mm = 900, height_mm = 1200 }
stencil = { file = "square", width_mm = 1300 }
lamp = { opening_deg = 0.53 }
[[surface]]
name = "wall"
position_m = [0.0, 1.5, 0.0]
width_m = 4.0
height_m = 3.0
"""


def test_behind_a_windows_frame_the_sun_throws_it_as_large_as_it_is():
    """Parallel light: the opening lands as it is in the frame, and 2 m behind it an edge rises over the sun's own
    2·2 m·tan(0.265°) = 18.50 mm, of which 10–90 % is 0.687 (a disc's edge-spread, closed form). The light stands 1 km
    away: 0.2 % larger.
    """
    scene = load_text(SUN, "sun", Path())
    found, inside = landing(scene, "sun"), study.opening(scene, "sun")
    opened = study.landed_opening(scene, "sun", found.throw_m)
    assert found.throw_m == pytest.approx(2.0, abs=1e-6) and found.sharp_at_m == pytest.approx(0.0, abs=1e-6)
    assert found.blur_mm == pytest.approx(18.50, rel=5e-3)
    assert found.edge_width_mm == pytest.approx(0.687 * 18.50, rel=1e-2)
    assert 1e3 * opened.opening_width_m == pytest.approx(inside.width_mm, rel=3e-3)
    assert 1e3 * opened.opening_height_m == pytest.approx(inside.height_mm, rel=3e-3)
    said = landing_words(found, opened, 8.0)
    assert "light from far away" in said[0] and "sharp at its card alone; blur" in said[2]


@pytest.mark.parametrize(
    "blade",
    [(), ({"side": "left", "insertion_mm": 10.0, "offset_mm": 100.0},)],
    ids=["open", "a blade nearer the lamp"],
)
def test_a_bare_lamps_penumbra_counts_in_its_shares(studio, blade):
    """A hole of 30 mm half a metre before an opening of 80 mm: on a wall 2 m away its penumbra is 240 mm wide, and a
    wall of 120 mm gets a part only of the light whose chief rays all land on it. Held to lumens counted in a map by
    single rays, over those on a wall that catches all: within 0.01, what 16² rays a point leave.
    """
    lamp = {"lens": None, "focus": None, "lamp": {"opening_mm": 80.0, "card_mm": 500.0}, "reading": None}
    gate = {"shape": "rectangle", "width_mm": 30.0, "height_mm": 30.0, "diameter_mm": None}
    place = {"position_m": [0.0, 1.5, 2.0], "aim": [0.0, 1.5, 0.0], "output": {"lumens": 1000.0}}
    lit = []
    for size in (0.12, 1.2):
        scene = studio.scene(lamp | place | {"gate": gate, "blade": list(blade)}, {"width_m": size, "height_m": size})
        found = irradiance_map(scene, "wall", 96, n_rays_side=16)
        lit.append(float(found.illuminance.sum(dtype=float)) * (size / 96) ** 2)
        (landed,) = study.landed_light(scene, scene.projector[0])
        if size == 0.12:
            share = landed.share
    assert landed.share == pytest.approx(1.0, abs=1e-9)
    assert 0.1 < share < 0.6
    assert share == pytest.approx(lit[0] / lit[1], abs=0.01)
