"""What states a projector's power, and the lens that it was stated with."""

from __future__ import annotations

from projector.phrases import listed
from projector.scene.checks.gear import check_setting
from projector.scene.checks.lens import check_lens
from projector.scene.checks.report import Report
from projector.scene.stated_power import STATEMENTS, stated_lens

_CALLED = {"reading": "a reading", "output": "an output", "power": "a unit of your gear"}


def check_power(report: Report, spec, gear, path: tuple) -> None:
    """One statement of power, one of focus, and a stop and a source that go together; gear: the scene's, or None."""
    key = f"projector.{spec.name}"
    stated = [kind for kind in STATEMENTS if getattr(spec, kind) is not None]
    if len(stated) > 1:
        words = listed([_CALLED[kind] for kind in stated])
        report.fault(
            (*path, stated[1]),
            f"{key}.{stated[1]}",
            f"{'two' if len(stated) == 2 else 'three'} statements of power: {words}",
            "one of them",
            "keep the one you measured",
        )
    if spec.power is not None:
        check_setting(report, spec.power, gear, (*path, "power"), f"{key}.power")
    for kind in STATEMENTS:
        if getattr(spec, kind) is not None:
            _check_statement(report, spec, kind, (*path, kind), f"{key}.{kind}")
    if spec.output is not None and (spec.output.lumens is None) == (spec.output.lumen_seconds is None):
        report.fault(
            (*path, "output"),
            f"{key}.output",
            "output with both or none of lumens and lumen_seconds",
            "lumens for steady light, lumen_seconds for a flash",
        )
    if spec.focus.at is not None and spec.focus.distance_m is not None:
        report.fault((*path, "focus"), f"{key}.focus", "focus with both at and distance_m", "one of them")
    lens = spec.lens
    if lens is None:
        return
    if lens.focal_length_mm < 5.0:
        report.warnings.append(
            f"{spec.name}: a focal length of {lens.focal_length_mm:g} mm is unusually short; is it in another unit?"
        )
    if lens.filled_pupil_mm is not None and lens.filled_pupil_mm >= lens.focal_length_mm / lens.f_number:
        report.warnings.append(
            f"{spec.name}: the source fills {lens.filled_pupil_mm:g} mm, the stop at f/{lens.f_number:g} lets"
            f" {lens.focal_length_mm / lens.f_number:.1f} mm through: the stop rules."
        )


def _check_statement(report: Report, spec, kind: str, path: tuple, key: str) -> None:
    """What a reading or an output says of the lens that it was made with."""
    statement, lens = getattr(spec, kind), spec.lens
    if statement.lens is not None:
        check_lens(report, statement.lens, (*path, "lens"), f"{key}.lens")
        if statement.lens_f_number is not None:
            report.fault(
                (*path, "lens_f_number"),
                f"{key}.lens_f_number",
                "the stop of the lens then, said beside the lens itself",
                "one of the two",
                f"{key}.lens.f_number",
            )
    elif (
        statement.lens_f_number is not None
        and lens is not None
        and lens.widest_f_number is not None
        and lens.widest_f_number > statement.lens_f_number * 1.001
    ):
        widest = lens.widest_f_number
        report.fault(
            (*path, "lens_f_number"),
            f"{key}.lens_f_number",
            f"f/{statement.lens_f_number:g} on a lens whose widest is f/{widest:g}",
            f"f/{widest:g} or a larger number",
            "a reading with another lens names it in lens",
        )
    elif lens is not None and "transmittance" in lens.model_fields_set and not getattr(statement, "before_lens", False):
        report.warnings.append(
            f"{spec.name}: its transmittance of {lens.transmittance:g} is already in its {kind}, made through this"
            " lens; it counts against another lens."
        )
    reading = None if kind == "output" else spec.meter_reading
    if lens is not None and reading is not None and reading.distance_m <= 1e-3 * stated_lens(spec).pupil_offset_mm:
        offset = stated_lens(spec).pupil_offset_mm
        name = "distance_m" if kind == "reading" else "unit"
        report.fault(
            (*path, name),
            f"{key}.{name}",
            f"a meter {reading.distance_m:g} m away from a lens whose pupil lies {offset:g} mm in front of it",
            f"more than {1e-3 * offset:g} m",
            "measure farther off",
        )
