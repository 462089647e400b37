"""What is wanted of a light at its target, one way to get it, and what would have to give where there is none."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field

from projector.faults import Fault, SceneError, faults_above_zero
from projector.shown import Drawn, Shown
from projector.stage.stage import Stage
from projector.studies.choosing.room import ROOM_MARGIN


@dataclass(frozen=True)
class Wishes:
    """What is wanted at the target.

    width_m: of the pattern; edge_mm: 10–90 %; f_number: of the meter at an ISO; largest_angle_deg: off the camera's
    line; room_m: width, depth and height, across x, from the farthest surface towards the camera, and up from the
    floor.
    """

    width_m: float
    edge_mm: float
    f_number: float
    iso: float
    room_m: tuple[float, float, float]
    largest_angle_deg: float = 60.0


@dataclass(frozen=True, repr=False)
class Answer(Shown):
    """One way to do it, as it can be set up: focused on the target, then the stencil moved by the offset.

    lens: name of a lens file, or "own"; is_own: it is the lens that the scene has. throw_m: from the pupil to the
    target. width_m, edge_mm: by the closed forms, what a preview prints; got_*: measured in a rendered map, None where
    not rendered. spare_stops: light beyond the wish (negative: short); fringe_mm: colour fringe at the target (see
    `fringe`). carried_over: what was taken for granted of the light, as the reading or output belongs to another lens
    or stop; None where it does not.
    """

    in_one_line = (
        "{lens} at f/{f_number:g}, throw {throw_m:.3f} m: {width_m:.3f} m wide, edges {edge_mm:.2f} mm,"
        " {spare_stops:+.1f} stops"
    )

    lens: str
    is_own: bool
    focal_length_mm: float
    f_number: float
    throw_m: float
    focus_offset_mm: float
    position_m: tuple[float, float, float]
    aim_m: tuple[float, float, float]
    angle_deg: float
    width_m: float
    edge_mm: float
    meter_f_number: float
    spare_stops: float
    fringe_mm: float
    carried_over: str | None
    got_width_m: float | None = None
    got_edge_mm: float | None = None


@dataclass(frozen=True, repr=False)
class Relaxation(Shown):
    """A wish that one lens cannot meet, and how far it would have to give.

    lens, is_own: as in Answer; wish: "width" (m), "edge" (mm) or "light" (f-number); why: one of `reasons`;
    numbers: what it goes by, units in the keys; lamp_in_the_way: whether a place is lost because a lamp there would
    stand in the picture or before the camera, or its stand in a sitter.
    """

    in_one_line = "{lens}: {wish} {wanted:g} wanted, {possible:.3g} possible ({why})"

    lens: str
    is_own: bool
    wish: str
    wanted: float
    possible: float
    why: str
    numbers: dict[str, float] = field(default_factory=dict)
    lamp_in_the_way: bool = False

    @property
    def step(self) -> float:
        """How far the wish has to give, as a ratio's logarithm."""
        return abs(math.log(self.possible / self.wanted)) if self.possible > 0.0 else math.inf


@dataclass(frozen=True, repr=False)
class WhereToStand(Drawn):
    """Where a light may stand, the best first, and what would have to give for lenses that cannot meet the wishes.

    Unpacks as answers, relaxations. Drawn, it is the room (stage) from above and from the side, for a projector's
    target: a landmark or a point in metres.
    """

    answers: list[Answer]
    relaxations: list[Relaxation]
    wishes: Wishes
    stage: Stage
    projector: str
    target: str | tuple[float, float, float]

    def _line(self) -> str:
        best = f"{len(self.answers)} of {len(self.answers) + len(self.relaxations)} lenses will do"
        if self.answers:
            return f"{best}; {self.answers[0]._line()}"
        return f"{best}; {self.relaxations[0]._line()}" if self.relaxations else best

    def __iter__(self) -> Iterator[list]:
        return iter((self.answers, self.relaxations))


def check_wishes(wishes: Wishes) -> None:
    """SceneError for wishes that no light can meet."""
    faults = faults_above_zero(
        width_m=wishes.width_m,
        edge_mm=wishes.edge_mm,
        f_number=wishes.f_number,
        iso=wishes.iso,
        largest_angle_deg=wishes.largest_angle_deg,
    )
    if min(wishes.room_m) <= 2.0 * ROOM_MARGIN:
        found = f"a room of {' × '.join(f'{size:g}' for size in wishes.room_m)} m"
        faults.append(Fault(found=found, allowed=f"more than {2 * ROOM_MARGIN:g} m each way", key="room"))
    if faults:
        raise SceneError(faults)
