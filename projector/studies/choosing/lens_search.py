"""From wishes to throw, stop, focus offset and place with one lens, or to what would have to give.

Width gives the throw, D = f·(M + 1), and softness the focus offset, both of the thin lens (OpenStax, University Physics
Volume 3, "Thin Lenses"), put right for distortion, colour and the offset itself.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from projector.optics import thin_lens
from projector.optics.dispersion import LINE_D_NM
from projector.scene.model import Focus, Projector
from projector.stage.stage import Stage
from projector.studies.choosing import reasons
from projector.studies.choosing.rendered_size import lit_width
from projector.studies.choosing.room import Stands
from projector.studies.choosing.wishes import Answer, Relaxation, Wishes
from projector.studies.edges.profile import axial_edge_width, full_spectrum, place_on_axis
from projector.studies.edges.widest_fringe import widest_fringe
from projector.studies.size.landing import open_gate_meter, pattern_size

SMALLEST_STOP = 22.0
_STOPS = (*(2.0 ** (index / 6.0) for index in range(54) if 2.0 ** (index / 6.0) < SMALLEST_STOP), SMALLEST_STOP)
# Sizes count as met within this share; a light is set up by the millimetre, a stencil by the micrometre, a stop by a
# hundredth.
_CLOSE = 3e-4
# A stencil is moved at most by this share of the focal length.
_FARTHEST_OFFSET = 0.5
_MOST_STEPS = 30
# Places that end so much (m) earlier than the room do so because a lamp there is in the way.
_HINDERED_BY_M = 0.05


@dataclass(frozen=True)
class Candidate:
    """A lens by name, and the scene's projector with it at its widest stop; its power is as the reading or output says.

    power_is_stated: False where the reading is only what the scene's camera is set to.
    """

    name: str
    is_own: bool
    projector: Projector
    power_is_stated: bool


def set_up(projector, position, target, f_number: float, offset_mm: float):
    """The projector at a place (m) and a stop, aimed at and focused on the target with an offset."""
    lens = projector.lens.model_copy(update={"f_number": f_number})
    focus = Focus(at=target, offset_mm=offset_mm)
    place = tuple(map(float, position))
    return projector.model_copy(update={"position_m": place, "aim": target, "lens": lens, "focus": focus})


@dataclass(frozen=True)
class LensSearch:
    """The way from wishes to an answer, or to what has to give, with one lens."""

    stage: Stage
    candidate: Candidate
    stands: Stands
    wishes: Wishes
    target: object

    def answered(self) -> Answer | Relaxation:
        """The throw that gives the wanted width: first the thin lens's, then put right for offset and distortion."""
        if not self.stage.projector(self.candidate.projector).power.luminance > 0.0:
            return self._gives_way("light", 0.0, reasons.NO_LIGHT)
        throw = self._focal_length * (self.wishes.width_m / lit_width(self.candidate.projector) + 1.0)
        longest = self.stands.longest_m - self._pupil_offset
        least = max(self._lens.nearest_focus_m or 0.0, 1.02 * self._focal_length) - self._pupil_offset
        if longest < least:
            return self._too_narrow(0.0, max(longest, 0.0), throw)
        throw = min(max(throw, least), longest)
        for _ in range(_MOST_STEPS):
            wanted, throw = throw, self._next_place(throw)
            found = self._at_throw(throw)
            if isinstance(found, Relaxation):
                return found
            share = self.wishes.width_m / self._width(found, throw)
            if abs(share - 1.0) < _CLOSE:
                break
            if share > 1.0 and throw == longest:
                return self._too_narrow(self.wishes.width_m / share, longest, throw * share)
            if share < 1.0 and throw == least:
                numbers = {"nearest_focus_m": least + self._pupil_offset}
                return self._gives_way("width", self.wishes.width_m / share, reasons.FOCUSES_NO_NEARER, numbers)
            if share < 1.0 and wanted < throw:
                numbers = {"needed_throw_m": wanted, "next_throw_m": throw}
                hindered = self.stands.is_hindered_at(wanted + self._pupil_offset)
                possible = self.wishes.width_m / share
                return self._gives_way("width", possible, reasons.NOWHERE_TO_STAND, numbers, hindered)
            throw = min(max(throw * share, least), longest)
        return self._lit(found)

    def _next_place(self, throw: float) -> float:
        """The throw itself or, where nobody can stand so far off with a clear view, the next longer one."""
        if self.stands.at(throw + self._pupil_offset) is not None:
            return throw
        beyond = self.stands.nearest_m - self._pupil_offset
        return float(beyond[beyond > throw].min())

    @property
    def _lens(self):
        return self.candidate.projector.lens

    @property
    def _focal_length(self) -> float:
        return 1e-3 * self._lens.focal_length_mm

    @property
    def _pupil_offset(self) -> float:
        return 1e-3 * self._lens.pupil_offset_mm

    def _throw(self, standing) -> float:
        return float(np.linalg.norm(self.stands.goal - np.array(standing.position_m))) - self._pupil_offset

    def _width(self, standing, throw: float) -> float:
        return pattern_size(self.stage.projector(standing).light([LINE_D_NM]), throw)[0]

    def _edge(self, standing) -> float:
        """Edge width (mm) square to the beam at the target by the closed forms, all wavelengths together."""
        light, weights = full_spectrum(self.stage, standing)
        return 1e3 * axial_edge_width(light, weights[:, 1], self._throw(standing))

    def _at_throw(self, throw: float):
        """The projector at a throw, at the widest stop that is sharp enough, softened to the wish by its offset."""
        from scipy.optimize import brentq

        spot = self.stands.at(throw + self._pupil_offset)

        def standing(f_number, offset_mm=0.0):
            return set_up(self.candidate.projector, spot, self.target, f_number, offset_mm)

        widest, wanted = self._lens.f_number, self.wishes.edge_mm
        numbers = (widest, *(stop for stop in _STOPS if stop > widest))
        number = next((stop for stop in numbers if self._edge(standing(stop)) <= wanted * (1.0 + _CLOSE)), None)
        if number is None:
            least = self._edge(standing(numbers[-1]))
            return self._gives_way("edge", least, reasons.NOT_SHARP_ENOUGH, {"f_number": numbers[-1]})

        def excess(offset):
            return self._edge(standing(number, offset)) - wanted

        if excess(0.0) >= 0.0:
            return standing(number)
        far = self._far_offset(number, throw, excess)
        if excess(far) < 0.0:
            at = {"f_number": number, "offset_mm": far}
            return self._gives_way("edge", excess(far) + wanted, reasons.NOT_SOFT_ENOUGH, at)
        return standing(number, float(brentq(excess, 0.0, far, xtol=1e-4)))

    def _far_offset(self, number: float, throw: float, excess) -> float:
        """An offset (mm) that is too soft, or the farthest there is: the thin lens's for the wanted disc, then more."""
        pupil = min(self._focal_length / number, 1e-3 * (self._lens.filled_pupil_mm or math.inf))
        sharp = throw / (1.0 + 1e-3 * self.wishes.edge_mm / (thin_lens.DISC_EDGE_10_90 * pupil))
        far, farthest = 0.2e3 * self._focal_length, _FARTHEST_OFFSET * 1e3 * self._focal_length
        if sharp > 1.05 * self._focal_length:
            tubes = [thin_lens.conjugate_distance(self._focal_length, distance) for distance in (sharp, throw)]
            far = 1e3 * (tubes[0] - tubes[1])
        far = 1.1 * far + 0.01
        while far < farthest and excess(far) < 0.0:
            far *= 1.5
        return min(far, farthest)

    def _lit(self, found) -> Answer | Relaxation:
        """The answer with all its numbers, of a set-up as it can be written down."""
        position = np.clip(np.round(found.position_m, 3), self.stands.low, self.stands.high)
        f_number, offset = max(round(found.lens.f_number, 2), self._lens.f_number), round(found.focus.offset_mm, 3)
        found = set_up(self.candidate.projector, position, self.target, f_number, offset)
        throw = self._throw(found)
        light, _ = full_spectrum(self.stage, found)
        staged = self.stage.projector(found)
        meter = open_gate_meter(self.stage, found, light, throw, self.wishes.iso)
        spare = 2.0 * math.log2(meter / self.wishes.f_number)
        if spare < -2e-3:
            numbers = {"spare_stops": spare, "iso": self.wishes.iso, "needed_iso": self.wishes.iso * 2.0**-spare}
            return self._gives_way("light", meter, reasons.SHORT_OF_LIGHT, numbers)
        goal = self.stands.goal
        carried = staged.power.carried_over if self.candidate.power_is_stated else None
        return Answer(
            lens=self.candidate.name,
            is_own=self.candidate.is_own,
            focal_length_mm=found.lens.focal_length_mm,
            f_number=f_number,
            throw_m=throw,
            focus_offset_mm=offset,
            position_m=found.position_m,
            aim_m=(float(goal[0]), float(goal[1]), float(goal[2])),
            angle_deg=self.stands.angle_deg(position),
            width_m=self._width(found, throw),
            edge_mm=self._edge(found),
            meter_f_number=meter,
            spare_stops=spare,
            fringe_mm=widest_fringe(light, place_on_axis(light, throw), found.lens, staged.passed).width_mm,
            carried_over=None if carried is None else carried.sentence(found.name),
        )

    def _gives_way(
        self,
        wish: str,
        possible: float,
        why: str,
        numbers: dict[str, float] | None = None,
        lamp_in_the_way: bool = False,
    ) -> Relaxation:
        wanted = {"width": self.wishes.width_m, "edge": self.wishes.edge_mm, "light": self.wishes.f_number}[wish]
        candidate = self.candidate
        return Relaxation(candidate.name, candidate.is_own, wish, wanted, possible, why, numbers or {}, lamp_in_the_way)

    def _too_narrow(self, possible: float, longest: float, throw: float) -> Relaxation:
        seen = self.stands.longest_seen_m
        numbers = {"needed_throw_m": throw, "longest_throw_m": longest, "longest_seen_m": seen}
        hindered = seen - self._pupil_offset > longest + _HINDERED_BY_M
        return self._gives_way("width", possible, reasons.ROOM_TOO_SHORT, numbers, hindered)
