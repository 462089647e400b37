"""Distortion: where a point of the gate lands, counted outwards as a data sheet counts it, and the exact way back.

Radii are plain numbers and count from the axis, r in the gate over the distance that counts as its edge, R on the wall
over where that edge would land without distortion. A gate point at r lands at R = r·(1 + p·r²), the third-order term
alone: distortion grows with the cube of the field (W. J. Smith, Modern Optical Engineering, third-order aberrations;
from memory). p is positive for pincushion on the wall: the edge of a gate lands p farther out than it would.

Held fixed is the radiance on the scene's side: distortion moves what is seen in the pupil, not how bright it is there
or how large the pupil is. A pincushion that spreads the gate's edge over more of the wall thus carries more light to
it.

Beyond the gate's edge stands only metal, and the law goes on in a straight line with its slope at the edge. So it rises
everywhere and has one inverse as long as p > −1/3; at −1/3 the edge would land on itself and stronger barrel fold back.
"""

from __future__ import annotations

import math

import numpy as np

from projector.jit import formula, kernel

STRONGEST_BARREL = -1.0 / 3.0


@formula
def landed_radius(distortion, radius):
    """R at which a gate point at r = `radius` lands: r·(1 + p·r²), straight on beyond the edge; p = `distortion`."""
    if radius <= 1.0:
        return radius * (1.0 + distortion * radius * radius)
    return 1.0 + distortion + (1.0 + 3.0 * distortion) * (radius - 1.0)


@formula
def gate_radius(distortion, landed):
    """r of the gate point that lands at R = `landed`: the one root of r·(1 + p·r²) = R, straight on beyond the edge.

    With r = a·sinh t, a = 2/√(3p), the cubic is a·sinh(3t)/3 = R; with barrel, r = a·sin t and a·sin(3t)/3 = R (the
    trigonometric and hyperbolic solution of a cubic without a square term, any handbook of mathematics).
    """
    edge = 1.0 + distortion
    if landed >= edge:
        return 1.0 + (landed - edge) / (1.0 + 3.0 * distortion)
    if distortion > 0.0:
        root = math.sqrt(3.0 * distortion)
        return 2.0 / root * math.sinh(math.asinh(1.5 * root * landed) / 3.0)
    if distortion < 0.0:
        root = math.sqrt(-3.0 * distortion)
        return 2.0 / root * math.sin(math.asin(min(1.5 * root * landed, 1.0)) / 3.0)
    return landed


@formula
def gate_over_landed(distortion, landed):
    """r/R of the gate point that lands at R = `landed`; it goes one way only from 1 on the axis, down with pincushion
    and up with barrel.
    """
    if distortion == 0.0 or landed <= 0.0:
        return 1.0
    return gate_radius(distortion, landed) / landed


@formula
def area_growth(distortion, radius_squared):
    """How much larger a small part of the gate at r² lands than without distortion: (R/r)·dR/dr = (1 + p·r²)(1 +
    3p·r²).
    """
    return (1.0 + distortion * radius_squared) * (1.0 + 3.0 * distortion * radius_squared)


@kernel
def _fill(distortion, radii, outwards, found):
    for i in range(radii.size):
        found[i] = landed_radius(distortion, radii[i]) if outwards else gate_radius(distortion, radii[i])


def landed_radii(distortion: float, radii: np.ndarray) -> np.ndarray:
    """`landed_radius` of an array of any shape."""
    return _of_all(distortion, radii, True)


def gate_radii(distortion: float, landed: np.ndarray) -> np.ndarray:
    """`gate_radius` of an array of any shape."""
    return _of_all(distortion, landed, False)


def _of_all(distortion: float, radii: np.ndarray, outwards: bool) -> np.ndarray:
    radii = np.asarray(radii, float)
    found = np.empty(radii.size)
    _fill(float(distortion), np.ascontiguousarray(radii).ravel(), outwards, found)
    return found.reshape(radii.shape)
