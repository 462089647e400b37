"""What filters do to the lamp at hand: stops, mired shift, chromaticity, and how white paper looks in their light."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import PurePath
from types import SimpleNamespace

import numpy as np

from projector.faults import Fault, SceneError
from projector.files.finding import shipped_folder
from projector.photometry import filters as spectra_of
from projector.photometry.colour import (
    desaturate_out_of_gamut,
    encode_srgb,
    linear_srgb_under_white,
    white_balance_xyz,
    xyz_from_spectrum,
)
from projector.photometry.named_filters import FILTER_NAMES, known_name, named_filter
from projector.photometry.nearest_temperature import nearest_temperature
from projector.photometry.spectra import USUAL_TEMPERATURE_K, luminous
from projector.phrases import did_you_mean, nearest
from projector.scene.checks.colours import check_colour
from projector.scene.checks.report import Report
from projector.scene.model import Filter, Light, Projector, Scene, Source
from projector.scene.reading.field_faults import Places
from projector.shown import Drawn, Shown
from projector.stage.colours import filter_passed, spectrum_of
from projector.stage.stage import SceneOrStage, stage_of

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
    camera balanced to the bare lamp or set as the scene's is, as bright as a screen shows it, and as dim as it is left;
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


def filter_list(
    source: Source | None = None, names: Sequence[str] | None = None, folder=".", white_k: float | None = None
) -> FilterList:
    """Filters before a lamp: those named, as one stack, or all that have a name and the shipped tables.

    source: daylight of 5600 K if not given; names: names or CSV files (looked for in `folder` first); white_k: white
    balance that swatches are seen with (the lamp's own if not given, or 5600 K where its light is no white). SceneError
    with all that is wrong with them.

    >>> found = filter_list(Source(kind="tungsten"), ["full-cool", "neutral-1"])
    >>> [round(item.stops, 2) for item in (*found.filters, found.together)]
    [1.71, 1.0, 2.71]
    """
    shipped = sorted(path.name for path in shipped_folder("filter").glob("*.csv"))
    items = [_item(name) for name in (names if names is not None else (*FILTER_NAMES, *shipped))]
    return _listed(source or Source(), items, folder, names is not None, white_k)


def filters_in(scene: SceneOrStage, light: str | None = None) -> FilterList:
    """The filters of one light of a scene before its own lamp, each alone and all together.

    light: name of a projector or another light; a scene's only one need not be named. Swatches are as the scene's
    camera sees them. SceneError for a name that is none.

    >>> filters_in("05-two-projectors", "texture").together
    <FilteredLight: together, 1.52 stops>
    """
    found = stage_of(scene).scene
    (spec, *others) = lights_of(found, light)
    if others:
        names = ", ".join(item.name for item in (spec, *others))
        raise SceneError(Fault(f"{1 + len(others)} lights, and none is named", names, key="light"))
    return _listed(spec.source, spec.filter, found.folder, True, found.camera.white_balance_k)


def lights_of(scene: Scene, name: str | None = None) -> tuple[Projector | Light, ...]:
    """All lights of a scene, projectors first, or the one of a name. SceneError for a name that is none, and where
    there are no lights.
    """
    lights: list[Projector | Light] = [*scene.projector, *scene.light]
    found = tuple(item for item in lights if name is None or item.name == name)
    if not found:
        names = [item.name for item in lights]
        what = f'there is no light called "{name}"' if name is not None else "the scene has no lights"
        hint = did_you_mean(nearest(name or "", names, 0.5))
        raise SceneError(Fault(what, ", ".join(names) or "a [[projector]] or a [[light]]", hint, key="light"))
    return found


def _item(name: str) -> Filter:
    """A filter as it was typed: a name of ours, or else the file of a measured one."""
    is_file = known_name(name) is None and PurePath(name).suffix.lower() == ".csv"
    return Filter(file=name) if is_file else Filter(name=name)


def _listed(
    source: Source, items: Iterable[Filter], folder, is_stack: bool, white_k: float | None = None
) -> FilterList:
    items = list(items)
    report = Report(Places())
    check_colour(report, folder, SimpleNamespace(filter=items, source=source), (), "")
    if report.faults:
        raise SceneError([replace(fault, key=_plain_key(fault.key)) for fault in report.faults])
    lamp = spectrum_of(source)
    white = _white_of(lamp) if white_k is None else white_balance_xyz(white_k)
    passed = [filter_passed(folder, item) for item in items]
    found = tuple(
        _filtered(filter_words(item), _kind_of(item), lamp, share, white)
        for item, share in zip(items, passed, strict=True)
    )
    together = _filtered(TOGETHER, TOGETHER, lamp, spectra_of.stack(passed), white) if is_stack else None
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


def _filtered(name: str, kind: str, lamp: np.ndarray, passed: np.ndarray, white: np.ndarray) -> FilteredLight:
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
        *_swatches(lamp, passed, white),
        passed,
    )


def _shift(lamp: np.ndarray, passed: np.ndarray) -> float | None:
    """Mireds from the bare lamp to the filtered one, by the nearest black bodies; None where either is no white."""
    (before_k, off), (after_k, then_off) = (
        nearest_temperature(spectra_of.xy_after(lamp, share)) for share in (np.ones_like(passed), passed)
    )
    is_white = max(abs(off), abs(then_off)) <= WHITE_WITHIN_DUV and min(before_k, after_k) >= WHITE_FROM_K
    return spectra_of.mired_shift(before_k, after_k) if is_white else None


def _white_of(lamp: np.ndarray) -> np.ndarray:
    """XYZ (Y = 1) that a camera is balanced to for a lamp: its own light, or a usual white where that is a colour."""
    _, off = nearest_temperature(spectra_of.xy_after(lamp, np.ones_like(lamp)))
    if abs(off) > WHITE_WITHIN_DUV:
        return white_balance_xyz(USUAL_TEMPERATURE_K["daylight"])
    return xyz_from_spectrum(lamp) / luminous(lamp)


def _swatches(lamp: np.ndarray, passed: np.ndarray, white: np.ndarray) -> tuple[str, str]:
    """White paper in a filtered light, as bright as a screen shows it and as dim as it is; "#rrggbb".

    white (3,): XYZ, Y = 1, that the camera is balanced to.
    """
    linear = desaturate_out_of_gamut(linear_srgb_under_white(white) @ xyz_from_spectrum(lamp * passed)) / luminous(lamp)
    return _written(linear / max(float(linear.max()), 1e-12)), _written(linear)


def _written(linear: np.ndarray) -> str:
    levels = np.round(255.0 * encode_srgb(np.clip(linear, 0.0, 1.0))).astype(int)
    return "#" + "".join(f"{level:02x}" for level in levels)
