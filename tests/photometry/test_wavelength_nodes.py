"""Few wavelengths against all 71, on colour fringes written down in closed form.

The fringe: a straight edge in the gate, light on one side, through a disc pupil of a thin N-BK7 singlet (85 mm, throw
2 m), on a wall that a camera with 85 mm and 6000 pixels across 36 mm sees from 3 m: 0.21 mm a pixel.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from projector.optics import dispersion
from projector.photometry import colour, filters, spectra
from projector.photometry.wavelength_nodes import choose_nodes

FOCAL_LENGTH, THROW, GATE_RADIUS = 0.085, 2.0, 0.0125
PIXEL = 0.036 / 6000 * 3.0 / 0.085
STEPS_PER_PIXEL = 8
SOURCES = {
    "tungsten 3200 K": spectra.tungsten(3200.0),
    "daylight 5600 K": spectra.white_light(5600.0),
    "LED 3200 K": spectra.led(3200.0),
    "LED 5600 K": spectra.led(5600.0),
}
# Sharp in yellow; sharp in blue, cyan or red (a tenth of a millimetre or three of gate travel); sharp nowhere near.
OFFSETS = (-3e-3, -1e-3, -6e-4, -3e-4, 0.0, 3e-4, 6e-4, 1e-3, 3e-3)
# Lateral colour in m between 450 and 650 nm in the gate's edge, and how far from the axis the edge lies.
EDGES = ((0.0, 0.0), (1e-4, 0.009))
FRINGES = [
    *itertools.product((1.8, 2.8, 4.0), OFFSETS, EDGES, (0.0,)),
    *itertools.product((1.8, 4.0), (0.0, 1e-3), EDGES, (math.radians(5.0), math.radians(30.0))),
]


def edge_spread(position):
    """Share of light across an edge blurred by a disc of diameter 1,
    ½ + [u√(1 − u²) + asin u]/π with u = 2·position.
    """
    u = np.clip(2.0 * position, -1.0, 1.0)
    return 0.5 + (u * np.sqrt(1.0 - u * u) + np.arcsin(u)) / math.pi


def box_mean(values, n):
    """Running mean of n rows."""
    sums = np.concatenate([np.zeros((1, values.shape[1])), np.cumsum(values, axis=0)])
    return (sums[n:] - sums[:-n]) / n


def fringe(wavelengths_nm, f_number, offset, edge, slant):
    """Light (points, wavelengths) across the edge, averaged over a camera pixel whose sides the
    edge meets at a slant.
    """
    lateral, place = edge
    tube = 1.0 / (1.0 / FOCAL_LENGTH - 1.0 / THROW) + offset
    diameter = FOCAL_LENGTH / f_number
    tilts = dispersion.relative_power(wavelengths_nm, glass="N-BK7") / FOCAL_LENGTH - 1.0 / tube - 1.0 / THROW
    sizes = 1.0 - lateral / GATE_RADIUS * dispersion.lateral_colour_share(wavelengths_nm, "N-BK7")
    widest = np.array([380.0, 730.0])
    reach = (
        0.5
        * diameter
        * THROW
        * np.abs(dispersion.relative_power(widest, glass="N-BK7") / FOCAL_LENGTH - 1.0 / tube - 1.0 / THROW).max()
    )
    reach += 2.0 * lateral * place / GATE_RADIUS * THROW / tube + 3.0 * PIXEL
    n = math.ceil(reach / PIXEL) * STEPS_PER_PIXEL
    x = (np.arange(-n, n) + 0.5) * PIXEL / STEPS_PER_PIXEL
    in_gate = sizes * (place + x[:, None] * tube / THROW) - place
    light = edge_spread(in_gate / np.maximum(diameter * tube * np.abs(tilts), 1e-9))
    # A square seen along a slanted edge is two boxes one after the other.
    for side in (math.cos(slant), math.sin(slant)):
        light = box_mean(light, max(round(side * STEPS_PER_PIXEL), 1))
    return light[:: STEPS_PER_PIXEL // 2]


@pytest.fixture(scope="module")
def full_fringes():
    """Every fringe at all wavelengths of the grid."""
    return [fringe(spectra.WAVELENGTHS_NM, *item) for item in FRINGES]


def colour_errors(light, n_nodes, full_fringes, white=None):
    """ΔE*ab of each fringe's points that lie between 2 and 98 % of white."""
    channels = light[:, None] * spectra.OBSERVER_STEPS
    nodes = choose_nodes(light, n_nodes)
    weights = nodes.hat @ channels
    white = channels.sum(axis=0) if white is None else white
    errors = []
    for item, full in zip(FRINGES, full_fringes, strict=True):
        exact, few = full @ channels, fringe(nodes.wavelengths_nm, *item) @ weights
        share = exact[:, 1] / channels[:, 1].sum()
        between = (share > 0.02) & (share < 0.98)
        errors.append(colour.delta_e(exact[between], few[between], white))
    return errors


# Largest errors: of 95 % of the points of all fringes, and of 95 % of the points of any one fringe.
@pytest.mark.parametrize("n_nodes, of_all, of_any", [(6, 8.0, 13.0), (12, 2.0, 4.0)])
@pytest.mark.parametrize("name", SOURCES)
def test_a_few_nodes_give_the_colours_of_a_fringe(name, n_nodes, of_all, of_any, full_fringes):
    # ΔE*ab of 2 is about what is just seen side by side; 8 with six nodes is the price of a preview while one turns a
    # knob.
    errors = colour_errors(SOURCES[name], n_nodes, full_fringes)
    assert np.percentile(np.concatenate(errors), 95.0) < of_all
    assert max(np.percentile(each, 95.0) for each in errors) < of_any


@pytest.mark.parametrize(
    "source, transmittance",
    [
        ("daylight 5600 K", filters.band(530.0, 30.0)),
        ("tungsten 3200 K", filters.long_pass(600.0, 20.0)),
        ("daylight 5600 K", filters.short_pass(500.0, 20.0)),
    ],
    ids=["green band", "red", "blue"],
)
def test_nodes_follow_the_light_behind_a_filter(source, transmittance, full_fringes):
    light = SOURCES[source] * transmittance
    # White is the unfiltered lamp, as bright as the strongest of the three sums: what a camera set to the lamp would
    # show.
    white = colour.xyz_from_spectrum(SOURCES[source])
    white = white * (colour.xyz_from_spectrum(light) / white).max()
    for n_nodes, limit in ((6, 2.0), (12, 1.0)):
        assert np.percentile(np.concatenate(colour_errors(light, n_nodes, full_fringes, white)), 95.0) < limit


def test_a_narrow_band_holds_the_nodes():
    nodes = choose_nodes(SOURCES["daylight 5600 K"] * filters.band(530.0, 30.0), 6)
    # A bell of 30 nm at half height holds all but 2 % of its light within 530 ± 30 nm.
    assert np.all(np.abs(nodes.wavelengths_nm - 530.0) < 30.0)


@pytest.mark.parametrize("n_nodes", [1, 2, 6, 12, 40])
def test_an_evenly_lit_place_has_exactly_its_colour(n_nodes):
    reflectance = colour.reflectance_from_linear_srgb((0.7, 0.3, 0.1))
    channels = (SOURCES["LED 5600 K"] * reflectance)[:, None] * spectra.OBSERVER_STEPS
    nodes = choose_nodes(SOURCES["LED 5600 K"], n_nodes)
    # One light for all wavelengths: the sum over nodes is the sum over the grid, to rounding.
    np.testing.assert_allclose((nodes.hat @ channels).sum(axis=0), channels.sum(axis=0), rtol=1e-12)
    np.testing.assert_allclose(nodes.hat.sum(axis=0), 1.0, rtol=1e-12)
    assert nodes.hat.min() >= 0.0 and nodes.hat.shape == (n_nodes, 71)
    assert np.all(np.diff(nodes.wavelengths_nm) > 0.0)


def test_geometry_that_runs_straight_with_cauchys_index_is_kept_between_nodes():
    nodes = choose_nodes(SOURCES["daylight 5600 K"], 6)
    index = dispersion.cauchy_index(1.5168, 64.2, spectra.WAVELENGTHS_NM)
    found = dispersion.cauchy_index(1.5168, 64.2, nodes.wavelengths_nm) @ nodes.hat
    between = (nodes.wavelengths_nm[0] <= spectra.WAVELENGTHS_NM) & (nodes.wavelengths_nm[-1] >= spectra.WAVELENGTHS_NM)
    np.testing.assert_allclose(found[between], index[between], rtol=1e-13)
    # Beyond the outermost nodes it stays as it is there.
    assert np.all(found[nodes.wavelengths_nm[0] > spectra.WAVELENGTHS_NM] == found[0])


def test_nodes_do_not_depend_on_how_bright_the_light_is():
    light = SOURCES["tungsten 3200 K"]
    np.testing.assert_allclose(
        choose_nodes(1e-9 * light, 12).wavelengths_nm, choose_nodes(light, 12).wavelengths_nm, rtol=1e-12
    )


def test_a_filter_that_passes_nothing_still_has_nodes():
    nodes = choose_nodes(np.zeros(71), 6)
    assert np.all(np.isfinite(nodes.wavelengths_nm)) and np.all(np.isfinite(nodes.hat))
    assert np.all(np.diff(nodes.wavelengths_nm) > 0.0)
