"""The colour temperature that a light comes nearest to, and how far off it lies: towards green or magenta."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from projector.photometry.colour import planck_xy

# Mireds of the black bodies that are tried: 50 000 to 1000 K.
_FROM_MIRED, _TO_MIRED, _STEP_MIRED = 20.0, 1000.0, 2.0


def uv_from_xy(xy) -> np.ndarray:
    """CIE 1960 (u, v) of (x, y), last axis 2: u = 4x/(12y − 2x + 3), v = 6y/(12y − 2x + 3) (CIE 015:2018)."""
    x, y = np.moveaxis(np.asarray(xy, dtype=float), -1, 0)
    divisor = 12.0 * y - 2.0 * x + 3.0
    return np.stack([4.0 * x / divisor, 6.0 * y / divisor], axis=-1)


@lru_cache(maxsize=1)
def _black_bodies() -> tuple[np.ndarray, np.ndarray]:
    """Mireds (n,) and (u, v) (n, 2) of black bodies."""
    mireds = np.arange(_FROM_MIRED, _TO_MIRED + 0.5 * _STEP_MIRED, _STEP_MIRED)
    return mireds, uv_from_xy(np.array([planck_xy(1e6 / mired) for mired in mireds]))


def nearest_temperature(xy) -> tuple[float, float]:
    """Correlated colour temperature (K) of a chromaticity and its distance D_uv from the black body, positive towards
    green (CIE 015:2018; ANSI C78.377 for the sign).

    The nearest point of the black bodies' curve in CIE 1960 (u, v), straight between two mireds. At 1000 and 50 000 K
    the curve ends, and a colour beyond gets the end.
    """
    mireds, curve = _black_bodies()
    point = uv_from_xy(xy)
    starts, ways = curve[:-1], np.diff(curve, axis=0)
    shares = np.clip(((point - starts) * ways).sum(axis=1) / (ways**2).sum(axis=1), 0.0, 1.0)
    away = point - (starts + shares[:, None] * ways)
    nearest = int(np.argmin((away**2).sum(axis=1)))
    distance = float(np.hypot(*away[nearest]))
    # Towards higher mireds the curve runs to the right in u; green lies on its upper side.
    along, off = ways[nearest], away[nearest]
    side = along[0] * off[1] - along[1] * off[0]
    return float(1e6 / (mireds[nearest] + shares[nearest] * _STEP_MIRED)), distance if side >= 0.0 else -distance
