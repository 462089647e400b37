"""A scene's meshes, placed and joined to arrays, with their tree and what they reflect."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from projector.optics.finishes import FINISHES, MATTE
from projector.optics.gloss import Gloss, make_gloss
from projector.photometry.colour import reflectance_from_linear_srgb
from projector.photometry.spectra import N_WAVELENGTHS
from projector.scene.placement import file_stamp, mesh_path, placed_objects
from projector.tracing.rays.bvh import Bvh, build_bvh
from projector.tracing.rays.smooth_surface import clearances_of
from projector.tracing.rays.surfaces import Surfaces


@dataclass(frozen=True)
class SceneArrays:
    """What stands in the scene: surfaces, their tree, and the names of their objects."""

    surfaces: Surfaces
    bvh: Bvh
    names: tuple[str, ...]


def scene_arrays(scene) -> SceneArrays:
    """Build and place every mesh of a Scene and the tree over all of them."""

    objects = placed_objects(scene)
    vertices, normals, triangles, owners = [], [], [], []
    n_vertices = 0
    for owner, item in enumerate(objects):
        mesh = item.mesh if item.mesh.normals is not None else _flat_shaded(item.mesh)
        vertices.append(mesh.vertices)
        normals.append(np.asarray(mesh.normals))
        triangles.append(mesh.triangles + n_vertices)
        owners.append(np.full(len(mesh.triangles), owner, np.int32))
        n_vertices += len(mesh.vertices)
    joined = (
        np.ascontiguousarray(np.concatenate(vertices)),
        np.ascontiguousarray(np.concatenate(normals)),
        np.ascontiguousarray(np.concatenate(triangles).astype(np.int32)),
    )
    # Every object is of one material so far.
    of_object = np.concatenate(owners)
    surfaces = Surfaces(*joined, owners=of_object, materials=of_object, clearances=clearances_of(*joined))
    return SceneArrays(
        surfaces, build_bvh(surfaces.vertices, surfaces.triangles), tuple(item.spec.name for item in objects)
    )


# What a surface or a figure says of its look; all else that it says is of its shape.
_LOOK = {"reflectance", "colour", "finish"}


def shape_inputs(scene) -> tuple:
    """All that `scene_arrays` is made of, and mesh files as they are now."""
    files = tuple(file_stamp(mesh_path(scene, item)) for item in scene.surface if item.shape == "mesh")
    return tuple(item.model_dump_json(exclude=_LOOK) for item in (*scene.surface, *scene.figure)), files


def reflectances_of(scene) -> np.ndarray:
    """Reflectance spectra (k, 71) of the scene's materials, in the order of `Surfaces.materials`: one an object."""
    return np.array([_reflectance(item) for item in (*scene.surface, *scene.figure)]).reshape(-1, N_WAVELENGTHS)


def gloss_of(scene) -> Gloss | None:
    """Skins of the scene's materials, in the order of `Surfaces.materials`; None where all are matte."""
    finishes = tuple(item.finish for item in (*scene.surface, *scene.figure))
    return None if all(finish == MATTE for finish in finishes) else _gloss_called(finishes)


@lru_cache(maxsize=16)
def _gloss_called(finishes: tuple[str, ...]) -> Gloss:
    numbers = np.array([FINISHES[finish] for finish in finishes])
    return make_gloss(numbers[:, 0], numbers[:, 1])


def _flat_shaded(mesh):
    """The mesh with corners of its own for every triangle, so that each can carry its triangle's normal."""
    corners = mesh.vertices[mesh.triangles]
    facets = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    facets /= np.maximum(np.linalg.norm(facets, axis=1, keepdims=True), 1e-300)
    triangles = np.arange(3 * len(corners), dtype=np.int32).reshape(-1, 3)
    return type(mesh)(corners.reshape(-1, 3), triangles, np.repeat(facets, 3, axis=0), list(mesh.notes))


def _reflectance(spec) -> np.ndarray:
    """Reflectance spectrum (71,) of a surface or a figure: its colour, or its one number at every wavelength."""
    if spec.colour is not None:
        return reflectance_from_linear_srgb(np.asarray(spec.colour, float))
    return np.full(N_WAVELENGTHS, float(spec.reflectance))
