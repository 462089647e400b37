"""place put to the command line: what it says, what it saves, and what it refuses before it begins."""

from __future__ import annotations

import re

import pytest

ASK = ("place", "03-cabin-window", "--width-m", 1.2, "--edge-mm", 6, "--lens", "filled-short")


@pytest.mark.parametrize("option", ["--save", "--write"])
def test_a_saved_answer_previews_as_promised(ask, tmp_path, option):
    """Throw, width and edge as both print them; f-numbers at one ISO, by the same rule, with the same note."""
    words = ask(*ASK, option, "best.toml", "--with", "projector.window.gate.edge_falloff_stops=0.5")
    assert "wrote best.toml" in words
    preview = ask("preview", "best.toml", "--size", "64x48", "--quality", "quick")
    throw, f_number = re.search(r"throw ([\d.]+) m", words)[1], re.search(r"meters f/([\d.]+) at ISO 400", words)[1]
    assert f"throw {throw} m, pattern 1.200 × 1.200 m" in preview
    assert "edges rise in 6.00 mm" in preview and f"meters f/{f_number} at pilot" in preview
    note = re.search(r"its reading was taken with .*", words)[0]
    assert note in preview
    assert "edge_falloff_stops = 0.5" in (tmp_path / "best.toml").read_text()


def test_another_answer_may_be_saved_and_one_that_is_not_there_is_said_so(ask, tmp_path):
    many = ("place", "03-cabin-window", "--width-m", 1.2, "--edge-mm", 6, "--lens", "filled-short", "--lens", "own")
    found = ask(*many, "--save", "second", "--answer", 2, "--json")
    assert found["result"]["saved_answer"] == 2 and found["files"] == ["second.toml"]
    assert (
        'file = "filled-short"' in (tmp_path / "second.toml").read_text()
        and not found["result"]["answers"][1]["is_own"]
    )
    beyond = ask(*many, "--save", "third", "--answer", 3, "--json")
    assert beyond["result"]["saved_answer"] is None and "there is no answer 3" in beyond["warnings"][-1]
    assert not (tmp_path / "third.toml").exists()


def test_what_is_there_already_is_not_replaced_unasked(ask, tmp_path):
    (tmp_path / "best.toml").write_text("mine")
    assert "this is there already" in ask(*ASK, "--save", "best.toml", code=1)
    assert (tmp_path / "best.toml").read_text() == "mine"
    assert "wrote best.toml" in ask(*ASK, "--save", "best.toml", "--overwrite")


def test_what_cannot_be_saved_is_refused_before_any_work(ask, monkeypatch):
    from projector.studies.choosing import where_to_stand

    monkeypatch.setattr(where_to_stand, "place", None)
    assert "nofolder" in ask(*ASK, "--save", "nofolder/best.toml", code=1)
    assert "--answer would not be used" in ask(*ASK, "--answer", 2, code=1)


def test_the_scenes_own_lens_is_named_as_such(ask):
    assert "single-crown, the scene's own, at f/1.8" in ask(
        "place", "03-cabin-window", "--width-m", 1.2, "--edge-mm", 6, "--lens", "own"
    )
    words = ask(
        "place",
        "03-cabin-window",
        "--width-m",
        1.2,
        "--edge-mm",
        6,
        "--lens",
        "own",
        "--with",
        "projector.window.lens.focal_length_mm=80",
    )
    assert "1. the scene's own lens, at f/1.8" in words and "focused on pilot.mouth, then the stencil" in words
