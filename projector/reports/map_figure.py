"""A map of light as a figure: axes in metres, stops, light and f-numbers on the colour bar, the open gates' light as
contours.
"""

from __future__ import annotations

import math
import textwrap
from typing import NamedTuple

import numpy as np

from projector.photometry.metering import stops_over_f_1, whole_marks_between
from projector.phrases import listed
from projector.rendering.maps.light_map import IrradianceMap
from projector.reports.labels import label_contours, stops_text
from projector.reports.save import new_figure

# The figure shows this many stops below the brightest; darker places are drawn as the darkest.
STOPS_SHOWN = 7
# The largest size of the map within the figure; what stands left of it, under it, right of the colour bar and above it;
# the gap before the bar, the bar, and the height of one of its ticks: inches.
_LARGEST_IN, _MARGINS_IN, _BAR_GAP_IN, _BAR_WIDTH_IN, _TICK_IN = (5.8, 6.4), (0.85, 0.78, 1.75, 0.35), 0.95, 0.22, 0.24
_LINE_IN = 0.18
_DARK = "#222222"
_LINE_STYLES = ("-", "--", "-.", (0, (1, 1.2)), (0, (7, 2, 1, 2, 1, 2)))


def map_summary(found: IrradianceMap) -> dict:
    """The map's main numbers, units in the keys."""
    stops = found.stops
    lit = np.isfinite(stops)
    left, right, bottom, top = found.extent_m
    brightest = float(stops[lit].max()) if lit.any() else -math.inf
    summary = {
        "surface": found.surface,
        "width_m": right - left,
        "height_m": top - bottom,
        "columns": stops.shape[1],
        "rows": stops.shape[0],
        "is_reached": found.is_reached,
        "brightest_stops": brightest,
        "lit_share": float((stops[~np.isnan(stops)] > -6.0).mean()),
    }
    if found.is_absolute:
        power, light = ("J_per_m2", "lx_s") if found.is_flash else ("W_per_m2", "lx")
        summary[f"brightest_{power}"] = float(np.nanmax(found.irradiance))
        summary[f"brightest_{light}"] = float(np.nanmax(found.illuminance))
    if found.meter is not None:
        summary["brightest_f_number"] = float(found.meter.f_number(brightest))
    return summary


def map_figure(found: IrradianceMap, scene_title: str = ""):
    """The figure of a map: brightness in stops against the open gate, contours of what open gates alone would give
    there.

    Without a title the scene's name stands.
    """
    stops = np.array(found.stops)
    low, high = _whole_stops(stops)
    extent = _extent_shown(found)
    levels = [contour_levels(gate.stops) for gate in found.open_gates]
    title, caption = _wrapped(_title(found, scene_title), extent), _wrapped([_caption(found, levels)], extent)
    place = _place(extent, found, title, caption)
    from matplotlib.ticker import MaxNLocator

    figure = new_figure(*place.figure_in, layout="none")
    axes = figure.add_axes(place.shares(place.left, place.width))
    shown = np.clip(np.where(np.isneginf(stops), low, stops), low, high)
    image = axes.imshow(
        shown,
        extent=extent,
        cmap="cividis",
        vmin=low,
        vmax=high,
        interpolation="nearest",
        origin="upper",
        aspect="auto",
    )
    axes.set_facecolor("#d9d9d9")
    drawn = _draw_open_gates(axes, found, levels, extent)
    axes.xaxis.set_major_locator(MaxNLocator(nbins=max(2, int(place.width / 0.75)), steps=[1, 2, 2.5, 5, 10]))
    axes.set_xlabel(found.axis_labels[0], fontsize=10)
    for number, line in enumerate(caption):
        figure.text(
            place.left / place.figure_in[0],
            (place.bottom - 0.62 - _LINE_IN * number) / place.figure_in[1],
            line,
            fontsize=9,
            va="center",
        )
    axes.set_ylabel(_vertical_label(found), fontsize=10)
    axes.set_title("\n".join(title), fontsize=11, loc="left")
    if not found.is_reached:
        axes.text(
            0.5,
            0.5,
            "no projector's\nlight falls here",
            transform=axes.transAxes,
            ha="center",
            va="center",
            color="white",
            fontsize=9,
            bbox={"facecolor": _DARK, "edgecolor": "none"},
        )
    if len(drawn) > 1:
        figure.legend(*zip(*drawn, strict=True), loc="lower center", fontsize=8, ncols=3)
    bar_axes = figure.add_axes(place.shares(place.left + place.width + _BAR_GAP_IN, _BAR_WIDTH_IN))
    _draw_bar(figure, bar_axes, image, found, (low, high), place.height)
    return figure


class _Layout(NamedTuple):
    """Where the map stands in the figure: its left, bottom, width and height, and the figure's own size; inches."""

    left: float
    bottom: float
    width: float
    height: float
    figure_in: tuple[float, float]

    def shares(self, left: float, width: float) -> tuple[float, float, float, float]:
        """Axes as high as the map from `left` on, in shares of the figure."""
        across, down = self.figure_in
        return left / across, self.bottom / down, width / across, self.height / down


def _place(extent, found: IrradianceMap, title: list[str], caption: list[str]) -> _Layout:
    width, height = _map_size(extent)
    legend = 0.2 * -(-len(found.open_gates) // 3) + 0.15 if len(found.open_gates) > 1 else 0.0
    under = _MARGINS_IN[1] + legend + _LINE_IN * max(len(caption) - 1, 0)
    over = _MARGINS_IN[3] + _LINE_IN * (len(title) - 1)
    size = _MARGINS_IN[0] + width + _BAR_GAP_IN + _BAR_WIDTH_IN + _MARGINS_IN[2], under + height + over
    return _Layout(_MARGINS_IN[0], under, width, height, size)


def _map_size(extent) -> tuple[float, float]:
    """Width and height (inches) of the map; one that is a mere strip is drawn wider than it is, and its axes say by how
    much.
    """
    left, right, bottom, top = extent
    scale = min(_LARGEST_IN[0] / (right - left), _LARGEST_IN[1] / (top - bottom))
    return max(scale * (right - left), 1.8), max(scale * (top - bottom), 1.8)


def _whole_stops(stops: np.ndarray) -> tuple[int, int]:
    """Lowest and highest whole stop that the figure shows."""
    lit = stops[np.isfinite(stops)]
    highest = math.ceil(float(lit.max()) - 0.02) if lit.size else 0
    return highest - STOPS_SHOWN, highest


def _extent_shown(found: IrradianceMap) -> tuple[float, float, float, float]:
    """The map's extent, its vertical axis counted from the floor where it is a height."""
    left, right, bottom, top = found.extent_m
    floor = found.height_m or 0.0
    return left, right, bottom + floor, top + floor


def _vertical_label(found: IrradianceMap) -> str:
    if found.height_m is None:
        return found.axis_labels[1]
    if "sweep" in found.axis_labels[1]:
        return f"height above the floor, m; below {found.height_m:g} along curve and floor"
    return "height above the floor, m"


def _wrapped(texts: list[str], extent) -> list[str]:
    """Lines of texts in the room from the map's left to the figure's right."""
    room_in = _map_size(extent)[0] + _BAR_GAP_IN + _BAR_WIDTH_IN + _MARGINS_IN[2]
    return [line for text in texts for line in textwrap.wrap(text, round(11.0 * room_in))]


def _caption(found: IrradianceMap, levels: list[tuple[list[float], int]]) -> str:
    """What the contours are; or how even an open gate's light is where it is too even for any."""
    drawn = [parts for values, parts in levels if values]
    whose = "each open gate's light" if len(levels) > 1 else "the open gate's light"
    if drawn:
        return (
            f"lines: {whose}, without stencil and shadows, in"
            f" {listed([_NAMES_OF_STEPS[parts] for parts in dict.fromkeys(drawn)])} stops"
        )
    spans = [
        float(np.ptp(lit)) for lit in (gate.stops[np.isfinite(gate.stops)] for gate in found.open_gates) if lit.size
    ]
    return f"{whose}, without stencil and shadows, differs by {max(spans):.1f} stops at most: no lines" if spans else ""


def _draw_open_gates(axes, found: IrradianceMap, levels: list[tuple[list[float], int]], extent) -> list[tuple]:
    """Contours of each projector's open gate; returns lines for a legend with their names."""
    from matplotlib import patheffects
    from matplotlib.lines import Line2D

    left, right, _, top = extent
    rows, columns = found.illuminance.shape
    pixel_x, pixel_y = (right - left) / columns, (top - extent[2]) / rows
    drawn, taken = [], []
    for index, (gate, (values, _)) in enumerate(zip(found.open_gates, levels, strict=True)):
        if not values:
            continue
        x = left + (np.arange(gate.stops.shape[1]) * gate.stride + 0.5) * pixel_x
        y = top - (np.arange(gate.stops.shape[0]) * gate.stride + 0.5) * pixel_y
        style = _LINE_STYLES[index % len(_LINE_STYLES)]
        lines = axes.contour(
            x, y, np.ma.masked_invalid(gate.stops), levels=values, colors="white", linewidths=1.0, linestyles=[style]
        )
        # White lines on bright places and dark ones alike: each has a dark rim, and its stops on a dark ground.
        lines.set_path_effects([patheffects.withStroke(linewidth=2.2, foreground=_DARK)])
        ground = {"facecolor": _DARK, "edgecolor": "none", "pad": 1.0}
        label_contours(axes, lines, stops_text, taken, fontsize=8, color="white", bbox=ground)
        drawn.append((Line2D([], [], color=_DARK, linewidth=1.0, linestyle=style), f"open gate of {gate.projector}"))
    return drawn


_NAMES_OF_STEPS = {1: "whole", 2: "half", 3: "third"}


def contour_levels(stops: np.ndarray) -> tuple[list[float], int]:
    """Whole stops within a range, half or third ones where there are fewer than two, else none: the levels, and parts
    of a stop.
    """
    lit = stops[np.isfinite(stops)]
    if not lit.size:
        return [], 1
    # What the middle 99 % show: a strip at a grazing edge would fill itself with lines.
    low, high = (float(value) for value in np.percentile(lit, (0.5, 99.99)))
    for parts in (1, 2, 3):
        levels = [count / parts for count in range(math.ceil(low * parts), math.floor(high * parts) + 1)]
        if len(levels) >= 2:
            return levels, parts
    return [], parts


def _draw_bar(figure, beside, image, found: IrradianceMap, span: tuple[int, int], height: float) -> None:
    """The colour bar as high as the map: stops and light at its right, f-numbers at its left."""
    low, high = span
    step = max(1, math.ceil((high - low) * _TICK_IN / height))
    ticks = list(range(high, low - 1, -step))
    bar = figure.colorbar(image, cax=beside, ticks=ticks)
    beside.set_yticklabels([("≤ " if stop == low else "") + _tick(found, stop) for stop in ticks], fontsize=9)
    quantity = f"{'luminous exposure' if found.is_flash else 'illuminance'}, {found.units[1]}"
    bar.set_label(
        f"stops against {found.compared_with}\non its axis {found.counted_where}"
        + (f"\n({quantity})" if found.is_absolute else ""),
        fontsize=9,
    )
    marked = [] if found.meter is None else marked_f_numbers(found.meter.open_f_number, low, high)[::-step]
    if not marked:
        return
    left = beside.secondary_yaxis("left")
    left.set_yticks([stop for stop, _ in marked], [f"f/{text}" for _, text in marked], fontsize=9)
    left.set_ylabel(f"flat meter at {found.meter.setting}", fontsize=9)


def marked_f_numbers(open_f_number: float, low: float, high: float) -> list[tuple[float, str]]:
    """Whole stops as meters show them, as (stops over the level that meters `open_f_number`, text), within a range of
    stops.
    """
    at_zero = stops_over_f_1(open_f_number)
    return [(whole - at_zero, text) for whole, text in whole_marks_between(low + at_zero, high + at_zero)]


def _tick(found: IrradianceMap, stop: int) -> str:
    text = stops_text(stop)
    return f"{text}  ({_short(found.open_level * 2.0**stop)})" if found.is_absolute else text


def _short(value: float) -> str:
    """Three figures without an exponent where that is readable."""
    return (
        f"{value:.3g}"
        if 0.01 <= value < 1000
        else f"{value:,.0f}".replace(",", " ")
        if value >= 1000
        else f"{value:.1e}"
    )


def _title(found: IrradianceMap, scene_title: str) -> list[str]:
    """The scene, and the surface with what is shown of it."""
    kind = "luminous exposure of the flash" if found.is_flash else "illuminance"
    kind = kind if found.is_absolute else "light, in stops"
    return [scene_title or found.about["scene"], f"{found.surface}: {kind}"]
