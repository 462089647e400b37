"""A light meter held at a point of the scene: every light alone and all together.

Light adds, and steady light counts for as long as the shutter is open (ISO 2720 with H = E·t); what a receptor makes of
its direction is the receptor's law: a flat one the cosine, a dome (1 + cos θ)/2.
"""

from __future__ import annotations

from dataclasses import dataclass

from projector.faults import Fault, SceneError
from projector.photometry.exposure import (
    METER_CONSTANTS,
    f_number_for_luminous_exposure,
    stops_between,
    stops_between_f_numbers,
)
from projector.photometry.metering import as_shown, flash_share, in_thirds, ratio_of_lights, ratio_of_sides
from projector.phrases import did_you_mean, listed, nearest, signed
from projector.rendering.ambient import LightLevel, room_light
from projector.shown import Drawn, Shown
from projector.stage.stage import AMBIENT, SceneOrStage, Stage, stage_of
from projector.studies.light.meter_bounces import bounced_here
from projector.studies.light.meter_lights import LightHere, other_light_here, projector_here, room_here
from projector.studies.light.meter_place import meter_place


@dataclass(frozen=True, repr=False)
class Metered(Shown):
    """Light on a meter's receptor: of one light, or of several together.

    lx_s: what the open shutter gathers of it, lx·s; lx: of steady light alone, lx_s_flash: of flash alone; f_number:
    what the meter shows at the camera's ISO and shutter, None in the dark; f_number_marked: the nearest third, as
    marked; f_number_shown: a whole mark and tenths of a stop; stops_over_camera: over the camera's own f-number;
    flash_share: of a flash in it.
    """

    lx_s: float
    lx: float
    lx_s_flash: float
    f_number: float | None
    f_number_marked: str | None
    f_number_shown: str | None
    stops_over_camera: float | None
    flash_share: float

    def _line(self) -> str:
        if self.stops_over_camera is None:
            return "no light"
        over = signed(self.stops_over_camera)
        return f"{self.lx_s:.4g} lx·s, {self.f_number_marked}, {over} stops against the camera"


@dataclass(frozen=True, repr=False)
class LightMetered(Shown):
    """One light at the meter.

    alone: as it meters by itself; is_stated: whether its power was, else it is taken to meter right where it is focused
    or aims; estimate_stops: how far off it may be either way where its power is an estimate; bounced_share: of it what
    comes over other surfaces, where the scene has bounces; stops_over_key: against the key light, None where one of the
    two is dark; share: of all light gathered; key_to_it, key_and_it_to_it: the key against it in both meanings of a
    ratio, the lights' and the sides'; open_gate: of a projector without stencil and blades; longest_deg, shortest_deg:
    how large it looks; shadow_mm: how wide the edge of a shadow is that it casts from 50 mm off; no_light: why none of
    it gets there straight.
    """

    light: str
    alone: Metered
    is_stated: bool
    estimate_stops: float | None
    bounced_share: float
    stops_over_key: float | None
    share: float
    key_to_it: float | None
    key_and_it_to_it: float | None
    open_gate: Metered | None
    longest_deg: float | None
    shortest_deg: float | None
    shadow_mm: float | None
    no_light: str | None

    def _line(self) -> str:
        return f"{self.light}: {self.no_light or self.alone._line()}"


@dataclass(frozen=True, repr=False)
class MeterReading(Drawn):
    """What a meter shows at a point, light by light.

    at, on: the point, and what the meter is held against (None in the air); receptor: "dome" or "flat"; towards: what
    it faces; iso, shutter_s, camera_f_number: the camera's setting; key: the light that others are compared with, None
    where none of them falls; is_key_chosen: whether it was not named and is the brightest; lights; together;
    key_to_rest, key_and_rest_to_rest: the key against all other light in both meanings of a ratio, None where there is
    no key or no other light.
    """

    at: str
    on: str | None
    receptor: str
    towards: str
    iso: float
    shutter_s: float
    camera_f_number: float
    key: str | None
    is_key_chosen: bool
    lights: tuple[LightMetered, ...]
    together: Metered
    key_to_rest: float | None
    key_and_rest_to_rest: float | None

    def _line(self) -> str:
        return f"{self.receptor} at {self.at}: {self.together._line()}"


def meter(
    scene: SceneOrStage, at, receptor: str = "dome", key: str | None = None, towards: str | tuple | None = None
) -> MeterReading:
    """A meter at a landmark or a point (m): each light alone and all together, at the camera's ISO and shutter.

    scene: a Scene, a Stage, a file's path or a shipped name; receptor: "dome" or "flat"; key: the light that others are
    compared with (None: the brightest there); towards: what the receptor faces: "camera", "surface" (it lies on it), a
    light, a landmark or a point; None: a dome the camera, a flat receptor lies on the surface. A projector is metered
    as its pattern lands. Within 0.02 stop. SceneError for a point inside a body, or a name that is not in the scene.

    >>> meter("01-square-wall", (0.15, 1.65, 0.0), "flat")
    <MeterReading: flat at (0.15, 1.65, 0.00): 39.87 lx·s, f/8, 0.0 stops against the camera>
    """
    stage = stage_of(scene)
    if key is not None and key not in stage.light_names:
        known = stage.light_names
        hint = did_you_mean(nearest(key, known, 0.5))
        raise SceneError(Fault(f'there is no light called "{key}"', ", ".join(known), hint, key="key"))
    place = meter_place(stage, at, receptor, towards)
    here = [projector_here(staged, place) for staged in stage.projectors]
    here += [other_light_here(staged, place) for staged in stage.lights]
    if stage.scene.bounces:
        bounced = bounced_here(stage, place, stage.scene.bounces)
        here = [item.with_bounced(bounced[item.name]) for item in here]
    room = room_light(stage)
    if room is not None:
        here.append(room_here(room, AMBIENT, place))
    gathered = {item.name: item.level.during(stage.scene.camera.shutter_s) for item in here}
    if key is not None and key not in gathered:
        raise SceneError(
            Fault(f"{key} is off", listed(list(gathered)) or "a light that is on", f"light.{key}.on=true", key="key")
        )
    total = sum(gathered.values())
    # The room is nobody's key, unless it is named.
    lights = sorted(item.name for item in here if item.name != AMBIENT and gathered[item.name] > 0.0)
    chosen = key or max(lights, key=lambda name: gathered[name], default=None)
    level = 0.0 if chosen is None else gathered.get(chosen, 0.0)
    has_key = level > 0.0
    rest, camera = total - level, stage.scene.camera
    return MeterReading(
        at=place.name,
        on=None if place.surface is None else stage.arrays.names[place.surface.owner],
        receptor=receptor,
        towards=place.towards,
        iso=camera.iso,
        shutter_s=camera.shutter_s,
        camera_f_number=camera.f_number,
        key=chosen if has_key or key is not None else None,
        is_key_chosen=key is None,
        lights=tuple(_light_metered(stage, item, receptor, gathered, level, item.name == chosen) for item in here),
        together=_metered(stage, receptor, [item.level for item in here]),
        key_to_rest=ratio_of_lights(level, rest) if has_key and rest > 0.0 else None,
        key_and_rest_to_rest=ratio_of_sides(level, rest) if has_key and rest > 0.0 else None,
    )


def meters(
    scene: SceneOrStage, points, receptor: str = "dome", key: str | None = None, towards: str | tuple | None = None
) -> list[MeterReading]:
    """A meter at several points, as `meter` takes one, with one key for all.

    Without a name it is the light that is brightest at the first of them that any light gets to.
    """
    stage, found = stage_of(scene), list[MeterReading]()
    for at in points:
        known = next((item.key for item in found if item.key is not None), None)
        found.append(meter(stage, at, receptor, key or known, towards))
    return found


def _light_metered(
    stage: Stage, item: LightHere, receptor: str, gathered: dict[str, float], key: float, is_key: bool
) -> LightMetered:
    """One of the lights beside the key's lx·s."""
    own, total = gathered[item.name], sum(gathered.values())
    both = own > 0.0 and key > 0.0
    size = item.size
    return LightMetered(
        light=item.name,
        alone=_metered(stage, receptor, [item.level]),
        is_stated=item.is_stated,
        estimate_stops=item.estimate_stops,
        bounced_share=item.bounced / item.level.level if item.bounced > 0.0 else 0.0,
        stops_over_key=float(stops_between(own, key)) if both else None,
        share=own / total if total > 0.0 else 0.0,
        key_to_it=ratio_of_lights(key, own) if both and not is_key else None,
        key_and_it_to_it=ratio_of_sides(key, own) if both and not is_key else None,
        open_gate=(
            None
            if item.open_level is None
            else _metered(stage, receptor, [LightLevel(item.open_level, item.level.is_flash)])
        ),
        longest_deg=None if size is None else size.longest_deg,
        shortest_deg=None if size is None else size.shortest_deg,
        shadow_mm=None if size is None else size.shadow_mm,
        no_light=item.no_light,
    )


def _metered(stage: Stage, receptor: str, levels: list) -> Metered:
    """What a meter makes of lights of these levels together."""
    camera = stage.scene.camera
    flash = sum((level.level for level in levels if level.is_flash), 0.0)
    steady = sum((level.level for level in levels if not level.is_flash), 0.0)
    gathered = sum(level.during(camera.shutter_s) for level in levels)
    is_dark = not gathered > 0.0
    f_number = (
        None if is_dark else float(f_number_for_luminous_exposure(gathered, camera.iso, METER_CONSTANTS[receptor]))
    )
    return Metered(
        lx_s=gathered,
        lx=steady,
        lx_s_flash=flash,
        f_number=f_number,
        f_number_marked=None if f_number is None else in_thirds(f_number),
        f_number_shown=None if f_number is None else str(as_shown(f_number) or in_thirds(f_number)),
        stops_over_camera=None if f_number is None else float(stops_between_f_numbers(f_number, camera.f_number)),
        flash_share=flash_share(flash, steady, camera.shutter_s),
    )
