"""What several fields of a scene say together: landmarks, focus, power, fits. A pass of its own after the fields'."""

from __future__ import annotations

from collections import Counter

from projector.faults import Fault, SceneError
from projector.figures.figure import LANDMARKS
from projector.photometry.exposure import USUAL_SYNC_S, frame_share_lit_by_flash, marked_time
from projector.phrases import counted, did_you_mean, nearest, percent
from projector.scene.checks.bare_lamps import check_lens_or_lamp
from projector.scene.checks.beam import (
    check_blades,
    check_files,
    check_gate,
)
from projector.scene.checks.colours import check_colour
from projector.scene.checks.gear import check_gear
from projector.scene.checks.haze import check_haze
from projector.scene.checks.lights import check_light
from projector.scene.checks.places import check_places
from projector.scene.checks.power import check_power
from projector.scene.checks.report import Report
from projector.scene.placement import loaded_mesh
from projector.scene.reading.field_faults import Places

_SURFACE_SIZES = {
    "flat": {"width_m", "height_m"},
    "sweep": {"width_m", "height_m", "foot_radius_m", "floor_length_m"},
    "box": {"width_m", "height_m", "depth_m"},
    "mesh": {"file"},
}
_HEAD_WITHOUT = {"left_shoulder", "right_shoulder", "chest"}


def cross_check(scene, places: Places | None = None) -> tuple[list[Fault], list[str]]:
    """Faults and warnings of a scene whose single fields are right."""
    report = Report(places or Places())
    _check_names(report, scene)
    _check_ambient(report, scene)
    check_haze(report, scene)
    if scene.gear is not None:
        check_gear(report, scene.gear, ("gear",), "gear")
    for index, surface in enumerate(scene.surface):
        _check_surface(report, scene, surface, ("surface", index))
    for index, spec in enumerate(scene.projector):
        check_gate(report, spec, ("projector", index))
        check_lens_or_lamp(report, spec, ("projector", index))
        check_blades(report, spec, ("projector", index))
        check_colour(report, scene.folder, spec, ("projector", index), f"projector.{spec.name}")
        check_power(report, spec, scene.gear, ("projector", index))
        check_files(report, scene, spec, ("projector", index))
    for index, spec in enumerate(scene.light):
        check_colour(report, scene.folder, spec, ("light", index), f"light.{spec.name}")
        check_light(report, scene, spec, ("light", index))
    _check_landmarks(report, scene)
    _check_oddities(report, scene)
    check_places(report, scene)
    return report.faults, report.warnings


def _check_names(report: Report, scene) -> None:
    named = [(item.name, (kind, i)) for kind in ("surface", "figure") for i, item in enumerate(getattr(scene, kind))]
    shining = [(item.name, (kind, i)) for kind in ("projector", "light") for i, item in enumerate(getattr(scene, kind))]
    for group in (named, shining):
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
    if not scene.projector and not any(light.on for light in scene.light):
        report.warnings.append("the scene has no light: the picture will be dark.")
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
    ambient, projectors = scene.ambient, [spec.name for spec in scene.projector]
    names = [*projectors, *(spec.name for spec in scene.light)]
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
                f"of beside {stated[0]}, which counts from no light",
                f"{stated[0]} alone",
                "take it out",
            )
    elif not names:
        report.fault(
            ("ambient",),
            "ambient.stops_under",
            "ambient light is stated under another light's, and there is none",
            "a [[projector]] or a [[light]]; or lux, or a reading; or no [ambient]",
        )
    elif ambient.of is None and (len(names) > 1 or not projectors):
        report.fault(
            ("ambient",),
            "ambient.of",
            f"stops_under does not say of which of {counted(len(names), 'light')}",
            ", ".join(names),
            f'write of = "{min(names)}" beside it',
        )
    elif ambient.of is not None and ambient.of not in names:
        report.fault(
            ("ambient", "of"),
            "ambient.of",
            f'there is no light "{ambient.of}"',
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


def _check_landmarks(report: Report, scene) -> None:
    used: list[tuple[tuple, str, object]]
    used = [(("camera", name), f"camera.{name}", getattr(scene.camera, name)) for name in ("aim", "focus")]
    for index, spec in enumerate(scene.projector):
        used.append((("projector", index, "aim"), f"projector.{spec.name}.aim", spec.aim))
        used.append((("projector", index, "focus", "at"), f"projector.{spec.name}.focus.at", spec.focus.at))
    for index, spec in enumerate(scene.light):
        path, key = ("light", index), f"light.{spec.name}"
        used.append(((*path, "aim"), f"{key}.aim", spec.aim))
        for name in ("reading", "against"):
            part = getattr(spec, name)
            if part is not None:
                used.append(((*path, name, "at"), f"{key}.{name}.at", part.at))
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
    energy = getattr(spec, "energy", None)
    return (
        (spec.meter_reading is not None and spec.meter_reading.shutter_s is None)
        or (spec.output is not None and spec.output.lumen_seconds is not None)
        or (energy is not None and energy.watt_seconds is not None)
        or getattr(spec, "flash", None) is True
    )


def _check_oddities(report: Report, scene) -> None:
    """Values that are allowed and yet seldom meant."""
    if scene.camera.shutter_s < USUAL_SYNC_S and any(
        _is_metered_as_flash(spec) for spec in (*scene.projector, *(light for light in scene.light if light.on))
    ):
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
