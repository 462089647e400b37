"""What the fields of a lens say together: dispersion, pupil, distortion, its widest opening."""

from __future__ import annotations

from projector.faults import Fault
from projector.optics.dispersion import MATERIALS, find_material
from projector.optics.distortion import STRONGEST_BARREL
from projector.phrases import did_you_mean, listed, nearest
from projector.scene.checks.report import Report
from projector.scene.reading.field_faults import Places


def lens_faults(lens, places: Places, key: str = "lens", path: tuple = ("lens",)) -> list[Fault]:
    """What the fields of a lens say together; path and key are where it stands."""
    report = Report(places)
    check_lens(report, lens, path, key)
    return report.faults


def check_lens(report: Report, lens, path: tuple, key: str) -> None:
    """One dispersion, a pupil with the numbers of its shape, a barrel that does not fold over, no stop too wide."""
    dispersion = lens.dispersion
    if dispersion is not None:
        given = [name for name, value in dispersion.model_dump().items() if value is not None]
        if len(given) != 1:
            found = listed(given) if given else "nothing in it"
            report.fault(
                (*path, "dispersion"),
                f"{key}.dispersion",
                f"dispersion with {found}",
                "exactly one of glass, abbe_number, achromat, secondary_spectrum_mm",
                "keep one of them",
            )
        _check_glasses(report, dispersion, (*path, "dispersion"), f"{key}.dispersion")
    pupil = lens.pupil
    if pupil is not None:
        needs = {"polygon": "n_blades", "ring": "inner_fraction", "bitmap": "file"}
        for shape, name in needs.items():
            is_given = getattr(pupil, name) is not None
            if pupil.shape == shape and not is_given:
                report.fault((*path, "pupil"), f"{key}.pupil.{name}", f"a {shape} pupil needs {name}", "add it")
            elif is_given and pupil.shape != shape:
                report.fault(
                    (*path, "pupil", name),
                    f"{key}.pupil.{name}",
                    f"{name} does not belong to a {pupil.shape} pupil",
                    f"it goes with {shape}",
                )
    if lens.distortion_percent <= 100.0 * STRONGEST_BARREL:
        report.fault(
            (*path, "distortion_percent"),
            f"{key}.distortion_percent",
            f"a barrel of {lens.distortion_percent:g} %: the gate's edge would land inside what lies within it, and the"
            " picture fold over itself",
            f"more than {100.0 * STRONGEST_BARREL:.1f} %",
            "state it at the gate's edge (a rectangle's corner), negative for barrel",
        )
    if lens.widest_f_number is not None and lens.widest_f_number > lens.f_number * 1.001:
        report.fault(
            (*path, "f_number"),
            f"{key}.f_number",
            f"f/{lens.f_number:g} on a lens whose widest is f/{lens.widest_f_number:g}",
            f"f/{lens.widest_f_number:g} or a larger number",
        )


def _check_glasses(report: Report, dispersion, path: tuple, key: str) -> None:
    names = [dispersion.glass] if dispersion.glass is not None else list(dispersion.achromat or ())
    for name in names:
        try:
            find_material(name)
        except (KeyError, ValueError):
            close = nearest(name, MATERIALS, 0.4)
            report.fault(
                path,
                key,
                f'the glass "{name}" is not known',
                ", ".join(MATERIALS),
                f"{did_you_mean(close)} Else give abbe_number" if close else "give its abbe_number instead",
            )
            return
    if dispersion.achromat is not None and dispersion.achromat[0] == dispersion.achromat[1]:
        report.fault(path, key, "an achromat of one glass twice", "a crown and a flint")
