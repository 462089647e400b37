"""From the figure's field to a closed triangle mesh: a grid that is fine on the face, marching cubes, vertices drawn on
to the field.

Everything here is in millimetres, in the frame of figure_fields.
"""

from __future__ import annotations

import numpy as np

from projector.figures.field.body import body_field
from projector.figures.field.ear import ear_field
from projector.figures.field.face import face_field
from projector.figures.field.fields import smooth_intersection, smooth_union

NECK_END = -192.0
EAR_REACH = 62.0
COARSE_STEP = 3
BAND = 22.0
# Edges whose middle is farther off the surface than this (mm) are split, on the face, on neck and shoulders, where
# grazing light shows the facets of a saddle, and elsewhere, unless shorter than the last.
N_REFINEMENTS = 3
FACE_TOLERANCE, NECK_TOLERANCE, TOLERANCE, SHORTEST_SPLIT = 0.14, 0.25, 0.8, 1.0
# Heights (mm) between which neck and shoulders lie.
_NECK_AND_SHOULDERS = (-260.0, -90.0)

# Wanted edge length of the grid along each axis (mm): positions and spacings.
_SPACING_X = ([0, 44, 62, 68, 92, 104], [2.9, 2.9, 4.4, 3.0, 3.0, 5.0])
_SPACING_Y_HEAD = ([-215, -150, -122, -112, -88, 26, 45, 125], [7.0, 6.5, 4.5, 3.2, 2.8, 2.8, 5.2, 6.5])
_SPACING_Y_BODY = ([-570, -240, -150, -122, -112, -88, 26, 45, 125], [19.0, 14.0, 8.0, 4.5, 3.2, 2.8, 2.8, 5.2, 6.5])
_SPACING_Z = ([-120, -45, -30, 8, 20, 60, 75, 130], [6.0, 6.0, 3.6, 3.6, 5.0, 4.2, 2.9, 2.9])


def figure_field(points, kind):
    """Field of the whole figure at points (x, y, z), three arrays of one shape (mm), for kind "head" or
    "head_and_torso".
    """
    x, y, z = np.abs(points[0]), points[1], points[2]
    field = face_field((x, y, z))
    near_ear = np.flatnonzero((x > 45.0) & (np.abs(y + 15.0) < EAR_REACH) & (np.abs(z + 10.0) < EAR_REACH))
    if near_ear.size:
        ear = ear_field((x[near_ear], y[near_ear], z[near_ear]))
        field[near_ear] = smooth_union(field[near_ear], ear, 7.0)
    if kind == "head":
        return smooth_intersection(field, NECK_END - y, 14.0)
    low = np.flatnonzero(y < -90.0)
    if low.size:
        joined = smooth_union(
            smooth_intersection(field[low], -250.0 - y[low], 10.0), body_field((x[low], y[low], z[low])), 24.0
        )
        # The join fades in below the chin, so that the face does not feel the body under it.
        share = np.clip((-90.0 - y[low]) / 30.0, 0.0, 1.0)
        field[low] += share * share * (3.0 - 2.0 * share) * (joined - field[low])
    return field


# Differences towards the corners of a regular tetrahedron give a gradient from four values.
_TETRAHEDRON = np.array([[1.0, -1.0, -1.0], [-1.0, -1.0, 1.0], [-1.0, 1.0, -1.0], [1.0, 1.0, 1.0]])
_GRADIENT_STEP = 0.05


def field_gradient(points, kind):
    """Gradient (n, 3) of the field at points (n, 3), by differences."""
    gradient = np.zeros_like(points)
    for corner in _TETRAHEDRON:
        gradient += corner * figure_field(tuple((points + _GRADIENT_STEP * corner).T), kind)[:, None]
    return gradient / (4.0 * _GRADIENT_STEP)


def _graded(low, high, spacing):
    """Grid lines from low to high, (n,) with n = 1 modulo COARSE_STEP, about as far apart as `spacing` wants."""
    fine = np.linspace(low, high, 4000)
    cells = np.concatenate([[0.0], np.cumsum(np.diff(fine) / np.interp(0.5 * (fine[1:] + fine[:-1]), *spacing))])
    n_cells = COARSE_STEP * int(np.ceil(cells[-1] / COARSE_STEP))
    return np.interp(np.linspace(0.0, cells[-1], n_cells + 1), cells, fine)


def _grid(kind):
    """Grid points as three arrays (nx, ny, nz): a box around the head that widens below the neck."""
    half = _graded(0.0, 100.0, _SPACING_X)
    across = np.concatenate([-half[:0:-1], half])
    up = _graded(-205.0, 121.0, _SPACING_Y_HEAD) if kind == "head" else _graded(-558.0, 121.0, _SPACING_Y_BODY)
    along = _graded(-112.0, 132.0, _SPACING_Z)
    x, y, z = np.meshgrid(across, up, along, indexing="ij")
    if kind == "head_and_torso":
        share = np.clip((-118.0 - y) / 110.0, 0.0, 1.0)
        share = share * share * (3.0 - 2.0 * share)
        x = x * (1.0 + 1.62 * share)
        z = z + share * (-24.0 + 0.22 * (z - 0.0))
    return x, y, z


def _field_on_grid(grid, kind):
    """Field values (nx, ny, nz): on every point within BAND of the surface,
    interpolated from a coarser grid elsewhere.
    """
    from scipy.ndimage import map_coordinates

    coarse = tuple(axis[::COARSE_STEP, ::COARSE_STEP, ::COARSE_STEP] for axis in grid)
    values = figure_field(tuple(axis.ravel() for axis in coarse), kind).reshape(coarse[0].shape)
    shape = grid[0].shape
    places = np.meshgrid(*(np.arange(n) / COARSE_STEP for n in shape), indexing="ij", sparse=True)
    field = map_coordinates(values, np.broadcast_arrays(*places), order=1, mode="nearest")
    near = np.abs(field) < BAND
    field[near] = figure_field(tuple(axis[near] for axis in grid), kind)
    return field


def _drawn_on(vertices, kind, n_steps):
    """Vertices moved along the field's gradient on to its zero, and that gradient."""
    for _ in range(n_steps):
        values = figure_field(tuple(vertices.T), kind)
        gradient = field_gradient(vertices, kind)
        steepness = np.maximum((gradient**2).sum(axis=1), 0.04)
        move = -values / steepness
        length = np.abs(move) * np.sqrt(steepness)
        vertices = vertices + gradient * (move * np.minimum(1.0, 1.5 / np.maximum(length, 1e-9)))[:, None]
    return vertices


def _relaxed(vertices, triangles, kind, n_rounds):
    """Vertices slid along the surface towards their neighbours' mean: the thin triangles of marching cubes fill out."""
    from scipy.sparse import coo_matrix

    n = len(vertices)
    edges = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
    neighbours = coo_matrix((np.ones(len(edges)), edges.T), shape=(n, n)).tocsr()
    neighbours = ((neighbours + neighbours.T) > 0).astype(float)
    counts = np.asarray(neighbours.sum(axis=1))
    gradient = field_gradient(vertices, kind)
    normal = gradient / np.linalg.norm(gradient, axis=1, keepdims=True)
    for _ in range(n_rounds):
        move = 0.5 * (neighbours @ vertices / counts - vertices)
        vertices = vertices + move - normal * (move * normal).sum(axis=1, keepdims=True)
    return _drawn_on(vertices, kind, 1)


def build_surface(kind):
    """Closed surface of the figure: vertices (n, 3) mm, triangles (m, 3) int32 facing outwards, unit normals (n, 3)."""
    from skimage.measure import marching_cubes

    grid = _grid(kind)
    places, triangles, _, _ = marching_cubes(
        _field_on_grid(grid, kind), 0.0, gradient_direction="descent", allow_degenerate=False
    )
    vertices = _in_space(grid, places)
    vertices = _relaxed(_drawn_on(vertices, kind, 2), triangles, kind, 2)
    for _ in range(N_REFINEMENTS):
        vertices, triangles = _refined(vertices, triangles, kind)
        vertices = _relaxed(vertices, triangles, kind, 1)
    vertices = _drawn_on(vertices, kind, 2)
    gradient = field_gradient(vertices, kind)
    return vertices, triangles.astype(np.int32), gradient / np.linalg.norm(gradient, axis=1, keepdims=True)


def _refined(vertices, triangles, kind):
    """The mesh with every edge split whose middle lies off the field by more than the tolerance; it stays closed."""
    edges = np.sort(np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]]), axis=1)
    edges, edge_of = np.unique(edges, axis=0, return_inverse=True)
    edge_of = edge_of.reshape(3, -1).T
    middles = vertices[edges].mean(axis=1)
    steepness = np.linalg.norm(field_gradient(vertices, kind), axis=1)[edges].mean(axis=1)
    off = np.abs(figure_field(tuple(middles.T), kind)) / np.maximum(steepness, 0.2)
    length = np.linalg.norm(vertices[edges[:, 0]] - vertices[edges[:, 1]], axis=1)
    on_face = (middles[:, 1] > -125.0) & (middles[:, 2] > -45.0)
    low, high = _NECK_AND_SHOULDERS
    on_neck = (middles[:, 1] > low) & (middles[:, 1] < high)
    tolerance = np.where(on_face, FACE_TOLERANCE, np.where(on_neck, NECK_TOLERANCE, TOLERANCE))
    split = (off > tolerance) & (length > SHORTEST_SPLIT)
    number = np.full(len(edges), -1)
    number[split] = len(vertices) + np.arange(split.sum())
    vertices = np.concatenate([vertices, _drawn_on(middles[split], kind, 1)])
    return vertices, _with_split_edges(vertices, triangles, number[edge_of])


def _with_split_edges(vertices, triangles, middle):
    """Triangles cut at the given new corners `middle` (m, 3), -1 where the edge (corner i to corner i + 1) is whole."""
    n_split = (middle >= 0).sum(axis=1)
    pieces = [triangles[n_split == 0]]
    # One split: turn the triangle until its first edge is the split one. Two: until its third is the whole one.
    for count, wanted in ((1, lambda m: m[:, 0] >= 0), (2, lambda m: m[:, 2] < 0)):
        rows = n_split == count
        corners, new = triangles[rows].copy(), middle[rows].copy()
        for _ in range(2):
            turn = ~wanted(new)
            corners[turn], new[turn] = np.roll(corners[turn], -1, axis=1), np.roll(new[turn], -1, axis=1)
        a, b, c = corners.T
        if count == 1:
            pieces += [np.column_stack([a, new[:, 0], c]), np.column_stack([new[:, 0], b, c])]
            continue
        p, q = new[:, 0], new[:, 1]
        pieces.append(np.column_stack([p, b, q]))
        # The four-sided rest is cut along its shorter diagonal.
        short = np.linalg.norm(vertices[a] - vertices[q], axis=1) < np.linalg.norm(vertices[p] - vertices[c], axis=1)
        pieces.append(np.where(short[:, None], np.column_stack([a, p, q]), np.column_stack([a, p, c])))
        pieces.append(np.where(short[:, None], np.column_stack([a, q, c]), np.column_stack([p, q, c])))
    (a, b, c), (p, q, r) = triangles[n_split == 3].T, middle[n_split == 3].T
    pieces += [np.column_stack(piece) for piece in ((a, p, r), (p, b, q), (r, q, c), (p, q, r))]
    return np.concatenate(pieces)


def _in_space(grid, places):
    """Places in index units (n, 3) as points (n, 3) of a grid that may be bent."""
    from scipy.ndimage import map_coordinates

    return np.column_stack([map_coordinates(axis, places.T, order=1, mode="nearest") for axis in grid])
