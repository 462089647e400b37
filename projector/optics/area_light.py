"""Light from an even, flat panel in closed form: what a flat or a dome receiver gets when nothing stands between.

The panel lies in the plane z = 0 of its own frame (x right, y down, z forward) and shines towards +z with one luminance
from every place in every direction (Lambert). Results are per unit of luminance: illuminance over luminance, in sr.

Sources: J. H. Lambert, Photometria (1760), the sum over a polygon's edges, as in R. Siegel & J. Howell, Thermal
Radiation Heat Transfer; A. van Oosterom & J. Strackee, IEEE Trans. Biomed. Eng. 30, 125 (1983), the solid angle of a
triangle.
"""

from __future__ import annotations

import math

from projector.geometry import add_scaled, cross, dot, subtract
from projector.jit import formula

RECTANGLE = 0
"""Number of sides that stands for a rectangle of any proportions; 3 and more are regular polygons."""


@formula
def n_corners(n_sides):
    """How many corners a panel has; n_sides: RECTANGLE, or 3 and more of a regular polygon."""
    return 4 if n_sides == RECTANGLE else n_sides


@formula
def panel_corner(n_sides, rotation, half_width, half_height, corner):
    """Corner (x, y) m of a panel, clockwise as seen from behind it; half sizes in m.

    A rectangle has corners at (±half width, ±half height); a regular polygon lies in an ellipse of these half sizes,
    its first corner turned by `rotation` (radians) from the right.
    """
    if n_sides == RECTANGLE:
        x = half_width if corner == 0 or corner == 1 else -half_width
        y = half_height if corner == 1 or corner == 2 else -half_height
        return x, y
    angle = rotation + 2.0 * math.pi * corner / n_sides
    return half_width * math.cos(angle), half_height * math.sin(angle)


@formula
def edge_light(from_corner, to_corner):
    """Vector of one edge in Lambert's sum: the unit normal of the plane through the edge and the receiver, times the
    angle (radians) it spans; a 3-tuple.

    Both corners as seen from the receiver: 3-tuples of any unit and any length but zero.
    """
    normal = cross(from_corner, to_corner)
    size = math.sqrt(dot(normal, normal))
    if size <= 0.0:
        return 0.0, 0.0, 0.0
    share = math.atan2(size, dot(from_corner, to_corner)) / size
    return share * normal[0], share * normal[1], share * normal[2]


@formula
def panel_on_flat(panel, point, normal):
    """Illuminance over luminance (sr) on a flat receiver: the part of the panel over its horizon, ½ · |Σ n·Γ·Θ|.

    panel: (n_sides, rotation, half_width, half_height); point: before the panel (z > 0), m; normal: unit 3-tuple.
    """
    n_sides, rotation, half_width, half_height = panel
    if point[2] <= 0.0:
        return 0.0
    count = n_corners(n_sides)
    total = 0.0
    leaving = entering = (0.0, 0.0, 0.0)
    n_crossings = 0
    x, y = panel_corner(n_sides, rotation, half_width, half_height, count - 1)
    here = subtract((x, y, 0.0), point)
    here_height = dot(here, normal)
    for corner in range(count):
        x, y = panel_corner(n_sides, rotation, half_width, half_height, corner)
        there = subtract((x, y, 0.0), point)
        there_height = dot(there, normal)
        first, second = here, there
        if (here_height > 0.0) != (there_height > 0.0):
            # The horizon cuts this edge: only its upper part counts, and the cut is closed along the horizon below.
            crossing = add_scaled(here, subtract(there, here), here_height / (here_height - there_height))
            n_crossings += 1
            if here_height > 0.0:
                second = leaving = crossing
            else:
                first = entering = crossing
        if here_height > 0.0 or there_height > 0.0:
            total += dot(edge_light(first, second), normal)
        here, here_height = there, there_height
    if n_crossings == 2:
        total += dot(edge_light(leaving, entering), normal)
    return 0.5 * abs(total)


@formula
def _triangle_solid_angle(a, b, c):
    """Solid angle (sr) of a triangle seen from the origin, signed by the turn of its corners."""
    length_a, length_b, length_c = math.sqrt(dot(a, a)), math.sqrt(dot(b, b)), math.sqrt(dot(c, c))
    below = length_a * length_b * length_c + dot(a, b) * length_c + dot(a, c) * length_b + dot(b, c) * length_a
    return 2.0 * math.atan2(dot(a, cross(b, c)), below)


@formula
def panel_solid_angle(panel, point):
    """Solid angle (sr) under which the whole panel is seen from a point before it (van Oosterom & Strackee).

    panel and point as in `panel_on_flat`.
    """
    n_sides, rotation, half_width, half_height = panel
    x, y = panel_corner(n_sides, rotation, half_width, half_height, 0)
    first = subtract((x, y, 0.0), point)
    x, y = panel_corner(n_sides, rotation, half_width, half_height, 1)
    second = subtract((x, y, 0.0), point)
    total = 0.0
    for corner in range(2, n_corners(n_sides)):
        x, y = panel_corner(n_sides, rotation, half_width, half_height, corner)
        third = subtract((x, y, 0.0), point)
        total += _triangle_solid_angle(first, second, third)
        second = third
    return abs(total)


@formula
def panel_on_dome(panel, point, normal):
    """Illuminance over luminance (sr) on a dome receiver, which sees light from θ as (1 + cos θ)/2 of its full value.

    The projected area of a hemisphere: half a disc and half of its ellipse. ½ · (Ω + n·Σ Γ·Θ / 2), with no horizon.
    panel, point and normal as in `panel_on_flat`.
    """
    if point[2] <= 0.0:
        return 0.0
    n_sides, rotation, half_width, half_height = panel
    count = n_corners(n_sides)
    total = 0.0
    x, y = panel_corner(n_sides, rotation, half_width, half_height, count - 1)
    here = subtract((x, y, 0.0), point)
    along = 0.0
    for corner in range(count):
        x, y = panel_corner(n_sides, rotation, half_width, half_height, corner)
        there = subtract((x, y, 0.0), point)
        edge = edge_light(here, there)
        total += dot(edge, normal)
        along += edge[2]
        here = there
    # The vector sum points from or to the panel by the turn of its corners; light comes from behind −z.
    if along > 0.0:
        total = -total
    return 0.5 * (panel_solid_angle(panel, point) + 0.5 * total)


@formula
def disc_on_flat(radius, point, normal):
    """Illuminance over luminance (sr) of a whole even disc on a flat receiver that sees all of it, m and a unit normal.

    The light vector of a disc, with ρ and z of the point and S = √((ρ² + z² + R²)² − 4R²ρ²): along the axis
    π/2·(1 − (ρ² + z² − R²)/S), towards it π·z/(2ρ)·((ρ² + z² + R²)/S − 1) (P. Moon, The Scientific Basis of
    Illuminating Engineering, 1936, from memory; the first is also section B of J. R. Howell's catalogue).
    """
    aside = math.sqrt(point[0] * point[0] + point[1] * point[1])
    squared = aside * aside + point[2] * point[2]
    root = math.sqrt((squared + radius * radius) ** 2 - 4.0 * radius * radius * aside * aside)
    along = 0.5 * math.pi * (1.0 - (squared - radius * radius) / root)
    total = -normal[2] * along
    if aside > 1e-6 * radius:
        inwards = 0.5 * math.pi * point[2] / aside * ((squared + radius * radius) / root - 1.0)
        total -= inwards * (normal[0] * point[0] + normal[1] * point[1]) / aside
    return total


@formula
def sees_whole_disc(radius, point, normal):
    """Whether a flat receiver before a disc has all of it over its horizon."""
    height = -(normal[0] * point[0] + normal[1] * point[1] + normal[2] * point[2])
    return point[2] > 0.0 and height > radius * math.sqrt(normal[0] * normal[0] + normal[1] * normal[1])


@formula
def dome_response(cosine):
    """Share of light from an angle with that cosine that a dome counts: (1 + cos θ)/2."""
    return 0.5 * (1.0 + cosine)


@formula
def tube_on_flat(diameter, half_length, distance):
    """Illuminance over luminance (sr) on a receiver that faces the middle of a thin, even tube square on; lengths in m.

    A Lambertian cylinder looks like a flat strip of its diameter from every side: d·∫ D²/(D² + x²)² dx over its length,
    which is d·(x/(D² + x²) + atan(x/D)/D) at x = half the length.
    """
    squared = distance * distance + half_length * half_length
    return diameter * (half_length / squared + math.atan(half_length / distance) / distance)
