"""Lenses found again in photographs rendered a ray at a time and spoilt by noise, blur, rotation, coding and JPEG.

The wanted values are those that the renderer was given. Each has to come back within the 95 % interval that the fit
states, and that interval has to be worth having. Seeds are fixed; a fresh seed would fall outside one time in twenty at
most.
"""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest

from projector.faults import SceneError
from projector.photometry.colour import decode_srgb
from projector.rendering.workers import Progress
from projector.studies.lenses.lens_fit import SetUp, fit_lens
from projector.studies.lenses.measured_lens import EdgePhotograph, measure
from projector.studies.lenses.slanted_edge import edge_reading
from tests.conftest import Studio
from tests.studies.conftest import PhotographyStudio

MM_PER_PIXEL = 0.25
OFFSETS = [-0.5, 0.0, 0.5]
FOCUS_ERROR_MM = 0.05


def test_a_lens_is_not_fitted_to_photographs_without_their_offsets():
    photographs = [EdgePhotograph(Path("one.png"), -0.5), EdgePhotograph(Path("two.png"))]
    with pytest.raises(SceneError, match=r"no focus offset for two\.png"):
        measure(photographs, MM_PER_PIXEL, set_up=SetUp(2.0, 85.0, 2.0))


def rendered(folder, lens, stencil, focus_error_mm, roll_deg, centre=(0.0, 1.5)):
    """Linear photographs of one edge at three offsets, the sharp place off by so much."""
    studio = Studio(folder)
    name = studio.bitmap("edge.png", stencil)
    found = []
    for offset in OFFSETS:
        projector = {
            "roll_deg": roll_deg,
            "lens": {"focal_length_mm": 85.0, **lens},
            "stencil": {"file": name, "width_mm": 40.0},
            "gate": {"diameter_mm": 40.0},
            "focus": {"distance_m": 2.0, "offset_mm": offset + focus_error_mm},
        }
        found.append(PhotographyStudio.light(studio.scene(projector), MM_PER_PIXEL, 160, 120, centre))
    return found


def half_open(edge_column=1024):
    values = np.zeros((2048, 2048))
    values[:, edge_column:] = 1.0
    return values


@pytest.fixture(scope="session")
def single(tmp_path_factory):
    """A single element, Abbe number 55, f/2.8."""
    return rendered(
        tmp_path_factory.mktemp("single"),
        {"f_number": 2.8, "dispersion": {"abbe_number": 55.0}},
        half_open(),
        FOCUS_ERROR_MM,
        5.0,
    )


@pytest.fixture(scope="session")
def colourless(tmp_path_factory):
    """A lens without dispersion, f/2.8."""
    return rendered(tmp_path_factory.mktemp("colourless"), {"f_number": 2.8}, half_open(), FOCUS_ERROR_MM, 5.0)


def within(value, truth, largest_share):
    assert abs(value.value - truth) <= value.uncertainty, (value, truth)
    assert value.uncertainty <= largest_share * abs(truth), value


def as_jpeg(coded, quality):
    """Through a JPEG of that quality, colour at half the resolution as most cameras store it."""
    from PIL import Image

    memory = io.BytesIO()
    Image.fromarray(np.round(coded * 255).astype(np.uint8)).save(memory, "JPEG", quality=quality)
    return np.asarray(Image.open(memory).convert("RGB"), np.float32) / 255.0


def gamma(linear):
    return np.clip(linear, 0.0, None) ** (1 / 1.8)


SPOILT = {
    "clean": (lambda linear, seed: PhotographyStudio.developed(linear), decode_srgb),
    "blur and noise": (lambda linear, seed: PhotographyStudio.developed(linear, 1.0, 0.02, seed), decode_srgb),
    "lying": (lambda linear, seed: PhotographyStudio.developed(np.rot90(linear), 0.8, 0.01, seed), decode_srgb),
    "8 bit": (
        lambda linear, seed: np.round(PhotographyStudio.developed(linear, 0.8, 0.01, seed) * 255) / 255,
        decode_srgb,
    ),
    "gamma 1.8": (
        lambda linear, seed: PhotographyStudio.developed(linear, 0.8, 0.01, seed, gamma),
        lambda coded: coded**1.8,
    ),
    "JPEG 90": (lambda linear, seed: as_jpeg(PhotographyStudio.developed(linear, 0.8, 0.01, seed), 90), decode_srgb),
    "JPEG 75": (lambda linear, seed: as_jpeg(PhotographyStudio.developed(linear, 0.8, 0.01, seed), 75), decode_srgb),
}


@pytest.mark.parametrize("how", SPOILT)
@pytest.mark.slow
def test_a_single_element_is_found_again(single, how):
    spoil, decode = SPOILT[how]
    readings = [edge_reading(spoil(linear, 20 + index), decode, MM_PER_PIXEL) for index, linear in enumerate(single)]
    found = fit_lens(readings, OFFSETS, SetUp(2.0, 85.0, 2.0))
    assert found.model == "single"
    within(found.pupil_mm, 85.0 / 2.8, 0.05)
    within(found.f_number, 2.8, 0.05)
    within(found.dispersion, 55.0, 0.06)
    assert abs(found.focus_error_mm.value - FOCUS_ERROR_MM) <= found.focus_error_mm.uncertainty < 0.03
    assert found.residual < found.other_residual / 3.0


@pytest.mark.slow
def test_one_photograph_and_the_marked_f_number_give_focus_and_dispersion(single):
    reading = edge_reading(PhotographyStudio.developed(single[2], 0.8, 0.01, 5), decode_srgb, MM_PER_PIXEL)
    found = fit_lens([reading], OFFSETS[2:], SetUp(2.0, 85.0, 2.0, f_number=2.8))
    within(found.dispersion, 55.0, 0.06)
    assert abs(found.focus_error_mm.value - FOCUS_ERROR_MM) <= found.focus_error_mm.uncertainty < 0.03


@pytest.mark.slow
def test_a_corrected_lens_is_told_from_a_single_one(tmp_path):
    photographs = rendered(
        tmp_path, {"f_number": 1.8, "dispersion": {"secondary_spectrum_mm": 0.3}}, half_open(), -0.03, -6.0
    )
    readings = [
        edge_reading(PhotographyStudio.developed(linear, 0.6, 0.01, seed), decode_srgb, MM_PER_PIXEL)
        for seed, linear in enumerate(photographs)
    ]
    found = fit_lens(readings, OFFSETS, SetUp(2.0, 85.0, 2.0))
    assert found.model == "corrected"
    within(found.pupil_mm, 85.0 / 1.8, 0.05)
    within(found.dispersion, 0.3, 0.06)
    assert abs(found.focus_error_mm.value + 0.03) <= found.focus_error_mm.uncertainty < 0.03


@pytest.mark.slow
def test_lateral_colour_is_found_from_an_edge_off_the_axis(tmp_path):
    """The edge is 10 mm from the gate's middle; the axis is pointed out in pixels."""
    tube = 1.0 / (1.0 / 0.085 - 1.0 / 2.0)
    away, turn = 0.010 * 2.0 / tube, np.radians(5.0)
    centre = (away * np.cos(turn), 1.5 - away * np.sin(turn))
    lens = {"f_number": 4.0, "dispersion": {"abbe_number": 58.0}, "lateral_colour_mm": 0.1}
    photographs = rendered(tmp_path, lens, half_open(1024 + 512), 0.0, 5.0, centre)
    axis = (80.0 - 1e3 * centre[0] / MM_PER_PIXEL, 60.0 + 1e3 * (centre[1] - 1.5) / MM_PER_PIXEL)
    readings = [
        edge_reading(PhotographyStudio.developed(linear, 0.6, 0.01, seed), decode_srgb, MM_PER_PIXEL, axis=axis)
        for seed, linear in enumerate(photographs)
    ]
    found = fit_lens(readings, OFFSETS, SetUp(2.0, 85.0, 2.0, gate_width_mm=40.0))
    within(found.lateral_colour_mm, 0.1, 0.08)
    within(found.dispersion, 58.0, 0.06)


@pytest.mark.slow
def test_a_lens_without_dispersion_claims_none(colourless):
    readings = [
        edge_reading(PhotographyStudio.developed(linear, 0.6, 0.02, seed), decode_srgb, MM_PER_PIXEL)
        for seed, linear in enumerate(colourless)
    ]
    found = fit_lens(readings, OFFSETS, SetUp(2.0, 85.0, 2.0), "single")
    assert found.dispersion is None
    within(found.pupil_mm, 85.0 / 2.8, 0.05)


def developed_edges(photographs, noise=0.01):
    return [
        edge_reading(PhotographyStudio.developed(linear, 0.6, noise, seed), decode_srgb, MM_PER_PIXEL)
        for seed, linear in enumerate(photographs)
    ]


@pytest.mark.parametrize(("offsets", "turned"), [([0.5, 0.0, -0.5], "-0.5,0,0.5"), ([1.0, 0.5, 0.0], "-1,-0.5,0")])
@pytest.mark.slow
def test_offsets_that_run_the_wrong_way_are_refused_by_the_colours(single, offsets, turned):
    """A glass bends blue more than red (normal dispersion): blue is sharp with the stencil nearer to the lens.

    Turned round, or counted from one end in the other order, the offsets ask for a glass that does not exist.
    """
    with pytest.raises(SceneError, match="the colours change the wrong way") as caught:
        fit_lens(developed_edges(single), offsets, SetUp(2.0, 85.0, 2.0))
    assert caught.value.faults[0].typed.endswith(f"--offsets-mm={turned}")
    counted_from_the_other_end = [offset + 0.5 for offset in OFFSETS]
    found = fit_lens(developed_edges(single), counted_from_the_other_end, SetUp(2.0, 85.0, 2.0))
    assert abs(found.focus_error_mm.value - FOCUS_ERROR_MM + 0.5) <= found.focus_error_mm.uncertainty
    within(found.dispersion, 55.0, 0.06)


@pytest.mark.slow
def test_without_colour_no_way_of_the_offsets_is_refused(colourless):
    """To first order a disc is as large on both sides of sharp: the pupil is the same either way, the focus changes its
    sign.
    """
    readings = developed_edges(colourless)
    forwards, backwards = (
        fit_lens(readings, offsets, SetUp(2.0, 85.0, 2.0), "single")
        for offsets in (OFFSETS, [-offset for offset in OFFSETS])
    )
    assert forwards.dispersion is None and backwards.dispersion is None
    within(forwards.pupil_mm, 85.0 / 2.8, 0.05)
    within(backwards.pupil_mm, 85.0 / 2.8, 0.05)
    assert backwards.focus_error_mm.value == pytest.approx(-FOCUS_ERROR_MM, abs=backwards.focus_error_mm.uncertainty)


@pytest.mark.slow
def test_grey_photographs_give_no_lens(single):
    """Grey of one mixture or another would give this lens a pupil up to a tenth off, and a focus a third of a
    millimetre.
    """
    grey = [
        edge_reading(
            np.repeat(PhotographyStudio.developed(linear).mean(axis=2, keepdims=True), 3, axis=2),
            decode_srgb,
            MM_PER_PIXEL,
        )
        for linear in single
    ]
    with pytest.raises(SceneError, match=r"grey photographs .all of them."):
        fit_lens(grey, OFFSETS, SetUp(2.0, 85.0, 2.0))
    mixed = [*developed_edges(single)[:2], grey[2]]
    with pytest.raises(SceneError, match=r"grey photographs .number 3."):
        fit_lens(mixed, OFFSETS, SetUp(2.0, 85.0, 2.0))


@pytest.mark.slow
def test_blacks_that_were_cut_are_seen_and_cost_pupil(single):
    """A twentieth of full light taken off and cut at black: the foot of every edge is gone,
    and no interval would tell.
    """
    cut = [
        np.clip(PhotographyStudio.developed(linear, 0.6, 0.01, seed, lambda light: light) - 0.05 * 0.7, 0.0, 1.0)
        for seed, linear in enumerate(single)
    ]
    readings = [edge_reading(coded, lambda coded: coded, MM_PER_PIXEL) for coded in cut]
    assert all(len(reading.cut.dark_side) == 3 for reading in readings)
    found = fit_lens(readings, OFFSETS, SetUp(2.0, 85.0, 2.0))
    assert found.pupil_mm.value < 0.98 * 85.0 / 2.8
    assert not any(reading.cut.dark_side for reading in developed_edges([linear + 0.02 for linear in single]))


@pytest.mark.slow
def test_progress_is_told_to_the_end(single):
    reported = []
    fit_lens(
        developed_edges(single),
        OFFSETS,
        SetUp(2.0, 85.0, 2.0),
        "single",
        Progress(lambda name, done, total: reported.append((done, total))),
    )
    assert reported[0] == (0, 4) and reported[-1] == (4, 4)
    assert [done for done, _ in reported] == sorted(done for done, _ in reported)


@pytest.mark.slow
def test_what_cannot_be_fitted_is_refused(single):
    readings = [edge_reading(PhotographyStudio.developed(linear), decode_srgb, MM_PER_PIXEL) for linear in single]
    set_up = SetUp(2.0, 85.0, 2.0)
    for words, arguments in {
        "one photograph and no f-number": (readings[:1], [0.0], set_up),
        "focus offsets that differ by 0.05 mm": (readings[:2], [0.0, 0.05], set_up),
        "3 photographs and 2 focus offsets": (readings, [0.0, 0.5], set_up),
        "nearer than the focal length": (readings, OFFSETS, SetUp(0.05, 85.0, 2.0)),
        'the model "triplet"': (readings, OFFSETS, set_up, "triplet"),
    }.items():
        with pytest.raises(SceneError, match=words):
            fit_lens(*arguments)
