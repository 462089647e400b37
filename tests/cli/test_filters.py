"""`projector filters`: the table, JSON, the figure, and what it refuses."""

from __future__ import annotations

import pytest
from PIL import Image

from projector.photometry.named_filters import FILTER_NAMES

TABLE = "wavelength_nm,transmittance\n" + "".join(f"{nm},0.25\n" for nm in range(400, 701, 20))


def test_every_filter_has_a_line_with_its_cost(ask):
    said = ask("filters")
    for name in FILTER_NAMES:
        (line,) = [line for line in said.splitlines() if line.split()[:1] == [name]]
        assert " stops " in line and "#" in line and "x 0." in line


def test_a_stack_is_told_piece_by_piece_and_together(ask, tmp_path):
    (tmp_path / "mine.csv").write_text(TABLE)
    (light,) = ask("filters", "-f", "nd 0.3", "-f", "mine.csv", "--source", "tungsten", "--json")["result"]["lights"]
    assert [item["name"] for item in light["filters"]] == ["neutral-1", "mine.csv"]
    # A quarter is two stops, density 0.3 is 0.997.
    assert light["together"]["stops"] == pytest.approx(2.997, abs=1e-3)
    assert light["light"] is None and light["source"]["kind"] == "tungsten"


def test_of_a_scene_each_projector_answers_with_its_own_lamp_and_filters(ask, tmp_path):
    lights = ask("filters", "05-two-projectors", "--json")["result"]["lights"]
    assert [light["light"] for light in lights] == ["blinds", "texture"]
    assert [len(light["filters"]) for light in lights] == [1, 1]
    (tmp_path / "mine.csv").write_text(TABLE)
    (light,) = ask("filters", "05-two-projectors", "--light", "texture", "-f", "mine.csv", "--json")["result"]["lights"]
    assert light["together"]["stops"] == pytest.approx(2.0, abs=1e-9)


def test_a_figure_is_drawn_and_not_lost_by_surprise(ask, tmp_path):
    assert "wrote swatches.png" in ask("filters", "-f", "red", "-o", "swatches")
    with Image.open(tmp_path / "swatches.png") as picture:
        assert picture.width > 800
    assert "wrote swatches.png" in ask("filters", "-o", "swatches")
    (tmp_path / "mine.png").write_bytes(b"mine")
    assert "--overwrite" in ask("filters", "-o", "mine", code=1)


@pytest.mark.parametrize(
    "arguments, code, words",
    [
        (["-f", "half-wram"], 1, "did you mean half-warm?"),
        (["-f", "nowhere.csv"], 1, 'no filter file "nowhere.csv"'),
        (["--source", "candle"], 2, "daylight, tungsten, led, equal_energy"),
        (["--source", "tungsten", "--temperature-k", "9000"], 1, "--temperature-k: no filament gives 9000 K"),
        (["05-two-projectors", "--source", "led"], 1, "--source beside a scene"),
        (["05-two-projectors", "--light", "textur"], 1, "did you mean texture?"),
        (["--light", "window"], 1, "--light would not be used"),
    ],
)
def test_what_it_refuses(ask, arguments, code, words):
    said = ask("filters", *arguments, code=code)
    assert words in said
