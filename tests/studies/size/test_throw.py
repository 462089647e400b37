"""Sizes held to textbook examples and to what people measure."""

from __future__ import annotations

import math

import numpy as np
import pytest

from projector import studies as study
from projector.faults import SceneError
from projector.rendering.maps.irradiance import irradiance_map
from projector.scene.placement import point_of


def test_the_textbook_slide_lands_at_its_size():
    """OpenStax, University Physics 3, Thin Lenses (printed answer): f 100 mm, 103 mm tube, 24 × 36 mm → 0.800 × 1.20 m
    at 3.43 m.
    """
    found = study.throw(100.0, 24.0, 1.0 / (1.0 / 0.1 - 1.0 / 0.103), 36.0)
    assert (found.width_m, found.height_m, found.tube_length_mm) == pytest.approx((0.800, 1.200, 103.0), rel=1e-4)


@pytest.mark.parametrize(
    ("f", "lit", "throw_m", "width", "tube"),
    [(171.0, 34.3, 4.77, 0.9225, 177.36), (50.0, 28.0, 2.50, 1.372, 51.02), (85.0, 28.0, 2.50, 0.796, 87.99)],
)
def test_width_and_tube_length_follow_the_thin_lens(f, lit, throw_m, width, tube):
    """Thin-lens law (OpenStax, as above), values recomputed from the stated inputs; printed to four figures."""
    found = study.throw(f, lit, throw_m)
    assert found.width_m == pytest.approx(width, abs=5e-4)
    assert found.tube_length_mm == pytest.approx(tube, abs=0.005)


@pytest.mark.parametrize(("distance", "tube"), [(1.0, 58.20), (1.5, 57.09), (2.0, 56.56), (3.0, 56.03), (5.0, 55.61)])
def test_tube_length_for_a_focus(distance, tube):
    """Conjugate equation (OpenStax, as above): f 55 mm."""
    assert study.throw(55.0, 30.0, distance).tube_length_mm == pytest.approx(tube, abs=0.006)


def test_the_lens_for_a_wanted_size():
    """f = D/(M + 1): 24 × 36 mm to 1.80 × 2.70 m at 7.50 m wants 98.68 mm; into a 4.00 m square at 15.0 m the long side
    rules, 133.8 mm.
    """
    assert study.lens_for(2.70, 36.0, 7.5).focal_length_mm == pytest.approx(98.68, abs=0.01)
    assert study.lens_for(4.0, 24.0, 15.0, 4.0, 36.0).focal_length_mm == pytest.approx(133.8, abs=0.05)
    assert study.lens_for(1.20, 28.0, 2.5).focal_length_mm == pytest.approx(57.0, abs=0.05)


def test_where_to_stand_and_what_it_costs():
    """D = f·(M + 1), inverse square from the lens: 1.5 times the distance is −1.17 stops (common practice,
    no source).
    """
    found = study.place_for(1.2, 28.0, 85.0)
    assert study.throw(85.0, 28.0, found.throw_m).width_m == pytest.approx(1.2, rel=1e-12)
    assert study.stops_for_distance(2.0, 3.0) == pytest.approx(-1.17, abs=0.005)


@pytest.mark.parametrize(("angle", "throw_m", "width"), [(19.0, 3.0, 1.004), (36.0, 3.0, 1.950)])
def test_a_nominal_beam_is_a_tangent(angle, throw_m, width):
    """2·D·tan(θ/2), plane geometry."""
    assert study.nominal_width(angle, throw_m) == pytest.approx(width, abs=5e-4)


def test_beam_angles_and_camera_lenses():
    """Angle over the diagonal of 36 × 24 mm: 36° ↔ 66.6 mm, 19° ↔ 129.3 mm; 50 mm ↔ 46.793° (published table by B.

    Claff, 2006).
    """
    assert study.camera_lens_like(36.0) == pytest.approx(66.6, abs=0.05)
    assert study.camera_lens_like(19.0) == pytest.approx(129.3, abs=0.05)
    assert study.beam_angle_like(50.0) == pytest.approx(46.793, abs=0.001)


def test_nearest_focus_by_travel():
    """Conjugate equation: 55 mm and 1.0 mm of travel reach 3.08 m, 4.0 mm reach 0.811 m."""
    assert study.nearest_focus(55.0, 1.0) == pytest.approx(3.08, abs=0.005)
    assert study.nearest_focus(55.0, 4.0) == pytest.approx(0.811, abs=0.001)


def test_moved_back_four_times():
    """Exactly 4 with the tube untouched, (4D − f)/(D − f) = 4.133 after refocusing (85 mm, 2 → 8 m);
    four stops dimmer.
    """
    untouched, refocused = study.refocused_growth(85.0, 2.0, 8.0)
    assert untouched == 4.0
    assert refocused == pytest.approx(4.133, abs=5e-4)
    assert study.stops_for_distance(2.0, 8.0) == -4.0


def test_the_outline_on_a_tilted_wall_is_the_projective_map(studio):
    """26° field, wall 3.00 m away tilted by 30°: 1.598 and 1.222 m wide (ratio 1.308), 1.628 m long (projective
    geometry).
    """
    tube = 1.0 / (1.0 / 0.085 - 1.0 / 3.0)
    side = 2000.0 * tube * math.tan(math.radians(13.0))
    projector = {
        "position_m": [0.0, 1.5, 3.0],
        "gate": {"shape": "rectangle", "diameter_mm": None, "width_mm": side, "height_mm": side},
        "focus": {"distance_m": 3.0},
    }
    scene = studio.scene(projector, {"yaw_deg": 30.0, "width_m": 4.0, "height_m": 4.0})
    found = study.landed_outline(scene, scene.projector[0])
    assert sorted((found.sides_m[1], found.sides_m[3])) == pytest.approx([1.222, 1.598], abs=0.001)
    assert max(found.keystone_across, 1.0 / found.keystone_across) == pytest.approx(1.308, abs=0.001)
    assert found.width_m == pytest.approx(1.628, abs=0.001)
    assert not found.goes_on


@pytest.mark.parametrize(
    "call",
    [
        lambda: study.throw(85.0, 30.0, 0.05),
        lambda: study.throw(-85.0, 30.0, 2.0),
        lambda: study.lens_for(0.0, 30.0, 2.0),
        lambda: study.nominal_width(190.0, 2.0),
    ],
)
def test_impossible_wishes_get_plain_words(call):
    with pytest.raises(SceneError):
        call()


def test_light_at_the_sides_is_what_a_map_shows(studio, ruler):
    """Open gate with a hot centre on a turned wall: cosines, distances and 2^(−stops·r²), against the rendered map 2 %
    inside the border.
    """
    projector = {
        "gate": {
            "shape": "rectangle",
            "diameter_mm": None,
            "width_mm": 40.0,
            "height_mm": 30.0,
            "edge_falloff_stops": 0.8,
        },
        "lens": {"f_number": 16.0},
    }
    scene = studio.scene(projector, {"yaw_deg": 25.0, "width_m": 3.0, "height_m": 2.4})
    found = study.landed_outline(scene, scene.projector[0])
    light = irradiance_map(scene, n_across=300)
    x, y = ruler.axes(light)
    row, column = (
        light.illuminance[light.illuminance.shape[0] // 2].astype(float),
        light.illuminance[:, 150].astype(float),
    )
    middle = light.illuminance[light.illuminance.shape[0] // 2, 150]
    right, left = (
        float(np.interp(0.98 * end, x, row)) for end in (x[row > 0.05 * middle].max(), x[row > 0.05 * middle].min())
    )
    top = float(np.interp(0.98 * y[column > 0.05 * middle].max(), y[::-1], column[::-1]))
    # As the projector sees it, its right is the map's; 2 % inside, light differs from the border's by less than 0.04
    # stop.
    assert [math.log2(value / middle) for value in (top, right, left)] == pytest.approx(
        [found.side_stops[0], found.side_stops[1], found.side_stops[3]], abs=0.06
    )


def test_edges_of_an_even_beam_fall_by_the_fourth_power_of_the_cosine():
    """cos⁴ (any radiometry text): 13° −0.15, 25° −0.57 stop."""
    assert study.edge_stops(26.0) == pytest.approx(-0.15, abs=0.005)
    assert study.edge_stops(50.0) == pytest.approx(-0.57, abs=0.005)


@pytest.mark.parametrize(("angle", "common"), [(36.0, 65.0), (19.0, 135.0), (46.8, 50.0)])
def test_the_nearest_common_lens(angle, common):
    """36° is like 65 mm, 19° like 135 mm (common practice, no source)."""
    assert study.common_lens_like(angle) == common


def figure_before_a_wall(aim: str):
    from projector.scene.reading.reader import load_text

    return load_text(
        f"""
format = 1
[camera]
position_m = [0.0, 1.5, 4.0]
aim = "keeper.chin"
[[projector]]
name = "chapel"
position_m = [0.0, 1.5, 4.0]
aim = {aim}
gate = {{ shape = "round", diameter_mm = 40 }}
stencil = {{ file = "window", width_mm = 40 }}
lens = {{ focal_length_mm = 85, f_number = 2.8 }}
reading = {{ f_number = 8, iso = 100, distance_m = 2.5 }}
[[surface]]
name = "backdrop"
position_m = [0.0, 1.5, 0.0]
width_m = 1.5
height_m = 3.0
[[figure]]
name = "keeper"
position_m = [0.0, 0.0, 1.5]
""",
        "test",
        ".",
    )


def test_a_wall_behind_a_figure_has_the_outline_of_the_bare_wall():
    """The figure and the wall's own end cut the light, not the measure: 40/85 mm of gate at 4 m, square on."""
    scene = figure_before_a_wall("[0.7, 2.4, 0.0]")
    outline = study.landed_outline(scene, scene.projector[0])
    assert outline.lands_on == "backdrop" and outline.goes_on
    assert all(math.isfinite(value) for value in (*outline.sides_m, *outline.side_stops, outline.keystone_across))
    assert outline.is_round and all(1.5 < side < 3.0 for side in (outline.width_m, outline.height_m))
    # What a round gate calls a side is a quarter of its rim.
    assert all(0.25 * math.pi * 1.5 < side < 0.25 * math.pi * 3.0 for side in outline.sides_m)


def test_a_figure_has_no_outline_but_the_wall_behind_it_has_that_of_the_bare_wall():
    """Asked for by name, the wall's numbers are those that it has without the figure; of the figure itself there are
    none.
    """
    scene = figure_before_a_wall('"keeper.nose_tip"')
    outline = study.landed_outline(scene, scene.projector[0])
    assert outline.lands_on == "keeper" and outline.on is None and not outline.goes_on
    assert not any(math.isfinite(side) for side in outline.sides_m)
    behind = study.landed_outline(scene, scene.projector[0], on="backdrop")
    bare = scene.model_copy(
        update={
            "figure": (),
            "projector": (scene.projector[0].model_copy(update={"aim": tuple(point_of(scene, "keeper.nose_tip"))}),),
        }
    ).placed_at("t", scene.folder)
    alone = study.landed_outline(bare, bare.projector[0])
    assert behind.lands_on == "keeper" and alone.lands_on == "backdrop"
    assert (*behind.sides_m, *behind.side_stops, behind.width_m, behind.keystone_up) == pytest.approx(
        (*alone.sides_m, *alone.side_stops, alone.width_m, alone.keystone_up), rel=1e-6
    )


def test_a_pattern_that_runs_off_a_surface_that_is_not_flat_has_no_length_there(studio):
    """Half of it beside a sweep's edge: the sides that are wholly on it have a length, the others none."""
    sweep = {"name": "sweep", "shape": "sweep", "position_m": [-0.99, 0.0, 0.0], "width_m": 2.0, "height_m": 4.0}
    scene = studio.scene(
        {"gate": {"shape": "rectangle", "diameter_mm": None, "width_mm": 30.0, "height_mm": 30.0}}, surfaces=[sweep]
    )
    outline = study.landed_outline(scene, scene.projector[0])
    assert [math.isfinite(side) for side in outline.sides_m] == [False, False, False, True]
    assert outline.on == "sweep" and not outline.goes_on and math.isnan(outline.width_m)


@pytest.mark.parametrize("travel", [0.3, 1.0, 1.7, 4.0, 9.3])
@pytest.mark.parametrize("focal_length", [28.0, 50.0, 85.0, 171.0])
def test_the_nearest_focus_as_it_is_printed_is_within_reach(focal_length, travel):
    """To the millimetre; a millimetre nearer it is not."""
    nearest = study.nearest_focus(focal_length, travel)
    printed = float(f"{nearest:.3f}")
    assert study.can_focus(focal_length, travel, printed) and study.can_focus(focal_length, travel, nearest)
    assert not study.can_focus(focal_length, travel, printed - 1.1e-3)


def test_the_angle_of_a_beam_from_its_width():
    """2·D·tan(θ/2) turned round (plane geometry): 1.004 m at 3 m is 19°."""
    assert study.beam_angle(study.nominal_width(19.0, 3.0), 3.0) == pytest.approx(19.0, rel=1e-12)


def test_growth_from_within_the_focal_length_is_refused():
    with pytest.raises(SceneError, match=r"focal length|throw of"):
        study.refocused_growth(85.0, 0.085, 2.0)
