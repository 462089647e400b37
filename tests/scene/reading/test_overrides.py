"""Changes by name: what a value becomes, how names are found, and what an unknown one is answered."""

from __future__ import annotations

import copy

import pytest

from projector.faults import SceneError
from projector.scene.reading.overrides import apply_overrides, parsed_override
from projector.scene.reading.reader import load_text, with_overrides
from projector.scene.stated_power import keep_statements

SCENE = """format = 1
[camera]
position_m = [0.0, 1.5, 4.0]
aim = "sitter.nose_tip"
[[projector]]
name = "key"
position_m = [0.5, 1.6, 2.0]
aim = "sitter.nose_tip"
gate = { shape = "round", diameter_mm = 40 }
lens = { file = "achromat", f_number = 4, corner_softness_mm = 0.4 }
blade = [ { side = "left", insertion_mm = 3 } ]
filter = [ { kind = "neutral", stops = 1 } ]
reading = { f_number = 8, distance_m = 2.0 }
[[figure]]
kind = "head"
"""


def faults_of(*overrides):
    with pytest.raises(SceneError) as caught:
        load_text(SCENE, "scene.toml", ".", overrides)
    return caught.value.faults


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("a.b=4", 4),
        ("a.b = 4.5", 4.5),
        ("a.b=true", True),
        ("a.b=[1, 2, 3]", [1, 2, 3]),
        ('a.b="4"', "4"),
        ("a.b=sitter.nose_tip", "sitter.nose_tip"),
        ("a.b=left eye", "left eye"),
        ('a.b={ glass = "F2" }', {"glass": "F2"}),
        ("a.b=x=y", "x=y"),
    ],
)
def test_values_are_read_as_toml_and_bare_words_as_text(text, value):
    assert parsed_override(text) == (["a", "b"], value)


@pytest.mark.parametrize("text", ["a.b", "=4", "a.b=", ".=1", "a..b=1", "a.b=1\nc=2", ""])
def test_what_is_no_change_is_refused(text):
    with pytest.raises(SceneError, match="is not a change"):
        parsed_override(text)


@pytest.mark.parametrize(
    ("override", "read"),
    [
        ("projector.key.lens.f_number=5.6", lambda scene: scene.projector[0].lens.f_number == 5.6),
        ("projector.1.roll_deg=5", lambda scene: scene.projector[0].roll_deg == 5),
        ("camera.iso=400", lambda scene: scene.camera.iso == 400),
        ("figure.sitter.yaw_deg=20", lambda scene: scene.figure[0].yaw_deg == 20),
        ("ambient.stops_under=3", lambda scene: scene.ambient is not None and scene.ambient.stops_under == 3),
        ("projector.key.blade.left.insertion_mm=5", lambda scene: scene.projector[0].blade[0].insertion_mm == 5),
        ("projector.key.filter.neutral.stops=2", lambda scene: scene.projector[0].filter[0].stops == 2),
        ("projector.key.focus.offset_mm=0.5", lambda scene: scene.projector[0].focus.offset_mm == 0.5),
        ("projector.key.position_m.y=1.7", lambda scene: scene.projector[0].position_m == (0.5, 1.7, 2.0)),
        ("projector.key.aim=sitter.chin", lambda scene: scene.projector[0].aim == "sitter.chin"),
        ("camera.shutter_s=1/250", lambda scene: scene.camera.shutter_s == 0.004),
        ("camera.iso=800/2", lambda scene: scene.camera.iso == 400),
        ("projector.key.position_m.x=-1/4", lambda scene: scene.projector[0].position_m == (-0.25, 1.6, 2.0)),
        ("projector.key.position_m=[1/4, 1.5, -1/2]", lambda scene: scene.projector[0].position_m == (0.25, 1.5, -0.5)),
        ("projector.key.focus={ distance_m = 5/2 }", lambda scene: scene.projector[0].focus.distance_m == 2.5),
        ("projector.key.aim=[0, 1.5, 0]", lambda scene: scene.projector[0].aim == (0.0, 1.5, 0.0)),
    ],
)
def test_a_value_changes_alike_in_a_file_and_in_a_loaded_scene(override, read):
    scene = load_text(SCENE)
    assert not read(scene)
    assert read(load_text(SCENE, overrides=[override])) and read(with_overrides(scene, [override]))


@pytest.mark.parametrize(
    ("override", "key", "words", "answer"),
    [
        ("projector.kee.roll_deg=4", "projector.kee.roll_deg", 'no projector called "kee"', "did you mean key?"),
        ("projectr.key.roll_deg=4", "projectr", "projectr is not a key here", "did you mean projector?"),
        ("camera.isoo=4", "camera.isoo", "isoo is not a key here", "did you mean iso?"),
        ("surface.wall.width_m=4", "surface.wall.width_m", 'no surface called "wall"', ""),
        ("figure.siter.yaw_deg=4", "figure.siter.yaw_deg", 'no figure called "siter"', "did you mean sitter?"),
        ("camera.iso.x=4", "camera.iso", "a table where a number is wanted", ""),
        ("projector.key=4", "projector.key", "is a whole table", ""),
        ("projector.key.position_m.up=4", "projector.key.position_m.up", "has no up", ""),
        ("projector.key.position_m.y.x=4", "projector.key.position_m.y.x", "is one value", ""),
        ("projector.key.reading.f_number.x=4", "projector.key.reading.f_number.x", "is one value and has no x", ""),
        ("camera.iso=-4", "camera.iso", "-4", ""),
        ("camera.iso=fast", "camera.iso", '"fast" where a number is wanted', "write a number"),
        ("camera.f_number=f/8", "camera.f_number", '"f/8"', "write 8 for f/8"),
        ("camera.shutter_s=1/0", "camera.shutter_s", '"1/0"', ""),
        (
            "camera.iso=100:800:4",
            "camera.iso",
            "100:800:4 is several values",
            "on a sheet",
        ),
        ("camera.iso=100:800:1", "camera.iso", "a range is first:last:count", ""),
        ("camera.focal_length_mm=85mm", "camera.focal_length_mm", '"85mm"', "write 85 alone"),
        ("projector=4", "projector", "4 where a list of tables is wanted", "[[projector]]"),
        ("format=7", "format", "7", ""),
    ],
)
def test_a_wrong_change_is_answered_without_a_file_or_a_line(override, key, words, answer):
    fault = next(fault for fault in faults_of(override) if fault.key == key)
    assert words in fault.found and answer in fault.try_
    assert fault.file is None and fault.line is None


def test_what_looks_like_a_fraction_stays_text_where_text_belongs():
    assert load_text(SCENE, overrides=["title=1/2"]).title == "1/2"
    assert load_text(SCENE, overrides=["title=1:2:3"]).title == "1:2:3"


def test_all_wrong_changes_are_told_at_once_with_what_is_wrong_in_values():
    keys = [fault.key for fault in faults_of("camera.iso=-4", "projector.kee.roll_deg=3", "nonsense")]
    assert set(keys) == {"camera.iso", "projector.kee.roll_deg", "nonsense"}


def test_a_reading_keeps_the_stop_it_was_taken_at_also_when_the_projector_is_renamed():
    for changed in (
        load_text(SCENE, overrides=["projector.key.lens.f_number=5.6", "projector.key.name=fill"]),
        with_overrides(load_text(SCENE), ["projector.key.lens.f_number=5.6", "projector.key.name=fill"]),
    ):
        assert changed.projector[0].reading.lens_f_number == 4


def test_a_second_change_does_not_move_the_stop_of_the_reading():
    once = with_overrides(load_text(SCENE), ["projector.key.lens.f_number=5.6"])
    assert with_overrides(once, ["projector.key.lens.f_number=8"]).projector[0].reading.lens_f_number == 4


def test_a_reading_without_a_change_of_stop_says_nothing_new():
    assert load_text(SCENE, overrides=["camera.iso=200"]).projector[0].reading.lens_f_number is None


def test_another_lens_file_replaces_the_lens_and_keeps_its_stop():
    scene = load_text(SCENE)
    for changed in (
        load_text(SCENE, overrides=["projector.key.lens.file=single-crown"]),
        with_overrides(scene, ["projector.key.lens.file=single-crown"]),
    ):
        lens = changed.projector[0].lens
        assert (lens.dispersion.glass, lens.f_number, lens.corner_softness_mm) == ("N-BK7", 4, 0.25)
    both = load_text(
        SCENE, overrides=["projector.key.lens.f_number=2.8", "projector.key.lens.file=filled-short"]
    ).projector[0]
    assert (both.lens.focal_length_mm, both.lens.f_number) == (50, 2.8)
    assert (both.reading.lens.focal_length_mm, both.reading.lens.f_number, both.reading.lens_f_number) == (85, 4, None)


def test_another_lens_file_opens_only_as_far_as_it_can(tmp_path):
    (tmp_path / "slow.toml").write_text('title = "slow"\n[lens]\nfocal_length_mm = 85\nf_number = 5.6\n')
    assert load_text(SCENE, "scene", tmp_path, ["projector.key.lens.file=slow"]).projector[0].lens.f_number == 5.6


def test_data_that_is_changed_is_left_as_it_was():
    data = {"camera": {"iso": 100}, "projector": [{"name": "key", "lens": {"f_number": 2}, "reading": {}}]}
    kept = copy.deepcopy(data)
    after, typed, faults = apply_overrides(data, ["camera.iso=200", "projector.key.lens.f_number=4"])
    keep_statements(data, after)
    assert data == kept and not faults
    assert typed == [("camera", "iso"), ("projector", 0, "lens", "f_number")]
    assert after["projector"][0]["reading"] == {"lens_f_number": 2}


def test_one_axis_of_a_point_that_the_file_leaves_out_is_changed_from_what_is_taken_then():
    from projector.scene.reading.reader import load

    scene = load("03-cabin-window", ["figure.pilot.position_m.x=0.25", "projector.window.focus.offset_mm=1"])
    assert scene.figure["pilot"].position_m == (0.25, 0.0, 0.0)
