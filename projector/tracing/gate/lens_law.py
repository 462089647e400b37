"""Where a ray from a point of the scene through a point of the pupil left the gate: the lens model, ready for kernels.

The law (all lengths in metres, P = (X, Y, Z) in the projector's frame, A in the lens plane):

    g = m(λ)·g_c + s·A·(1/z_f(λ) − 1/Z + κ·r²) + σ·A·|A|²

with g_c = q·s·(X, Y)/Z, where the chief ray left the gate (q = 1 without distortion), and r = |g_c| over the gate's
norm. What distortion does is undone once, at the entry (`straight_slopes`): all that follows knows only the slopes
g_c/s. The rest is the thin-lens conjugate equation with chromatic, Seidel-like corrections; each term's definition and
source stands beside its parameter in `lens_parameters`.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from projector.jit import formula
from projector.optics.distortion import gate_over_landed, landed_radius
from projector.optics.scattering import kept_share
from projector.tracing.gate.gate_image import Bitmap, GateOpening
from projector.tracing.sight.emitter import Emitter, resized
from projector.tracing.sight.outline import N_PROJECTION_STEPS
from projector.tracing.sight.points import IN_AIR, SURFACE

# How far beyond the beam (share of its size) points are looked at, for what its bounds leave out.
BEAM_MARGIN = 0.05
NEAREST_TO_A_LENS = 1e-6


class Blades(NamedTuple):
    """Framing blades, each a half-plane of metal in a plane of its own; light passes where normal · g' < limit.

    normals (b, 2), limits (b,) m, tube_lengths (b,) m, inverse_sharp (b, n_wavelengths) 1/m,
    tables (b, N_PROJECTION_STEPS + 1): share of the pupil beyond a straight line across it
    """

    normals: np.ndarray
    limits: np.ndarray
    tube_lengths: np.ndarray
    inverse_sharp: np.ndarray
    tables: np.ndarray


class Projection(NamedTuple):
    """What a gate and a lens do to the light of an emitter, the lens's pupil: ready for kernels. Lengths in metres.

    tube_length s; inverse_sharp (n,) 1/z_f(λ); lateral (n,) m(λ); distortion p, see optics.distortion; curvature κ
    (1/m); spherical σ (1/m²); nearest: depth along the axis from which on its light lands, behind the lens or, without
    one, behind the card; extinction (1/m) of the air that it goes through from there on
    """

    emitter: Emitter
    tube_length: float
    inverse_sharp: np.ndarray
    lateral: np.ndarray
    inverse_sharp_range: tuple
    lateral_range: tuple
    distortion: float
    curvature: float
    spherical: float
    gate: GateOpening
    bitmap: Bitmap
    blades: Blades
    nearest: float = NEAREST_TO_A_LENS
    extinction: float = 0.0


@formula
def straight_slopes(light, slope_x, slope_y):
    """g_c/s for a direction (X/Z, Y/Z): the slopes from which the chief ray came, distortion undone.

    All laws below take these.
    """
    if light.distortion == 0.0:
        return slope_x, slope_y
    landed = math.sqrt(slope_x * slope_x + slope_y * slope_y) * light.tube_length / light.gate.norm
    share = gate_over_landed(light.distortion, landed)
    return share * slope_x, share * slope_y


@formula
def field_radius_squared(light, slope_x, slope_y):
    """r²: distance from the axis in the gate over the gate's norm, squared, for straight slopes."""
    across = light.tube_length / light.gate.norm
    return (slope_x * slope_x + slope_y * slope_y) * across * across


@formula
def patch_scale(light, inverse_sharp, inverse_distance, field_squared):
    """How far in the gate a ray moves per metre in the pupil (signed): s·(1/z_f − 1/Z + κ·r²)."""
    return _scale_in_plane(light, light.tube_length, inverse_sharp, inverse_distance, field_squared)


@formula
def _scale_in_plane(light, tube_length, inverse_sharp, inverse_distance, field_squared):
    """`patch_scale` in a plane of its own: the gate's, or a blade's."""
    return tube_length * (inverse_sharp - inverse_distance + light.curvature * field_squared)


@formula
def place_in_gate(light, wavelength, slope_x, slope_y, field_squared, inverse_distance, ax, ay):
    """The law itself: where (m) in the gate the ray through pupil point (ax, ay) (m) started; straight slopes."""
    across = light.lateral[wavelength] * light.tube_length
    scale = patch_scale(light, light.inverse_sharp[wavelength], inverse_distance, field_squared)
    scale = scale + light.spherical * (ax * ax + ay * ay)
    return across * slope_x + scale * ax, across * slope_y + scale * ay


@formula
def pupil_geometry(receiver, x, y, z, nx, ny, nz, ax, ay):
    """cosθ_A / |P − A|² times what a receiver at P with normal n takes of a ray from pupil point A (projector frame).

    SURFACE: cosθ_P, 0 below the horizon; DOME: (1 + cosθ_P)/2, a hemisphere's projected area; IN_AIR: 1.
    """
    towards_x = ax - x
    towards_y = ay - y
    taken = nx * towards_x + ny * towards_y - nz * z
    squared = towards_x * towards_x + towards_y * towards_y + z * z
    if receiver != SURFACE:
        distance = math.sqrt(squared)
        taken = distance if receiver == IN_AIR else 0.5 * (distance + taken)
    if taken <= 0.0:
        return 0.0
    return z * taken / (squared * squared)


@formula
def mean_pupil_geometry(light, x, y, z, nx, ny, nz):
    """The mean of a surface's `pupil_geometry` over a small pupil: its value at the centre plus half its curvature
    times m₂.

    Returns the mean and the correction in it; the horizon must not cut the pupil.
    With q = |P − A|², h = n·(A − P), f = Z·h/q²: ∇²f = Z·(h·(24ρ²/q⁴ − 8/q³) + 8·(n·P)_xy/q³).
    """
    across = x * x + y * y
    inverse = 1.0 / (across + z * z)
    height = -(nx * x + ny * y + nz * z)
    common = z * inverse * inverse
    laplacian = common * inverse * (height * (24.0 * across * inverse - 8.0) + 8.0 * (nx * x + ny * y))
    moments, radius = light.emitter.outline.second_moments, light.emitter.radius
    moment = 0.5 * (moments[0] + moments[1]) * radius * radius
    correction = 0.5 * moment * laplacian
    return common * height + correction, correction


@formula
def mean_pupil_geometry_in_air(light, x, y, z):
    """The same of a point in the air, which takes a ray from everywhere alike: f = Z/q³, ∇²f = Z·(15ρ²/q² − 6)/q⁵."""
    across = x * x + y * y
    inverse = 1.0 / (across + z * z)
    common = z * inverse * math.sqrt(inverse)
    moments, radius = light.emitter.outline.second_moments, light.emitter.radius
    moment = 0.5 * (moments[0] + moments[1]) * radius * radius
    correction = 0.5 * moment * common * inverse * (15.0 * across * inverse - 6.0)
    return common + correction, correction


@formula
def share_through_air(light, x, y, z):
    """Share of the light that the air leaves on its way to a point, along its chief ray from the lens or the card."""
    if light.extinction == 0.0:
        return 1.0
    return kept_share(light.extinction, math.sqrt(x * x + y * y + z * z) * (1.0 - light.nearest / z))


@formula
def blade_open_share(blades, blade, distance, reach):
    """Share of the pupil that passes a blade whose edge lies at `distance` (pupil units, along its normal)."""
    place = (distance + reach) / (2.0 * reach) * N_PROJECTION_STEPS
    if place <= 0.0:
        return 0.0
    if place >= N_PROJECTION_STEPS:
        return 1.0
    index = int(place)
    share = place - index
    above = (1.0 - share) * blades.tables[blade, index] + share * blades.tables[blade, index + 1]
    return 1.0 - above


@formula
def blade_patch(light, blade, wavelength, slope_x, slope_y, field_squared, inverse_distance):
    """Distance (m) of a blade's edge from the patch's middle in the blade's plane, and the patch's signed scale."""
    blades = light.blades
    tube = blades.tube_lengths[blade]
    spread = light.lateral[wavelength] * tube
    middle = spread * (blades.normals[blade, 0] * slope_x + blades.normals[blade, 1] * slope_y)
    scale = _scale_in_plane(light, tube, blades.inverse_sharp[blade, wavelength], inverse_distance, field_squared)
    return blades.limits[blade] - middle, scale


@formula
def blade_passes(light, blade, wavelength, slope_x, slope_y, field_squared, inverse_distance, ax, ay):
    """Whether the ray through pupil point (ax, ay) (m) passes one blade; straight slopes."""
    normals = light.blades.normals
    distance, scale = blade_patch(light, blade, wavelength, slope_x, slope_y, field_squared, inverse_distance)
    bend = light.spherical * (ax * ax + ay * ay)
    return distance > (scale + bend) * (normals[blade, 0] * ax + normals[blade, 1] * ay)


def as_if_in_blade_plane(light: Projection, blade: int) -> Projection:
    """A light whose stencil stands in a blade's plane, so that `place_in_gate` says where a ray crosses that; how far
    it is from the axis, which distortion and corners go by, still counts in the gate.
    """
    tube = float(light.blades.tube_lengths[blade])
    gate = light.gate._replace(norm=light.gate.norm * tube / light.tube_length)
    return light._replace(tube_length=tube, inverse_sharp=light.blades.inverse_sharp[blade], gate=gate)


@formula
def light_reach(light, inverse_distance, field_squared):
    """Half size (m) of the largest patch in the gate over all wavelengths, lateral shift aside."""
    low = patch_scale(light, light.inverse_sharp_range[0], inverse_distance, field_squared)
    high = patch_scale(light, light.inverse_sharp_range[1], inverse_distance, field_squared)
    largest = light.emitter.reach
    return largest * max(abs(low), abs(high)) + abs(light.spherical) * largest * largest * largest


def has_lens(light: Projection) -> bool:
    """Whether a lens throws the light, or a bare opening shines through a card: (1) with s = z_f, upright."""
    return light.nearest == NEAREST_TO_A_LENS


def with_pupil_radius(light: Projection, radius: float) -> Projection:
    """The same projector with its pupil stopped or opened to a radius (m)."""
    return light._replace(emitter=resized(light.emitter, radius))


def beam_bounds(light: Projection) -> tuple[float, float]:
    """Largest slope and reach (m) of a projector's beam with a margin.

    A ray through pupil point A and gate point g lands at Z·(g/s − A·(1/z_f − 1/Z + κ·r²) − σ·A·|A|²/s) across the axis:
    at most Z times (corner of the gate / s + what the largest A makes of the rest) plus the pupil's radius. Distortion
    then moves it outwards by its law, whose slope is nowhere steeper than 1 or that at the gate's edge.
    """
    gate = light.gate
    corner = math.hypot(gate.half_width, 0.0 if gate.is_round else gate.half_height) / min(light.lateral_range)
    sharp = max(abs(value) for value in light.inverse_sharp_range)
    rim = light.emitter.reach
    if not has_lens(light):
        # From A through a place of the card: X = Z·g/c − A·(Z/c − 1), exact.
        margin = 1.0 + BEAM_MARGIN
        return margin * (corner + rim) / light.tube_length, -margin * rim
    straight = (corner + abs(light.spherical) * rim**3) / light.tube_length + rim * (sharp + abs(light.curvature) * 4.0)
    unit = gate.norm / light.tube_length
    slope = unit * landed_radius(light.distortion, straight / unit)
    return (1.0 + BEAM_MARGIN) * slope, (1.0 + BEAM_MARGIN) * rim * max(1.0, 1.0 + 3.0 * light.distortion)


def without_blades(n_wavelengths: int) -> Blades:
    """No blades, in the shape that kernels expect."""
    return Blades(
        np.zeros((0, 2)), np.zeros(0), np.zeros(0), np.zeros((0, n_wavelengths)), np.zeros((0, N_PROJECTION_STEPS + 1))
    )


def half_plane(side: str, half: float, insertion: float, angle: float) -> tuple[float, float, float]:
    """Normal (x, y) and limit (m) of a blade that cuts one side of the landed pattern.

    side "left", "right", "top" or "bottom"; half: the gate's half size there (m); insertion (m) from the gate's edge
    inward; angle (radians) turns the edge clockwise as landed about its own middle.
    """
    outward = {"left": (-1.0, 0.0), "right": (1.0, 0.0), "top": (0.0, -1.0), "bottom": (0.0, 1.0)}[side]
    cosine, sine = math.cos(angle), math.sin(angle)
    # x right and y down: a turn by +angle runs clockwise as seen.
    normal = (cosine * outward[0] - sine * outward[1], sine * outward[0] + cosine * outward[1])
    return normal[0], normal[1], (half - insertion) * cosine
