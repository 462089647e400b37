"""Sharpness at named points: formula, kernels and rendered maps agree, and the closed forms hold."""

from __future__ import annotations

import math

import numpy as np
import pytest

from projector.faults import SceneError
from projector.files.finding import shipped_folder
from projector.optics import thin_lens
from projector.rendering.maps.irradiance import irradiance_map
from projector.scene.reading.reader import load
from projector.stage.stage import Stage
from projector.studies.edges import sharpness as study
from projector.studies.edges.focus_curve import compromise, focus_curve, offsets_to_show
from projector.studies.edges.profile import full_spectrum
from projector.studies.edges.refocus import blade_edges, refocused
from tests.conftest import mostly_slow


def soft_wall(studio, yaw=0.0, **lens):
    projector = {
        "lens": {"f_number": 2.0, **lens},
        "focus": {"distance_m": 1.8},
        "stencil": {"file": studio.half_plane(2048), "width_mm": 20.0},
    }
    return studio.scene(projector, {"yaw_deg": yaw})


def test_an_edge_on_a_square_wall_is_the_chord_of_the_blur_disc(studio):
    """C = D·|Z − z_f|/z_f (thin lens, textbook), 10–90 % = 0.68705·C (closed form)."""
    scene = soft_wall(studio)
    found = study.sharpness(scene, scene.projector[0], (0.0, 1.5, 0.0))
    blur = 1e3 * thin_lens.blur_circle_diameter(0.085 / 2.0, 1.8, 2.0)
    assert found.blur_disc_mm == pytest.approx(blur, rel=1e-3)
    assert found.edge_across_mm == pytest.approx(thin_lens.DISC_EDGE_10_90 * blur, rel=0.005)
    assert found.limits[0].cause == "focus and pupil"


@pytest.mark.parametrize("yaw", [0.0, 35.0])
@pytest.mark.parametrize(
    "lens",
    mostly_slow([{}, {"pupil": {"shape": "ring", "inner_fraction": 0.6}}, {"dispersion": {"glass": "N-BK7"}}]),
    ids=["disc", "ring", "crown"],
)
def test_formula_and_measurement_agree_within_two_per_cent(studio, yaw, lens):
    scene = soft_wall(studio, yaw, **lens)
    found = study.sharpness(scene, scene.projector[0], (0.0, 1.5, 0.0))
    assert found.measured_across_mm == pytest.approx(found.edge_across_mm, rel=0.02)
    assert found.measured_along_mm == pytest.approx(found.edge_along_mm, rel=0.02)


def test_the_study_and_a_rendered_map_agree_within_two_per_cent(studio, ruler):
    scene = soft_wall(studio, dispersion={"glass": "N-BK7"})
    found = study.sharpness(scene, scene.projector[0], (0.0, 1.5, 0.0))
    wall = scene.surface[0].model_copy(update={"width_m": 0.04, "height_m": 0.004})
    rendered = irradiance_map(scene.model_copy(update={"surface": (wall,)}).placed_at("t", scene.folder), n_across=400)
    x, _ = ruler.axes(rendered)
    assert 1e3 * ruler.edge_width(x, rendered.illuminance[20]) == pytest.approx(found.edge_across_mm, rel=0.02)


def test_a_tilted_wall_stretches_the_edge_along_the_tilt(studio):
    """Small blur: by one over the cosine of the tilt times the change of distance, far more than across."""
    scene = soft_wall(studio, 40.0)
    found = study.sharpness(scene, scene.projector[0], (0.0, 1.5, 0.0))
    assert found.edge_along_mm / found.edge_across_mm == pytest.approx(1.0 / math.cos(math.radians(40.0)), rel=0.03)


def test_faces_depth_is_small_beside_a_millimetre_in_the_gate(studio):
    """f/1.8, 85 mm, sharp at 2.00 m: 60 mm of depth blurs by 1.42 mm (thin lens, as above)."""
    scene = studio.scene({"lens": {"f_number": 1.8}}, {"position_m": [0.0, 1.5, 0.06]})
    found = study.sharpness(scene, scene.projector[0], (0.0, 1.5, 0.06))
    assert found.blur_disc_mm == pytest.approx(1.42, abs=0.01)


def test_contrast_through_a_disc_is_the_textbook_curve():
    """2·J1(x)/x: first zero at x = 3.8317 (tables of Bessel functions), half contrast at x = 2.2151."""
    assert study.disc_contrast(3.8317 / math.pi, 1.0) == pytest.approx(0.0, abs=1e-4)
    assert study.disc_contrast(2.2151 / math.pi, 1.0) == pytest.approx(0.5, abs=1e-3)
    assert study.disc_contrast(study._BLURS_PER_PERIOD, 1.0) == pytest.approx(0.1, abs=2e-3)


def test_detail_of_a_grating_is_its_bar(studio):
    values = (np.arange(1024) // 16 % 2).astype(float)[None, :] * np.ones((1024, 1))
    assert study.stencil_detail(values, 1e-5) == pytest.approx(16e-5, rel=1e-9)


def test_depth_of_softness_is_where_the_edge_has_the_wanted_width(studio):
    """Against 0.687 of the blur disc; a thousandth for the edge's 801 places and the pupil's table."""
    scene = soft_wall(studio)
    found = study.sharpness(scene, scene.projector[0], (0.0, 1.5, 0.0), within_mm=3.0)
    for distance in found.depth_m:
        blur = 1e3 * thin_lens.blur_circle_diameter(0.085 / 2.0, 1.8, distance)
        assert thin_lens.DISC_EDGE_10_90 * blur == pytest.approx(3.0, rel=1e-3)


@pytest.mark.parametrize("within_mm", mostly_slow([3.0, 6.0]))
def test_depth_of_softness_counts_the_colours_of_a_single_lens(studio, within_mm):
    """At both ends a wall square to the beam has just that edge, as the same study finds it there; where colour alone
    is wider, nowhere.
    """
    lens = {"f_number": 2.0, "dispersion": {"glass": "N-BK7"}}
    far_wall = soft_wall(studio)
    spec = far_wall.projector[0].model_copy(
        update={
            "lens": (
                far_wall.projector[0].lens.model_validate(
                    {**far_wall.projector[0].lens.model_dump(exclude_none=True), **lens}
                )
            )
        }
    )
    found = study.sharpness(far_wall, spec, (0.0, 1.5, 0.0), within_mm=within_mm)
    light, weights = full_spectrum(far_wall, spec)
    colour_alone = 1e3 * study.axial_edge_width(
        light, weights[:, 1], 1.0 / float(weights[:, 1] @ light.inverse_sharp / weights[:, 1].sum())
    )
    if colour_alone > within_mm:
        assert np.isnan(found.depth_m).all()
        return
    assert found.depth_m[0] < found.depth_m[1]
    for distance in found.depth_m:
        assert 1e3 * study.axial_edge_width(light, weights[:, 1], distance) == pytest.approx(within_mm, rel=1e-6)


def test_blades_and_stencil_are_never_sharp_together():
    """They sit in different planes (common practice, no source): where one is sharpest the other is an order softer."""
    scene = load(shipped_folder("scene") / "08-framed-head.toml")
    curve = focus_curve(scene, scene.projector[0], "understudy.left_eye", np.linspace(-14.0, 4.0, 19))
    sharpest = int(np.argmin(curve.stencil_mm))
    assert curve.offsets_mm[sharpest] == 0.0
    for widths in curve.blades_mm.values():
        assert int(np.argmin(widths)) < sharpest - 5
        assert widths[sharpest] > 10.0 * curve.stencil_mm[sharpest]


def test_words_grow_softer_with_the_edge():
    assert [study.word_for(edge, 10.0, 0.1) for edge in (0.15, 1.0, 4.0, 12.0, 20.0)] == [
        "crisp",
        "crisp",
        "firm",
        "soft",
        "dissolved",
    ]


@pytest.mark.parametrize("reference", [(0.0, 1.5, 1.0), (5.0, 1.5, 0.0)])
def test_a_point_that_no_light_meets_gets_plain_words(studio, reference):
    scene = soft_wall(studio)
    with pytest.raises(SceneError):
        study.sharpness(scene, scene.projector[0], reference)


def test_a_tolerance_of_zero_is_refused(studio):
    scene = soft_wall(studio)
    with pytest.raises(SceneError, match="more than 0 mm"):
        study.sharpness(scene, scene.projector[0], (0.0, 1.5, 0.0), within_mm=0.0)


@pytest.mark.parametrize("inner", mostly_slow([0.5, 0.7, 0.9]))
def test_a_ring_doubles_an_edge_by_its_holes_diameter(studio, inner):
    """The chord of a ring is longest beside its hole (plane geometry): two rises, inner · blur disc apart, read to a
    step of 1/128 of the radius.
    """
    scene = soft_wall(studio, pupil={"shape": "ring", "inner_fraction": inner})
    found = study.sharpness(scene, scene.projector[0], (0.0, 1.5, 0.0))
    assert found.doubled_mm == pytest.approx(inner * found.blur_disc_mm, abs=found.blur_disc_mm / 128.0)
    plain = soft_wall(studio)
    assert study.sharpness(plain, plain.projector[0], (0.0, 1.5, 0.0)).doubled_mm is None


def test_the_stop_for_a_wanted_edge_gives_it_and_costs_what_the_light_says(studio):
    """Blur goes with the pupil's diameter, light with its square; while the lamp fills only part of the lens both count
    from that part.
    """
    for lens in ({}, {"filled_pupil_mm": 30.0}):
        scene = soft_wall(studio, **lens)
        spec = scene.projector[0]
        found = study.sharpness(scene, spec, (0.0, 1.5, 0.0), within_mm=1.0)
        stopped = spec.model_copy(update={"lens": spec.lens.model_copy(update={"f_number": found.stop.f_number})})
        assert study.sharpness(scene, stopped, (0.0, 1.5, 0.0)).edge_across_mm == pytest.approx(1.0, rel=0.01)
        assert found.stop.cost_stops == pytest.approx(
            2.0 * math.log2(lens.get("filled_pupil_mm", 42.5) * found.stop.f_number / 85.0), rel=1e-6
        )
    assert study.sharpness(scene, spec, (0.0, 1.5, 0.0), within_mm=99.0).stop is None


@pytest.mark.slow
def test_lateral_colour_softens_the_same_radius_alike_in_every_direction(studio):
    """0.3 m from the beam's middle to the right, upwards and aslant: one edge, one word, one cause, one stop, and a
    stop that holds what it says.
    """
    scene = studio.scene(
        {"lens": {"f_number": 2.0, "lateral_colour_mm": 0.3}, "focus": {"distance_m": 2.0, "offset_mm": 0.18}}
    )
    spec = scene.projector[0]
    points = [(0.3 * math.cos(turn), 1.5 + 0.3 * math.sin(turn), 0.0) for turn in np.radians([0.0, 90.0, 217.0])]
    rows = [study.sharpness(scene, spec, point, within_mm=1.7) for point in points]
    for row in rows[1:]:
        assert (row.edge_mm, row.smallest_mm, row.stop.f_number) == pytest.approx(
            (rows[0].edge_mm, rows[0].smallest_mm, rows[0].stop.f_number), rel=1e-3
        )
        assert (row.word, row.limits[0].cause) == (rows[0].word, rows[0].limits[0].cause)
    assert rows[0].limits[0].cause == "lateral colour of the lens"
    assert rows[0].edge_mm == pytest.approx(max(rows[0].edge_across_mm, rows[0].edge_along_mm), rel=1e-6)
    stopped = spec.model_copy(update={"lens": spec.lens.model_copy(update={"f_number": rows[0].stop.f_number})})
    assert study.sharpness(scene, stopped, points[1]).edge_mm == pytest.approx(1.7, rel=0.001)
    # No stop narrows what is shifted sideways.
    assert study.sharpness(scene, spec, points[0], within_mm=0.2).stop is None
    curves = [focus_curve(scene, spec, point, [-0.5, 0.0, 0.5]).stencil_mm for point in points[:2]]
    np.testing.assert_allclose(curves[0], curves[1], rtol=1e-3)


def test_one_focus_for_two_distances_leaves_them_equally_soft(studio):
    """Walls at 1.8 and 2.2 m: with the pupil's disc D·|1 − Z/z|, equal where z is the mean of both,
    2.00 m (thin lens).
    """
    near = {"name": "near", "position_m": [-0.3, 1.5, 0.2], "width_m": 0.5, "height_m": 0.5}
    far = {"name": "far", "position_m": [0.0, 1.5, -0.2], "width_m": 3.0, "height_m": 3.0}
    scene = studio.scene({"lens": {"f_number": 2.0}, "focus": {"distance_m": 1.8}}, surfaces=[near, far])
    found = compromise(scene, scene.projector[0], [(-0.3, 1.5, 0.2), (0.3, 1.5, -0.2)])
    tubes = [1e3 / (1.0 / 0.085 - 1.0 / distance) for distance in (1.8, 2.0)]
    assert found.offset_mm == pytest.approx(tubes[1] - tubes[0], abs=2e-3)
    # 42.5 mm · 0.2/2.0 · 0.687, both.
    assert found.edges_mm == pytest.approx((2.92, 2.92), rel=0.01)
    assert found.edges_now_mm[0] < 0.1 < found.edges_now_mm[1]


@pytest.mark.parametrize(
    "lens",
    mostly_slow([{}, {"dispersion": {"glass": "N-BK7"}}, {"pupil": {"shape": "ring", "inner_fraction": 0.6}}]),
    ids=["disc", "crown", "ring"],
)
def test_the_focus_for_a_wanted_edge_gives_it_and_is_found_on_both_sides(studio, lens):
    """Set into the scene as focus.offset_mm, each makes the same study answer with the wanted 8 mm; between them edges
    are sharper.
    """
    scene = soft_wall(studio, **lens)
    spec, point = scene.projector[0], (0.0, 1.5, 0.0)
    (wanted,) = study.sharpness(scene, spec, point, within_mm=8.0).wanted_focuses
    near, far = wanted.focuses
    assert near.offset_mm > wanted.least_offset_mm > far.offset_mm and near.focus_m < 2.0 < far.focus_m
    for focused in wanted.focuses:
        # 801 places across the edge there, 2001 here.
        assert study.sharpness(scene, refocused(spec, focused.offset_mm), point).edge_across_mm == pytest.approx(
            8.0, rel=2e-3
        )
        by_distance = spec.model_copy(update={"focus": spec.focus.model_copy(update={"distance_m": focused.focus_m})})
        assert study.sharpness(scene, by_distance, point).edge_across_mm == pytest.approx(8.0, rel=2e-3)
    assert wanted.least_mm < 8.0


def test_the_focus_for_a_wanted_edge_is_the_thin_lens_law(studio):
    """0.687·D·|Z/z − 1| = w: D 42.5 mm, Z 2 m, w 8 mm: z = 2/(1 ± 0.27398) = 1.570 and 2.755 m (closed form of the
    chord and the thin lens).
    """
    (wanted,) = study.sharpness(
        *(lambda scene: (scene, scene.projector[0]))(soft_wall(studio)), (0.0, 1.5, 0.0), within_mm=8.0
    ).wanted_focuses
    share = 8.0 / (thin_lens.DISC_EDGE_10_90 * 42.5)
    assert [item.focus_m for item in wanted.focuses] == pytest.approx(
        [2.0 / (1.0 + share), 2.0 / (1.0 - share)], rel=2e-3
    )


def test_an_edge_that_no_focus_gives_says_how_sharp_it_gets(studio):
    scene = soft_wall(studio, dispersion={"glass": "N-BK7"})
    (wanted,) = study.sharpness(scene, scene.projector[0], (0.0, 1.5, 0.0), within_mm=0.2).wanted_focuses
    assert wanted.focuses == () and wanted.least_mm > 0.2
    at_its_best = refocused(scene.projector[0], wanted.least_offset_mm)
    assert study.sharpness(scene, at_its_best, (0.0, 1.5, 0.0)).edge_across_mm == pytest.approx(
        wanted.least_mm, rel=5e-3
    )


def test_where_only_blades_frame_the_light_it_is_their_edges_that_are_asked():
    scene = load(shipped_folder("scene") / "08-framed-head.toml")
    spec, stage = scene.projector[0], Stage(scene)
    found = study.sharpness(scene, spec, "understudy.left_cheek", within_mm=8.0)
    assert [item.edge for item in found.wanted_focuses] == [("left", "right"), ("top", "bottom")]
    for wanted, side in zip(found.wanted_focuses, ("left", "top"), strict=True):
        for focused in wanted.focuses:
            assert blade_edges(stage, refocused(spec, focused.offset_mm), "understudy.left_cheek")[
                side
            ] == pytest.approx(8.0, rel=1e-3)


def test_the_figure_reaches_the_wanted_line():
    """Every focus that gives the wanted edge is among the offsets shown, and the curve passes the line there."""
    scene = load("03-cabin-window")
    spec, stage = scene.projector[0], Stage(scene)
    wanted = study.sharpness(stage, spec, "pilot.right_cheek", 25.0).wanted_focuses[0].focuses
    offsets = offsets_to_show(stage, [(spec, "pilot.right_cheek")], [item.offset_mm for item in wanted])
    assert offsets[0] < min(item.offset_mm for item in wanted) and max(item.offset_mm for item in wanted) < offsets[-1]
    curve = focus_curve(stage, spec, "pilot.right_cheek", offsets[[0, len(offsets) // 2, -1]]).stencil_mm
    assert curve[0] > 25.0 > curve[1] and curve[2] > 25.0


def test_a_blades_edge_far_out_is_as_wide_as_in_a_map(studio, ruler):
    """Pincushion of 30 % and soft corners, a blade 20 mm behind the stencil: both count how far the ray is from the
    axis in the stencil's plane. Against a map's 10–90 %, its light divided by that without the blade; 1 % for the map's
    steps.
    """
    lens = {"f_number": 64.0, "distortion_percent": 30.0, "corner_softness_mm": 0.4}
    blade = {"side": "top", "insertion_mm": 30.0, "offset_mm": 20.0}
    wall = {"position_m": [0.49, 1.5, 0.0], "width_m": 0.002, "height_m": 0.06}
    cut, whole = (
        studio.scene({"lens": lens, "blade": blades, "gate": {"diameter_mm": 60.0}}, wall) for blades in ([blade], [])
    )
    maps = [irradiance_map(scene, n_across=32) for scene in (cut, whole)]
    share, (_, y) = maps[0].illuminance[:, 16] / maps[1].illuminance[:, 16], ruler.axes(maps[0])
    low, high = (float(ruler.crossings(y, share, level)[0]) for level in (0.1, 0.9))
    found = blade_edges(cut, cut.projector[0], (0.49, 1.5, 0.0))["top"]
    assert found == pytest.approx(1e3 * abs(high - low), rel=0.01)
