"""Triangles without normals made smooth: corners at one place joined, normals that end at creases."""

from __future__ import annotations

import numpy as np

# Neighbouring triangles that meet at less than this angle are shaded as one smooth surface.
CREASE_ANGLE_DEG = 40.0
# A vertex of more faces than this (the tip of a fan) keeps each face's own normal where they do not agree.
_MOST_PAIRED = 256
_PAIRS_AT_ONCE = 2_000_000


def joined_vertices(vertices: np.ndarray, triangles: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Vertices (n, 3) at exactly the same place made one, so that neighbours know each other, and the triangles (m, 3)
    int32 of those.
    """
    used = np.flatnonzero(np.bincount(triangles.reshape(-1), minlength=len(vertices)))
    # Adding zero makes one of the two zeros.
    bits = np.ascontiguousarray(vertices[used] + 0.0).view(np.uint64)
    first, number = _groups(bits)
    place = np.zeros(len(vertices), np.int32)
    place[used] = number
    return vertices[used[first]], place[triangles]


def _groups(keys: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Rows (n, k) uint64 that agree: (the first row of each group, the number of each row's group), in the order of the
    rows.

    np.unique sorts the rows themselves; to sort one number made of each is several times faster.
    """
    mixed = np.zeros(len(keys), np.uint64)
    for column in range(keys.shape[1]):
        # The finalizer of a 64-bit hash (D. Stafford's variant 13 of MurmurHash3's): rows that differ seldom meet.
        mixed = (mixed ^ keys[:, column]) + np.uint64(0x9E3779B97F4A7C15)
        mixed = (mixed ^ (mixed >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
        mixed = (mixed ^ (mixed >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
        mixed ^= mixed >> np.uint64(31)
    order = np.argsort(mixed, kind="stable")
    in_order = keys[order]
    differs = (in_order[1:] != in_order[:-1]).any(axis=1)
    if (differs & (mixed[order][1:] == mixed[order][:-1])).any():
        # Two rows met in one number: rare enough to do it the slow way.
        order = np.lexsort(keys.T[::-1])
        in_order = keys[order]
        differs = (in_order[1:] != in_order[:-1]).any(axis=1)
    begins = np.concatenate([np.ones(min(len(keys), 1), bool), differs])
    first = order[begins]
    rank = np.empty(len(first), np.int64)
    rank[np.argsort(first)] = np.arange(len(first))
    number = np.empty(len(keys), np.int64)
    number[order] = rank[np.cumsum(begins) - 1]
    return np.sort(first), number


def smoothed(vertices: np.ndarray, triangles: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Vertices, triangles and normals, split where faces meet at a crease; each normal is weighted by the faces' corner
    angles.
    """
    corners = vertices[triangles]
    facets = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    facets /= np.maximum(np.linalg.norm(facets, axis=1, keepdims=True), 1e-300)
    normals = _corner_normals(triangles, facets, _corner_angles(corners), len(vertices))
    # Normals that agree to a millionth are one: three numbers of 21 bits.
    steps = np.round(normals * 1e6).astype(np.int64)
    packed = (steps[:, 0] * 2**21 + steps[:, 1]) * 2**21 + steps[:, 2]
    flat = triangles.reshape(-1)
    first, number = _groups(np.stack([flat.astype(np.int64), packed], axis=1).view(np.uint64))
    return (
        np.ascontiguousarray(vertices[flat[first]]),
        number.reshape(-1, 3).astype(np.int32),
        np.ascontiguousarray(normals[first]),
    )


def _corner_angles(corners: np.ndarray) -> np.ndarray:
    """Angles (m, 3) of triangles with corners (m, 3, 3)."""
    result = np.empty(corners.shape[:2])
    for i in range(3):
        a = corners[:, (i + 1) % 3] - corners[:, i]
        b = corners[:, (i + 2) % 3] - corners[:, i]
        cosine = np.einsum("ij,ij->i", a, b) / np.maximum(np.linalg.norm(a, axis=1) * np.linalg.norm(b, axis=1), 1e-300)
        result[:, i] = np.arccos(np.clip(cosine, -1.0, 1.0))
    return result


def _corner_normals(triangles, facets, angles, n_vertices: int) -> np.ndarray:
    """Normal (3 m, 3) of each triangle's corners: the mean over the vertex's faces within the
    crease angle of this one.
    """
    flat = triangles.reshape(-1)
    order = np.argsort(flat, kind="stable")
    counts = np.bincount(flat, minlength=n_vertices)
    starts = np.cumsum(counts) - counts
    owner = np.repeat(np.arange(len(triangles)), 3)
    weighted = facets[owner] * angles.reshape(-1, 1)
    sums = np.stack([np.bincount(flat, weighted[:, axis], n_vertices) for axis in range(3)], axis=1)
    normals = sums[flat]
    lengths = np.maximum(np.linalg.norm(sums, axis=1), 1e-300)
    # Faces that all lie within half the crease angle of their mean lie within the whole of each other.
    cosines = np.einsum("ij,ij->i", normals, facets[owner]) / lengths[flat]
    apart = np.bincount(flat, cosines < np.cos(np.radians(0.5 * CREASE_ANGLE_DEG)), n_vertices) > 0
    limit = np.cos(np.radians(CREASE_ANGLE_DEG))
    for count in np.unique(counts[apart]):
        chosen = starts[apart & (counts == count)]
        if count > _MOST_PAIRED:
            rows = order[np.concatenate([np.arange(start, start + count) for start in chosen])]
            normals[rows] = facets[owner[rows]]
            continue
        step = max(1, _PAIRS_AT_ONCE // int(count * count))
        for at in range(0, len(chosen), step):
            rows = order[chosen[at : at + step, None] + np.arange(count)[None, :]]
            faces = facets[owner[rows]]
            close = np.einsum("nij,nkj->nik", faces, faces) >= limit
            normals[rows] = np.einsum("nik,nkj->nij", close, weighted[rows])
    sizes = np.linalg.norm(normals, axis=1, keepdims=True)
    return np.where(sizes > 1e-12, normals / np.maximum(sizes, 1e-300), facets[owner])
