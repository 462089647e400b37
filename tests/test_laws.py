"""Laws that hold for every scene: inverse square, sums, scale, mirrors, softness, and no value that is not a number."""

from __future__ import annotations

import json
import math
import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from PIL import Image

from projector.rendering.maps.irradiance import irradiance_map
from projector.scene.checks.cross import cross_check
from projector.scene.model import Scene
from projector.studies.edges.profile import edge_by_formula, full_spectrum, place_on_surface
from projector.studies.size.landing import landing
from projector.tracing.gate.lens_law import pupil_geometry
from projector.tracing.sight.points import SURFACE

FEW = settings(max_examples=12, deadline=None, derandomize=True, database=None)
FOLDER = Path(tempfile.mkdtemp(prefix="laws-"))
_ROWS, _COLUMNS = np.indices((128, 128))
_BLOTCH = ((_ROWS // 20 + 2 * (_COLUMNS // 26)) % 3 == 0) & (_COLUMNS > 20)
Image.fromarray((_BLOTCH * 255).astype(np.uint8)).save(FOLDER / "blotch.png")
Image.fromarray((_BLOTCH[:, ::-1] * 255).astype(np.uint8)).save(FOLDER / "mirrored.png")


def scene(
    k=1.0,
    side=0.3,
    height=1.7,
    distance=2.0,
    focus=1.8,
    f_number=2.8,
    focal_length=85.0,
    yaw=0.0,
    file="blotch.png",
    wall=0.8,
    more=(),
    **lens,
):
    """A projector before a turned wall; every length times k."""
    projector = {
        "name": "p",
        "position_m": [k * side, k * height, k * distance],
        "aim": [0.0, k * 1.5, 0.0],
        "gate": {"shape": "round", "diameter_mm": k * 40.0},
        "stencil": {"file": file, "width_mm": k * 36.0},
        "lens": {"focal_length_mm": k * focal_length, "f_number": f_number, **lens},
        "focus": {"distance_m": k * focus},
        "reading": {"f_number": 8.0, "distance_m": k * 2.0},
    }
    data = {
        "camera": {"position_m": [0.0, 1.5, 9.0], "aim": [0.0, 1.5, 0.0]},
        "projector": [projector, *({**projector, **item} for item in more)],
        "surface": [
            {
                "name": "wall",
                "position_m": [0.0, k * 1.5, 0.0],
                "yaw_deg": yaw,
                "width_m": k * wall,
                "height_m": k * wall,
            }
        ],
    }
    return Scene.model_validate_json(json.dumps(data)).placed_at("law", str(FOLDER))


def light(of, n=48):
    return irradiance_map(of, "wall", n).illuminance.astype(float)


@pytest.mark.slow
@FEW
@given(st.floats(0.4, 3.0), st.floats(1.3, 3.0), st.floats(1.5, 8.0))
def test_everything_twice_as_large_looks_the_same(k, focus, f_number):
    """Lens, gate, distances times k: the same picture.

    The reading moves with it, so even the level stays. Float32 places: 1e-3.
    """
    small, large = light(scene(focus=focus, f_number=f_number)), light(scene(k, focus=focus, f_number=f_number))
    assert np.allclose(small, large, rtol=2e-3, atol=2e-3 * small.max())


@FEW
@given(st.floats(-0.8, 0.8), st.floats(-40.0, 40.0), st.floats(1.4, 3.0))
def test_a_mirrored_scene_gives_a_mirrored_map(side, yaw, focus):
    straight = light(scene(side=side, yaw=yaw, focus=focus))
    mirrored = light(scene(side=-side, yaw=-yaw, focus=focus, file="mirrored.png"))
    assert np.allclose(straight, mirrored[:, ::-1], rtol=2e-3, atol=3e-3 * max(straight.max(), 1e-9))


@FEW
@given(st.floats(-0.8, 0.8), st.floats(1.2, 2.5))
def test_two_projectors_are_the_sum_of_each(side, distance):
    other = {"name": "q", "position_m": [side, 1.4, distance]}
    both, first = light(scene(more=[other])), light(scene())
    alone = scene(side=side, height=1.4, distance=distance)
    assert np.allclose(both, first + light(alone), rtol=1e-4, atol=1e-3)


@FEW
@given(st.floats(1.5, 4.0), st.floats(1.2, 3.0))
def test_light_on_the_axis_falls_with_the_square_of_the_distance(distance, times):
    """Counted from the lens, at fixed tube length: within 0.3 % for the pupil's own size at 1.5 m and f/4."""
    open_gate = [
        irradiance_map(
            _without_stencil(scene(side=0.0, height=1.5, distance=d, f_number=4.0, wall=0.05)), "wall", 17
        ).illuminance[8, 8]
        for d in (distance, distance * times)
    ]
    assert abs(open_gate[0] / open_gate[1] / times**2 - 1.0) < 0.003


def _without_stencil(of):
    return of.model_copy(
        update={"projector": tuple(item.model_copy(update={"stencil": None}) for item in of.projector)}
    ).placed_at("law", str(FOLDER))


@FEW
@given(st.floats(0.02, 0.3), st.floats(1.05, 2.0), st.sampled_from([-1.0, 1.0]))
def test_edges_grow_softer_with_the_focus_error_either_way(error, more, sign):
    """Monotone in |1/z_f − 1/Z| (thin lens), for a lens without colour."""
    widths = []
    for amount in (error, min(error * more, 0.45)):
        found = scene(side=0.0, height=1.5, focus=1.0 / (0.5 + sign * amount))
        rays, weights = full_spectrum(found, found.projector[0])
        place = place_on_surface(found, rays, (0.0, 1.5, 0.0))
        widths.append(edge_by_formula(rays, place, "across").width(weights[:, 1]))
    assert widths[1] >= widths[0] * (1.0 - 1e-6)


@FEW
@given(*[st.floats(-2.0, 2.0)] * 2, st.floats(0.3, 4.0), st.floats(-0.2, 0.2), st.floats(-0.2, 0.2))
def test_geometry_is_the_same_from_either_end(x, y, z, ax, ay):
    """cosθ·cosθ′/r² does not know which end is the lamp (reciprocity, any radiometry text):
    faces square to the axis.
    """
    there = pupil_geometry(SURFACE, x, y, z, 0.0, 0.0, -1.0, ax, ay)
    back = pupil_geometry(SURFACE, ax - x, ay - y, z, 0.0, 0.0, -1.0, 0.0, 0.0)
    assert math.isclose(there, back, rel_tol=1e-12)


LENSES = st.fixed_dictionaries(
    {},
    optional={
        "corner_softness_mm": st.floats(-3.0, 3.0),
        "spherical_mm": st.floats(-2.0, 2.0),
        "distortion_percent": st.floats(-33.3, 40.0),
        "lateral_colour_mm": st.floats(-0.5, 0.5),
        "pupil_offset_mm": st.floats(-50.0, 50.0),
        "dispersion": st.sampled_from([{"glass": "N-SF11"}, {"abbe_number": 20.0}, {"achromat": ["N-BK7", "F2"]}]),
        "pupil": st.sampled_from([{"shape": "ring", "inner_fraction": 0.9}, {"shape": "polygon", "n_blades": 3}]),
        "filled_pupil_mm": st.floats(5.0, 60.0),
    },
)


@settings(max_examples=30, deadline=None, derandomize=True, database=None)
@given(
    LENSES,
    st.floats(0.6, 4.0),
    st.floats(0.5, 30.0),
    st.floats(0.7, 22.0),
    st.floats(-80.0, 80.0),
    st.floats(-1.5, 1.5),
)
def test_no_legal_scene_gives_what_is_not_a_number_or_less_than_nothing(lens, distance, focus, f_number, yaw, side):
    values = light(scene(distance=distance, focus=focus, f_number=f_number, yaw=yaw, side=side, **lens), 24)
    assert np.isfinite(values).all() and values.min() >= 0.0


READINGS = st.fixed_dictionaries(
    {"f_number": st.floats(0.5, 256.0), "iso": st.floats(1.0, 1e7), "distance_m": st.floats(1e-6, 1000.0)},
    optional={"shutter_s": st.floats(1e-6, 3600.0), "lens_f_number": st.floats(0.5, 256.0)},
)


@pytest.mark.slow
@settings(max_examples=40, deadline=None, derandomize=True, database=None)
@given(LENSES, READINGS, st.floats(0.5, 22.0))
def test_no_legal_reading_gives_less_than_nothing_or_an_f_number_that_is_none(lens, reading, f_number):
    """A meter inside the lens's own pupil too: the light of a disc on its axis stays above zero."""
    found = scene(distance=2.0, f_number=f_number, **lens)
    spec = found.projector[0].model_copy(update={"reading": found.projector[0].reading.model_copy(update=reading)})
    found = found.model_copy(update={"projector": (spec,)}).placed_at("law", str(FOLDER))
    assume(not cross_check(found)[0])
    values = light(found, 16)
    shown = landing(found, spec).open_gate_f_number
    assert np.isfinite(values).all() and values.min() >= 0.0
    assert math.isfinite(shown) and shown > 0.0
