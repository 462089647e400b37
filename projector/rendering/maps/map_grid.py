"""The points of a map: a surface as it lies, a mesh or a figure as a projector sees it, and single places ready for
kernels.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from projector.faults import Fault, SceneError
from projector.optics.dispersion import LINE_D_NM
from projector.scene.placement import SeenLayout
from projector.stage.seen_from import points_seen_from
from projector.stage.stage import Stage
from projector.tracing.rays.first_hits import NOTHING
from projector.tracing.sight.points import SURFACE, Points

# Shadow rays start so far over a surface, times 1 m and the sum of its coordinates: more than float32 rounds them by.
_LIFT = 2e-6


class NotSeen(SceneError):
    """No projector sees anything of the mesh or figure that is to be mapped: no light of theirs falls on it."""


def surface_points(
    positions: np.ndarray, normals: np.ndarray, facets_rise_m: float = 0.0, receiver: int = SURFACE
) -> Points:
    """Places (n, 3) m with the normals (n, 3) of the side that is lit, ready for kernels.

    facets_rise_m: how far the facets of the surface rise over it at most; shadow rays start over them.
    receiver: SURFACE, or of a meter DOME or IN_AIR.
    """
    count = len(positions)
    lift = _LIFT * (1.0 + np.abs(positions).sum(axis=1, keepdims=True)) + facets_rise_m
    normals = normals.astype(np.float32)
    origins = (positions + lift * normals).astype(np.float32)
    return Points(
        positions=positions.astype(np.float32),
        normals=normals,
        facets=normals,
        origins=origins,
        areas=np.zeros(count, np.float32),
        materials=np.zeros(count, np.int32),
        owners=np.zeros(count, np.int32),
        receiver=receiver,
    )


class MapGrid(NamedTuple):
    """A map's points in rows, its rows and columns, its extent (left, right, bottom, top, m), what its axes are, and
    whether it is an even grid on one plane.
    """

    points: Points
    shape: tuple[int, int]
    extent_m: tuple[float, float, float, float]
    axis_labels: tuple[str, str]
    is_plane: bool


def map_grid(stage: Stage, layout, n_across: int, seen_by: str | None) -> MapGrid:
    """The points of a map of a layout, n_across of them from left to right: as it lies, or as a projector sees it.

    SceneError for a projector to see it where it lies flat, NotSeen for a mesh or a figure that none sees.
    """
    if isinstance(layout, SeenLayout):
        return _seen_grid(stage, layout, n_across, seen_by)
    if seen_by is not None:
        raise SceneError(
            Fault(
                f"{layout.name} is mapped as it lies, not as a projector sees it",
                "a projector to see a mesh or a figure",
                "leave it out",
                key="seen_by",
            )
        )
    positions, normals = layout.grid(n_across)
    points = surface_points(positions.reshape(-1, 3), normals.reshape(-1, 3), layout.facets_rise_m)
    is_plane = layout.spec.shape in ("flat", "box")
    return MapGrid(points, positions.shape[:2], layout.extent_m, layout.axis_labels, is_plane)


def _seen_grid(stage: Stage, layout, n_across: int, seen_by: str | None) -> MapGrid:
    """A mesh or a figure has no map of its own: its points as a projector sees them."""

    if not stage.scene.projector:
        raise SceneError(
            Fault(
                found="a mesh or a figure is mapped as a projector sees it, and the scene has none",
                allowed="a scene with a projector",
            )
        )
    chosen = stage.projectors if seen_by is None else (stage.projector(seen_by),)
    owner = stage.arrays.names.index(layout.name)
    # Which of them sees most of it: by name, so that the order in the file plays no part.
    seen = {
        staged.name: points_seen_from(staged.light([LINE_D_NM]), stage.arrays, owner, n_across)
        for staged in sorted(chosen, key=lambda staged: staged.name)
    }
    best = max(seen, key=lambda name: -1.0 if seen[name] is None else _area(seen[name]))
    if seen[best] is None:
        who = f"{best} does not see" if len(seen) == 1 else "no projector sees"
        raise NotSeen(
            Fault(
                f"{who} {layout.name}: it lies outside the beam or behind something else",
                "a surface or a figure in a beam",
                "`projector throw` says where the light lands",
            )
        )
    found = seen[best]
    labels = tuple(
        f"{way} as {best} sees it, m ({found.distance_m:.2f} m from the lens)" for way in ("to the right", "upwards")
    )
    return MapGrid(found.points, found.shape, found.extent_m, labels, False)


def _area(seen) -> float:
    """Solid angle (steradian, nearly) that an object takes up in a beam."""
    left, right, bottom, top = seen.extent_m
    return (right - left) * (top - bottom) / seen.distance_m**2 * float((seen.points.materials != NOTHING).mean())
