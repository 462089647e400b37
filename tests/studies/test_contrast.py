"""How grey the black parts land: the closed form, its way back, and what it makes of a scene."""

from __future__ import annotations

import math

import pytest

from projector.rendering.irradiance import irradiance_map
from projector.scene.faults import SceneError
from projector.studies import contrast as study


def test_the_veil_is_the_product_of_the_three():
    """Lens 4 %, stencil 60 %, 30 % open: 0.72 % of the openings (from memory; the shares are common practice, no source)."""
    assert study.veil(0.3) == pytest.approx(0.0072)
    assert study.contrast(0.3).stops == pytest.approx(math.log2(1.0072 / 0.0072))


def test_without_any_other_light_black_is_black():
    assert study.contrast(0.3, None, lens_reflectance=0.0).ratio == math.inf


@pytest.mark.parametrize("wanted", [1.0, 3.0, 6.0])
def test_the_room_for_a_contrast_gives_that_contrast(wanted):
    assert study.contrast(0.3, study.ambient_for(wanted, 0.3)).stops == pytest.approx(wanted, rel=1e-12)


def test_what_the_veil_forbids_no_room_allows():
    assert study.ambient_for(8.0, 0.3) is None


def test_open_share_counts_in_the_gate(studio):
    """A square bitmap open on its right half, under a round gate that it fills or does not."""
    stencil = {"file": studio.half_plane(512), "width_mm": 30.0}
    for diameter, share in ((30.0, 0.5), (60.0, 0.5 * 30.0**2 / (math.pi * 30.0**2))):
        scene = studio.scene({"stencil": stencil, "gate": {"diameter_mm": diameter}})
        assert study.open_share_of(scene, scene.projector[0]) == pytest.approx(share, rel=2e-3)
    assert study.open_share_of(studio.scene(), studio.scene().projector[0]) == 1.0


@pytest.mark.parametrize("steady", [False, True])
def test_a_second_projector_is_weighed_against_the_room_as_the_map_shows_it(studio, steady):
    """The room 2 stops under the first; the second 3 stops dimmer there: (P + a)/a read off the map of the second alone with the room's light."""
    reading = {"f_number": 8.0 / 2.0**1.5, "iso": 100.0, "distance_m": 2.0}
    if steady:
        reading["shutter_s"] = 0.01
    second = {"name": "second", "reading": reading, "stencil": {"file": studio.half_plane(512), "width_mm": 30.0}}
    scene = studio.scene(None, {"width_m": 0.2, "height_m": 0.1}, {"shutter_s": 0.01}, [second], ambient={"stops_under": 2.0, "of": "window"})
    under = study.ambient_stops_under(scene, scene.projector[1])
    assert under == pytest.approx(2.0 - 3.0, abs=1e-6)
    both = irradiance_map(scene, n_across=64).illuminance[16].astype(float)
    alone = irradiance_map(scene.model_copy(update={"projector": scene.projector[:1]}).placed_at("t", scene.folder), n_across=64).illuminance[16].astype(float)
    without_room = irradiance_map(scene.model_copy(update={"projector": scene.projector[:1], "ambient": None}).placed_at("t", scene.folder), n_across=64).illuminance[16].astype(float)
    room, pattern = alone - without_room, both - alone
    measured = (pattern[-4] + room[-4]) / (pattern[4] + room[4])
    assert math.log2(measured) == pytest.approx(study.contrast(0.5, under, lens_reflectance=0.0).stops, abs=0.02)


def test_a_scene_without_a_room_has_none(studio):
    scene = studio.scene()
    assert study.ambient_stops_under(scene, scene.projector[0]) is None


@pytest.mark.parametrize("call", [lambda: study.veil(1.2), lambda: study.contrast(0.3, math.nan), lambda: study.contrast(-0.1), lambda: study.ambient_for(0.0, 0.3), lambda: study.ambient_for(math.inf, 0.3)])
def test_impossible_shares_get_plain_words(call):
    with pytest.raises(SceneError):
        call()
