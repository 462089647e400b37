"""What several fields of a scene say together: landmarks, focus, power, fits. A pass of its own after the fields'."""

from __future__ import annotations

import difflib
from collections import Counter

import numpy as np

from projector.scene.faults import Fault, SceneError
from projector.scene.figure import LANDMARKS

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
_HEAD_WITHOUT = {"left_shoulder", "right_shoulder", "chest"}


class _Report:
    """Gathers faults with their places."""

    def __init__(self, file, line_of):
        self.file, self.line_of = file, line_of
        self.faults: list[Fault] = []
        self.warnings: list[str] = []

    def fault(self, path: tuple, key: str, found: str, allowed: str = "", try_: str = "") -> None:
        self.faults.append(Fault(found, allowed, try_, self.file, self.line_of(path), key))

    def take(self, error: SceneError, path: tuple, key: str) -> None:
        """Faults of a file that the scene names, told at the place that names it."""
        for fault in error.faults:
            self.faults.append(Fault(fault.found, fault.allowed, fault.try_, self.file or fault.file, self.line_of(path), key))


def lens_faults(lens, file: str | None = None, line_of=lambda path: None, key: str = "lens", path: tuple = ("lens",)) -> list[Fault]:
    """What the fields of a lens say together."""
    report = _Report(file, line_of)
    _check_lens(report, lens, path, key)
    return report.faults


def cross_check(scene, file: str | None = None, line_of=lambda path: None) -> tuple[list[Fault], list[str]]:
    """Faults and warnings of a scene whose single fields are right."""
    report = _Report(file, line_of)
    _check_names(report, scene)
    for index, surface in enumerate(scene.surface):
        _check_surface(report, scene, surface, ("surface", index))
    for index, spec in enumerate(scene.projector):
        _check_gate(report, spec, ("projector", index))
        _check_lens(report, spec.lens, ("projector", index, "lens"), f"projector.{spec.name}.lens")
        _check_blades_and_filters(report, spec, ("projector", index))
        _check_power(report, spec, ("projector", index))
        _check_files(report, scene, spec, ("projector", index))
    _check_landmarks(report, scene)
    if not report.faults:
        _check_places(report, scene)
    return report.faults, report.warnings


def _check_names(report: _Report, scene) -> None:
    named = [(item.name, (kind, i)) for kind in ("surface", "figure") for i, item in enumerate(getattr(scene, kind))]
    for group in (named, [(item.name, ("projector", i)) for i, item in enumerate(scene.projector)]):
        counts = Counter(name for name, _ in group)
        seen = set()
        for name, path in group:
            if counts[name] > 1 and name in seen:
                report.fault((*path, "name"), f"{path[0]}.{name}", f'the name "{name}" is used twice', "a name of its own for each", "rename one")
            seen.add(name)
            if "." in name:
                report.fault((*path, "name"), f"{path[0]}.{name}", f'"{name}" has a dot in it', "a name without dots")
    if not scene.projector:
        report.warnings.append("the scene has no projector: the picture will be dark.")
    if not scene.surface and not scene.figure:
        report.fault(("camera",), "surface", "there is nothing in the scene for light to fall on", "a [[surface]] or a [[figure]]", "add a backdrop")


def _check_surface(report: _Report, scene, spec, path: tuple) -> None:
    key = f"surface.{spec.name}"
    allowed = _SURFACE_SIZES[spec.shape]
    for name in sorted(set().union(*_SURFACE_SIZES.values()) - allowed):
        if getattr(spec, name) is not None:
            report.fault((*path, name), f"{key}.{name}", f"{name} does not belong to the shape {spec.shape}", ", ".join(sorted(allowed)), "take it out, or change the shape")
    if spec.shape == "mesh":
        if spec.file is None:
            report.fault(path, f"{key}.file", "a mesh needs its file", "STL, OBJ, PLY, OFF or GLB")
            return
        from projector.scene.placement import loaded_mesh

        try:
            mesh = loaded_mesh(scene, spec)
        except SceneError as error:
            report.take(error, (*path, "file"), f"{key}.file")
            return
        report.warnings += [f"{spec.name}: {note}" for note in mesh.notes]
    if spec.shape == "sweep" and spec.foot_radius_m is not None and spec.height_m is not None and spec.foot_radius_m >= spec.height_m:
        report.fault((*path, "foot_radius_m"), f"{key}.foot_radius_m", f"a foot of {spec.foot_radius_m:g} m on a sweep {spec.height_m:g} m high", "less than its height")


def _check_gate(report: _Report, spec, path: tuple) -> None:
    gate, key = spec.gate, f"projector.{spec.name}.gate"
    wanted = {"diameter_mm"} if gate.shape == "round" else {"width_mm", "height_mm"}
    for name in ("diameter_mm", "width_mm", "height_mm"):
        given = getattr(gate, name) is not None
        if name in wanted and not given:
            report.fault((*path, "gate"), f"{key}.{name}", f"a {gate.shape} gate needs {name}", "its size in mm")
        elif given and name not in wanted:
            report.fault((*path, "gate", name), f"{key}.{name}", f"{name} does not belong to a {gate.shape} gate", ", ".join(sorted(wanted)))
    if spec.stencil is not None and not report.faults:
        across = gate.diameter_mm if gate.shape == "round" else max(gate.width_mm, gate.height_mm)
        if spec.stencil.width_mm > 2.0 * across:
            report.warnings.append(f"{spec.name}: the stencil ({spec.stencil.width_mm:g} mm) is more than twice as wide as the gate ({across:g} mm); most of it is hidden.")
        elif spec.stencil.width_mm < 0.3 * across:
            report.warnings.append(f"{spec.name}: the stencil ({spec.stencil.width_mm:g} mm) fills little of the gate ({across:g} mm); what is around it counts as metal.")


def _check_lens(report: _Report, lens, path: tuple, key: str) -> None:
    dispersion = lens.dispersion
    if dispersion is not None:
        given = [name for name, value in dispersion.model_dump().items() if value is not None]
        if len(given) != 1:
            found = " and ".join(given) if given else "nothing in it"
            report.fault((*path, "dispersion"), f"{key}.dispersion", f"dispersion with {found}", "exactly one of glass, abbe_number, achromat, secondary_spectrum_mm", "keep one of them")
        _check_glasses(report, dispersion, (*path, "dispersion"), f"{key}.dispersion")
    pupil = lens.pupil
    if pupil is not None:
        needs = {"polygon": "n_blades", "ring": "inner_fraction", "bitmap": "file"}
        for shape, name in needs.items():
            given = getattr(pupil, name) is not None
            if pupil.shape == shape and not given:
                report.fault((*path, "pupil"), f"{key}.pupil.{name}", f"a {shape} pupil needs {name}", "add it")
            elif given and pupil.shape != shape:
                report.fault((*path, "pupil", name), f"{key}.pupil.{name}", f"{name} does not belong to a {pupil.shape} pupil", f"it goes with {shape}")
    if lens.widest_f_number is not None and lens.widest_f_number > lens.f_number * 1.001:
        report.fault((*path, "f_number"), f"{key}.f_number", f"f/{lens.f_number:g} on a lens whose widest is f/{lens.widest_f_number:g}", f"f/{lens.widest_f_number:g} or a larger number")


def _check_glasses(report: _Report, dispersion, path: tuple, key: str) -> None:
    from projector.optics.dispersion import MATERIALS, find_material

    names = [dispersion.glass] if dispersion.glass is not None else list(dispersion.achromat or ())
    for name in names:
        try:
            find_material(name)
        except (KeyError, ValueError):
            close = difflib.get_close_matches(name, list(MATERIALS), 1, 0.4)
            report.fault(path, key, f'the glass "{name}" is not known', ", ".join(MATERIALS), f"did you mean {close[0]}? Else give abbe_number" if close else "give its abbe_number instead")
            return
    if dispersion.achromat is not None and dispersion.achromat[0] == dispersion.achromat[1]:
        report.fault(path, key, "an achromat of one glass twice", "a crown and a flint")


def _check_blades_and_filters(report: _Report, spec, path: tuple) -> None:
    counts = Counter(blade.side for blade in spec.blade)
    for side, count in counts.items():
        if count > 1:
            report.fault((*path, "blade"), f"projector.{spec.name}.blade", f"{count} blades on the {side}", "one blade a side")
    gate = spec.gate
    for index, blade in enumerate(spec.blade):
        across = gate.diameter_mm if gate.shape == "round" else (gate.width_mm if blade.side in ("left", "right") else gate.height_mm)
        if across is not None and blade.insertion_mm >= across:
            report.fault((*path, "blade", index), f"projector.{spec.name}.blade.{blade.side}.insertion_mm", f"{blade.insertion_mm:g} mm into a gate of {across:g} mm: no light is left", f"less than {across:g} mm")
    for index, item in enumerate(spec.filter):
        key = f"projector.{spec.name}.filter"
        wanted, count = _FILTER_FIELDS[item.kind]
        given = {name for name, value in item.model_dump(exclude={"kind"}).items() if value is not None}
        if given - wanted or len(given & wanted) != count:
            either = " or " if count == 1 and len(wanted) > 1 else " and "
            report.fault((*path, "filter", index), key, f"a {item.kind} filter with {', '.join(sorted(given)) or 'nothing'}", either.join(sorted(wanted)))
        elif item.kind == "table" and (len(item.wavelength_nm) != len(item.transmittance) or any(b <= a for a, b in zip(item.wavelength_nm, item.wavelength_nm[1:], strict=False)) or not item.wavelength_nm):
            report.fault((*path, "filter", index), key, "a table whose wavelengths do not rise or do not match its transmittances", "as many transmittances as rising wavelengths")


def _check_power(report: _Report, spec, path: tuple) -> None:
    key = f"projector.{spec.name}"
    if spec.reading is not None and spec.output is not None:
        report.fault((*path, "output"), f"{key}.output", "two statements of power: a reading and an output", "one of them", "keep the one you measured")
    if spec.output is not None and (spec.output.lumens is None) == (spec.output.lumen_seconds is None):
        report.fault((*path, "output"), f"{key}.output", "output with both or none of lumens and lumen_seconds", "lumens for steady light, lumen_seconds for a flash")
    if spec.focus.at is not None and spec.focus.distance_m is not None:
        report.fault((*path, "focus"), f"{key}.focus", "focus with both at and distance_m", "one of them")
    lens = spec.lens
    if lens.filled_pupil_mm is not None and lens.filled_pupil_mm >= lens.focal_length_mm / lens.f_number:
        report.warnings.append(f"{spec.name}: the source fills {lens.filled_pupil_mm:g} mm, the stop at f/{lens.f_number:g} lets {lens.focal_length_mm / lens.f_number:.1f} mm through: the stop rules.")


def _check_files(report: _Report, scene, spec, path: tuple) -> None:
    from projector.scene.placement import pupil_bitmap, stencil_of

    if spec.stencil is not None:
        try:
            report.warnings += stencil_of(scene, spec).notes
        except SceneError as error:
            report.take(error, (*path, "stencil", "file"), f"projector.{spec.name}.stencil.file")
    if spec.lens.pupil is not None and spec.lens.pupil.shape == "bitmap" and spec.lens.pupil.file is not None:
        try:
            pupil_bitmap(scene, spec.lens.pupil)
        except SceneError as error:
            report.take(error, (*path, "lens", "pupil"), f"projector.{spec.name}.lens.pupil.file")


def _check_landmarks(report: _Report, scene) -> None:
    known = []
    for spec in scene.figure:
        known += [f"{spec.name}.{name}" for name in LANDMARKS if spec.kind != "head" or name not in _HEAD_WITHOUT]
    known += [f"{spec.name}.centre" for spec in scene.surface]
    used = [(("camera", name), f"camera.{name}", getattr(scene.camera, name)) for name in ("aim", "focus")]
    for index, spec in enumerate(scene.projector):
        used.append((("projector", index, "aim"), f"projector.{spec.name}.aim", spec.aim))
        used.append((("projector", index, "focus", "at"), f"projector.{spec.name}.focus.at", spec.focus.at))
    for path, key, value in used:
        if isinstance(value, str) and value not in known:
            close = difflib.get_close_matches(value, known, 1, 0.4)
            report.fault(path, key, f'there is no landmark "{value}"', ", ".join(known) or "a point [x, y, z] in metres: the scene has no landmarks", f"did you mean {close[0]}?" if close else "")


def _check_places(report: _Report, scene) -> None:
    """Aims, focus distances, and things that stand inside other things; needs the geometry, so it comes last."""
    from projector.scene.placement import point_of

    camera = np.asarray(scene.camera.position_m, float)
    if np.linalg.norm(point_of(scene, scene.camera.aim) - camera) < 1e-6:
        report.fault(("camera", "aim"), "camera.aim", "the camera stands at the point it looks at", "another point")
    _check_inside(report, scene, camera, ("camera", "position_m"), "camera.position_m", "the camera")
    for index, spec in enumerate(scene.projector):
        path, key = ("projector", index), f"projector.{spec.name}"
        position = np.asarray(spec.position_m, float)
        goal = point_of(scene, spec.aim)
        if np.linalg.norm(goal - position) < 1e-6:
            report.fault((*path, "aim"), f"{key}.aim", "it stands at the point it aims at", "another point")
            continue
        _check_inside(report, scene, position, (*path, "position_m"), f"{key}.position_m", spec.name)
        forward = (goal - position) / np.linalg.norm(goal - position)
        _check_focus(report, scene, spec, position, forward, path, key)


def _check_focus(report: _Report, scene, spec, position, forward, path: tuple, key: str) -> None:
    from projector.scene.placement import point_of

    lens, focus = spec.lens, spec.focus
    offset = lens.pupil_offset_mm / 1000.0
    if focus.distance_m is not None:
        distance = focus.distance_m - offset
    else:
        distance = float((point_of(scene, focus.at if focus.at is not None else spec.aim) - position) @ forward) - offset
    place = (*path, "focus")
    focal_length = lens.focal_length_mm / 1000.0
    if distance <= 0.0:
        report.fault(place, f"{key}.focus", "what it is focused on lies behind the lens", "something in front of it", "look at its position and aim")
        return
    nearest = max(lens.nearest_focus_m or 0.0, 1.02 * focal_length)
    if distance + offset < nearest - 1e-9:
        tube = 1.0 / (1.0 / focal_length - 1.0 / nearest)
        blur = focal_length / lens.f_number * abs(distance - nearest) / nearest
        why = "as near as this lens focuses" if lens.nearest_focus_m else "the focal length itself is longer"
        report.fault(
            place,
            f"{key}.focus",
            f"focused at {distance + offset:.3f} m; nearest is {nearest:.3f} m ({why})",
            f"{nearest:.3f} m or more",
            f"go back, or focus at {nearest:.3f} m and accept a blur of {1000 * blur:.1f} mm at {distance:.3f} m (tube {1000 * tube:.2f} mm)",
        )
        return
    tube = 1.0 / (1.0 / focal_length - 1.0 / distance) + focus.offset_mm / 1000.0
    if tube <= 0.2 * focal_length:
        report.fault((*path, "focus", "offset_mm"), f"{key}.focus.offset_mm", f"an offset of {focus.offset_mm:g} mm puts the stencil {1000 * tube:.1f} mm behind the lens", f"more than {-1000 * (tube - focus.offset_mm / 1000 - 0.2 * focal_length):.0f} mm")
    elif tube < focal_length:
        report.warnings.append(f"{spec.name}: the stencil is nearer than the focal length; nothing in front of the lens is sharp.")
    for blade in spec.blade:
        if tube + blade.offset_mm / 1000.0 <= 0.2 * focal_length:
            report.fault((*path, "blade"), f"{key}.blade.{blade.side}.offset_mm", f"the blade would stand {1000 * tube + blade.offset_mm:.1f} mm behind the lens", "a plane nearer the stencil")


def _check_inside(report: _Report, scene, point, path: tuple, key: str, who: str) -> None:
    """A device inside a box, in a wall, or inside the sitter."""
    from projector.geometry import figure_rotation
    from projector.scene.placement import placed_figure
    from projector.scene.surfaces import box_half_sizes, flat_half_sizes

    for spec in scene.surface:
        if spec.shape not in ("box", "flat"):
            continue
        local = figure_rotation(spec.yaw_deg, spec.pitch_deg, spec.tilt_deg).T @ (point - np.asarray(spec.position_m, float))
        half = box_half_sizes(spec) if spec.shape == "box" else (*flat_half_sizes(spec), 0.02)
        if all(abs(value) < limit for value, limit in zip(local, half, strict=True)):
            report.fault(path, key, f"{who} stands inside {spec.name}", "a place in the open", "move one of the two")
    for spec in scene.figure:
        vertices = placed_figure(spec).mesh.vertices
        low, high = vertices.min(axis=0), vertices.max(axis=0)
        if np.all(point > low) and np.all(point < high) and _is_inside(vertices, placed_figure(spec).mesh.triangles, point):
            report.fault(path, key, f"{who} stands inside {spec.name}", "a place in the open", "move one of the two")


def _is_inside(vertices, triangles, point) -> bool:
    """Whether a point lies in a closed mesh, by its winding number (A. van Oosterom & J. Strackee, IEEE TBME 30, 1983)."""
    a, b, c = (vertices[triangles[:, i]] - point for i in range(3))
    la, lb, lc = (np.linalg.norm(side, axis=1) for side in (a, b, c))
    triple = np.einsum("ij,ij->i", a, np.cross(b, c))
    below = la * lb * lc + np.einsum("ij,ij->i", a, b) * lc + np.einsum("ij,ij->i", b, c) * la + np.einsum("ij,ij->i", c, a) * lb
    return bool(abs(2.0 * np.arctan2(triple, below).sum()) > 2.0 * np.pi)
