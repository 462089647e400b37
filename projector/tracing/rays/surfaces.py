"""Surfaces and camera as kernels see them."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np


class Surfaces(NamedTuple):
    """All meshes of a scene as one: vertices and normals (n, 3) float64, triangles (m, 3) int32.

    owners (m,) int32: which object of the scene a triangle belongs to, a row of `SceneArrays.names`; outlines go by it
    materials (m,) int32: what it is made of, a row of the reflectances and of the weights; an object may have several
    clearances (n, 2) float32: how far (m) over the smooth surface shadow rays start, see `clearances_of`
    """

    vertices: np.ndarray
    normals: np.ndarray
    triangles: np.ndarray
    owners: np.ndarray
    materials: np.ndarray
    clearances: np.ndarray


class PinholeCamera(NamedTuple):
    """A pinhole camera: position, right, down, forward (3,) tuples; half sizes of the picture at distance 1; pixels."""

    position: tuple
    right: tuple
    down: tuple
    forward: tuple
    half_width: float
    half_height: float
    width: int
    height: int
