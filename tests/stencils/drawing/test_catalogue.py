"""The shipped stencils: what claims to be metal is one piece, plain shapes have their textbook areas, files match the
drawings.
"""

from __future__ import annotations

import json
import math
import time
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from scipy import ndimage

from projector.files.finding import shipped_folder
from projector.stencils.drawing.catalogue import DRAWINGS, draw, list_stencils, write_all
from projector.stencils.drawing.shapes import fixed_random, smooth_noise, spread_points
from projector.stencils.stencil import load_stencil
from tests.conftest import mostly_slow

SIZE = 2048
METAL = sorted(name for name, drawing in DRAWINGS.items() if drawing.is_metal)
GLASS = sorted(set(DRAWINGS) - set(METAL))
FOLDER = shipped_folder("stencil")


@cache
def shipped(name: str) -> np.ndarray:
    """A shipped stencil in 255 steps: within one of them its drawing, as `test_shipped_file_is_the_drawing` holds."""
    return np.round(load_stencil(FOLDER / f"{name}.png").transmission * 255.0).astype(np.uint8)


def radius_of_pixels(size: int = SIZE) -> np.ndarray:
    centres = (np.arange(size) + 0.5) / size * 2.0 - 1.0
    return np.hypot(centres[None, :], centres[:, None])


def test_there_are_at_least_fifteen_and_the_promised_ones_are_among_them():
    promised = {
        "window",
        "blinds",
        "slit",
        "circle",
        "triangle",
        "leaves",
        "swirl",
        "lattice",
        "dots",
        "breakup",
        "orientation",
        "slanted-edge",
    }
    assert promised <= set(DRAWINGS) and len(DRAWINGS) >= 15
    assert all(drawing.description and drawing.good_for for drawing in DRAWINGS.values())


@pytest.mark.parametrize("name", METAL)
def test_metal_is_one_connected_piece_that_holds_the_rim(name):
    """4-connected at the half-open level: a piece that hung by a corner, or not at all, would fall out of the sheet."""
    metal = shipped(name) < 128
    _pieces, n_pieces = ndimage.label(metal)
    assert n_pieces == 1
    assert metal[radius_of_pixels() > 0.94].all()


@pytest.mark.parametrize("name", ["branches", "breakup", "leaves", "palm", "screen", "swirl"])
def test_metal_is_cut_clean_grey_only_where_an_edge_crosses_a_pixel(name):
    """Every half-open pixel has an open or a shut one within two pixels of it."""
    values = shipped(name)
    grey = (values > 0) & (values < 255)
    near_shut = ndimage.minimum_filter(values, 5) == 0
    near_open = ndimage.maximum_filter(values, 5) == 255
    assert (near_shut & near_open)[grey].mean() > 0.97  # the rest: tips and gaps finer than five pixels
    assert (near_shut | near_open)[grey].all()


@pytest.mark.parametrize("name", GLASS)
def test_glass_has_real_half_tones_and_a_dark_rim(name):
    values = shipped(name)
    assert np.mean((values > 20) & (values < 235)) > 0.05
    assert values[radius_of_pixels() > 0.94].max() == 0


@pytest.mark.slow
@pytest.mark.parametrize("name", mostly_slow(sorted(DRAWINGS), 4))
def test_shipped_file_is_the_drawing(name):
    """Within one grey level: what rounding and another computer's sine can change."""
    stencil = load_stencil(FOLDER / f"{name}.png")
    assert stencil.transmission.shape == (SIZE, SIZE)
    assert np.abs(stencil.transmission * 255.0 - np.round(draw(name, SIZE) * 255.0)).max() < 1.5
    assert stencil.notes == []


def test_every_shipped_file_has_a_drawing():
    assert {path.stem for path in FOLDER.glob("*.png")} == set(DRAWINGS)


# --- shapes against geometry ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "area"),
    [
        ("circle", math.pi * 0.6**2),
        ("square", 1.1**2 - (4.0 - math.pi) * 0.01**2),  # its corners are rounded by 0.01
        ("slanted-edge", 0.5 * math.pi * 0.8**2),
    ],
)
def test_open_share_is_the_area_by_the_textbook(name, area):
    """Of a sheet of area 4. The clipped distance is exact for straight edges along an axis; for slanted and bent ones
    its error per pixel changes sign along the edge, and what stays is under one part in ten thousand of the sheet."""
    assert draw(name, SIZE).mean(dtype=float) == pytest.approx(area / 4.0, abs=1e-4 * area / 4.0 + 1e-6)


def test_triangle_is_equilateral():
    rows, columns = np.nonzero(shipped("triangle") > 127)
    width, height = np.ptp(columns) + 1, np.ptp(rows) + 1
    # Its corners are rounded alike; each loses the same, so that the sides' slopes are what is left to tell: tan 60°.
    lower, upper = (columns[rows == row] for row in (1300, 900))
    slope = (1300 - 900) / (0.5 * (np.ptp(lower) - np.ptp(upper)))
    assert slope == pytest.approx(math.tan(math.radians(60.0)), rel=0.005)  # two pixels in 231
    assert height / width == pytest.approx(math.sin(math.radians(60.0)), rel=0.03)


def test_slanted_edge_leans_five_degrees():
    """ISO 12233:2017 measures on an edge slanted by about 5°.

    The edge of each row, from its open share, on a straight line.
    """
    values = draw("slanted-edge", SIZE)
    rows = np.arange(600, 1448)
    edge = 1200.0 - values[rows, :1200].sum(axis=1, dtype=float)
    slope, _ = np.polyfit(rows, edge, 1)
    assert math.degrees(math.atan(-slope)) == pytest.approx(5.0, abs=0.002)
    assert np.abs(edge - np.polyval(np.polyfit(rows, edge, 1), rows)).max() < 0.05


def test_orientation_mark_is_changed_by_every_turn_and_mirror():
    """All eight symmetries of the square, pairwise: no two look alike, by more than a hundredth of the sheet."""
    mark = shipped("orientation") > 127
    eight = [np.rot90(side, turns) for side in (mark, np.fliplr(mark)) for turns in range(4)]
    for first in range(8):
        for second in range(first):
            assert np.mean(eight[first] ^ eight[second]) > 0.01


def test_orientation_mark_counts_its_corners_clockwise_from_upper_left():
    mark = shipped("orientation") > 127
    half, edge = SIZE // 2, int(0.2 * SIZE)
    corners = [
        (slice(0, half), slice(0, half)),
        (slice(0, half), slice(half, None)),
        (slice(half, None), slice(half, None)),
        (slice(half, None), slice(0, half)),
    ]
    counts = []
    for corner in corners:
        pieces, n = ndimage.label(mark[corner])
        # Dots are the small round pieces near the outer corner: 0.038 of half the width in radius.
        areas = ndimage.sum_labels(np.ones_like(pieces), pieces, range(1, n + 1))
        counts.append(int(np.sum(np.abs(areas - math.pi * (0.038 * half) ** 2) < 60)))
    assert counts == [1, 2, 3, 4]
    assert (
        mark[:edge, half - edge // 2 : half + edge // 2].any()
        and not mark[-edge:, half - edge // 2 : half + edge // 2].any()
    )


@pytest.mark.parametrize("name", mostly_slow(["window", "church-window", "swirl", "branches", "palm"], 2))
def test_a_drawing_is_the_same_at_half_the_size(name):
    """The large one averaged in blocks of four: the same open share, and edges at the same places to a small part of a
    pixel.
    """
    small = draw(name, SIZE // 2)
    averaged = draw(name, SIZE).reshape(SIZE // 2, 2, SIZE // 2, 2).mean(axis=(1, 3))
    assert small.mean(dtype=float) == pytest.approx(averaged.mean(dtype=float), abs=2e-4)
    on_edge = (averaged > 0.0) & (averaged < 1.0)
    assert np.abs(small - averaged)[on_edge].mean() < 0.06


# --- files and lists --------------------------------------------------------------------------------------------------


def test_the_list_is_read_and_not_drawn():
    start = time.perf_counter()
    listed = list_stencils(FOLDER)
    assert time.perf_counter() - start < 1.0
    assert [name for name, _, _ in listed] == sorted(DRAWINGS)
    for name, words, share in listed:
        assert DRAWINGS[name].description in words and DRAWINGS[name].good_for in words
        assert share == pytest.approx(shipped(name).mean() / 255.0, abs=2e-4)


def test_files_carry_what_they_are(tmp_path, monkeypatch):
    monkeypatch.setattr(
        "projector.stencils.drawing.catalogue.DRAWINGS", {name: DRAWINGS[name] for name in ("circle", "clouds")}
    )
    paths = write_all(tmp_path, 256)
    facts = {path.stem: json.loads(Image.open(path).info["projector stencil"]) for path in paths}
    assert facts["circle"]["metal"] is True and facts["clouds"]["metal"] is False
    assert all(Image.open(path).mode == "L" and Image.open(path).size == (256, 256) for path in paths)


def test_a_file_without_a_description_is_listed_by_name(tmp_path):
    Image.new("L", (8, 8)).save(tmp_path / "mine.png")
    ((name, words, share),) = list_stencils(Path(tmp_path))
    assert (name, words) == ("mine", "") and math.isnan(share)


# --- chance -----------------------------------------------------------------------------------------------------------


def test_spread_points_keep_their_distance():
    places = spread_points(1, 0.2, 0.9)
    apart = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
    assert apart[~np.eye(len(places), dtype=bool)].min() >= 0.2
    assert np.hypot(*places.T).max() <= 0.9 and len(places) > 30


def test_smooth_noise_is_zero_on_its_lattice_and_continuous():
    """Perlin's construction: every lattice point holds a slope and the value 0."""
    x, y = np.meshgrid(np.arange(-3.0, 4.0), np.arange(-3.0, 4.0))
    assert np.all(smooth_noise(x, y, 4) == 0.0)
    fine = np.linspace(-3.0, 3.0, 6001)
    along = smooth_noise(fine, np.full_like(fine, 0.3), 4)
    assert np.abs(np.diff(along)).max() < 0.004 and 0.2 < np.ptp(along) < 2.0


def test_chance_is_the_stream_that_numpy_froze():
    """Mersenne twister of seed 5489, first 32-bit word 3499211612 (Matsumoto and Nishimura, mt19937ar.out, from
    memory).
    """
    assert fixed_random(5489).randint(0, 2**32, dtype=np.uint32) == 3499211612
