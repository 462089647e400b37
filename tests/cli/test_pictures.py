"""What a preview draws besides the picture, and says of it: each by a plain option, in words and for programs."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image

from projector.files.records import read_record

QUICK = ("preview", "05-two-projectors", "--size", "96x72", "--quality", "quick")


@pytest.mark.slow
def test_every_option_draws_its_figure_and_has_its_numbers(ask, tmp_path):
    found = ask(
        *QUICK, "--clipped", "--blocked", "--stops-around", "watch.right_cheek", "--histogram", "-o", "one", "--json"
    )
    names = ["one.png", "one-marked.png", "one-stops.png", "one-histogram.png"]
    assert found["files"] == names
    for name in names:
        assert read_record(tmp_path / name)["scene"] == "05-two-projectors"
    result = found["result"]
    assert set(result["marked"]) == {"clipped_share", "blocked_share"}
    assert result["stops_around"]["reference"] == "watch.right_cheek"
    assert sum(result["stops_around"]["share_by_stop"].values()) == pytest.approx(1.0)
    histogram = result["histogram"]
    assert [sum(counts) for counts in histogram["pixels"].values()] == [96 * 72] * 3
    assert histogram["stops_over_grey_card"][0] is None and len(histogram["codes"]) == 256


def test_without_options_there_is_the_picture_alone(ask):
    found = ask(*QUICK, "-o", "plain", "--json")
    assert found["files"] == ["plain.png"]
    assert not {"marked", "stops_around", "histogram"} & set(found["result"])


def test_marks_are_drawn_in_the_picture_pixel_by_pixel(ask, tmp_path):
    """Where the picture's red is white, the figure has another colour than the pale grey of its print."""
    ask(*QUICK, "--clipped", "-w", "camera.iso=3200", "-o", "one")
    picture = np.asarray(Image.open(tmp_path / "one.png"))
    figure = np.asarray(Image.open(tmp_path / "one-marked.png").convert("RGB")).astype(int)
    clipped = (picture == 255).any(axis=2)
    assert 0.05 < clipped.mean() < 0.95
    # The print of a small picture is enlarged by whole pixels; it stands a quarter of an inch from the left.
    scale = -(-int(5.2 * 150) // 96)
    left, top = 37, 75
    middles = figure[top + scale // 2 :: scale, left + scale // 2 :: scale][:72, :96]
    assert ((np.ptp(middles, axis=2) > 20) == clipped).mean() > 0.99


def test_one_light_alone_is_a_file_of_its_own_and_answers_for_itself(ask):
    found = ask(*QUICK, "--only", "blinds", "--json")
    assert found["files"] == ["05-two-projectors-only-blinds.png"]
    assert [item["projector"] for item in found["result"]["projectors"]] == ["blinds"]


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--only", "blind"), "did you mean blinds?"),
        (("--stops-around", "backdrop.centre"), "the camera does not see backdrop.centre: watch is"),
        (("--stops-around", "0,1"), "is not a point"),
        (("--stops-around", "watch.eye"), "there is no landmark"),
    ],
)
def test_what_cannot_be_shown_is_refused_before_the_work(ask, options, words):
    assert words in ask(*QUICK, *options, code=1)


def test_a_clipping_pattern_is_noted_with_its_cure(ask):
    found = ask(*QUICK, "-w", "camera.iso=1600", "-o", "bright", "--json")
    (note,) = [text for text in found["warnings"] if "clip" in text]
    assert "blue clips in" in note and "stops less light" in note
    clipping = found["result"]["clipping"]
    assert clipping["channel"] == "blue" and clipping["shares"]["blue"] > 0.4
    assert not [text for text in ask(*QUICK, "-o", "plain", "--json")["warnings"] if "clip" in text]
