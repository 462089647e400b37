"""Questions of size put to the command line: what lands on a sitter, what passes, and limits typed back as they were
printed."""

from __future__ import annotations

import re

import numpy as np
import pytest
from PIL import Image


def test_throw_says_what_lands_on_a_sitter_and_what_passes(ask):
    words = ask("throw", "03-cabin-window")
    assert "partly off" not in words
    assert re.search(r"of its light \d+ % on pilot \([\d.]+ % on the head\), \d+ % on backdrop", words)
    assert re.search(r"against pilot the opening is [\d.]+ times as wide as the face \(\d+ mm, ear to ear\)", words)
    assert "the whole pattern on backdrop, as if pilot did not stand before it" in words
    (row,) = ask("throw", "03-cabin-window", "--json")["result"]["projectors"]
    assert row["lands_on"] == "pilot" and row["outline_on"] == "backdrop"
    sitter, wall = row["light_on"]
    assert sitter["share"] + wall["share"] == pytest.approx(1.0)
    assert row["missed_share"] == pytest.approx(wall["share"])
    assert all(isinstance(row[key], float) for key in ("width_m", "height_m", "keystone_across"))


def test_throw_gives_a_slit_the_size_of_its_strip(ask):
    words = ask("throw", "02-slit-over-the-eyes")
    strip = re.search(r"at stowaway, .* its opening (\d+) × ([\d.]+) mm, finest detail ([\d.]+) mm", words)
    (row,) = ask("throw", "02-slit-over-the-eyes", "--json")["result"]["projectors"]
    # The strip at the sitter's distance: the same magnification that the pattern has there.
    share = row["light_on"][0]["pattern_height_m"] / row["opening"]["bitmap_height_mm"]
    assert float(strip[2]) == pytest.approx(1e3 * share * row["opening"]["height_mm"], rel=2e-3)
    assert float(strip[2]) < 60.0 < float(strip[1])


def test_a_gate_that_passes_no_light_is_said_so(ask):
    words = ask(
        "throw",
        "08-framed-head",
        "--with",
        "projector.frame.blade.left.insertion_mm=38",
        "--with",
        "projector.frame.blade.right.insertion_mm=38",
    )
    assert "nothing of its light lands on anything" in words and "nothing is open in the gate" in words
    assert "nan" not in words


def test_an_axis_that_meets_nothing_is_said_so(ask):
    words = ask("throw", "01-square-wall", "--with", "projector.window.aim=[0.0, 1.5, 9.0]")
    assert "its axis meets nothing" in words and "None" not in words and "nan" not in words


def test_the_nearest_focus_may_be_typed_as_it_is_printed(ask):
    lens = ("throw", "--focal-length-mm", 50, "--travel-mm", 1)
    printed = re.search(r"focuses from ([\d.]+) m", ask(*lens))[1]
    assert "within reach" in ask(*lens, "--throw-m", printed)
    assert "cannot focus" in ask(*lens, "--throw-m", float(printed) - 0.002)


def test_a_width_and_a_throw_say_the_angle(ask):
    """2·atan(W/2D) (plane geometry): 1.004 m at 3 m is 19°, like a camera lens of 129.3 mm."""
    found = ask("throw", "--width-m", 1.004, "--throw-m", 3, "--json")["result"]
    assert (found["beam_angle_deg"], found["camera_lens_like_mm"]) == pytest.approx((19.0, 129.3), abs=0.05)
    assert "a beam of 19.0° full" in ask("throw", "--width-m", 1.004, "--throw-m", 3)
    assert "--lit-height-mm would not be used" in ask(
        "throw", "--width-m", 1, "--throw-m", 3, "--lit-height-mm", 20, code=1
    )


@pytest.mark.slow
def test_straighten_says_its_factor_where_it_lands_and_can_keep_the_size(ask, tmp_path):
    values = np.zeros((64, 64), np.uint8)
    values[4:60, 4:60] = 255
    Image.fromarray(values).save(tmp_path / "square.png")
    stencil, small = (
        ("--with", f'projector.{name}.stencil.file="{tmp_path / "square.png"}"') for name in ("lattice", "window")
    )
    whole = ask("straighten", "06-oblique-wall", "--json", "-o", "whole", *stencil)["result"]
    kept = ask("straighten", "06-oblique-wall", "--json", "-o", "kept", "--keep-size", *stencil)["result"]
    assert kept["size_factor"] == 1.0 and whole["size_factor"] == pytest.approx(whole["width_m"] / kept["width_m"])
    words = ask("straighten", "06-oblique-wall", "-o", "whole", *stencil)
    assert f"{whole['size_factor']:.3f} times the size it has on a wall square to the beam" in words
    assert f"its middle moves {whole['moved_right_m']:.3f} m to the right" in words
    words = ask("straighten", "01-square-wall", "-o", "flat", "--keep-size", *small)
    assert "nothing of it is cut off" in words and "its middle stays where the old one's lands" in words
    narrow = (*small, "--with", "surface.wall.width_m=0.4")
    words = ask("straighten", "01-square-wall", "-o", "cut", "--keep-size", *narrow)
    assert "% of its opening is cut off" in words
