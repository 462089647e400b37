"""The figure of `place`: the room from above and from the side, with what stands in it and where the light may stand."""

from __future__ import annotations

import numpy as np

from projector.reports.save import new_figure

_COLOURS = ("#1f3a5f", "#c8553d", "#5b8e7d", "#8d6a9f", "#d8a031")


def place_figure(answers, objects, camera_m, target_m, room_m, title: str):
    """answers: studies.placement.Answer, best first; objects: (name, vertices (n, 3)); camera_m, target_m (3,);
    room_m: lowest and highest corner (3,) each. Metres, to scale."""
    low, high = (np.asarray(corner, float) for corner in room_m)
    figure = new_figure(9.5, 4.9)
    above, side = figure.subplots(1, 2, width_ratios=[high[0] - low[0], high[2] - low[2]])
    _panel(above, answers, objects, camera_m, target_m, (low, high), (0, 2))
    above.invert_yaxis()
    above.set_xlabel("x, m (right as the camera sees it)")
    above.set_ylabel("z, m (towards the camera)")
    above.set_title("from above", fontsize=10)
    _panel(side, answers, objects, camera_m, target_m, (low, high), (2, 1))
    side.set_xlabel("z, m (towards the camera)")
    side.set_ylabel("y, m (above the floor)")
    side.set_title("from the side", fontsize=10)
    handles, labels = above.get_legend_handles_labels()
    if labels:
        figure.legend(handles, labels, loc="outside lower center", ncols=2, fontsize=8)
    figure.suptitle(title, fontsize=11)
    return figure


def _panel(axes, answers, objects, camera_m, target_m, room, columns) -> None:
    """One view: the two world axes in `columns` across and up."""
    across, up = columns
    low, high = room
    axes.plot(*zip(*[(x[across], y[up]) for x, y in ((low, low), (high, low), (high, high), (low, high), (low, low))], strict=True), color="#555555", linewidth=1.0)
    for name, vertices in objects:
        outline = _outline(np.asarray(vertices, float)[:, [across, up]])
        axes.fill(outline[:, 0], outline[:, 1], facecolor="#d9d5cc", edgecolor="#8a857a", linewidth=0.8)
        corner = outline[np.argmax(outline[:, 0] - outline[:, 1])] if across == 2 else outline[np.argmax(outline.sum(axis=1))]
        inwards = corner[0] > high[across] - 0.6
        axes.annotate(name, corner, xytext=(-4 if inwards else 4, -2), textcoords="offset points", fontsize=7, color="#5a564d", ha="right" if inwards else "left", va="top")
    camera, target = np.asarray(camera_m, float), np.asarray(target_m, float)
    axes.plot(camera[across], camera[up], marker="s", color="#333333", markersize=5)
    axes.annotate("camera", (camera[across], camera[up]), xytext=(5, 5), textcoords="offset points", fontsize=8)
    for index, answer in enumerate(answers):
        colour = _COLOURS[index % len(_COLOURS)]
        place = np.asarray(answer.position_m, float)
        label = f"{index + 1}  {answer.lens}, f/{answer.f_number:.1f}, throw {answer.throw_m:.2f} m"
        axes.plot([place[across], target[across]], [place[up], target[up]], color=colour, linewidth=1.2, label=label)
        axes.plot(place[across], place[up], "o", color=colour, markersize=6)
    for numbers, place in _by_place(answers):
        axes.annotate(numbers, (place[across], place[up]), xytext=(-6, 6), textcoords="offset points", fontsize=9, ha="right")
    axes.plot(target[across], target[up], "+", color="#000000", markersize=9)
    axes.set_aspect("equal")
    margin = 0.25
    axes.set_xlim(min(low[across], camera[across]) - margin, max(high[across], camera[across]) + margin)
    axes.set_ylim(min(low[up], camera[up]) - margin, max(high[up], camera[up]) + margin)
    axes.grid(alpha=0.25)
    axes.tick_params(labelsize=8)


def _by_place(answers) -> list[tuple[str, np.ndarray]]:
    """The answers' numbers, those that stand within a hand of each other together."""
    found: list[tuple[str, np.ndarray]] = []
    for index, answer in enumerate(answers):
        place = np.asarray(answer.position_m, float)
        near = next((i for i, (_, other) in enumerate(found) if np.linalg.norm(other - place) < 0.1), None)
        if near is None:
            found.append((str(index + 1), place))
        else:
            found[near] = (f"{found[near][0]}, {index + 1}", found[near][1])
    return found


def _outline(points: np.ndarray) -> np.ndarray:
    """The convex outline (k, 2) of points (n, 2); what is seen edge on becomes a thin strip."""
    from scipy.spatial import ConvexHull, QhullError

    try:
        return points[ConvexHull(points).vertices]
    except QhullError:
        ends = points[[np.lexsort((points[:, 1], points[:, 0]))[0], np.lexsort((points[:, 1], points[:, 0]))[-1]]]
        return np.concatenate([ends - 0.01, ends[::-1] + 0.01])
