"""What a photometric file says: a lamp's intensity by direction, between the angles that were measured,
and its flux.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Photometry:
    """A lamp's light by direction.

    edition: year of the standard; keywords: what the label lines say; type: photometric type "C", "B" or "A"
    vertical_deg (v,), horizontal_deg (h,): rising angles; candela (h, v): all factors of the file counted
    lumens: what the file states for its lamps, None under absolute photometry; watts: input power
    opening_m: width, length and height of the luminous opening; negative where the file says that it is round
    notes: what was found and done, for the user
    """

    edition: int
    keywords: dict[str, str]
    type: str
    vertical_deg: np.ndarray
    horizontal_deg: np.ndarray
    candela: np.ndarray
    lumens: float | None
    watts: float
    opening_m: tuple[float, float, float]
    notes: tuple[str, ...]

    def intensity(self, directions: np.ndarray) -> np.ndarray:
        """Candela (n,) towards unit directions (n, 3) in the lamp's frame: right, down, forward (its axis).

        Bilinear in the file's angles; 0 where the file measured nothing. A lamp of type C is measured about its axis
        (vertical angle 0 = forward), its horizontal angle 0 lies to the right; types A and B are measured from the axis
        to the right (horizontal) and upwards (vertical), A with a vertical polar axis, B with a horizontal one (CIE 121
        calls them A and B planes; from memory).
        """
        vertical, horizontal = _angles_of(self.type, np.asarray(directions, float))
        return _between(self, vertical, _folded(self, horizontal))

    def flux(self) -> float:
        """Lumens of all that the file measured: the integral of intensity over the sphere, exact between its angles.

        For type C: Σ mean intensity · (cos γ₁ − cos γ₂) · ΔC, with the intensity linear in the angle within each zone.
        """
        if self.type != "C":
            return _flux_by_sampling(self)
        rows = np.radians(self.vertical_deg)
        weights = _zone_weights(rows)
        by_plane = self.candela @ weights
        return float(_mean_over_planes(self.horizontal_deg, by_plane) * 2.0 * math.pi)


def _angles_of(kind: str, directions: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Vertical and horizontal angles (n,) in degrees of directions (n, 3): right, down, forward."""
    right, down, forward = directions[:, 0], directions[:, 1], directions[:, 2]
    if kind == "C":
        vertical = np.degrees(np.arctan2(np.hypot(right, down), forward))
        return vertical, np.degrees(np.arctan2(-down, right)) % 360.0
    if kind == "A":
        return np.degrees(np.arctan2(-down, np.hypot(right, forward))), np.degrees(np.arctan2(right, forward))
    return np.degrees(np.arctan2(-down, forward)), np.degrees(np.arctan2(right, np.hypot(down, forward)))


def _folded(photometry: Photometry, horizontal: np.ndarray) -> np.ndarray:
    """Horizontal angles brought into the range that the file states, by the symmetry that this range means."""
    first, last = photometry.horizontal_deg[0], photometry.horizontal_deg[-1]
    if photometry.type != "C":
        return np.abs(horizontal) if first == 0.0 else horizontal
    if first == last:
        return np.full_like(horizontal, first)
    if (first, last) == (90.0, 270.0):
        return np.where(
            horizontal < 90.0, 180.0 - horizontal, np.where(horizontal > 270.0, 540.0 - horizontal, horizontal)
        )
    if last == 360.0:
        return horizontal
    half = np.where(horizontal > 180.0, 360.0 - horizontal, horizontal)
    return half if last == 180.0 else np.where(half > 90.0, 180.0 - half, half)


def _between(photometry: Photometry, vertical: np.ndarray, horizontal: np.ndarray) -> np.ndarray:
    """Bilinear values (n,) of the candela table; 0 outside its vertical range, and outside the horizontal one of types
    A and B.
    """
    rows, columns = photometry.vertical_deg, photometry.horizontal_deg
    if photometry.type != "C" and rows[0] == 0.0:
        vertical = np.abs(vertical)
    outside = (vertical < rows[0] - 1e-9) | (vertical > rows[-1] + 1e-9)
    if photometry.type != "C":
        outside |= (horizontal < columns[0] - 1e-9) | (horizontal > columns[-1] + 1e-9)
    low_v, share_v = _place(rows, vertical)
    low_h, share_h = _place(columns, horizontal)
    table = photometry.candela
    high_v, high_h = np.minimum(low_v + 1, rows.size - 1), np.minimum(low_h + 1, columns.size - 1)
    first = (1.0 - share_v) * table[low_h, low_v] + share_v * table[low_h, high_v]
    second = (1.0 - share_v) * table[high_h, low_v] + share_v * table[high_h, high_v]
    return np.where(outside, 0.0, (1.0 - share_h) * first + share_h * second)


def _place(angles: np.ndarray, values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The interval that holds each value, and how far into it."""
    if angles.size == 1:
        return np.zeros(values.shape, int), np.zeros(values.shape)
    low = np.clip(np.searchsorted(angles, values, side="right") - 1, 0, angles.size - 2)
    share = (values - angles[low]) / (angles[low + 1] - angles[low])
    return low, np.clip(share, 0.0, 1.0)


def _zone_weights(vertical: np.ndarray) -> np.ndarray:
    """Weights (v,) with which values linear in the angle integrate against sin γ dγ, exactly."""
    weights = np.zeros(vertical.size)
    for low in range(vertical.size - 1):
        a, b = vertical[low], vertical[low + 1]
        # ∫ sin γ dγ and ∫ (γ − a)/(b − a) sin γ dγ over the zone.
        whole = math.cos(a) - math.cos(b)
        upper = (math.sin(b) - math.sin(a) - (b - a) * math.cos(b)) / (b - a)
        weights[low] += whole - upper
        weights[low + 1] += upper
    return weights


def _mean_over_planes(horizontal_deg: np.ndarray, values: np.ndarray) -> float:
    """Mean of values (h,) over the planes: the symmetry that the range means repeats it all round."""
    if horizontal_deg.size == 1:
        return float(values[0])
    return float(np.trapezoid(values, horizontal_deg) / (horizontal_deg[-1] - horizontal_deg[0]))


def _flux_by_sampling(photometry: Photometry, n_steps: int = 720) -> float:
    """Lumens by a fine grid of directions of equal solid angle (types A and B)."""
    heights = (np.arange(n_steps) + 0.5) / n_steps * 2.0 - 1.0
    turns = (np.arange(2 * n_steps) + 0.5) / (2 * n_steps) * 2.0 * math.pi
    height, turn = (axis.ravel() for axis in np.meshgrid(heights, turns, indexing="ij"))
    across = np.sqrt(1.0 - height**2)
    directions = np.stack([across * np.cos(turn), across * np.sin(turn), height], axis=1)
    return float(photometry.intensity(directions).mean() * 4.0 * math.pi)
