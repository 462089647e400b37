"""Mitsuba's thin-lens camera as a judge of the projector, by reciprocity: light goes both ways along the same path.

A camera with the projector's lens whose film stands in the gate sees a glowing patch of wall as strongly, summed over
the openings of a stencil, as the projector lights that patch through them (Helmholtz reciprocity; E. Veach, "Robust
Monte Carlo Methods for Light Transport Simulation", 1997, ch. 3–4). Mitsuba 3 knows nothing of projectors with lenses,
but its thin-lens camera (`thinlens`) is one read backwards.

A camera's pixel is the plain mean of radiance over pupil and pixel; the light on a patch carries cos⁴ of the angle at
the lens instead, so pixels are weighted by it.
"""

from __future__ import annotations

import numpy as np
import pytest

from projector.optics.thin_lens import DISC_EDGE_10_90
from projector.rendering.maps.irradiance import irradiance_map
from tests.conftest import mostly_slow

FOCAL_LENGTH, F_NUMBER, FOCUS = 0.085, 1.8, 2.0
PUPIL = FOCAL_LENGTH / F_NUMBER
TUBE = 1.0 / (1.0 / FOCAL_LENGTH - 1.0 / FOCUS)


def camera(mi, half_slope: float, width: int, height: int, samples: int):
    """A thin-lens camera at the origin looking along −z, whose film spans ±half_slope in x."""
    return {
        "type": "thinlens",
        "aperture_radius": 0.5 * PUPIL,
        "focus_distance": FOCUS,
        "fov": float(np.degrees(2.0 * np.arctan(half_slope))),
        "fov_axis": "x",
        "to_world": mi.ScalarTransform4f().look_at([0, 0, 0], [0, 0, -1], [0, 1, 0]),
        "film": {
            "type": "hdrfilm",
            "width": width,
            "height": height,
            "pixel_format": "luminance",
            "rfilter": {"type": "box"},
        },
        "sampler": {"type": "stratified", "sample_count": samples},
    }


def glowing(mi, centre, half_width: float, half_height: float, yaw_deg: float = 0.0):
    """A rectangle that glows with radiance 1 on the side of the lens."""
    transform = (
        mi.ScalarTransform4f()
        .translate(list(map(float, centre)))
        .rotate([0, 1, 0], yaw_deg)
        .scale([half_width, half_height, 1.0])
    )
    return {
        "type": "rectangle",
        "to_world": transform,
        "emitter": {"type": "area", "radiance": {"type": "rgb", "value": 1.0}},
    }


def seen(mi, sensor, patch, seed: int) -> np.ndarray:
    """The camera's picture (h, w)."""
    scene = mi.load_dict({"type": "scene", "integrator": {"type": "direct"}, "sensor": sensor, "patch": patch})
    return np.array(mi.render(scene, seed=seed))[..., 0].astype(float)


@pytest.fixture(scope="module")
def mi():
    """Mitsuba in plain C++: its compiled variant fails on glowing shapes with some versions of LLVM."""
    import mitsuba

    mitsuba.set_variant("scalar_rgb")
    return mitsuba


def projector_at_origin(**changes):
    """The projector of this file in the studio's frame: at (0, 1.5, 2), looking along −z."""
    return {
        "lens": {"focal_length_mm": 1e3 * FOCAL_LENGTH, "f_number": F_NUMBER},
        "focus": {"distance_m": FOCUS},
        "gate": {"diameter_mm": 60.0},
        **changes,
    }


@pytest.mark.parametrize("distance", mostly_slow([1.6, 2.6]), ids=["nearer than sharp", "farther than sharp"])
def test_an_edge_of_the_gate_lands_as_soft_as_a_camera_sees_an_edge_there(mi, studio, ruler, distance):
    """The profile of a glowing half of the wall in the film is that of the stencil's edge on the wall.

    Budget: 16 rows of 1024 stratified samples leave a noise of at most 0.5/√16384 = 0.004 at a pixel, 0.002 root mean
    square over the profile; pixels of a fiftieth of the edge add 0.0004.
    """
    blur = PUPIL * abs(distance / FOCUS - 1.0)
    half = 1.0 * blur / distance
    wall = glowing(mi, (2.0, 0.0, -distance), 2.0, 2.0)
    theirs = seen(mi, camera(mi, half, 100, 16, 1024), wall, 5).mean(axis=0)
    surface = {
        "width_m": 2 * half * distance,
        "height_m": max(0.001, 0.1 * half * distance),
        "position_m": [0.0, 1.5, 2.0 - distance],
    }
    maps = [
        irradiance_map(studio.scene(projector_at_origin(**more), surface), None, 100)
        for more in ({"stencil": {"file": studio.half_plane(2048), "width_mm": 60.0}}, {})
    ]
    ours = (maps[0].illuminance / maps[1].illuminance).mean(axis=0)
    assert np.sqrt(np.mean((ours - theirs) ** 2)) < 0.003
    assert np.abs(ours - theirs).max() < 0.016
    positions = (np.arange(100) + 0.5) / 50 * half * distance
    assert ruler.edge_width(positions, theirs) == pytest.approx(DISC_EDGE_10_90 * blur, rel=0.015)
    assert ruler.edge_width(positions, ours) == pytest.approx(ruler.edge_width(positions, theirs), rel=0.015)


@pytest.mark.slow
def test_patches_of_a_tilted_wall_get_the_light_that_a_camera_gets_from_them(mi, studio):
    """Nine patches across the edge of a stencil, on a wall turned by 40°: light by us over light by Mitsuba is the same
    for all.

    Budget: about 20 000 of Mitsuba's rays meet a lit patch, 0.7 %; the patch's 6 mm against an edge 13 mm soft, both
    averaged alike; the pupil's width in the cos⁴ weight, second order, under 0.1 %. Three standard errors: 2 %.
    """
    yaw, distance, half_patch, half_slope, pixels = 40.0, 2.6, 0.003, 0.011, 64
    turn = np.radians(yaw)
    along = np.array([np.cos(turn), 0.0, -np.sin(turn)])
    offsets = np.linspace(-0.010, 0.016, 9)
    slopes = (np.arange(pixels) + 0.5) / pixels * 2 * half_slope - half_slope
    across, up = np.meshgrid(slopes, slopes)
    weight = np.where(across > 0.0, 1.0, 0.0) * (1.0 + across**2 + up**2) ** -2.0
    found = []
    for index, offset in enumerate(offsets):
        centre = np.array([0.0, 0.0, -distance]) + offset * along
        picture = seen(
            mi,
            camera(mi, half_slope, pixels, pixels, 400),
            glowing(mi, centre, half_patch, half_patch, yaw),
            11 + index,
        )
        found.append(float((picture * weight).sum()))
    scene = studio.scene(
        projector_at_origin(stencil={"file": studio.half_plane(2048), "width_mm": 60.0}),
        {"width_m": 0.060, "height_m": 0.006, "position_m": [0.0, 1.5, 2.0 - distance], "yaw_deg": yaw},
    )
    light = irradiance_map(scene, None, 1200)
    places = (np.arange(1200) + 0.5) / 1200 * 0.060 - 0.030
    profile = light.illuminance.mean(axis=0)
    ours = np.array([profile[np.abs(places - offset) <= half_patch].mean() for offset in offsets])
    theirs = np.array(found)
    assert theirs[0] < 0.05 * theirs[-1] and ours[0] < 0.05 * ours[-1]
    lit = theirs > 0.1 * theirs.max()
    assert lit.sum() >= 5
    ratio = ours[lit] / theirs[lit]
    assert ratio / ratio.mean() == pytest.approx(np.ones(lit.sum()), abs=0.02)
