"""What shines of a light without gate and lens, as arrays: its place, its size and how its luminance falls off."""

from __future__ import annotations

import math
from functools import lru_cache
from pathlib import Path

import numpy as np

from projector.files.candela_table import Photometry
from projector.files.finding import find_file
from projector.files.photometric import read_photometric_file
from projector.geometry import Pose
from projector.optics.honeycomb import depth_over_cell_for_beam, honeycomb_transmission
from projector.scene.model.light import USUAL_SIZES, needed_size, size_of
from projector.scene.placement import file_stamp, point_of
from projector.tracing.light.area import fill_open
from projector.tracing.light.shine import BALL, FLAT, TUBE, Shine, angles_of_table, make_shine
from projector.tracing.sight.emitter import Emitter, make_emitter
from projector.tracing.sight.outline import Outline, make_outline
from projector.tracing.sight.points import DOME, IN_AIR, SURFACE, Points

SINGLE_LAYER_RIM_STOPS = 1.0
"""How much dimmer the rim of a panel behind a single layer is than its middle: common practice, no source."""
STOPS_A_LAYER = 1.0
"""What a layer of diffusion costs: common practice, no source."""
# Turns about the axis at which a measured light's intensity is tabulated; a light that is small has this radius (m).
_N_TURNS, _SMALLEST_M = 72, 0.005
# Where a beam ends: 10 stops under its middle, less than strays in any lamp (common practice, no source).
_BEAM_ENDS = 2.0**-10
# Below this cosine an intensity is no longer divided by it: a flat light seen edge on has no luminance to speak of.
_LEAST_COSINE = 0.02
_RECEIVERS = {"flat": SURFACE, "dome": DOME}


def photometry_of(scene, spec) -> Photometry:
    """The LM-63 file of a measured light. SceneError with all that is wrong with it."""
    return _read(*file_stamp(_file_of(scene, spec)))


def _file_of(scene, spec) -> Path:
    return find_file(spec.file, scene.folder, "photometric")


@lru_cache(maxsize=16)
def _fall_of_file(path: str, changed: int, size: int) -> np.ndarray:
    return _fall_of(_read(path, changed, size))


@lru_cache(maxsize=16)
def _read(path: str, _changed: int, _size: int) -> Photometry:
    return read_photometric_file(path)


def shine_of(scene, spec) -> Shine:
    """What shines of a light of a Scene."""
    pose = Pose.looking_at(spec.position_m, point_of(scene, spec.aim), spec.roll_deg)
    if spec.kind == "measured":
        photometry = photometry_of(scene, spec)
        outline, radius = make_outline("disc"), _radius_of_opening(photometry, spec.diameter_m)
        fall = _fall_of_file(*file_stamp(_file_of(scene, spec)))
        return make_shine(_emitter(pose, outline, radius), BALL, fall)
    outline, radius = _outline_of(spec)
    emitter = _emitter(pose, outline, radius)
    if spec.kind == "tube":
        return make_shine(emitter, TUBE)
    if spec.kind == "bare":
        return make_shine(emitter, BALL)
    rim = SINGLE_LAYER_RIM_STOPS if spec.layers == 1 else 0.0
    return make_shine(emitter, FLAT, _fall_of_flat(spec), rim, spec.recess_m or 0.0)


def _emitter(pose: Pose, outline: Outline, radius: float) -> Emitter:
    position, *axes = ((float(item[0]), float(item[1]), float(item[2])) for item in (pose.position, *pose.rotation.T))
    return make_emitter(position, tuple(axes), outline, radius)


def _outline_of(spec) -> tuple[Outline, float]:
    """Outline of what shines and the radius (m) that it is scaled by."""
    if spec.kind == "tube":
        length, diameter = needed_size(spec, "length_m"), needed_size(spec, "diameter_m")
        return make_outline("rectangle", aspect=length / diameter), math.sqrt(length * diameter / math.pi)
    if spec.diameter_m is None and "width_m" in USUAL_SIZES[spec.kind]:
        width, height = needed_size(spec, "width_m"), needed_size(spec, "height_m")
        return make_outline("rectangle", aspect=width / height), math.sqrt(width * height / math.pi)
    radius = 0.5 * needed_size(spec, "diameter_m")
    if spec.n_sides is None:
        return make_outline("disc"), radius
    # A side lies level at the bottom; the outline is scaled by the disc of its area, the scene says its corners.
    polygon = make_outline("polygon", spec.n_sides, 90.0 - 180.0 / spec.n_sides)
    return polygon, radius / polygon.circumradius


def _fall_of_flat(spec) -> np.ndarray | None:
    """Luminance (1, N_ANGLES) of a flat light by angle, None where it is the same in all directions."""
    beam = size_of(spec, "beam_deg")
    field = None if beam is None else needed_size(spec, "field_deg")
    return _fall_by_angle(beam, field, None if spec.grid is None else grid_depth(spec.grid))


@lru_cache(maxsize=64)
def _fall_by_angle(beam: float | None, field: float | None, depth: float | None) -> np.ndarray | None:
    """The same by beam and field, degrees, and a grid's depth over its cell width."""
    angles = angles_of_table()
    cosines = np.cos(angles)
    fall = np.where(cosines > 0.0, 1.0, 0.0)
    if beam is not None and field is not None:
        fall = fall * beam_intensity(angles, beam, field) / np.maximum(cosines, _LEAST_COSINE)
    if depth is not None:
        tangents = np.tan(np.minimum(angles, 0.5 * math.pi - 1e-9))
        fall = fall * np.array([honeycomb_transmission(float(tangent), depth) for tangent in tangents])
    return None if beam is None and depth is None else fall[None, :]


def beam_intensity(angles: np.ndarray, beam_deg: float, field_deg: float) -> np.ndarray:
    """Intensity over that on the axis at angles (n,) radians: half at the edge of the beam, a tenth at that of the
    field (CIE ILV 17-27-046 and its field angle), and a smooth bell through both, 2^−(θ/θ_beam)^p, that ends ten stops
    down.
    """
    steepness = math.log(math.log(10.0) / math.log(2.0)) / math.log(field_deg / beam_deg)
    intensity = np.exp2(-((np.degrees(angles) / (0.5 * beam_deg)) ** steepness))
    return np.where(intensity < _BEAM_ENDS, 0.0, intensity)


def grid_depth(grid) -> float:
    """Depth over cell width of a grid."""
    if grid.beam_deg is not None:
        return depth_over_cell_for_beam(grid.beam_deg)
    return grid.depth_mm / grid.cell_mm


def _fall_of(photometry: Photometry) -> np.ndarray:
    """Intensity (n_turns, N_ANGLES) of a measured light over the largest."""
    angles, turns = angles_of_table(), 2.0 * math.pi * np.arange(_N_TURNS) / _N_TURNS
    sines, cosines = np.sin(angles), np.cos(angles)
    directions = np.stack(
        [np.outer(np.cos(turns), sines), np.outer(np.sin(turns), sines), np.tile(cosines, (_N_TURNS, 1))], axis=-1
    )
    intensity = photometry.intensity(directions.reshape(-1, 3)).reshape(_N_TURNS, -1)
    return intensity / photometry.candela.max()


def _radius_of_opening(photometry: Photometry, diameter: float | None) -> float:
    """Radius (m) of a disc as large as a file's luminous opening seen from its axis, or as the scene says."""
    if diameter is not None:
        return 0.5 * diameter
    width, length, _ = photometry.opening_m
    if width < 0.0 or length < 0.0:
        return max(0.5 * max(abs(width), abs(length)), _SMALLEST_M)
    return max(math.sqrt(width * length / math.pi), _SMALLEST_M)


def light_of(shine: Shine, places: np.ndarray, normals: np.ndarray, receiver: int = SURFACE) -> np.ndarray:
    """E/L (n,) sr on places (n, 3) m with normals (n, 3), nothing between."""
    places, normals = (np.ascontiguousarray(item, np.float32).reshape(-1, 3) for item in (places, normals))
    count = len(places)
    zeros = np.zeros(count, np.int32)
    out = np.empty(count)
    points = Points(places, normals, normals, places, np.zeros(count, np.float32), zeros, zeros, receiver)
    fill_open(shine, points, 0, count, out)
    return out


def turned_to(shine: Shine, place: np.ndarray, receptor: str = "flat") -> float:
    """E/L (sr) that a meter at a place (3,) m, turned to the light's middle, gets with nothing between."""
    towards = np.array(shine.emitter.position) - place
    return float(light_of(shine, place, towards / np.linalg.norm(towards), _RECEIVERS[receptor])[0])


def flux_of(shine: Shine, n_angles: int = 400, n_turns: int = 48) -> float:
    """Luminous flux over luminance (m² sr): the light on a large sphere round it, Gauss's rule over √(1 − cosθ) and
    even steps round the axis (P. Davis & P. Rabinowitz, Methods of Numerical Integration).
    """
    nodes, weights = np.polynomial.legendre.leggauss(n_angles)
    # Half of the places before the light, half behind it: what a flat light sends ends at its own plane.
    far, total = 1000.0 * max(shine.emitter.reach, 1e-3), 0.0
    axes = np.array([shine.emitter.right, shine.emitter.down, shine.emitter.forward])
    turns = 2.0 * math.pi * (np.arange(n_turns) + 0.5) / n_turns
    for low, high in ((0.0, 1.0), (1.0, math.sqrt(2.0))):
        step = low + 0.5 * (nodes + 1.0) * (high - low)
        cosines = 1.0 - step**2
        sines = np.sqrt(np.maximum(1.0 - cosines**2, 0.0))
        local = np.stack(
            [np.outer(sines, np.cos(turns)), np.outer(sines, np.sin(turns)), np.tile(cosines[:, None], (1, n_turns))],
            axis=-1,
        ).reshape(-1, 3)
        directions = local @ axes
        light = light_of(shine, np.array(shine.emitter.position) + far * directions, -directions, IN_AIR)
        shares = np.repeat(0.5 * weights * (high - low) * 2.0 * step, n_turns) * 2.0 * math.pi / n_turns
        total += float((light * shares).sum()) * far * far
    return total


def grid_share(spec, scene) -> float:
    """Share of a light's flux that its grid lets pass; 1 without one."""
    if spec.grid is None:
        return 1.0
    return flux_of(shine_of(scene, spec)) / flux_of(shine_of(scene, spec.model_copy(update={"grid": None})))
