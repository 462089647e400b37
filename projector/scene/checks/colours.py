"""The colour of a light: a lamp set to what it can give, and filters each told in one way, by the numbers of its kind.

What a light is, a projector or another one, does not matter here: all take the same `Source` and `Filter`.
"""

from __future__ import annotations

from dataclasses import replace

from projector.faults import SceneError
from projector.files.finding import find_file
from projector.photometry.colour_led import USUAL_LAMP, OutOfReach, set_to_xy
from projector.photometry.filters import temperature_shift
from projector.photometry.named_filters import FILTER_NAMES, known_name
from projector.photometry.spectra import source_spectrum
from projector.phrases import did_you_mean, listed, nearest
from projector.scene.checks.report import Report
from projector.scene.placement import filter_table_of

_FIELDS = {
    "neutral": ({"density", "stops"}, 1),
    "band": ({"centre_nm", "width_nm"}, 2),
    "edge_long": ({"edge_nm", "width_nm"}, 2),
    "edge_short": ({"edge_nm", "width_nm"}, 2),
    "temperature": ({"mired_shift"}, 1),
    "table": ({"wavelength_nm", "transmittance"}, 2),
}
_WAYS = ("name", "file", "kind")
_SET = ("xy", "hue_deg", "saturation", "emitters")


def check_colour(report: Report, folder, spec, path: tuple, key: str) -> None:
    """Lamp and filters of a light; folder: of the scene, for its files; path and key: of the light itself."""
    for index, item in enumerate(spec.filter):
        _check_filter(report, folder, item, (*path, "filter", index), f"{key}.filter")
    _check_source(report, spec.source, (*path, "source"), f"{key}.source")


def _check_filter(report: Report, folder, item, path: tuple, key: str) -> None:
    ways = [way for way in _WAYS if getattr(item, way) is not None]
    given = {name for name, value in item.model_dump(exclude=set(_WAYS)).items() if value is not None}
    if len(ways) != 1:
        found = f"a filter with {listed(ways)}" if ways else "a filter with neither a name, a file nor a kind"
        report.fault(path, key, found, "one of name, file and kind", 'name = "half-warm"' if not ways else "keep one")
    elif ways != ["kind"] and given:
        report.fault(
            path,
            key,
            f"{listed(sorted(given))} beside a {ways[0]}",
            f"the {ways[0]} alone",
            "take out what is beside it",
        )
    elif item.name is not None:
        _check_name(report, item.name, (*path, "name"), f"{key}.name")
    elif item.file is not None:
        _check_file(report, folder, item, (*path, "file"), f"{key}.file")
    else:
        _check_kind(report, item, given, path, key)


def _check_name(report: Report, name: str, path: tuple, key: str) -> None:
    if known_name(name) is None:
        near = nearest(name.lower(), FILTER_NAMES, 0.5)
        otherwise = f'file = "{name}"' if name.endswith(".csv") else "`projector filters` shows them all"
        report.fault(
            path, key, f'no filter is called "{name}"', ", ".join(FILTER_NAMES), did_you_mean(near, otherwise=otherwise)
        )


def _check_file(report: Report, folder, item, path: tuple, key: str) -> None:
    """A missing file is the scene's fault; what is wrong inside one is said with that file's own lines."""
    try:
        find_file(item.file, folder, "filter")
    except SceneError as error:
        report.take(error, path, key)
        return
    try:
        filter_table_of(folder, item)
    except SceneError as error:
        report.faults += [replace(fault, key=fault.key or key) for fault in error.faults]


def _check_kind(report: Report, item, given: set[str], path: tuple, key: str) -> None:
    wanted, count = _FIELDS[item.kind]
    if given - wanted or len(given & wanted) != count:
        either = " or " if count == 1 and len(wanted) > 1 else " and "
        report.fault(
            path,
            key,
            f"{'an' if item.kind[0] in 'aeiou' else 'a'} {item.kind} filter with"
            f" {', '.join(sorted(given)) or 'nothing'}",
            either.join(sorted(wanted)),
        )
    elif item.kind == "table" and (
        len(item.wavelength_nm) != len(item.transmittance)
        or any(b <= a for a, b in zip(item.wavelength_nm, item.wavelength_nm[1:], strict=False))
        or not item.wavelength_nm
    ):
        report.fault(
            path,
            key,
            "a table whose wavelengths do not rise or do not match its transmittances",
            "as many transmittances as rising wavelengths",
        )
    elif item.kind == "temperature":
        _check_spectrum(
            report,
            (*path, "mired_shift"),
            f"{key}.temperature.mired_shift",
            lambda: temperature_shift(item.mired_shift),
        )


def _check_source(report: Report, source, path: tuple, key: str) -> None:
    colours = [name for name in _SET if getattr(source, name) is not None]
    if colours and source.kind != "led":
        report.fault(
            (*path, colours[0]),
            f"{key}.{colours[0]}",
            f"{listed(colours)} of {'a' if source.kind != 'equal_energy' else 'an'} {source.kind} lamp",
            "only an LED is set to a colour; others take filters",
            'kind = "led"',
        )
    elif colours:
        _check_setting(report, source, path, key)
    else:
        _check_spectrum(
            report,
            (*path, "temperature_k"),
            f"{key}.temperature_k",
            lambda: source_spectrum(source.kind, source.temperature_k),
        )


def _check_setting(report: Report, source, path: tuple, key: str) -> None:
    """An LED that is set to a colour, in one way, and to one that it can mix."""
    is_xy, is_hue = source.xy is not None, source.hue_deg is not None
    if is_xy and (is_hue or source.saturation is not None):
        report.fault((*path, "xy"), f"{key}.xy", "a colour by xy, and by hue and saturation", "one of the two")
        return
    if not is_xy and not is_hue:
        name = "saturation" if source.saturation is not None else "emitters"
        report.fault(
            (*path, name), f"{key}.{name}", f"{name} without a colour", "beside hue_deg, or beside xy", "hue_deg = 30"
        )
        return
    if source.temperature_k is not None:
        before = len(report.faults)
        temperature = (*path, "temperature_k"), f"{key}.temperature_k"
        if is_xy and source.emitters == "rgb":
            report.fault(*temperature, "a temperature of a lamp without white emitters", "xy alone", "take it out")
        else:
            _check_spectrum(report, *temperature, lambda: source_spectrum("led", source.temperature_k))
        if len(report.faults) > before:
            return
    if is_xy:
        try:
            set_to_xy(source.xy, source.emitters or USUAL_LAMP, source.temperature_k)
        except OutOfReach as error:
            x, y = error.nearest
            try_ = f"the nearest that it gives: xy = [{x:g}, {y:g}]"
            report.fault((*path, "xy"), f"{key}.xy", str(error), "a colour within its reach", try_)


def _check_spectrum(report: Report, path: tuple, key: str, made) -> None:
    """A spectrum that photometry cannot make of these numbers is the user's to mend."""
    try:
        made()
    except ValueError as error:
        report.fault(path, key, str(error).rstrip("."), "a value inside that range")
