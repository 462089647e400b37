"""What filters do to the lamp at hand: stops, mired shift, chromaticity, and how white paper looks in their light."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import PurePath
from types import SimpleNamespace

import numpy as np

from projector.faults import SceneError
from projector.files.finding import shipped_folder
from projector.photometry import filters as spectra_of
from projector.photometry.colour import (
    desaturate_out_of_gamut,
    encode_srgb,
    linear_srgb_under_white,
    xyz_from_spectrum,
)
from projector.photometry.named_filters import FILTER_NAMES, known_name, named_filter
from projector.photometry.nearest_temperature import nearest_temperature
from projector.scene.checks.colours import check_colour
from projector.scene.checks.report import Report
from projector.scene.model import Filter, Source
from projector.scene.reading.field_faults import Places
from projector.shown import Drawn, Shown
from projector.stage.colours import filter_passed, spectrum_of
from projector.stage.stage import AnyProjector, SceneOrStage, projector_on

OWN, TOGETHER = "own", "together"
# A light that lies farther from every black body than this (D_uv) is a colour, and no shift in mired is told of it: a
# rule of our own, two fifths of the 0.05 up to which CIE 015 speaks of a correlated colour temperature.
WHITE_WITHIN_DUV = 0.02
# Nor of one redder than embers; a candle has some 1900 K (common practice, no source).
WHITE_FROM_K = 1500.0


@dataclass(frozen=True, repr=False)
class FilteredLight(Shown):
    """One filter before the lamp at hand.

    name: as the scene says it, a file's name or the numbers of its kind; kind: "correction", "neutral", "colour", "own"
    (measured, or by numbers) or "together" (all of a stack); stops: what it costs this lamp; light_share: what it
    passes of its light, 0 to 1; mired_shift: what it does to its colour temperature, positive towards warm, None where
    the light is no white; x, y: CIE 1931 chromaticity; swatch, dim_swatch: white paper in this light, "#rrggbb", to a
    camera balanced to the bare lamp, as bright as a screen shows it, and as dim as the filter leaves it;
    transmittance (71,): from 380 to 730 nm.
    """

    in_one_line = "{name}, {stops:.2f} stops"

    name: str
    kind: str
    stops: float
    light_share: float
    mired_shift: float | None
    x: float
    y: float
    swatch: str
    dim_swatch: str
    transmittance: np.ndarray


@dataclass(frozen=True, repr=False)
class FilterList(Drawn):
    """Filters before one lamp. source: the lamp; x, y: its own chromaticity; filters: each of them, in order;
    together: all of them as one stack, None of a list that is no stack.
    """

    source: Source
    x: float
    y: float
    filters: tuple[FilteredLight, ...]
    together: FilteredLight | None = None

    def _line(self) -> str:
        stops = f", {self.together.stops:.2f} stops together" if self.together is not None else ""
        return f"{len(self.filters)} before {self.source.kind}{stops}"


def filter_list(source: Source | None = None, names: Sequence[str] | None = None, folder=".") -> FilterList:
    """Filters before a lamp: those named, as one stack, or all that have a name and the shipped tables.

    source: daylight of 5600 K if not given; names: names or CSV files (looked for in `folder` first). SceneError with
    all that is wrong with them.

    >>> found = filter_list(Source(kind="tungsten"), ["full-cool", "neutral-1"])
    >>> [round(item.stops, 2) for item in (*found.filters, found.together)]
    [1.71, 1.0, 2.71]
    """
    shipped = sorted(path.name for path in shipped_folder("filter").glob("*.csv"))
    items = [_item(name) for name in (names if names is not None else (*FILTER_NAMES, *shipped))]
    return _listed(source or Source(), items, folder, is_stack=names is not None)


def filters_in(scene: SceneOrStage, projector: AnyProjector = None) -> FilterList:
    """The filters of one projector of a scene before its own lamp, each alone and all together.

    >>> filters_in("05-two-projectors", "texture").together
    <FilteredLight: together, 1.52 stops>
    """
    staged = projector_on(scene, projector)
    return _listed(staged.spec.source, staged.spec.filter, staged.stage.scene.folder, is_stack=True)


def _item(name: str) -> Filter:
    """A filter as it was typed: a name of ours, or else the file of a measured one."""
    is_file = known_name(name) is None and PurePath(name).suffix.lower() == ".csv"
    return Filter(file=name) if is_file else Filter(name=name)


def _listed(source: Source, items: Iterable[Filter], folder, is_stack: bool) -> FilterList:
    items = list(items)
    report = Report(Places())
    check_colour(report, folder, SimpleNamespace(filter=items, source=source), (), "")
    if report.faults:
        raise SceneError([replace(fault, key=_plain_key(fault.key)) for fault in report.faults])
    lamp = spectrum_of(source)
    passed = [filter_passed(folder, item) for item in items]
    found = tuple(
        _filtered(filter_words(item), _kind_of(item), lamp, share) for item, share in zip(items, passed, strict=True)
    )
    together = _filtered(TOGETHER, TOGETHER, lamp, spectra_of.stack(passed)) if is_stack else None
    x, y = spectra_of.xy_after(lamp, np.ones_like(lamp))
    return FilterList(source, float(x), float(y), found, together)


def _plain_key(key: str | None) -> str:
    """A key of a scene's part as the parameter that stands for it: filters are named, a lamp by its kind."""
    return "filter" if (key or "").startswith(".filter") else (key or "").rpartition(".")[2]


def _kind_of(item: Filter) -> str:
    return named_filter(item.name).kind if item.name is not None else OWN


def filter_words(item: Filter) -> str:
    """What a filter of a scene is called: its name, its file, or its kind with its numbers."""
    if item.name is not None:
        return known_name(item.name) or item.name
    if item.file is not None:
        return PurePath(item.file).name
    numbers = {
        "neutral": lambda: f"{item.stops:g} stops" if item.stops is not None else f"density {item.density:g}",
        "band": lambda: f"{item.centre_nm:g} nm, {item.width_nm:g} wide",
        "edge_long": lambda: f"from {item.edge_nm:g} nm",
        "edge_short": lambda: f"up to {item.edge_nm:g} nm",
        "temperature": lambda: f"{item.mired_shift:+g} mired",
        "table": lambda: f"{len(item.wavelength_nm or ())} rows",
    }
    return f"{item.kind} ({numbers[str(item.kind)]()})".replace("-", "−").replace("edge_", "edge ")


def _filtered(name: str, kind: str, lamp: np.ndarray, passed: np.ndarray) -> FilteredLight:
    x, y = spectra_of.xy_after(lamp, passed)
    stops = spectra_of.stops_lost(lamp, passed)
    return FilteredLight(
        name,
        kind,
        stops,
        2.0**-stops,
        _shift(lamp, passed),
        float(x),
        float(y),
        *_swatches(lamp, passed),
        passed,
    )


def _shift(lamp: np.ndarray, passed: np.ndarray) -> float | None:
    """Mireds from the bare lamp to the filtered one, by the nearest black bodies; None where either is no white."""
    (before_k, off), (after_k, then_off) = (
        nearest_temperature(spectra_of.xy_after(lamp, share)) for share in (np.ones_like(passed), passed)
    )
    is_white = max(abs(off), abs(then_off)) <= WHITE_WITHIN_DUV and min(before_k, after_k) >= WHITE_FROM_K
    return spectra_of.mired_shift(before_k, after_k) if is_white else None


def _swatches(lamp: np.ndarray, passed: np.ndarray) -> tuple[str, str]:
    """White paper in a filtered light, as bright as a screen shows it and as dim as it is; "#rrggbb"."""
    white = xyz_from_spectrum(lamp)
    linear = desaturate_out_of_gamut(linear_srgb_under_white(white / white[1]) @ (xyz_from_spectrum(lamp * passed)))
    linear = linear / white[1]
    return _written(linear / max(float(linear.max()), 1e-12)), _written(linear)


def _written(linear: np.ndarray) -> str:
    levels = np.round(255.0 * encode_srgb(np.clip(linear, 0.0, 1.0))).astype(int)
    return "#" + "".join(f"{level:02x}" for level in levels)
