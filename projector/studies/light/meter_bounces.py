"""What surfaces send a meter of each light: paths from its receptor over so many surfaces, each lit at every one.

E = ∫ r(ω)·L(ω) dω with the receptor's law r, L = ρ·E/π of a matt surface, and so on from surface to surface (J. T.
Kajiya, The Rendering Equation, SIGGRAPH 1986). A surface's light is a light's spectrum times its share there in yellow:
colour fringes play no part in what bounces.
"""

from __future__ import annotations

import math

import numpy as np

from projector.optics.area_light import dome_response
from projector.optics.dispersion import LINE_D_NM
from projector.photometry.spectra import K_M, LUMINOUS_STEPS
from projector.rendering.area_light import received_by_rays
from projector.rendering.maps.map_grid import surface_points
from projector.rendering.workers import Workers
from projector.stage.stage import Stage, StagedLight, StagedProjector
from projector.stage.surfaces import SceneArrays
from projector.studies.light.meter_place import MeterPlace
from projector.tracing.light.reference import add_light_by_rays
from projector.tracing.rays.bvh import closest_hits
from projector.tracing.sight.points import DOME, Points, n_points

# Paths, as many along each side of a square of directions, and rays to a light along a side from each of their ends.
N_PATHS_SIDE, _N_RAYS_SIDE = 128, 2
# Facets of a mesh rise over the smooth surface by less than this (m): shadow rays start over them.
_RISE_M = 1e-3
_FAR = 1e6
# What is nearer than this (m) the meter's own body keeps dark, or hides: common practice, no source.
_BODY_M = 0.08


def bounced_here(stage: Stage, place: MeterPlace, n_bounces: int) -> dict[str, float]:
    """Light (lx, of a flash lx·s) of every light by name that comes to a receptor over 1 … n_bounces surfaces."""
    lights = (*stage.projectors, *stage.lights)
    found = {light.name: 0.0 for light in lights}
    chosen, arrays = np.random.default_rng(0), stage.arrays
    ways, weights = _first_ways(place, chosen)
    origins = np.tile(place.points.origins[0].astype(float), (len(ways), 1))
    through = np.ones((len(ways), LUMINOUS_STEPS.size))
    for bounce in range(n_bounces):
        points, kept = _met(arrays, origins, ways)
        if bounce == 0:
            # The meter itself stands in the light of what it is held against.
            away = np.linalg.norm(points.positions.astype(float) - place.point, axis=1)
            weights[kept] *= away > _BODY_M
        weights, through = weights[kept], through[kept] * stage.reflectances[points.materials]
        if not len(weights):
            break
        luminous = through * (K_M * LUMINOUS_STEPS)
        for light in lights:
            per_luminance = luminous @ light.power.spectrum
            share = _shares(light, points, bounce)
            found[light.name] += float((weights * per_luminance * share).sum()) / math.pi
        origins, ways = points.origins.astype(float), _cosine_ways(points.normals.astype(float), chosen)
    return found


def _first_ways(place: MeterPlace, chosen: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Directions (n, 3) from a receptor, one in each cell of the square, and what each stands for (n,) sr."""
    steps = np.arange(N_PATHS_SIDE, dtype=float)
    u, v = ((part.ravel() + chosen.random(part.size)) / N_PATHS_SIDE for part in np.meshgrid(steps, steps))
    if place.points.receiver != DOME:
        return _about(np.tile(place.axis, (u.size, 1)), np.sqrt(1.0 - u), v), np.full(u.size, math.pi / u.size)
    cosine = 1.0 - 2.0 * u
    return _about(np.tile(place.axis, (u.size, 1)), cosine, v), 4.0 * math.pi / u.size * dome_response(cosine)


def _cosine_ways(normals: np.ndarray, chosen: np.random.Generator) -> np.ndarray:
    """A direction (n, 3) from each surface, as often as its cosine is large."""
    u, v = chosen.random((2, len(normals)))
    return _about(normals, np.sqrt(1.0 - u), v)


def _about(axes: np.ndarray, cosine: np.ndarray, turn: np.ndarray) -> np.ndarray:
    """Directions (n, 3) at angles of these cosines to axes (n, 3), turned about them by shares (n,) of a whole turn."""
    other = np.where(np.abs(axes[:, :1]) < 0.7, [[1.0, 0.0, 0.0]], [[0.0, 1.0, 0.0]])
    right = np.cross(axes, other)
    right /= np.linalg.norm(right, axis=1, keepdims=True)
    sine, angle = np.sqrt(np.maximum(1.0 - cosine**2, 0.0)), 2.0 * math.pi * turn
    across = np.cos(angle)[:, None] * right + np.sin(angle)[:, None] * np.cross(axes, right)
    return cosine[:, None] * axes + sine[:, None] * across


def _met(arrays: SceneArrays, origins: np.ndarray, ways: np.ndarray) -> tuple[Points, np.ndarray]:
    """The points of surfaces that rays meet, on the side that is met, and which rays (n,) met one."""
    count = len(ways)
    t, faces, u, v = np.empty(count), np.empty(count, np.int32), np.empty(count), np.empty(count)
    closest_hits(arrays.bvh, origins, np.ascontiguousarray(ways), 0.0, _FAR, 0, count, t, faces, u, v)
    kept = faces >= 0
    faces, corners = faces[kept], np.stack([1.0 - u - v, u, v], axis=-1)[kept]
    normals = np.einsum("nk,nkc->nc", corners, arrays.surfaces.normals[arrays.surfaces.triangles[faces]])
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    normals *= np.where((normals * ways[kept]).sum(axis=1) > 0.0, -1.0, 1.0)[:, None]
    points = surface_points(origins[kept] + t[kept, None] * ways[kept], normals, _RISE_M)
    return points._replace(materials=arrays.surfaces.materials[faces]), kept


def _shares(light: StagedProjector | StagedLight, points: Points, seed: int) -> np.ndarray:
    """Illuminance over luminance (n,) sr that points of surfaces get of a light, its shadows and pattern counted."""
    if isinstance(light, StagedLight):
        with Workers(1) as workers:
            return received_by_rays(light.stage.arrays, light.shine, points, _N_RAYS_SIDE, seed, workers)
    found, bare = np.zeros((n_points(points), 1)), points._replace(materials=np.zeros_like(points.materials))
    tree, weights = light.stage.arrays.bvh, np.ones((1, 1, 1))
    add_light_by_rays(light.light([LINE_D_NM]), tree, bare, weights, _N_RAYS_SIDE, seed, 0, len(found), found)
    return found[:, 0]
