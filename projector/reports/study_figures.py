"""Figures of the studies: pattern size over throw, edge width over focus offset, magnified edges of lenses."""

from __future__ import annotations

import math
import textwrap
from fractions import Fraction

import numpy as np

from projector.photometry.colour import desaturate_out_of_gamut, encode_srgb
from projector.phrases import listed
from projector.reports.labels import Labels, stops_text
from projector.reports.save import new_figure


def throw_figure(study, focal_length_mm: float, lit_width_mm: float, marked_throw_m: float):
    """Pattern width and open-gate light over the throw for one lens, the chosen throw marked.

    `study` is projector.studies.size.throw.
    """
    focal_length = 1e-3 * focal_length_mm
    throws = np.linspace(max(4.0 * focal_length, 0.3 * marked_throw_m), 2.0 * marked_throw_m, 200)
    widths = [study.throw(focal_length_mm, lit_width_mm, float(value)).width_m for value in throws]
    figure = new_figure(7.5, 4.5)
    axes = figure.add_subplot()
    axes.plot(throws, widths, color="#1f3a5f", linewidth=2)
    chosen = study.throw(focal_length_mm, lit_width_mm, marked_throw_m)
    axes.plot([marked_throw_m], [chosen.width_m], "o", color="#c8553d")
    axes.annotate(
        f"{chosen.width_m:.3f} m at {marked_throw_m:.2f} m",
        (marked_throw_m, chosen.width_m),
        xytext=(8, -14),
        textcoords="offset points",
    )
    axes.set_xlabel("throw, lens to wall, m")
    axes.set_ylabel("pattern width on a square wall, m")
    axes.set_title(f"{lit_width_mm:g} mm of stencil through a lens of {focal_length_mm:g} mm")
    axes.grid(alpha=0.3)
    stops = axes.secondary_yaxis("right", functions=(lambda w: w, lambda w: w))
    # From one throw to another light changes by 2·log2 of their ratio (studies.size.throw.stops_for_distance), so round
    # stops are these throws.
    round_stops = _round_stops(*(study.stops_for_distance(marked_throw_m, float(value)) for value in throws[[-1, 0]]))
    ticks = [
        study.throw(focal_length_mm, lit_width_mm, marked_throw_m * 2.0 ** float(-stop / 2)).width_m
        for stop in round_stops
    ]
    stops.set_yticks(ticks, [stops_text(stop) for stop in round_stops])
    stops.set_ylabel(f"stops against {marked_throw_m:.2f} m")
    return figure


def _round_stops(lowest: float, highest: float) -> list[Fraction]:
    """Whole stops between two values; half or third stops where whole ones are fewer than four."""
    for parts in (1, 2, 3):
        found = [Fraction(count, parts) for count in range(math.ceil(parts * lowest), math.floor(parts * highest) + 1)]
        if len(found) >= 4:
            break
    return found


_COLOURS = ("#1f3a5f", "#c8553d", "#3f8f6b", "#8d6a9f", "#c98a10", "#2a9dc4", "#7a4b2a")
_STYLES = ("-", "--", "-.", (0, (1, 1.2)), (0, (7, 2, 1, 2, 1, 2)))


def focus_figure(curves, wanted_mm: float | None = None, focuses=()):
    """Edge width over the focus offset of one or several projectors at one or several points
    (studies.edges.focus_curve.FocusCurve): the stencil's curve and the blades', the present offset, the wanted width,
    and the focuses that give it (offset mm, words).
    """
    figure = new_figure(7.5, 5.4)
    axes = figure.add_subplot()
    edges = _named_edges(curves)
    for index, (label, offsets, widths) in enumerate(edges):
        # Of curves that lie on each other the first is the widest: it shows on both sides of the next ones.
        covered_by = sum(_coincide(widths, others) for _, _, others in edges[index + 1 :])
        axes.plot(
            offsets,
            widths,
            color=_COLOURS[index % len(_COLOURS)],
            linestyle=_STYLES[index % len(_STYLES)],
            linewidth=1.8 + 2.2 * covered_by,
            label=label,
        )
    axes.set_xlim(curves[0].offsets_mm[0], curves[0].offsets_mm[-1])
    axes.set_ylim(bottom=0.0)
    _mark_present(axes, curves)
    if wanted_mm is not None:
        axes.axhline(wanted_mm, color="#333333", linewidth=0.8)
        axes.set_ylim(top=max(axes.get_ylim()[1], 1.15 * wanted_mm))
        _beside(
            axes,
            f"wanted {wanted_mm:g} mm",
            (0.99, wanted_mm),
            axes.get_yaxis_transform(),
            ha="right",
            va="bottom",
            xytext=(0, 2),
        )
        axes.plot([offset for offset, _ in focuses], [wanted_mm] * len(focuses), "o", color="#333333", markersize=5)
    moved = "stencil" if any(curve.has_stencil for curve in curves) else "gate"
    axes.set_xlabel(f"focus offset, mm ({moved} moved away from the lens; sharp nearer)")
    axes.set_ylabel("edge width on the surface, 10–90 %, mm")
    axes.set_title("How soft edges land: " + ", ".join(_projectors(curves)))
    axes.grid(alpha=0.3)
    figure.legend(loc="outside lower center", fontsize=8, ncols=2)
    figure.draw_without_rendering()
    labels = Labels(axes)
    for offset, words in focuses:
        if words:
            labels.add(words, [(offset, wanted_mm)], **_LETTERING)
    return figure


def _coincide(widths: np.ndarray, others: np.ndarray) -> bool:
    """Whether two curves look the same in a drawing: nowhere further apart than a hundredth of its height."""
    return np.abs(widths - others).max() < 0.01 * max(widths.max(), others.max())


def _projectors(curves) -> list[str]:
    return list(dict.fromkeys(curve.projector for curve in curves))


def _named_edges(curves) -> list[tuple[str, np.ndarray, np.ndarray]]:
    """Label, offsets and widths of everything that casts an edge; blades that look the same share a line."""
    several = len(_projectors(curves)) > 1
    found = []
    for curve in curves:
        whose = f"{curve.projector}: " if several else ""
        if curve.has_stencil or not curve.blades_mm:
            found.append(
                (
                    f"{whose}{'stencil' if curve.has_stencil else 'edge of the gate'} at {curve.at}",
                    curve.offsets_mm,
                    curve.stencil_mm,
                )
            )
        alike: list[tuple[list[str], np.ndarray]] = []
        for side, widths in curve.blades_mm.items():
            group = next((sides for sides, others in alike if np.allclose(widths, others, rtol=1e-3, atol=1e-3)), None)
            if group is None:
                alike.append(([side], widths))
            else:
                group.append(side)
        found += [
            (
                f"{whose}{listed(sides)} blade{'s' if len(sides) > 1 else ''} at {curve.at}",
                curve.offsets_mm,
                widths,
            )
            for sides, widths in alike
        ]
    return found


def _mark_present(axes, curves) -> None:
    """A thin line at each focus offset that a projector has now."""
    present: dict[float, list[str]] = {}
    for curve in curves:
        names = present.setdefault(curve.offset_now_mm, [])
        if curve.projector not in names:
            names.append(curve.projector)
    for index, (offset, names) in enumerate(sorted(present.items())):
        axes.axvline(offset, color="#333333", linewidth=0.8)
        # The first is named at its left, others at their right: two that stand close do not cover each other's names.
        side, gap = ("right", -2) if index == 0 else ("left", 2)
        whose = f"{', '.join(names)}: " if len(_projectors(curves)) > 1 else ""
        _beside(
            axes,
            f"{whose}now {offset:+g} mm" if offset else f"{whose}now 0 mm",
            (offset, 0.98),
            axes.get_xaxis_transform(),
            ha=side,
            va="top",
            rotation=90,
            xytext=(gap, 0),
        )


def _beside(axes, text: str, place, transform, **how) -> None:
    """Small lettering that stays readable over curves."""
    axes.annotate(text, place, xycoords=transform, textcoords="offset points", **_LETTERING, **how)


_LETTERING = {"fontsize": 8, "bbox": {"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 1.0}}


# Red, green and blue: name, colour, dashes, line width and marker. Who cannot tell the colours apart tells the lines by
# the rest.
CHANNELS = (
    ("red", "#c0392b", "-", 2.4, "o"),
    ("green", "#2e8b57", "--", 1.8, "s"),
    ("blue", "#2a5ea8", (0, (1, 1.2)), 2.0, "^"),
)


def lens_strip_figure(strips, title: str):
    """Magnified edges, one a lens: the colours as the camera sees them, and red, green and blue across them, all to one
    scale.

    strips: (name, positions mm (n,), linear sRGB (n, 3), caption).
    """
    figure = new_figure(8.0, 0.9 + 2.1 * len(strips))
    panels = figure.subplots(
        2 * len(strips), 1, sharex=True, squeeze=False, gridspec_kw={"height_ratios": [1.0, 1.1] * len(strips)}
    )[:, 0]
    span = max(abs(strip[1][0]) for strip in strips)
    grid = np.linspace(-span, span, 1200)
    for index, (name, positions, linear, caption) in enumerate(strips):
        rise = np.stack([np.interp(grid, positions, linear[:, channel]) for channel in range(3)], axis=1)
        _edge_band(panels[2 * index], grid, rise, f"{name}: {caption}")
        _edge_lines(panels[2 * index + 1], grid, rise)
    panels[-1].set_xlim(-span, span)
    panels[-1].set_xlabel("mm on the surface, square to the edge")
    panels[1].legend(fontsize=8, loc="lower right")
    figure.suptitle(title, fontsize=11)
    return figure


def _edge_band(axes, grid, rise, title: str) -> None:
    """The edge's colours as a picture shows them, its brightest channel at white: what the screen cannot show gives up
    saturation.
    """

    shown = desaturate_out_of_gamut(rise)
    band = np.clip(encode_srgb(shown / max(shown.max(), 1e-9)), 0.0, 1.0)
    axes.imshow(band[None], extent=(grid[0], grid[-1], 0.0, 1.0), aspect="auto", interpolation="bilinear")
    axes.set_yticks([])
    axes.tick_params(bottom=False)
    axes.set_title(textwrap.fill(title, 110), fontsize=9, loc="left")


def _edge_lines(axes, grid, rise) -> None:
    """Each channel's rise, linear, of its own full light; distinguished by dashes and widths as well as by colour.

    Below 0 and above 1 lie colours that the screen cannot show.
    """
    lowest, highest = -0.08, 1.12
    for channel, (name, colour, style, width, _) in enumerate(CHANNELS):
        full = rise[[0, -1], channel].max()
        values = rise[:, channel] / (full if full > 0.0 else 1.0)
        lowest, highest = min(lowest, 1.1 * values.min()), max(highest, 1.05 * values.max())
        axes.plot(grid, values, color=colour, linestyle=style, linewidth=width, label=name)
    axes.set_ylim(lowest, highest)
    axes.set_yticks([0.0, 0.5, 1.0], ["0", "½", "1"], fontsize=8)
    axes.set_ylabel("of full light", fontsize=8)
    axes.grid(alpha=0.3)
