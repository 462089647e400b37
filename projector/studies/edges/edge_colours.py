"""The colours across an edge as the camera sees them, and the strongest on either side of it."""

from __future__ import annotations

import colorsys
from dataclasses import dataclass

import numpy as np

from projector.photometry.colour import SRGB_LUMINANCE, delta_e, encode_srgb, linear_srgb_under_white, white_balance_xyz
from projector.shown import Drawn


@dataclass(frozen=True, repr=False)
class EdgeColours(Drawn):
    """The edge as colours: positions (n,) mm, linear sRGB (n, 3) of full light 1, as the camera is balanced."""

    positions_mm: np.ndarray
    linear_rgb: np.ndarray

    def _line(self) -> str:
        return f"from {self.positions_mm[0]:.2f} to {self.positions_mm[-1]:.2f} mm across the edge"


def edge_colours(scene, edge, weights, pixel_mm: float) -> EdgeColours:
    """The edge's colours under the camera's white balance, averaged over one camera pixel."""
    matrix = linear_srgb_under_white(white_balance_xyz(scene.camera.white_balance_k))
    return EdgeColours(1e3 * edge.positions, edge_xyz(edge, weights, pixel_mm) @ matrix.T / weights[:, 1].sum())


def rim(scene, edge, weights, pixel_mm: float):
    """The strongest colour on the dark and on the bright side, and the largest ΔE*ab from the edge's own grey."""
    found = edge_colours(scene, edge, weights, pixel_mm)
    full = weights.sum(axis=0)
    rgb = found.linear_rgb
    luminance = rgb @ SRGB_LUMINANCE
    full_rgb = rgb[-1] if luminance[-1] > luminance[0] else rgb[0]
    xyz = edge_xyz(edge, weights, pixel_mm)
    grey = xyz[:, 1:2] / full[1] * full
    # To an eye adapted to the camera's white: of a filtered beam's own white one part may be next to nothing.
    differences = delta_e(xyz, grey, white_balance_xyz(scene.camera.white_balance_k) * full[1])
    between = (luminance > 0.02 * luminance.max()) & (luminance < 0.98 * luminance.max())
    differences = np.where(between, differences, 0.0)
    dark = between & (luminance < 0.5 * luminance.max())
    bright = between & ~dark
    return (
        _strongest(rgb, full_rgb, differences, dark),
        _strongest(rgb, full_rgb, differences, bright),
        float(differences.max()),
    )


def edge_xyz(edge, weights, pixel_mm: float) -> np.ndarray:
    """XYZ (n, 3) across the edge, averaged over one camera pixel."""
    xyz, half = edge.shares @ weights, 0.5e-3 * pixel_mm
    # The integral up to every position, level on either side as far as a pixel reaches.
    places = np.concatenate([[edge.positions[0] - half], edge.positions, [edge.positions[-1] + half]])
    levels = np.concatenate([xyz[:1], xyz, xyz[-1:]])
    sums = np.concatenate(
        [np.zeros((1, 3)), np.cumsum(0.5 * (levels[1:] + levels[:-1]) * np.diff(places)[:, None], axis=0)]
    )
    ends = [
        [np.interp(edge.positions + side, places, sums[:, channel]) for channel in range(3)] for side in (-half, half)
    ]
    return (np.array(ends[1]) - np.array(ends[0])).T / (2.0 * half)


def _strongest(rgb, full_rgb, differences, where) -> tuple[str, str]:
    """The colour of the largest difference among the given places, as hexadecimal sRGB and a word.

    Shown as if full light were white, unless that is a colour of its own, beyond or nearly beyond what a screen can
    show.
    """
    if not where.any() or differences[where].max() < 1.0:
        return "#808080", "grey"
    index = int(np.argmax(np.where(where, differences, -1.0)))
    is_whitish = full_rgb.min() > 0.05 * full_rgb.max()
    neutral = np.clip(rgb[index] / (full_rgb if is_whitish else full_rgb.max()), 0.0, None)
    shown = np.clip(encode_srgb(neutral / max(neutral.max(), 1e-9)), 0.0, 1.0)
    return "#" + "".join(f"{round(255 * value):02x}" for value in shown), _word(shown)


def _word(rgb) -> str:
    hue, lightness, _ = colorsys.rgb_to_hls(*map(float, rgb))
    if max(rgb) - min(rgb) < 0.06:
        return "grey"
    names = [
        (15, "red"),
        (40, "orange"),
        (70, "yellow"),
        (160, "green"),
        (200, "cyan"),
        (255, "blue"),
        (290, "violet"),
        (335, "purple"),
        (361, "red"),
    ]
    word = next(name for limit, name in names if 360.0 * hue < limit)
    return f"pale {word}" if lightness > 0.85 else word
