"""How bright a projector is: from a statement made with this lens, with another one, or before the lens."""

from __future__ import annotations

import math

import numpy as np
import pytest

from projector.optics import dispersion
from projector.optics.dispersion import LINE_D_NM
from projector.rendering.maps.irradiance import irradiance_map
from projector.scene.reading.reader import load_text, with_overrides
from projector.scene.stated_power import with_lens
from projector.stage.optics import light_arrays
from projector.stage.power import open_gate_on_axis, power_of
from projector.tracing.sight.outline import outline_point

READING = "reading = { f_number = 8, iso = 100, distance_m = 2.0 }"


def scene(lens="focal_length_mm = 85, f_number = 4", power=READING, overrides=()):
    text = f"""format = 1
[camera]
position_m = [0.0, 1.5, 4.0]
aim = [0.0, 1.5, 0.0]
[[projector]]
name = "key"
position_m = [0.0, 1.5, 2.0]
aim = [0.0, 1.5, 0.0]
gate = {{ shape = "round", diameter_mm = 40 }}
lens = {{ {lens} }}
{power}
[[surface]]
name = "wall"
position_m = [0.0, 1.5, 0.0]
width_m = 0.1
height_m = 0.1
"""
    return load_text(text, overrides=overrides)


def middle(found_scene) -> float:
    """Light on the axis 2 m away, from a map."""
    values = irradiance_map(found_scene, n_across=17).illuminance
    return float(values[values.shape[0] // 2, 8])


def stops(first, second) -> float:
    return math.log2(middle(second) / middle(first))


def test_a_transmittance_counts_against_the_lens_that_was_metered():
    """Six faces of glass of index 1.62, uncoated, against the same lens coated to 0.2 % a face: −0.48 stop.

    Fresnel's reflectance at normal incidence ((n − 1)/(n + 1))² = 5.60 % a face (any optics text), F2's index from the
    refractiveindex.info database; what the coating leaves is the maker's to state.
    """
    index = float(dispersion.refractive_index("F2", dispersion.LINE_D_NM))
    uncoated, coated = (1.0 - ((index - 1.0) / (index + 1.0)) ** 2) ** 6, 0.998**6
    metered = scene(f"focal_length_mm = 85, f_number = 4, transmittance = {coated}")
    assert stops(metered, with_overrides(metered, [f"projector.key.lens.transmittance={uncoated}"])) == pytest.approx(
        -0.48, abs=0.005
    )
    spec = metered.projector[0]
    candidate = with_lens(spec, spec.lens.model_copy(update={"transmittance": uncoated}))
    assert power_of(metered, candidate).carried_over.stops == pytest.approx(-0.48, abs=0.005)


def test_a_transmittance_that_was_metered_changes_nothing_and_lumens_before_the_lens_take_it_in_full():
    lenses = [f"focal_length_mm = 85, f_number = 4, transmittance = {share}" for share in (1.0, 0.1)]
    for power in (READING, "output = { lumens = 500 }"):
        assert stops(*(scene(lens, power) for lens in lenses)) == pytest.approx(0.0, abs=1e-6)
    before = [scene(lens, "output = { lumens = 500, before_lens = true }") for lens in lenses]
    assert stops(*before) == pytest.approx(math.log2(0.1), abs=1e-5)
    assert stops(scene(lenses[0], "output = { lumens = 500 }"), before[0]) == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize(
    ("lens", "expected", "taken"),
    [
        ("f_number=8", -2.0, True),
        ("focal_length_mm=170", 2.0, True),
        ("transmittance=0.45", -1.0, False),
        ("filled_pupil_mm=10.625", -2.0, True),
        ('pupil={ shape = "ring", inner_fraction = 0.5 }', math.log2(0.75), True),
        ("corner_softness_mm=0.5", None, False),
    ],
)
def test_light_through_another_lens_goes_with_its_opening_and_its_glass(lens, expected, taken):
    """Luminance is kept by any lens that the lamp fills (conservation of radiance, any radiometry text): the opening's
    area counts.

    0.01 stop for the two openings' own sizes at 2 m.
    """
    plain = scene()
    changed = with_overrides(plain, [f"projector.key.lens.{lens}"])
    carried = power_of(changed, changed.projector[0]).carried_over
    assert stops(plain, changed) == pytest.approx(expected or 0.0, abs=0.01)
    if expected is None:
        assert carried is None
    else:
        assert (carried.stops, bool(carried.filled_mm)) == (pytest.approx(expected, abs=1e-9), taken)
        assert (
            f"{abs(expected):.1f} stops {'more' if expected > 0 else 'less'} light" in carried.sentence("key")
            and ("if the lamp fills" in carried.sentence("key")) == taken
        )


def test_a_file_that_says_with_which_lens_it_was_metered_is_the_same_scene_as_the_change_typed():
    typed = scene(overrides=["projector.key.lens.f_number=8", "projector.key.lens.focal_length_mm=50"])
    said = scene(
        "focal_length_mm = 50, f_number = 8",
        "reading = { f_number = 8, iso = 100, distance_m = 2.0, lens = { focal_length_mm = 85, f_number = 4 } }",
    )
    assert (
        middle(typed) == middle(said)
        and power_of(typed, typed.projector[0]).carried_over == power_of(said, said.projector[0]).carried_over
    )


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        (
            ["f_number=5.6"],
            (
                "key: its reading was taken with f/4; f/5.6 gives 1.0 stops less light, if the lamp fills both openings"
                " of 21.0 mm and 15.0 mm."
            ),
        ),
        (
            ["focal_length_mm=50", "filled_pupil_mm=12"],
            (
                "key: its reading was taken with 84 mm, f/4, a filled pupil; 50 mm, f/4, 12 mm filled gives 1.6 stops"
                " less light, if the lamp fills the opening of 21.0 mm."
            ),
        ),
        (
            ["transmittance=0.7"],
            "key: its reading was taken with transmittance 0.9; transmittance 0.7 gives 0.4 stops less light.",
        ),
        (
            ["focal_length_mm=168", "f_number=8"],
            "key: its reading was taken with 84 mm, f/4; 168 mm, f/8 gives as much light.",
        ),
    ],
)
def test_what_is_taken_for_granted_is_said(changes, words):
    found = scene(
        "focal_length_mm = 84, f_number = 4", overrides=[f"projector.key.lens.{change}" for change in changes]
    )
    assert power_of(found, found.projector[0]).carried_over.sentence("key") == words


def test_lumens_belong_to_the_lens_they_were_counted_through():
    """1000 lm at f/4 are 250 lm at f/8: the opening is a quarter."""
    wide = scene(power="output = { lumens = 1000 }")
    assert stops(wide, with_overrides(wide, ["projector.key.lens.f_number=8"])) == pytest.approx(-2.0, abs=0.01)


@pytest.mark.parametrize(
    "shape", ['shape = "disc"', 'shape = "ring", inner_fraction = 0.7', 'shape = "polygon", n_blades = 5']
)
@pytest.mark.parametrize("distance", [0.02, 0.1, 2.0])
def test_the_pupil_on_its_axis_is_its_integral_however_near(shape, distance):
    """∫ d²/(ρ² + d²)² over the pupil of an 85 mm lens at f/2, by 200² of its points.

    Exact for a disc; for others the next term of the series is (outer · inner radius / distance²)², 1e-3 at 0.1 m; at
    the pupil's own radius only its order is right.
    """
    found = scene(f"focal_length_mm = 85, f_number = 2, pupil = {{ {shape} }}")
    light = light_arrays(found, found.projector[0], [LINE_D_NM])
    steps = (np.arange(200) + 0.5) / 200
    squared = (
        np.array([sum(part**2 for part in outline_point(light.emitter.outline, u, v)) for u in steps for v in steps])
        * light.emitter.radius**2
    )
    expected = (
        math.pi
        * light.emitter.radius**2
        * light.emitter.outline.area
        * float((distance**2 / (squared + distance**2) ** 2).mean())
    )
    assert open_gate_on_axis(light, distance) == pytest.approx(
        expected, rel=2e-4 if "disc" in shape else {0.02: 0.25, 0.1: 2e-3, 2.0: 1e-4}[distance]
    )
