"""What the fields of a light without gate and lens say together: its sizes by kind, its power, its place."""

from __future__ import annotations

from projector.faults import SceneError
from projector.files.finding import find_file
from projector.files.photometric import read_photometric_file
from projector.phrases import did_you_mean, listed, nearest
from projector.scene.checks.gear import check_bare, check_setting
from projector.scene.checks.report import Report
from projector.scene.model.light import size_of

# What each kind takes of the keys that not all have.
_KEYS = {
    "panel": {"width_m", "height_m", "diameter_m", "n_sides", "layers", "recess_m", "grid"},
    "strip": {"width_m", "height_m", "layers", "recess_m", "grid"},
    "tube": {"length_m", "diameter_m"},
    "dish": {"diameter_m", "beam_deg", "field_deg", "grid"},
    "spot": {"diameter_m", "beam_deg", "field_deg"},
    "bare": {"diameter_m"},
    "hard": {"diameter_m", "beam_deg", "field_deg", "grid"},
    "measured": {"diameter_m", "file"},
}
_SPECIAL = set().union(*_KEYS.values())
_STATEMENTS = ("reading", "against", "output", "energy", "power")


def check_light(report: Report, scene, spec, path: tuple) -> None:
    """One light whose single fields are right."""
    key = f"light.{spec.name}"
    _check_keys(report, spec, path, key)
    _check_shape(report, spec, path, key)
    _check_grid(report, spec, path, key)
    _check_statements(report, spec, path, key)
    if spec.power is not None:
        check_setting(report, spec.power, scene.gear, (*path, "power"), f"{key}.power")
        check_bare(report, spec.power, (*path, "power"), f"{key}.power")
        for name in ("lens", "lens_f_number"):
            if getattr(spec.power, name) is not None:
                report.fault(
                    (*path, "power", name),
                    f"{key}.power.{name}",
                    f"{name} of a light without a lens",
                    "no lens",
                    "take it out",
                )
    if spec.against is not None:
        _check_against(report, scene, spec, path, key)
    if spec.kind == "measured":
        _check_measured(report, scene, spec, path, key)


def _check_keys(report: Report, spec, path: tuple, key: str) -> None:
    """Keys that mean nothing for this kind."""
    for name in sorted(_SPECIAL - _KEYS[spec.kind]):
        if getattr(spec, name) is not None:
            kinds = [kind for kind, keys in _KEYS.items() if name in keys]
            report.fault(
                (*path, name),
                f"{key}.{name}",
                f"a {spec.kind} light has no {name}",
                ", ".join(sorted(_KEYS[spec.kind])),
                f"{name} belongs to {listed(kinds, 'or')}",
            )


def _check_shape(report: Report, spec, path: tuple, key: str) -> None:
    if spec.kind == "panel":
        flat = [name for name in ("width_m", "height_m") if getattr(spec, name) is not None]
        if spec.diameter_m is not None and flat:
            report.fault(
                (*path, "diameter_m"),
                f"{key}.diameter_m",
                f"diameter_m beside {listed(flat)}",
                "width_m and height_m of a rectangle, or diameter_m of a round or many-sided one",
                "keep one of the two",
            )
        if spec.n_sides is not None and spec.diameter_m is None:
            report.fault(
                (*path, "n_sides"),
                f"{key}.n_sides",
                f"a panel of {spec.n_sides} sides without a diameter",
                "diameter_m, across its corners",
            )
    beam, field = size_of(spec, "beam_deg"), size_of(spec, "field_deg")
    if beam is not None and field is not None and beam >= field:
        report.fault(
            (*path, "field_deg"),
            f"{key}.field_deg",
            f"a field of {field:g}° within a beam of {beam:g}°",
            "a field wider than the beam: it ends where a tenth is left, the beam where half is",
            "measure both, or leave one out",
        )


def _check_grid(report: Report, spec, path: tuple, key: str) -> None:
    grid = spec.grid
    if grid is None:
        return
    cells = [name for name in ("cell_mm", "depth_mm") if getattr(grid, name) is not None]
    if (grid.beam_deg is None) != (len(cells) == 2) or (grid.beam_deg is not None and cells):
        given = [name for name in ("beam_deg", "cell_mm", "depth_mm") if getattr(grid, name) is not None]
        report.fault(
            (*path, "grid"),
            f"{key}.grid",
            f"a grid with {listed(given) or 'nothing'}",
            "beam_deg (full angle at which half passes), or cell_mm and depth_mm",
            "measure a cell's width and depth",
        )


def _check_statements(report: Report, spec, path: tuple, key: str) -> None:
    """At most one statement of power, and whole."""
    given = [name for name in _STATEMENTS if getattr(spec, name) is not None]
    if len(given) > 1:
        report.fault(
            (*path, given[1]),
            f"{key}.{given[1]}",
            f"{'two' if len(given) == 2 else len(given)} statements of power: {listed(given)}",
            "one of them",
            "keep the one you measured",
        )
    if spec.reading is not None and (spec.reading.distance_m is None) == (spec.reading.at is None):
        report.fault(
            (*path, "reading"),
            f"{key}.reading",
            "a reading with both distance_m and at" if spec.reading.at is not None else "a reading taken nowhere",
            "distance_m from the light, or at: a landmark or a point",
        )
    pairs = (("output", "lumens", "lumen_seconds"), ("energy", "watts", "watt_seconds"))
    for name, steady, flash in pairs:
        part = getattr(spec, name)
        if part is not None and (getattr(part, steady) is None) == (getattr(part, flash) is None):
            report.fault(
                (*path, name),
                f"{key}.{name}",
                f"{name} with both or none of {steady} and {flash}",
                f"{steady} for steady light, {flash} for a flash",
            )
    stated = [name for name in given if name != "against"]
    if spec.flash is not None and (stated or spec.kind == "measured"):
        what = f"its {stated[0]}" if stated else "a measured light, which is steady,"
        report.fault(
            (*path, "flash"),
            f"{key}.flash",
            f"flash beside {what} that says so already",
            "flash only with stops against another light, or with no statement of power",
            "take it out",
        )


def _check_against(report: Report, scene, spec, path: tuple, key: str) -> None:
    """The other light is there, and does not count from this one in turn."""
    others = [item.name for item in (*scene.light, *scene.projector) if item.name != spec.name]
    of = spec.against.of
    if of == spec.name or of not in others:
        found = "stops against itself" if of == spec.name else f'there is no light called "{of}"'
        report.fault(
            (*path, "against", "of"),
            f"{key}.against.of",
            found,
            ", ".join(others) or "another light: this is the only one",
            did_you_mean(nearest(of, others)) if of != spec.name else "",
        )
        return
    by_name = {item.name: item for item in scene.light}
    passed, here = [spec.name], of
    while here in by_name and by_name[here].against is not None and here not in passed:
        passed.append(here)
        here = by_name[here].against.of
    if here == spec.name:
        report.fault(
            (*path, "against", "of"),
            f"{key}.against.of",
            f"each counts from the next in a circle: {' → '.join((*passed, here))}",
            "one of them stated by itself",
            "give the key a reading",
        )


def _check_measured(report: Report, scene, spec, path: tuple, key: str) -> None:
    if spec.file is None:
        report.fault(
            (*path, "file"), f"{key}.file", "a measured light without its file", "file: an LM-63 photometric file"
        )
        return
    try:
        found = read_photometric_file(find_file(spec.file, scene.folder, "photometric"))
    except SceneError as error:
        report.take(error, (*path, "file"), f"{key}.file")
        return
    report.warnings += [f"{spec.name}: {note}" for note in found.notes]
