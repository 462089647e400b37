"""Where the things of a scene stand: aims, focus distances, devices inside or behind something. Needs the geometry."""

from __future__ import annotations

import numpy as np

from projector.faults import SceneError
from projector.geometry import Pose, figure_rotation
from projector.meshes.surfaces import box_half_sizes, flat_half_sizes
from projector.scene.checks.bare_lamps import check_lamp_reaches
from projector.scene.checks.report import Report
from projector.scene.checks.stands import crosses, lamp_notes
from projector.scene.model.light import half_sizes_of
from projector.scene.placement import placed_figure, placed_surface, point_of
from projector.scene.stated_power import stated_lens

# Farther than any studio: most likely centimetres or millimetres.
_FAR_M = 50.0


def check_places(report: Report, scene) -> None:
    """Aims, focus distances, and devices that stand inside or behind something."""
    camera = np.asarray(scene.camera.position_m, float)
    _check_device(report, scene, scene.camera, ("camera",), "camera", "the camera")
    target, goal = (_point(scene, point) for point in (scene.camera.focus, scene.camera.aim))
    if (
        target is not None
        and goal is not None
        and (target - camera) @ (goal - camera) <= 0.0 < np.linalg.norm(goal - camera)
    ):
        report.fault(
            ("camera", "focus"),
            "camera.focus",
            "what it is focused on lies behind the camera",
            "something in front of it",
            "look at its position and aim",
        )
    for index, spec in enumerate(scene.projector):
        path, key = ("projector", index), f"projector.{spec.name}"
        forward = _check_device(report, scene, spec, path, key, spec.name)
        if forward is not None:
            position = np.asarray(spec.position_m, float)
            if spec.lens is not None:
                _check_focus(report, scene, spec, position, forward, path, key)
            elif spec.lamp is not None:
                goal = np.asarray(_point(scene, spec.aim), float)
                check_lamp_reaches(report, spec, float((goal - position) @ forward), path, key)
    for index, spec in enumerate(scene.light):
        _check_device(report, scene, spec, ("light", index), f"light.{spec.name}", spec.name)
        _warn_of_light_in_wall(report, scene, spec)
    for spec in (*scene.surface, *scene.figure):
        if max(map(abs, spec.position_m)) > _FAR_M:
            report.warnings.append(
                f"{spec.name}: position_m = {list(spec.position_m)} is far for a studio; is it in metres?"
            )
    if not report.faults:
        report.warnings += lamp_notes(scene)


def _point(scene, reference):
    """A point of the scene (3,), m; None if none is asked for or it is a fault reported elsewhere."""

    try:
        return None if reference is None else point_of(scene, reference)
    except SceneError:
        return None


def _check_device(report: Report, scene, spec, path: tuple, key: str, who: str):
    """Where a camera or a projector stands and what it looks at. Returns its direction (3,), None if it has none."""
    position = np.asarray(spec.position_m, float)
    _check_inside(report, scene, position, (*path, "position_m"), f"{key}.position_m", who)
    if np.abs(position).max() > _FAR_M:
        report.warnings.append(f"{who}: position_m = {list(spec.position_m)} is far for a studio; is it in metres?")
    goal = _point(scene, spec.aim)
    if goal is None:
        return None
    distance = np.linalg.norm(goal - position)
    if distance < 1e-6:
        report.fault((*path, "aim"), f"{key}.aim", f"{who} stands at the point it aims at", "another point")
        return None
    _warn_of_walls(report, scene, spec, position, goal, who)
    return (goal - position) / distance


def _warn_of_walls(report: Report, scene, device, position, goal, who: str) -> None:
    """Something flat between a device and its aim, or a backdrop seen from behind: possible, but seldom meant."""

    for spec in scene.surface:
        if spec.shape == "mesh":
            continue
        if device.aim == f"{spec.name}.centre":
            facing = figure_rotation(spec.yaw_deg, spec.pitch_deg, spec.tilt_deg)[:, 2]
            if spec.shape != "box" and facing @ (position - goal) < 0.0:
                report.warnings.append(f"{who} stands behind {spec.name} and points at its back.")
        elif crosses(placed_surface(scene, spec), position, goal):
            report.warnings.append(f"{who}: {spec.name} stands between it and what it aims at.")


def _warn_of_light_in_wall(report: Report, scene, spec) -> None:
    """A large light whose middle stands free and whose edge reaches through something flat."""
    goal = _point(scene, spec.aim)
    position = np.asarray(spec.position_m, float)
    if goal is None or np.linalg.norm(goal - position) < 1e-6:
        return
    pose = Pose.looking_at(position, goal, spec.roll_deg)
    half_width, half_height = half_sizes_of(spec)
    ends = [position + sign * half_width * pose.rotation[:, 0] for sign in (-1.0, 1.0)]
    ends += [position + sign * half_height * pose.rotation[:, 1] for sign in (-1.0, 1.0)]
    for item in scene.surface:
        if item.shape != "mesh" and any(crosses(placed_surface(scene, item), position, end) for end in ends):
            report.warnings.append(f"{spec.name}: a part of it reaches through {item.name}; move or turn it.")


def _check_focus(report: Report, scene, spec, position, forward, path: tuple, key: str) -> None:
    lens, focus = spec.lens, spec.focus
    offset = lens.pupil_offset_mm / 1000.0
    if focus.distance_m is not None:
        distance = focus.distance_m - offset
    else:
        target = _point(scene, focus.at if focus.at is not None else spec.aim)
        if target is None:
            return
        distance = float((target - position) @ forward) - offset
    place = (*path, "focus")
    focal_length = lens.focal_length_mm / 1000.0
    _check_stated_lens(report, spec, distance, path, key)
    if distance <= 0.0:
        report.fault(
            place,
            f"{key}.focus",
            "what it is focused on lies behind the lens",
            "something in front of it",
            "look at its position and aim",
        )
        return
    # As distances are measured: the pupil, which the law counts from, may stand before that.
    nearest = max(lens.nearest_focus_m or 0.0, 1.02 * focal_length + offset)
    # What is printed to the millimetre may be typed back, short of the focal length itself.
    if distance + offset < nearest - min(0.501e-3, 0.01 * focal_length):
        tube = 1.0 / (1.0 / focal_length - 1.0 / (nearest - offset))
        blur = focal_length / lens.f_number * abs(distance + offset - nearest) / (nearest - offset)
        why = "as near as this lens focuses" if nearest == lens.nearest_focus_m else "the focal length itself is longer"
        report.fault(
            place,
            f"{key}.focus",
            f"focused at {distance + offset:.3f} m; nearest is {nearest:.3f} m ({why})",
            f"{nearest:.3f} m or more",
            f"go back, or focus at {nearest:.3f} m and accept a blur of {1000 * blur:.1f} mm at {distance + offset:.3f}"
            f" m (tube {1000 * tube:.2f} mm)",
        )
        return
    tube = 1.0 / (1.0 / focal_length - 1.0 / distance) + focus.offset_mm / 1000.0
    if tube <= 0.2 * focal_length:
        report.fault(
            (*path, "focus", "offset_mm"),
            f"{key}.focus.offset_mm",
            f"an offset of {focus.offset_mm:g} mm puts the stencil {1000 * tube:.1f} mm behind the lens",
            f"more than {-1000 * (tube - focus.offset_mm / 1000 - 0.2 * focal_length):.0f} mm",
        )
    elif tube < focal_length:
        report.warnings.append(
            f"{spec.name}: the stencil is nearer than the focal length; nothing in front of the lens is sharp."
        )
    for blade in spec.blade:
        if tube + blade.offset_mm / 1000.0 <= 0.2 * focal_length:
            report.fault(
                (*path, "blade"),
                f"{key}.blade.{blade.side}.offset_mm",
                f"the blade would stand {1000 * tube + blade.offset_mm:.1f} mm behind the lens",
                "a plane nearer the stencil",
            )


def _check_stated_lens(report: Report, spec, distance: float, path: tuple, key: str) -> None:
    """Lumens are counted through the lens that they were stated with, focused where this one is."""
    then = stated_lens(spec).focal_length_mm / 1000.0
    if spec.output is not None and spec.output.lens is not None and 0.0 < distance < 1.02 * then:
        report.fault(
            (*path, "output", "lens"),
            f"{key}.output.lens",
            f"lumens through a lens of {1e3 * then:g} mm, which cannot be focused at {distance:.3f} m",
            f"{1.02 * then:.3f} m or more",
            "state the output with this lens",
        )


def _check_inside(report: Report, scene, point, path: tuple, key: str, who: str) -> None:
    """A device inside a box, in a wall, or inside the sitter."""

    for spec in scene.surface:
        if spec.shape not in ("box", "flat"):
            continue
        local = figure_rotation(spec.yaw_deg, spec.pitch_deg, spec.tilt_deg).T @ (
            point - np.asarray(spec.position_m, float)
        )
        half = box_half_sizes(spec) if spec.shape == "box" else (*flat_half_sizes(spec), 0.02)
        if all(abs(value) < limit for value, limit in zip(local, half, strict=True)):
            report.fault(path, key, f"{who} stands inside {spec.name}", "a place in the open", "move one of the two")
    for spec in scene.figure:
        vertices = placed_figure(spec).mesh.vertices
        low, high = vertices.min(axis=0), vertices.max(axis=0)
        if (
            np.all(point > low)
            and np.all(point < high)
            and _is_inside(vertices, placed_figure(spec).mesh.triangles, point)
        ):
            report.fault(path, key, f"{who} stands inside {spec.name}", "a place in the open", "move one of the two")


def _is_inside(vertices, triangles, point) -> bool:
    """Whether a point lies in a closed mesh, by its winding number (A. van Oosterom & J.

    Strackee, IEEE TBME 30, 1983).
    """
    a, b, c = (vertices[triangles[:, i]] - point for i in range(3))
    la, lb, lc = (np.linalg.norm(side, axis=1) for side in (a, b, c))
    triple = np.einsum("ij,ij->i", a, np.cross(b, c))
    below = (
        la * lb * lc
        + np.einsum("ij,ij->i", a, b) * lc
        + np.einsum("ij,ij->i", b, c) * la
        + np.einsum("ij,ij->i", c, a) * lb
    )
    return bool(abs(2.0 * np.arctan2(triple, below).sum()) > 2.0 * np.pi)
