"""The figure of filters: white paper in the light of each, its curve, and what it costs the lamp at hand."""

from __future__ import annotations

from collections.abc import Sequence

from projector.answers.filters import lamp_words, shift_words
from projector.photometry.spectra import WAVELENGTHS_NM
from projector.reports.save import new_figure

# All in inches, from the left and from the top.
_WIDTH, _ROW, _TOP, _HEAD, _FOOT = 8.6, 0.34, 0.62, 0.34, 0.5
_NAME, _DIM, _BRIGHT, _SWATCH, _CURVE, _CURVE_WIDTH, _STOPS, _SHIFT, _XY = (
    0.25, 2.35, 2.95, 0.6, 3.8, 1.7, 6.25, 7.3, 8.35,
)  # fmt: skip
_GAP = 0.05
# Letters that stand before the swatch.
_LONGEST_NAME = 27


def filters_figure(answers: Sequence[tuple[str, object]]):
    """`answers`: pairs of a light's name ("" for a lamp alone) and a studies.FilterList."""
    blocks = [(name, found, _rows(found)) for name, found in answers]
    height = _TOP + _FOOT + sum(_HEAD + _ROW * max(len(rows), 1) for _, _, rows in blocks)
    figure = new_figure(_WIDTH, height, layout="none")
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_xlim(0.0, _WIDTH)
    axes.set_ylim(height, 0.0)
    axes.set_axis_off()
    axes.text(_WIDTH / 2.0, 0.28, "Filters before a lamp", fontsize=12, ha="center", va="center")
    y = _TOP
    for name, found, rows in blocks:
        _head(axes, y, name, found)
        y += _HEAD
        for item in rows:
            _row(axes, y, item)
            y += _ROW
        if not rows:
            axes.text(_NAME, y + 0.5 * _ROW, "no filters", fontsize=9, va="center")
            y += _ROW
    axes.text(
        _NAME,
        height - 0.25,
        "white paper in its light: left as dim as the filter leaves it, right as bright as a screen shows it, to a"
        " camera balanced to the lamp or set as the scene's\n"
        "curve: transmittance 0 to 1 over 380 to 730 nm; real sheets differ from maker to maker",
        fontsize=7,
        va="center",
        color="0.3",
    )
    return figure


def _rows(found) -> list:
    """The filters, and what they do together where they are a stack of several."""
    is_stack = found.together is not None and len(found.filters) > 1
    return [*found.filters, *([found.together] if is_stack else [])]


def _head(axes, y: float, name: str, found) -> None:
    lamp = lamp_words(found.source)
    middle = y + 0.5 * _HEAD
    axes.text(_NAME, middle, f"{name}: {lamp}" if name else lamp, fontsize=9, fontweight="bold", va="center")
    for x, words in ((_STOPS, "stops"), (_SHIFT, "shift"), (_XY, "x, y")):
        axes.text(x, middle, words, fontsize=8, ha="right", va="center", color="0.3")


def _row(axes, y: float, item) -> None:
    from matplotlib.patches import Rectangle

    middle, tall = y + 0.5 * _ROW, _ROW - _GAP
    name = item.name if len(item.name) <= _LONGEST_NAME else f"{item.name[: _LONGEST_NAME - 1]}…"
    axes.text(_NAME, middle, name, fontsize=9, va="center")
    for x, colour in ((_DIM, item.dim_swatch), (_BRIGHT, item.swatch)):
        axes.add_patch(Rectangle((x, y), _SWATCH, tall, facecolor=colour, edgecolor="none"))
    axes.add_patch(Rectangle((_DIM, y), 2.0 * _SWATCH, tall, facecolor="none", edgecolor="0.7", linewidth=0.5))
    axes.add_patch(Rectangle((_CURVE, y), _CURVE_WIDTH, tall, facecolor="none", edgecolor="0.85", linewidth=0.5))
    across = (WAVELENGTHS_NM - WAVELENGTHS_NM[0]) / (WAVELENGTHS_NM[-1] - WAVELENGTHS_NM[0])
    axes.plot(_CURVE + _CURVE_WIDTH * across, y + tall * (1.0 - item.transmittance), color="0.15", linewidth=1.0)
    numbers = ((_STOPS, f"{item.stops:.2f}"), (_SHIFT, shift_words(item)), (_XY, f"{item.x:.3f}, {item.y:.3f}"))
    for x, words in numbers:
        axes.text(x, middle, words, fontsize=9, ha="right", va="center")
