"""Fringes at named points: sizes from the glass, colours, verdicts and cures."""

from __future__ import annotations

import math

import numpy as np
import pytest

from projector.faults import SceneError
from projector.optics.dispersion import achromat_relative_power, singlet_relative_power
from projector.photometry.spectra import WAVELENGTHS_NM
from projector.scene.model import Filter
from projector.stage.optics import light_arrays
from projector.studies.edges import fringe as study
from projector.studies.edges.cures import DEAREST_CURE_STOPS, LEAST_CURE, cures
from projector.studies.edges.profile import (
    camera_pixel_at,
    edge_by_formula,
    edge_measured,
    full_spectrum,
    place_on_surface,
)
from projector.studies.edges.widest_fringe import turned_to


def crown(studio, f_number=1.8, **projector):
    return studio.scene(
        {"lens": {"f_number": f_number, "dispersion": {"glass": "N-BK7"}}, "focus": {"distance_m": 2.0}, **projector}
    )


def test_axial_fringe_shrinks_with_the_stop_and_lateral_does_not(studio):
    lens = {"dispersion": {"glass": "N-BK7"}, "lateral_colour_mm": 0.05}
    widths = []
    for number in (2.0, 4.0):
        scene = studio.scene({"lens": {"f_number": number, **lens}, "focus": {"distance_m": 2.0}})
        widths.append(study.fringe(scene, scene.projector[0], (0.3, 1.5, 0.0)))
    assert widths[1].axial_mm == pytest.approx(0.5 * widths[0].axial_mm, rel=0.01)
    assert widths[1].lateral_mm == pytest.approx(widths[0].lateral_mm, rel=1e-9)


def test_lateral_fringe_grows_from_the_middle_as_entered(studio):
    """0.05 mm in the gate's edge (30 mm from the axis) between 450 and 650 nm: at 0.3 m on the wall its share times the
    magnification.
    """
    scene = studio.scene({"lens": {"lateral_colour_mm": 0.05}})
    middle = study.fringe(scene, scene.projector[0], (0.0, 1.5, 0.0))
    aside = study.fringe(scene, scene.projector[0], (0.3, 1.5, 0.0))
    assert middle.lateral_mm == pytest.approx(0.0, abs=1e-9)
    # (0.3 m / M) / 30 mm of 0.05 mm, times M: the magnification cancels.
    assert aside.lateral_mm == pytest.approx(0.05 * 300.0 / 30.0, rel=0.01)


def test_a_lens_without_faults_has_no_fringe_and_passes(studio):
    scene = studio.scene(None, camera={"position_m": [0.3, 1.5, 3.0]})
    found = study.fringe(scene, scene.projector[0], (0.0, 1.5, 0.0))
    assert found.width_mm == 0.0 and found.passes
    assert found.largest_delta_e < 1.0
    assert found.dark_side[1] == found.bright_side[1] == "grey"


def test_colours_of_the_rim_are_those_that_people_see(studio):
    """Focused in yellow: blue spills over the dark side, yellow to orange is left on the bright one (common practice,
    no source).
    """
    scene = crown(studio)
    found = study.fringe(scene, scene.projector[0], (0.0, 1.5, 0.0))
    assert found.dark_side[1] in ("blue", "violet")
    assert found.bright_side[1].removeprefix("pale ") in ("orange", "yellow")


def test_the_tolerance_is_the_larger_of_a_minute_and_a_pixel(studio):
    """One arc-minute is 0.2909 mm a metre away; the camera's pixel is 36 mm / 6000 over 85 mm: 0.0706 mm."""
    scene = crown(studio)
    found = study.fringe(scene, scene.projector[0], (0.0, 1.5, 0.0))
    distance = 4.0
    assert found.tolerance_mm == pytest.approx(0.29089 * distance, rel=1e-3)
    coarse = study.fringe(scene, scene.projector[0], (0.0, 1.5, 0.0), tolerance_pixels=10.0)
    assert coarse.tolerance_mm == pytest.approx(10.0 * 36.0 / 6000.0 / 85.0 * 1e3 * distance, rel=1e-3)


def test_the_stop_that_is_named_as_a_cure_cures(studio):
    scene = crown(studio)
    spec = scene.projector[0]
    found = study.fringe(scene, spec, (0.0, 1.5, 0.0), tolerance_arcmin=2.5)
    by_kind = {cure.what: cure for cure in cures(scene, spec, (0.0, 1.5, 0.0), found)}
    stop = float(by_kind["a smaller stop"].value.removeprefix("f/"))
    stopped = spec.model_copy(update={"lens": spec.lens.model_copy(update={"f_number": stop})})
    assert study.fringe(scene, stopped, (0.0, 1.5, 0.0)).width_mm == pytest.approx(found.tolerance_mm, rel=0.01)
    assert by_kind["a focus offset"].width_mm < found.width_mm
    assert by_kind["a narrow band filter"].width_mm < 0.2 * found.width_mm
    filtered = spec.model_copy(update={"filter": (Filter(kind="band", centre_nm=550.0, width_nm=20.0),)})
    assert study.fringe(scene, filtered, (0.0, 1.5, 0.0)).width_mm == by_kind["a narrow band filter"].width_mm
    assert by_kind["another lens"].value == "achromat"
    assert by_kind["a smaller stop"].passes and all(
        cure.passes == (cure.width_mm <= found.tolerance_mm) for cure in by_kind.values()
    )


def test_another_lens_costs_what_less_its_glass_lets_through(studio):
    """The achromat passes 0.9 at the same stop: 0.15 stop less than a lens of 1, nothing beside one of 0.9, a gain
    beside one of 0.45; of a pupil filled to half its width it lights four times as much.
    """
    costs = []
    for lens in ({"transmittance": 1.0}, {}, {"transmittance": 0.45}, {"filled_pupil_mm": 0.5 * 85.0 / 1.8}):
        scene = studio.scene(
            {"lens": {"f_number": 1.8, "dispersion": {"glass": "N-BK7"}, **lens}, "focus": {"distance_m": 2.0}}
        )
        spec = scene.projector[0]
        found = study.fringe(scene, spec, (0.0, 1.5, 0.0), tolerance_arcmin=0.05)
        named = cures(scene, spec, (0.0, 1.5, 0.0), found)
        costs.append(next(cure.cost_stops for cure in named if cure.value == "achromat"))
    assert costs == pytest.approx([math.log2(1.0 / 0.9), 0.0, -1.0, -2.0], abs=1e-9)


def test_a_stop_that_only_just_helps_is_named_if_it_is_enough(studio):
    """A fringe two hundredths over its tolerance: the next tenth of a stop number is enough, though it is no tenth
    narrower.
    """
    scene = crown(studio)
    spec = scene.projector[0]
    at = (0.0, 1.5, 0.0)
    minutes = study.fringe(scene, spec, at).arc_minutes / 1.02
    found = study.fringe(scene, spec, at, tolerance_arcmin=minutes)
    assert not found.passes
    (stop,) = [cure for cure in cures(scene, spec, at, found) if cure.what == "a smaller stop"]
    assert stop.passes and stop.width_mm > LEAST_CURE * found.width_mm
    assert 0.0 < stop.cost_stops < 0.3


def test_a_cure_of_seven_stops_is_no_cure(studio):
    """At f/1.2 the stop that would do costs more than six stops.

    What four stops bring is named instead, as what it is.
    """
    scene = crown(studio, f_number=1.2)
    spec = scene.projector[0]
    found = study.fringe(scene, spec, (0.0, 1.5, 0.0))
    assert 2.0 * math.log2(found.axial_mm / found.tolerance_mm) > 6.0
    named = cures(scene, spec, (0.0, 1.5, 0.0), found)
    assert max(cure.cost_stops for cure in named) <= DEAREST_CURE_STOPS + 1e-6
    (stop,) = [cure for cure in named if cure.what == "a smaller stop"]
    assert stop.value == "f/4.8" and not stop.passes


def test_a_stop_of_a_lens_that_its_source_does_not_fill_costs_from_where_it_bites(studio):
    """85 mm filled to 30 mm: f/2.8 in truth at f/1.8, so f/4 costs one stop."""
    lens = {"f_number": 1.8, "filled_pupil_mm": 85.0 / 2.8, "dispersion": {"glass": "N-BK7"}}
    scene = studio.scene({"lens": lens, "focus": {"distance_m": 2.0}})
    spec = scene.projector[0]
    minutes = study.fringe(scene, spec, (0.0, 1.5, 0.0)).arc_minutes * 2.8 / 4.0
    found = study.fringe(scene, spec, (0.0, 1.5, 0.0), tolerance_arcmin=minutes)
    (stop,) = [cure for cure in cures(scene, spec, (0.0, 1.5, 0.0), found) if cure.what == "a smaller stop"]
    # The stop goes to the next tenth.
    assert (
        stop.passes
        and stop.value in ("f/4.0", "f/4.1")
        and stop.cost_stops == pytest.approx(2.0 * math.log2(4.0 / 2.8), abs=0.08)
    )


def test_a_hair_over_the_limit_passes(studio):
    """Widths are promised to a per cent: 0.8495 mm where 0.8491 is allowed is the same, 2 % more is not."""
    scene = crown(studio)
    minutes = study.fringe(scene, scene.projector[0], (0.0, 1.5, 0.0)).arc_minutes
    for over, passes in ((0.8495 / 0.8491, True), (1.02, False)):
        found = study.fringe(scene, scene.projector[0], (0.0, 1.5, 0.0), tolerance_arcmin=minutes / over)
        assert found.width_mm > found.tolerance_mm and found.passes is passes


@pytest.mark.slow
def test_lateral_colour_is_the_same_at_the_same_radius_in_every_direction(studio):
    """A lens is round: 0.3 m to the right, upwards, or aslant, the fringe is of one width and one colour, on edges
    square to the radius.
    """
    scene = studio.scene(
        {
            "lens": {"f_number": 4.0, "dispersion": {"glass": "N-BK7"}, "lateral_colour_mm": 0.2},
            "focus": {"distance_m": 2.0},
        }
    )
    rows = [
        study.fringe(scene, scene.projector[0], (0.3 * math.cos(turn), 1.5 + 0.3 * math.sin(turn), 0.0))
        for turn in np.radians([0.0, 90.0, 180.0, 37.0, -60.0])
    ]
    for row in rows:
        assert row.lateral_mm == pytest.approx(0.2 * 300.0 / 30.0, rel=0.01)
        assert (row.width_mm, row.largest_delta_e, row.edge_mm) == pytest.approx(
            (rows[0].width_mm, rows[0].largest_delta_e, rows[0].edge_mm), rel=1e-3
        )
        assert (row.dark_side[1], row.bright_side[1], row.bright_outwards) == (
            rows[0].dark_side[1],
            rows[0].bright_side[1],
            rows[0].bright_outwards,
        )
    # Upright edges to the right and to the left, level ones above; up and to the right, edges that lean to the left.
    assert [row.edge_deg for row in rows] == pytest.approx([0.0, 90.0, 0.0, -37.0, 60.0], abs=0.05)


@pytest.mark.parametrize(
    "at", [(0.4, 1.7, 0.0), *(pytest.param(at, marks=pytest.mark.slow) for at in ((-0.3, 1.2, 0.0), (0.0, 1.9, 0.0)))]
)
def test_no_edge_of_any_direction_fringes_more(studio, at):
    """On a wall turned by 50° axial colour is widest along the tilt and lateral colour along the radius: every edge by
    itself, degree by degree.
    """
    lens = {"f_number": 2.8, "dispersion": {"glass": "N-BK7"}, "lateral_colour_mm": 0.4}
    scene = studio.scene({"lens": lens, "focus": {"distance_m": 2.0}}, {"yaw_deg": 50.0, "width_m": 4.0})
    spec = scene.projector[0]
    goal = np.array(at) + np.array([0.0, 0.0, -math.tan(math.radians(50.0)) * at[0]])
    found = study.fringe(scene, spec, tuple(goal))
    light, _ = full_spectrum(scene, spec)
    place = place_on_surface(scene, light, tuple(goal))
    blue, red = (int(np.searchsorted(WAVELENGTHS_NM, nm)) for nm in (450.0, 650.0))
    widths = []
    for degrees in range(180):
        normal = np.array([math.cos(math.radians(degrees)), math.sin(math.radians(degrees))])
        edge = edge_by_formula(light, turned_to(place, normal), "across")
        # How far each colour's edge reaches, from its own middle, and how far the middles of blue and red lie apart.
        middles = [np.interp(0.5, edge.shares[:, i], edge.positions) for i in (blue, red)]
        reaches = [
            np.ptp(edge.positions[(edge.shares[:, i] > 1e-9) & (edge.shares[:, i] < 1.0 - 1e-9)])
            for i in range(blue, red + 1)
        ]
        widths.append(1e3 * (0.5 * np.ptp(reaches) + abs(middles[0] - middles[1])))
    # 2001 positions over 1.2 times the widest blur, of which the narrowest is on the grid of wavelengths: 1 %.
    assert found.width_mm == pytest.approx(max(widths), rel=0.012)
    assert max(widths) > 1.1 * min(widths)
    assert abs((found.edge_deg - int(np.argmax(widths)) + 90.0) % 180.0 - 90.0) < 6.0


def test_the_edge_that_is_told_is_the_edge_that_is_rendered(studio):
    """Formula against the kernels that render, across an edge at an odd angle on a tilted wall, wavelength by
    wavelength.
    """
    scene = studio.scene(
        {
            "lens": {"f_number": 2.0, "dispersion": {"glass": "N-BK7"}, "lateral_colour_mm": 0.3},
            "focus": {"distance_m": 2.0, "offset_mm": 0.4},
        },
        {"yaw_deg": 40.0, "width_m": 3.0},
    )
    spec = scene.projector[0]
    light = light_arrays(scene, spec, [450.0, 550.0, 650.0])
    place = place_on_surface(scene, light, (0.2, 1.65, -math.tan(math.radians(40.0)) * 0.2))
    turned = turned_to(place, (math.cos(0.7), math.sin(0.7)))
    formula = edge_by_formula(light, turned, "across")
    measured = edge_measured(light, turned, "across", formula.positions[-1])
    for i in range(3):
        expected = np.interp(measured.positions, formula.positions, formula.shares[:, i])
        assert np.abs(measured.shares[:, i] - expected).max() < 0.02


def test_axial_width_steps_over_no_line(studio):
    """Focused at 587.56 nm the narrowest patch has no width: what 450 nm reaches is the whole fringe.

    D·Z·|φ(450) − 1|/f, half of it.
    """
    scene = crown(studio, f_number=2.0)
    found = study.fringe(scene, scene.projector[0], (0.0, 1.5, 0.0))
    power = float(singlet_relative_power("N-BK7", 450.0))
    assert found.axial_mm == pytest.approx(0.5 * 42.5 * 2000.0 * (power - 1.0) / 85.0, rel=1e-4)
    # Of an achromat the power turns between two lines; the widest and the narrowest patch over a grid of a hundredth of
    # a nanometre.
    corrected = studio.scene(
        {"lens": {"f_number": 2.0, "dispersion": {"achromat": ["N-BK7", "F2"]}}, "focus": {"distance_m": 2.0}}
    )
    reaches = np.abs(achromat_relative_power("N-BK7", "F2", np.linspace(450.0, 650.0, 20_001)) - 1.0)
    assert study.fringe(corrected, corrected.projector[0], (0.0, 1.5, 0.0)).axial_mm == pytest.approx(
        0.5 * 42.5 * 2000.0 * np.ptp(reaches) / 85.0, rel=1e-4
    )


def test_light_of_one_colour_has_no_colours_at_its_rim(studio):
    """Behind a filter of 10 nm in the deep red every wavelength lands within a tenth of the fringe, and all look the
    same red.
    """
    scene = crown(studio, filter=[{"kind": "band", "centre_nm": 690.0, "width_nm": 10.0}])
    found = study.fringe(scene, scene.projector[0], (0.0, 1.5, 0.0))
    assert found.width_mm < 0.1 * study.fringe(crown(studio), crown(studio).projector[0], (0.0, 1.5, 0.0)).width_mm
    assert found.largest_delta_e < 2.0


def test_a_sharp_edge_is_drawn_from_dark_to_bright(studio):
    """Without any blur the camera's own pixel is what shows: dark before it, bright behind it, over some pixels to
    either side.
    """
    scene = studio.scene(None, camera={"position_m": [0.3, 1.5, 3.0]})
    spec = scene.projector[0]
    shown = study.shown_edge(scene, spec, (0.0, 1.5, 0.0))
    pixel = 1e3 * camera_pixel_at(scene, (0.0, 1.5, 0.0))
    assert shown.positions_mm[-1] == -shown.positions_mm[0] == pytest.approx(study.SHOWN_PIXELS * pixel)
    np.testing.assert_allclose(shown.linear_rgb[shown.positions_mm < -0.6 * pixel], 0.0, atol=1e-9)
    np.testing.assert_allclose(shown.linear_rgb[shown.positions_mm > 0.6 * pixel], 1.0, atol=1e-3)
    rise = np.interp([-0.4 * pixel, 0.0, 0.4 * pixel], shown.positions_mm, shown.linear_rgb[:, 1])
    np.testing.assert_allclose(rise, [0.1, 0.5, 0.9], atol=0.01)


@pytest.mark.parametrize("tolerance", [0.0, -1.0, float("nan")])
def test_a_tolerance_of_nothing_is_refused(studio, tolerance):
    scene = crown(studio)
    with pytest.raises(SceneError, match="above zero"):
        study.fringe(scene, scene.projector[0], (0.0, 1.5, 0.0), tolerance_arcmin=tolerance)
