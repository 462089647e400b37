"""What several fields of a scene say together: landmarks, focus, power, fits. A pass of its own after the fields'."""

from __future__ import annotations

import math
from collections import Counter

from projector.faults import Fault, SceneError
from projector.figures.figure import LANDMARKS
from projector.optics.dispersion import MATERIALS, find_material, lateral_colour_share
from projector.optics.distortion import STRONGEST_BARREL
from projector.photometry.exposure import USUAL_SYNC_S, frame_share_lit_by_flash, marked_time
from projector.photometry.filters import temperature_shift
from projector.photometry.spectra import source_spectrum
from projector.phrases import did_you_mean, nearest, percent
from projector.scene.checks.places import check_places
from projector.scene.checks.report import Report
from projector.scene.placement import loaded_mesh, pupil_bitmap, stencil_of
from projector.scene.reading.field_faults import Places
from projector.scene.stated_power import STATEMENTS, stated_lens
from projector.tracing.sight.outline import make_outline

_FILTER_FIELDS = {
    "neutral": ({"density", "stops"}, 1),
    "band": ({"centre_nm", "width_nm"}, 2),
    "edge_long": ({"edge_nm", "width_nm"}, 2),
    "edge_short": ({"edge_nm", "width_nm"}, 2),
    "temperature": ({"mired_shift"}, 1),
    "table": ({"wavelength_nm", "transmittance"}, 2),
}
_SURFACE_SIZES = {
    "flat": {"width_m", "height_m"},
    "sweep": {"width_m", "height_m", "foot_radius_m", "floor_length_m"},
    "box": {"width_m", "height_m", "depth_m"},
    "mesh": {"file"},
}
# The ends of the spectrum, nm, and how far out of the gate's half width lateral colour may shift them.
_ENDS_NM, _LARGEST_COLOUR_SHIFT = (380.0, 730.0), 0.5
# How far out a drawn pupil's light may come from, in radii of the disc of its f-number: a patch of the gate is so many
# times wider than its light is, and to blur with it costs the square of that. A ring of 0.99 reaches 7.1 times as far.
_FARTHEST_REACH = 8.0
_GATE_EXAMPLES = {
    "round": 'gate = { shape = "round", diameter_mm = 40 }',
    "rectangle": 'gate = { shape = "rectangle", width_mm = 36, height_mm = 24 }',
}
_HEAD_WITHOUT = {"left_shoulder", "right_shoulder", "chest"}


def lens_faults(lens, places: Places, key: str = "lens", path: tuple = ("lens",)) -> list[Fault]:
    """What the fields of a lens say together; path and key are where it stands."""
    report = Report(places)
    _check_lens(report, lens, path, key)
    return report.faults


def cross_check(scene, places: Places | None = None) -> tuple[list[Fault], list[str]]:
    """Faults and warnings of a scene whose single fields are right."""
    report = Report(places or Places())
    _check_names(report, scene)
    _check_ambient(report, scene)
    for index, surface in enumerate(scene.surface):
        _check_surface(report, scene, surface, ("surface", index))
    for index, spec in enumerate(scene.projector):
        _check_gate(report, spec, ("projector", index))
        _check_lens(report, spec.lens, ("projector", index, "lens"), f"projector.{spec.name}.lens")
        _check_blades_and_filters(report, spec, ("projector", index))
        _check_power(report, spec, ("projector", index))
        _check_lateral_colour(report, spec, ("projector", index))
        _check_files(report, scene, spec, ("projector", index))
    _check_landmarks(report, scene)
    _check_oddities(report, scene)
    check_places(report, scene)
    return report.faults, report.warnings


def _check_names(report: Report, scene) -> None:
    named = [(item.name, (kind, i)) for kind in ("surface", "figure") for i, item in enumerate(getattr(scene, kind))]
    for group in (named, [(item.name, ("projector", i)) for i, item in enumerate(scene.projector)]):
        counts = Counter(name for name, _ in group)
        seen = set()
        for name, path in group:
            if counts[name] > 1 and name in seen:
                report.fault(
                    (*path, "name"),
                    f"{path[0]}.{name}",
                    f'the name "{name}" is used twice',
                    "a name of its own for each",
                    "rename one",
                )
            seen.add(name)
    if not scene.projector:
        report.warnings.append("the scene has no projector: the picture will be dark.")
    if not scene.surface and not scene.figure:
        report.fault(
            ("camera",),
            "surface",
            "there is nothing in the scene for light to fall on",
            "a [[surface]] or a [[figure]]",
            "add a backdrop",
        )


def _check_ambient(report: Report, scene) -> None:
    """One statement of the room's light, and a projector that it counts from: named, wherever a name is needed to tell
    which.
    """
    ambient, names = scene.ambient, [spec.name for spec in scene.projector]
    if ambient is None:
        return
    stated = [name for name in ("stops_under", "lux", "reading") if getattr(ambient, name) is not None]
    if len(stated) != 1:
        found = (
            f"{len(stated)} statements of ambient light: {', '.join(stated)}"
            if stated
            else "ambient light with nothing in it"
        )
        report.fault(
            ("ambient",),
            "ambient",
            found,
            "stops_under (what the room throws back of a projector), or lux or a reading (its own lamps)",
            "keep the one that you know",
        )
        return
    if ambient.stops_under is None:
        if ambient.of is not None:
            report.fault(
                ("ambient", "of"),
                "ambient.of",
                f"of beside {stated[0]}, which counts from no projector",
                f"{stated[0]} alone",
                "take it out",
            )
    elif not names:
        report.fault(
            ("ambient",),
            "ambient.stops_under",
            "ambient light is stated under a projector's, and there is no projector",
            "a [[projector]]; or lux, or a reading; or no [ambient]",
        )
    elif ambient.of is None and len(names) > 1:
        report.fault(
            ("ambient",),
            "ambient.of",
            f"stops_under does not say of which of the {len(names)} projectors",
            ", ".join(names),
            f'write of = "{min(names)}" beside it',
        )
    elif ambient.of is not None and ambient.of not in names:
        report.fault(
            ("ambient", "of"),
            "ambient.of",
            f'there is no projector "{ambient.of}"',
            ", ".join(names),
            did_you_mean(nearest(ambient.of, names)),
        )


def _check_surface(report: Report, scene, spec, path: tuple) -> None:
    key = f"surface.{spec.name}"
    allowed = _SURFACE_SIZES[spec.shape]
    for name in sorted(set().union(*_SURFACE_SIZES.values()) - allowed):
        if getattr(spec, name) is not None:
            report.fault(
                (*path, name),
                f"{key}.{name}",
                f"{name} does not belong to the shape {spec.shape}",
                ", ".join(sorted(allowed)),
                "take it out, or change the shape",
            )
    if spec.shape == "mesh":
        if spec.file is None:
            report.fault(path, f"{key}.file", "a mesh needs its file", "STL, OBJ, PLY, OFF or GLB")
            return

        try:
            mesh = loaded_mesh(scene, spec)
        except SceneError as error:
            report.take(error, (*path, "file"), f"{key}.file")
            return
        report.warnings += [f"{spec.name}: {note}" for note in (mesh.notes if mesh is not None else ())]
    if (
        spec.shape == "sweep"
        and spec.foot_radius_m is not None
        and spec.height_m is not None
        and spec.foot_radius_m >= spec.height_m
    ):
        report.fault(
            (*path, "foot_radius_m"),
            f"{key}.foot_radius_m",
            f"a foot of {spec.foot_radius_m:g} m on a sweep {spec.height_m:g} m high",
            "less than its height",
        )


def _check_gate(report: Report, spec, path: tuple) -> None:
    gate, key = spec.gate, f"projector.{spec.name}.gate"
    wanted = {"diameter_mm"} if gate.shape == "round" else {"width_mm", "height_mm"}
    for name in ("diameter_mm", "width_mm", "height_mm"):
        given = getattr(gate, name) is not None
        if name in wanted and not given:
            report.fault(
                (*path, "gate"),
                f"{key}.{name}",
                f"a {gate.shape} gate needs {name}",
                "its size in mm",
                _GATE_EXAMPLES[gate.shape],
            )
        elif given and name not in wanted:
            report.fault(
                (*path, "gate", name),
                f"{key}.{name}",
                f"{name} does not belong to a {gate.shape} gate",
                ", ".join(sorted(wanted)),
            )
    if spec.stencil is not None and not report.faults:
        across = gate.diameter_mm if gate.shape == "round" else max(gate.width_mm, gate.height_mm)
        if spec.stencil.width_mm > 2.0 * across:
            report.warnings.append(
                f"{spec.name}: the stencil ({spec.stencil.width_mm:g} mm) is more than twice as wide as the gate"
                f" ({across:g} mm); most of it is hidden."
            )
        elif spec.stencil.width_mm < 0.3 * across:
            report.warnings.append(
                f"{spec.name}: the stencil ({spec.stencil.width_mm:g} mm) fills little of the gate ({across:g} mm);"
                " what is around it counts as metal."
            )


def _check_lens(report: Report, lens, path: tuple, key: str) -> None:
    dispersion = lens.dispersion
    if dispersion is not None:
        given = [name for name, value in dispersion.model_dump().items() if value is not None]
        if len(given) != 1:
            found = " and ".join(given) if given else "nothing in it"
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


def _check_blades_and_filters(report: Report, spec, path: tuple) -> None:
    counts = Counter(blade.side for blade in spec.blade)
    for side, count in counts.items():
        if count > 1:
            report.fault(
                (*path, "blade"), f"projector.{spec.name}.blade", f"{count} blades on the {side}", "one blade a side"
            )
    gate = spec.gate
    reach = {
        blade.side: blade.insertion_mm for blade in spec.blade if blade.angle_deg == 0.0 and blade.offset_mm == 0.0
    }
    for one, other, across in (
        ("left", "right", gate.width_mm or gate.diameter_mm),
        ("top", "bottom", gate.height_mm or gate.diameter_mm),
    ):
        if (
            one in reach
            and other in reach
            and across is not None
            and reach[one] < across
            and reach[other] < across <= reach[one] + reach[other]
        ):
            report.fault(
                (*path, "blade"),
                f"projector.{spec.name}.blade",
                f"the {one} and {other} blades meet: {reach[one]:g} and {reach[other]:g} mm into a gate of {across:g}"
                " mm leave no light",
                f"less than {across:g} mm together",
            )
    for index, blade in enumerate(spec.blade):
        across = (
            gate.diameter_mm
            if gate.shape == "round"
            else (gate.width_mm if blade.side in ("left", "right") else gate.height_mm)
        )
        if across is not None and blade.insertion_mm >= across:
            report.fault(
                (*path, "blade", index),
                f"projector.{spec.name}.blade.{blade.side}.insertion_mm",
                f"{blade.insertion_mm:g} mm into a gate of {across:g} mm: no light is left",
                f"less than {across:g} mm",
            )
    for index, item in enumerate(spec.filter):
        key = f"projector.{spec.name}.filter"
        wanted, count = _FILTER_FIELDS[item.kind]
        given = {name for name, value in item.model_dump(exclude={"kind"}).items() if value is not None}
        if given - wanted or len(given & wanted) != count:
            either = " or " if count == 1 and len(wanted) > 1 else " and "
            report.fault(
                (*path, "filter", index),
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
                (*path, "filter", index),
                key,
                "a table whose wavelengths do not rise or do not match its transmittances",
                "as many transmittances as rising wavelengths",
            )
        elif item.kind == "temperature":
            _check_spectrum(
                report,
                (*path, "filter", index, "mired_shift"),
                f"{key}.temperature.mired_shift",
                lambda item=item: temperature_shift(item.mired_shift),
            )
    _check_spectrum(
        report,
        (*path, "source", "temperature_k"),
        f"projector.{spec.name}.source.temperature_k",
        lambda: source_spectrum(spec.source.kind, spec.source.temperature_k),
    )


def _check_spectrum(report: Report, path: tuple, key: str, made) -> None:
    """A spectrum that photometry cannot make of these numbers is the user's to mend."""
    try:
        made()
    except ValueError as error:
        report.fault(path, key, str(error).rstrip("."), "a value inside that range")


def _check_power(report: Report, spec, path: tuple) -> None:
    key = f"projector.{spec.name}"
    if spec.reading is not None and spec.output is not None:
        report.fault(
            (*path, "output"),
            f"{key}.output",
            "two statements of power: a reading and an output",
            "one of them",
            "keep the one you measured",
        )
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
    if lens.focal_length_mm < 5.0:
        report.warnings.append(
            f"{spec.name}: a focal length of {lens.focal_length_mm:g} mm is unusually short; is it in another unit?"
        )
    if lens.filled_pupil_mm is not None and lens.filled_pupil_mm >= lens.focal_length_mm / lens.f_number:
        report.warnings.append(
            f"{spec.name}: the source fills {lens.filled_pupil_mm:g} mm, the stop at f/{lens.f_number:g} lets"
            f" {lens.focal_length_mm / lens.f_number:.1f} mm through: the stop rules."
        )


def _check_lateral_colour(report: Report, spec, path: tuple) -> None:
    """Colours cannot land at wildly different sizes: with a small gate, a few millimetres would turn the picture inside
    out.
    """

    gate, lens = spec.gate, spec.lens
    sizes = (gate.diameter_mm,) if gate.shape == "round" else (gate.width_mm, gate.height_mm)
    if lens.lateral_colour_mm == 0.0 or None in sizes:
        return
    edge_mm = 0.5 * math.hypot(*sizes)
    glass = lens.dispersion.glass if lens.dispersion is not None else None
    try:
        limit = _LARGEST_COLOUR_SHIFT * edge_mm / float(abs(lateral_colour_share(_ENDS_NM, glass)).max())
    except ValueError:
        # An unknown glass is a fault of its own.
        return
    if abs(lens.lateral_colour_mm) > limit:
        report.fault(
            (*path, "lens", "lateral_colour_mm"),
            f"projector.{spec.name}.lens.lateral_colour_mm",
            f"{lens.lateral_colour_mm:g} mm of lateral colour in the edge of a gate that is {edge_mm:g} mm from the"
            " middle to there",
            f"at most {limit:.2g} mm here",
            "look at the unit",
        )


def _check_statement(report: Report, spec, kind: str, path: tuple, key: str) -> None:
    """What a reading or an output says of the lens that it was made with."""
    statement, lens = getattr(spec, kind), spec.lens
    if statement.lens is not None:
        _check_lens(report, statement.lens, (*path, "lens"), f"{key}.lens")
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
    elif "transmittance" in lens.model_fields_set and not getattr(statement, "before_lens", False):
        report.warnings.append(
            f"{spec.name}: its transmittance of {lens.transmittance:g} is already in its {kind}, made through this"
            " lens; it counts against another lens."
        )
    if kind == "reading" and statement.distance_m <= 1e-3 * stated_lens(spec).pupil_offset_mm:
        offset = stated_lens(spec).pupil_offset_mm
        report.fault(
            (*path, "distance_m"),
            f"{key}.distance_m",
            f"a meter {statement.distance_m:g} m away from a lens whose pupil lies {offset:g} mm in front of it",
            f"more than {1e-3 * offset:g} m",
            "measure farther off",
        )


def _check_files(report: Report, scene, spec, path: tuple) -> None:
    if spec.stencil is not None:
        try:
            report.warnings += stencil_of(scene, spec).notes
        except SceneError as error:
            report.take(error, (*path, "stencil", "file"), f"projector.{spec.name}.stencil.file")
    if spec.lens.pupil is not None and spec.lens.pupil.shape == "bitmap" and spec.lens.pupil.file is not None:
        place, key = (*path, "lens", "pupil"), f"projector.{spec.name}.lens.pupil.file"
        try:
            reach = make_outline("bitmap", bitmap=pupil_bitmap(scene, spec.lens.pupil)).reach
        except SceneError as error:
            report.take(error, place, key)
            return
        if reach > _FARTHEST_REACH:
            report.fault(
                place,
                key,
                f"openings that reach {reach:.1f} times as far out as one disc of their area would",
                f"up to {_FARTHEST_REACH:g} times as far",
                "draw them larger or nearer the middle, which lies on the lens's axis",
            )


def _check_landmarks(report: Report, scene) -> None:
    used: list[tuple[tuple, str, object]]
    used = [(("camera", name), f"camera.{name}", getattr(scene.camera, name)) for name in ("aim", "focus")]
    for index, spec in enumerate(scene.projector):
        used.append((("projector", index, "aim"), f"projector.{spec.name}.aim", spec.aim))
        used.append((("projector", index, "focus", "at"), f"projector.{spec.name}.focus.at", spec.focus.at))
    check_references(
        report, [(spec.name, spec.kind) for spec in scene.figure], [spec.name for spec in scene.surface], used
    )


def check_references(report: Report, figures, surfaces, used) -> None:
    """Landmarks by name: figures are (name, kind), surfaces names, used (path, key, value) where a landmark or a point
    may stand.
    """
    known = []
    for owner, kind in figures:
        known += [f"{owner}.{name}" for name in LANDMARKS if kind != "head" or name not in _HEAD_WITHOUT]
    known += [f"{name}.centre" for name in surfaces]
    for path, key, value in used:
        if isinstance(value, str) and value not in known:
            owner, _, name = value.rpartition(".")
            if name in _HEAD_WITHOUT and any(figure == owner for figure, _ in figures):
                report.fault(
                    path,
                    key,
                    f"{owner} is only a head: it has no {name}",
                    ", ".join(known),
                    'give it kind = "head_and_torso"',
                )
                continue
            report.fault(
                path,
                key,
                f'there is no landmark "{value}"',
                ", ".join(known) or "a point [x, y, z] in metres: the scene has no landmarks",
                did_you_mean(nearest(value, known)),
            )


def _is_metered_as_flash(spec) -> bool:
    """Whether a statement of power says that the light is a flash."""
    return (spec.reading is not None and spec.reading.shutter_s is None) or (
        spec.output is not None and spec.output.lumen_seconds is not None
    )


def _check_oddities(report: Report, scene) -> None:
    """Values that are allowed and yet seldom meant."""
    if scene.camera.shutter_s < USUAL_SYNC_S and any(_is_metered_as_flash(spec) for spec in scene.projector):
        report.warnings.append(
            f"the camera's shutter of {marked_time(scene.camera.shutter_s)} is shorter than the sync time that most"
            f" cameras have ({marked_time(USUAL_SYNC_S)}): in theirs a flash lights about"
            f" {percent(frame_share_lit_by_flash(scene.camera.shutter_s))} of the frame, here all of it; projector"
            f" timing"
            " reckons with yours."
        )
    if scene.camera.shutter_s >= 10.0:
        report.warnings.append(
            f"the camera's shutter is open for {scene.camera.shutter_s:g} s; 1/{scene.camera.shutter_s:g} s is written"
            f" {1.0 / scene.camera.shutter_s:.4g}."
        )
    for spec in (*scene.surface, *scene.figure):
        if spec.colour is not None and "reflectance" in spec.model_fields_set:
            report.warnings.append(
                f"{spec.name}: it has a colour, so its reflectance of {spec.reflectance:g} is not used."
            )
