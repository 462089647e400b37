"""Filters before the lamp at hand: stops, shifts and swatches, of lists, of stacks and of a scene's own."""

from __future__ import annotations

import math

import numpy as np
import pytest

from projector import studies
from projector.faults import SceneError
from projector.files.finding import shipped_folder
from projector.photometry import filters, spectra
from projector.photometry.named_filters import FILTER_NAMES
from projector.scene.model import Source
from projector.scene.reading.reader import load, load_text


def test_all_that_have_a_name_are_listed_once_and_shipped_tables_after_them():
    found = studies.filter_list()
    names = [item.name for item in found.filters]
    assert names[: len(FILTER_NAMES)] == list(FILTER_NAMES) and names[len(FILTER_NAMES) :] == ["dusty-rose.csv"]
    assert found.together is None and (found.x, found.y) == pytest.approx(spectra.white_xy(5600.0))


def test_a_filter_costs_each_lamp_its_own():
    """Σ S·T·V / Σ S·V (CIE 015): a blue costs tungsten more than daylight, as that holds less blue."""
    lamps = [Source(kind=kind) for kind in ("daylight", "tungsten", "led", "equal_energy")]
    stops = [studies.filter_list(lamp, ["blue"]).together.stops for lamp in lamps]
    assert len(set(stops)) == 4 and stops[1] > stops[0] + 0.2


def test_a_stack_multiplies_and_its_order_does_not_matter():
    one, other = (studies.filter_list(None, names) for names in (["pink", "neutral-2"], ["neutral-2", "pink"]))
    np.testing.assert_allclose(one.together.transmittance, other.together.transmittance, rtol=1e-12)
    assert one.together.stops == pytest.approx(sum(item.stops for item in one.filters), abs=1e-9)
    assert one.together.light_share == pytest.approx(2.0**-one.together.stops)


def test_shifts_are_told_of_whites_alone():
    shifts = {item.name: item.mired_shift for item in studies.filter_list().filters}
    assert shifts["half-warm"] == pytest.approx(109.0, abs=2.0) and shifts["full-cool"] == pytest.approx(
        -137.0, abs=3.0
    )
    assert shifts["neutral-3"] == pytest.approx(0.0, abs=1e-6)
    assert {shifts[name] for name in ("red", "green", "magenta", "orange", "lime")} == {None}


def test_the_swatch_of_grey_is_white_as_shown_and_grey_as_it_is():
    """Two stops are a linear quarter: 0.537 coded, 137 of 255 (IEC 61966-2-1); density 0.6 passes 25.1 %."""
    (grey,) = studies.filter_list(None, ["neutral-2"]).filters
    assert (grey.swatch, grey.dim_swatch) == ("#ffffff", "#898989")
    red = next(item for item in studies.filter_list().filters if item.name == "red")
    assert red.swatch.startswith("#ff00") and int(red.dim_swatch[1:3], 16) < 200


def test_an_edge_lamp_keeps_its_own_white():
    """Swatches are seen by a camera balanced to the bare lamp, whichever it is."""
    for lamp in (Source(kind="tungsten"), Source(kind="led", temperature_k=3000)):
        assert studies.filter_list(lamp, ["neutral-1"]).filters[0].swatch == "#ffffff"


def test_a_scene_s_own_filters_by_their_kinds_numbers(tmp_path):
    scene = load(
        "01-square-wall",
        'projector.window.filter=[{kind="neutral", stops=1.5}, {kind="band", centre_nm=550, width_nm=80},'
        ' {kind="edge_long", edge_nm=500, width_nm=20}, {kind="temperature", mired_shift=-60}, {name="1/2 CTO"}]',
    )
    found = studies.filters_in(scene, "window")
    assert [item.name for item in found.filters] == [
        "neutral (1.5 stops)",
        "band (550 nm, 80 wide)",
        "edge long (from 500 nm)",
        "temperature (−60 mired)",
        "half-warm",
    ]
    # One stack: the power of the projector behind it, against the same without.
    assert found.together.stops == pytest.approx(
        -math.log2(
            spectra.luminous(spectra.white_light(5600.0) * filters.stack(item.transmittance for item in found.filters))
        ),
        abs=1e-9,
    )


def test_a_projector_without_filters_has_an_empty_stack():
    found = studies.filters_in("01-square-wall")
    assert found.filters == () and found.together.stops == pytest.approx(0.0, abs=1e-12)


def test_other_lights_answer_as_projectors_do_and_one_of_several_is_named():
    panel = """
[[light]]
name = "wash"
kind = "panel"
position_m = [1.6, 1.7, 1.0]
aim = [0.0, 1.5, 0.0]
source = { kind = "led", hue_deg = 185, saturation = 0.9 }
filter = [{ name = "ND 0.3" }]
"""
    text = (shipped_folder("scene") / "03-cabin-window.toml").read_text().partition("[ambient]")[0] + panel
    scene = load_text(text, "walls", shipped_folder("scene"))
    assert studies.filters_in(scene, "wash").together.stops == pytest.approx(0.997, abs=1e-3)
    with pytest.raises(SceneError, match="2 lights, and none is named"):
        studies.filters_in(scene)
    with pytest.raises(SceneError, match="did you mean wash"):
        studies.filters_in(scene, "wahs")


def test_all_that_is_wrong_is_told_at_once():
    with pytest.raises(SceneError) as caught:
        studies.filter_list(Source(kind="tungsten", temperature_k=6000), ["half wram", "nowhere.csv", "pink"])
    assert [fault.key for fault in caught.value.faults] == ["filter", "filter", "temperature_k"]
