"""How grey the black parts land: the closed form, its way back, and what it makes of a scene."""

from __future__ import annotations

import math

import pytest

from projector.faults import SceneError
from projector.rendering.maps.irradiance import irradiance_map
from projector.scene.reading.reader import load
from projector.studies.light import contrast as study
from projector.studies.light.light_at import axis_point, light_at


def test_the_veil_is_the_product_of_the_three():
    """Lens 4 %, stencil 60 %, 30 % open: 0.72 % of the openings (from memory; the shares are common practice, no
    source).
    """
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


def on_the_wall(scene, name="window", point=(0.0, 1.5, 0.0)):
    spec = next(item for item in scene.projector if item.name == name)
    found = light_at(scene, spec, point)
    return study.contrast_where_it_lands(scene, spec, found.place, found.surface, 0.0)


def small_wall(studio, *more, ambient=None, projector=None, surfaces=()):
    """A wall so small that every light is even on it."""
    wall = {"name": "wall", "position_m": [0.0, 1.5, 0.0], "width_m": 0.2, "height_m": 0.1}
    return studio.scene(
        projector,
        None,
        {"shutter_s": 0.01},
        more,
        surfaces=[wall, *surfaces],
        **({} if ambient is None else {"ambient": ambient}),
    )


@pytest.mark.parametrize("reading", [{}, {"shutter_s": 0.01}, {"f_number": 8.0 / 2.0**1.5}])
def test_a_second_light_fills_the_blacks_and_is_weighed_as_the_maps_show_it(studio, reading):
    """(P + a)/a with a the second light's own map over the first's: a flash as bright, a steady light at the camera's
    shutter, one 3 stops dimmer.
    """
    second = {"name": "second", "position_m": [0.7, 1.5, 1.9], "reading": reading}
    scene = small_wall(studio, second, projector={"stencil": {"file": studio.half_plane(512), "width_mm": 30.0}})
    alone = [
        scene.model_copy(update={"projector": (item.model_copy(update={"stencil": None}),)}).placed_at(
            "t", scene.folder
        )
        for item in scene.projector
    ]
    pattern, fill = (irradiance_map(item, n_across=32).illuminance.mean(dtype=float) for item in alone)
    if "shutter_s" in reading:
        fill *= 0.01
    found = on_the_wall(scene)
    # 36 rays at each of some 50 places: a third of a per cent.
    assert found.other_shares == {"second": pytest.approx(fill / pattern, rel=5e-3)}
    assert found.ratio == pytest.approx((pattern + fill) / fill, rel=5e-3)


def test_the_room_is_counted_beside_it_and_its_kind_follows_the_light_it_is_of(studio):
    """A room of 1 lx·s of a flash, then the same from lamps of 100 lx at 1/100 s: 1/160 of the openings either way (ISO
    2720: 160 lx·s).
    """
    for ambient in ({"stops_under": math.log2(160.0)}, {"lux": 100.0}):
        assert on_the_wall(small_wall(studio, ambient=ambient)).ambient_share == pytest.approx(1.0 / 160.0, rel=0.01)


def test_another_lights_pattern_and_shadows_count(studio):
    """A second light as bright, half of it cut by its stencil: half the share.

    Behind a board that shades the wall: none.
    """
    half = {"name": "second", "stencil": {"file": studio.half_plane(512), "width_mm": 30.0}}
    assert on_the_wall(small_wall(studio, half)).other_shares["second"] == pytest.approx(0.5, abs=0.02)
    aside = {"name": "second", "position_m": [1.6, 1.5, 1.2]}
    board = {"name": "board", "position_m": [0.8, 1.5, 0.6], "yaw_deg": 53.0, "width_m": 0.5, "height_m": 0.5}
    assert on_the_wall(small_wall(studio, aside)).other_shares["second"] > 0.5
    assert on_the_wall(small_wall(studio, aside, surfaces=[board])).other_shares["second"] == 0.0


def test_the_order_of_projectors_and_surfaces_changes_no_contrast():
    scene = load("05-two-projectors")
    turned = scene.model_copy(update={"projector": scene.projector[::-1]}).placed_at(scene.name, scene.folder)
    for spec in scene.projector:
        found = [
            study.contrast_where_it_lands(
                item, spec, light_at(item, spec, reference).place, light_at(item, spec, reference).surface
            )
            for item in (scene, turned)
            for reference in [axis_point(item, spec)]
        ]
        assert found[0].ratio == pytest.approx(found[1].ratio, rel=1e-9)


@pytest.mark.parametrize(
    "call",
    [
        lambda: study.veil(1.2),
        lambda: study.contrast(0.3, math.nan),
        lambda: study.contrast(-0.1),
        lambda: study.ambient_for(0.0, 0.3),
        lambda: study.ambient_for(math.inf, 0.3),
    ],
)
def test_impossible_shares_get_plain_words(call):
    with pytest.raises(SceneError):
        call()


def test_a_contrast_next_to_none_asks_for_hardly_any_darkness():
    """1/(2^x − 1) is 1/(x·ln 2) for a small x: however small, no division by zero."""
    assert study.ambient_for(1e-9, 0.3) == pytest.approx(-math.log2(1.0 / (1e-9 * math.log(2.0))), rel=1e-6)
    assert math.isfinite(study.ambient_for(1e-307, 0.3))
