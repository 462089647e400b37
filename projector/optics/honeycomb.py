"""A honeycomb before a lamp: how much of the light passes in each direction.

Every cell is a tube with black walls; seen at an angle θ its two ends are discs that overlap in part, and the overlap
is what passes: T(u) = (2/π)·(acos u − u·√(1 − u²)) with u = tan θ · depth / cell width (plane geometry of two circles).
"""

from __future__ import annotations

import math

from scipy.optimize import brentq

from projector.jit import formula


@formula
def honeycomb_transmission(tangent, depth_over_cell):
    """Share of light that passes at an angle with that tangent (0 or more) from the axis; 0 beyond the cut-off."""
    u = tangent * depth_over_cell
    if u >= 1.0:
        return 0.0
    return 2.0 / math.pi * (math.acos(u) - u * math.sqrt(1.0 - u * u))


def depth_over_cell_for_beam(beam_deg: float) -> float:
    """Depth over cell width of a honeycomb that passes half of the axis's light at half the full angle `beam_deg`.

    "A 20° grid" has no standard meaning (common practice, no source); here its beam angle is what is stated.
    Raises ValueError for an angle that is not between 0 and 180°.
    """
    if not 0.0 < beam_deg < 180.0:
        raise ValueError("the beam angle of a honeycomb lies between 0 and 180°")
    return half_transmission() / math.tan(math.radians(0.5 * beam_deg))


def half_transmission() -> float:
    """u, a plain number, at which a honeycomb passes half: 0.40397."""
    return brentq(lambda u: honeycomb_transmission(u, 1.0) - 0.5, 0.0, 1.0, xtol=1e-14)


def cut_off_deg(depth_over_cell: float) -> float:
    """Full angle (degrees) beyond which a honeycomb of that depth over cell width passes nothing: u = 1."""
    return 2.0 * math.degrees(math.atan(1.0 / depth_over_cell))
