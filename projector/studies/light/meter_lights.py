"""What one light puts on a meter's receptor, how large it looks from there, and why it does not get there."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from projector.optics.dispersion import LINE_D_NM
from projector.optics.penumbra import angular_size_deg, penumbra_width
from projector.photometry.spectra import K_M, LUMINOUS_STEPS, N_WAVELENGTHS
from projector.rendering.ambient import LightLevel
from projector.rendering.area_light import received_by_rays
from projector.rendering.prepared_light import light_source
from projector.rendering.workers import Workers
from projector.stage.stage import Stage, StagedLight, StagedProjector
from projector.studies.edges.profile import OnSurface, place_at
from projector.studies.edges.shining_pupil import GAP_M, extents_of, lit_pupil, pupil_samples
from projector.studies.light.light_at import LIT, NOWHERE, light_at
from projector.studies.light.meter_place import MeterPlace
from projector.tracing.light.reference import add_light_by_rays
from projector.tracing.light.shine import ray_to
from projector.tracing.rays.bvh import closest_hits
from projector.tracing.sight.outline import outline_point
from projector.tracing.sight.points import DOME, SURFACE

# Wavelengths, and rays along a side of the pupil, one in each cell: at landmarks of the shipped scenes, soft edges and
# penumbrae among them, within 0.002 stop of sixteen times as many.
_N_WAVELENGTHS, _N_RAYS_SIDE = 18, 128
# Places on each side of the unit square whose rim stands for that of what shines; places that a reason is sought from.
_N_RIM, _N_ASKED = 24, 256


class SourceSize(NamedTuple):
    """How large what shines of a light looks from a point: degrees the long way and the short way."""

    longest_deg: float
    shortest_deg: float
    shadow_mm: float


class LightHere(NamedTuple):
    """One light at a meter.

    level: lx, or of a flash lx·s, as the receptor weighs it; is_stated: whether its power was; estimate_stops: how far
    off it may be where it is an estimate; open_level: of a
    projector the same without stencil and blades; size: None in the dark, and of the room; no_light: why none gets
    there straight; bounced: what of the level comes over other surfaces.
    """

    name: str
    level: LightLevel
    is_stated: bool = True
    estimate_stops: float | None = None
    open_level: float | None = None
    size: SourceSize | None = None
    no_light: str | None = None
    bounced: float = 0.0

    def with_bounced(self, bounced: float) -> LightHere:
        """The same with what comes of it over other surfaces."""
        level = LightLevel(self.level.level + bounced, self.level.is_flash)
        return self._replace(level=level, bounced=bounced)


def projector_here(staged: StagedProjector, place: MeterPlace) -> LightHere:
    """A projector at a meter, as its pattern lands there."""
    received = _received(staged, place)
    is_dark = not received > 0.0
    return LightHere(
        name=staged.name,
        level=LightLevel(received, staged.power.is_flash),
        is_stated=staged.power.is_stated,
        open_level=_received(staged.varied(stencil=None, blade=()), place),
        size=None if is_dark else _size(staged, place),
        no_light=_why_not(staged, place) if is_dark else None,
    )


def _received(staged: StagedProjector, place: MeterPlace) -> float:
    """Light (lx, lx·s) of a projector, ray by ray."""
    source = light_source(staged, _N_WAVELENGTHS)
    weights = source.weights(np.ones((1, N_WAVELENGTHS)), (K_M * LUMINOUS_STEPS)[:, None])
    found = np.zeros((1, 1))
    add_light_by_rays(source.light, staged.stage.arrays.bvh, place.points, weights, _N_RAYS_SIDE, 0, 0, 1, found)
    return float(found[0, 0])


def _local(light, point: np.ndarray) -> np.ndarray:
    emitter = light.emitter
    return np.array([emitter.right, emitter.down, emitter.forward]) @ (point - np.array(emitter.position))


def _size(staged: StagedProjector, place: MeterPlace) -> SourceSize | None:
    """What shines of its pupil, as plane geometry has it in yellow; None where that is only stray colour."""
    light = staged.light([LINE_D_NM])
    samples = pupil_samples(light, _local(light, place.point))
    if not samples.shining.any():
        return None
    surface = place.surface or OnSurface(place.point, place.axis, -1)
    found = lit_pupil(light, place_at(light, place.name, surface), samples)
    return SourceSize(found.longest_deg, found.shortest_deg, found.shadow_mm)


def _why_not(staged: StagedProjector, place: MeterPlace) -> str:
    """Why none of a projector's light gets to a receptor, in words."""
    light = staged.light([LINE_D_NM])
    way = np.array(light.emitter.position) - place.point
    found = light_at(staged.stage, staged, tuple(place.point))
    if found.reason not in (LIT, NOWHERE):
        return found.words
    if place.points.receiver == SURFACE and place.axis @ way <= 0.0:
        return "the receptor faces away from it"
    samples = pupil_samples(light, _local(light, place.point))
    if not samples.framed.any():
        return "cut off by its blades"
    if not samples.shining.any():
        return "a dark part of the pattern lands here"
    return _shadow_words(staged.stage, place, way)


def other_light_here(staged: StagedLight, place: MeterPlace) -> LightHere:
    """A light without a gate at a meter, by rays to all of what shines."""
    with Workers(1) as workers:
        share = received_by_rays(staged.stage.arrays, staged.shine, place.points, _N_RAYS_SIDE, 0, workers)[0]
    is_dark, power = not share > 0.0, staged.power
    return LightHere(
        name=staged.name,
        level=LightLevel(power.luminance * float(share), power.is_flash),
        is_stated=power.is_stated,
        estimate_stops=power.estimate_stops,
        size=None if is_dark else _size_of_other(staged, place),
        no_light=_why_not_other(staged, place) if is_dark else None,
    )


def _size_of_other(staged: StagedLight, place: MeterPlace) -> SourceSize:
    """How large what shines looks: its rim, seen square on from the point."""
    shine, point = staged.shine, tuple(map(float, place.point))
    steps = np.linspace(0.0, 1.0, _N_RIM, endpoint=False)
    rim = [(u, 0.0) for u in steps] + [(1.0, u) for u in steps] + [(1.0 - u, 1.0) for u in steps]
    rim += [(0.0, 1.0 - u) for u in steps]
    goals = np.array([ray_to(shine, point, *outline_point(shine.emitter.outline, u, v))[0] for u, v in rim])
    ways = goals - place.point
    # On a plane one metre away, square to the way to the middle.
    forward = ways.mean(axis=0) / np.linalg.norm(ways.mean(axis=0))
    right = np.cross(forward, (0.0, 1.0, 0.0) if abs(forward[1]) < 0.9 else (1.0, 0.0, 0.0))
    right /= np.linalg.norm(right)
    depths = np.maximum(ways @ forward, 1e-6)
    on_plane = np.column_stack([ways @ right, ways @ np.cross(forward, right)]) / depths[:, None]
    longest, shortest = extents_of(on_plane)
    distance = float(np.linalg.norm(ways.mean(axis=0)))
    gap = min(GAP_M, 0.5 * distance)
    return SourceSize(
        longest_deg=float(angular_size_deg(longest, 1.0)),
        shortest_deg=float(angular_size_deg(shortest, 1.0)),
        shadow_mm=1e3 * penumbra_width(longest * distance, distance - gap, gap),
    )


def _why_not_other(staged: StagedLight, place: MeterPlace) -> str:
    """Why none of its light gets to a receptor, in words."""
    shine, point = staged.shine, tuple(map(float, place.point))
    rays = [ray_to(shine, point, float(x), float(y)) for x, y in shine.rays[:_N_ASKED]]
    goals = np.array([goal for goal, value in rays if value > 0.0])
    if not len(goals):
        emitter = shine.emitter
        before = float((place.point - np.array(emitter.position)) @ np.array(emitter.forward))
        return "behind it: it shines the other way" if before <= 0.0 else "outside its beam"
    ways = goals - place.point
    if place.points.receiver == SURFACE and (ways @ place.axis <= 0.0).all():
        return "the receptor faces away from it"
    return _shadow_words(staged.stage, place, ways[len(ways) // 2])


def _shadow_words(stage: Stage, place: MeterPlace, way: np.ndarray) -> str:
    """Whose shadow a receptor is in, by the first thing on a way (3,) m to the light."""
    arrays = stage.arrays
    t, faces, u, v = np.empty(1), np.empty(1, np.int32), np.empty(1), np.empty(1)
    closest_hits(arrays.bvh, place.points.origins.astype(float), way[None], 0.0, 1.0, 0, 1, t, faces, u, v)
    if faces[0] < 0:
        return "in a shadow"
    owner = int(arrays.surfaces.owners[faces[0]])
    is_own = place.surface is not None and place.surface.owner == owner
    return f"in {arrays.names[owner]}'s own shadow" if is_own else f"in the shadow of {arrays.names[owner]}"


def room_here(room: LightLevel, name: str, place: MeterPlace) -> LightHere:
    """The room's even light: a dome gathers twice what a flat receptor does, see `even_light_constant`."""
    factor = 2.0 if place.points.receiver == DOME else 1.0
    return LightHere(name, LightLevel(factor * room.level, room.is_flash))
