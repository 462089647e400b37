"""One rule of light, said the same way everywhere: what a preview notes stands on a sheet and in its files too."""

from __future__ import annotations

import csv
import json
import re

import pytest

from projector.files.finding import shipped_folder
from projector.files.records import read_record

LENS, STOP = "projector.window.lens.file", "projector.window.lens.f_number"
QUICK = ("--size", "48x36", "--quality", "quick")


def previewed(ask, lens: str, stop: str) -> dict:
    return ask(
        "preview",
        "03-cabin-window",
        *QUICK,
        "-w",
        f"{LENS}={lens}",
        "-w",
        f"{STOP}={stop}",
        "-o",
        "one",
        "--overwrite",
        "--json",
    )


@pytest.mark.slow
def test_a_previews_notes_are_on_the_sheet_and_in_its_files(ask, tmp_path):
    lenses, stops = ("single-crown", "filled-short"), ("1.8", "4")
    sheet = ask(
        "sheet",
        "03-cabin-window",
        *QUICK,
        "--rows",
        f"{LENS}={','.join(lenses)}",
        "--columns",
        f"{STOP}={','.join(stops)}",
        "-o",
        "all",
        "--json",
    )
    by_cell = {(cell[LENS], cell[STOP]): cell for cell in sheet["result"]["cells"]}
    wanted = []
    for lens in lenses:
        for stop in stops:
            single = previewed(ask, lens, stop)
            cell = by_cell[lens, stop]
            assert cell["notes"] == single["warnings"]
            assert cell["open_gate_f_number"] == single["result"]["projectors"][0]["open_gate_f_number"]
            assert read_record(tmp_path / "one.png")["notes"] == single["warnings"]
            wanted += [note for note in single["warnings"] if note not in wanted]
    assert len(wanted) > 3 and any("its reading was taken with" in note for note in wanted)
    assert sorted(sheet["warnings"]) == sorted(wanted)
    assert (
        sorted(read_record(tmp_path / "all.png")["notes"])
        == sorted(json.loads((tmp_path / "all.json").read_text())["record"]["notes"])
        == sorted(wanted)
    )
    with (tmp_path / "all.csv").open() as file:
        next(file)
        rows = {(row[LENS], row[STOP]): row["notes"] for row in csv.DictReader(file)}
    assert rows == {key: " ".join(cell["notes"]) for key, cell in by_cell.items()}


def test_a_stop_typed_and_a_stop_in_the_file_differ_by_what_is_said(ask, tmp_path):
    """Stopped down by two, the same reading gives two stops less, and the note says so; a file that says f/3.6 from
    the start was metered there."""
    (tmp_path / "mine.toml").write_text(
        (shipped_folder("scene") / "03-cabin-window.toml")
        .read_text()
        .replace('file = "single-crown"', 'file = "single-crown", f_number = 3.6')
    )
    typed = ask("preview", "03-cabin-window", *QUICK, "-w", f"{STOP}=3.6", "-o", "typed", "--json")
    written = ask("preview", "mine.toml", *QUICK, "-o", "written", "--json")
    assert not any("its reading was taken with" in note for note in written["warnings"])
    (note,) = [note for note in typed["warnings"] if "its reading was taken with" in note]
    stops = float(re.search(r"gives ([\d.]+) stops less light", note)[1])
    metered = [found["result"]["projectors"][0]["open_gate_stops_over"] for found in (typed, written)]
    assert metered[1] - metered[0] == pytest.approx(stops, abs=0.05)


def test_place_and_preview_light_a_lens_alike_and_note_the_same(ask):
    (answer,) = ask(
        "place",
        "03-cabin-window",
        "--width-m",
        1,
        "--edge-mm",
        6,
        "--f-number",
        1,
        "--lens",
        "filled-short",
        "--save",
        "best",
        "--json",
    )["result"]["answers"]
    single = ask("preview", "best.toml", *QUICK, "--json")
    assert single["result"]["projectors"][0]["open_gate_f_number"] == pytest.approx(answer["meter_f_number"], rel=2e-3)
    assert answer["carried_over"] in single["warnings"]
