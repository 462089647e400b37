"""Place it for me: from wishes (width, softness, light, room, angle) to lens, stop, throw, focus offset and a place to stand.

Width gives the throw, D = f·(M + 1), and softness the focus offset, both of the thin lens (OpenStax, University Physics
Volume 3, "Thin Lenses"), put right for distortion, colour and the offset itself. Light follows the one rule of
`tracing.arrays.power_of`: the reading or output belongs to the lens and stop that it was made with.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, replace

import numpy as np

from projector.optics import thin_lens
from projector.photometry.spectra import luminous
from projector.scene import stated_power
from projector.scene.faults import Fault, SceneError
from projector.scene.model import Focus, Reading
from projector.scene.placement import point_of
from projector.studies.edge_profile import axial_edge_width, full_spectrum, place_on_axis
from projector.studies.fringe import shipped_lenses, with_lens
from projector.studies.landing import open_gate_meter, pattern_size
from projector.studies.rendered_size import lit_width, rendered_size
from projector.studies.room import ROOM_MARGIN, Stands, check_target, stands
from projector.studies.widest_fringe import widest_fringe
from projector.tracing.arrays import focus_of, light_arrays, power_of

# The name by which the scene's own lens is asked for.
OWN_LENS = "own"
SMALLEST_STOP = 22.0
_STOPS = (*(2.0 ** (index / 6.0) for index in range(54) if 2.0 ** (index / 6.0) < SMALLEST_STOP), SMALLEST_STOP)
# Sizes count as met within this share; a light is set up by the millimetre, a stencil by the micrometre, a stop by a hundredth.
_CLOSE = 3e-4
# A stencil is moved at most by this share of the focal length.
_FARTHEST_OFFSET = 0.5


@dataclass(frozen=True)
class Wishes:
    """What is wanted at the target: pattern width (m), edge width (mm, 10–90 %), f-number of the meter at an ISO, room and angle.

    room: (width, depth, height) in m: across x, from the farthest surface towards the camera, and up from the floor.
    """

    width_m: float
    edge_mm: float
    f_number: float
    iso: float
    room_m: tuple[float, float, float]
    largest_angle_deg: float = 60.0


@dataclass(frozen=True)
class Answer:
    """One way to do it, as it can be set up and written down: focused on the target, then the stencil moved by the offset.

    lens: name of a lens file, or "own"; is_own: it is the lens that the scene has. throw_m: from the pupil to the target.
    width_m, edge_mm: by the closed forms, what a preview prints; got_*: measured in a rendered map, None where not rendered.
    spare_stops: light beyond the wish (negative: short); fringe_mm: colour fringe at the target (see `fringe`). carried_over:
    what was taken for granted of the light, as the reading or output belongs to another lens or stop; None where it does not.
    """

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


@dataclass(frozen=True)
class Relaxation:
    """A wish that one lens cannot meet, and how far it would have to give. Numbers in words are rounded to where they can be met."""

    lens: str
    wish: str
    wanted: float
    possible: float
    words: str


def check_wishes(wishes: Wishes) -> None:
    """SceneError for wishes that no light can meet."""
    faults = []
    named = {"width": wishes.width_m, "edge": wishes.edge_mm, "f-number": wishes.f_number, "iso": wishes.iso, "angle": wishes.largest_angle_deg}
    for name, value in named.items():
        if not 1e-9 <= value <= 1e9:
            faults.append(Fault(found=f"{name} = {value:g}", allowed="a number above zero", key=name))
    if min(wishes.room_m) <= 2.0 * ROOM_MARGIN:
        faults.append(Fault(found=f"a room of {wishes.room_m[0]:g} × {wishes.room_m[1]:g} × {wishes.room_m[2]:g} m", allowed=f"more than {2 * ROOM_MARGIN:g} m each way", key="room"))
    if faults:
        raise SceneError(faults)


def place(scene, spec, wishes: Wishes, lenses=None, target=None, render: bool = True) -> tuple[list[Answer], list[Relaxation]]:
    """All ways that meet the wishes, most spare light first and of equal light (a tenth of a stop) least fringe first, and, for lenses that cannot, what would have to give.

    lenses: names of lens files, "own" for the scene's; without, its own and all shipped ones. target: landmark or point (the
    projector's aim). Each answer is checked by rendering it.
    """
    check_wishes(wishes)
    target = target if target is not None else spec.aim
    goal = point_of(scene, target)
    check_target(scene, wishes.room_m, goal)
    found = stands(scene, spec.position_m, goal, wishes.room_m, wishes.largest_angle_deg)
    answers, relaxations = [], []
    for candidate in _candidates(scene, spec, lenses):
        searched = _Search(scene, candidate, found, wishes, target).answered()
        if isinstance(searched, Relaxation):
            relaxations.append(searched)
        else:
            answers.append(_rendered(scene, candidate, searched) if render else searched)
    return sorted(answers, key=lambda item: (-round(item.spare_stops, 1), item.fringe_mm)), sorted(relaxations, key=lambda item: abs(math.log(item.possible / item.wanted)) if item.possible > 0 else math.inf)


def changes_for(spec, answer: Answer, target=None) -> list[str]:
    """An answer as changes of the scene that it was found for, as they are typed: KEY=VALUE."""
    target = json.dumps(target if target is not None else spec.aim)
    x, y, z = answer.position_m
    values = {"position_m": f"[{x!r}, {y!r}, {z!r}]", "aim": target, "focus": f"{{ at = {target}, offset_mm = {answer.focus_offset_mm!r} }}"}
    if not answer.is_own:
        values |= {"lens.file": json.dumps(answer.lens)}
    if not answer.is_own or answer.f_number != spec.lens.f_number:
        values |= {"lens.f_number": repr(answer.f_number)}
    if answer.is_own and spec.lens.widest_f_number is None and answer.f_number != spec.lens.f_number:
        # Stopped down, a lens is still described at the stop at which it was.
        values |= {"lens.widest_f_number": repr(spec.lens.f_number)}
    return [f"projector.{spec.name}.{key}={value}" for key, value in values.items()]


@dataclass(frozen=True)
class _Candidate:
    """A lens by name, and the scene's projector with it at its widest stop; the power stays that of the reading or output."""

    name: str
    is_own: bool
    projector: object
    power_is_stated: bool

    @property
    def words(self) -> str:
        return self.name if not self.is_own else "the scene's own lens" if self.name == OWN_LENS else f"{self.name}, the scene's own"


def _candidates(scene, spec, lenses) -> list[_Candidate]:
    """The lenses asked for; one that is the scene's own comes once, as that."""
    own = _at_widest(spec.lens)
    own_name = next((name for name, lens in shipped_lenses() if _at_widest(lens) == own), OWN_LENS)
    names = [OWN_LENS, *(name for name, _ in shipped_lenses())] if lenses is None else lenses
    power_is_stated = spec.reading is not None or spec.output is not None
    metered = spec if power_is_stated else _metered_right(scene, spec)
    found = {}
    for name in names:
        lens = own if name == OWN_LENS else _at_widest(with_lens(scene, spec, name).lens)
        name = own_name if name == OWN_LENS else name
        found.setdefault(OWN_LENS if lens == own else name, _Candidate(name, lens == own, stated_power.with_lens(metered, lens), power_is_stated))
    return list(found.values())


def _at_widest(lens):
    widest = lens.widest_f_number or lens.f_number
    return lens.model_copy(update={"f_number": widest, "widest_f_number": widest})


def _metered_right(scene, spec):
    """A projector without a statement of power, with the reading that it is taken to have: right for the camera at its focus distance, through its own lens."""
    camera, distance = scene.camera, abs(focus_of(scene, spec).sharp_distance) + 1e-3 * spec.lens.pupil_offset_mm
    return spec.model_copy(update={"reading": Reading(f_number=camera.f_number, iso=camera.iso, distance_m=distance)})


def _set_up(projector, position, target, f_number: float, offset_mm: float):
    """The projector at a place, aimed at and focused on the target with an offset."""
    lens = projector.lens.model_copy(update={"f_number": f_number})
    return projector.model_copy(update={"position_m": tuple(map(float, position)), "aim": target, "lens": lens, "focus": Focus(at=target, offset_mm=offset_mm)})


@dataclass(frozen=True)
class _Search:
    """The way from wishes to an answer, or to what has to give, with one lens."""

    scene: object
    candidate: _Candidate
    stands: Stands
    wishes: Wishes
    target: object

    def answered(self) -> Answer | Relaxation:
        """The throw that gives the wanted width: a first one by the thin lens, put right until offset and distortion are in it."""
        if not luminous(power_of(self.scene, self.candidate.projector).spectrum) > 0.0:
            return Relaxation(self.candidate.words, "light", self.wishes.f_number, 0.0, f"{self.candidate.words}: its filters let no light through")
        focal_length, lit = 1e-3 * self._lens.focal_length_mm, lit_width(self.candidate.projector)
        throw = focal_length * (self.wishes.width_m / lit + 1.0)
        longest, least = self.stands.longest_m - self._pupil_offset, max(self._lens.nearest_focus_m or 0.0, 1.02 * focal_length) - self._pupil_offset
        if longest < least:
            return self._too_narrow(0.0, max(longest, 0.0), throw)
        throw = min(max(throw, least), longest)
        for _ in range(6):
            found = self._at_throw(throw)
            if isinstance(found, Relaxation):
                return found
            share = self.wishes.width_m / self._width(found, throw)
            if abs(share - 1.0) < _CLOSE:
                break
            if share > 1.0 and throw == longest:
                return self._too_narrow(self.wishes.width_m / share, longest, throw * share)
            if share < 1.0 and throw == least:
                return self._too_wide(self.wishes.width_m / share, least)
            throw = min(max(throw * share, least), longest)
        return self._lit(found)

    @property
    def _lens(self):
        return self.candidate.projector.lens

    @property
    def _pupil_offset(self) -> float:
        return 1e-3 * self._lens.pupil_offset_mm

    def _throw(self, set_up) -> float:
        return float(np.linalg.norm(self.stands.goal - np.array(set_up.position_m))) - self._pupil_offset

    def _width(self, set_up, throw: float) -> float:
        return pattern_size(light_arrays(self.scene, set_up, [587.5618]), throw)[0]

    def _edge(self, set_up) -> float:
        """Edge width (mm) square to the beam at the target by the closed forms, all wavelengths together."""
        light, weights = full_spectrum(self.scene, set_up)
        return 1e3 * axial_edge_width(light, weights[:, 1], self._throw(set_up))

    def _at_throw(self, throw: float):
        """The projector at a throw, at the widest stop whose sharpest edge is sharp enough, softened to the wish by its offset."""
        from scipy.optimize import brentq

        spot = self.stands.at(throw + self._pupil_offset)
        if spot is None:
            return self._no_place(throw)

        def set_up(f_number, offset_mm=0.0):
            return _set_up(self.candidate.projector, spot, self.target, f_number, offset_mm)

        widest, wanted = self._lens.f_number, self.wishes.edge_mm
        numbers = (widest, *(stop for stop in _STOPS if stop > widest))
        number = next((number for number in numbers if self._edge(set_up(number)) <= wanted * (1.0 + _CLOSE)), None)
        if number is None:
            least = self._edge(set_up(numbers[-1]))
            return Relaxation(self.candidate.words, "edge", wanted, least, f"{self.candidate.words}: its sharpest edge at that throw, at f/{numbers[-1]:g}, is {_up(least, 2)} mm")

        def excess(offset):
            return self._edge(set_up(number, offset)) - wanted

        if excess(0.0) >= 0.0:
            return set_up(number)
        far = self._far_offset(number, throw, excess)
        if excess(far) < 0.0:
            return self._too_sharp(number, far, excess(far) + wanted)
        return set_up(number, float(brentq(excess, 0.0, far, xtol=1e-4)))

    def _far_offset(self, number: float, throw: float, excess) -> float:
        """An offset (mm) that is too soft, or the farthest there is: the thin lens's for the wanted disc, and more until it is."""
        focal_length = 1e-3 * self._lens.focal_length_mm
        pupil = min(focal_length / number, 1e-3 * (self._lens.filled_pupil_mm or math.inf))
        sharp = throw / (1.0 + 1e-3 * self.wishes.edge_mm / (thin_lens.DISC_EDGE_10_90 * pupil))
        tube = thin_lens.conjugate_distance(focal_length, throw)
        far = 1e3 * (thin_lens.conjugate_distance(focal_length, sharp) - tube) if sharp > 1.05 * focal_length else 0.2e3 * focal_length
        far, farthest = 1.1 * far + 0.01, _FARTHEST_OFFSET * 1e3 * focal_length
        while far < farthest and excess(far) < 0.0:
            far *= 1.5
        return min(far, farthest)

    def _lit(self, found) -> Answer | Relaxation:
        """The answer with all its numbers, of a set-up as it can be written down."""
        position = np.clip(np.round(found.position_m, 3), self.stands.low, self.stands.high)
        found = _set_up(self.candidate.projector, position, self.target, max(round(found.lens.f_number, 2), self._lens.f_number), round(found.focus.offset_mm, 3))
        throw = self._throw(found)
        light, _ = full_spectrum(self.scene, found)
        meter = open_gate_meter(self.scene, found, light, throw, self.wishes.iso)
        spare = 2.0 * math.log2(meter / self.wishes.f_number)
        if spare < -2e-3:
            words = f"{self.candidate.words}: {-spare:.1f} stops short; a meter would read f/{_down(meter, 2)} there at ISO {self.wishes.iso:g}, and f/{self.wishes.f_number:g} at ISO {_up(self.wishes.iso * 2.0**-spare, 0)}"
            return Relaxation(self.candidate.words, "light", self.wishes.f_number, meter, words)
        carried = power_of(self.scene, found).carried_over if self.candidate.power_is_stated else None
        return Answer(
            self.candidate.name,
            self.candidate.is_own,
            found.lens.focal_length_mm,
            found.lens.f_number,
            throw,
            found.focus.offset_mm,
            found.position_m,
            tuple(map(float, self.stands.goal)),
            self.stands.angle_deg(position),
            self._width(found, throw),
            self._edge(found),
            meter,
            spare,
            widest_fringe(light, place_on_axis(light, throw), found).width_mm,
            None if carried is None else carried.sentence(found.name),
        )

    def _too_sharp(self, number: float, offset_mm: float, softest: float) -> Relaxation:
        words = f"{self.candidate.words}: its softest edge at that throw is {_down(softest, 2)} mm, at f/{number:g} with the stencil {offset_mm:.0f} mm off"
        return Relaxation(self.candidate.words, "edge", self.wishes.edge_mm, softest, words)

    def _too_narrow(self, possible: float, longest: float, throw: float) -> Relaxation:
        allowed = f"the room allows {_down(longest, 2)} m, " + (f"which gives {_down(possible, 3)} m" if possible > 0.0 else "nearer than this lens focuses") if longest > 0.0 else "no place in the room sees the target within that angle"
        words = f"{self.candidate.words}: {self.wishes.width_m:g} m needs a throw of {_up(throw, 2)} m; {allowed}"
        return Relaxation(self.candidate.words, "width", self.wishes.width_m, possible, words)

    def _too_wide(self, possible: float, least: float) -> Relaxation:
        words = f"{self.candidate.words}: it focuses no nearer than {_up(least + self._pupil_offset, 3)} m, which gives {_up(possible, 3)} m"
        return Relaxation(self.candidate.words, "width", self.wishes.width_m, possible, words)

    def _no_place(self, throw: float) -> Relaxation:
        """Between the walls there is no place at that throw: the nearest that has one."""
        near = self.stands.nearest_m - self._pupil_offset
        near = near[near > throw]
        nearest = float(near.min()) if near.size else self.stands.longest_m - self._pupil_offset
        focal_length = 1e-3 * self._lens.focal_length_mm
        possible = self.wishes.width_m * (nearest - focal_length) / (throw - focal_length)
        words = f"{self.candidate.words}: {self.wishes.width_m:g} m needs a throw of {throw:.2f} m, where nobody can stand; at {nearest:.2f} m somebody can, which gives {possible:.2f} m"
        return Relaxation(self.candidate.words, "width", self.wishes.width_m, possible, words)


def _down(value: float, decimals: int) -> str:
    """Rounded down, so that what is printed as possible is; what a sum left in the last digits of a float does not count."""
    return f"{math.floor(value * 10**decimals * (1.0 + 1e-9)) / 10**decimals:.{decimals}f}"


def _up(value: float, decimals: int) -> str:
    return f"{math.ceil(value * 10**decimals * (1.0 - 1e-9)) / 10**decimals:.{decimals}f}"


def _rendered(scene, candidate: _Candidate, answer: Answer) -> Answer:
    """The answer with what a rendered map shows of it."""
    set_up = _set_up(candidate.projector, answer.position_m, answer.aim_m, answer.f_number, answer.focus_offset_mm)
    width, edge = rendered_size(scene, set_up, answer.width_m, answer.edge_mm)
    return replace(answer, got_width_m=width, got_edge_mm=edge)
