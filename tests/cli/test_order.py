"""Nothing that is said of a scene changes with the order in which its file names projectors, surfaces and figures."""

from __future__ import annotations

import itertools

import pytest
import tomlkit
from typer.testing import CliRunner

from projector.cli import app
from projector.scene.reading.reader import load
from tests.conftest import mostly_slow


@pytest.fixture(scope="module")
def scenes(tmp_path_factory):
    """One scene with two of everything, and the same with each list turned round."""
    folder = tmp_path_factory.mktemp("order")
    data = load("05-two-projectors").model_dump(mode="json", exclude_none=True, exclude_unset=True)
    data["surface"].append({"name": "board", "position_m": [1.1, 1.2, -0.4], "width_m": 0.8, "height_m": 1.2})
    data["figure"].append({"name": "double", "kind": "head", "position_m": [-0.9, 0.0, -0.6]})
    (folder / "scene.toml").write_text(tomlkit.dumps(data))
    for part in ("projector", "surface", "figure"):
        data[part].reverse()
    (folder / "turned").mkdir()
    (folder / "turned" / "scene.toml").write_text(tomlkit.dumps(data))
    return folder / "scene.toml", folder / "turned" / "scene.toml"


@pytest.mark.slow
@pytest.mark.parametrize(
    "question",
    mostly_slow(
        [
            ["check"],
            ["fringe", "--at", "backdrop.centre"],
            ["throw"],
            ["map"],
            ["straighten"],
            ["contrast", "--at", "watch.nose_tip"],
            ["map", "--surface", "watch", "--across", "32", "--quality", "quick", "-o", "map"],
            ["map", "--surface", "backdrop", "--across", "32", "--quality", "quick", "-o", "map"],
            ["preview", "--size", "48x36", "--quality", "quick", "-o", "picture"],
            ["sharpness", "--at", "watch.right_cheek", "--at", "backdrop.centre", "--within-mm", "8"],
            ["contrast", "--wanted-stops", "4"],
            ["place", "--width-m", "1", "--edge-mm", "6", "--lens", "achromat"],
        ],
        quick=6,
    ),
    ids=" ".join,
)
def test_words_are_the_same_but_for_their_order(scenes, question):
    said = []
    for scene in scenes:
        out = [str(scene.parent / item) if before == "-o" else item for before, item in itertools.pairwise(question)]
        answer = CliRunner().invoke(
            app, [question[0], str(scene), *out, *(["--overwrite"] if "-o" in question else [])]
        )
        assert answer.exit_code in (0, 1), answer.output
        # Names in a list, such as those of what is allowed, stand in the file's order.
        said.append(
            sorted(sorted(line.replace("/turned", "").replace(",", " ").split()) for line in answer.output.splitlines())
        )
    assert said[0] == said[1]
