"""Beams: a full angle, how wide it is at a throw, how its edge falls off, and which camera lens sees as much."""

from __future__ import annotations

import math

from projector.faults import Fault, SceneError, check_above_zero
from projector.optics import thin_lens

FRAME_DIAGONAL_M = math.hypot(0.036, 0.024)
COMMON_LENSES_MM = (20.0, 24.0, 28.0, 35.0, 50.0, 65.0, 85.0, 100.0, 135.0, 200.0, 300.0)


def nominal_width(beam_angle_deg: float, throw_m: float) -> float:
    """Width (m) of a beam of a nominal full angle (degrees) at a throw (m): 2·D·tan(θ/2).

    SceneError for an angle of 180° and more, or a number that is not above zero.

    >>> round(nominal_width(beam_angle_deg=36, throw_m=2.5), 3)
    1.625
    """
    check_above_zero(beam_angle_deg=beam_angle_deg, throw_m=throw_m)
    if beam_angle_deg >= 180.0:
        raise SceneError(Fault(found=f"a beam of {beam_angle_deg:g}°", allowed="less than 180°"))
    return 2.0 * throw_m * math.tan(math.radians(0.5 * beam_angle_deg))


def beam_angle(width_m: float, throw_m: float) -> float:
    """Full angle (degrees) of a beam that is so wide (m) at a throw (m): 2·atan(W/2D).

    SceneError for a number that is not above zero.

    >>> round(beam_angle(width_m=1.2, throw_m=2.5), 1)
    27.0
    """
    check_above_zero(width_m=width_m, throw_m=throw_m)
    return math.degrees(thin_lens.beam_angle(width_m, throw_m))


def edge_stops(beam_angle_deg: float) -> float:
    """Light at the edge of a beam of a full angle (degrees) against its middle, in stops: log2 cos⁴(θ/2).

    Any radiometry text. It is what an evenly lit gate leaves; a hot centre beyond that is an unevenly lit gate.
    SceneError for an angle that is not between 0 and 180°.

    >>> round(edge_stops(beam_angle_deg=36), 2)
    -0.29
    """
    nominal_width(beam_angle_deg, 1.0)
    return 4.0 * math.log2(math.cos(math.radians(0.5 * beam_angle_deg)))


def camera_lens_like(beam_angle_deg: float) -> float:
    """Focal length (mm) whose angle over the diagonal of 36 × 24 mm is the beam's (degrees).

    SceneError for an angle that is not between 0 and 180°.

    >>> round(camera_lens_like(beam_angle_deg=36), 1)
    66.6
    """
    nominal_width(beam_angle_deg, 1.0)
    return 1e3 * 0.5 * FRAME_DIAGONAL_M / math.tan(math.radians(0.5 * beam_angle_deg))


def common_lens_like(beam_angle_deg: float) -> float:
    """The common camera lens (mm) nearest to a beam's angle (degrees), by ratio.

    It is how people name beams (common practice, no source). SceneError for an angle that is not between 0 and 180°.

    >>> common_lens_like(beam_angle_deg=36)
    65.0
    """
    like = camera_lens_like(beam_angle_deg)
    return min(COMMON_LENSES_MM, key=lambda length: abs(math.log(length / like)))


def beam_angle_like(focal_length_mm: float) -> float:
    """The beam angle (degrees) that a camera lens (mm) sees over the diagonal of 36 × 24 mm.

    SceneError for a number that is not above zero.

    >>> round(beam_angle_like(focal_length_mm=50), 1)
    46.8
    """
    check_above_zero(focal_length_mm=focal_length_mm)
    return math.degrees(thin_lens.angle_of_view(1e-3 * focal_length_mm, FRAME_DIAGONAL_M))
