"""What one light puts on a meter's receptor, how large it looks from there, and why it does not get there."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from projector.optics.dispersion import LINE_D_NM
from projector.photometry.spectra import K_M, LUMINOUS_STEPS, N_WAVELENGTHS
from projector.rendering.ambient import LightLevel
from projector.rendering.prepared_light import light_source
from projector.stage.stage import StagedProjector
from projector.studies.edges.profile import OnSurface, place_at
from projector.studies.edges.shining_pupil import lit_pupil, pupil_samples
from projector.studies.light.light_at import LIT, NOWHERE, light_at
from projector.studies.light.meter_place import MeterPlace
from projector.tracing.light.reference import add_light_by_rays
from projector.tracing.rays.bvh import closest_hits
from projector.tracing.sight.points import DOME, SURFACE

# Wavelengths, and rays along a side of the pupil, one in each cell: at landmarks of the shipped scenes, soft edges and
# penumbrae among them, within 0.002 stop of sixteen times as many.
_N_WAVELENGTHS, _N_RAYS_SIDE = 18, 128


class SourceSize(NamedTuple):
    """How large what shines of a light looks from a point: degrees the long way and the short way."""

    longest_deg: float
    shortest_deg: float
    shadow_mm: float


class LightHere(NamedTuple):
    """One light at a meter.

    level: lx, or of a flash lx·s, as the receptor weighs it; is_stated: whether its power was; open_level: of a
    projector the same without stencil and blades; size: None in the dark, and of the room; no_light: why none gets
    there.
    """

    name: str
    level: LightLevel
    is_stated: bool = True
    open_level: float | None = None
    size: SourceSize | None = None
    no_light: str | None = None


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
    arrays = staged.stage.arrays
    t, faces, u, v = np.empty(1), np.empty(1, np.int32), np.empty(1), np.empty(1)
    closest_hits(arrays.bvh, place.points.origins.astype(float), way[None], 0.0, 1.0, 0, 1, t, faces, u, v)
    return "in a shadow" if faces[0] < 0 else f"in the shadow of {arrays.names[arrays.surfaces.owners[faces[0]]]}"


def room_here(room: LightLevel, name: str, place: MeterPlace) -> LightHere:
    """The room's even light: a dome gathers twice what a flat receptor does, see `even_light_constant`."""
    factor = 2.0 if place.points.receiver == DOME else 1.0
    return LightHere(name, LightLevel(factor * room.level, room.is_flash))
