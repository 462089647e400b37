"""Fringes at named points: sizes from the glass, colours, verdicts and cures."""

from __future__ import annotations

import numpy as np
import pytest

from projector.scene.faults import SceneError
from projector.studies import fringe as study
from projector.tracing.arrays import light_arrays, scene_arrays


def crown(studio, f_number=1.8, **projector):
    return studio.scene({"lens": {"f_number": f_number, "dispersion": {"glass": "N-BK7"}}, "focus": {"distance_m": 2.0}, **projector})


def test_axial_fringe_shrinks_with_the_stop_and_lateral_does_not(studio):
    lens = {"dispersion": {"glass": "N-BK7"}, "lateral_colour_mm": 0.05}
    widths = []
    for number in (2.0, 4.0):
        scene = studio.scene({"lens": {"f_number": number, **lens}, "focus": {"distance_m": 2.0}})
        widths.append(study.fringe(scene, scene.projector[0], (0.3, 1.5, 0.0)))
    assert widths[1].axial_mm == pytest.approx(0.5 * widths[0].axial_mm, rel=0.01)
    assert widths[1].lateral_mm == pytest.approx(widths[0].lateral_mm, rel=1e-9)


def test_lateral_fringe_grows_from_the_middle_as_entered(studio):
    """0.05 mm in the gate's edge (30 mm from the axis) between 450 and 650 nm: at 0.3 m on the wall its share times the magnification."""
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
    """Focused in yellow: blue spills over the dark side, yellow to orange is left on the bright one (common practice, no source)."""
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
    found = study.fringe(scene, spec, (0.0, 1.5, 0.0))
    cures = {cure.what: cure for cure in study.cures(scene, spec, (0.0, 1.5, 0.0), found)}
    stop = float(cures["a smaller stop"].value.removeprefix("f/"))
    stopped = spec.model_copy(update={"lens": spec.lens.model_copy(update={"f_number": stop})})
    assert study.fringe(scene, stopped, (0.0, 1.5, 0.0)).width_mm == pytest.approx(found.tolerance_mm, rel=0.01)
    assert cures["a focus offset"].width_mm < found.width_mm
    assert cures["a narrow band filter"].width_mm < 0.2 * found.width_mm
    assert cures["another lens"].value == "achromat"
    assert cures["a smaller stop"].passes and all(cure.passes == (cure.width_mm <= found.tolerance_mm) for cure in cures.values())


def test_a_stop_that_only_just_helps_is_named_if_it_is_enough(studio):
    """A fringe two hundredths over its tolerance: the next tenth of a stop number is enough, though it is no tenth narrower."""
    scene = crown(studio)
    spec = scene.projector[0]
    at = (0.0, 1.5, 0.0)
    minutes = study.fringe(scene, spec, at).arc_minutes / 1.02
    found = study.fringe(scene, spec, at, tolerance_arcmin=minutes)
    assert not found.passes
    (stop,) = [cure for cure in study.cures(scene, spec, at, found) if cure.what == "a smaller stop"]
    assert stop.passes and stop.width_mm > study.LEAST_CURE * found.width_mm
    assert 0.0 < stop.cost_stops < 0.3


@pytest.mark.parametrize("tolerance", [0.0, -1.0, float("nan")])
def test_a_tolerance_of_nothing_is_refused(studio, tolerance):
    scene = crown(studio)
    with pytest.raises(SceneError, match="above zero"):
        study.fringe(scene, scene.projector[0], (0.0, 1.5, 0.0), tolerance_arcmin=tolerance)
