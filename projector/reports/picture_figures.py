"""Figures about a picture's tones: where it is clipped or blocked, its stops around a reference, its histogram.

The marks are inks on a pale print of the picture, as on a map; every figure says in words and numbers what its marks
mean.
"""

from __future__ import annotations

import math

import numpy as np

from projector.photometry.colour import SRGB_LUMINANCE
from projector.phrases import listed, percent
from projector.reports.labels import stops_text
from projector.reports.save import DPI, new_figure
from projector.studies.pictures.stops_around import BANDS_OVER, BANDS_UNDER, StopsAround
from projector.studies.pictures.tones import BLOCKED_CODE, CHANNELS, Histogram, MarkedPicture

# Inks, by which of red, green and blue are clipped (1, 2, 4, added); 0 stands for blocked.
_INKS = {
    0: "#3b2a1a",
    1: "#b0413e",
    2: "#5a8a2c",
    4: "#3a6ea5",
    3: "#c9960c",
    5: "#7d4f96",
    6: "#1d8f8a",
    7: "#e8590c",
}
# Bands of a stop from the darkest to the brightest: cold inks under the reference, paper at it, warm ones over it.
_BANDS = (
    *("#10222b", "#1c3a47", "#2c5563", "#467684", "#7299a3", "#abc3c7"),
    "#f3efe0",
    *("#e6cf9c", "#d2a45c", "#b0722f", "#7d4318"),
)
_INK = "#222222"
# Inches: round the picture, between lines of the legend, a swatch, the legend beside the picture.
_MARGIN_IN, _LINE_IN, _SWATCH_IN, _BESIDE_IN = 0.25, 0.22, (0.26, 0.15), 2.35
_LEAST_WIDTH_IN = 5.2


def marked_figure(found: MarkedPicture):
    """The picture as a pale print, with what is clipped and blocked in inks, and a legend that says of how much."""
    grey = (found.pixels / 255.0) @ SRGB_LUMINANCE
    pale = np.repeat((0.5 + 0.47 * grey)[..., None], 3, axis=2)
    kinds = _kinds(found)
    lines = []
    for kind, mask in kinds.items():
        pale[mask] = _rgb(_INKS[kind])
        lines.append((_INKS[kind], f"{_kind_words(kind)}: {_share(float(mask.mean()))} of the picture"))
    if not lines:
        asked = [
            *(["clipped"] if found.clipped is not None else []),
            *(["black"] if found.blocked is not None else []),
        ]
        lines = [(None, f"nothing is {listed(asked, 'or')}")]
    figure, _ = _print_of(pale, found.title, len(lines), 0.0)
    for number, (ink, text) in enumerate(lines):
        _legend_line(figure, ink, text, _MARGIN_IN, _MARGIN_IN + _LINE_IN * (len(lines) - 1 - number))
    return figure


def _kinds(found: MarkedPicture) -> dict[int, np.ndarray]:
    """Masks (h, w) of what is marked, by the key of its ink, only those that occur; one channel alone first."""
    kinds = {}
    if found.clipped is not None:
        number = found.clipped @ np.array([1, 2, 4])
        kinds = {kind: number == kind for kind in sorted(_INKS, key=lambda kind: (kind.bit_count(), kind)) if kind}
    if found.blocked is not None:
        kinds[0] = found.blocked
    return {kind: mask for kind, mask in kinds.items() if mask.any()}


def _share(share: float) -> str:
    """A share of the picture; of a few pixels only that there are some."""
    return "under 0.01 %" if 0.0 < share < 1e-4 else percent(share)


def _kind_words(kind: int) -> str:
    if kind == 0:
        return f"black: all three channels at code {BLOCKED_CODE} or less"
    names = [name for bit, name in enumerate(CHANNELS) if kind & 1 << bit]
    if len(names) == 3:
        return "all three channels are clipped"
    return f"{listed(names)} {'alone is' if len(names) == 1 else 'are'} clipped"


def stops_figure(found: StopsAround):
    """The picture in bands of a stop around its reference, and beside it what each band means and holds."""
    bands = np.clip(np.round(found.stops), -BANDS_UNDER, BANDS_OVER).astype(int) + BANDS_UNDER
    inks = np.array([_rgb(ink) for ink in _BANDS])
    drawn = inks[bands]
    figure, (left, bottom, width, height, scale) = _print_of(drawn, found.title, 1, _BESIDE_IN)
    _legend_line(figure, None, f"stops around {found.reference}", _MARGIN_IN, _MARGIN_IN)
    across, up = figure.get_size_inches()
    beside, top = left + width + _MARGIN_IN, bottom + height
    line = min(_LINE_IN * 1.25, height / len(_BANDS))
    for number, band in enumerate(range(BANDS_OVER, -BANDS_UNDER - 1, -1)):
        under = top - line * (number + 1)
        _legend_line(figure, _BANDS[band + BANDS_UNDER], _band_words(band), beside, under, line)
        share = _share(found.shares[band])
        figure.text(
            1.0 - _MARGIN_IN / across, (under + 0.5 * line) / up, share, fontsize=9, ha="right", va="center", color=_INK
        )
    if found.white_stops < BANDS_OVER + 0.5:
        under = top - line * (len(_BANDS) + 1) - 0.05
        text = f"white is clipped at {found.white_stops:+.1f}".replace("-", "−")
        _legend_line(figure, None, text, beside, under)
    if found.place is not None:
        column, row = found.place
        x, y = left + (column + 0.5) * scale / DPI, top - (row + 0.5) * scale / DPI
        _mark_place(figure, x, y)
    return figure


def _band_words(band: int) -> str:
    if band == BANDS_OVER:
        return f"{stops_text(band)} and over"
    if band == -BANDS_UNDER:
        return f"{stops_text(band)} and under"
    return stops_text(band) if band else "0, ± ½ stop"


def _mark_place(figure, x: float, y: float) -> None:
    """A ring round the reference, dark on light ground and light on dark."""
    from matplotlib.patches import Ellipse

    size = figure.get_size_inches()
    for radius, colour in ((0.075, "white"), (0.06, _INK)):
        centre, widths = (x / size[0], y / size[1]), 2.0 * radius / size
        figure.add_artist(Ellipse(centre, *widths, fill=False, edgecolor=colour, linewidth=1.2))


def histogram_figure(found: Histogram):
    """Share of the picture at each code value, a panel a channel; stops against a grey card above.

    Shares stand on a logarithmic scale: an even ground in the picture is one code and would dwarf all else.
    """
    figure = new_figure(7.5, 5.6)
    panels = figure.subplots(3, 1, sharex=True, sharey=True)
    shares, codes = 100.0 * found.counts / found.n_pixels, np.arange(256)
    for axes, name, share, ink in zip(panels, CHANNELS, shares, (_INKS[1], _INKS[2], _INKS[4]), strict=True):
        axes.set_yscale("log")
        axes.fill_between(codes, np.maximum(share, _LEAST_SHARE), _LEAST_SHARE, step="mid", color=ink, linewidth=0)
        axes.set_xlim(-2, 257)
        axes.set_ylim(_LEAST_SHARE, 100.0)
        axes.set_yticks([0.01, 0.1, 1, 10, 100], ["0.01", "0.1", "1", "10", "100"], fontsize=8)
        axes.minorticks_off()
        axes.grid(alpha=0.3)
        axes.set_ylabel(f"{name}, % of pixels", fontsize=9)
        ends = float(share[: BLOCKED_CODE + 1].sum()), float(share[-1])
        dark = f"{_share(ends[0] / 100.0)} at code {BLOCKED_CODE} or less"
        axes.text(0.015, 0.92, dark, transform=axes.transAxes, **_SMALL, ha="left")
        axes.text(0.985, 0.92, f"{_share(ends[1] / 100.0)} clipped", transform=axes.transAxes, **_SMALL, ha="right")
    panels[-1].set_xlabel("code value (sRGB, 8 bits)")
    panels[-1].set_xticks([0, 32, 64, 96, 128, 160, 192, 224, 255])
    above, stops = panels[0].secondary_xaxis("top"), found.stops_over_grey
    whole = range(-5, math.floor(float(stops[-1])) + 1)
    places = [float(np.interp(stop, stops[1:], codes[1:])) for stop in whole]
    above.set_xticks(places, [stops_text(stop) for stop in whole])
    above.set_xlabel("stops against a grey card (18 %) in light that the camera is set for", fontsize=9)
    figure.suptitle(found.title, fontsize=11)
    return figure


# Shares (%) smaller than this are not drawn.
_LEAST_SHARE = 0.003
_SMALL = {
    "fontsize": 8,
    "va": "top",
    "bbox": {"facecolor": "white", "edgecolor": "none", "alpha": 0.85, "pad": 1.5},
}


def _print_of(drawn: np.ndarray, title: str, n_lines: int, beside_in: float):
    """A figure with an image (h, w, 3) of 0..1 pixel by pixel, its title, and room for lines of a legend under it and
    `beside_in` beside it; and where the image lies: left, bottom, width, height (inches), dots a pixel.
    """
    height, width = drawn.shape[:2]
    scale = max(1, math.ceil(_LEAST_WIDTH_IN * DPI / width))
    across, up = width * scale / DPI, height * scale / DPI
    under = 2.0 * _MARGIN_IN + _LINE_IN * n_lines - 0.08
    size = across + 2.0 * _MARGIN_IN + beside_in, under + up + 0.5
    figure = new_figure(*size, layout="none")
    axes = figure.add_axes((_MARGIN_IN / size[0], under / size[1], across / size[0], up / size[1]))
    axes.imshow(drawn, interpolation="nearest", aspect="auto")
    axes.set_axis_off()
    figure.text(_MARGIN_IN / size[0], 1.0 - 0.25 / size[1], title, fontsize=11, va="center", color=_INK, wrap=True)
    return figure, (_MARGIN_IN, under, across, up, scale)


def _legend_line(figure, ink: str | None, text: str, left: float, bottom: float, height: float = _LINE_IN) -> None:
    """A swatch, if there is an ink, and its words, at a place in inches."""
    from matplotlib.patches import Rectangle

    across, up = figure.get_size_inches()
    middle = bottom + 0.5 * height
    if ink is not None:
        width, high = _SWATCH_IN
        corner = left / across, (middle - 0.5 * high) / up
        figure.add_artist(Rectangle(corner, width / across, high / up, facecolor=ink, edgecolor=_INK, linewidth=0.5))
        left += width + 0.1
    figure.text(left / across, middle / up, text, fontsize=9, va="center", color=_INK)


def _rgb(ink: str) -> tuple[float, float, float]:
    return tuple(int(ink[start : start + 2], 16) / 255.0 for start in (1, 3, 5))
