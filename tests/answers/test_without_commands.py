"""What a command says can be said by a page or a card, too: its words are made without the command line."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

from projector.answers import (
    at_a_glance,
    changes,
    choosing,
    edges,
    filters,
    gear,
    landing,
    lenses,
    light,
    listing,
    metering,
    pictures,
    size,
    throwing,
    timing,
    typed,
)

COMMANDS = Path(__file__).resolve().parents[2] / "projector" / "cli"
# Everything that words are asked of, in a process where the command line must not have been imported.
ASKED = """
import sys
from projector.answers import (
    at_a_glance,
    changes,
    choosing,
    edges,
    filters,
    gear,
    landing,
    lenses,
    light,
    listing,
    metering,
    pictures,
    size,
    throwing,
    timing,
    typed,
)
from projector import studies
numbers = dict.fromkeys(
    "focal_length_mm beam_angle_deg lit_width_mm lit_height_mm throw_m width_m height_m travel_mm f_number to_m".split()
)
numbers |= {"focal_length_mm": typed.number_from("focal_length_mm", "85"), "lit_width_mm": 28.0, "throw_m": 2.5}
asked = throwing.asked_by(numbers)
print(asked.name, throwing.size_of(throwing.size_from_numbers(numbers), numbers)[1][0])
print(edges.blur_words(studies.blur(85.0, 2.0, 2.0), None, None)[0])
print(light.contrast_words("stencil", studies.contrast(0.3, 4.0)))
times = dict.fromkeys("speed_m_per_s flash_t01_s flash_t05_s sync_s lamp_hz modulation".split()) | {"shutter_s": 0.01}
times["lamp_hz"] = 100.0
print(timing.timing(times, timing.asked_by(times))[1][0])
print(filters.filter_lines(studies.filter_list(None, ["neutral-1"]))[1])
print(listing.nothing_wrong("mine.toml", 1, 0, 2, 0))
print(changes.change_words("projector.window.lens.f_number", "4"))
scene, point = "01-square-wall", (0.15, 1.65, 0.0)
print(*at_a_glance.meter_glances(studies.meter(scene, point))[0][:2])
assert not any(name.startswith(("projector.cli", "typer")) for name in sys.modules)
"""


def test_a_page_gets_the_words_without_the_command_line():
    run = subprocess.run([sys.executable, "-c", ASKED], capture_output=True, text=True, timeout=120)
    assert run.returncode == 0, run.stderr
    size_line, blur_line, contrast_line, timing_line, filter_line, check_line, *live = run.stdout.splitlines()
    assert size_line.startswith("size 28 mm through 85.00 mm at 2.500 m: 0.796 × 0.796 m")
    assert "edges rise in" in blur_line and contrast_line.startswith("stencil: 30 % open")
    assert timing_line == "1.00 swings of the lamp: bands of up to 0.00 stops; that passes"
    assert filter_line == "    neutral-1   1.00 stops    50 %     0 mired  x 0.330, y 0.345  #ffffff"
    assert check_line == "mine.toml: nothing wrong. 1 projector, 2 surfaces, no figures"
    assert live[0] == "window lens f-number 4" and live[1].startswith("together f/")


def sentences_in(path: Path) -> list[str]:
    """Formatted texts of a module that put a result's number into words: a text of several words around a number's
    format.
    """
    return [
        ast.unparse(node)
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.JoinedStr)
        and any(isinstance(part, ast.FormattedValue) and part.format_spec is not None for part in node.values)
    ]


@pytest.mark.parametrize("path", sorted(COMMANDS.glob("*.py")), ids=lambda path: path.name)
def test_no_command_puts_a_number_into_words_itself(path):
    # The table of `verify` is laid out for a terminal: numbers in columns, no sentences.
    assert path.name == "verify.py" or sentences_in(path) == []


def test_what_is_typed_is_refused_under_its_own_name_with_what_would_do():
    for read, text, name, example in (
        (typed.size_from, "big", "size", "960x720"),
        (typed.room_from, "large", "room", "4x5x2.7"),
        (typed.quality_from, "best", "quality", "quick"),
        (lambda text: typed.number_from("throw_m", text), "far", "throw_m", "2.5"),
        (typed.point_from, "1,2", "at", "0.1,1.5,-0.9"),
    ):
        with pytest.raises(typed.SceneError) as caught:
            read(text)
        (fault,) = caught.value.faults
        assert (fault.key, fault.example) == (name, example) and f'"{text}"' in fault.found and fault.allowed


def test_every_room_of_answers_is_asked_here():
    """So that a module whose words need the command line is found."""
    modules = {
        module.__name__.rpartition(".")[2] for module in (at_a_glance, changes, choosing, edges, filters, gear, landing)
    }
    modules |= {
        module.__name__.rpartition(".")[2]
        for module in (lenses, light, listing, metering, pictures, size, throwing, timing, typed)
    }
    there = {path.stem for path in (COMMANDS.parent / "answers").glob("*.py")} - {"__init__", "as_json", "chosen"}
    assert modules == there
