"""Faces of any number of corners cut into triangles, so that corners turned inward keep their shape."""

from __future__ import annotations

import numpy as np

from projector.meshes.formats.raw_mesh import RawMesh, refuse_too_many, unusable

# A face with more corners than this is no face of a model; ears are cut in Python, so not of too many faces.
_MOST_CORNERS, _MOST_CUT = 10_000, 100_000
_TRIANGULATE = "cut its faces into triangles in a mesh editor"


def triangles_of(raw: RawMesh) -> np.ndarray:
    """Triangles (m, 3) int64 of a mesh's faces; SceneError where a face names a corner that is not there."""
    _refuse_missing_corners(raw)
    if raw.sizes.size and raw.sizes.max() > _MOST_CORNERS:
        raise unusable(
            f"a face with {int(raw.sizes.max())} corners", _TRIANGULATE, f"at most {_MOST_CORNERS} corners a face"
        )
    refuse_too_many(int(np.maximum(raw.sizes - 2, 0).sum()))
    starts = np.cumsum(raw.sizes) - raw.sizes
    parts = [raw.corners[starts[raw.sizes == 3][:, None] + np.arange(3)]]
    n_cut = 0
    for size in np.unique(raw.sizes[raw.sizes > 3]):
        polygons = raw.corners[starts[raw.sizes == size][:, None] + np.arange(size)]
        for first in range(2):
            polygons = np.roll(polygons, -first, axis=1)
            open_fan = _is_fan(raw.vertices, polygons)
            fan = polygons[open_fan]
            parts.append(
                np.stack([np.repeat(fan[:, :1], size - 2, axis=1), fan[:, 1:-1], fan[:, 2:]], axis=2).reshape(-1, 3)
            )
            polygons = polygons[~open_fan]
        n_cut += len(polygons)
        if n_cut > _MOST_CUT:
            raise unusable(f"over {_MOST_CUT} faces with corners turned inward", _TRIANGULATE)
        parts += [_cut_polygon(raw.vertices, polygon) for polygon in polygons]
    return np.concatenate(parts)


def _refuse_missing_corners(raw: RawMesh) -> None:
    missing = (raw.corners < 0) | (raw.corners >= len(raw.vertices))
    if missing.any():
        at = int(np.argmax(missing))
        face = int(np.searchsorted(np.cumsum(raw.sizes), at, side="right")) + 1
        counted = "" if raw.first_number == 1 else f", counted from {raw.first_number}"
        raise unusable(
            f"face {face} names vertex {int(raw.corners[at]) + raw.first_number} of {len(raw.vertices)}{counted}",
            "copy or export it again",
        )


def _is_fan(vertices: np.ndarray, polygons: np.ndarray) -> np.ndarray:
    """Whether all triangles that a polygon's (k, n) first corner makes with its sides turn as the whole does, (k,)."""
    normal = np.zeros((len(polygons), 3))
    first = vertices[polygons[:, 0]]
    for corner in range(1, polygons.shape[1] - 1):
        normal += _turn(first, vertices[polygons[:, corner]], vertices[polygons[:, corner + 1]])
    result = np.ones(len(polygons), bool)
    for corner in range(1, polygons.shape[1] - 1):
        result &= (
            np.einsum(
                "ij,ij->i", normal, _turn(first, vertices[polygons[:, corner]], vertices[polygons[:, corner + 1]])
            )
            > 0.0
        )
    return result


def _turn(a, b, c) -> np.ndarray:
    """Twice the area of triangles a, b, c (n, 3), along their normals."""
    return np.cross(b - a, c - a)


def _cut_polygon(vertices: np.ndarray, polygon: np.ndarray) -> np.ndarray:
    """Ears cut in the polygon's own plane; a fan where it has none."""
    corners = vertices[polygon]
    following = np.roll(corners, -1, axis=0)
    # Newell's normal: right for polygons that are not convex, or not quite flat.
    normal = np.array(
        [
            (
                (corners[:, (i + 1) % 3] - following[:, (i + 1) % 3])
                * (corners[:, (i + 2) % 3] + following[:, (i + 2) % 3])
            ).sum()
            for i in range(3)
        ]
    )
    if not np.all(np.isfinite(normal)) or not normal.any():
        fan = np.arange(1, polygon.size - 1)
        return polygon[np.stack([np.zeros_like(fan), fan, fan + 1], axis=1)]
    import mapbox_earcut

    drop = int(np.argmax(np.abs(normal)))
    kept = [(drop + 1) % 3, (drop + 2) % 3]
    flat = np.ascontiguousarray(corners[:, kept])
    cut = np.asarray(mapbox_earcut.triangulate_float64(flat, np.array([polygon.size], np.uint32)), np.int64).reshape(
        -1, 3
    )
    a, b, c = (flat[cut[:, i]] for i in range(3))
    area = ((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]).sum()
    if area * normal[drop] < 0.0:
        cut = cut[:, ::-1]
    return polygon[cut]
