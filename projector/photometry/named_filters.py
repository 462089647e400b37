"""Filters by name: correction towards warm and cool, neutral grey by stops, and plain colours.

Correction carries the shifts that sheets of the trade are sold with; a half is not half of a full there. The colours
are nobody's sheets: smooth curves of our own, clear film with one to three dyes (Beer and Lambert's law). A sheet that
was measured goes in as a table of its own.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from projector.photometry.filters import CLEAR_FILM, neutral, temperature_shift
from projector.photometry.spectra import bell

CORRECTION, NEUTRAL, COLOUR = "correction", "neutral", "colour"

# Mired shifts as sheets are sold (Mired/Filter Calculator, pointsinfocus.com, table of cooling and warming filters;
# J. Holben, The Art of the Mired Measurement, tvtechnology.com, has the +159 as well). Makers differ by a tenth.
PRINTED_SHIFTS = {
    "full-warm": 159.0,
    "half-warm": 109.0,
    "quarter-warm": 64.0,
    "eighth-warm": 26.0,
    "full-cool": -137.0,
    "half-cool": -78.0,
    "quarter-cool": -35.0,
    "eighth-cool": -18.0,
}
# The trade's own word for each direction: colour temperature orange, and blue.
_TRADE_WORDS = {"warm": "cto", "cool": "ctb"}
_FRACTIONS = {"full": ("1", ""), "half": ("1/2",), "quarter": ("1/4",), "eighth": ("1/8",)}
# Densities that grey sheets are sold with, by the stops that they are called (one stop is exactly 0.301).
PRINTED_DENSITIES = {
    "neutral-half": 0.15,
    "neutral-1": 0.3,
    "neutral-2": 0.6,
    "neutral-3": 0.9,
    "neutral-4": 1.2,
}
# Dyes of a colour: (peak in nm, full width at half of the peak density in nm, peak density).
_DYES = {
    "pale-yellow": ((430.0, 90.0, 0.5),),
    "yellow": ((430.0, 105.0, 1.6),),
    "amber": ((450.0, 120.0, 1.5), (525.0, 90.0, 0.35)),
    "orange": ((450.0, 140.0, 2.0), (535.0, 80.0, 0.7)),
    "red": ((440.0, 180.0, 2.4), (545.0, 85.0, 2.0)),
    "pink": ((530.0, 110.0, 0.5), (430.0, 80.0, 0.1)),
    "magenta": ((535.0, 100.0, 1.8),),
    "violet": ((555.0, 115.0, 1.4), (630.0, 120.0, 0.5)),
    "deep-blue": ((560.0, 130.0, 1.8), (660.0, 170.0, 2.2)),
    "blue": ((590.0, 120.0, 1.2), (680.0, 150.0, 1.2)),
    "pale-blue": ((620.0, 170.0, 0.35),),
    "cyan": ((645.0, 115.0, 1.7),),
    "green": ((430.0, 110.0, 1.6), (650.0, 130.0, 1.6)),
    "lime": ((435.0, 110.0, 1.3), (670.0, 130.0, 0.6)),
}


@dataclass(frozen=True)
class NamedFilter:
    """A filter that is called by its name. kind: "correction", "neutral" or "colour"; spectrum (71,): transmittance."""

    name: str
    kind: str
    spectrum: np.ndarray


def _spectrum(name: str) -> np.ndarray:
    if name in PRINTED_SHIFTS:
        return temperature_shift(PRINTED_SHIFTS[name])
    if name in PRINTED_DENSITIES:
        return neutral(density=PRINTED_DENSITIES[name])
    density = sum(peak * bell(centre, width) for centre, width, peak in _DYES[name])
    return CLEAR_FILM * 10.0**-density


_KINDS = {
    **dict.fromkeys(PRINTED_SHIFTS, CORRECTION),
    **dict.fromkeys(PRINTED_DENSITIES, NEUTRAL),
    **dict.fromkeys(_DYES, COLOUR),
}
FILTER_NAMES = tuple(_KINDS)


def _trade_names() -> dict[str, str]:
    """What the trade writes for ours, spelled as `_plain` spells it: "half cto", "1/2 cto", "nd 0.6"."""
    found = {}
    for name in PRINTED_SHIFTS:
        fraction, direction = name.split("-")
        for written in (fraction, *_FRACTIONS[fraction]):
            found[_plain(f"{written} {_TRADE_WORDS[direction]}")] = name
    for name, density in PRINTED_DENSITIES.items():
        found[_plain(f"nd {density:g}")] = found[_plain(f"nd{density:g}")] = name
    return found


def _plain(name: str) -> str:
    """A name without regard to capitals, and to how its words are joined."""
    return re.sub(r"[\s_-]+", " ", name).strip().lower()


_KNOWN = {**{_plain(name): name for name in FILTER_NAMES}, **_trade_names()}


def known_name(name: str) -> str | None:
    """Our name for a filter, however it is written ("Full Warm", "full_warm", and as the trade says "1/2 CTO", "ND
    0.6"); None if there is no such filter.
    """
    return _KNOWN.get(_plain(name))


def named_filter(name: str) -> NamedFilter:
    """The filter of a name. ValueError if there is none."""
    found = known_name(name)
    if found is None:
        raise ValueError(f"no filter is called {name!r}; known are: {', '.join(FILTER_NAMES)}.")
    return NamedFilter(found, _KINDS[found], _spectrum(found))
