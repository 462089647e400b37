"""Chief rays, through the middle of the pupil: from places of the gate out to the room and back, for whole arrays of
them.
"""

from __future__ import annotations

import numpy as np

from projector.optics.distortion import gate_radii, landed_radii
from projector.tracing.gate.gate_image import is_inside_gate
from projector.tracing.gate.lens_law import Projection, blade_passes


def gate_rays(light: Projection, gate_x, gate_y) -> np.ndarray:
    """Directions (n, 3) in the world of chief rays of gate points (m, as landed), of length 1 along the axis."""
    slopes = landed_slopes(light, np.column_stack([np.asarray(gate_x, float), np.asarray(gate_y, float)]))
    return slopes @ np.array([light.emitter.right, light.emitter.down]) + np.array(light.emitter.forward)


def landed_slopes(light: Projection, gate: np.ndarray) -> np.ndarray:
    """(X/Z, Y/Z) (n, 2) of chief rays of gate points (n, 2) m, right and down from the axis, as landed."""
    return _rescaled(light, gate / light.tube_length, landed_radii)


def gate_points(light: Projection, points: np.ndarray) -> np.ndarray:
    """Where chief rays to world points (n, 3) left the gate: (n, 2) m right and down from the axis, as landed; NaN
    behind the lens.
    """
    local = (points - np.array(light.emitter.position)) @ np.array(
        [light.emitter.right, light.emitter.down, light.emitter.forward]
    ).T
    return gate_points_of_slopes(light, local[:, :2] / np.where(local[:, 2:] > 0.0, local[:, 2:], np.nan))


def gate_points_of_slopes(light: Projection, slopes: np.ndarray) -> np.ndarray:
    """The same for directions (X/Z, Y/Z) (n, 2) in the projector's frame."""
    return light.tube_length * _rescaled(light, slopes, gate_radii)


def _rescaled(light: Projection, slopes: np.ndarray, law) -> np.ndarray:
    """Slopes (n, 2) moved along their radius by a law of the lens's distortion; as they are without any."""
    if light.distortion == 0.0:
        return slopes
    radii = np.hypot(slopes[:, 0], slopes[:, 1]) * light.tube_length / light.gate.norm
    return (
        slopes * np.where(radii > 0.0, law(light.distortion, radii) / np.where(radii > 0.0, radii, 1.0), 1.0)[:, None]
    )


def opening_half_sizes(light: Projection) -> tuple[float, float]:
    """Half width and half height (m) in the gate of what the opening and the stencil's own rectangle leave free."""
    half_width, half_height = _bitmap_half_sizes(light)
    return min(light.gate.half_width, half_width), min(light.gate.half_height, half_height)


def _bitmap_half_sizes(light: Projection) -> tuple[float, float]:
    """Half width and half height (m) of the stencil's own rectangle."""
    rows, columns = light.bitmap.transmission.shape
    return 0.5 * columns * light.bitmap.pitch, 0.5 * rows * light.bitmap.pitch


def opening_border(light: Projection, n_side: int) -> np.ndarray:
    """Border (4, n_side + 1, 2) m of that part of the gate: its top, right, bottom and left, each clockwise as landed.

    A round gate is followed along its circle.
    """
    along = np.linspace(-1.0, 1.0, n_side + 1)
    ones = np.ones_like(along)
    half = np.array(opening_half_sizes(light))
    sides = half * np.stack(
        [np.column_stack(side) for side in ((along, -ones), (ones, along), (-along, ones), (-ones, -along))]
    )
    return (
        sides * np.minimum(1.0, light.gate.half_width / np.linalg.norm(sides, axis=2, keepdims=True))
        if light.gate.is_round
        else sides
    )


def is_in_opening(light: Projection, gate: np.ndarray) -> np.ndarray:
    """Whether gate points (n, 2) m lie in that part of the gate (n,); NaN does not."""
    return is_inside_gate(light.gate, gate[:, 0], gate[:, 1]) & (np.abs(gate) <= _bitmap_half_sizes(light)).all(axis=1)


def passes_blades(light: Projection, slope_x, slope_y, inverse_distance=0.0, ax=0.0, ay=0.0) -> np.ndarray:
    """Whether rays of straight slopes (n,) through pupil points (m) pass all blades (n,), corners aside; chief rays
    unless a place in the pupil is given, and through its middle a blade's own focus plays no part.
    """
    passes = np.ones(np.shape(slope_x), bool)
    for blade in range(len(light.blades.limits)):
        passes &= blade_passes(light, blade, 0, slope_x, slope_y, 0.0, inverse_distance, ax, ay)
    return passes


def landed_half_slopes(light: Projection, half_width: float, half_height: float) -> tuple[float, float]:
    """How far out (X/Z, Y/Z) the middles of the sides of a rectangle in the gate (half sizes, m) land."""
    slopes = landed_slopes(light, np.array([[half_width, 0.0], [0.0, half_height]]))
    return float(slopes[0, 0]), float(slopes[1, 1])
