"""How large a source looks, and how soft that makes the edges of shadows: plane geometry. Arrays pass."""

from __future__ import annotations

import math

import numpy as np

# The sun's mean angular diameter: 2·asin(695 700 km / 149 597 870.7 km), the IAU's nominal solar radius of 2015 over
# its astronomical unit.
SUN_DEG = 2.0 * math.degrees(math.asin(695_700.0 / 149_597_870.7))


def angular_size_deg(size, distance):
    """Degrees that a length seen square on from the front of its middle spans: 2·atan(size / 2·distance)."""
    return np.degrees(2.0 * np.arctan2(0.5 * np.asarray(size, float), distance))


def size_of_angle(degrees, distance):
    """The length that spans so many degrees at a distance: 2·distance·tan(θ/2)."""
    return 2.0 * distance * np.tan(0.5 * np.radians(degrees))


def penumbra_width(source_size, source_to_caster, caster_to_surface):
    """Width of a shadow's soft edge on a surface square to the light: size · (caster to surface)/(source to caster), by
    the two triangles that touch at the caster's edge.
    """
    return source_size * caster_to_surface / source_to_caster
