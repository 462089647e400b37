"""The one bridge from a scene to arrays: meshes, camera and projectors, flat and in SI, as kernels want them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from projector.geometry import Pose
from projector.optics import thin_lens
from projector.optics.dispersion import lateral_colour_share, relative_power
from projector.optics.distortion import area_growth
from projector.photometry import filters
from projector.photometry.colour import reflectance_from_linear_srgb
from projector.photometry.exposure import C_FLAT, METER_CONSTANTS, illuminance_for_settings, luminous_exposure_for_flash
from projector.photometry.spectra import K_M, N_WAVELENGTHS, scaled_to_luminous_one, source_spectrum
from projector.scene.stated_power import CarriedOver, carried_over, stated_lens
from projector.tracing.bvh import Bvh, build_bvh
from projector.tracing.gate_image import Bitmap, Gate, open_bitmap, rectangular_gate, round_gate
from projector.tracing.light_path import Blades, Light, half_plane, without_blades
from projector.tracing.pupil import Pupil, make_pupil, projection_table
from projector.tracing.smooth_surface import clearances_of

FRAME_WIDTH, FRAME_HEIGHT = 0.036, 0.024
_MM = 1e-3


class Surfaces(NamedTuple):
    """All meshes of a scene as one: vertices and normals (n, 3) float64, triangles (m, 3) int32, owners (m,) int32.

    owners: which object of the scene a triangle belongs to, a row of `SceneArrays.names` and of the weights
    clearances (n, 2) float32: how far (m) over the smooth surface shadow rays start, see `clearances_of`
    """

    vertices: np.ndarray
    normals: np.ndarray
    triangles: np.ndarray
    owners: np.ndarray
    clearances: np.ndarray


class Camera(NamedTuple):
    """A pinhole camera: position, right, down, forward (3,) tuples; half sizes of the picture at distance 1; pixels."""

    position: tuple
    right: tuple
    down: tuple
    forward: tuple
    half_width: float
    half_height: float
    width: int
    height: int


@dataclass(frozen=True)
class SceneArrays:
    """What stands in the scene: surfaces, their tree, and the names of their objects."""

    surfaces: Surfaces
    bvh: Bvh
    names: tuple[str, ...]


@dataclass(frozen=True)
class Power:
    """How much light a projector gives, and how it was stated.

    spectrum (71,): the luminance spectrum of the open gate on its axis seen through the lens, per nanometre, so that
    683 · ∫ spectrum · V dλ is in cd/m² for steady light and cd·s/m² for a flash; relative where nothing was stated.
    carried_over: what was taken for granted where the statement belongs to another lens or stop; None for the same one.
    """

    spectrum: np.ndarray
    is_flash: bool
    is_stated: bool
    carried_over: CarriedOver | None = None


def scene_arrays(scene) -> SceneArrays:
    """Build and place every mesh of a Scene and the tree over all of them."""
    from projector.scene.placement import placed_objects

    objects = placed_objects(scene)
    vertices, normals, triangles, owners = [], [], [], []
    n_vertices = 0
    for owner, item in enumerate(objects):
        mesh = item.mesh if item.mesh.normals is not None else _flat_shaded(item.mesh)
        vertices.append(mesh.vertices)
        normals.append(mesh.normals)
        triangles.append(mesh.triangles + n_vertices)
        owners.append(np.full(len(mesh.triangles), owner, np.int32))
        n_vertices += len(mesh.vertices)
    joined = (
        np.ascontiguousarray(np.concatenate(vertices)),
        np.ascontiguousarray(np.concatenate(normals)),
        np.ascontiguousarray(np.concatenate(triangles).astype(np.int32)),
    )
    surfaces = Surfaces(*joined, np.concatenate(owners), clearances_of(*joined))
    return SceneArrays(surfaces, build_bvh(surfaces.vertices, surfaces.triangles), tuple(item.spec.name for item in objects))


def reflectances_of(scene) -> np.ndarray:
    """Reflectance spectra (k, 71) of the scene's objects, in the order of `Surfaces.owners`."""
    return np.array([_reflectance(item) for item in (*scene.surface, *scene.figure)]).reshape(-1, N_WAVELENGTHS)


def _flat_shaded(mesh):
    """The mesh with corners of its own for every triangle, so that each can carry its triangle's normal."""
    corners = mesh.vertices[mesh.triangles]
    facets = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    facets /= np.maximum(np.linalg.norm(facets, axis=1, keepdims=True), 1e-300)
    triangles = np.arange(3 * len(corners), dtype=np.int32).reshape(-1, 3)
    return type(mesh)(corners.reshape(-1, 3), triangles, np.repeat(facets, 3, axis=0), list(mesh.notes))


def _reflectance(spec) -> np.ndarray:
    """Reflectance spectrum (71,) of a surface or a figure: its colour, or its one number at every wavelength."""
    if spec.colour is not None:
        return reflectance_from_linear_srgb(np.asarray(spec.colour, float))
    return np.full(N_WAVELENGTHS, float(spec.reflectance))


def camera_arrays(scene, width: int, height: int) -> Camera:
    """The scene's camera for a picture of width × height pixels: the largest centred crop of the 36 × 24 mm frame."""
    from projector.scene.placement import point_of

    spec = scene.camera
    pose = Pose.looking_at(spec.position_m, point_of(scene, spec.aim), spec.roll_deg)
    focal_length = spec.focal_length_mm * _MM
    across = min(FRAME_WIDTH, FRAME_HEIGHT * width / height)
    half_width = 0.5 * across / focal_length
    return Camera(_triple(pose.position), *_axes(pose), half_width, half_width * height / width, width, height)


def _triple(vector) -> tuple[float, float, float]:
    return (float(vector[0]), float(vector[1]), float(vector[2]))


def _axes(pose: Pose):
    return tuple(_triple(pose.rotation[:, axis]) for axis in range(3))


def pupil_of(scene, spec) -> tuple[Pupil, float]:
    """The pupil of a lens and half its nominal diameter (m): the stop's, or the filled disc's where that is smaller."""
    diameter = spec.focal_length_mm / spec.f_number * _MM
    if spec.filled_pupil_mm is not None and spec.filled_pupil_mm * _MM < diameter:
        return make_pupil("disc"), 0.5 * spec.filled_pupil_mm * _MM
    shape = spec.pupil
    if shape is None or shape.shape == "disc":
        return make_pupil("disc"), 0.5 * diameter
    if shape.shape == "bitmap":
        from projector.scene.placement import pupil_bitmap

        return make_pupil("bitmap", bitmap=pupil_bitmap(scene, shape)), 0.5 * diameter
    return make_pupil(shape.shape, shape.n_blades or 6, shape.rotation_deg or 0.0, shape.inner_fraction or 0.0), 0.5 * diameter


def gate_of(spec) -> Gate:
    """The gate of a projector, metres."""
    if spec.gate.shape == "round":
        return round_gate(spec.gate.diameter_mm * _MM, spec.gate.edge_falloff_stops)
    return rectangular_gate(spec.gate.width_mm * _MM, spec.gate.height_mm * _MM, spec.gate.edge_falloff_stops)


def bitmap_of(spec, scene) -> Bitmap:
    """The stencil of a projector as it lies in the gate, or an open one."""
    if spec.stencil is None:
        return open_bitmap(gate_of(spec))
    from projector.scene.placement import stencil_of

    transmission = stencil_of(scene, spec).transmission
    return Bitmap(np.ascontiguousarray(transmission, np.float32), spec.stencil.width_mm * _MM / transmission.shape[1])


def relative_powers(lens, wavelengths_nm) -> np.ndarray:
    """φ(λ)/φ(d) of a lens at wavelengths (n,) nm."""
    given = {} if lens.dispersion is None else {name: value for name, value in lens.dispersion.model_dump().items() if value is not None}
    if "achromat" in given:
        given["achromat"] = tuple(given["achromat"])
    if "secondary_spectrum_mm" in given:
        given["focal_length_mm"] = lens.focal_length_mm
    return relative_power(wavelengths_nm, **given)


@dataclass(frozen=True)
class Focus:
    """Where a projector is focused: sharp distance and tube length (m) without the offset, and the tube with it."""

    sharp_distance: float
    sharp_tube_length: float
    tube_length: float


def focus_of(scene, spec) -> Focus:
    """The focus of a projector; distances count from the pupil's centre along the axis."""
    from projector.scene.placement import point_of

    pose, origin = _pupil_place(scene, spec)
    if spec.focus.distance_m is not None:
        sharp = spec.focus.distance_m - spec.lens.pupil_offset_mm * _MM
    else:
        goal = np.asarray(point_of(scene, spec.focus.at if spec.focus.at is not None else spec.aim), float)
        sharp = float((goal - origin) @ pose.rotation[:, 2])
    tube = thin_lens.conjugate_distance(spec.lens.focal_length_mm * _MM, sharp)
    return Focus(sharp, tube, tube + spec.focus.offset_mm * _MM)


def _pupil_place(scene, spec):
    """Pose of a projector and the world position (3,) of its scene-side pupil."""
    from projector.scene.placement import point_of

    pose = Pose.looking_at(spec.position_m, point_of(scene, spec.aim), spec.roll_deg)
    return pose, pose.position + spec.lens.pupil_offset_mm * _MM * pose.rotation[:, 2]


def light_arrays(scene, spec, wavelengths_nm, bitmap: Bitmap | None = None) -> Light:
    """One projector of a Scene at wavelengths (n,) nm.

    Corrections: field curvature κ = corner blur / (s · D) at full pupil, spherical σ = full-pupil disc / (D³/4),
    distortion p = per cent / 100 (`optics.distortion`), lateral colour m(λ) linear in the index.
    """
    lens = spec.lens
    wavelengths_nm = np.asarray(wavelengths_nm, float)
    pose, origin = _pupil_place(scene, spec)
    pupil, radius = pupil_of(scene, lens)
    gate = gate_of(spec)
    focus = focus_of(scene, spec)
    tube = focus.tube_length
    powers = relative_powers(lens, wavelengths_nm) / (lens.focal_length_mm * _MM)
    inverse_sharp = powers - 1.0 / tube
    glass = lens.dispersion.glass if lens.dispersion is not None else None
    lateral = 1.0 - lens.lateral_colour_mm * _MM / gate.norm * lateral_colour_share(wavelengths_nm, glass)
    full_diameter = lens.focal_length_mm / (lens.widest_f_number or lens.f_number) * _MM
    return Light(
        _triple(origin),
        *_axes(pose),
        float(tube),
        inverse_sharp,
        lateral,
        (float(inverse_sharp.min()), float(inverse_sharp.max())),
        (float(lateral.min()), float(lateral.max())),
        lens.distortion_percent / 100.0,
        lens.corner_softness_mm * _MM / (tube * full_diameter),
        lens.spherical_mm * _MM / (full_diameter**3 / 4.0),
        radius,
        pupil,
        gate,
        bitmap if bitmap is not None else bitmap_of(spec, scene),
        _blades_of(spec, gate, tube, powers, pupil),
    )


def _blades_of(spec, gate: Gate, tube: float, powers: np.ndarray, pupil: Pupil) -> Blades:
    if not spec.blade:
        return without_blades(powers.size)
    rows = []
    for blade in spec.blade:
        half = gate.half_width if blade.side in ("left", "right") else gate.half_height
        rows.append(half_plane(blade.side, half, blade.insertion_mm * _MM, math.radians(blade.angle_deg)))
    tubes = np.array([tube + blade.offset_mm * _MM for blade in spec.blade])
    planes = np.array(rows)
    return Blades(
        np.ascontiguousarray(planes[:, :2]),
        np.ascontiguousarray(planes[:, 2]),
        tubes,
        powers[None, :] - 1.0 / tubes[:, None],
        np.array([projection_table(pupil, row[0], row[1]) for row in rows]),
    )


def open_gate_on_axis(light: Light, distance: float) -> float:
    """Illuminance over luminance (steradian) that the open gate puts square on the axis at a distance (m) from the pupil."""
    return _pupil_on_axis(light.pupil, light.radius, distance)


def _pupil_on_axis(pupil: Pupil, radius: float, distance: float) -> float:
    """Projected solid angle (steradian) of a pupil on its axis: A/(d² + 2·mean square radius).

    Exact for a disc, π·R²/(d² + R²) (disc source: I. E. Irodov, Problems in General Physics, 5.11), of the same order for
    any other shape, and above zero however near.
    """
    return float(_open_area(pupil, radius) / (distance**2 + 2.0 * sum(pupil.second_moments) * radius**2))


def _open_area(pupil: Pupil, radius: float) -> float:
    """Area (m²) of a pupil's opening."""
    return math.pi * radius**2 * pupil.area


def open_gate_flux(light: Light, n_steps: int = 400) -> float:
    """Luminous flux over luminance (m² sr) of the open gate: A ∫ hot spot / (1 + ξ² + η²)² dξ dη over the slopes that it lands at.

    The far-field form of Φ = π·L·A·F (R. Siegel & J. Howell, Thermal Radiation Heat Transfer): for a round gate that lands at
    slope a it is π·A·a²/(1 + a²). Summed over the gate, each part as large as distortion lets it land.
    """
    gate = light.gate
    across, up = gate.half_width / light.tube_length, gate.half_height / light.tube_length
    middles = (np.arange(n_steps) + 0.5) / n_steps
    if gate.is_round:
        slopes = middles * across
        part = 2.0 * math.pi * slopes * across / n_steps
        squared = slopes**2
    else:
        xi, eta = np.meshgrid(middles * across, middles * up)
        part = np.full(xi.shape, 4.0 * across * up / n_steps**2)
        squared = xi**2 + eta**2
    field_squared = squared * (light.tube_length / gate.norm) ** 2
    falloff = np.exp2(-gate.falloff_stops * field_squared)
    landed_squared = squared * (1.0 + light.distortion * field_squared) ** 2
    growth = area_growth(light.distortion, field_squared)
    return float(_open_area(light.pupil, light.radius) * (part * growth * falloff / (1.0 + landed_squared) ** 2).sum())


def power_of(scene, spec) -> Power:
    """How bright the open gate is through the lens: from its reading or output, or, without one, metered right.

    The rule: a reading and an output are made without the projector's filters and belong to the lens and stop that they were
    made with (`stated_lens`). They fix the luminance seen through that lens; through the one there now it is larger by the
    ratio of the two transmittances, over an opening as large as its own. Before the lens, an output contains no transmittance.
    """
    reading, output = spec.reading, spec.output
    metered = spec.model_copy(update={"lens": stated_lens(spec)})
    glass = spec.lens.transmittance / (1.0 if output is not None and output.before_lens else metered.lens.transmittance)
    is_flash = True
    if reading is not None:
        constant = reading.meter_constant or METER_CONSTANTS[reading.receptor]
        distance = reading.distance_m - metered.lens.pupil_offset_mm * _MM
        is_flash = reading.shutter_s is None
        if is_flash:
            level = luminous_exposure_for_flash(reading.f_number, reading.iso, constant)
        else:
            level = illuminance_for_settings(reading.f_number, reading.shutter_s, reading.iso, constant)
        luminance = level / _pupil_on_axis(*pupil_of(scene, metered.lens), distance) * glass
    elif output is not None:
        is_flash = output.lumens is None
        through = open_gate_flux(light_arrays(scene, metered, [587.5618], open_bitmap(gate_of(spec))))
        luminance = (output.lumen_seconds if is_flash else output.lumens) / through * glass
    else:
        camera = scene.camera
        level = luminous_exposure_for_flash(camera.f_number, camera.iso, C_FLAT)
        luminance = level / _pupil_on_axis(*pupil_of(scene, spec.lens), abs(focus_of(scene, spec).sharp_distance))
    source = spec.source
    spectrum = scaled_to_luminous_one(source_spectrum(source.kind, source.temperature_k)) * (luminance / K_M)
    is_stated = reading is not None or output is not None
    return Power(spectrum * filter_transmittance(spec), is_flash, is_stated, _carried_over(scene, spec) if is_stated else None)


def _carried_over(scene, spec) -> CarriedOver | None:
    """What becomes of a statement of power through the lens there now; None where that is the one it was made with."""
    areas = [_open_area(*pupil_of(scene, lens)) for lens in (stated_lens(spec), spec.lens)]
    return carried_over(spec, *(2e3 * math.sqrt(area / math.pi) for area in areas))


def filter_transmittance(spec) -> np.ndarray:
    """Transmittance (71,) of all of a projector's filters together."""
    made = {
        "neutral": lambda item: filters.neutral(density=item.density, stops=item.stops),
        "band": lambda item: filters.band(item.centre_nm, item.width_nm),
        "edge_long": lambda item: filters.long_pass(item.edge_nm, item.width_nm),
        "edge_short": lambda item: filters.short_pass(item.edge_nm, item.width_nm),
        "temperature": lambda item: filters.temperature_shift(item.mired_shift),
        "table": lambda item: filters.table(item.wavelength_nm, item.transmittance),
    }
    return filters.stack(made[item.kind](item) for item in spec.filter)
