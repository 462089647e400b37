"""The smooth surface that a coarse mesh stands for, and where shadow rays have to start so that its facets shade
nothing.

A mesh with smooth normals is shaded as a smooth surface but blocks rays with its flat facets. Where the surface bulges,
a facet lies under it and its neighbours stand in the way of grazing light; where it is hollow, facets lie over it, and
on a saddle (the neck above a shoulder) light that grazes along the bulge meets ridges of the hollow. Either way whole
triangles go black along the terminator.

The smooth surface over a triangle is taken as the quadratic whose edges bulge as those of curved PN triangles do (A.
Vlachos, J. Peters, C. Boyd, J. Mitchell, I3D 2001). A shadow ray starts on it, raised by as much as any facet beside
its corners rises over it: from there a ray over the horizon clears them all. That raising the start cures the
terminator is J. Hanika's ("Hacking the Shadow Terminator", Ray Tracing Gems II, 2021), whose law covers bulges alone.
"""

from __future__ import annotations

import numpy as np

from projector.geometry import add_scaled, dot, subtract
from projector.jit import formula, kernel
from projector.tracing.rays.bvh import closest_hit

# The quadratic and the interpolated normals are right to third order in a facet's size: so much of the largest bulge
# beside a corner is added for what they leave out.
_MARGIN = 0.25
# Starts are lifted at least by this share of the scene's coordinates: a few steps of the float32 that places are kept
# in.
_ROUNDING = 4e-7
# Where a start is raised by less (m), whatever else may stand so near is not looked for: half a sheet of paper.
_NARROWEST_GAP = 5e-5


@formula
def edge_bulge(a, b, normal_a, normal_b):
    """How far (m) the smooth surface lies over the middle of an edge from a to b, along its corners' normals; below 0
    in a hollow.
    """
    return 0.125 * dot(subtract(b, a), subtract(normal_b, normal_a))


@formula
def edge_bulges(corners, normals):
    """`edge_bulge` of a triangle's edges ab, bc, ca."""
    a, b, c = corners
    na, nb, nc = normals
    return edge_bulge(a, b, na, nb), edge_bulge(b, c, nb, nc), edge_bulge(c, a, nc, na)


@formula
def height_over_facet(bulges, weights):
    """How far (m) the smooth surface lies over a triangle's facet at barycentric weights: 4 · Σ of weight · weight ·
    bulge.
    """
    return 4.0 * (
        weights[0] * weights[1] * bulges[0] + weights[1] * weights[2] * bulges[1] + weights[2] * weights[0] * bulges[2]
    )


@formula
def _rise_of_facet(bulges, side):
    """How far (m) a facet rises over the smooth surface at most, seen from a side (1: that of the normals, −1: the
    other), and the margin.

    The largest of three hollow edges and of the middle, where the three weights are 1/3.
    """
    ab, bc, ca = side * bulges[0], side * bulges[1], side * bulges[2]
    rise = max(0.0, -ab, -bc, -ca, -4.0 / 9.0 * (ab + bc + ca))
    return rise + _MARGIN * max(abs(ab), abs(bc), abs(ca))


@formula
def row_of(values, index):
    """Row of an (n, 3) array as a 3-tuple."""
    return values[index, 0], values[index, 1], values[index, 2]


@formula
def rows_of_corners(values, triangles, triangle):
    """The rows of an (n, 3) array at a triangle's three corners."""
    return (
        row_of(values, triangles[triangle, 0]),
        row_of(values, triangles[triangle, 1]),
        row_of(values, triangles[triangle, 2]),
    )


@kernel
def _fill_clearances(vertices, normals, triangles, clearances):
    for triangle in range(triangles.shape[0]):
        bulges = edge_bulges(
            rows_of_corners(vertices, triangles, triangle), rows_of_corners(normals, triangles, triangle)
        )
        for side in range(2):
            rise = _rise_of_facet(bulges, 1.0 - 2.0 * side)
            for corner in range(3):
                index = triangles[triangle, corner]
                clearances[index, side] = max(clearances[index, side], np.float32(rise))


def clearances_of(vertices, normals, triangles) -> np.ndarray:
    """How far (m) over the smooth surface a shadow ray has to start at each corner: (n, 2) float32, on the side of its
    normal and on the other.

    vertices (n, 3) and unit normals (n, 3) float64, triangles (m, 3) int32. 0 where all facets of a corner are flat.
    """
    clearances = np.zeros((len(vertices), 2), np.float32)
    _fill_clearances(vertices, normals, triangles, clearances)
    return clearances


@formula
def _blend(a, b, c, weights):
    return weights[0] * a + weights[1] * b + weights[2] * c


@formula
def shadow_ray_start(bvh, surfaces, triangle, weights, place, smooth, facet, side):
    """Where shadow rays of a point start (3-tuple, m).

    place: the point, at barycentric weights of a triangle; smooth: the smooth normal there; facet: the triangle's own
        on the same side of it; side: 1 or −1, which side of both is looked at. Something that stands nearer over the
        point than
    the start would be (a strap on the shoulder) is not jumped: the start then lies halfway to it.
    """
    step = side * _ROUNDING * (1.0 + abs(place[0]) + abs(place[1]) + abs(place[2]))
    lifted = add_scaled(place, facet, step)
    bulges = edge_bulges(
        rows_of_corners(surfaces.vertices, surfaces.triangles, triangle),
        rows_of_corners(surfaces.normals, surfaces.triangles, triangle),
    )
    column = 0 if side > 0.0 else 1
    corners = surfaces.triangles
    clearance = _blend(
        surfaces.clearances[corners[triangle, 0], column],
        surfaces.clearances[corners[triangle, 1], column],
        surfaces.clearances[corners[triangle, 2], column],
        weights,
    )
    rise = clearance + side * height_over_facet(bulges, weights)
    if not rise > 0.0:
        return lifted
    way = (side * rise * smooth[0], side * rise * smooth[1], side * rise * smooth[2])
    share = 1.0
    if rise > _NARROWEST_GAP:
        share = min(1.0, 0.5 * closest_hit(bvh, lifted, way, 0.0, 2.0)[0])
    return add_scaled(lifted, way, share)
