"""Pupils: samples against the shape, moments and edge spreads against closed forms and independent integration.

Chi-square tests run on fixed seeds, so they cannot flicker; right code with other seeds would fail each of them once in
a million (the false-alarm rate below).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import chi2

from projector.jit import kernel
from projector.optics.thin_lens import disc_edge_spread
from projector.tracing.sight.outline import (
    N_PROJECTION_STEPS,
    coverage_image,
    inside,
    make_outline,
    outline_point,
    projection_table,
)
from tests.conftest import mostly_slow

FALSE_ALARM_RATE = 1e-6


def drawn_pupil():
    """A lopsided bitmap: a tall bar, a wide half-lit bar and a dark gap between them, (40, 30)."""
    values = np.zeros((40, 30))
    values[3:20, 4:9] = 1.0
    values[25:36, 10:28] = 0.5
    return make_outline("bitmap", bitmap=values)


PUPILS = {
    "disc": make_outline("disc"),
    "ring": make_outline("ring", inner_fraction=0.6),
    "triangle": make_outline("polygon", n_blades=3, rotation_deg=10.0),
    "square": make_outline("polygon", n_blades=4, rotation_deg=45.0),
    "nonagon": make_outline("polygon", n_blades=9, rotation_deg=3.0),
    "bitmap": drawn_pupil(),
}
every_pupil = pytest.mark.parametrize("name", PUPILS)


@kernel
def place_points(pupil, numbers, out):
    for i in range(numbers.shape[0]):
        out[i, 0], out[i, 1] = outline_point(pupil, numbers[i, 0], numbers[i, 1])


def points_of(pupil, numbers):
    """Points (n, 2) of the pupil for numbers (n, 2) of the unit square, as kernels place them."""
    out = np.empty_like(numbers)
    place_points(pupil, np.ascontiguousarray(numbers), out)
    return out


def lattice(n):
    """Middles (n², 2) of n × n cells of the unit square."""
    middles = (np.arange(n) + 0.5) / n
    return np.stack(np.meshgrid(middles, middles), axis=-1).reshape(-1, 2)


def scattered(n):
    """n points (n, 2) spread evenly over the unit square and in step with no grid: an additive recurrence on the
    plastic number.
    """
    return np.arange(1, n + 1)[:, None] * np.array([0.7548776662466927, 0.5698402909980532]) % 1.0


def raster(pupil, n=1600):
    """Transmission (n, n) of the pupil over its reach, the middles (n,) of the raster's cells and a cell's area."""
    middles = ((np.arange(n) + 0.5) / n * 2.0 - 1.0) * pupil.reach
    return inside(pupil, middles[None, :], middles[:, None]), middles, (2.0 * pupil.reach / n) ** 2


@every_pupil
def test_kernels_and_python_place_the_same_points(name):
    numbers = np.random.default_rng(1).random((300, 2))
    in_python = [outline_point(PUPILS[name], u, v) for u, v in numbers]
    # The compiler may round a sine the other way.
    np.testing.assert_allclose(points_of(PUPILS[name], numbers), in_python, rtol=0, atol=1e-14)


@every_pupil
def test_every_sample_lies_in_the_pupil_and_within_reach(name):
    pupil = PUPILS[name]
    points = points_of(pupil, np.random.default_rng(2).random((50000, 2)) * (1.0 - 2e-9) + 1e-9)
    shrunk = points * (1.0 - 1e-12) if name != "ring" else points
    on_rim = np.abs(np.linalg.norm(points, axis=1) - pupil.inner) < 1e-12
    assert np.all((inside(pupil, shrunk[:, 0], shrunk[:, 1]) > 0.0) | on_rim)
    assert np.linalg.norm(points, axis=1).max() <= pupil.reach * (1.0 + 1e-12)


@every_pupil
def test_equal_areas_of_the_square_go_to_equal_areas_of_the_pupil(name):
    pupil = PUPILS[name]
    numbers = np.random.default_rng(3).random((4000, 2)) * 0.999 + 0.0005
    step = 1e-7
    across, along = np.array([step, 0.0]), np.array([0.0, step])
    right = (points_of(pupil, numbers + across) - points_of(pupil, numbers - across)) / (2.0 * step)
    down = (points_of(pupil, numbers + along) - points_of(pupil, numbers - along)) / (2.0 * step)
    areas = np.abs(right[:, 0] * down[:, 1] - right[:, 1] * down[:, 0])
    # Half-lit parts of a bitmap are drawn half as densely: area times transmission is what is equal.
    middle = points_of(pupil, numbers)
    areas = areas * inside(pupil, middle[:, 0], middle[:, 1])
    # A step across the seam of two sectors, strips or pixels measures nothing: some in a million of the square's width
    # each.
    seams = np.abs(areas / (math.pi * pupil.area) - 1.0) > 1e-4
    assert seams.mean() < 1e-3


@every_pupil
def test_random_samples_fill_the_pupil_as_its_raster_says(name):
    pupil = PUPILS[name]
    n_samples, n_bins = 200000, 12
    values, middles, _ = raster(pupil)
    bins = np.linspace(-pupil.reach, pupil.reach, n_bins + 1)
    x, y = np.meshgrid(middles, middles)
    expected, _, _ = np.histogram2d(x.ravel(), y.ravel(), bins=(bins, bins), weights=values.ravel())
    expected *= n_samples / expected.sum()
    points = points_of(pupil, np.random.default_rng(4).random((n_samples, 2)))
    found, _, _ = np.histogram2d(points[:, 0], points[:, 1], bins=(bins, bins))
    # Bins with less than 50 are put together, so that chi-square holds and a rim's raster error (some 1/1600 of the
    # pupil's width along a bin's side, 1 % of such a bin) stays far under chance.
    full = expected >= 50.0
    found, expected = np.append(found[full], found[~full].sum()), np.append(expected[full], expected[~full].sum())
    found, expected = found[expected > 0.0], expected[expected > 0.0]
    assert found.sum() == n_samples
    assert ((found - expected) ** 2 / expected).sum() < chi2.ppf(1.0 - FALSE_ALARM_RATE, expected.size - 1)


@every_pupil
def test_area_is_the_nominal_discs_or_what_a_ring_leaves(name):
    values, _, cell = raster(PUPILS[name])
    expected = 1.0 - 0.6**2 if name == "ring" else 1.0
    assert PUPILS[name].area == pytest.approx(expected, rel=1e-12)
    # Half a cell along the rim either way: 1/1600 of the width, 2e-3 of the area for a ring with its two rims.
    assert values.sum() * cell / math.pi == pytest.approx(expected, rel=2e-3)


@every_pupil
def test_second_moments_are_those_of_the_shape(name):
    pupil = PUPILS[name]
    values, middles, _ = raster(pupil)
    share = values / values.sum()
    columns, rows = share.sum(axis=0), share.sum(axis=1)
    found = [columns @ middles**2, rows @ middles**2, middles @ share @ middles]
    np.testing.assert_allclose(pupil.second_moments, found, atol=2e-3 * pupil.second_moments.max())
    # And of its samples: the middles of 400 × 400 cells, each off by at most the cell's own spread of 1/400 squared.
    x, y = points_of(pupil, lattice(400)).T
    np.testing.assert_allclose(
        pupil.second_moments, [(x * x).mean(), (y * y).mean(), (x * y).mean()], atol=1e-3 * pupil.second_moments.max()
    )


def test_a_half_turn_leaves_only_the_symmetric_pupils_as_they_are():
    for name, pupil in PUPILS.items():
        values, _, _ = raster(pupil, 400)
        turned = values[::-1, ::-1]
        # Cells cut by a rim may round either way: 400 of them along a side are 1 % of the raster.
        assert pupil.symmetric == (np.abs(values - turned).mean() < 0.01), name


def test_a_disc_and_a_ring_spread_an_edge_as_the_closed_form_says():
    steps = np.linspace(-1.0, 1.0, N_PROJECTION_STEPS + 1)
    disc = np.array([disc_edge_spread(-0.5 * t) for t in steps])
    np.testing.assert_allclose(projection_table(PUPILS["disc"], 0.6, 0.8), disc, atol=1e-12)
    # A ring is a disc less a smaller disc.
    hole = np.array([disc_edge_spread(-0.5 * t / 0.6) for t in steps])
    np.testing.assert_allclose(projection_table(PUPILS["ring"], 1.0, 0.0), (disc - 0.36 * hole) / 0.64, atol=1e-12)


def test_a_square_spreads_an_edge_as_the_closed_form_says():
    # Corners on the diagonals: along a side the share falls straight, along a diagonal as the square of the distance to
    # the corner.
    square = PUPILS["square"]
    t = np.linspace(-square.reach, square.reach, N_PROJECTION_STEPS + 1)
    half_side = 0.5 * math.sqrt(math.pi)
    # 1024 rows of the raster: one of them is 1/724 of the square.
    np.testing.assert_allclose(
        projection_table(square, 1.0, 0.0), np.clip(0.5 - 0.5 * t / half_side, 0.0, 1.0), atol=1.5e-3
    )
    along_diagonal = 0.5 * (1.0 - np.abs(t) / square.reach) ** 2
    np.testing.assert_allclose(
        projection_table(square, math.sqrt(0.5), math.sqrt(0.5)),
        np.where(t > 0.0, along_diagonal, 1.0 - along_diagonal),
        atol=1.5e-3,
    )


@every_pupil
def test_edge_spreads_count_the_samples_beyond_the_edge(name):
    pupil = PUPILS[name]
    points = points_of(pupil, lattice(500))
    edges = np.linspace(-pupil.reach, pupil.reach, N_PROJECTION_STEPS + 1)[::64]
    for angle in (0.0, 0.7, 2.5, 4.0):
        direction = np.array([math.cos(angle), math.sin(angle)])
        beyond = (points @ direction > edges[:, None]).mean(axis=1)
        # One row of 500 samples, or of 1024 raster lines, to either side of an edge.
        np.testing.assert_allclose(projection_table(pupil, *direction)[::64], beyond, atol=4e-3)


# 10–90 % width of an edge in equal-area diameters, smallest and largest over the polygon's turn; computed
# independently.
@pytest.mark.parametrize(
    "n_blades, narrowest, widest",
    mostly_slow(
        [
            (4, 0.6866, 0.7090),
            (5, 0.6868, 0.6905),
            (6, 0.6737, 0.7000),
            (7, 0.6871, 0.6883),
            (8, 0.6864, 0.6897),
            (9, 0.6869, 0.6875),
        ],
        quick=3,
    ),
)
def test_blades_hardly_change_the_width_of_an_edge(n_blades, narrowest, widest):
    pupil = make_outline("polygon", n_blades=n_blades)
    t = np.linspace(-pupil.reach, pupil.reach, N_PROJECTION_STEPS + 1)
    widths = []
    for turn in np.linspace(0.0, math.pi / n_blades, 13):
        table = projection_table(pupil, math.cos(turn), math.sin(turn))[::-1]
        low, high = np.interp([0.1, 0.9], table, t[::-1])
        widths.append(0.5 * (low - high))
    # One part in 1024 of the raster at each end of the rise.
    assert min(widths) == pytest.approx(narrowest, abs=1.5e-3)
    assert max(widths) == pytest.approx(widest, abs=1.5e-3)


def moments(image):
    """Centre (2,) and mean squares (2,) of an image about its middle, pixels."""
    pixels = np.arange(image.shape[0]) - image.shape[0] // 2
    columns, rows = image.sum(axis=0), image.sum(axis=1)
    return np.array([columns @ pixels, rows @ pixels]), np.array([columns @ pixels**2, rows @ pixels**2])


@every_pupil
@pytest.mark.parametrize("diameter_pixels", [0.7, 3.0, 10.0, 40.5])
def test_coverage_images_count_the_samples_in_each_pixel(name, diameter_pixels):
    pupil = PUPILS[name]
    image = coverage_image(pupil, diameter_pixels)
    n = image.shape[0]
    assert image.shape == (n, n) and n % 2 == 1 and image.min() >= 0.0
    assert image.sum() == pytest.approx(1.0, rel=1e-12)
    x, y = points_of(pupil, scattered(500000)).T * 0.5 * diameter_pixels
    edges = np.arange(n + 1) - 0.5 * n
    counted = np.histogram2d(y, x, bins=(edges, edges))[0] / x.size
    (centre, spread), (counted_centre, counted_spread) = moments(image), moments(counted)
    # Sub-samples are a third of a pixel apart at most. Round rims average that out; a straight side along a row of them
    # is up to a sixth of a pixel off, hence the pixels on it by as much, and sizes by a third over the diameter.
    np.testing.assert_allclose(image, counted, rtol=0.0, atol=0.2 * counted.max())
    np.testing.assert_allclose(centre, counted_centre, atol=0.03)
    np.testing.assert_allclose(spread, counted_spread, rtol=0.02, atol=0.02)


def test_a_bitmaps_straight_sides_are_drawn_exactly():
    # A full square, drawn 4.5 pixels wide: three whole pixels and three quarters of one at either end.
    pupil = make_outline("bitmap", bitmap=np.ones((8, 8)))
    image = coverage_image(pupil, 4.5 / (0.5 * math.sqrt(math.pi)))
    row = np.array([0.75, 1.0, 1.0, 1.0, 0.75]) / 4.5
    margin = (image.shape[0] - 5) // 2
    np.testing.assert_allclose(image, np.pad(np.outer(row, row), margin), atol=1e-12)


@every_pupil
def test_coverage_images_are_the_pupil_upright(name):
    pupil = PUPILS[name]
    image = coverage_image(pupil, 60.0)
    n = image.shape[0]
    centres = (np.arange(n) - n // 2) / 30.0
    covered = inside(pupil, centres[None, :], centres[:, None])
    # Pixels that a rim cuts differ from their middle; rims are thin.
    assert np.corrcoef(image.ravel(), covered.ravel())[0, 1] > 0.97


def test_a_half_lit_bitmap_counts_as_half_the_area():
    values = np.full((8, 8), 1.0)
    assert make_outline("bitmap", bitmap=0.5 * values).extent == pytest.approx(
        math.sqrt(2.0) * make_outline("bitmap", bitmap=values).extent
    )
    # A full square bitmap is the square of the nominal disc's area.
    assert make_outline("bitmap", bitmap=values).extent == pytest.approx(0.5 * math.sqrt(math.pi))


def test_pupils_that_cannot_be_are_refused():
    with pytest.raises(ValueError, match="lets no light through"):
        make_outline("bitmap", bitmap=np.zeros((4, 4)))
    with pytest.raises(ValueError, match="unknown pupil shape"):
        make_outline("star")
