"""Figures of the studies: pattern size over throw, edge width over focus offset, magnified edges of lenses."""

from __future__ import annotations

import numpy as np

from projector.reports.save import new_figure


def throw_figure(study, focal_length_mm: float, lit_width_mm: float, marked_throw_m: float):
    """Pattern width and open-gate light over the throw for one lens, the chosen throw marked. `study` is projector.studies.throw."""
    focal_length = 1e-3 * focal_length_mm
    throws = np.linspace(max(4.0 * focal_length, 0.3 * marked_throw_m), 2.0 * marked_throw_m, 200)
    widths = [study.throw(focal_length_mm, lit_width_mm, float(value)).width_m for value in throws]
    figure = new_figure(7.5, 4.5)
    axes = figure.add_subplot()
    axes.plot(throws, widths, color="#1f3a5f", linewidth=2)
    chosen = study.throw(focal_length_mm, lit_width_mm, marked_throw_m)
    axes.plot([marked_throw_m], [chosen.width_m], "o", color="#c8553d")
    axes.annotate(f"{chosen.width_m:.3f} m at {marked_throw_m:.2f} m", (marked_throw_m, chosen.width_m), xytext=(8, -14), textcoords="offset points")
    axes.set_xlabel("throw, lens to wall, m")
    axes.set_ylabel("pattern width on a square wall, m")
    axes.set_title(f"{lit_width_mm:g} mm of stencil through a lens of {focal_length_mm:g} mm")
    axes.grid(alpha=0.3)
    stops = axes.secondary_yaxis("right", functions=(lambda w: w, lambda w: w))
    ticks = [width for width in axes.get_yticks() if min(widths) < width < max(widths)]
    stops.set_yticks(ticks, [f"{study.stops_for_distance(marked_throw_m, study.place_for(width, lit_width_mm, focal_length_mm).throw_m):+.1f}" for width in ticks])
    stops.set_ylabel(f"stops against {marked_throw_m:.2f} m")
    return figure


def focus_figure(curves, projector_name: str):
    """Edge width over the focus offset at one or several points: the stencil's curve and each blade's."""
    figure = new_figure(7.5, 4.8)
    axes = figure.add_subplot()
    colours = ["#1f3a5f", "#c8553d", "#5b8e7d", "#8d6a9f", "#d8a031"]
    for index, curve in enumerate(curves):
        colour = colours[index % len(colours)]
        axes.plot(curve.offsets_mm, curve.stencil_mm, color=colour, linewidth=2, label=f"stencil at {curve.at}")
        for style, (side, widths) in zip(("--", ":", "-.", (0, (1, 3))), curve.blades_mm.items(), strict=False):
            axes.plot(curve.offsets_mm, widths, color=colour, linestyle=style, label=f"{side} blade at {curve.at}")
    axes.set_xlabel("focus offset, mm (stencil moved away from the lens; sharp nearer)")
    axes.set_ylabel("edge width on the surface, 10–90 %, mm")
    axes.set_ylim(bottom=0.0)
    axes.set_title(f"How soft edges land: {projector_name}")
    axes.grid(alpha=0.3)
    axes.legend(fontsize=8)
    return figure


def lens_strip_figure(strips, span_mm: float, title: str):
    """Magnified edges, one band a lens. strips: (name, positions mm (n,), linear sRGB (n, 3), caption)."""
    from projector.photometry.colour import encode_srgb

    figure = new_figure(8.0, 0.9 + 1.25 * len(strips))
    for index, (name, positions, linear, caption) in enumerate(strips):
        axes = figure.add_subplot(len(strips), 1, index + 1)
        grid = np.linspace(-span_mm, span_mm, 800)
        band = np.stack([np.interp(grid, positions, linear[:, channel]) for channel in range(3)], axis=1)
        band = np.clip(encode_srgb(np.clip(band / max(band.max(), 1e-9), 0.0, 1.0)), 0.0, 1.0)
        axes.imshow(np.tile(band, (60, 1, 1)), extent=(-span_mm, span_mm, 0.0, 1.0), aspect="auto")
        axes.set_yticks([])
        axes.set_title(f"{name}: {caption}", fontsize=9, loc="left")
        if index == len(strips) - 1:
            axes.set_xlabel("mm on the surface, across the edge")
        else:
            axes.set_xticklabels([])
    figure.suptitle(title, fontsize=11)
    return figure
