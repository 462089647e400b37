"""Surfaces and camera as kernels see them."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np


class Surfaces(NamedTuple):
    """All meshes of a scene as one: vertices and normals (n, 3) float64, triangles (m, 3) int32, owners (m,) int32.

    owners: which object of the scene a triangle belongs to, a row of `SceneArrays.names` and of the weights
    clearances (n, 2) float32: how far (m) over the smooth surface shadow rays start, see `clearances_of`
    """

    vertices: np.ndarray
    normals: np.ndarray
    triangles: np.ndarray
    owners: np.ndarray
    clearances: np.ndarray


class Camera(NamedTuple):
    """A pinhole camera: position, right, down, forward (3,) tuples; half sizes of the picture at distance 1; pixels."""

    position: tuple
    right: tuple
    down: tuple
    forward: tuple
    half_width: float
    half_height: float
    width: int
    height: int
