"""Files by name: beside the scene first, then shipped, with or without an ending; what is not there gets the nearest
name.
"""

from __future__ import annotations

import os

import pytest

from projector.faults import SceneError
from projector.files.finding import find_file, find_scene, list_scenes, shipped_folder, text_of


def test_shipped_files_are_found_by_bare_name_with_and_without_their_ending(tmp_path):
    for name in ("window", "window.png"):
        assert find_file(name, tmp_path, "stencil") == shipped_folder("stencil") / "window.png"
    for name in ("achromat", "achromat.toml"):
        assert find_file(name, tmp_path, "lens") == shipped_folder("lens") / "achromat.toml"


@pytest.mark.parametrize(
    ("kind", "name"),
    [("stencil", "window.png"), ("lens", "achromat.toml"), ("pupil", "window.tif"), ("mesh", "window.stl")],
)
def test_a_file_beside_the_scene_comes_first(tmp_path, kind, name):
    own = tmp_path / name
    own.write_bytes(b"mine")
    assert find_file(name.partition(".")[0], tmp_path, kind) == own


def test_a_missing_file_is_answered_with_the_nearest_own_or_shipped_name(tmp_path):
    (tmp_path / "my-pattern.png").write_bytes(b"")
    for wrong, nearest in (("my-patern.png", "my-pattern.png"), ("windou", "window")):
        with pytest.raises(SceneError) as caught:
            find_file(wrong, tmp_path, "stencil")
        (fault,) = caught.value.faults
        assert nearest in fault.try_ and "lattice" in fault.allowed


@pytest.mark.parametrize("name", ["a" * 5000, "a\0b", "", ".", "no/such/folder/x", "x" * 300 + ".png"])
def test_names_that_no_disk_holds_are_missing_files(tmp_path, name):
    with pytest.raises(SceneError):
        find_file(name, tmp_path, "stencil")
    with pytest.raises(SceneError):
        find_scene(tmp_path / name if name else tmp_path)


def test_a_backslash_that_became_a_letter_is_recognised(tmp_path):
    """ "C:\\temp" between double quotes holds a tabulator: the name is shown as it was written, with what to write
    instead.
    """
    with pytest.raises(SceneError) as caught:
        find_file("C:\temp\new.png", tmp_path, "stencil")
    assert r"C:\temp\new.png" in caught.value.faults[0].found and "write / instead" in caught.value.faults[0].try_


def test_a_folder_is_called_a_folder(tmp_path):
    (tmp_path / "inner").mkdir()
    (tmp_path / "one.toml").write_text("format = 1")
    with pytest.raises(SceneError, match='"inner" is a folder'):
        find_file("inner", tmp_path, "mesh")
    with pytest.raises(SceneError, match=r"this is a folder(.|\n)*try: one\.toml"):
        find_scene(tmp_path)
    (tmp_path / "stencil.png").mkdir()
    with pytest.raises(SceneError) as caught:
        find_file("stencil.png", tmp_path, "stencil")
    assert caught.value.faults[0].try_ == "name the file in it"


def test_scenes_are_found_by_path_and_by_shipped_name(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    own = tmp_path / "own.toml"
    own.write_text("format = 1")
    assert find_scene(own) == own
    for path, title in list_scenes():
        assert find_scene(path.stem) == path and find_scene(f"scenes/{path.name}") == path and title


def test_a_missing_scene_is_answered_with_the_nearest_name_wherever_it_is_looked_for(tmp_path):
    (tmp_path / "portrait.toml").write_text("format = 1")
    for wrong, nearest in (
        (tmp_path / "portrit.toml", "portrait.toml"),
        ("03-cabin-windou", "03-cabin-window"),
        ("nowhere/03-cabin-windo", "03-cabin-window"),
    ):
        with pytest.raises(SceneError) as caught:
            find_scene(wrong)
        assert nearest in caught.value.faults[0].try_


@pytest.mark.parametrize(
    ("raw", "words", "line"),
    [
        (b"", "empty", None),
        (b" \n\t\n", "empty", None),
        (b"format = 1\ntitle = '\xe9'\n", "UTF-8", 2),
        ("format = 1\n".encode("utf-16"), "UTF-8", 1),
        (b"#" * 10_000_001, "10,000,001 bytes", None),
    ],
)
def test_what_is_no_text_is_told(tmp_path, raw, words, line):
    path = tmp_path / "scene.toml"
    path.write_bytes(raw)
    with pytest.raises(SceneError) as caught:
        text_of(path)
    (fault,) = caught.value.faults
    assert words in fault.found and fault.line == line and fault.file == str(path)


def test_a_byte_order_mark_is_no_fault(tmp_path):
    path = tmp_path / "scene.toml"
    path.write_bytes(b"\xef\xbb\xbfformat = 1\n")
    assert text_of(path) == "format = 1\n"


def test_a_file_that_goes_away_or_cannot_be_opened_is_told(tmp_path):
    dangling = tmp_path / "scene.toml"
    os.symlink(tmp_path / "gone.toml", dangling)
    with pytest.raises(SceneError, match="cannot be opened"):
        text_of(dangling)
