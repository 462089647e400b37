"""Lens files: shipped ones are right, the scene's own keys go on top, faults are reported where they stand."""

from __future__ import annotations

import json

import pytest

from projector.faults import SceneError
from projector.files.finding import shipped_folder
from projector.optics.dispersion import abbe_number
from projector.scene.model import Lens
from projector.scene.reading.lens_files import read_lens_file
from projector.scene.reading.reader import load_text

SCENE = """format = 1
[camera]
position_m = [0.0, 1.5, 4.0]
aim = "wall.centre"
[[projector]]
name = "key"
position_m = [0.0, 1.5, 2.0]
aim = "wall.centre"
gate = { shape = "round", diameter_mm = 40 }
[projector.lens]
file = "mine"
[[surface]]
name = "wall"
position_m = [0.0, 1.5, 0.0]
"""
LENS = 'title = "mine"\n[lens]\nfocal_length_mm = 85\nf_number = 2\n'


@pytest.mark.parametrize("path", sorted(shipped_folder("lens").glob("*.toml")), ids=lambda path: path.stem)
def test_every_shipped_lens_file_is_right_and_opens_with_a_title(path):
    lens = Lens.model_validate_json(json.dumps(read_lens_file(path)))
    assert lens.dispersion is not None and "title = " in path.read_text()


def test_the_acrylic_of_the_shipped_lens_is_that_of_the_material():
    # N. Sultanova, S. Kasarova, I. Nikolov, Acta Physica Polonica A 116, 585 (2009): PMMA; samples differ by some per
    # cent.
    lens = read_lens_file(shipped_folder("lens") / "single-acrylic.toml")
    assert lens["dispersion"]["abbe_number"] == pytest.approx(abbe_number("PMMA"), rel=0.02)


def faults_of(tmp_path, lens, scene=SCENE):
    (tmp_path / "mine.toml").write_text(lens)
    with pytest.raises(SceneError) as caught:
        load_text(scene, "scene.toml", tmp_path)
    return caught.value.faults


def test_keys_beside_the_file_go_on_top_and_full_opening_is_the_files_own(tmp_path):
    (tmp_path / "mine.toml").write_text(LENS + "corner_softness_mm = 0.2\n")
    lens = (
        load_text(SCENE.replace('"mine"', '"mine"\nf_number = 4\ntransmittance = 0.8'), "s", tmp_path).projector[0].lens
    )
    assert (lens.focal_length_mm, lens.f_number, lens.widest_f_number, lens.transmittance, lens.corner_softness_mm) == (
        85,
        4,
        2,
        0.8,
        0.2,
    )


def test_a_fault_inside_a_lens_file_is_told_with_that_files_name_and_line(tmp_path):
    (fault,) = faults_of(tmp_path, LENS.replace("f_number = 2", "f_number = '2'"))
    assert fault.file.endswith("mine.toml") and fault.line == 4 and fault.key == "f_number"


def test_what_the_fields_of_a_lens_file_say_together_is_told_with_its_line(tmp_path):
    (fault,) = faults_of(tmp_path, LENS + 'dispersion = { glass = "N-BK7", abbe_number = 60 }\n')
    assert fault.file.endswith("mine.toml") and fault.line == 5


@pytest.mark.parametrize(
    ("lens", "words"),
    [
        ("", "empty"),
        ("[lens\n", "cannot be read"),
        ("title = 'x'\n", "no [lens] table"),
        ("lens = 5\n", "no [lens] table"),
        (LENS.replace("[lens]", "glas = 1\n[lens]"), "glas is not a key"),
    ],
)
def test_a_lens_file_that_is_none_is_told(tmp_path, lens, words):
    (fault,) = faults_of(tmp_path, lens)
    assert words in fault.found and fault.file.endswith("mine.toml")


def test_a_wrong_lens_file_hides_no_other_fault_and_makes_none_up(tmp_path):
    # The stand-in for the lens could not focus at 1 cm; that is no fault of the user's.
    scene = SCENE.replace("[projector.lens]", "focus = { distance_m = 0.01 }\nrol_deg = 2\n[projector.lens]").replace(
        '"wall.centre"\n[[', '"wall.center"\n[['
    )
    keys = {fault.key for fault in faults_of(tmp_path, "", scene)}
    assert keys == {None, "projector.key.rol_deg", "camera.aim"}
    keys = {fault.key for fault in faults_of(tmp_path, "", scene.replace("rol_deg", "roll_deg"))}
    assert keys == {None, "camera.aim"}


def test_keys_beside_a_wrong_lens_file_are_still_looked_at(tmp_path):
    keys = {fault.key for fault in faults_of(tmp_path, "", SCENE.replace('"mine"', '"mine"\nf_numer = 4'))}
    assert keys == {None, "projector.key.lens.f_numer"}


@pytest.mark.parametrize(("name", "words"), [("5", "file = 5"), ('"achromatt"', 'no lens file "achromatt"')])
def test_a_lens_file_that_is_not_there_is_the_scenes_fault(tmp_path, name, words):
    (fault,) = faults_of(tmp_path, LENS, SCENE.replace('"mine"', name))
    assert words in fault.found and (fault.file, fault.line, fault.key) == ("scene.toml", 11, "projector.key.lens.file")
