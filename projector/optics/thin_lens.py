"""The thin lens: focus, size, blur and edge width. Metres in, metres out; distances count from the lens and are
positive.

Source unless a function says otherwise: OpenStax, University Physics Volume 3, "Thin Lenses" and "The Camera"
(https://openstax.org/details/books/university-physics-volume-3), and similar triangles on its ray diagrams.
"""

from __future__ import annotations

import math

from projector.jit import formula

# Width of the 10–90 % rise of an edge blurred by a uniform disc of diameter 1: the closed form of `disc_edge_spread`
# solved for 0.1 and 0.9; scikit-image's disk(50) gives 0.68697.
DISC_EDGE_10_90 = 0.687049


@formula
def conjugate_distance(focal_length, distance):
    """Where a thin lens images a plane: 1 / (1/f − 1/distance). Negative: a virtual image on the same side."""
    return 1.0 / (1.0 / focal_length - 1.0 / distance)


@formula
def inverse_conjugate(power, tube_length):
    """1/m of the distance at which a lens of that power (1/f, 1/m) lands a plane the tube length (m) behind it sharp:
    1/f − 1/s. 0: at infinity; below 0: nowhere before the lens.
    """
    return power - 1.0 / tube_length


@formula
def magnification(tube_length, throw_distance):
    """Size on a square wall over size in the gate, for a wall at the throw distance and a gate at the tube length."""
    return throw_distance / tube_length


@formula
def focal_length_for(wanted_magnification, throw_distance):
    """The focal length that throws a sharp picture magnified so at that distance: D / (M + 1)."""
    return throw_distance / (wanted_magnification + 1.0)


@formula
def beam_angle(gate_width, tube_length):
    """Full angle, radians, under which the lens sees the gate: 2·atan(G / 2u)."""
    return 2.0 * math.atan(0.5 * gate_width / tube_length)


@formula
def blur_circle_diameter(pupil_diameter, sharp_distance, wall_distance):
    """Diameter of the disc that a point of the gate becomes on a square wall: D·|Z − z_f| / z_f."""
    return pupil_diameter * abs(wall_distance - sharp_distance) / abs(sharp_distance)


@formula
def gate_blur_diameter(pupil_diameter, tube_length, inverse_sharp_distance, inverse_wall_distance):
    """The same disc measured back in the gate (m): D·s·|1/z_f − 1/Z|. Inverse distances (1/m): infinity is 0."""
    return pupil_diameter * tube_length * abs(inverse_sharp_distance - inverse_wall_distance)


@formula
def disc_edge_spread(position):
    """Share (0..1) of light at `position` (in disc diameters, 0 at the edge) across an edge blurred by a uniform disc.

    ½ + (u·√(1 − u²) + asin u) / π with u = 2·position: the area of a disc on one side of a chord.
    """
    u = 2.0 * position
    if u <= -1.0:
        return 0.0
    if u >= 1.0:
        return 1.0
    return 0.5 + (u * math.sqrt(1.0 - u * u) + math.asin(u)) / math.pi


@formula
def angle_of_view(focal_length, frame_length):
    """Full angle, radians, that a rectilinear lens focused far away sees along a side of its frame."""
    return 2.0 * math.atan(0.5 * frame_length / focal_length)


@formula
def pupil_to_point_irradiance(pupil_area, x, y, z):
    """Irradiance over radiance (sr) on a plane square to the axis at (x, y, z) m from a small pupil (m²): A·z²/|P|⁴.

    The cos⁴ law written in coordinates (any radiometry text): A·cos⁴θ / z².
    """
    squared = x * x + y * y + z * z
    return pupil_area * z * z / (squared * squared)
