"""Few wavelengths that stand for a whole spectrum: only the geometry is interpolated between them, never the light."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from projector.photometry.spectra import N_WAVELENGTHS, OBSERVER, WAVELENGTHS_NM


class WavelengthNodes(NamedTuple):
    """Node wavelengths (n,) nm and their weights on the full grid, hat (n, 71): each column sums to 1."""

    wavelengths_nm: np.ndarray
    hat: np.ndarray


def choose_nodes(spectrum, n_nodes: int) -> WavelengthNodes:
    """Nodes for a spectrum (71,), placed so that equal shares of visible, dispersed light lie between neighbours.

    Between nodes the geometry runs straight in 1/λ², along which an index of refraction is nearly straight too.
    """
    coordinate = _along_index(WAVELENGTHS_NM)
    seen = (np.asarray(spectrum, float)[:, None] * OBSERVER).sum(axis=1)
    if not seen.max() > 0.0:
        seen = OBSERVER.sum(axis=1)
    density = np.sqrt(seen / seen.max() + 1e-4) * np.sqrt(np.abs(np.gradient(coordinate)))
    cumulative = np.concatenate([[0.0], np.cumsum(0.5 * (density[1:] + density[:-1]))])
    shares = (np.arange(n_nodes) + 0.5) / n_nodes
    nodes = np.interp(shares * cumulative[-1], cumulative, WAVELENGTHS_NM)
    at = _along_index(nodes)[::-1]
    hat = np.zeros((n_nodes, N_WAVELENGTHS))
    for i in range(n_nodes):
        hat[n_nodes - 1 - i] = np.interp(coordinate, at, np.eye(n_nodes)[i])
    return WavelengthNodes(nodes, hat)


def _along_index(wavelength_nm) -> np.ndarray:
    """A coordinate in which indices of refraction run nearly straight: 1/λ² (Cauchy's law), λ in µm."""
    return 1e6 / np.asarray(wavelength_nm, float) ** 2
