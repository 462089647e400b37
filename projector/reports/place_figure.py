"""The figure of `place`: the room from above and from the side, with what stands in it, what the camera sees, and
where the light may stand."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from projector.answers.choosing import place_title
from projector.reports.labels import Labels
from projector.reports.save import new_figure
from projector.studies.choosing.room import room_corners

_COLOURS = ("#1f3a5f", "#c8553d", "#5b8e7d", "#8d6a9f", "#d8a031")
# WhereToStand nearer to each other in a view than this (m) are one dot there, with one label.
_ONE_DOT_M = 0.12
# Lines from the target nearer to each other than this (radians) lie on each other.
_ONE_LINE = 0.03


class PlacedLamp(NamedTuple):
    """A light of the scene: its name, its place and what it is aimed at (3,) m."""

    name: str
    position_m: tuple
    aim_m: tuple


class OnSet(NamedTuple):
    """What stands in the room, in metres: objects as (name, vertices (n, 3), triangles (m, 3) of a sheet-like surface
    or None of a body), the camera and the directions (4, 3) of its frame's corners, what the light is for, lights that
    stand already, and the room's lowest and highest corner (3,)."""

    objects: list
    camera_m: tuple
    frame: np.ndarray
    target_m: tuple
    lights: list[PlacedLamp]
    corners_m: tuple


def room_figure(places):
    """The figure of what `projector.studies.place` found (WhereToStand), in the room that it was asked for."""
    stage, wishes = places.stage, places.wishes
    bodies = ("box", "mesh", None)
    objects = [
        (
            item.spec.name,
            item.mesh.vertices,
            None if getattr(item.spec, "shape", None) in bodies else item.mesh.triangles,
        )
        for item in stage.objects
    ]
    camera = stage.camera(3, 2)
    right, down = camera.half_width * np.array(camera.right), camera.half_height * np.array(camera.down)
    frame = np.array([np.array(camera.forward) + x * right + y * down for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1))])
    lights = [
        PlacedLamp(
            item.name + (", now" if item.name == places.projector else ""),
            item.position_m,
            tuple(stage.point(item.aim)),
        )
        for item in stage.scene.projector
    ]
    on_set = OnSet(
        objects,
        stage.scene.camera.position_m,
        frame,
        stage.point(places.target),
        lights,
        room_corners(stage, wishes.room_m),
    )
    return place_figure(places.answers, on_set, place_title(wishes, bool(places.answers)))


def place_figure(answers, on_set: OnSet, title: str):
    """answers: studies.choosing.where_to_stand.Answer, best first.

    To scale. Bodies are drawn by their outline, sheet-like surfaces cut through the target (seen from aside a turned
    wall would be a block), those that the cut misses by a dashed outline. Lines that lie on each other are drawn as
    bands, the longest widest, and dots as rings.
    """
    low, high = on_set.corners_m
    figure = new_figure(9.5, 4.9)
    above, side = figure.subplots(1, 2, width_ratios=[high[0] - low[0], high[2] - low[2]])
    views = ((above, (0, 2)), (side, (2, 1)))
    for axes, columns in views:
        _panel(axes, answers, on_set, columns)
    above.invert_yaxis()
    above.set_xlabel("x, m (right as the camera sees it)")
    above.set_ylabel("z, m (towards the camera)")
    above.set_title("from above, surfaces at the target's height", fontsize=9)
    side.set_xlabel("z, m (towards the camera)")
    side.set_ylabel("y, m (above the floor)")
    side.set_title("from the side, surfaces at the target's x", fontsize=9)
    if answers:
        handles = [
            above.plot([], [], "o-", color=_colour(index), linewidth=1.2, markersize=5, label=_legend(index, answer))[0]
            for index, answer in enumerate(answers)
        ]
        figure.legend(handles=handles, loc="outside lower center", ncols=2, fontsize=8)
    figure.suptitle(title, fontsize=11)
    figure.draw_without_rendering()
    for axes, columns in views:
        _write_labels(Labels(axes), answers, on_set, columns)
    return figure


def _colour(index: int) -> str:
    return _COLOURS[index % len(_COLOURS)]


def _legend(index: int, answer) -> str:
    x, y, z = answer.position_m
    own = ", the scene's own" if answer.is_own else ""
    return f"{index + 1}  {answer.lens}{own}, f/{answer.f_number:.1f}, lens at ({x:.2f}, {y:.2f}, {z:.2f}) m"


def _panel(axes, answers, on_set: OnSet, columns) -> None:
    """One view: the two world axes in `columns` across and up."""
    low, high = (np.asarray(corner, float)[list(columns)] for corner in on_set.corners_m)
    axes.plot(*zip(low, (high[0], low[1]), high, (low[0], high[1]), low, strict=True), color="#555555", linewidth=1.0)
    for _, vertices, triangles in on_set.objects:
        line, is_cut = _drawn_line(vertices, triangles, on_set.target_m, columns)
        if triangles is None:
            axes.fill(line[:, 0], line[:, 1], facecolor="#d9d5cc", edgecolor="none")
        axes.plot(
            line[:, 0],
            line[:, 1],
            color="#8a857a",
            linewidth=2.0 if is_cut else 0.8,
            linestyle="-" if is_cut or triangles is None else "--",
        )
    camera, target = _flat(on_set.camera_m, columns), _flat(on_set.target_m, columns)
    _draw_field(axes, on_set, columns)
    axes.plot(*zip(camera, target, strict=True), color="#333333", linewidth=0.6, linestyle=":")
    axes.plot(*camera, marker="s", color="#333333", markersize=5)
    for light in on_set.lights:
        axes.plot(
            *zip(_flat(light.position_m, columns), _flat(light.aim_m, columns), strict=True),
            color="#777777",
            linewidth=0.8,
            linestyle="-.",
        )
        axes.plot(
            *_flat(light.position_m, columns),
            marker="v",
            color="#777777",
            markeredgecolor="#ffffff",
            markersize=7,
            zorder=4,
        )
    _draw_answers(axes, answers, target, columns)
    axes.plot(*target, "+", color="#000000", markersize=9)
    axes.set_aspect("equal")
    shown = np.array([low, high, camera, *(_flat(light.position_m, columns) for light in on_set.lights)])
    axes.set_xlim(shown[:, 0].min() - 0.25, shown[:, 0].max() + 0.25)
    axes.set_ylim(shown[:, 1].min() - 0.25, shown[:, 1].max() + 0.25)
    axes.grid(alpha=0.25)
    axes.tick_params(labelsize=8)


def _flat(point, columns) -> np.ndarray:
    return np.asarray(point, float)[list(columns)]


def _draw_field(axes, on_set: OnSet, columns) -> None:
    """What the camera sees: the wedge of its frame, as wide as its corners lie apart in this view."""
    middle = _flat(on_set.frame.sum(axis=0), columns)
    corners = on_set.frame[:, list(columns)]
    # Looking along the view's own direction the frame has no wedge in it.
    if not np.all(corners @ middle > 0.0):
        return
    turns = np.arctan2(middle[0] * corners[:, 1] - middle[1] * corners[:, 0], corners @ middle)
    camera, reach = _flat(on_set.camera_m, columns), 3.0 * float(np.ptp(np.array(on_set.corners_m), axis=0).max())
    ends = [
        camera + reach * corner / np.linalg.norm(corner)
        for corner in (corners[turns.argmin()], corners[turns.argmax()])
    ]
    axes.fill(*zip(camera, *ends, strict=True), facecolor="#7fa6c9", alpha=0.13, edgecolor="none", zorder=0)


def _draw_answers(axes, answers, target, columns) -> None:
    """Lines and dots, the farthest from the target below and broadest, so that each shows beside or round those that
    lie on it."""
    places = np.array([_flat(answer.position_m, columns) for answer in answers]).reshape(-1, 2)
    for members in _by_direction(places - target):
        for below, index in enumerate(reversed(members)):
            axes.plot(
                *zip(places[index], target, strict=True),
                color=_colour(index),
                linewidth=1.4 + 1.2 * (len(members) - 1 - below),
                solid_capstyle="butt",
            )
    for members, _ in _by_place(places):
        for below, index in enumerate(members):
            axes.plot(*places[index], "o", color=_colour(index), markersize=6 + 3 * (len(members) - 1 - below))


def _by_direction(offsets) -> list[list[int]]:
    """Which of several lines from the target (n, 2) lie on each other, the shortest first."""
    found: list[list[int]] = []
    for index in np.argsort(np.linalg.norm(offsets, axis=1), kind="stable"):
        unit = offsets[index] / max(np.linalg.norm(offsets[index]), 1e-9)
        along = next(
            (
                members
                for members in found
                if offsets[members[0]] @ unit > np.cos(_ONE_LINE) * np.linalg.norm(offsets[members[0]])
            ),
            None,
        )
        if along is None:
            found.append([int(index)])
        else:
            along.append(int(index))
    return found


def _write_labels(labels: Labels, answers, on_set: OnSet, columns) -> None:
    places = np.array([_flat(answer.position_m, columns) for answer in answers]).reshape(-1, 2)
    target, camera = _flat(on_set.target_m, columns), _flat(on_set.camera_m, columns)
    found = _by_place(places)
    for members, place in found:
        labels.add(_joined([index + 1 for index in members]), [place], fontsize=9)
    labels.add("camera", [camera], fontsize=8, color="#333333")
    for name, position, _ in on_set.lights:
        labels.add(name, [_flat(position, columns)], fontsize=8, color="#555555")
    lines = _by_direction(places - target)
    for members, place in found:
        # A line's length stands where no shorter one lies on it.
        shorter = next(line[: line.index(members[0])] for line in lines if members[0] in line)
        inner = next((places[index] for index in reversed(shorter) if index not in members), target)
        throws = sorted({f"{answers[index].throw_m:.2f}" for index in members})
        labels.add(
            "–".join(dict.fromkeys((throws[0], throws[-1]))) + " m",
            _along(place, inner),
            fontsize=7,
            color=_colour(members[0]),
        )
    apart = float(np.linalg.norm(np.asarray(on_set.camera_m, float) - np.asarray(on_set.target_m, float)))
    labels.add(f"{apart:.2f} m", _along(camera, target), fontsize=7, color="#333333")
    for name, vertices, triangles in on_set.objects:
        anchors = labels.inside(_drawn_line(vertices, triangles, on_set.target_m, columns)[0])
        if len(anchors):
            labels.add(name, anchors, fontsize=7, color="#5a564d")


def _along(start, end) -> list[np.ndarray]:
    """Where a line's length may be written, its middle first."""
    return [start + share * (end - start) for share in (0.5, 0.4, 0.6, 0.3, 0.7)]


def _by_place(places) -> list[tuple[list[int], np.ndarray]]:
    """Which answers have their dots (n, 2) where, those whose dots cover each other together."""
    found: list[tuple[list[int], np.ndarray]] = []
    for index, place in enumerate(places):
        near = next((members for members, other in found if np.linalg.norm(other - place) < _ONE_DOT_M), None)
        if near is None:
            found.append(([index], place))
        else:
            near.append(index)
    return found


def _joined(numbers: list[int]) -> str:
    """1, 2, 3, 5 as "1–3, 5"."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(
        str(run[0]) if len(run) == 1 else f"{run[0]}–{run[-1]}" if len(run) > 2 else f"{run[0]}, {run[1]}"
        for run in runs
    )


def _drawn_line(vertices, triangles, target_m, columns) -> tuple[np.ndarray, bool]:
    """What is drawn of an object, (k, 2), NaN between pieces, and whether that is a cut: a surface's section through
    the target, else (a body, or a surface that the cut misses) the outline."""
    vertices = np.asarray(vertices, float)
    if triangles is not None:
        (cut,) = {0, 1, 2} - set(columns)
        pieces = _section(vertices, np.asarray(triangles), cut, float(np.asarray(target_m, float)[cut]))
        if len(pieces):
            return np.concatenate([np.vstack([piece, [np.nan] * 3]) for piece in pieces])[:, list(columns)], True
    return _outline(vertices[:, list(columns)]), False


def _section(vertices: np.ndarray, triangles: np.ndarray, axis: int, level: float) -> np.ndarray:
    """Where triangles cross the plane in which a coordinate has a level: segments (k, 2, 3)."""
    corners = vertices[triangles]
    # A corner exactly in the plane counts as above it, so that every triangle crosses at two of its sides or at none.
    above = corners[:, :, axis] - level >= 0.0
    crossed = above.any(axis=1) & ~above.all(axis=1)
    corners, above = corners[crossed], above[crossed]
    following, crossing = np.roll(corners, -1, axis=1), above != np.roll(above, -1, axis=1)
    a, b = corners[crossing], following[crossing]
    share = ((level - a[:, axis]) / (b[:, axis] - a[:, axis]))[:, None]
    return (a + share * (b - a)).reshape(-1, 2, 3)


def _outline(points: np.ndarray) -> np.ndarray:
    """The closed convex outline (k, 2) of points (n, 2); what is seen edge on is a line."""
    from scipy.spatial import ConvexHull, QhullError

    try:
        corners = ConvexHull(points).vertices
        return points[np.append(corners, corners[0])]
    except QhullError:
        order = np.lexsort((points[:, 1], points[:, 0]))
        return points[[order[0], order[-1]]]
