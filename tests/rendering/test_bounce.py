"""Light between surfaces: energy, form factors and colour against what is known, and pictures against single paths."""

from __future__ import annotations

import math

import numpy as np
import pytest

from projector.rendering.bounce import stages as bounce
from projector.rendering.prepared_light import XYZ_CHANNELS, light_source
from projector.rendering.sampling import Window, grid_points, outline_marks, quality_called
from projector.rendering.session import RenderSession
from projector.rendering.stages import Work
from projector.rendering.workers import Workers
from projector.scene.reading.reader import with_overrides
from projector.stage.stage import stage_of
from projector.tracing.bounce.reference import add_bounces_by_paths
from projector.tracing.rays.first_hits import empty_points
from projector.tracing.sight.points import chosen

WORK = Work(Workers(2), None)
ROOM = {"name": "room", "shape": "box", "position_m": [0.0, 1.5, 0.0], "width_m": 3.0, "height_m": 3.0, "depth_m": 3.0}
# A white back wall, a red one at its left and a floor, lit on the red wall and a post before it.
CORNER = [
    {"name": "back", "position_m": [0.0, 1.25, -1.0], "width_m": 2.4, "height_m": 2.5},
    {"name": "red", "position_m": [-1.2, 1.25, 0.0], "yaw_deg": 90, "width_m": 2.0, "height_m": 2.5,
     "colour": [0.7, 0.05, 0.04]},
    {"name": "floor", "position_m": [0.0, 0.0, 0.0], "pitch_deg": 90, "width_m": 2.4, "height_m": 2.0},
    {"name": "post", "shape": "box", "position_m": [0.4, 0.5, -0.3], "yaw_deg": 30,
     "width_m": 0.4, "height_m": 1.0, "depth_m": 0.4},
]  # fmt: skip
INTO_CORNER = {"position_m": [1.0, 1.6, 1.4], "aim": [-1.2, 1.1, 0.0], "lens": {"focal_length_mm": 60.0}}
CAMERA = {"position_m": [0.3, 1.4, 3.2], "aim": [0.0, 1.1, 0.0], "focal_length_mm": 32.0}


def corner(studio, **others):
    return studio.scene(INTO_CORNER, camera=CAMERA, surfaces=CORNER, **others)


def bounced_light(scene, width, height):
    """What bounces alone: the light with it less the light without (h, w, 3)."""
    session = RenderSession(scene, width, height)
    both, _ = session.exposed()
    session.change_to(with_overrides(scene, ["bounces=0"]))
    return both - session.exposed()[0]


@pytest.mark.slow
@pytest.mark.parametrize("reflectance", [pytest.param(0.5, marks=pytest.mark.slow), 0.9])
def test_a_closed_white_box_holds_the_sum_of_powers(studio, reflectance):
    """Mean light on the walls after n bounces over the direct light: Σ ρ^k, k = 0 … n, as no light gets lost; for ρ 0.5
    1, 1.5, 1.75, 1.875 (check value K9; the Neumann series of radiosity, C. Goral and others, SIGGRAPH 1984).

    Squares at the walls' edges count for a little more than their share: up to half a thousandth a bounce.
    """
    scene = studio.scene(surfaces=[{**ROOM, "reflectance": reflectance}])
    stage, quality = stage_of(scene), quality_called("quick")
    cloud = bounce.cloud(WORK, stage.arrays, 0)
    between = bounce.between(WORK, stage.arrays, cloud)
    source = light_source(stage.projectors[0], quality.n_wavelengths)
    shape, _ = bounce.shape_of(source.power.spectrum)
    # Light on one wall only, and not the same all over it.
    x, _, z = cloud.points.positions.T
    is_lit = (cloud.samples.sides % 2 == 1) & (z < -1.499)
    first = np.where(is_lit, 1.0 + x, 0.0)[:, None] * np.full(bounce.N_BANDS, reflectance, np.float32)
    areas = np.bincount(cloud.samples.sides, cloud.samples.areas, cloud.cells.n_sides)
    held = [
        float(areas @ bounce.bounced_on(WORK, first, shape, stage.reflectances, cloud, between, n).mean(axis=1))
        for n in range(1, 5)
    ]
    wanted = [sum(reflectance**k for k in range(n)) for n in range(1, 5)]
    assert np.array(held) / held[0] == pytest.approx(wanted, rel=2e-3)


@pytest.mark.parametrize(
    ("turn", "place", "factor"),
    [({}, [0.0, 1.5, 3.0], 0.199825), ({"pitch_deg": 90}, [0.0, 0.0, 1.5], 0.200044)],
    ids=["parallel plates", "plates at a right angle"],
)
def test_two_plates_exchange_their_form_factor(studio, turn, place, factor):
    """Squares face to face, as far apart as they are wide, or with an edge in common: J. R. Howell, A Catalog of
    Radiation Configuration Factors, C-11 and C-14.

    Some 22 000 places with 16 rays each stand for a plate: 0.34 % were every ray drawn by chance alone.
    """
    plates = [
        {"name": "sends", "position_m": [0.0, 1.5, 0.0], "width_m": 3.0, "height_m": 3.0},
        {"name": "takes", "position_m": place, "width_m": 3.0, "height_m": 3.0, **turn},
    ]
    arrays = stage_of(studio.scene(surfaces=plates)).arrays
    cloud = bounce.cloud(WORK, arrays, 0)
    met = bounce.between(WORK, arrays, cloud).met
    on_sender = cloud.points.owners == 0
    sent = np.zeros((cloud.cells.n_sides, 3), np.float32)
    sent[cloud.samples.sides[on_sender]] = 1.0
    arrived = bounce.arriving_at(WORK, met, sent)[:, 0]
    takes = (cloud.points.owners == 1) & (arrived > 0.0)
    areas = np.where(cloud.points.owners == 1, cloud.samples.areas, 0.0)
    assert 0.4 < takes.sum() / (~on_sender).sum() <= 0.5001
    assert areas @ arrived / 9.0 == pytest.approx(factor, rel=5e-3)


def paths_at(scene, rows, points, n_side, seed):
    """XYZ (n, 3) that come over other surfaces, by n_side² single paths a point."""
    stage = stage_of(scene)
    total = np.zeros((rows.size, 3))
    for staged in stage.projectors:
        source = light_source(staged, 36)
        spectrum = staged.power.spectrum
        at_nodes = (stage.reflectances * spectrum) @ source.hat.T / (spectrum @ source.hat.T)
        out, through = np.zeros((rows.size, 36)), np.zeros((rows.size, 36))
        scratch, arrays = empty_points(rows.size), stage.arrays

        def work(start, stop, parts=(source.light, at_nodes, scratch, through, out), arrays=arrays):
            light, reflectances, scratch, through, out = parts
            add_bounces_by_paths(
                light, arrays.bvh, arrays.surfaces, reflectances, points, scratch, through, n_side, scene.bounces, seed,
                start, stop, out,
            )  # fmt: skip

        WORK.workers.run_pieces(rows.size, work, piece=64)
        weights = source.weights(stage.reflectances, XYZ_CHANNELS)
        total += np.einsum("pn,pnc->pc", out, weights[points.materials])
    return total


def relative_rmse(fast, first, second):
    """As in `test_fast_against_reference`: two references, whose chance drops out of the product."""
    return math.sqrt(max(float(np.mean((fast - first) * (fast - second))), 0.0)) / float(fast.mean())


@pytest.mark.slow
@pytest.mark.parametrize("bounces", [1, pytest.param(3, marks=pytest.mark.slow)])
def test_the_light_that_bounces_agrees_with_single_paths(studio, bounces):
    """A sample of a picture's points away from outlines, where several points share a pixel: under 2 % in luminance.

    On the mean each of X, Y and Z agrees to 1 %: bands and the paths' 36 wavelengths cut a red wall's edge differently.
    With twelve bands the luminance of what it sends was 3.5 % too high.
    """
    scene = corner(studio, bounces=bounces)
    size = (480, 360)
    session = RenderSession(scene, *size)
    fast = bounced_light(scene, *size).reshape(-1, 3)
    camera, quality, window = session.stage.camera(*size), quality_called("quick"), Window(0, size[1])
    grid = grid_points(session.stage.arrays, camera, window, quality, WORK.workers)
    marks = outline_marks(grid, camera, window, quality, WORK.workers)
    rows = np.flatnonzero((grid.points.materials >= 0) & ~marks)
    rows = np.sort(np.random.default_rng(3).choice(rows, 1200, replace=False))
    points = chosen(grid.points, rows)
    paths = [paths_at(scene, rows, points, 40, seed) for seed in (11, 12)]
    assert relative_rmse(fast[rows, 1], paths[0][:, 1], paths[1][:, 1]) < 0.02
    assert fast[rows].mean(axis=0) == pytest.approx((paths[0] + paths[1]).mean(axis=0) / 2.0, rel=1e-2)


def test_a_red_wall_bounces_red(studio):
    """Near a red wall a white one takes its colour: of what bounces there more than three quarters is red."""
    scene = corner(studio, bounces=1)
    session = RenderSession(scene, 96, 72)
    light = bounced_light(scene, 96, 72)
    _, matrix = session.exposed()
    red, green, blue = light[20, 26] @ matrix.T
    assert red > 3.0 * max(green, blue) > 0.0


def test_light_stays_on_its_side_of_a_thin_board(studio):
    """A board stands between two rooms that share nothing: what is lit on one side sends nothing to the other."""
    plates = [
        {"name": "board", "position_m": [0.0, 1.5, 0.0], "width_m": 4.0, "height_m": 4.0},
        {"name": "lit", "position_m": [0.0, 1.5, 0.5], "yaw_deg": 180, "width_m": 1.0, "height_m": 1.0},
        {"name": "dark", "position_m": [0.0, 1.5, -0.5], "width_m": 1.0, "height_m": 1.0},
    ]
    light = {"position_m": [0.0, 1.5, 0.05], "aim": [0.0, 1.5, 0.5], "focus": {"distance_m": 0.5}}
    camera = {"position_m": [3.0, 1.5, -2.0], "aim": [0.0, 1.5, -0.3]}
    scene = studio.scene(light, camera=camera, surfaces=plates, bounces=4)
    assert bounced_light(scene, 96, 72).max() == 0.0


def test_without_bounces_nothing_of_it_is_made(studio):
    session = RenderSession(corner(studio), 48, 36)
    session.rgb_bytes()
    assert not {"cloud", "gather", "between"} & set(session.kept.made)


def test_a_light_changes_without_tracing_rays_between_surfaces_anew(studio):
    """Another level makes nothing of it at all; another colour, stop or focus only what follows from the light."""
    scene = corner(studio, bounces=2)
    session = RenderSession(scene, 48, 36)
    session.rgb_bytes()

    def made_by(*changes):
        del session.kept.made[:]
        session.change_to(with_overrides(scene, changes))
        session.rgb_bytes()
        return set(session.kept.made)

    assert not [name for name in made_by("projector.window.reading.f_number=11") if "bounced" in name or "sent" in name]
    for change in ("projector.window.source.temperature_k=3300", "projector.window.lens.f_number=5.6"):
        assert "sent window" in (made := made_by(change)) and not {"cloud", "gather", "between"} & made
    assert {"cloud", "gather", "between"} <= made_by("surface.post.width_m=0.5")


def test_bands_and_threads_change_nothing(studio):
    """Several rows at a time, as fine pictures are made, on one thread or several: the same light."""
    scene = corner(studio, bounces=1)
    whole = RenderSession(scene, 80, 60, "quick", Workers(1)).exposed()[0]
    session = RenderSession(scene, 80, 60, "quick", WORK.workers, Window(20, 41))
    assert np.array_equal(session.exposed()[0][1:-1], whole[21:40])
