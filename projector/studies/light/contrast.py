"""How black the metal parts of a pattern land: light that strays between lens and stencil, the room's, and other
projectors'.

Closed forms of radiometry: what is sent back at a surface is its reflectance times what falls on it, and illuminances
add.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from projector.faults import Fault, SceneError, check_within
from projector.optics.dispersion import LINE_D_NM
from projector.rendering.ambient import LightLevel, room_light
from projector.rendering.area_light import received
from projector.rendering.maps.map_grid import surface_points
from projector.rendering.workers import Workers
from projector.shown import Shown
from projector.stage.seen_from import points_seen_from
from projector.stage.stage import AnyProjector, SceneOrStage, StagedLight, StagedProjector, projector_on
from projector.studies.edges.profile import Place
from projector.tracing.gate.chief_rays import gate_points, is_in_opening
from projector.tracing.gate.gate_image import gate_area, is_inside_gate
from projector.tracing.light.reference import add_light_by_rays
from projector.tracing.rays.first_hits import NOTHING
from projector.tracing.sight.points import Points, chosen, joined, n_points

# An uncoated lens surface sends back 4 % (Fresnel at n = 1.5, (0.5/2.5)²); bare metal 60 %: common practice, no source.
LENS_REFLECTANCE, STENCIL_REFLECTANCE = 0.04, 0.60
# Other light is no further under or over the pattern than this.
MOST_STOPS_UNDER = 100.0
# Places of the landed pattern along its longer side, and rays from each along a side of the lens, that a mean is taken
# over.
N_ACROSS, N_RAYS_SIDE = 48, 6
# Rays from each to any other light; a power of 4.
N_RAYS_TO_OTHERS = 64


@dataclass(frozen=True, repr=False)
class Contrast(Shown):
    """Openings against metal parts, as they land.

    open_share: of the stencil's area; veil_share: stray light on the metal parts over the light of the openings;
    ambient_share: the room's light, or all that is not the projector's, over the light of the openings; other_shares:
        the same of other projectors by name; ratio: openings over metal parts; stops: log2 of it.
    """

    in_one_line = "{stops:.1f} stops, {ratio:.1f} to 1"

    open_share: float
    veil_share: float
    ambient_share: float
    ratio: float
    stops: float
    other_shares: dict[str, float] = field(default_factory=dict)


def veil(
    open_share: float, lens_reflectance: float = LENS_REFLECTANCE, stencil_reflectance: float = STENCIL_REFLECTANCE
) -> float:
    """Stray light over the light of the openings, a share.

    What the openings pass, sent back by the lens, sent forward again by the stencil's front, and spread over the whole
    gate. SceneError for a share outside 0 to 1.

    >>> round(veil(open_share=0.3), 4)
    0.0072
    """
    check_within(
        0.0, 1.0, open_share=open_share, lens_reflectance=lens_reflectance, stencil_reflectance=stencil_reflectance
    )
    return lens_reflectance * stencil_reflectance * open_share


def contrast(
    open_share: float,
    ambient_stops_under: float | None = None,
    lens_reflectance: float = LENS_REFLECTANCE,
    stencil_reflectance: float = STENCIL_REFLECTANCE,
) -> Contrast:
    """Openings over metal parts, from the stencil's open share and other light so many stops under the pattern.

    (P + veil + a) / (veil + a), with the pattern P = 1; ambient_stops_under: None for a dark room. SceneError for a
    share outside 0 to 1, or stops outside ±100.

    >>> round(contrast(open_share=0.3, ambient_stops_under=4).stops, 2)
    3.94
    """
    check_within(-MOST_STOPS_UNDER, MOST_STOPS_UNDER, ambient_stops_under=ambient_stops_under)
    ambient = 0.0 if ambient_stops_under is None else 2.0**-ambient_stops_under
    return _with_shares(open_share, ambient, {}, lens_reflectance, stencil_reflectance)


def _with_shares(
    open_share: float, ambient: float, others: dict[str, float], lens_reflectance: float, stencil_reflectance: float
) -> Contrast:
    strays = veil(open_share, lens_reflectance, stencil_reflectance)
    dark = strays + ambient + sum(others.values())
    ratio = (1.0 + dark) / dark if dark > 0.0 else math.inf
    return Contrast(
        open_share=open_share,
        veil_share=strays,
        ambient_share=ambient,
        ratio=ratio,
        stops=math.log2(ratio),
        other_shares=others,
    )


def contrast_where_it_lands(
    stage: SceneOrStage,
    projector: AnyProjector,
    place: Place,
    surface: str,
    lens_reflectance: float = LENS_REFLECTANCE,
    stencil_reflectance: float = STENCIL_REFLECTANCE,
) -> Contrast:
    """The contrast of a projector's pattern on one surface of a scene, in the exposure of its camera.

    Light of the room and of every other light against its openings', each in the mean over the part of the surface that
    the pattern lands on. place: a place of the pattern there, as `light_at` finds it. Other projectors' light is
    traced, with their patterns and the shadows that fall on it.

    >>> from projector.studies import light_at
    >>> lands = light_at("01-square-wall", "window", "wall.centre")
    >>> contrast_where_it_lands("01-square-wall", "window", lands.place, "wall")
    <Contrast: 5.8 stops, 56.9 to 1>
    """
    staged = projector_on(stage, projector)
    stage, shutter = staged.stage, staged.stage.scene.camera.shutter_s
    points = _pattern_points(staged, place, stage.arrays.names.index(surface))
    openings = staged.varied(stencil=None, blade=())
    mean = {
        item.name: _mean_light(item, points).during(shutter)
        for item in (openings, *(other for other in stage.projectors if other.name != staged.name))
    }
    mean |= {light.name: _mean_of_other_light(light, points).during(shutter) for light in stage.lights}
    pattern, room = mean.pop(staged.name), room_light(stage)
    ambient = 0.0 if room is None else room.during(shutter) / pattern
    return _with_shares(
        open_share_of(stage, staged),
        ambient,
        {name: light / pattern for name, light in mean.items()},
        lens_reflectance,
        stencil_reflectance,
    )


def _pattern_points(staged: StagedProjector, place: Place, owner: int) -> Points:
    """Where chief rays through the opening of a projector's gate land on one object, and the place itself."""
    here = surface_points(np.asarray(place.point, float)[None], np.asarray(place.normal, float)[None])
    seen = points_seen_from(staged.light([LINE_D_NM]), staged.stage.arrays, owner, N_ACROSS)
    if seen is None:
        return here
    light = staged.light([LINE_D_NM])
    kept = (seen.points.materials != NOTHING) & is_in_opening(
        light, gate_points(light, seen.points.positions.astype(float))
    )
    return joined([here, chosen(seen.points, kept)])


def _mean_light(staged: StagedProjector, points: Points) -> LightLevel:
    """Mean light of one projector on points, ray by ray, in yellow for all its wavelengths."""
    light, power, tree = staged.light([LINE_D_NM]), staged.power, staged.stage.arrays.bvh
    found = np.zeros((n_points(points), 1))
    add_light_by_rays(light, tree, points, np.full((1, 1, 1), power.luminance), N_RAYS_SIDE, 0, 0, len(found), found)
    return LightLevel(float(found[:, 0].mean()), power.is_flash)


def _mean_of_other_light(light: StagedLight, points: Points) -> LightLevel:
    """Mean light of a light without a gate on points, with the shadows that fall on them."""
    with Workers(1) as workers:
        share = received(light.stage.arrays, light.shine, points, workers, n_rays=N_RAYS_TO_OTHERS).value.mean()
    return LightLevel(light.power.luminance * float(share), light.power.is_flash)


def open_share_of(stage: SceneOrStage, projector: AnyProjector = None) -> float:
    """Share of a projector's gate that its stencil leaves open (1 without a stencil)."""
    staged = projector_on(stage, projector)
    if staged.spec.stencil is None:
        return 1.0
    bitmap, gate = staged.bitmap, staged.gate
    rows, columns = bitmap.transmission.shape
    x, y = ((np.arange(count) - 0.5 * (count - 1)) * bitmap.pitch for count in (columns, rows))
    inside = is_inside_gate(gate, x[None, :], y[:, None])
    # Where the gate is larger than the bitmap there is metal.
    return min(float((bitmap.transmission * inside).sum(dtype=float)) * bitmap.pitch**2 / gate_area(gate), 1.0)


def ambient_for(
    wanted_stops: float,
    open_share: float,
    lens_reflectance: float = LENS_REFLECTANCE,
    stencil_reflectance: float = STENCIL_REFLECTANCE,
) -> float | None:
    """How many stops under the pattern other light must lie for a wanted contrast (stops).

    None if the veil alone spoils it. SceneError for a wanted contrast outside 0 to 100 stops, or a share outside 0 to
    1.

    >>> round(ambient_for(wanted_stops=4, open_share=0.3), 2)
    4.07
    """
    if not 0.0 < wanted_stops <= 100.0:
        raise SceneError(
            Fault(
                found=f"a wanted contrast of {wanted_stops:g} stops",
                allowed="more than 0 stops, at most 100",
                key="wanted_stops",
            )
        )
    left = 1.0 / math.expm1(wanted_stops * math.log(2.0)) - veil(open_share, lens_reflectance, stencil_reflectance)
    return -math.log2(left) if left > 0.0 else None
