"""Scene files: right ones read, wrong ones reported all at once with their lines; changes by name; comments kept."""

from __future__ import annotations

import functools
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from projector.faults import Fault, SceneError
from projector.files.finding import find_file, list_scenes
from projector.scene.reading.reader import check, load, load_text, with_overrides
from projector.scene.reading.saving import save_scene

GOOD = """format = 1
[camera]
position_m = [0.0, 1.5, 4.0]
aim = "wall.centre"   # the middle
[[projector]]
name = "key"
position_m = [0.0, 1.5, 2.0]
aim = [0.0, 1.5, 0.0]
gate = { shape = "round", diameter_mm = 40 }
lens = { focal_length_mm = 85, f_number = 2.8 }
reading = { f_number = 8, distance_m = 2.0 }
[[surface]]
name = "wall"
position_m = [0.0, 1.5, 0.0]
"""


def faults_of(text, overrides=()):
    with pytest.raises(SceneError) as caught:
        load_text(text, "scene", ".", overrides)
    return {fault.key: fault for fault in caught.value.faults}


def test_every_shipped_scene_loads_without_faults_and_has_a_title():
    scenes = list_scenes()
    assert len(scenes) >= 6
    for path, title in scenes:
        _, faults, warnings = check(path)
        assert title and not faults and not warnings, path


def test_all_single_field_faults_are_told_at_once_with_their_lines():
    text = (
        GOOD.replace("f_number = 2.8", 'f_number = "2.8"')
        .replace("diameter_mm = 40", "diameter_mm = -40")
        .replace('name = "wall"', 'name = "wall"\nheigth_m = 2.0')
    )
    found = faults_of(text)
    assert set(found) == {"projector.key.lens.f_number", "projector.key.gate.diameter_mm", "surface.wall.heigth_m"}
    assert "height_m" in found["surface.wall.heigth_m"].try_
    assert "without quotes" in found["projector.key.lens.f_number"].try_
    for key, fault in found.items():
        assert key.rsplit(".", 1)[1] in text.splitlines()[fault.line - 1]


@pytest.mark.parametrize(
    ("change", "key", "words"),
    [
        (
            ("position_m = [0.0, 1.5, 2.0]", "position_mm = [0.0, 1500, 2000]"),
            "projector.key.position_mm",
            "not a key here",
        ),
        (("position_m = [0.0, 1.5, 2.0]", "position_m = [0.0, 1500.0, 2.0]"), "projector.key.position_m.2", "1500"),
        (("aim = [0.0, 1.5, 0.0]", "aim = [0.0, 1.5]"), "projector.key.aim", "[0.0, 1.5]"),
        (("aim = [0.0, 1.5, 0.0]", "aim = 7"), "projector.key.aim", "7"),
        (("f_number = 2.8", "f_number = nan"), "projector.key.lens.f_number", "not a number"),
        (("f_number = 2.8", "f_number = inf"), "projector.key.lens.f_number", "not a number"),
        (("f_number = 2.8", "f_number = true"), "projector.key.lens.f_number", "true where a number"),
        (('shape = "round"', 'shape = "oval"'), "projector.key.gate.shape", "oval"),
        (("format = 1", "format = 2"), "format", "newer version"),
        (("format = 1\n", ""), "format", "missing"),
        (('aim = "wall.centre"', 'aim = "wall.center"'), "camera.aim", "no landmark"),
        (("reading = {", "output = { lumens = 400 }\nreading = {"), "projector.key.output", "two statements of power"),
        (
            ("f_number = 2.8", "f_number = 2.8, nearest_focus_m = 3.0"),
            "projector.key.focus",
            "as near as this lens focuses",
        ),
        (
            ("position_m = [0.0, 1.5, 2.0]", "position_m = [0.0, 1.5, 0.01]"),
            "projector.key.position_m",
            "stands inside wall",
        ),
        (
            ("f_number = 2.8 }", 'f_number = 2.8 }\nstencil = { file = "windou", width_mm = 30 }'),
            "projector.key.stencil.file",
            "no stencil file",
        ),
        (
            ("f_number = 2.8", 'f_number = 2.8, dispersion = { glass = "N-BK7", abbe_number = 60 }'),
            "projector.key.lens.dispersion",
            "glass and abbe_number",
        ),
        (
            ("f_number = 2.8", 'f_number = 2.8, dispersion = { glass = "NBK9" }'),
            "projector.key.lens.dispersion",
            "not known",
        ),
        (
            ("f_number = 2.8", 'f_number = 2.8, pupil = { shape = "polygon" }'),
            "projector.key.lens.pupil.n_blades",
            "needs n_blades",
        ),
        (("diameter_mm = 40", "width_mm = 40"), "projector.key.gate.diameter_mm", "needs diameter_mm"),
        (
            ("f_number = 2.8 }", 'f_number = 2.8 }\nfilter = [ { kind = "band", centre_nm = 550 } ]'),
            "projector.key.filter",
            "band filter with centre_nm",
        ),
    ],
)
def test_what_is_wrong_is_named_where_it_stands(change, key, words):
    found = faults_of(GOOD.replace(*change))
    assert key in found and words in found[key].found
    assert found[key].line


@pytest.mark.parametrize(
    ("raw", "words"),
    [
        (b"", "empty"),
        (b"\xff\xfe\x00bad", "not text"),
        (b"format = 1\n[camera\n", "cannot be read"),
        (b"format = 1\nformat = 1\n", "cannot be read"),
    ],
)
def test_files_that_are_no_scene_get_plain_words(tmp_path, raw, words):
    path = tmp_path / "scene.toml"
    path.write_bytes(raw)
    scene, faults, _ = check(path)
    assert scene is None and words in faults[0].found


def test_a_folder_and_a_missing_file_are_told_apart(tmp_path):
    assert "folder" in check(tmp_path)[1][0].found
    assert "no such scene file" in check(tmp_path / "nothing.toml")[1][0].found


def test_two_wrong_names_are_both_told(tmp_path):
    found = faults_of(GOOD.replace('aim = "wall.centre"', 'aim = "wal.centre"') + '[[surface]]\nname = "wall"\n')
    assert {"camera.aim", "surface.wall"} <= set(found)


def test_values_change_by_name_and_unknown_names_get_the_nearest():
    scene = load_text(GOOD)
    changed = with_overrides(scene, ["projector.key.lens.f_number=4", "camera.iso=800", "projector.key.name=fill"])
    assert changed.projector[0].lens.f_number == 4 and changed.camera.iso == 800 and changed.projector[0].name == "fill"
    with pytest.raises(SceneError, match="did you mean key"):
        with_overrides(scene, ["projector.kee.roll_deg=4"])


def test_a_reading_stays_what_it_was_when_the_ring_is_turned():
    changed = with_overrides(load_text(GOOD), ["projector.key.lens.f_number=4"])
    assert changed.projector[0].reading.lens_f_number == 2.8


def test_a_lens_file_is_read_and_its_keys_can_be_replaced():
    scene = load_text(
        GOOD.replace("lens = { focal_length_mm = 85, f_number = 2.8 }", 'lens = { file = "achromat", f_number = 4 }')
    )
    lens = scene.projector[0].lens
    assert (lens.focal_length_mm, lens.f_number, lens.widest_f_number) == (85, 4, 1.8)


def test_a_lens_file_with_two_dispersions_is_refused_by_its_own_name(tmp_path):
    (tmp_path / "odd.toml").write_text(
        'title = "odd"\n[lens]\nfocal_length_mm = 85\nf_number = 2\ndispersion = { glass = "N-BK7", abbe_number ='
        " 60 }\n"
    )
    with pytest.raises(SceneError, match=r"odd\.toml.*glass and abbe_number"):
        load_text(
            GOOD.replace("lens = { focal_length_mm = 85, f_number = 2.8 }", 'lens = { file = "odd" }'), "s", tmp_path
        )


def test_own_files_come_before_shipped_ones(tmp_path):
    own = tmp_path / "window.png"
    own.write_bytes(find_file("window", ".", "stencil").read_bytes())
    assert find_file("window", tmp_path, "stencil") == own


def test_saving_keeps_the_users_comments_and_refuses_to_overwrite(tmp_path):
    source = tmp_path / "mine.toml"
    source.write_text(GOOD)
    target = save_scene(source, tmp_path / "copy.toml", {"projector.key.lens.f_number": 4.0, "camera.iso": 800})
    assert "# the middle" in target.read_text()
    assert load(target).projector[0].lens.f_number == 4.0
    with pytest.raises(SceneError, match="is there already"):
        save_scene(source, target, {})


def test_the_hash_follows_what_the_scene_says_and_nothing_else():
    scene = load_text(GOOD)
    assert scene.digest() == load_text(GOOD.replace("# the middle", "# another word")).digest()
    assert scene.digest() != with_overrides(scene, ["camera.iso=101"]).digest()


WORDS = st.sampled_from(
    [
        "",
        "0",
        "-1",
        "1e400",
        "nan",
        '"x"',
        "[",
        "]",
        "{",
        "}",
        "=",
        ".",
        ",",
        "#",
        "\n",
        "'",
        '"',
        "true",
        "[[x]]",
        "1/200",
        "projector",
        "\\",
        "é",
        "\x00",
        "[0.0, 1.5]",
        "{ a = 1 }",
        "file = 'window'",
    ]
)


@settings(max_examples=300, deadline=None)
@given(st.lists(st.tuples(st.integers(0, len(GOOD)), st.integers(0, 30), WORDS), min_size=1, max_size=3))
def test_a_damaged_file_is_either_a_scene_or_told_in_words(damage):
    text = GOOD
    for start, length, word in damage:
        text = text[:start] + word + text[start + length :]
    try:
        load_text(text, "scene.toml")
    except SceneError as error:
        for fault in error.faults:
            assert fault.found and (fault.line is None or 1 <= fault.line <= text.count("\n") + 1)
            assert "Traceback" not in str(fault) and "pydantic" not in str(fault)


LEAVES = sorted({match[0] for match in re.finditer(r"(?<== )[^=\n]+$", GOOD, re.MULTILINE)})
VALUES = st.sampled_from(
    [
        "nan",
        "-inf",
        "true",
        '""',
        '"1"',
        "[]",
        "{}",
        "[[]]",
        "[1, 2, 3]",
        "[nan, 0, 0]",
        "-0.0",
        "1e308",
        "9" * 400,
        "1979-05-27",
        "07:32:00",
        "{ file = 'window' }",
        '"wall.centre"',
        '"."',
        "[{}]",
        "[{}, 5]",
    ]
)


def faults_unless_taken(read) -> list[Fault]:
    """What is wrong, by a reading that is refused, one fault at least; nothing where it is taken."""
    try:
        read()
    except SceneError as error:
        faults = error.faults
    else:
        return []
    assert faults, "refused without a reason"
    return list(faults)


@settings(max_examples=300, deadline=None)
@given(st.sampled_from(LEAVES), VALUES)
def test_any_value_in_the_place_of_any_other_is_either_taken_or_told_once_at_its_key(old, new):
    faults = faults_unless_taken(lambda: load_text(GOOD.replace(f"= {old}", f"= {new}"), "scene.toml"))
    keys = [(fault.key, fault.line) for fault in faults]
    assert len(keys) == len(set(keys))
    assert all(fault.file == "scene.toml" and fault.line for fault in faults)


@settings(max_examples=300, deadline=None)
@given(
    st.lists(
        st.sampled_from(
            [
                "projector",
                "key",
                "lens",
                "camera",
                "f_number",
                "file",
                "position_m",
                "x",
                "1",
                "aim",
                "reading",
                "surface",
                "wall",
                "blade",
                "focus",
                "odd",
                "",
            ]
        ),
        max_size=5,
    ),
    VALUES,
)
def test_any_change_is_either_made_or_told(keys, value):
    for changed in (
        lambda change: load_text(GOOD, "scene.toml", ".", [change]),
        lambda change: with_overrides(load_text(GOOD), [change]),
    ):
        change = f"{'.'.join(keys)}={value}"
        assert all(fault.found for fault in faults_unless_taken(functools.partial(changed, change)))


def test_a_scene_that_was_read_says_the_same_when_it_is_changed_by_nothing():
    for path, _ in list_scenes():
        scene = load(path)
        again = with_overrides(scene, [])
        assert again == scene and again.digest() == scene.digest() and again.folder == scene.folder


def test_check_gives_the_scene_with_its_warnings_and_no_scene_with_faults(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text(GOOD.replace("focal_length_mm = 85", "focal_length_mm = 4"))
    scene, faults, warnings = check(path)
    assert scene is not None and scene.name == "mine" and not faults and "unusually short" in warnings[0]
    scene, faults, _ = check(path, ["camera.iso=-1"])
    assert scene is None and faults[0].key == "camera.iso"


def test_windows_line_ends_and_a_byte_order_mark_are_no_fault(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_bytes(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode())
    assert load(path).digest() == load_text(GOOD).digest()
    path.write_bytes(GOOD.replace("\n", "\r\n").replace("f_number = 2.8", "f_number = -1").encode())
    assert check(path)[1][0].line == 10
