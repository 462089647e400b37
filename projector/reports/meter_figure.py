"""What a meter shows at one or several points as bars in stops, light by light, beside the camera's setting."""

from __future__ import annotations

import numpy as np

from projector.photometry.metering import stops_over_f_1, whole_marks_between
from projector.phrases import shortened, signed
from projector.reports.save import new_figure

# The key, every other light, and all together.
_KEY, _LIGHT, _TOGETHER, _INK = "#c98f3c", "#5b7f8c", "#4a4a4a", "#222222"
# Bars end here: farther out a light plays no part in the exposure.
_FARTHEST_STOPS = 8.0
_BAR_IN, _HEAD_IN, _FOOT_IN = 0.34, 0.95, 0.75


def meter_figure(readings, title: str = ""):
    """A panel for each point, a bar for each light; what the meter shows above, what the bar means beside it."""
    rows = [len(found.lights) + (len(found.lights) > 1) for found in readings]
    heights = [_HEAD_IN + _BAR_IN * count for count in rows]
    figure = new_figure(8.0, sum(heights) + _FOOT_IN + 0.15)
    panels = figure.subplots(len(readings), 1, sharex=True, squeeze=False, height_ratios=heights)[:, 0]
    low, high = _span(readings)
    for axes, found in zip(panels, readings, strict=True):
        _draw_point(axes, found, low, high)
    panels[-1].set_xlabel(f"stops against the camera's setting, f/{readings[0].camera_f_number:g}", fontsize=9)
    figure.suptitle(title, fontsize=11)
    return figure


def _span(readings) -> tuple[float, float]:
    """Stops that the axis shows."""
    alone = [item.alone.stops_over_camera for found in readings for item in found.lights]
    stops = np.clip([0.0, *(value for value in alone if value is not None)], -_FARTHEST_STOPS, _FARTHEST_STOPS)
    return float(min(stops.min(), -2.0) - 0.5), float(max(stops.max(), 1.5) + 0.5)


def _draw_point(axes, found, low: float, high: float) -> None:
    bars = [(item.light, item.alone, item) for item in found.lights]
    bars += [("together", found.together, None)] if len(found.lights) > 1 else []
    for row, (name, metered, item) in enumerate(bars):
        if metered.stops_over_camera is None:
            why = shortened(f"no light; {item.no_light}" if item is not None else "no light")
            ground = {"facecolor": "white", "edgecolor": "none", "pad": 1.0}
            axes.text(
                low + 0.01 * (high - low), row, why, fontsize=8, va="center", style="italic", color=_INK, bbox=ground
            )
            continue
        stops = float(np.clip(metered.stops_over_camera, -_FARTHEST_STOPS, _FARTHEST_STOPS))
        is_key = item is not None and name == found.key and len(found.lights) > 1
        # Bars begin at the edge, not at the camera's setting: the longer, the more light.
        axes.barh(row, stops - low, 0.62, left=low, color=_TOGETHER if item is None else _KEY if is_key else _LIGHT)
        words = f"{metered.f_number_marked}   " + ("key" if is_key else "" if item is None else _against(item))
        axes.text(high + 0.015 * (high - low), row, words, fontsize=8, va="center", color=_INK)
    axes.axvline(0.0, color=_INK, linewidth=1.0)
    axes.set_yticks(range(len(bars)), [name for name, *_ in bars], fontsize=9)
    axes.set_ylim(len(bars) - 0.4, -0.6)
    axes.set_xlim(low, high)
    axes.grid(axis="x", alpha=0.3)
    axes.set_axisbelow(True)
    receptor = "dome" if found.receptor == "dome" else "flat receptor"
    axes.set_title(f"{found.at}: {receptor} facing {found.towards}, ISO {found.iso:g}", fontsize=9, loc="left")
    at_zero = stops_over_f_1(found.camera_f_number)
    marks = whole_marks_between(low + at_zero, high + at_zero)
    above = axes.secondary_xaxis("top")
    above.set_xticks([stop - at_zero for stop, _ in marks], [f"f/{text}" for _, text in marks], fontsize=8)


def _against(item) -> str:
    return "" if item.stops_over_key is None else f"{signed(item.stops_over_key)} to the key"
