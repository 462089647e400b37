"""A stencil drawn askew for a tilted wall: its corners in closed form, and the picture straight where it lands."""

from __future__ import annotations

import math

import numpy as np
import pytest

from projector.faults import SceneError
from projector.meshes.surfaces import surface_layout
from projector.optics.dispersion import LINE_D_NM
from projector.rendering.maps.irradiance import irradiance_map
from projector.stage.optics import light_arrays
from projector.studies.size.straightened import straightened
from projector.tracing.gate.chief_rays import gate_points
from tests.conftest import mostly_slow

MARK = np.zeros((512, 512))
MARK[:, :24] = MARK[:, -24:] = MARK[:24] = MARK[-24:] = 1.0
MARK[120:400, 150:200] = MARK[120:170, 150:330] = MARK[240:290, 150:280] = 1.0


def tilted(studio, yaw=30.0, pitch=0.0, projector=None, **wall):
    """A square gate with a field of 26°, 3.00 m before the middle of a wall turned by 30°."""
    side = 2e3 * math.tan(math.radians(13.0)) / (1.0 / 0.085 - 1.0 / 3.0)
    base = {
        "position_m": [0.0, 1.5, 3.0],
        "gate": {"shape": "rectangle", "diameter_mm": None, "width_mm": side, "height_mm": side},
        "focus": {"distance_m": 3.0},
        "lens": {"f_number": 16.0},
    }
    base["stencil"] = {"file": studio.bitmap("mark.png", MARK), "width_mm": side}
    return studio.scene(
        {**base, **(projector or {})}, {"yaw_deg": yaw, "pitch_deg": pitch, "width_m": 4.0, "height_m": 3.0, **wall}
    )


def test_the_picture_is_the_largest_square_in_the_landed_trapezium(studio):
    """Sides of 1.598 and 1.222 m, 1.628 m apart (projective geometry): a square against the longer side, a = 1.598/(1 +
    0.376/1.628) = 1.298 m.
    """
    scene = tilted(studio)
    found = straightened(scene, scene.projector[0])
    assert (found.width_m, found.height_m) == pytest.approx((1.298, 1.298), rel=2e-3)
    top_left, top_right, bottom_right, bottom_left = found.corners_m
    for first, middle, last in ((bottom_left, top_left, top_right), (top_left, top_right, bottom_right)):
        assert abs((first - middle) @ (last - middle)) < 1e-9
    # Upright in the room, and on the wall: x·sin 30° + z·cos 30° = 0.
    assert top_left[[0, 2]] == pytest.approx(bottom_left[[0, 2]], abs=1e-9)
    assert found.corners_m[:, 0] * 0.5 + found.corners_m[:, 2] * math.sqrt(0.75) == pytest.approx(np.zeros(4), abs=1e-6)


def test_its_corners_in_the_gate_are_those_of_a_pinhole(studio):
    """s·(x, y)/Z of each corner as seen from the lens at (0, 1.5, 3) m."""
    scene = tilted(studio)
    found = straightened(scene, scene.projector[0])
    tube = 1e3 / (1.0 / 0.085 - 1.0 / 3.0)
    depth = 3.0 - found.corners_m[:, 2]
    wanted = tube * np.column_stack([found.corners_m[:, 0] / depth, -(found.corners_m[:, 1] - 1.5) / depth])
    assert found.corners_mm == pytest.approx(wanted, abs=1e-6)


@pytest.mark.parametrize(
    "changes",
    mostly_slow(
        [
            {},
            {"pitch": 20.0, "yaw": -25.0, "projector": {"roll_deg": 20.0}},
            {
                "projector": {
                    "gate": {"shape": "round", "diameter_mm": 44.0},
                    "lens": {"f_number": 16.0, "distortion_percent": 8.0},
                    "position_m": [0.8, 1.2, 2.8],
                }
            },
            {"projector": {"lens": {"f_number": 16.0, "distortion_percent": 25.0}}},
            {"projector": {"lens": {"f_number": 16.0, "distortion_percent": -25.0}}},
        ]
    ),
    ids=["turned", "turned, pitched, rolled", "round gate, distortion, from the side", "pincushion", "barrel"],
)
def test_it_lands_as_the_picture_was_drawn(studio, changes):
    """The light over a plate where the picture lies, over that of the open gate, is the picture; the stencil as it was
    is not.

    1 % of places may differ at edges: the map's texels against the picture's, and the new stencil's own pixels.
    """
    scene = tilted(studio, **changes)
    spec = scene.projector[0]
    found = straightened(scene, spec)
    new = spec.stencil.model_copy(update={"file": studio.bitmap("new.png", found.transmission)})
    plate = scene.surface[0].model_copy(
        update={"position_m": tuple(found.corners_m.mean(axis=0)), "width_m": found.width_m, "height_m": found.height_m}
    )

    def landed(stencil):
        return irradiance_map(
            scene.model_copy(
                update={"projector": (spec.model_copy(update={"stencil": stencil}),), "surface": (plate,)}
            ).placed_at("t", scene.folder),
            n_across=128,
        ).illuminance

    # A plate both turned and pitched does not hang upright itself: each texel is looked up by its place in the room.
    places, _ = surface_layout(plate).grid(128)
    right, down = found.corners_m[1] - found.corners_m[0], found.corners_m[3] - found.corners_m[0]
    across, below = ((places - found.corners_m[0]) @ side / (side @ side) for side in (right, down))
    held = (across > 0.0) & (across < 1.0) & (below > 0.0) & (below < 1.0)
    assert held.mean() > 0.7
    open_gate = landed(None)
    held &= open_gate > 0.05 * open_gate.max()
    # A round gate lands as a circle, too.
    covered = (
        np.hypot(across - 0.5, below - 0.5) > 0.5 * spec.gate.diameter_mm / spec.stencil.width_mm
        if spec.gate.shape == "round"
        else np.zeros_like(held)
    )
    picture = (MARK[(512 * below[held]).astype(int), (512 * across[held]).astype(int)] > 0.5) & ~covered[held]
    straight, askew = (landed(stencil)[held] / open_gate[held] > 0.5 for stencil in (new, spec.stencil))
    assert (straight != picture).mean() < 0.01
    assert (askew != picture).mean() > 0.1


@pytest.mark.parametrize(
    "projector",
    mostly_slow(
        [
            {},
            {"gate": {"shape": "round", "diameter_mm": 44.0}},
            {"lens": {"f_number": 16.0, "distortion_percent": 15.0}},
        ]
    ),
    ids=["square", "round", "pincushion"],
)
def test_a_kept_size_lands_as_large_as_on_a_square_wall_and_says_what_is_cut(studio, projector):
    """26° at 3.00 m: 1.385 m (2·D·tan 13°). Where the open gate's light ends on a plate as large, so does the picture,
    by the share that is reported.

    1 % of places may differ at edges. Half a texel (1/1024) along the outer frame's cut sides, 24/512 wide, is 2 % of
    those and 0.5 % of all.
    """
    scene = tilted(studio, projector=projector)
    spec = scene.projector[0]
    found, whole = straightened(scene, spec, keep_size=True), straightened(scene, spec)
    assert (found.width_m, found.size_factor) == pytest.approx((6.0 * math.tan(math.radians(13.0)), 1.0), rel=1e-9)
    assert whole.size_factor == pytest.approx(whole.width_m / found.width_m, rel=1e-9) and whole.cut_share == 0.0
    new = spec.stencil.model_copy(
        update={"file": studio.bitmap("new.png", found.transmission), "width_mm": found.stencil_width_mm}
    )
    plate = scene.surface[0].model_copy(
        update={"position_m": tuple(found.corners_m.mean(axis=0)), "width_m": found.width_m, "height_m": found.height_m}
    )
    lit, open_gate = (
        irradiance_map(
            scene.model_copy(
                update={"projector": (spec.model_copy(update={"stencil": stencil}),), "surface": (plate,)}
            ).placed_at("t", scene.folder),
            n_across=512,
        ).illuminance
        for stencil in (new, None)
    )
    places, _ = surface_layout(plate).grid(512)
    right, down = found.corners_m[1] - found.corners_m[0], found.corners_m[3] - found.corners_m[0]
    across, below = ((places - found.corners_m[0]) @ side / (side @ side) for side in (right, down))
    picture = MARK[np.clip(512 * below, 0, 511).astype(int), np.clip(512 * across, 0, 511).astype(int)] > 0.5
    # A round gate covers the mark's corners before it is straightened: those are metal in what is to land.
    if spec.gate.shape == "round":
        picture &= np.hypot(across - 0.5, below - 0.5) < 0.5 * spec.gate.diameter_mm / spec.stencil.width_mm
    held = open_gate > 0.5 * np.median(open_gate)
    assert (((lit[held] / open_gate[held]) > 0.5) != picture[held]).mean() < 0.01
    assert 1.0 - picture[held].sum() / picture.sum() == pytest.approx(found.cut_share, abs=0.005)


def test_where_the_gate_has_room_the_bitmap_grows_and_nothing_is_cut(studio):
    scene = tilted(
        studio, projector={"gate": {"shape": "rectangle", "diameter_mm": None, "width_mm": 60.0, "height_mm": 60.0}}
    )
    spec = scene.projector[0]
    found, cut = (
        straightened(scene, spec, keep_size=True),
        straightened(tilted(studio), tilted(studio).projector[0], keep_size=True),
    )
    assert found.cut_share == 0.0 < cut.cut_share
    # Its near side is seen higher than the whole was; across it has no need of more: 0.6 m at 2.65 or 3.35 m of depth.
    assert found.stencil_width_mm == spec.stencil.width_mm
    rows, columns = found.transmission.shape
    height_mm = found.stencil_width_mm * rows / columns
    assert spec.stencil.width_mm < height_mm <= 60.0
    # No higher than the picture needs, to a pixel.
    needed = 2.0 * np.abs(found.corners_mm[:, 1]).max()
    assert height_mm == pytest.approx(needed, abs=3.0 * found.stencil_width_mm / columns)


def corner_stencil(studio, scene_width_mm):
    """A stencil of which only the upper right quarter is open."""
    values = np.zeros((256, 256))
    values[:128, 128:] = 1.0
    return {"file": studio.bitmap("corner.png", values), "width_mm": scene_width_mm}


@pytest.mark.slow
@pytest.mark.parametrize("keep_size", [True, False], ids=["kept", "largest"])
@pytest.mark.parametrize("yaw", [0.0, 30.0])
def test_what_fits_where_it_lands_stays_there(studio, yaw, keep_size):
    """In a gate of 80 × 20 mm a picture of 10 mm has room to the left and right, and stays on the axis at (0, 1.5, 0).

    The largest one, tilted, fits better elsewhere: there it goes no farther than it must.
    """
    gate = {"shape": "rectangle", "diameter_mm": None, "width_mm": 80.0, "height_mm": 20.0}
    stencil = {"file": studio.bitmap("mark.png", MARK), "width_mm": 10.0}
    # The largest picture is as high as the light: at the same distance all along the wall only on a square one.
    stencil = stencil if keep_size else {**stencil, "width_mm": 80.0}
    scene = tilted(studio, yaw=yaw, projector={"gate": gate, "stencil": stencil})
    found = straightened(scene, scene.projector[0], keep_size=keep_size)
    stays = keep_size or yaw == 0.0
    assert (np.abs(found.moved_m).max() < 1e-6) == stays
    assert (np.abs(found.corners_m.mean(axis=0) - (0.0, 1.5, 0.0)).max() < 1e-6) == stays


def test_what_is_open_stays_where_it_lands_and_not_the_middle_of_its_bitmap(studio):
    """The quarter's middle, 3 mm right and up in the gate: 3·Z/s mm at depth Z, on a wall turned by 30°: x·sin 30° +
    z·cos 30° = 0.
    """
    scene = tilted(studio, projector={"stencil": corner_stencil(studio, 12.0)})
    found = straightened(scene, scene.projector[0], keep_size=True)
    slope = 3.0 * (1.0 / 85.0 - 1.0 / 3000.0)
    depth = 3.0 / (1.0 - slope * math.tan(math.radians(30.0)))
    top_left, top_right, bottom_right, _ = found.corners_m
    middle = 0.5 * (0.5 * (top_left + top_right) + 0.5 * (top_right + bottom_right))
    assert middle == pytest.approx((slope * depth, 1.5 + slope * depth, 3.0 - depth), abs=1e-6)
    assert np.abs(found.moved_m).max() < 1e-6


def test_what_does_not_fit_where_it_lands_moves_no_farther_than_it_must(studio):
    """A picture of 0.5 m aimed 0.2 m from the edge of a square wall: 50 mm to the left and no more."""
    width_mm = 500.0 / 3.0 / (1.0 / 0.085 - 1.0 / 3.0)
    stencil = {"file": studio.bitmap("mark.png", MARK), "width_mm": width_mm}
    lamp = {"stencil": stencil, "position_m": [0.3, 1.5, 3.0], "aim": [0.3, 1.5, 0.0]}
    scene = tilted(studio, yaw=0.0, projector=lamp, width_m=1.0)
    found = straightened(scene, scene.projector[0], keep_size=True)
    assert found.moved_m == pytest.approx((-0.05, 0.0), abs=1e-6) and found.cut_share == 0.0
    assert found.corners_m[1, 0] == pytest.approx(0.5, abs=1e-6)


def test_on_a_floor_up_is_away_from_the_light(studio):
    scene = tilted(
        studio,
        yaw=0.0,
        pitch=90.0,
        projector={"aim": [0.0, 0.0, 0.0], "position_m": [0.0, 2.0, 2.0]},
        position_m=[0.0, 0.0, 0.0],
        width_m=8.0,
        height_m=8.0,
    )
    found = straightened(scene, scene.projector[0])
    assert found.corners_m[:2, 2].max() < found.corners_m[2:, 2].min()
    assert found.corners_m[1, 0] > found.corners_m[0, 0]


def test_the_wall_ends_the_picture_too(studio):
    scene = tilted(studio, width_m=0.8)
    assert straightened(scene, scene.projector[0]).width_m == pytest.approx(0.8, rel=1e-6)


@pytest.mark.parametrize("percent", mostly_slow([-25.0, 0.0, 25.0]))
def test_all_of_the_picture_lies_in_the_light(studio, percent):
    """Its border left the gate within its square; with pincushion the light's own sides bend inwards between the
    corners.
    """
    scene = tilted(studio, yaw=0.0, projector={"lens": {"f_number": 16.0, "distortion_percent": percent}})
    found = straightened(scene, scene.projector[0])
    light = light_arrays(scene, scene.projector[0], [LINE_D_NM])
    share = np.linspace(0.0, 1.0, 101)[:, None]
    border = np.concatenate(
        [
            (1.0 - share) * first + share * last
            for first, last in zip(found.corners_m, np.roll(found.corners_m, -1, axis=0), strict=True)
        ]
    )
    reach = np.abs(gate_points(light, border)).max()
    # It is no smaller than need be: it touches.
    assert reach == pytest.approx(light.gate.half_width, rel=1e-6)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"projector": {"stencil": None}}, "no stencil"),
        ({"shape": "box", "width_m": 1.0, "height_m": 1.0, "depth_m": 1.0}, "meets wall"),
        ({"yaw": 80.0}, "never lands"),
        ({"projector": {"aim": [0.0, 5.0, 3.0001]}}, "meets nothing"),
    ],
)
def test_where_nothing_can_be_straight_that_is_said(studio, changes, words):
    scene = tilted(studio, **changes)
    with pytest.raises(SceneError, match=words):
        straightened(scene, scene.projector[0])


def test_a_black_stencil_cannot_be_straight(studio):
    scene = tilted(
        studio, projector={"stencil": {"file": studio.bitmap("black.png", np.zeros((64, 64))), "width_mm": 30.0}}
    )
    with pytest.raises(SceneError, match="lets no light through"):
        straightened(scene, scene.projector[0])
