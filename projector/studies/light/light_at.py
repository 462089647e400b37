"""Does a projector's light get to a point and, if not, why? Every study that answers at a point asks it here.

The light is followed back from the point: is the lens before it, does it lie in the beam, do the blades leave it, does
its side face the light, does anything stand between, and what of the pattern lands there? The first that lets no light
pass, from any sample of the pupil, is the reason.
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass

import numpy as np

from projector.faults import Fault, SceneError
from projector.optics.dispersion import LINE_D_NM
from projector.phrases import listed, percent
from projector.shown import Shown
from projector.stage.optics import opening_before
from projector.stage.stage import AnyProjector, SceneOrStage, Stage, projector_on, stage_of
from projector.stage.surfaces import SceneArrays
from projector.studies.edges.profile import NothingThere, OnSurface, Place, name_of, place_at, surface_near
from projector.studies.edges.shining_pupil import N_ACROSS, LitPupil, Samples, lit_pupil, pupil_samples
from projector.tracing.gate.chief_rays import gate_rays, is_in_opening
from projector.tracing.gate.lens_law import Projection, has_lens
from projector.tracing.rays.bvh import closest_hits

LIT, BEHIND, OUTSIDE, CUT = "lit", "behind the lamp", "outside the beam", "cut off by a blade"
AWAY, SHADOW, DARK, NOWHERE = "facing away", "in shadow", "dark part of the pattern", "on nothing"
# A part of the pattern that lets less through is dark: light that strays in the attachment is more (see `contrast`).
DARK_SHARE = 0.005
# So many shadow rays at most go to the pupil, starting this far (m) from the surface.
_N_RAYS, _START_M = 1200, 1e-3
# Where only the reason counts, and no measure of what shines, this many samples across the pupil do.
FEW_SAMPLES = 101


@dataclass(frozen=True, repr=False)
class LightAt(Shown):
    """Whether light of one projector gets to one point.

    reason: LIT or what keeps the light off; words: the same in a sentence; off_axis_deg: how far the point lies off the
        projector's axis; beam_deg: where the beam ends on that side (its chief rays); share: of the pupil's light that
        arrives;
    hidden_share: of what would arrive, the part that others keep off, `hidden_by` by name; opening_mm: from a dark part
        to the nearest opening, on the surface; surface, place, lit_pupil: what it is a point of, None where the pattern
        does not land.
    """

    in_one_line = "{projector} at {at}: {words}"

    projector: str
    at: str
    reason: str
    words: str
    off_axis_deg: float
    beam_deg: float
    share: float = 0.0
    hidden_share: float = 0.0
    hidden_by: tuple[str, ...] = ()
    opening_mm: float | None = None
    surface: str | None = None
    place: Place | None = None
    lit_pupil: LitPupil | None = None

    @property
    def arrives(self) -> bool:
        """Whether light falls on the point itself."""
        return self.reason == LIT

    @property
    def has_edges(self) -> bool:
        """Whether edges of the pattern land there: at the point itself, or beside it where a dark part of the pattern
        lands on it.
        """
        return self.reason in (LIT, DARK)

    def as_dict(self) -> dict:
        """What is said of it in numbers and words, units in the keys."""
        names = ("reason", "words", "off_axis_deg", "beam_deg", "share", "hidden_share", "hidden_by", "opening_mm")
        return {"arrives": self.arrives, **{name: getattr(self, name) for name in names}}


def light_at(stage: SceneOrStage, projector: AnyProjector, reference, n_across: int = N_ACROSS) -> LightAt:
    """Whether a projector's light gets to a landmark or point (m), and what keeps it off.

    In yellow, by n_across² samples of its pupil.

    >>> light_at("01-square-wall", "window", (0.15, 1.65, 0.0))
    <LightAt: window at (0.15, 1.65, 0.00): 100 % of the lens shines here>
    """
    staged = projector_on(stage, projector)
    stage, spec, light, arrays = staged.stage, staged.spec, staged.light([LINE_D_NM]), staged.stage.arrays
    goal = stage.point(reference)
    name = name_of(reference, goal)
    local = np.array([light.emitter.right, light.emitter.down, light.emitter.forward]) @ (
        goal - np.array(light.emitter.position)
    )
    angles = math.degrees(math.atan2(math.hypot(local[0], local[1]), local[2])), beam_end_deg(light, local)

    def answer(reason: str, words: str, **found) -> LightAt:
        return LightAt(spec.name, name, reason, words, *angles, **found)

    if not local[2] > light.nearest:
        return answer(BEHIND, _words_behind(spec, light, goal, *angles))
    try:
        surface = surface_near(arrays, light.emitter.position, goal, name)
    except NothingThere as error:
        # In the air, it is in the beam or outside of it all the same.
        if pupil_samples(light, local, n_across).enters.any():
            return answer(NOWHERE, error.words("there"))
        return answer(OUTSIDE, _words_outside(*angles))
    place = place_at(light, name, surface)
    samples = pupil_samples(light, place.local, n_across)
    if not samples.enters.any():
        return answer(OUTSIDE, _words_outside(*angles))
    if not samples.framed.any():
        return answer(CUT, f"cut off by {_cutting(spec, samples)}")
    if _shows_its_back(stage, surface, np.array(light.emitter.position) - surface.point):
        return answer(AWAY, f"facing away: the light falls on the back of {arrays.names[surface.owner]}")
    through = float(samples.shining.sum() / samples.framed.sum())
    is_dark = through < DARK_SHARE
    hidden, names = _hidden(arrays, light, surface, samples, samples.framed if is_dark else samples.shining)
    if hidden >= 1.0:
        own = arrays.names[surface.owner]
        if own in names and _turned_away(surface, light):
            return answer(
                AWAY, f"facing away: this side of {own} is turned from the light", hidden_share=1.0, hidden_by=names
            )
        return answer(
            SHADOW,
            f"in the shadow of {listed(names)}" if names != (own,) else f"in {own}'s own shadow",
            hidden_share=1.0,
            hidden_by=names,
        )
    found = lit_pupil(light, place, samples)
    kept = {
        "hidden_share": hidden,
        "hidden_by": names,
        "surface": arrays.names[surface.owner],
        "place": place,
        "lit_pupil": found,
    }
    if is_dark:
        opening = _nearest_opening_mm(stage.arrays, light, place, surface)
        beside = f"the nearest opening lands {opening:.0f} mm away" if opening is not None else "nothing of it is open"
        return answer(DARK, f"a dark part of the pattern lands here; {beside}", opening_mm=opening, **kept)
    share = found.share * (1.0 - hidden)
    hiding = f"; {listed(names)} hides {percent(hidden)} of it" if names else ""
    what = "lens" if has_lens(light) else "lamp"
    return answer(LIT, f"{percent(share)} of the {what} shines here{hiding}", share=share, **kept)


def faces_light(stage: Stage, goal, directions: np.ndarray) -> np.ndarray:
    """Whether a point (3,) m is lit from each of some directions (n, 3) and not on the back of its wall; in the air it
    always is.
    """
    try:
        surface = surface_near(stage.arrays, goal + directions[0], goal, "the target")
    except (SceneError, IndexError):
        return np.ones(len(directions), bool)
    return ~np.asarray(_shows_its_back(stage, surface, directions))


def axis_point(stage: SceneOrStage, projector: AnyProjector = None):
    """Where a projector's axis first lands (x, y, z) m; what it aims at where it meets nothing."""
    staged = projector_on(stage, projector)
    light = staged.open_light([LINE_D_NM])
    origin, forward = np.array([light.emitter.position]), np.array([light.emitter.forward])
    t, faces, u, v = np.empty(1), np.empty(1, np.int32), np.empty(1), np.empty(1)
    closest_hits(staged.stage.arrays.bvh, origin, forward, 0.0, 1e6, 0, 1, t, faces, u, v)
    return tuple(origin[0] + t[0] * forward[0]) if faces[0] >= 0 else staged.spec.aim


def usual_point(stage: SceneOrStage, projector: AnyProjector = None):
    """What a projector is asked about unless a point is named: what it is focused on or aims at; where nothing is, what
    its axis lands on.
    """
    staged = projector_on(stage, projector)
    focus = staged.spec.focus
    reference = focus.at if focus.at is not None else staged.spec.aim
    is_in_the_air = light_at(staged.stage, staged, reference, FEW_SAMPLES).reason == NOWHERE
    return axis_point(staged.stage, staged) if is_in_the_air else reference


def focus_notes(stage: SceneOrStage) -> list[str]:
    """What to know before work about projectors that are focused on a point which none of their light can get to."""
    stage, notes = stage_of(stage), []
    for spec in stage.scene.projector:
        found = None if spec.focus.at is None else light_at(stage, spec, spec.focus.at, FEW_SAMPLES)
        # Focused on a point in the air, within the beam, is a way to be soft on purpose.
        if found is not None and not found.has_edges and found.reason != NOWHERE:
            notes.append(f"{spec.name}: no light of it gets to what it is focused on, {found.at}; {found.words}.")
    return notes


def beam_end_deg(light: Projection, local) -> float:
    """How far off the axis (degrees) the beam ends on the side of a point (3,) of the projector's frame, by the chief
    ray of the gate's edge.
    """
    across = math.hypot(local[0], local[1])
    x, y = (local[0] / across, local[1] / across) if across > 1e-12 else (1.0, 0.0)
    gate = light.gate
    reach = (
        gate.half_width
        if gate.is_round
        else min(half / abs(part) for half, part in ((gate.half_width, x), (gate.half_height, y)) if abs(part) > 1e-12)
    )
    (ray,) = gate_rays(light, [reach * x], [reach * y])
    along = float(ray @ np.array(light.emitter.forward))
    return math.degrees(math.atan2(math.sqrt(max(float(ray @ ray) - along * along, 0.0)), along))


def require_edges(found: LightAt) -> Place:
    """The place where edges of the pattern land. SceneError, with the reason, where none do."""
    if found.place is None or not found.has_edges:
        raise SceneError(
            Fault(
                found=f"{found.at}: no light of {found.projector}: {found.words}",
                allowed="a landmark or point that its light gets to",
                key=found.at,
            )
        )
    return found.place


def _degrees(off_axis: float, beam: float) -> str:
    decimals = 0 if abs(off_axis - beam) >= 1.0 else 1
    return f"{off_axis:.{decimals}f}° off the axis, the beam ends at {beam:.{decimals}f}°"


def _words_outside(off_axis: float, beam: float) -> str:
    return f"outside the beam: {_degrees(off_axis, beam)}"


def _words_behind(spec, light: Projection, goal, off_axis: float, beam: float) -> str:
    """Behind the lamp, or between the mark that distances count from and a pupil that lies before it."""
    offset = opening_before(spec)
    before = float((goal - np.array(light.emitter.position)) @ np.array(light.emitter.forward)) + offset
    if spec.lens is None:
        away = f"{before:.2f} m in front of the projector's place" if before > 0.0 else _degrees(off_axis, beam)
        return f"no farther than the card: {away}" if before > 0.0 or offset < 0.0 else f"behind the lamp: {away}"
    if before > 0.0:
        return (
            f"nearer than the lens: {before:.2f} m in front of the projector's place, its pupil stands {offset:.2f} m"
            " in front of it"
        )
    return f"behind the lamp: {_degrees(off_axis, beam)}"


def _cutting(spec, samples: Samples) -> str:
    """The blades that leave nothing: one alone where one does, else all of them."""
    alone = [
        blade.side
        for blade, passed in zip(spec.blade, samples.blades, strict=True)
        if not (samples.enters * passed).any()
    ]
    return f"the {listed(alone)} blade{'s' if len(alone) > 1 else ''}" if alone else "its blades together"


def _turned_away(surface: OnSurface, light: Projection) -> bool:
    return bool(surface.normal @ (np.array(light.emitter.position) - surface.point) < 0.0)


def _shows_its_back(stage: Stage, surface: OnSurface, towards) -> np.ndarray | bool:
    """Whether light that comes from `towards` (..., 3) falls on the back of a flat surface or a sweep, and the camera
    does not look at that side as well.
    """
    shapes = {item.name: item.shape for item in stage.scene.surface}
    camera_sees_front = surface.normal @ (np.asarray(stage.scene.camera.position_m, float) - surface.point) > 0.0
    return (
        (shapes.get(stage.arrays.names[surface.owner]) in ("flat", "sweep"))
        & camera_sees_front
        & (np.asarray(towards) @ surface.normal < 0.0)
    )


def _hidden(
    arrays: SceneArrays, light: Projection, surface: OnSurface, samples: Samples, shining: np.ndarray
) -> tuple[float, tuple[str, ...]]:
    """Share of what shines of the pupil that something stands before, and whose shadow that is, the largest first."""
    rows, columns = np.nonzero(shining)
    step = max(1, math.ceil(rows.size / _N_RAYS))
    rows, columns = rows[::step], columns[::step]
    weights = shining[rows, columns]
    goals = np.array(light.emitter.position) + light.emitter.radius * (
        samples.x[rows, columns, None] * np.array(light.emitter.right)
        + samples.y[rows, columns, None] * np.array(light.emitter.down)
    )
    ways = np.ascontiguousarray(goals - surface.point)
    count = len(ways)
    t, faces, u, v = np.empty(count), np.empty(count, np.int32), np.empty(count), np.empty(count)
    start = _START_M / float(np.linalg.norm(ways, axis=1).min())
    closest_hits(arrays.bvh, np.tile(surface.point, (count, 1)), ways, start, 1.0, 0, count, t, faces, u, v)
    blocked = faces >= 0
    counts = Counter(arrays.names[owner] for owner in arrays.surfaces.owners[faces[blocked]])
    return float(weights[blocked].sum() / weights.sum()), tuple(
        name for name, _ in sorted(counts.items(), key=lambda item: (-item[1], item[0]))
    )


def _nearest_opening_mm(arrays: SceneArrays, light: Projection, place: Place, surface: OnSurface) -> float | None:
    """How far (mm) from a dark place the part of the pattern lands that lies nearest to it in the gate; None if nothing
    is open.

    Straight through the room, to what that light meets of the same thing; where it misses that, square to the beam at
    the place's distance.
    """
    bitmap = light.bitmap
    rows, columns = np.nonzero(bitmap.transmission > 0.5)
    height, width = bitmap.transmission.shape
    x, y = (columns - 0.5 * (width - 1)) * bitmap.pitch, (rows - 0.5 * (height - 1)) * bitmap.pitch
    inside = is_in_opening(light, np.stack([x, y], axis=1))
    if not inside.any():
        return None
    squared = (x[inside] - place.gate[0]) ** 2 + (y[inside] - place.gate[1]) ** 2
    nearest = int(np.argmin(squared))
    origin, ray = np.array([light.emitter.position]), gate_rays(light, x[inside][[nearest]], y[inside][[nearest]])
    t, faces, u, v = np.empty(1), np.empty(1, np.int32), np.empty(1), np.empty(1)
    closest_hits(arrays.bvh, origin, ray, 0.0, 1e6, 0, 1, t, faces, u, v)
    if faces[0] >= 0 and arrays.surfaces.owners[faces[0]] == surface.owner:
        return 1e3 * float(np.linalg.norm(origin[0] + t[0] * ray[0] - surface.point))
    return 1e3 * math.sqrt(float(squared[nearest])) * float(place.local[2]) / light.tube_length
