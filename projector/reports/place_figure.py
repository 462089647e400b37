"""The figure of `place`: the room from above and from the side, with what stands in it and where the light may stand."""

from __future__ import annotations

import numpy as np

from projector.reports.labels import Labels
from projector.reports.save import new_figure

_COLOURS = ("#1f3a5f", "#c8553d", "#5b8e7d", "#8d6a9f", "#d8a031")
# Places nearer to each other in a view than this (m) are one dot there, with one label.
_ONE_DOT_M = 0.12


def place_figure(answers, objects, camera_m, target_m, room_m, title: str):
    """answers: studies.placement.Answer, best first; objects: (name, vertices (n, 3), triangles (m, 3) of a sheet-like surface or
    None of a body); camera_m, target_m (3,); room_m: lowest and highest corner (3,) each. Metres, to scale.

    Bodies are drawn by their outline, sheet-like surfaces cut through the target (seen from aside a turned wall would be a block),
    those that the cut misses by a dashed outline.
    """
    room = low, high = tuple(np.asarray(corner, float) for corner in room_m)
    figure = new_figure(9.5, 4.9)
    above, side = figure.subplots(1, 2, width_ratios=[high[0] - low[0], high[2] - low[2]])
    views = ((above, (0, 2)), (side, (2, 1)))
    for axes, columns in views:
        _panel(axes, answers, objects, camera_m, target_m, room, columns)
    above.invert_yaxis()
    above.set_xlabel("x, m (right as the camera sees it)")
    above.set_ylabel("z, m (towards the camera)")
    above.set_title("from above, surfaces at the target's height", fontsize=9)
    side.set_xlabel("z, m (towards the camera)")
    side.set_ylabel("y, m (above the floor)")
    side.set_title("from the side, surfaces at the target's x", fontsize=9)
    handles, labels = above.get_legend_handles_labels()
    if labels:
        figure.legend(handles, labels, loc="outside lower center", ncols=2, fontsize=8)
    figure.suptitle(title, fontsize=11)
    figure.draw_without_rendering()
    for axes, columns in views:
        _write_labels(Labels(axes), answers, objects, camera_m, target_m, columns)
    return figure


def _panel(axes, answers, objects, camera_m, target_m, room, columns) -> None:
    """One view: the two world axes in `columns` across and up."""
    across, up = columns
    low, high = room
    axes.plot(*zip(*[(x[across], y[up]) for x, y in ((low, low), (high, low), (high, high), (low, high), (low, low))], strict=True), color="#555555", linewidth=1.0)
    for _, vertices, triangles in objects:
        line, is_cut = _drawn_line(vertices, triangles, target_m, columns)
        if triangles is None:
            axes.fill(line[:, 0], line[:, 1], facecolor="#d9d5cc", edgecolor="none")
        axes.plot(line[:, 0], line[:, 1], color="#8a857a", linewidth=2.0 if is_cut else 0.8, linestyle="-" if is_cut or triangles is None else "--")
    camera, target = np.asarray(camera_m, float), np.asarray(target_m, float)
    axes.plot(camera[across], camera[up], marker="s", color="#333333", markersize=5)
    for index, answer in enumerate(answers):
        colour = _COLOURS[index % len(_COLOURS)]
        place = np.asarray(answer.position_m, float)
        label = f"{index + 1}  {answer.lens}, f/{answer.f_number:.1f}, throw {answer.throw_m:.2f} m"
        axes.plot([place[across], target[across]], [place[up], target[up]], color=colour, linewidth=1.2, label=label)
        axes.plot(place[across], place[up], "o", color=colour, markersize=6)
    axes.plot(target[across], target[up], "+", color="#000000", markersize=9)
    axes.set_aspect("equal")
    margin = 0.25
    axes.set_xlim(min(low[across], camera[across]) - margin, max(high[across], camera[across]) + margin)
    axes.set_ylim(min(low[up], camera[up]) - margin, max(high[up], camera[up]) + margin)
    axes.grid(alpha=0.25)
    axes.tick_params(labelsize=8)


def _write_labels(labels: Labels, answers, objects, camera_m, target_m, columns) -> None:
    places = np.array([np.asarray(answer.position_m, float)[list(columns)] for answer in answers]).reshape(-1, 2)
    for numbers, place in _by_place(places):
        labels.add(numbers, [place], fontsize=9)
    labels.add("camera", [np.asarray(camera_m, float)[list(columns)]], fontsize=8, color="#333333")
    for name, vertices, triangles in objects:
        anchors = labels.inside(_drawn_line(vertices, triangles, target_m, columns)[0])
        if len(anchors):
            labels.add(name, anchors, fontsize=7, color="#5a564d")


def _by_place(places) -> list[tuple[str, np.ndarray]]:
    """The answers' numbers beside their dots (n, 2), those whose dots cover each other together."""
    found: list[tuple[list[int], np.ndarray]] = []
    for number, place in enumerate(places, 1):
        near = next((numbers for numbers, other in found if np.linalg.norm(other - place) < _ONE_DOT_M), None)
        if near is None:
            found.append(([number], place))
        else:
            near.append(number)
    return [(_joined(numbers), place) for numbers, place in found]


def _joined(numbers: list[int]) -> str:
    """1, 2, 3, 5 as "1–3, 5"."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(str(run[0]) if len(run) == 1 else f"{run[0]}–{run[-1]}" if len(run) > 2 else f"{run[0]}, {run[1]}" for run in runs)


def _drawn_line(vertices, triangles, target_m, columns) -> tuple[np.ndarray, bool]:
    """What is drawn of an object, (k, 2), NaN between pieces, and whether that is a cut: a surface's section through the target,
    else (a body, or a surface that the cut misses) the outline."""
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
