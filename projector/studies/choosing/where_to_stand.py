"""Place it for me: from wishes (width, softness, light, room, angle) to lens, stop, throw, focus offset and a place.

Light follows the one rule of `stage.power.power_of`: the reading or output belongs to the lens and stop that it was
made with. How one lens is searched stands in `lens_search`.
"""

from __future__ import annotations

import json
from dataclasses import replace

from projector.scene import stated_power
from projector.scene.model import Reading
from projector.stage.optics import opening_before, require_lens
from projector.stage.stage import AnyProjector, SceneOrStage, Stage, StagedProjector, projector_on
from projector.studies.choosing.lens_search import Candidate, LensSearch, set_up
from projector.studies.choosing.reasons import OWN_LENS
from projector.studies.choosing.rendered_size import rendered_size
from projector.studies.choosing.room import check_target, stands
from projector.studies.choosing.wishes import Answer, Relaxation, WhereToStand, Wishes, check_wishes
from projector.studies.lenses.shipped import shipped_lenses, with_lens

__all__ = ["OWN_LENS", "Answer", "Relaxation", "WhereToStand", "Wishes", "changes_for", "check_wishes", "place"]


def place(
    stage: SceneOrStage, projector: AnyProjector, wishes: Wishes, lenses=None, target=None, render: bool = True
) -> WhereToStand:
    """All ways that meet the wishes, and, for lenses that cannot, what would have to give, the smallest step first.

    Most spare light comes first, and of equal light (a tenth of a stop) the least fringe. lenses: names of lens files,
    "own" for the scene's; without, its own and all shipped ones. target: landmark or point (the projector's aim).
    render: whether each answer is checked in a rendered map. SceneError for wishes that say nothing, or a target
    outside the room.

    >>> from projector.studies import Wishes
    >>> wishes = Wishes(width_m=0.8, edge_mm=5, f_number=4, iso=400, room_m=(5, 6, 2.7))
    >>> found = place("01-square-wall", "window", wishes, lenses=["own"], render=False)
    >>> found
    <WhereToStand: 1 of 1 lenses will do; own at f/2.8, throw 1.994 m: 0.800 m wide, edges 5.00 mm, +2.7 stops>
    >>> answers, missed = found
    """
    check_wishes(wishes)
    staged = projector_on(stage, projector)
    stage, spec = staged.stage, staged.spec
    require_lens(spec, "focal length to find a place by")
    target = target if target is not None else spec.aim
    goal = stage.point(target)
    check_target(stage, wishes.room_m, goal)
    places = stands(stage, spec.position_m, goal, wishes.room_m, wishes.largest_angle_deg)
    answers, relaxations = [], []
    for candidate in _candidates(staged, lenses):
        found = LensSearch(stage, candidate, places, wishes, target).answered()
        if isinstance(found, Relaxation):
            relaxations.append(found)
        else:
            answers.append(_rendered(stage, candidate, found) if render else found)
    answers.sort(key=lambda item: (-round(item.spare_stops, 1), item.fringe_mm))
    relaxations.sort(key=lambda item: item.step)
    return WhereToStand(answers, relaxations, wishes, stage, spec.name, target)


def changes_for(spec, answer: Answer, target=None) -> list[str]:
    """An answer as changes of the scene that it was found for, as they are typed: KEY=VALUE."""
    target = json.dumps(target if target is not None else spec.aim)
    x, y, z = answer.position_m
    values = {
        "position_m": f"[{x!r}, {y!r}, {z!r}]",
        "aim": target,
        "focus": f"{{ at = {target}, offset_mm = {answer.focus_offset_mm!r} }}",
    }
    if not answer.is_own:
        values["lens.file"] = json.dumps(answer.lens)
    if not answer.is_own or answer.f_number != spec.lens.f_number:
        values["lens.f_number"] = repr(answer.f_number)
    if answer.is_own and spec.lens.widest_f_number is None and answer.f_number != spec.lens.f_number:
        # Stopped down, a lens is still described at the stop at which it was.
        values["lens.widest_f_number"] = repr(spec.lens.f_number)
    return [f"projector.{spec.name}.{key}={value}" for key, value in values.items()]


def _candidates(staged: StagedProjector, lenses) -> list[Candidate]:
    """The lenses asked for; one that is the scene's own comes once, as that."""
    scene, spec = staged.stage.scene, staged.spec
    own = _at_widest(spec.lens)
    own_name = next((name for name, lens in shipped_lenses() if _at_widest(lens) == own), OWN_LENS)
    names = [OWN_LENS, *(name for name, _ in shipped_lenses())] if lenses is None else lenses
    power_is_stated = spec.power_is_stated
    metered = spec if power_is_stated else _metered_right(staged)
    found: dict[str, Candidate] = {}
    for name in names:
        lens = own if name == OWN_LENS else _at_widest(with_lens(scene, spec, name).lens)
        name = own_name if name == OWN_LENS else name
        candidate = Candidate(name, lens == own, stated_power.with_lens(metered, lens), power_is_stated)
        found.setdefault(OWN_LENS if candidate.is_own else name, candidate)
    return list(found.values())


def _at_widest(lens):
    widest = lens.widest_f_number or lens.f_number
    return lens.model_copy(update={"f_number": widest, "widest_f_number": widest})


def _metered_right(staged: StagedProjector):
    """A projector without a statement of power, with the reading that it is taken to have.

    It meters right for the camera at its focus distance, through its own lens.
    """
    camera = staged.stage.scene.camera
    distance = abs(staged.focus.sharp_distance) + opening_before(staged.spec)
    return staged.spec.model_copy(
        update={"reading": Reading(f_number=camera.f_number, iso=camera.iso, distance_m=distance)}
    )


def _rendered(stage: Stage, candidate: Candidate, answer: Answer) -> Answer:
    """The answer with what a rendered map shows of it."""
    place, aim = answer.position_m, answer.aim_m
    standing = set_up(candidate.projector, place, aim, answer.f_number, answer.focus_offset_mm)
    width, edge = rendered_size(stage, standing, answer.width_m, answer.edge_mm)
    return replace(answer, got_width_m=width, got_edge_mm=edge)
