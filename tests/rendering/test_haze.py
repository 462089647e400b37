"""Haze in pictures: closed forms of what it takes and gives, and the fast way held to one ray at a time."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad

from projector.optics.dispersion import LINE_D_NM
from projector.optics.scattering import phase
from projector.rendering import prepared_light, sampling, shadows, stages
from projector.rendering.haze import summed
from projector.rendering.haze.view_rays import directions_through, ends_of, view_rays
from projector.rendering.sampling import Window
from projector.rendering.session import RenderSession
from projector.rendering.stages import Work
from projector.rendering.workers import Workers
from projector.scene.reading.reader import with_overrides
from projector.stage.haze import air_of
from projector.stage.stage import Stage
from projector.tracing.light.air_reference import add_haze_by_rays, add_shine_haze_by_rays
from tests.conftest import mostly_slow

THIN = {"extinction_per_m": 0.05, "forward": 0.0}
BEHIND = {"position_m": [0.0, 1.5, -40.0], "width_m": 60.0, "height_m": 60.0}
# Beside the beam, square to it; only far behind stands a wall, so that all that is seen is air.
FROM_ASIDE = {"position_m": [3.0, 1.5, 0.5], "aim": [0.0, 1.5, 0.5], "focal_length_mm": 35.0}


def in_air(scene, width=48, height=36, n_samples=None, across=240):
    """Luminance (h, w) that the air alone sends through the middles of the pixels: the fast way from so many rays
    across, or, twice, by so many rays a pixel.
    """
    stage, window = Stage(scene), Window(0, height)
    quality = replace(sampling.QUALITIES["quick"], air=across)
    camera, air = stage.camera(width, height), air_of(scene)
    found = [np.zeros((width * height, 3)) for _ in range(2 if n_samples else 1)]
    with Workers(2) as workers:
        view, work = (stage.arrays, camera, window, quality), Work(workers, None)
        grid = sampling.grid_points(*view, workers)
        ends, places = ends_of(grid, camera, air), sampling.places_of(grid, camera, window, quality)
        for staged in stage.projectors:
            prepared = prepared_light.prepare_light(stage, staged, 6)
            weights = prepared.weights(np.ones((1, 71)), prepared_light.XYZ_CHANNELS)
            if n_samples is None:
                found[0] += fast_way(work, staged, prepared, weights, air, grid, view)
                continue
            directions = directions_through(camera, *places)
            for seed, out in enumerate(found):
                inputs = (stage.arrays.bvh, air, tuple(camera.position), directions, ends, weights, n_samples, seed)
                workers.run_pieces(
                    len(ends),
                    lambda start, stop, out=out, inputs=inputs, light=prepared.light: add_haze_by_rays(
                        light, *inputs, start, stop, out
                    ),
                )
    found = [item.reshape(height, width, 3)[..., 1] for item in found]
    return found if n_samples else found[0]


def fast_way(work, staged, prepared, weights, air, grid, view):
    """What a session does: coarse rays, finer ones where their light is not even, and of each what it sees."""
    emitter = prepared.light.emitter
    beam = summed.beam_of_sweep(shadows.sweep_of(prepared.light, None), prepared.light.nearest)
    rays = view_rays(work, air, view[3].air, *view)
    seen = stages.seen_in_haze(work, view[0], emitter, beam, rays)
    grids = [(rays, seen)]
    shape = replace(prepared, source=replace(prepared.source, light=staged.open_light([LINE_D_NM])))
    finer = stages.rays_in_haze(work, lambda: shape, air, rays, seen, *view)
    if finer is not None:
        grids.insert(0, (finer, stages.seen_in_haze(work, view[0], emitter, beam, finer, rays, seen)))
    light = tuple((rays, summed.summed(work, prepared, weights, air, rays, seen)) for rays, seen in grids)
    return summed.scattered(work, air, light, (grid,), *view)[0]


def open_gate(studio, camera, **others):
    """A small pupil and a gate so large that its beam is 70° wide, no stencil, a wall far behind."""
    return studio.scene(
        {"lens": {"focal_length_mm": 43.0, "f_number": 8.0}}, wall=BEHIND, camera=camera, haze={**THIN, **others}
    )


def closed_form(scene, direction, end):
    """π times the air-light of a small lens of luminance L along a ray: ∫ σ·p·L·A·cosθ/d²·exp(−σ·(t + d)) dt."""
    stage = Stage(scene)
    (staged,), air = stage.projectors, air_of(scene)
    emitter = staged.open_light([550.0]).emitter
    place, forward = np.array(scene.camera.position_m), np.array(emitter.forward)
    area = math.pi * emitter.radius**2

    def added(t):
        away = place + t * direction - np.array(emitter.position)
        distance = np.linalg.norm(away)
        cosine = max(away @ forward, 0.0) / distance
        turn = phase(-(away @ direction) / distance, air.asymmetry)
        return air.extinction * turn * area * cosine / distance**2 * math.exp(-air.extinction * (t + distance))

    found, _ = quad(added, 0.0, end, epsabs=1e-15, limit=400)
    return math.pi * staged.power.luminance * found


@pytest.mark.parametrize("forward", [0.0, 0.75, -0.3])
def test_a_wide_beam_in_haze_sends_the_air_light_of_its_closed_form(studio, forward):
    """Square to the axis through the middle of the beam; the beam's edge lies outside the picture. 64 steps of one
    degree: the middle of each for all of it is right to 1e-3 where the light changes by a tenth a step.
    """
    scene = open_gate(studio, FROM_ASIDE, forward=forward)
    expected = []
    for column in (18, 24, 30):
        camera = Stage(scene).camera(48, 36)
        direction = directions_through(camera, np.array([column + 0.5]), np.array([18.5]))[0]
        # As wide as the beam at that depth of the axis, half of 60 mm over the tube.
        expected.append(closed_form_in_beam(scene, direction))
    found = in_air(scene)[18, [18, 24, 30]]
    assert found == pytest.approx(expected, rel=4e-3)


def closed_form_in_beam(scene, direction):
    """The closed form cut to where the ray is in the beam, a cone of half the gate over the tube."""
    light = Stage(scene).projectors[0].open_light([550.0])
    place = np.array(scene.camera.position_m) - np.array(light.emitter.position)
    steps = np.linspace(0.0, 12.0, 240001)
    places = place + steps[:, None] * direction
    depth = places @ np.array(light.emitter.forward)
    aside = np.linalg.norm(places - depth[:, None] * np.array(light.emitter.forward), axis=1)
    inside = steps[(depth > 0.0) & (aside < depth * light.gate.half_width / light.tube_length)]
    first, last = inside.min(), inside.max()
    return closed_form(scene, direction, last) - closed_form(scene, direction, first)


@pytest.mark.slow
def test_rays_one_at_a_time_agree_with_the_closed_form(studio):
    """4096 of them in strata: 2 % of noise a pixel at the pupil's own size, a hundred pixels' mean under 0.5 %."""
    scene = open_gate(studio, FROM_ASIDE, forward=0.75)
    camera = Stage(scene).camera(48, 36)
    columns, rows = (item.ravel() + 0.5 for item in np.meshgrid(np.arange(18, 30), np.arange(15, 22)))
    expected = [closed_form_in_beam(scene, item) for item in directions_through(camera, columns, rows)]
    found = in_air(scene, n_samples=1024)[0][15:22, 18:30]
    assert found.mean() == pytest.approx(np.mean(expected), rel=5e-3)


def test_what_haze_absorbs_follows_beer_and_lambert(studio):
    """Haze that scatters nothing: a wall 2 m from the lens and 4 m from the camera loses exp(−σ·6 m) in the middle."""
    clear = studio.scene()
    dim = studio.scene(haze={"extinction_per_m": 0.1, "albedo": 0.0})
    before, after = (RenderSession(scene, 32, 24).exposed()[0][11:13, 15:17, 1].mean() for scene in (clear, dim))
    assert after == pytest.approx(before * math.exp(-0.6), rel=2e-4)


def test_a_light_without_a_gate_is_dimmed_on_both_its_ways_too(studio):
    """A small head 1.5 m before the wall's middle, the camera 4 m from it: exp(−σ·5.5 m). A reading counts as in clear
    air, so the power is the same.
    """
    head = {"name": "head", "kind": "hard", "position_m": [0.0, 1.5, 1.5], "aim": [0.0, 1.5, 0.0], "diameter_m": 0.02}
    head["reading"] = {"f_number": 8.0, "distance_m": 1.5}
    lamp = {"output": {"lumens": 1e-3}, "reading": None}
    clear = studio.scene(lamp, light=[head])
    dim = studio.scene(lamp, light=[head], haze={"extinction_per_m": 0.1, "albedo": 0.0})
    before, after = (RenderSession(scene, 32, 24).exposed()[0][11:13, 15:17, 1].mean() for scene in (clear, dim))
    assert after == pytest.approx(before * math.exp(-0.55), rel=2e-4)


def test_a_white_wall_in_even_light_looks_the_same_through_white_haze(studio):
    """What the haze takes of the wall it sends of the same light: Σ is one at any depth, and no energy is made."""
    room = {"ambient": {"lux": 200.0}, "wall": {"reflectance": 1.0, "width_m": 20.0, "height_m": 20.0}}
    lamp = {"output": {"lumens": 1e-3}, "reading": None}
    clear, hazy = (
        RenderSession(studio.scene(lamp, **room, **more), 32, 24).exposed()[0]
        for more in ({}, {"haze": {"extinction_per_m": 0.3, "forward": 0.8}})
    )
    assert hazy == pytest.approx(clear, rel=1e-3)


def test_haze_is_brightest_looking_towards_the_lamp_and_lifts_the_blacks(studio):
    """The same beam seen from before it and from behind the lamp, the eye as far from the axis: forward scattering."""
    towards, along = (
        in_air(
            open_gate(studio, {"position_m": [0.0, 1.5 + 0.9, z], "aim": [0.0, 1.5, 1.0]}, forward=0.75), 24, 18
        ).mean()
        for z in (-1.0, 3.0)
    )
    assert towards > 5.0 * along > 0.0


FIGURE = [{"name": "sitter", "kind": "head", "position_m": [0.0, -0.1, 0.6]}]


def relative_rmse(fast, first, second):
    """Over pixels above 2 % of the brightest hundredth and below the brightest twentieth: those look at the lens
    itself, and are white in any picture. The references' noise drops out of the product.
    """
    both = 0.5 * (first + second)
    lit = (both > 0.02 * np.percentile(both, 99)) & (both < np.percentile(both, 95))
    squared = np.mean(((fast - first) * (fast - second))[lit])
    return math.sqrt(max(squared, 0.0)) / fast[lit].mean()


VIEWS = {"from the side": [2.2, 1.7, 0.9], "towards the lamp": [0.5, 1.4, -1.2]}


@pytest.mark.slow
@pytest.mark.parametrize("view", VIEWS)
def test_shafts_and_a_heads_shadow_are_those_of_rays(studio, view):
    """A window's bars and a head in the beam. Budget: steps 0.3 %, shadows between places looked at 0.5 %, what is
    seen of the pupil and of its pattern taken apart 0.5 %, and, with a ray for 4 × 4 pixels where light is even, 1 % of
    that: together under 1.4 %, half of what a production path tracer's denoised picture is off.
    """
    scene = studio.scene(
        {
            "stencil": {"file": "window", "width_mm": 50.0},
            "gate": {"diameter_mm": 50.0},
            "lens": {"f_number": 2.0},
            "focus": {"distance_m": 1.4},
        },
        wall={"position_m": [0.0, 1.5, -3.0], "width_m": 9.0, "height_m": 6.0},
        camera={"position_m": VIEWS[view], "aim": [0.0, 1.5, 0.9], "focal_length_mm": 35.0},
        figures=FIGURE,
        haze={"loss_percent": 15.0, "over_m": 4.0},
    )
    rays = in_air(scene, 64, 48, n_samples=4096)
    assert relative_rmse(in_air(scene, 64, 48), *rays) < 0.014
    assert relative_rmse(in_air(scene, 64, 48, across=32), *rays) < 0.014


LIGHTS = {
    "panel": {"kind": "panel", "position_m": [-1.2, 1.9, 1.4], "width_m": 0.6, "height_m": 0.9},
    "hard head": {"kind": "hard", "position_m": [1.2, 2.0, -0.6], "diameter_m": 0.1},
    "tube": {"kind": "tube", "position_m": [0.9, 1.6, 0.2], "length_m": 0.8, "diameter_m": 0.05, "roll_deg": 80.0},
    "behind a grid": {"kind": "dish", "position_m": [-2.4, 2.1, 0.3], "grid": {"beam_deg": 20.0}},
}


@pytest.mark.slow
@pytest.mark.parametrize("kind", mostly_slow(LIGHTS, quick=2))
def test_lights_without_a_gate_and_a_heads_shadow_are_those_of_rays(studio, kind):
    """Budget: a ray for 2 × 2 pixels or more 1 %, steps of what is seen 0.5 %, what is seen of a wide light and
    where it goes to taken apart 0.5 %.
    """
    light = {"name": "other", "aim": "sitter.nose_tip", "output": {"lumen_seconds": 100.0}, **LIGHTS[kind]}
    scene = studio.scene(
        wall={"position_m": [0.0, 1.5, -2.0], "width_m": 9.0, "height_m": 6.0},
        camera={"position_m": [0.0, 1.6, 3.2], "aim": [0.0, 1.5, 0.6], "focal_length_mm": 35.0},
        figures=FIGURE,
        haze={"loss_percent": 15.0, "over_m": 4.0},
        light=[light],
    )
    stage, window, (width, height) = Stage(scene), Window(0, 48), (64, 48)
    quality = replace(sampling.QUALITIES["quick"], air=64)
    (staged,), air, camera = stage.lights, air_of(scene), stage.camera(width, height)
    view = (stage.arrays, camera, window, quality)
    with Workers(2) as workers:
        work, grid = Work(workers, None), sampling.grid_points(*view, workers)
        rays = view_rays(work, air, quality.air // 2, *view)
        grids = stages.shine_in_haze(work, stage.arrays, staged.shine, air, rays, *view)
        (fast,) = summed.scattered(work, air, grids, (grid,), *view)
        directions = directions_through(camera, *sampling.places_of(grid, camera, window, quality))
        found = []
        for seed in (1, 2):
            inputs = (stage.arrays.bvh, air, tuple(camera.position), directions, ends_of(grid, camera, air), 2048, seed)
            out = np.zeros(width * height)
            workers.run_pieces(
                len(out),
                lambda start, stop, inputs=inputs, out=out: add_shine_haze_by_rays(
                    staged.shine, *inputs, start, stop, out
                ),
            )
            found.append(out)
    assert relative_rmse(fast[:, 0], *found) < 0.014


def test_a_scene_without_haze_has_no_stage_of_it_and_power_retraces_nothing(studio):
    session = RenderSession(studio.scene(), 32, 24)
    session.exposed()
    assert not [name for name in session.kept.made if "haze" in name or "air" in name]
    hazy = studio.scene(haze=THIN)
    session = RenderSession(hazy, 32, 24)
    session.exposed()
    assert {"air rays", "left by haze", "seen in haze window", "look-ups in haze window"} <= set(session.kept.made)
    session.kept.made.clear()
    others = ["projector.window.reading.iso=200", "projector.window.source.temperature_k=5000"]
    session.change_to(with_overrides(hazy, others))
    session.exposed()
    assert set(session.kept.made) == {"look-ups window", "look-ups in haze window"}
    session.kept.made.clear()
    session.change_to(with_overrides(hazy, [*others, "projector.window.reading.f_number=9"]))
    session.exposed()
    assert set(session.kept.made) == {"look-ups window"}


def test_a_picture_in_haze_is_the_same_in_bands_and_on_any_number_of_threads(studio, monkeypatch):
    from projector.rendering import preview

    scene = studio.scene(figures=FIGURE, haze=THIN)
    first = preview.preview(scene, width=60, height=45, threads=1).pixels
    monkeypatch.setattr(preview, "ROWS_PER_BAND", 13)
    assert np.array_equal(preview.preview(scene, width=60, height=45, threads=3).pixels, first)


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({}, "does not say how dense"),
        ({"loss_percent": 10.0}, "loss_percent without over_m"),
        ({"over_m": 4.0}, "over_m without loss_percent"),
        ({"loss_percent": 10.0, "over_m": 4.0, "extinction_per_m": 0.1}, "two statements of density"),
    ],
)
def test_haze_says_its_density_once(studio, fields, words):
    from projector.scene.checks.cross import cross_check

    (fault,), _ = cross_check(studio.scene(haze=fields))
    assert fault.key == "haze" and words in fault.found and fault.allowed and fault.try_
