"""The colour of a light as its scene states it: what its lamp sends, and what its filters let through."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from projector.photometry import filters
from projector.photometry.colour_led import USUAL_LAMP, set_to_xy, xy_of_hue
from projector.photometry.named_filters import named_filter
from projector.photometry.spectra import source_spectrum
from projector.scene.model import Filter, Source
from projector.scene.placement import filter_table_of

# What each kind of filter is made of; that it has the numbers for it has been checked.
_MADE: dict[str, Callable] = {
    "neutral": lambda item: filters.neutral(density=item.density, stops=item.stops),
    "band": lambda item: filters.band(item.centre_nm, item.width_nm),
    "edge_long": lambda item: filters.long_pass(item.edge_nm, item.width_nm),
    "edge_short": lambda item: filters.short_pass(item.edge_nm, item.width_nm),
    "temperature": lambda item: filters.temperature_shift(item.mired_shift),
    "table": lambda item: filters.table(item.wavelength_nm, item.transmittance),
}


def spectrum_of(source: Source) -> np.ndarray:
    """The spectrum (71,) of a lamp without filters, luminous sum 1."""
    if source.hue_deg is not None:
        saturation = 1.0 if source.saturation is None else source.saturation
        xy = xy_of_hue(source.hue_deg, saturation, source.temperature_k)
    elif source.xy is not None:
        xy = np.array(source.xy)
    else:
        return source_spectrum(source.kind, source.temperature_k)
    return set_to_xy(xy, source.emitters or USUAL_LAMP, source.temperature_k)


def filter_passed(folder, item: Filter) -> np.ndarray:
    """Transmittance (71,) of a filter; folder: of the scene, for its file. SceneError if it cannot be read."""
    if item.name is not None:
        return named_filter(item.name).spectrum
    if item.file is not None:
        measured = filter_table_of(folder, item)
        return filters.table(measured.wavelength_nm, measured.transmittance)
    return _MADE[str(item.kind)](item)


def filters_passed(folder, items) -> np.ndarray:
    """Transmittance (71,) of several filters together, one behind the other; folder: of the scene, for their files."""
    return filters.stack(filter_passed(folder, item) for item in items)
