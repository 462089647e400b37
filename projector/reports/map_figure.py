"""A map of light as a figure: axes in metres, a colour bar, contours in whole stops."""

from __future__ import annotations

import math
import textwrap

import numpy as np

from projector.rendering.irradiance import IrradianceMap
from projector.reports.save import new_figure

# The figure shows this many stops below the brightest; darker places are drawn as the darkest.
STOPS_SHOWN = 7


def map_summary(found: IrradianceMap) -> dict:
    """The map's main numbers, units in the keys."""
    stops = found.stops
    lit = np.isfinite(stops)
    left, right, bottom, top = found.extent_m
    summary = {
        "surface": found.surface,
        "width_m": right - left,
        "height_m": top - bottom,
        "columns": stops.shape[1],
        "rows": stops.shape[0],
        "brightest_stops": float(stops[lit].max()) if lit.any() else -math.inf,
        "lit_share": float((np.nan_to_num(stops, nan=-np.inf) > -6.0).mean()),
    }
    if found.is_absolute:
        power, light = ("J_per_m2", "lx_s") if found.is_flash else ("W_per_m2", "lx")
        summary[f"brightest_{power}"] = float(np.nanmax(found.irradiance))
        summary[f"brightest_{light}"] = float(np.nanmax(found.illuminance))
    return summary


def _whole_stops(stops: np.ndarray) -> tuple[int, int]:
    """Lowest and highest whole stop that the figure shows."""
    lit = stops[np.isfinite(stops)]
    highest = math.ceil(float(lit.max()) - 0.02) if lit.size else 0
    return highest - STOPS_SHOWN, highest


def map_figure(found: IrradianceMap, scene_title: str = ""):
    """The figure of a map: brightness in stops against the open gate, a contour at each whole stop. Without a title the scene's name stands."""
    stops = np.array(found.stops)
    low, high = _whole_stops(stops)
    left, right, bottom, top = found.extent_m
    aspect = (top - bottom) / (right - left)
    figure = new_figure(8.0, float(np.clip(1.5 + 6.0 * aspect, 3.2, 9.0)))
    axes = figure.add_subplot()
    shown = np.clip(np.where(np.isneginf(stops), low, stops), low, high)
    image = axes.imshow(shown, extent=found.extent_m, cmap="cividis", vmin=low, vmax=high, interpolation="nearest", origin="upper")
    lines = _draw_contours(axes, shown, found.extent_m, low, high)
    axes.set_xlabel(found.axis_labels[0] + ("" if lines is None else f"\n{_line_words(lines.levels)}"))
    axes.set_ylabel(found.axis_labels[1])
    axes.set_title(_title(found, scene_title))
    bar = figure.colorbar(image, ax=axes, ticks=range(low, high + 1), shrink=0.9)
    bar.ax.set_yticklabels([_tick(found, stop) for stop in range(low, high + 1)])
    if lines is not None:
        bar.add_lines(lines)
    label = "stops against the open gate on the axis at its focus"
    quantity = "luminous exposure" if found.is_flash else "illuminance"
    bar.set_label(f"{label}\n({quantity}, {found.units[1]})" if found.is_absolute else label)
    return figure


def _draw_contours(axes, shown, extent, low, high):
    """Whole stops as lines; a map as fine as the figure's own pixels would be buried in them, so they follow a softened copy."""
    from scipy.ndimage import gaussian_filter

    left, right, bottom, top = extent
    rows, columns = shown.shape
    x = left + (np.arange(columns) + 0.5) * (right - left) / columns
    y = top - (np.arange(rows) + 0.5) * (top - bottom) / rows
    soft = gaussian_filter(np.nan_to_num(shown, nan=low), max(columns / 800.0, 0.0))
    levels = [stop for stop in range(low + 1, high + 1) if soft.min() < stop < soft.max()]
    # Which stop a line is, the colour bar and the caption say: numbers on lines this close would hide the pattern.
    return axes.contour(x, y, soft, levels=levels, colors="white", linewidths=0.5, linestyles="solid", alpha=0.8) if levels else None


def _line_words(levels) -> str:
    """What the contours are."""
    first, last = (f"{level:+.0f}" if level else "0" for level in (levels[0], levels[-1]))
    return f"white lines: whole stops, {first} to {last}" if len(levels) > 1 else f"white line: {first} stops"


def _tick(found: IrradianceMap, stop: int) -> str:
    if not found.is_absolute:
        return f"{stop:+d}" if stop else "0"
    return f"{stop:+d}  ({_short(found.open_level * 2.0**stop)})"


def _short(value: float) -> str:
    """Three figures without an exponent where that is readable."""
    return f"{value:.3g}" if 0.01 <= value < 1000 else f"{value:,.0f}".replace(",", " ") if value >= 1000 else f"{value:.1e}"


def _title(found: IrradianceMap, scene_title: str) -> str:
    """The scene and the surface; in two lines if they are long."""
    kind = "luminous exposure of the flash" if found.is_flash else "illuminance"
    scene = scene_title or found.about["scene"]
    return "\n".join([*textwrap.wrap(scene, 60), f"{found.surface}: {kind}"])
