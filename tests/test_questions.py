"""What people who do this job ask, one after the other, put to the command line or to one Python call.

Sizes and light as they follow from the thin lens (OpenStax, University Physics 3, "Thin Lenses"; ISO 2720 for meters)
within 0.5 % and 0.05 stop, unless a row says otherwise. Questions without a number have a shipped scene that shows them.
"""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from typer.testing import CliRunner

from projector.cli import app
from projector.optics.dispersion import LINE_C_NM, LINE_F_NM
from projector.rendering.irradiance import irradiance_map
from projector.scene.reader import load, with_overrides
from projector.studies import sharpness as softness
from projector.studies.edge_profile import edge_by_formula, full_spectrum, patch_diameters, place_on_surface
from projector.studies.throw import landed_outline
from projector.tracing.arrays import light_arrays, scene_arrays

HALF_PER_CENT, STOPS = 5e-3, 0.05


def asked(*arguments) -> dict:
    """The `result` of a command's JSON."""
    answer = CliRunner().invoke(app, [*map(str, arguments), "--json"])
    assert answer.exit_code == 0, answer.output
    return json.loads(answer.stdout)["result"]


def said(*arguments) -> str:
    """The words of a command."""
    answer = CliRunner().invoke(app, list(map(str, arguments)))
    assert answer.exit_code == 0, answer.output
    return answer.output


# --- size and throw


def test_01_how_big_will_it_land():
    found = asked("throw", "--focal-length-mm", 171, "--lit-width-mm", 34.3, "--throw-m", 4.77)
    assert found["tube_length_mm"] == pytest.approx(177.36, rel=HALF_PER_CENT)
    assert found["width_m"] == pytest.approx(0.9225, rel=HALF_PER_CENT)


def test_02_which_lens_fills_this():
    found = asked("throw", "--lit-width-mm", 36, "--lit-height-mm", 24, "--width-m", 2.70, "--height-m", 1.80, "--throw-m", 7.5)
    assert found["focal_length_mm"] == pytest.approx(98.68, rel=HALF_PER_CENT)
    found = asked("throw", "--lit-width-mm", 24, "--lit-height-mm", 36, "--width-m", 4, "--height-m", 4, "--throw-m", 15)
    assert found["focal_length_mm"] == pytest.approx(133.8, rel=HALF_PER_CENT)


@pytest.mark.parametrize(("angle", "width"), [(19, 1.004), (36, 1.950)])
def test_03_how_wide_is_a_nominal_beam(angle, width):
    assert asked("throw", "--beam-angle-deg", angle, "--throw-m", 3)["width_m"] == pytest.approx(width, rel=HALF_PER_CENT)


def test_04_what_do_two_lenses_give_and_which_gives_what_is_wanted():
    for focal_length, width, angle, tube in ((50, 1.372, 30.7, 51.02), (85, 0.796, 18.1, 87.99)):
        found = asked("throw", "--focal-length-mm", focal_length, "--lit-width-mm", 28, "--throw-m", 2.5)
        assert (found["width_m"], found["beam_angle_deg"], found["tube_length_mm"]) == pytest.approx((width, angle, tube), rel=HALF_PER_CENT)
    assert asked("throw", "--lit-width-mm", 28, "--width-m", 1.2, "--throw-m", 2.5)["focal_length_mm"] == pytest.approx(57.0, rel=HALF_PER_CENT)


def test_05_an_iris_in_the_gate_crops_and_leaves_the_rest_as_bright_and_as_large():
    """Half the gate: what is well inside is the same light at the same place, what is outside is dark."""
    scene = load("01-square-wall")
    open_gate, closed = (irradiance_map(with_overrides(scene, changes), "wall", 200).illuminance for changes in ([], ["projector.window.gate.diameter_mm=16"]))
    rows, columns = np.indices(open_gate.shape)
    across = (columns + 0.5) * 3.0 / 200 - 1.5
    up = 1.3 - (rows + 0.5) * 2.6 / open_gate.shape[0]
    off_axis = np.hypot(across, up)
    # 16 mm land 0.456 m wide; the scene's ambient light is the same in both.
    inside, outside = off_axis < 0.20, off_axis > 0.26
    # A smaller gate is drawn on finer pixels: at the bars' very edges that moves a hundredth of full light.
    assert closed[inside] == pytest.approx(open_gate[inside], rel=1e-3, abs=float(0.015 * open_gate.max()))
    assert closed[outside].max() == pytest.approx(float(open_gate.min()), rel=1e-3)


@pytest.mark.parametrize(("angle", "computed", "nearest"), [(36, 66.6, 65), (19, 129.3, 135)])
def test_06_which_camera_lens_is_a_beam_like(angle, computed, nearest):
    """Common practice, no source: 36° is like 65 mm, 19° like 135 mm; over the diagonal of 36 × 24 mm they are 2 to 4 % off."""
    found = asked("throw", "--beam-angle-deg", angle, "--throw-m", 1)["camera_lens_like_mm"]
    assert found == pytest.approx(computed, rel=HALF_PER_CENT)
    assert found == pytest.approx(nearest, rel=0.045)


def test_07_how_far_back_for_the_wanted_size_and_what_it_costs():
    """85 mm, 28 mm of stencil, from 1 m to where it is 0.80 m wide: D = f (M + 1), stops 2·log2 of the throws."""
    throw = 0.085 * (0.80 / 0.028 + 1.0)
    found = asked("throw", "--focal-length-mm", 85, "--lit-width-mm", 28, "--width-m", 0.80, "--throw-m", 1)
    assert found["throw_m"] == pytest.approx(throw, rel=HALF_PER_CENT)
    assert found["stops_against_throw"] == pytest.approx(-2.0 * math.log2(throw), abs=STOPS)


def test_08_four_times_as_far():
    found = asked("throw", "--focal-length-mm", 85, "--throw-m", 2, "--to-m", 8)
    assert found["growth_untouched"] == pytest.approx(4.0)
    assert found["growth_refocused"] == pytest.approx(4.133, rel=HALF_PER_CENT)
    assert found["stops"] == pytest.approx(-4.0, abs=STOPS)


# --- focus and softness


def test_09_how_long_is_the_tube_and_how_near_can_it_focus():
    for distance, tube in ((1, 58.20), (1.5, 57.09), (2, 56.56), (3, 56.03), (5, 55.61)):
        assert asked("throw", "--focal-length-mm", 55, "--lit-width-mm", 28, "--throw-m", distance)["tube_length_mm"] == pytest.approx(tube, rel=5e-4)
    assert asked("throw", "--focal-length-mm", 55, "--travel-mm", 1)["nearest_focus_m"] == pytest.approx(3.08, rel=HALF_PER_CENT)
    near = ("throw", "--focal-length-mm", 55, "--travel-mm", 4, "--throw-m", 0.6, "--f-number", 1.8)
    assert asked(*near)["nearest_focus_m"] == pytest.approx(0.811, rel=HALF_PER_CENT)
    # Nearer than that: D·(0.811 − 0.6)/0.811.
    assert asked(*near)["blur_mm"] == pytest.approx(55 / 1.8 * (0.81125 - 0.6) / 0.81125, rel=HALF_PER_CENT)
    assert "cannot focus at 0.6 m" in said(*near)


def sharpness_on_wall(studio, lens, distance, offset_mm, wall_m=None):
    """Sharpness of a stencil on a wall square to the beam, focused at `distance`, the wall at `wall_m`."""
    wall = 2.0 - (wall_m or distance)
    scene = studio.scene(
        {"lens": lens, "focus": {"distance_m": distance, "offset_mm": offset_mm}, "stencil": {"file": studio.half_plane(64), "width_mm": 30.0}},
        {"position_m": [0.0, 1.5, wall], "width_m": 4.0, "height_m": 2.9},
    )
    return softness.sharpness(scene, scene.projector[0], (0.0, 1.5, wall))


def test_10_a_stencil_a_quarter_of_a_millimetre_off_its_plane(studio):
    """f = 90 mm, f/2.5, 60 times: 5.886 mm lamp side (published: 5.88), C = A·M·δ/(u − δ) lens side."""
    tube = 90.0 * 61.0 / 60.0
    for offset, blur in ((0.25, 5.886), (-0.25, 36.0 * 60.0 * 0.25 / (tube - 0.25))):
        found = sharpness_on_wall(studio, {"focal_length_mm": 90.0, "f_number": 2.5}, 0.06 * tube, offset)
        assert found.blur_disc_mm == pytest.approx(blur, rel=HALF_PER_CENT)


def test_11_a_faces_own_depth_is_not_the_trouble_a_millimetre_at_the_gate_is(studio):
    lens = {"focal_length_mm": 85.0, "f_number": 1.8}
    for wall in (1.94, 2.06):
        assert sharpness_on_wall(studio, lens, 2.0, 0.0, wall).blur_disc_mm == pytest.approx(1.42, rel=HALF_PER_CENT)
    assert sharpness_on_wall(studio, lens, 2.0, 1.0).blur_disc_mm > 8.0


def test_12_blades_and_stencil_are_never_sharp_together():
    """Scene 06: the blade stands 6 mm behind the stencil; over a range of focus the two curves have their lowest points apart."""
    scene = load("06-oblique-wall")
    curve = softness.focus_curve(scene, scene.projector[0], (0.2, 1.5, 0.0), np.linspace(-8.0, 2.0, 21))
    blade = curve.blades_mm["bottom"]
    assert curve.offsets_mm[np.argmin(curve.stencil_mm)] - curve.offsets_mm[np.argmin(blade)] == pytest.approx(6.0, abs=0.6)
    assert np.maximum(curve.stencil_mm, blade).min() > 5.0 * min(curve.stencil_mm.min(), blade.min())


@pytest.mark.parametrize("offset_mm", [0.0, 1.5])
def test_13_a_defocused_projector_is_not_a_soft_light(studio, offset_mm):
    """The shadow of a bar keeps its penumbra, D·gap/(throw − gap), however far the pattern is out of focus; the pattern's edge does not."""
    bar = {"name": "bar", "shape": "flat", "position_m": [0.25, 1.5, 0.2], "width_m": 0.5, "height_m": 0.5}
    wall = {"name": "wall", "shape": "flat", "position_m": [0.0, 1.5, 0.0], "width_m": 0.03, "height_m": 0.003}
    projector = {"lens": {"f_number": 1.8}, "focus": {"distance_m": 2.0, "offset_mm": offset_mm}, "gate": {"diameter_mm": 40.0}}
    found = irradiance_map(studio.scene(projector, surfaces=[wall, bar]), "wall", 400)
    row = found.illuminance[20] / found.illuminance.max()
    x = (np.arange(400) + 0.5) / 400 * 0.03
    ends = [x[np.argmin(np.abs(row - level))] for level in (0.1, 0.9)]
    assert abs(ends[1] - ends[0]) == pytest.approx(0.687 * 0.085 / 1.8 * 0.2 / 1.8, rel=0.06)
    pattern = sharpness_on_wall(studio, {"focal_length_mm": 85.0, "f_number": 1.8}, 2.0, offset_mm)
    assert (pattern.edge_across_mm > 10.0) == (offset_mm > 0.0)


def test_14_half_the_diameter_is_half_the_blur_and_two_stops_less_light(studio):
    wide, narrow = (sharpness_on_wall(studio, {"focal_length_mm": 85.0, "f_number": number}, 2.0, 1.0) for number in (2.0, 4.0))
    assert narrow.edge_across_mm / wide.edge_across_mm == pytest.approx(0.5, rel=HALF_PER_CENT)
    levels = [irradiance_map(load("01-square-wall", [f"projector.window.lens.f_number={number}", "projector.window.reading.distance_m=2.5"]), "wall", 64) for number in (2.8, 5.6)]
    assert math.log2(levels[1].open_level / levels[0].open_level) == pytest.approx(-2.0, abs=STOPS)


def test_15_middle_sharp_and_corners_soft_smaller_stop_smaller_stencil_or_a_compromise(studio):
    """Field curvature: a smaller pupil helps in proportion, a point nearer the middle with the square, and a focus between the two evens them out."""

    def edges(f_number, offset_mm, aside):
        lens = {"focal_length_mm": 85.0, "f_number": f_number, "widest_f_number": 2.0, "corner_softness_mm": 0.4}
        projector = {"lens": lens, "focus": {"distance_m": 2.0, "offset_mm": offset_mm}, "gate": {"diameter_mm": 40.0}}
        scene = studio.scene(projector, {"width_m": 2.0})
        return [softness.sharpness(scene, scene.projector[0], (x, 1.5, 0.0)).edge_across_mm for x in (0.0, aside)]

    middle, corner = edges(2.0, 0.0, 0.40)
    assert middle < 0.2 * corner
    assert edges(4.0, 0.0, 0.40)[1] == pytest.approx(0.5 * corner, rel=0.02)
    assert edges(2.0, 0.0, 0.20)[1] == pytest.approx(0.25 * corner, rel=0.05)
    between = [edges(2.0, offset, 0.40) for offset in np.linspace(-0.8, 0.8, 17)]
    assert min(max(pair) for pair in between) < 0.65 * corner


def test_16_through_a_bare_ring_tube_an_edge_doubles():
    """Scene 07: across an edge of the defocused stencil the light rises twice, once for each side of the ring."""
    scene = with_overrides(load("07-ring-of-dots"), ["projector.dots.lens.pupil.inner_fraction=0.85"])
    light, weights = full_spectrum(scene, scene.projector[0])
    edge = edge_by_formula(light, place_on_surface(scene, light, scene_arrays(scene), "backdrop.centre"), "across")
    rise = edge.shares @ (weights[:, 1] / weights[:, 1].sum())
    slope = np.abs(np.gradient(rise, edge.positions))
    half = len(slope) // 2
    peaks = slope[:half].max(), slope[half:].max()
    assert min(peaks) > 1.5 * slope[half - 20 : half + 20].mean()


# --- orientation and oblique walls


def test_17_upside_down_turned_by_half_a_turn_and_not_mirrored():
    words = said("throw", "01-square-wall")
    assert "turned by 180°" in words and "face-about it lands mirrored" in words


def test_18_keystone_is_a_projective_map(studio):
    """3.00 m, 26° of field, wall turned by 30°: 1.598 and 1.222 m, 1.628 m long, far against near −1.16 stops (projective geometry)."""
    tube = 1.0 / (1.0 / 0.085 - 1.0 / 3.0)
    half = 1e3 * tube * math.tan(math.radians(13.0))
    projector = {"position_m": [0.0, 1.5, 3.0], "gate": {"shape": "rectangle", "diameter_mm": None, "width_mm": 2 * half, "height_mm": 2 * half}, "focus": {"distance_m": 3.0}, "lens": {"f_number": 16.0}}
    scene = studio.scene(projector, {"yaw_deg": 30.0, "width_m": 4.0, "height_m": 4.0})
    found = landed_outline(scene, scene.projector[0])
    assert sorted(found.sides_m[1::2]) == pytest.approx([1.222, 1.598], rel=HALF_PER_CENT)
    assert max(found.keystone_across, 1.0 / found.keystone_across) == pytest.approx(1.308, rel=HALF_PER_CENT)
    assert found.width_m == pytest.approx(1.628, rel=HALF_PER_CENT)
    # At the ends of the middle line: cos³ of the field's edge and the cosine on the wall over the squares of the distances.
    light = irradiance_map(scene, "wall", 800).illuminance
    row, x = light[400], (np.arange(800) + 0.5) / 200.0 - 2.0
    lit = np.flatnonzero(row > 0.05 * row.max())
    ends = [row[lit[0] + 4], row[lit[-1] - 4]]
    # Four texels of 5 mm inside either end: 0.02 stop.
    assert abs(math.log2(ends[0] / ends[1])) == pytest.approx(1.16, abs=STOPS)
    assert x[lit[-1]] - x[lit[0]] == pytest.approx(1.628, abs=0.011)


# --- evenness, colour edges, contrast


@pytest.mark.parametrize(("degrees", "stops"), [(13, -0.15), (25, -0.57)])
def test_19_what_pure_optics_leave_at_the_edge_of_the_field(studio, degrees, stops):
    """cos⁴; a hot centre beyond that is an unevenly lit gate (`edge_falloff_stops`)."""
    projector = {"lens": {"f_number": 16.0}, "gate": {"diameter_mm": 90.0}}
    found = irradiance_map(studio.scene(projector, {"width_m": 2.2, "height_m": 0.02}), "wall", 1101)
    aside = round((2.0 * math.tan(math.radians(degrees)) / 2.2 + 0.5) * 1101 - 0.5)
    row = found.illuminance[found.illuminance.shape[0] // 2]
    assert math.log2(row[aside] / row[550]) == pytest.approx(stops, abs=0.02)


@pytest.mark.parametrize(("f_number", "blue", "red"), [(1.8, 12.0, 5.3), (4.0, 5.4, 2.4)])
def test_20_where_coloured_edges_come_from(studio, f_number, blue, red):
    """Single crown element, 85 mm, sharp at 2.00 m in yellow: discs of the F and C lines from N-BK7's Sellmeier coefficients (refractiveindex.info)."""
    lens = {"focal_length_mm": 85.0, "f_number": f_number, "dispersion": {"glass": "N-BK7"}}
    scene = studio.scene({"lens": lens, "focus": {"distance_m": 2.0}})
    light = light_arrays(scene, scene.projector[0], [LINE_F_NM, LINE_C_NM])
    place = place_on_surface(scene, light, scene_arrays(scene), (0.0, 1.5, 0.0))
    assert 1e3 * np.abs(patch_diameters(light, place)) / np.linalg.norm(place.per_metre_across) == pytest.approx([blue, red], abs=0.06)


def test_20_along_the_axis_shrinks_with_the_stop_and_a_narrow_band_hides_it():
    """Scene 03, the single element on the backdrop, wide open and at f/4."""
    wide, stopped = (asked("fringe", "03-cabin-window", "--at", "backdrop.centre", "-w", f"projector.window.lens.f_number={number}")["points"][0] for number in (1.8, 4))
    assert stopped["axial_mm"] / wide["axial_mm"] == pytest.approx(1.8 / 4, rel=0.02)
    cures = {cure["what"]: cure for cure in wide["cures"]}
    assert cures["a narrow band filter"]["width_mm"] < 0.15 * wide["width_mm"]
    assert cures["a narrow band filter"]["cost_stops"] > 2.0


def test_21_is_it_good_enough_before_buying():
    """In mm on the skin, arc-minutes and camera pixels, side by side; the achromat passes where the single element does not."""
    rows = asked("fringe", "02-slit-over-the-eyes", "--at", "stowaway.left_eye", "--lens", "single-crown", "--lens", "achromat", "--tolerance-arcmin", 2)["points"]
    by_lens = {row["lens"]: row for row in rows}
    assert by_lens["single-crown"]["width_mm"] > 5.0 * by_lens["achromat"]["width_mm"] > 0.0
    assert not by_lens["single-crown"]["passes"] and by_lens["single-crown"]["cures"]
    for row in rows:
        # The camera stands 2.1 m away with 6000 pixels over 36 mm at 100 mm: both units measure the same width.
        assert row["arc_minutes"] / row["camera_pixels"] == pytest.approx(36.0 / 6000 / 100.0 * 180 * 60 / math.pi, rel=0.02)


def test_22_black_parts_grey_by_light_sent_back_in_the_attachment():
    """Lens 4 %, stencil 60 %, 30 % open: 0.72 % of the openings (product of the three)."""
    (found,) = asked("contrast", "--open-share", 0.3)["projectors"]
    assert found["veil_share"] == pytest.approx(0.0072, rel=HALF_PER_CENT)
    assert asked("contrast", "02-slit-over-the-eyes")["projectors"][0]["open_share"] < 0.2


@pytest.mark.parametrize(("under", "stops"), [(0, 1.0), (2, 2.32)])
def test_23_washed_out_by_other_lights(under, stops):
    """(P + a)/a, without stray light in the attachment."""
    (found,) = asked("contrast", "--open-share", 0.3, "--lens-reflectance", 0, "--ambient-stops-under", under)["projectors"]
    assert found["stops"] == pytest.approx(stops, abs=0.005)


def test_wrong_shares_get_one_line():
    answer = CliRunner().invoke(app, ["contrast", "--open-share", "30", "--json"])
    assert answer.exit_code == 1
    assert [error["key"] for error in json.loads(answer.stdout)["errors"]] == ["open_share"]
    assert CliRunner().invoke(app, ["contrast", "--json"]).exit_code == 1
