"""The few numbers that matter about a projector as it stands: how large the pattern lands, how soft,
and from how far.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from projector.meshes.mesh import Mesh
from projector.optics import thin_lens
from projector.optics.dispersion import LINE_D_NM
from projector.photometry.exposure import (
    f_number_for_light,
    stops_between_f_numbers,
)
from projector.shown import Shown
from projector.stage.optics import opening_before
from projector.stage.power import open_gate_on_axis
from projector.stage.stage import AnyProjector, SceneOrStage, StagedProjector, projector_on, stage_of
from projector.stage.surfaces import SceneArrays
from projector.studies.edges.profile import axial_edge_width, full_spectrum
from projector.studies.light.light_at import FEW_SAMPLES, axis_point, light_at
from projector.tracing.gate.chief_rays import landed_half_slopes, opening_half_sizes
from projector.tracing.gate.lens_law import Projection
from projector.tracing.rays.bvh import Bvh, build_bvh, closest_hits
from projector.tracing.rays.first_hits import camera_points, empty_points
from projector.tracing.rays.surfaces import PinholeCamera


@dataclass(frozen=True, repr=False)
class Landing(Shown):
    """Where one projector's axis lands and what its pattern is like there. Metres and millimetres as named.

    throw_m: along the axis from the pupil; pattern sizes are those on a plane square to the axis there, middle to
        middle of opposite sides and with the lens's distortion, as is the beam's angle across the gate; magnification
        is that on the axis. edge_width_mm on the same plane is 10–90 % of the luminance of all wavelengths together;
        blur_mm is yellow's blur disc. open_gate_f_number is what a flat meter there shows at the camera's ISO and
        shutter, open_gate_stops_over how far that is over the camera's own f-number (under it: below 0). no_light: why
        none of its light falls there, None where it does; then nothing meters there either. Of a lamp without a lens
        throw_m counts from its place and sharp_at_m is that of its card; it has no tube_length_mm.
    """

    projector: str
    lands_on: str | None
    throw_m: float
    pattern_width_m: float
    pattern_height_m: float
    magnification: float
    beam_angle_deg: float
    tube_length_mm: float | None
    sharp_at_m: float | None
    blur_mm: float
    edge_width_mm: float
    open_gate_f_number: float | None
    open_gate_stops_over: float | None
    no_light: str | None = None

    def _line(self) -> str:
        where = f"{self.projector} on {self.lands_on or 'nothing'}, {self.throw_m:.3f} m away"
        if self.no_light is not None:
            return f"{where}: no light there, {self.no_light}"
        return f"{where}: {self.pattern_width_m:.3f} × {self.pattern_height_m:.3f} m, edges {self.edge_width_mm:.2f} mm"


def over_or_under(stops: float, even: str) -> str:
    """How far light lies over or under what a camera is set to, in words; `even` where neither."""
    return f"{abs(stops):.1f} stops {'over' if stops > 0.0 else 'under'}" if abs(stops) >= 0.05 else even


def axis_hits(light: Projection, arrays: SceneArrays) -> tuple[float, str | None]:
    """Distance along the axis to the first surface and its name; inf and None if the axis meets nothing."""
    camera = PinholeCamera(
        light.emitter.position, light.emitter.right, light.emitter.down, light.emitter.forward, 1e-3, 1e-3, 1, 1
    )
    points = empty_points(1)
    triangles = np.empty(1, np.int32)
    camera_points(arrays.bvh, arrays.surfaces, camera, np.array([0.5]), np.array([0.5]), 1.0, 0, 1, points, triangles)
    if triangles[0] < 0:
        return math.inf, None
    distance = float(np.dot(points.positions[0].astype(float) - light.emitter.position, light.emitter.forward))
    return distance, arrays.names[int(points.owners[0])]


def pattern_size(light: Projection, distance: float) -> tuple[float, float]:
    """Width and height (m) of gate and bitmap on a plane square to the axis, middle to middle of opposite sides, with
    distortion.
    """
    across, up = landed_half_slopes(light, *opening_half_sizes(light))
    return 2.0 * across * distance, 2.0 * up * distance


def landing(stage: SceneOrStage, projector: AnyProjector = None) -> Landing:
    """Where a projector of a scene lands, by the thin-lens formulas and its distortion.

    SceneError where the scene, or the projector's name, is wrong; a name may be left out where there is one projector.

    >>> landing("01-square-wall", "window")
    <Landing: window on wall, 2.500 m away: 1.023 × 1.023 m, edges 0.00 mm>
    """
    staged = projector_on(stage, projector)
    stage, spec, focus, light = staged.stage, staged.spec, staged.focus, staged.light([LINE_D_NM])
    throw, name = axis_hits(light, stage.arrays)
    if name is None:
        throw = abs(focus.sharp_distance)
    beam_slope, _ = landed_half_slopes(light, light.gate.half_width, light.gate.half_height)
    magnification = thin_lens.magnification(focus.tube_length, throw)
    inverse_sharp = float(light.inverse_sharp[0])
    blur = 2.0 * light.emitter.radius * abs(throw * inverse_sharp - 1.0)
    spectral, weights = full_spectrum(stage, staged)
    no_light = None if name is None else _no_light(staged)
    camera = stage.scene.camera
    is_metered = staged.power.is_stated and no_light is None
    metered = open_gate_meter(stage, staged, light, throw, camera.iso) if is_metered else None
    width, height = pattern_size(light, throw)
    edge = axial_edge_width(spectral, weights[:, 1], throw)
    sharp_at = 1.0 / inverse_sharp if inverse_sharp > 0.0 else None
    if spec.lens is None:
        # Of light from far away, whose place is its card's, distances count from there.
        throw, sharp_at = throw + opening_before(spec), focus.tube_length + opening_before(spec)
    return Landing(
        projector=spec.name,
        lands_on=name,
        throw_m=throw,
        pattern_width_m=width,
        pattern_height_m=height,
        magnification=magnification,
        beam_angle_deg=math.degrees(2.0 * math.atan(beam_slope)),
        tube_length_mm=None if spec.lens is None else 1e3 * focus.tube_length,
        sharp_at_m=sharp_at,
        blur_mm=1e3 * blur,
        edge_width_mm=1e3 * edge,
        open_gate_f_number=metered,
        open_gate_stops_over=None if metered is None else float(stops_between_f_numbers(metered, camera.f_number)),
        no_light=no_light,
    )


def _no_light(staged: StagedProjector) -> str | None:
    """Why a projector's light does not fall where its axis lands: on the back of a wall, or cut off by a blade; None
    where it does.
    """
    stage = staged.stage
    found = light_at(stage, staged, axis_point(stage, staged), FEW_SAMPLES)
    return None if found.has_edges else found.words


def open_gate_meter(
    stage: SceneOrStage, projector: AnyProjector, light: Projection, distance: float, iso: float
) -> float:
    """F-number that a flat meter at an ISO (and the camera's shutter) shows for the open gate at a distance (m) on the
    axis.
    """
    staged = projector_on(stage, projector)
    power = staged.power
    shutter_s = None if power.is_flash else staged.stage.scene.camera.shutter_s
    return f_number_for_light(power.luminance * open_gate_on_axis(light, distance), iso, shutter_s)


@dataclass(frozen=True, repr=False)
class CameraBlur(Shown):
    """Blur that the real camera would add at a surface behind or before what it is focused on; the preview is a
    pinhole's.
    """

    in_one_line = "{surface}, {distance_m:.3f} m away, focused at {focused_at_m:.3f} m: {blur_mm:.2f} mm"

    surface: str
    distance_m: float
    focused_at_m: float
    blur_mm: float


def camera_blur(stage: SceneOrStage) -> list[CameraBlur]:
    """The camera's own blur disc (mm, on the surface) at the middle of each of the scene's surfaces.

    >>> camera_blur("01-square-wall")
    [<CameraBlur: wall, 3.517 m away, focused at 3.517 m: 0.00 mm>]
    """
    stage = stage_of(stage)
    camera = stage.scene.camera
    position = np.asarray(camera.position_m, float)
    forward = stage.point(camera.aim) - position
    forward /= np.linalg.norm(forward)
    focused = float((stage.point(camera.focus if camera.focus is not None else camera.aim) - position) @ forward)
    pupil = camera.focal_length_mm * 1e-3 / camera.f_number
    found = []
    for item in stage.objects[: len(stage.scene.surface)]:
        distance = _distance_along(item.mesh, position, forward)
        if distance is not None and focused > 0.0:
            blur = thin_lens.blur_circle_diameter(pupil, focused, distance)
            found.append(CameraBlur(item.spec.name, distance, focused, 1e3 * blur))
    return found


def _distance_along(mesh: Mesh, position, forward) -> float | None:
    """Where the camera's axis meets a mesh, else the depth of its middle; None if that is behind the camera."""

    distance = _first_hit(build_bvh(mesh.vertices, mesh.triangles), position, forward)
    if distance is None:
        distance = float((mesh.vertices.mean(axis=0) - position) @ forward)
    return distance if distance > 0.0 else None


def _first_hit(bvh: Bvh, position, forward) -> float | None:
    t, faces = np.empty(1), np.empty(1, np.int32)
    u, v = np.empty(1), np.empty(1)
    closest_hits(bvh, position[None, :], forward[None, :], 0.0, 1e6, 0, 1, t, faces, u, v)
    return float(t[0]) if faces[0] >= 0 else None
