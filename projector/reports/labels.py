"""Labels of drawings: put where they cover neither lines nor each other and stay inside the axes; and stops as they are
written.
"""

from __future__ import annotations

import numpy as np

# Where a label may stand from its point: (points right, points up, horizontal and vertical alignment), the favourite
# first.
_SIDES = tuple(
    (gap * right, gap * up, {-1: "right", 0: "center", 1: "left"}[right], {-1: "top", 0: "center", 1: "bottom"}[up])
    for gap in (5, 9, 16)
    for right, up in ((1, 1), (-1, 1), (1, -1), (-1, -1), (0, 1), (0, -1), (1, 0), (-1, 0))
)


# A label farther than this (pixels) from everything else need not be farther still.
_WELL_OFF = 40.0


def stops_text(stops) -> str:
    """Stops in whole, halves or thirds: +1, −½, 0, −1⅓."""
    whole, part = divmod(round(6 * abs(stops)), 6)
    fraction = {0: "", 2: "⅓", 3: "½", 4: "⅔"}[part]
    sign = "" if whole == part == 0 else "+" if stops > 0 else "−"
    return f"{sign}{whole if whole or not fraction else ''}{fraction}"


class Labels:
    """The labels of one panel.

    Make it once everything else is drawn and the figure laid out: it looks at what lies where.
    """

    def __init__(self, axes):
        self._axes = axes
        self._renderer = axes.figure.canvas.get_renderer()
        self._ink = np.concatenate([_display_points(line) for line in axes.lines] + [np.zeros((0, 2))])
        self._taken = [text.get_window_extent(self._renderer) for text in axes.texts]

    def add(self, text: str, anchors, **style) -> None:
        """Write a text beside the one of several points (data) where it covers least."""
        label = self._axes.annotate(text, anchors[0], xytext=(0, 0), textcoords="offset points", **style)
        label.set_in_layout(False)
        best = None
        for anchor in anchors:
            for side in _SIDES:
                box = self._moved(label, anchor, side)
                cost = self._cost(box)
                if best is None or cost < best[0]:
                    best = cost, anchor, side
            if best[0] == 0:
                break
        self._taken.append(self._moved(label, *best[1:]))

    def inside(self, line, most: int = 9) -> list[np.ndarray]:
        """Some places (data) spread along a line (k, 2) with NaN between its pieces, those that the axes show."""
        steps = np.linspace(0.0, 1.0, 12)[:, None, None]
        places = (line[:-1] + steps * (line[1:] - line[:-1])).transpose(1, 0, 2).reshape(-1, 2)
        low, high = np.sort([self._axes.get_xlim(), self._axes.get_ylim()], axis=1).T
        places = places[((places > low) & (places < high)).all(axis=1)]
        return list(places[np.linspace(0, len(places) - 1, min(len(places), most)).round().astype(int)])

    def _moved(self, label, anchor, side):
        label.xy = tuple(anchor)
        label.set_position(side[:2])
        label.set_horizontalalignment(side[2])
        label.set_verticalalignment(side[3])
        return label.get_window_extent(self._renderer)

    def _cost(self, box) -> int:
        """Points of lines under a box, and far more for another label or the axes' border."""
        x, y = self._ink.T
        covered = (x > box.x0 - 2) & (x < box.x1 + 2) & (y > box.y0 - 2) & (y < box.y1 + 2)
        room = self._axes.get_window_extent(self._renderer)
        outside = box.x0 < room.x0 + 2 or box.x1 > room.x1 - 2 or box.y0 < room.y0 + 2 or box.y1 > room.y1 - 2
        return int(covered.sum()) + 1000 * sum(box.overlaps(other) for other in self._taken) + 10000 * outside


def label_contours(axes, lines, text_of, taken: list, **style) -> None:
    """Write each level of a contour set on its lines, where no line of another level and no other label is near.

    Levels that crowd too much for that (at a wide, steep edge) share one label: "−2 to −5". taken: boxes (pixels) of
    labels that are there already; those written are added.
    """
    pieces = [[axes.transData.transform(part) for part in _parts(path)] for path in lines.get_paths()]
    points = [np.concatenate([np.zeros((0, 2)), *parts]) for parts in pieces]
    crowded = []
    for index, (level, parts) in enumerate(zip(lines.levels, pieces, strict=True)):
        others = np.concatenate([np.zeros((0, 2)), *points[:index], *points[index + 1 :]])
        written = [_on_line(axes, text_of(level), part, others, taken, style) for part in parts]
        if parts and not any(written):
            crowded.append(index)
    for run in np.split(crowded, np.flatnonzero(np.diff(crowded) > 1) + 1) if crowded else ():
        text = " to ".join(dict.fromkeys(text_of(lines.levels[index]) for index in (run[-1], run[0])))
        longest = max(pieces[run[0]], key=len)
        others = np.concatenate(
            [np.zeros((0, 2)), *(points[index] for index in range(len(points)) if index not in run)]
        )
        _on_line(axes, text, longest, others, taken, style) or _on_line(axes, text, longest, others[:0], taken, style)


def _parts(path) -> list[np.ndarray]:
    """The separate lines (n, 2) of a path, those of one point left out.

    Path.to_polygons would thin out the points of a path in metres to those a ninth of a metre apart.
    """
    codes = path.codes if path.codes is not None else np.full(len(path.vertices), path.LINETO)
    starts = np.flatnonzero(codes == path.MOVETO)
    return [part for part in np.split(path.vertices, starts[starts > 0]) if len(part) > 1]


def _on_line(axes, text: str, line: np.ndarray, others: np.ndarray, taken: list, style) -> bool:
    """Write a text on a line (n, 2) where it covers none of the points of other lines (m, 2), well off them, other
    labels and the axes' border, and else near the line's middle; False, and nothing written, where there is no such
    place. All in pixels.
    """
    label = axes.text(0.0, 0.0, text, ha="center", va="center", **style)
    box = label.get_window_extent(axes.figure.canvas.get_renderer())
    room, half = axes.get_window_extent(), 0.5 * np.array([box.width, box.height]) + 3.0
    best = None
    for share in np.linspace(0.0, 1.0, min(len(line), 60)):
        place = line[round(share * (len(line) - 1))]
        around = box.translated(*(place - 0.5 * (box.min + box.max))).padded(3.0)
        beside = np.abs(others - place)
        is_clear = not (beside < half).all(axis=1).any() and not any(around.overlaps(other) for other in taken)
        border = np.minimum(place - (room.x0, room.y0), (room.x1, room.y1) - place)
        if is_clear and (border > half).all():
            apart = [np.hypot(*(0.5 * (other.min + other.max) - place)) for other in taken]
            free = min(border.min(), np.hypot(*beside.T).min(initial=_WELL_OFF), *apart, _WELL_OFF)
            if best is None or (free, -abs(share - 0.5)) > best[0]:
                best = (free, -abs(share - 0.5)), place, around
    # A line shorter than its label would hide under it.
    if best is None or np.ptp(line, axis=0).max() < 2.0 * box.width:
        label.remove()
        return False
    label.set_position(axes.transData.inverted().transform(best[1]))
    taken.append(best[2])
    return True


def _display_points(line) -> np.ndarray:
    """Points (n, 2) in pixels, close together along a drawn line and over its marks."""
    corners = line.get_transform().transform(line.get_xydata())
    steps = np.linspace(0.0, 1.0, 60)[:, None, None]
    points = (corners[:-1] + steps * (corners[1:] - corners[:-1])).reshape(-1, 2) if len(corners) > 1 else corners
    if line.get_marker() not in (None, "None", "", " "):
        half = 0.5 * line.get_markersize() * line.axes.figure.dpi / 72.0
        turns = np.linspace(0.0, 2.0 * np.pi, 16, endpoint=False)
        rim = half * np.column_stack([np.cos(turns), np.sin(turns)])
        points = np.concatenate([points, (corners[:, None, :] + rim).reshape(-1, 2)])
    return points[np.isfinite(points).all(axis=1)]
