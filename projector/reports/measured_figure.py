"""The figure of a measured lens: every photograph's edge with the fit through it, and edge widths over the focus
offset.
"""

from __future__ import annotations

import numpy as np

from projector.reports.save import new_figure
from projector.reports.study_figures import CHANNELS

_MOST_PANELS = 9


def measured_figure(measured, title: str):
    """`measured` is a studies.lenses.measured_lens.MeasuredLens. Points: as read; lines: the fitted lens."""
    shown = list(range(len(measured.readings)))[:_MOST_PANELS]
    with_widths = len(measured.readings) > 1 and all(
        photograph.offset_mm is not None for photograph in measured.photographs
    )
    panels = len(shown) + (1 if with_widths else 0)
    # Three beside each other, but four in a square.
    columns = 2 if panels == 4 else min(3, panels)
    rows = -(-panels // columns)
    figure = new_figure(4.2 * columns + 0.6, 3.1 * rows + 0.6)
    for panel, index in enumerate(shown):
        _edge_panel(figure.add_subplot(rows, columns, panel + 1), measured, index)
    if with_widths:
        _width_panel(figure.add_subplot(rows, columns, panels), measured)
    figure.suptitle(title, fontsize=12)
    figure.supxlabel(_caption(measured), fontsize=8)
    return figure


def _channels(readings):
    """How each channel is drawn; of grey photographs there is one."""
    _, _, *drawn = CHANNELS[1]
    return [("grey", "0.25", *drawn)] if all(reading.is_grey for reading in readings) else CHANNELS


def _caption(measured) -> str:
    """What marks and lines are."""
    points = "marks: the photographs' data"
    return (
        f"{points} of the edges, lines: the fitted lens"
        if measured.fit is not None
        else f"{points} of the edges; no lens is fitted"
    )


def _edge_panel(axes, measured, index: int) -> None:
    reading, photograph = measured.readings[index], measured.photographs[index]
    curve = measured.fit.curves[index] if measured.fit is not None else None
    thin = max(1, len(reading.positions_mm) // 160)
    for channel, (name, colour, style, width, marker) in enumerate(_channels([reading])):
        axes.plot(
            reading.positions_mm[channel::thin],
            reading.profiles[channel::thin, channel],
            marker,
            color=colour,
            markersize=2.2,
            markeredgewidth=0.0,
            alpha=0.5,
        )
        if curve is not None:
            # The fit leaves the two levels of every channel free: draw it as it was compared.
            profile, model = reading.profiles[:, channel], curve[:, channel]
            gain, level = np.polyfit(model, profile, 1)
            axes.plot(
                reading.positions_mm,
                level + gain * model,
                color=colour,
                linestyle=style,
                linewidth=0.7 * width,
                label=f"{name}, {reading.widths_mm[channel]:.1f} mm",
            )
        else:
            axes.plot([], [], marker, color=colour, label=f"{name}, {reading.widths_mm[channel]:.1f} mm")
    reach = 1.3 * max(max(reading.widths_mm), 4.0 * reading.pixel_mm)
    axes.set_xlim(max(reading.positions_mm[0], -reach), min(reading.positions_mm[-1], reach))
    axes.set_ylim(-0.15, 1.25)
    offset = (
        ""
        if photograph.offset_mm is None
        else f", offset {photograph.offset_mm:{'+g' if photograph.offset_mm else 'g'}} mm"
    )
    axes.set_title(f"{photograph.path.name}{offset}", fontsize=9)
    axes.set_xlabel("mm on the wall, across the edge", fontsize=8)
    axes.set_ylabel("share of full light", fontsize=8)
    axes.tick_params(labelsize=8)
    axes.grid(alpha=0.3)
    axes.legend(fontsize=7, title="10–90 %", title_fontsize=7, loc="upper left")


def _width_panel(axes, measured) -> None:
    offsets = np.array([photograph.offset_mm for photograph in measured.photographs])
    order = np.argsort(offsets)
    for channel, (name, colour, style, width, marker) in enumerate(_channels(measured.readings)):
        widths = np.array([reading.widths_mm[channel] for reading in measured.readings])
        axes.plot(
            offsets[order],
            widths[order],
            marker=marker,
            color=colour,
            linestyle=style,
            markersize=4,
            linewidth=0.6 * width,
            label=name,
        )
    axes.set_ylim(bottom=0.0)
    axes.set_title("edge width, 10–90 %, over the focus\n(lines only join the photographs)", fontsize=9)
    axes.set_xlabel("focus offset, mm (stencil away from the lens)", fontsize=8)
    axes.set_ylabel("mm on the wall", fontsize=8)
    axes.tick_params(labelsize=8)
    axes.grid(alpha=0.3)
    axes.legend(fontsize=7)
