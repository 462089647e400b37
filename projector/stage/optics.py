"""A projector's pupil, gate, stencil, focus and lens as arrays."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from projector.faults import Fault, SceneError
from projector.geometry import Pose
from projector.optics import thin_lens
from projector.optics.dispersion import lateral_colour_share, relative_power
from projector.scene.placement import point_of, pupil_bitmap, stencil_of
from projector.stage.haze import extinction_of
from projector.tracing.gate.gate_image import Bitmap, GateOpening, open_bitmap, rectangular_gate, round_gate
from projector.tracing.gate.lens_law import Blades, Projection, half_plane, without_blades
from projector.tracing.rays.cone import SEGMENT_START
from projector.tracing.sight.emitter import make_emitter
from projector.tracing.sight.outline import Outline, make_outline, projection_table

_MM = 1e-3
# A light that is given by how wide it looks stands so far (m) from its card: what lies 3 m behind the card it throws
# 0.3 % too large.
_FAR_AWAY = 1000.0
# From such a light a ray passes over no more at its start than from a lamp this far away (m).
_NEAR = 3.0


def _triple(vector) -> tuple[float, float, float]:
    return (float(vector[0]), float(vector[1]), float(vector[2]))


def _axes(pose: Pose) -> tuple[tuple[float, float, float], tuple[float, float, float], tuple[float, float, float]]:
    return _triple(pose.rotation[:, 0]), _triple(pose.rotation[:, 1]), _triple(pose.rotation[:, 2])


def pupil_of(scene, spec) -> tuple[Outline, float]:
    """The pupil of a lens and half its nominal diameter (m): the stop's, or the filled disc's where that is smaller."""
    diameter = spec.focal_length_mm / spec.f_number * _MM
    if spec.filled_pupil_mm is not None and spec.filled_pupil_mm * _MM < diameter:
        return make_outline("disc"), 0.5 * spec.filled_pupil_mm * _MM
    shape = spec.pupil
    if shape is None or shape.shape == "disc":
        return make_outline("disc"), 0.5 * diameter
    if shape.shape == "bitmap":
        return make_outline("bitmap", bitmap=pupil_bitmap(scene, shape)), 0.5 * diameter
    return make_outline(
        shape.shape, shape.n_blades or 6, shape.rotation_deg or 0.0, shape.inner_fraction or 0.0
    ), 0.5 * diameter


def gate_of(spec) -> GateOpening:
    """The gate of a projector, metres."""
    if spec.gate.shape == "round":
        return round_gate(spec.gate.diameter_mm * _MM, spec.gate.edge_falloff_stops)
    return rectangular_gate(spec.gate.width_mm * _MM, spec.gate.height_mm * _MM, spec.gate.edge_falloff_stops)


def bitmap_of(spec, scene) -> Bitmap:
    """The stencil of a projector as it lies in the gate, or an open one."""
    if spec.stencil is None:
        return open_bitmap(gate_of(spec))

    transmission = stencil_of(scene, spec).transmission
    return Bitmap(np.ascontiguousarray(transmission, np.float32), spec.stencil.width_mm * _MM / transmission.shape[1])


def relative_powers(lens, wavelengths_nm) -> np.ndarray:
    """φ(λ)/φ(d) of a lens at wavelengths (n,) nm."""
    given = (
        {}
        if lens.dispersion is None
        else {name: value for name, value in lens.dispersion.model_dump().items() if value is not None}
    )
    if "achromat" in given:
        given["achromat"] = tuple(given["achromat"])
    if "secondary_spectrum_mm" in given:
        given["focal_length_mm"] = lens.focal_length_mm
    return relative_power(wavelengths_nm, **given)


@dataclass(frozen=True)
class FocusDistances:
    """Where a projector is focused: sharp distance and tube length (m) without the offset, and the tube with it."""

    sharp_distance: float
    sharp_tube_length: float
    tube_length: float


def require_lens(spec, what: str):
    """The lens of a projector. SceneError where it has none; what: the thing that only a lens has, in words."""
    if spec.lens is None:
        raise SceneError(
            Fault(
                f"{spec.name} is a lamp without a lens: it has no {what}",
                "a projector with a lens",
                "of a lamp, opening_mm and card_mm set how soft its edges are",
                key=f"projector.{spec.name}.lens",
            )
        )
    return spec.lens


def opening_before(spec) -> float:
    """How far (m) the middle of what shines lies in front of a projector's place, from where its distances count: the
    lens's pupil; below 0 for a light far away, whose place is that of its card.
    """
    if spec.lens is not None:
        return spec.lens.pupil_offset_mm * _MM
    return 0.0 if spec.lamp.opening_deg is None else -_FAR_AWAY


def card_distance(spec) -> float:
    """How far (m) a bare lamp's card stands before what shines."""
    return _FAR_AWAY if spec.lamp.opening_deg is not None else spec.lamp.card_mm * _MM


def focus_of(scene, spec) -> FocusDistances:
    """The focus of a projector; distances count from the pupil's centre along the axis.

    Of a bare lamp its card stands for the tube, and what it aims at for what is sharp: nothing behind the card is.
    """

    pose, origin = _pupil_place(scene, spec)
    if spec.lens is None:
        card = card_distance(spec)
        return FocusDistances(
            float((np.asarray(point_of(scene, spec.aim), float) - origin) @ pose.rotation[:, 2]), card, card
        )
    if spec.focus.distance_m is not None:
        sharp = spec.focus.distance_m - spec.lens.pupil_offset_mm * _MM
    else:
        goal = np.asarray(point_of(scene, spec.focus.at if spec.focus.at is not None else spec.aim), float)
        sharp = float((goal - origin) @ pose.rotation[:, 2])
    tube = thin_lens.conjugate_distance(spec.lens.focal_length_mm * _MM, sharp)
    return FocusDistances(sharp, tube, tube + spec.focus.offset_mm * _MM)


def _pupil_place(scene, spec):
    """Pose of a projector and the world position (3,) of its scene-side pupil."""

    pose = Pose.looking_at(spec.position_m, point_of(scene, spec.aim), spec.roll_deg)
    return pose, pose.position + opening_before(spec) * pose.rotation[:, 2]


def light_arrays(scene, spec, wavelengths_nm, bitmap: Bitmap | None = None) -> Projection:
    """One projector of a Scene at wavelengths (n,) nm.

    Corrections: field curvature κ = corner blur / (s · D) at full pupil, spherical σ = full-pupil disc / (D³/4),
    distortion p = per cent / 100 (`optics.distortion`), lateral colour m(λ) linear in the index.
    """
    lens = spec.lens
    wavelengths_nm = np.asarray(wavelengths_nm, float)
    if lens is None:
        return _lamp_arrays(scene, spec, wavelengths_nm.size, bitmap if bitmap is not None else bitmap_of(spec, scene))
    pose, origin = _pupil_place(scene, spec)
    pupil, radius = pupil_of(scene, lens)
    gate = gate_of(spec)
    focus = focus_of(scene, spec)
    tube = focus.tube_length
    powers = relative_powers(lens, wavelengths_nm) / (lens.focal_length_mm * _MM)
    inverse_sharp = thin_lens.inverse_conjugate(powers, tube)
    glass = lens.dispersion.glass if lens.dispersion is not None else None
    lateral = 1.0 - lens.lateral_colour_mm * _MM / gate.norm * lateral_colour_share(wavelengths_nm, glass)
    full_diameter = lens.focal_length_mm / (lens.widest_f_number or lens.f_number) * _MM
    return Projection(
        emitter=make_emitter(_triple(origin), _axes(pose), pupil, radius),
        tube_length=float(tube),
        inverse_sharp=inverse_sharp,
        lateral=lateral,
        inverse_sharp_range=(float(inverse_sharp.min()), float(inverse_sharp.max())),
        lateral_range=(float(lateral.min()), float(lateral.max())),
        distortion=lens.distortion_percent / 100.0,
        curvature=lens.corner_softness_mm * _MM / (tube * full_diameter),
        spherical=lens.spherical_mm * _MM / (full_diameter**3 / 4.0),
        gate=gate,
        bitmap=bitmap if bitmap is not None else bitmap_of(spec, scene),
        blades=_blades_of(spec, gate, tube, powers, pupil),
        extinction=extinction_of(scene),
    )


def _lamp_arrays(scene, spec, n_wavelengths: int, bitmap: Bitmap) -> Projection:
    """A bare lamp's opening before its card: the ray from A crosses the card at (X, Y)·c/Z + A·(1 − c/Z), which is the
    lens's law with s = z_f = c at every wavelength, upright.
    """
    pose, origin = _pupil_place(scene, spec)
    card, gate, opening = card_distance(spec), gate_of(spec), make_outline("disc")
    if spec.lamp.opening_deg is None:
        radius, ray_start = 0.5 * spec.lamp.opening_mm * _MM, SEGMENT_START
    else:
        radius, ray_start = card * math.tan(math.radians(0.5 * spec.lamp.opening_deg)), SEGMENT_START * _NEAR / card
    # A blade on the lamp's side of the card is nearer to the opening.
    planes = np.array([card - blade.offset_mm * _MM for blade in spec.blade])
    rows = _planes_of_blades(spec, gate)
    return Projection(
        emitter=make_emitter(_triple(origin), _axes(pose), opening, radius, ray_start),
        tube_length=card,
        inverse_sharp=np.full(n_wavelengths, 1.0 / card),
        lateral=np.ones(n_wavelengths),
        inverse_sharp_range=(1.0 / card, 1.0 / card),
        lateral_range=(1.0, 1.0),
        distortion=0.0,
        curvature=0.0,
        spherical=0.0,
        gate=gate,
        bitmap=bitmap,
        blades=_blades(rows, planes, np.tile(1.0 / planes[:, None], (1, n_wavelengths)), opening),
        nearest=float(max(card, *planes)) if planes.size else card,
        extinction=extinction_of(scene),
    )


def _blades_of(spec, gate: GateOpening, tube: float, powers: np.ndarray, pupil: Outline) -> Blades:
    """A lens's framing blades: powers (n,) 1/m of the lens by wavelength."""
    tubes = np.array([tube + blade.offset_mm * _MM for blade in spec.blade])
    sharp = thin_lens.inverse_conjugate(powers[None, :], tubes[:, None])
    return _blades(_planes_of_blades(spec, gate), tubes, sharp, pupil)


def _planes_of_blades(spec, gate: GateOpening) -> np.ndarray:
    """Normals and limits (b, 3) of a projector's blades, m."""
    rows = []
    for blade in spec.blade:
        half = gate.half_width if blade.side in ("left", "right") else gate.half_height
        rows.append(half_plane(blade.side, half, blade.insertion_mm * _MM, math.radians(blade.angle_deg)))
    return np.array(rows).reshape(-1, 3)


def _blades(rows: np.ndarray, tubes: np.ndarray, inverse_sharp: np.ndarray, pupil: Outline) -> Blades:
    """Blades of normals and limits (b, 3), their planes' distances (b,) m and 1/z_f (b, n_wavelengths)."""
    if not len(rows):
        return without_blades(inverse_sharp.shape[1])
    return Blades(
        np.ascontiguousarray(rows[:, :2]),
        np.ascontiguousarray(rows[:, 2]),
        tubes,
        inverse_sharp,
        np.array([projection_table(pupil, row[0], row[1]) for row in rows]),
    )
