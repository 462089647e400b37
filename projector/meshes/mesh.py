"""The one form in which every surface of a scene travels: corners, triangles and, if it is smooth, shading normals."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np


@dataclass(frozen=True)
class Mesh:
    """A triangle mesh in metres.

    vertices   (n, 3) float64, metres
    triangles  (m, 3) int32, rows of `vertices`, counter-clockwise as seen from outside
    normals    (n, 3) float64 unit shading normals of the vertices, or None for a flat-shaded mesh
    notes      what a reader or builder has to tell the user about the mesh
    """

    vertices: np.ndarray
    triangles: np.ndarray
    normals: np.ndarray | None = None
    notes: list[str] = field(default_factory=list)
