"""Pictures: the same bytes however they are made, upright all the way to the file, and nothing of the user's lost."""

from __future__ import annotations

import json

import numpy as np
import pytest
from PIL import Image

from projector.faults import SceneError
from projector.files.finding import shipped_folder
from projector.files.records import read_record
from projector.rendering import preview, sampling, workers
from projector.rendering.session import RenderSession
from projector.rendering.workers import Progress, Stopped, Workers
from projector.scene.reading.reader import load, with_overrides

SIZE = (160, 120)
SIZED = {"width": 160, "height": 120}


def shipped(name, overrides=()):
    return load(shipped_folder("scene") / f"{name}.toml", overrides)


def test_one_thread_and_two_and_another_run_give_the_same_bytes():
    scene = shipped("03-cabin-window")
    pictures = [
        preview.preview(scene, **SIZED, quality=quality, threads=threads).pixels
        for quality in ("quick", "fine")
        for threads in (1, 2, 2)
    ]
    for first, second, third in (pictures[:3], pictures[3:]):
        assert np.array_equal(first, second)
        assert np.array_equal(first, third)


def test_pieces_and_bands_of_any_size_give_the_same_bytes(monkeypatch):
    scene = shipped("06-oblique-wall")
    whole = preview.preview(scene, **SIZED, quality="fine", threads=2).pixels
    monkeypatch.setattr(preview, "ROWS_PER_BAND", 17)
    monkeypatch.setattr(workers, "DEFAULT_PIECE", 777)
    monkeypatch.setattr(sampling, "ROWS_PER_PIECE", 3)
    assert np.array_equal(whole, preview.preview(scene, **SIZED, quality="fine", threads=2).pixels)


MARK = np.zeros((200, 200))
MARK[20:180, 30:60] = 1.0
MARK[20:50, 30:170] = 1.0
MARK[90:115, 30:120] = 1.0


@pytest.mark.parametrize("roll", [0.0, 90.0])
def test_the_mark_stands_upright_in_the_file_that_is_written(studio, tmp_path, roll):
    """A camera behind the projector sees on the wall what the bitmap shows,
    turned clockwise by the projector's roll.
    """
    tube = 1.0 / (1.0 / 0.085 - 0.5)
    side = 0.030 * 2.0 / tube
    projector = {
        "roll_deg": roll,
        "lens": {"f_number": 16.0},
        "stencil": {"file": studio.bitmap("mark.png", MARK), "width_mm": 30.0},
    }
    scene = studio.scene(
        projector, camera={"position_m": [0.0, 1.5, 4.0], "focal_length_mm": 24.0 * 4.0 / side, "f_number": 8.0}
    )
    path = preview.preview(scene, width=200, height=200, quality="fine").save(tmp_path / "seen")
    seen = np.asarray(Image.open(path).convert("L")) > 168
    # Code 168 is 0.4 linear, half of the wall's 0.8.
    wanted = np.rot90(MARK > 0.5, k=-int(roll // 90))
    assert (seen != wanted).mean() < 0.015


def test_a_metered_white_renders_at_its_own_reflectance(studio):
    """ISO 2720 and IEC 61966-2-1: exposed as metered, a grey of 0.18 comes out at code 118 (published: 117.65)."""
    scene = studio.scene(
        wall={"reflectance": 0.18},
        camera={"f_number": 8.0, "iso": 100.0, "white_balance_k": 5600.0, "position_m": [0.3, 1.5, 3.0]},
    )
    pixels = preview.preview(scene, width=64, height=48, quality="fine").pixels
    assert pixels[24, 32].tolist() == pytest.approx([118, 118, 118], abs=1)


@pytest.mark.parametrize(
    ("kind", "kelvin"),
    [
        ("tungsten", 2800.0),
        ("tungsten", 4000.0),
        ("led", 4000.0),
        ("led", 4500.0),
        ("daylight", 3700.0),
        ("daylight", 4500.0),
        ("led", 12000.0),
    ],
)
def test_a_lamp_renders_neutral_under_its_own_white_balance(studio, kind, kelvin):
    """One white for lamp and camera: the same code in all three channels, to the rounding of a code (ΔE*ab 0.4 at code
    118).
    """
    scene = studio.scene(
        {"source": {"kind": kind, "temperature_k": kelvin}},
        {"reflectance": 0.18},
        {"f_number": 8.0, "iso": 100.0, "white_balance_k": kelvin, "position_m": [0.3, 1.5, 3.0]},
    )
    pixels = preview.preview(scene, width=16, height=12, quality="fine").pixels
    assert np.ptp(pixels[6, 8].astype(int)) <= 1
    assert pixels[6, 8].tolist() == pytest.approx([118, 118, 118], abs=1)


def test_shutter_moves_steady_light_and_not_a_flash(studio):
    """f/5.6, ISO 100, 1/30 → 1/8 s: +1.91 stops of steady light, none of a flash (marks taken as typed)."""
    steady = {"reading": {"f_number": 8.0, "iso": 100.0, "distance_m": 2.0, "shutter_s": 1 / 30}}
    for projector, stops in ((steady, 1.907), ({}, 0.0)):
        levels = []
        for shutter in (1 / 30, 1 / 8):
            scene = studio.scene(projector, camera={"shutter_s": shutter, "position_m": [0.3, 1.5, 3.0]})
            xyz, _ = RenderSession(scene, 32, 24).exposed()
            levels.append(float(xyz[12, 16, 1]))
        assert np.log2(levels[1] / levels[0]) == pytest.approx(stops, abs=0.01)


def test_a_picture_carries_its_record_and_is_not_laid_over_others(studio, tmp_path):
    scene = studio.scene()
    picture = preview.preview(scene, width=32, height=24, quality="quick")
    path = picture.save(tmp_path / "mine")
    about = read_record(path)
    assert about["scene_hash"] == scene.digest()
    assert about["settings"] == {"width": 32, "height": 24, "quality": "quick", "seed": 0}
    picture.save(tmp_path / "mine")
    other = tmp_path / "holiday.png"
    Image.new("RGB", (8, 8), (200, 10, 10)).save(other)
    before = other.read_bytes()
    with pytest.raises(SceneError, match=r"holiday\.png: this is there already"):
        picture.save(other)
    assert other.read_bytes() == before
    picture.save(other, overwrite=True)
    assert json.dumps(read_record(other)) == json.dumps(about)


def test_a_stop_is_heard_and_leaves_nothing_half_done():
    progress = Progress()
    progress.report = lambda name, done, total: progress.stop()
    session = RenderSession(shipped("03-cabin-window"), *SIZE)
    with pytest.raises(Stopped):
        session.rgb_bytes(progress)
    assert np.array_equal(session.rgb_bytes(), RenderSession(shipped("03-cabin-window"), *SIZE).rgb_bytes())


SHADOWS = {
    "seen grid window",
    "seen outlines window",
    "shadow edges",
    "first look shadow edges window",
    "seen shadow edges window",
    "reach shadow edges window",
    "look-ups window",
}
CHANGES = {
    "camera.iso=800": set(),
    # The room's light is neutral in the picture, and counts from the window's: stopped down, it is another.
    "camera.white_balance_k=4000": {"ambient"},
    "projector.window.focus.offset_mm=0.3": {"look-ups window"},
    "projector.window.lens.f_number=1.9": SHADOWS | {"ambient"},
    # A first look serves pupils of the same half stop.
    "projector.window.lens.f_number=4": (
        SHADOWS
        | {"first look grid window", "first look outlines window", "reach grid window", "reach outlines window"}
        | {"ambient"}
    ),
    "projector.window.source.temperature_k=4000": {"look-ups window"},
    "surface.backdrop.reflectance=0.3": {"look-ups window", "ambient"},
}


@pytest.mark.parametrize("change", CHANGES)
def test_a_session_makes_anew_only_what_a_change_touches(change):
    scene = shipped("03-cabin-window")
    session = RenderSession(scene, *SIZE)
    session.rgb_bytes()
    session.kept.made.clear()
    changed = with_overrides(scene, [change])
    session.change_to(changed)
    kept = session.rgb_bytes()
    assert set(session.kept.made) == CHANGES[change]
    assert np.array_equal(kept, RenderSession(changed, *SIZE).rgb_bytes())


@pytest.mark.parametrize(
    "change",
    [
        "camera.position_m=[0.2,1.5,3.0]",
        "projector.window.position_m=[-1.4,2.0,1.9]",
        "projector.window.stencil.file=blinds",
        "figure.pilot.yaw_deg=10",
    ],
)
def test_a_session_shows_what_a_new_one_would(change):
    scene = shipped("03-cabin-window")
    session = RenderSession(scene, *SIZE)
    session.rgb_bytes()
    changed = with_overrides(scene, [change])
    session.change_to(changed)
    assert np.array_equal(session.rgb_bytes(), RenderSession(changed, *SIZE).rgb_bytes())


def test_a_ring_stopped_down_in_a_session_casts_the_shadows_of_the_smaller_ring(studio):
    """The smaller ring does not lie within the larger one: a plate that hides the middle of the
    pupil hides more of it.
    """
    lens = {
        "focal_length_mm": 85.0,
        "f_number": 1.8,
        "widest_f_number": 1.8,
        "pupil": {"shape": "ring", "inner_fraction": 0.6},
    }
    plate = {
        "name": "plate",
        "shape": "box",
        "position_m": [0.0, 1.5, 1.2],
        "width_m": 0.02,
        "height_m": 0.02,
        "depth_m": 0.002,
    }
    wall = {"name": "wall", "shape": "flat", "position_m": [0.0, 1.5, 0.0], "width_m": 3.0, "height_m": 3.0}
    scene = studio.scene({"lens": lens, "stencil": None}, surfaces=[wall, plate])
    session = RenderSession(scene, *SIZE)
    session.rgb_bytes()
    changed = with_overrides(scene, ["projector.window.lens.f_number=3.6"])
    session.change_to(changed)
    assert np.array_equal(
        session.rgb_bytes(),
        RenderSession(with_overrides(changed, ["projector.window.lens.widest_f_number=3.6"]), *SIZE).rgb_bytes(),
    )


def test_a_pupil_that_was_drawn_anew_is_seen_by_the_session(studio):
    shape = np.zeros((64, 64))
    shape[:, 24:40] = 1.0
    lens = {"f_number": 1.8, "pupil": {"shape": "bitmap", "file": studio.bitmap("pupil.png", shape)}}
    scene = studio.scene({"lens": lens, "focus": {"distance_m": 1.2}})
    session = RenderSession(scene, *SIZE)
    before = session.rgb_bytes()
    studio.bitmap("pupil.png", np.ascontiguousarray(shape.T))
    after = session.rgb_bytes()
    assert np.abs(after.astype(int) - before).max() > 20
    assert np.array_equal(after, RenderSession(scene, *SIZE).rgb_bytes())


@pytest.mark.parametrize("width_m", [0.05])
def test_a_pattern_finer_than_a_pixel_is_even_whatever_else_stands_in_the_beam(studio, width_m):
    """A pixel's own footprint blurs stripes of a fifth of it away: no moiré, with or without something nearer that
    blurs more.
    """
    stripes = (np.arange(2048) // 4 % 2).astype(float)[None, :] * np.ones((2048, 1))
    projector = {
        "stencil": {"file": studio.bitmap("stripes.png", stripes), "width_mm": 36.0},
        "lens": {"f_number": 8.0},
    }
    wall = {"name": "wall", "shape": "flat", "position_m": [0.0, 1.5, 0.0], "width_m": 3.0, "height_m": 3.0}
    box = {
        "name": "box",
        "shape": "box",
        "position_m": [0.25, 1.75, 0.6],
        "width_m": width_m,
        "height_m": width_m,
        "depth_m": width_m,
    }
    pictures = [
        RenderSession(studio.scene(projector, surfaces=surfaces), *SIZE).exposed()[0][..., 1]
        for surfaces in ([wall], [wall, box])
    ]
    middle = (slice(56, 64), slice(70, 90))
    for picture in pictures:
        lit = picture[middle]
        assert lit.mean() > 0.0 and lit.std() < 0.05 * lit.mean()
    assert pictures[0][middle] == pytest.approx(pictures[1][middle], rel=1e-3)


def test_two_threads_rendering_at_once_do_not_differ():
    from concurrent.futures import ThreadPoolExecutor

    scenes = [shipped("03-cabin-window"), shipped("05-two-projectors")]
    alone = [RenderSession(scene, *SIZE).rgb_bytes() for scene in scenes]
    with ThreadPoolExecutor(2) as pool:
        together = list(pool.map(lambda scene: RenderSession(scene, *SIZE, workers=Workers(2)).rgb_bytes(), scenes * 3))
    for index, pixels in enumerate(together):
        assert np.array_equal(pixels, alone[index % 2])
