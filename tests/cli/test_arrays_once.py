"""Commands place a scene's meshes and build its tree once, however many points and projectors they answer for."""

from __future__ import annotations

import pytest

from projector.stage import stage

ASKED = {
    "sharpness": ["05-two-projectors", "--at", "watch.left_eye", "--at", "watch.chin", "--at", "watch.right_eye"],
    "fringe": ["05-two-projectors", "--at", "watch.left_eye", "--at", "watch.chin"],
    "throw": ["05-two-projectors"],
    "contrast": ["05-two-projectors"],
    "place": ["06-oblique-wall", "--width-m", "1", "--edge-mm", "5", "--lens", "own", "--f-number", "1"],
}


@pytest.mark.parametrize("command", [*[*ASKED][:-1], pytest.param("place", marks=pytest.mark.slow)])
def test_arrays_are_made_once(command, ask, monkeypatch):
    """All trees count but those of other scenes that an answer needs: one surface alone, or a strip to measure on."""
    made = []
    build = stage.scene_arrays

    def counted(scene):
        made.append(scene)
        return build(scene)

    monkeypatch.setattr(stage, "scene_arrays", counted)
    ask(command, *ASKED[command])
    names = [[item.name for item in (*scene.surface, *scene.figure)] for scene in made]
    whole = names[0]
    assert [found for found in names if len(found) == len(whole) and found == whole] == [whole]
    assert all(len(found) == 1 for found in names[1:])
