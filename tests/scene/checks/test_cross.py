"""What the fields of a scene say together: each contradiction is a fault at its place, each oddity a warning."""

from __future__ import annotations

import copy

import numpy as np
import pytest

from projector.figures.figure import LANDMARKS
from projector.scene.checks.cross import cross_check

WINDOW = ("projector", 0)


def found_in(studio, **changes):
    """Faults by key, and warnings."""
    # The camera stands beside the lamp and not behind it, where the lamp would hide the wall.
    camera = {"position_m": [1.5, 1.5, 4.0], **changes.pop("camera", {})}
    faults, warnings = cross_check(studio.scene(camera=camera, **changes))
    return {fault.key: fault for fault in faults}, warnings


def test_the_plain_studio_has_neither_faults_nor_warnings(studio):
    assert found_in(studio) == ({}, [])


@pytest.mark.parametrize(
    ("projector", "key", "words"),
    [
        ({"gate": {"diameter_mm": None}}, "gate.diameter_mm", "a round gate needs diameter_mm"),
        ({"gate": {"width_mm": 30.0}}, "gate.width_mm", "does not belong to a round gate"),
        ({"gate": {"shape": "rectangle", "diameter_mm": None, "width_mm": 30.0}}, "gate.height_mm", "needs height_mm"),
        ({"lens": {"dispersion": {}}}, "lens.dispersion", "nothing in it"),
        ({"lens": {"dispersion": {"glass": "N-BK7", "abbe_number": 60.0}}}, "lens.dispersion", "glass and abbe_number"),
        (
            {"lens": {"dispersion": {"achromat": ["N-BK7", "F2"], "secondary_spectrum_mm": 0.1}}},
            "lens.dispersion",
            "achromat and secondary_spectrum_mm",
        ),
        ({"lens": {"dispersion": {"glass": "N-BK8"}}}, "lens.dispersion", '"N-BK8" is not known'),
        ({"lens": {"dispersion": {"achromat": ["N-BK7", "F3"]}}}, "lens.dispersion", '"F3" is not known'),
        ({"lens": {"dispersion": {"achromat": ["F2", "F2"]}}}, "lens.dispersion", "one glass twice"),
        ({"lens": {"pupil": {"shape": "polygon"}}}, "lens.pupil.n_blades", "needs n_blades"),
        ({"lens": {"pupil": {"shape": "ring"}}}, "lens.pupil.inner_fraction", "needs inner_fraction"),
        ({"lens": {"pupil": {"shape": "bitmap"}}}, "lens.pupil.file", "needs file"),
        ({"lens": {"pupil": {"shape": "bitmap", "file": "nothing.png"}}}, "lens.pupil.file", "no pupil file"),
        (
            {"lens": {"pupil": {"shape": "disc", "n_blades": 6}}},
            "lens.pupil.n_blades",
            "does not belong to a disc pupil",
        ),
        ({"lens": {"widest_f_number": 5.6}}, "lens.f_number", "f/4 on a lens whose widest is f/5.6"),
        (
            {"lens": {"distortion_percent": -33.4}},
            "lens.distortion_percent",
            "a barrel of -33.4 %: the gate's edge would land inside",
        ),
        ({"lens": {"distortion_percent": -100.0}}, "lens.distortion_percent", "a barrel of -100 %"),
        (
            {"lens": {"lateral_colour_mm": 5.0}, "gate": {"diameter_mm": 6.0}},
            "lens.lateral_colour_mm",
            "5 mm of lateral colour in the edge of a gate that is 3 mm",
        ),
        ({"output": {"lumens": 400.0}}, "output", "two statements of power"),
        ({"reading": None, "output": {}}, "output", "both or none"),
        ({"reading": None, "output": {"lumens": 1.0, "lumen_seconds": 1.0}}, "output", "both or none"),
        ({"focus": {"at": [0.0, 1.5, 0.0]}}, "focus", "both at and distance_m"),
        ({"stencil": {"file": "nothing", "width_mm": 30.0}}, "stencil.file", "no stencil file"),
        (
            {"blade": [{"side": "left", "insertion_mm": 1.0}, {"side": "left", "insertion_mm": 2.0}]},
            "blade",
            "2 blades on the left",
        ),
        ({"blade": [{"side": "left", "insertion_mm": 60.0}]}, "blade.left.insertion_mm", "no light is left"),
        (
            {"blade": [{"side": "top", "insertion_mm": 30.0}, {"side": "bottom", "insertion_mm": 30.0}]},
            "blade",
            "top and bottom blades meet",
        ),
        ({"filter": [{"kind": "neutral"}]}, "filter", "neutral filter with nothing"),
        ({"filter": [{"kind": "neutral", "density": 0.3, "stops": 1.0}]}, "filter", "density, stops"),
        ({"filter": [{"kind": "band", "centre_nm": 550.0}]}, "filter", "band filter with centre_nm"),
        (
            {"filter": [{"kind": "edge_long", "edge_nm": 550.0, "width_nm": 10.0, "stops": 1.0}]},
            "filter",
            "an edge_long filter with",
        ),
        (
            {"filter": [{"kind": "table", "wavelength_nm": [400.0, 500.0], "transmittance": [0.5]}]},
            "filter",
            "do not match",
        ),
        (
            {"filter": [{"kind": "table", "wavelength_nm": [500.0, 400.0], "transmittance": [0.5, 0.5]}]},
            "filter",
            "do not rise",
        ),
        ({"filter": [{"kind": "table", "wavelength_nm": [], "transmittance": []}]}, "filter", "do not rise"),
        (
            {"source": {"kind": "led", "temperature_k": 1200.0}},
            "source.temperature_k",
            "1200 K is outside 2000 to 20000 K",
        ),
        ({"source": {"kind": "tungsten", "temperature_k": 5600.0}}, "source.temperature_k", "no filament gives 5600 K"),
        ({"aim": "sitter.nose_tip"}, "aim", 'no landmark "sitter.nose_tip"'),
    ],
)
def test_a_contradiction_in_a_projector_is_told_at_its_key(studio, projector, key, words):
    faults, _ = found_in(studio, projector=projector)
    assert set(faults) == {f"projector.window.{key}"}
    assert words in faults[f"projector.window.{key}"].found


@pytest.mark.parametrize(
    "lens", [{"distortion_percent": -33.3}, {"distortion_percent": 40.0}, {"lateral_colour_mm": 5.0}]
)
def test_what_a_lens_can_do_is_no_fault(studio, lens):
    assert found_in(studio, projector={"lens": lens}) == ({}, [])


@pytest.mark.parametrize(
    ("wall", "key", "words"),
    [
        ({"depth_m": 1.0}, "depth_m", "does not belong to the shape flat"),
        ({"file": "wall.stl"}, "file", "does not belong to the shape flat"),
        ({"shape": "box", "foot_radius_m": 0.3}, "foot_radius_m", "does not belong to the shape box"),
        ({"shape": "sweep", "foot_radius_m": 2.0}, "foot_radius_m", "a foot of 2 m on a sweep 2 m high"),
        ({"shape": "mesh", "width_m": None, "height_m": None}, "file", "a mesh needs its file"),
        ({"shape": "mesh", "width_m": None, "height_m": None, "file": "nothing.stl"}, "file", "no mesh file"),
    ],
)
def test_a_contradiction_in_a_surface_is_told_at_its_key(studio, wall, key, words):
    faults, _ = found_in(studio, wall=wall)
    assert set(faults) == {f"surface.wall.{key}"} and words in faults[f"surface.wall.{key}"].found


def test_a_damaged_mesh_file_is_told_at_the_key_that_names_it(studio):
    (studio.folder / "cut.stl").write_bytes(b"\0" * 80 + (1000).to_bytes(4, "little") + b"\0" * 50)
    faults, _ = found_in(studio, wall={"shape": "mesh", "width_m": None, "height_m": None, "file": "cut.stl"})
    assert set(faults) == {"surface.wall.file"}


def test_a_damaged_file_is_named_beside_the_key_that_names_it(studio):
    """A scene of several bitmaps and meshes: which of them it is has to be said, once."""
    (studio.folder / "cut.png").write_bytes(b"\x89PNG\r\n\x1a\n")
    faults, _ = found_in(
        studio,
        projector={
            "stencil": {"file": "cut.png", "width_mm": 36.0},
            "lens": {"pupil": {"shape": "bitmap", "file": "gone.png"}},
        },
    )
    assert faults["projector.window.stencil.file"].found.startswith("cut.png: the PNG is cut short")
    assert faults["projector.window.lens.pupil.file"].found.count("gone.png") == 1


def test_names_are_used_once_among_what_light_falls_on_and_once_among_projectors(studio):
    faults, _ = found_in(
        studio, figures=[{"name": "wall", "kind": "head", "position_m": [5.0, 0.0, 0.0]}], more_projectors=[{}]
    )
    assert {"figure.wall", "projector.window"} <= set(faults)
    assert all("used twice" in fault.found for fault in faults.values())


def test_a_scene_needs_something_for_light_to_fall_on(studio):
    assert "surface" in found_in(studio, surfaces=[])[0]


def test_a_drawn_pupil_whose_light_comes_from_too_far_out_is_refused(studio):
    """Three specks in the corners of 512 pixels reach 362 times as far as a disc of their area, √(3/π)·512/√2 pixels;
    they kept a preview busy for minutes. A bar across the picture passes.
    """
    specks, bar = np.zeros((512, 512)), np.zeros((512, 512))
    specks[[0, 511, 0], [0, 511, 511]] = bar[240:272] = 1.0
    for name, drawn in (("specks.png", specks), ("bar.png", bar)):
        studio.bitmap(name, drawn)
    of_specks, of_bar = (
        found_in(studio, projector={"lens": {"pupil": {"shape": "bitmap", "file": f"{name}.png"}}})[0]
        for name in ("specks", "bar")
    )
    assert of_bar == {} and set(of_specks) == {"projector.window.lens.pupil.file"}
    assert "reach 37" in of_specks["projector.window.lens.pupil.file"].found


def test_a_scene_without_a_projector_is_dark_and_has_no_measure_for_ambient_light(studio):
    scene = studio.scene(ambient={"stops_under": 3.0})
    faults, warnings = cross_check(scene.model_copy(update={"projector": ()}))
    assert [fault.key for fault in faults] == ["ambient.stops_under"] and "dark" in warnings[0]


@pytest.mark.parametrize("kind", ["head", "head_and_torso"])
def test_every_landmark_that_a_figure_has_can_be_aimed_at_and_no_other(studio, kind):
    missing = set()
    for name in (*LANDMARKS, "left_toe"):
        faults, _ = found_in(
            studio,
            camera={"aim": f"sitter.{name}"},
            figures=[{"name": "sitter", "kind": kind}],
            wall={"position_m": [0.0, 1.5, -1.0]},
            projector={"focus": {"distance_m": 3.0}},
        )
        missing |= {name} if "camera.aim" in faults else set()
    assert missing == {"left_toe"} | ({"left_shoulder", "right_shoulder", "chest"} if kind == "head" else set())


def test_a_head_that_is_asked_for_its_chest_is_told_what_would_have_one(studio):
    faults, _ = found_in(
        studio,
        camera={"aim": "sitter.chest"},
        figures=[{"name": "sitter", "kind": "head"}],
        wall={"position_m": [0.0, 1.5, -1.0]},
    )
    assert "only a head" in faults["camera.aim"].found and "head_and_torso" in faults["camera.aim"].try_


def test_one_fault_does_not_hide_those_of_another_kind(studio):
    changes = {
        "projector": {"gate": {"diameter_mm": None}, "lens": {"dispersion": {}}, "position_m": [0.0, 1.5, 0.0]},
        "camera": {"aim": "wall.center"},
        "wall": {"depth_m": 1.0},
    }
    faults, _ = found_in(studio, **changes)
    assert set(faults) == {
        f"projector.window.{key}" for key in ("gate.diameter_mm", "lens.dispersion", "position_m", "aim")
    } | {"camera.aim", "surface.wall.depth_m"}


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"projector": {"lens": {"filled_pupil_mm": 40.0}}}, "the stop rules"),
        ({"projector": {"lens": {"focal_length_mm": 4.0}}}, "unusually short"),
        ({"camera": {"shutter_s": 200.0}}, "1/200 s is written 0.005"),
        ({"wall": {"reflectance": 0.5, "colour": [0.1, 0.2, 0.3]}}, "its reflectance of 0.5 is not used"),
    ],
)
def test_what_is_possible_but_odd_is_a_warning(studio, changes, words):
    faults, warnings = found_in(studio, **changes)
    assert not faults and len(warnings) == 1 and words in warnings[0]


@pytest.mark.parametrize(
    ("width_mm", "words"), [(150.0, "more than twice as wide"), (10.0, "fills little of the gate")]
)
def test_a_stencil_that_does_not_fit_its_gate_is_a_warning(studio, width_mm, words):
    name = studio.bitmap("own.png", np.ones((8, 8)))
    faults, warnings = found_in(studio, projector={"stencil": {"file": name, "width_mm": width_mm}})
    assert not faults and any(words in warning for warning in warnings)


def test_checking_changes_nothing(studio):
    scene = studio.scene()
    before = copy.deepcopy(scene.model_dump())
    cross_check(scene)
    assert scene.model_dump() == before
