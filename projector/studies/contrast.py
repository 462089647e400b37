"""How black the metal parts of a pattern land: light that strays between lens and stencil, and other light in the room.

Closed forms of radiometry: what is sent back at a surface is its reflectance times what falls on it, and illuminances add.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from projector.rendering.ambient import open_gate_light, room_light
from projector.scene.faults import Fault, SceneError

# An uncoated lens surface sends back 4 % (Fresnel at n = 1.5, (0.5/2.5)²); bare metal 60 %: common practice, no source.
LENS_REFLECTANCE, STENCIL_REFLECTANCE = 0.04, 0.60


@dataclass(frozen=True)
class Contrast:
    """Openings against metal parts, as they land.

    open_share: of the stencil's area; veil_share: stray light on the metal parts over the light of the openings;
    ambient_share: other light over the light of the openings; ratio: openings over metal parts; stops: log2 of it.
    """

    open_share: float
    veil_share: float
    ambient_share: float
    ratio: float
    stops: float


def veil(open_share: float, lens_reflectance: float = LENS_REFLECTANCE, stencil_reflectance: float = STENCIL_REFLECTANCE) -> float:
    """Stray light over the light of the openings: what they pass, sent back by the lens, sent forward again by the stencil's
    front, and spread over the whole gate. SceneError for a share outside 0 … 1."""
    shares = {"open_share": open_share, "lens_reflectance": lens_reflectance, "stencil_reflectance": stencil_reflectance}
    faults = [Fault(found=f"{name.replace('_', ' ')} = {value:g}", allowed="a share from 0 to 1", key=name) for name, value in shares.items() if not 0.0 <= value <= 1.0]
    if faults:
        raise SceneError(faults)
    return lens_reflectance * stencil_reflectance * open_share


def contrast(
    open_share: float, ambient_stops_under: float | None = None, lens_reflectance: float = LENS_REFLECTANCE, stencil_reflectance: float = STENCIL_REFLECTANCE
) -> Contrast:
    """(P + veil + a) / (veil + a), with the pattern P = 1 and other light a so many stops under it (None: none)."""
    if ambient_stops_under is not None and not math.isfinite(ambient_stops_under):
        raise SceneError(Fault(found=f"other light {ambient_stops_under:g} stops under the pattern", allowed="a number", key="ambient_stops_under"))
    strays = veil(open_share, lens_reflectance, stencil_reflectance)
    ambient = 0.0 if ambient_stops_under is None else 2.0**-ambient_stops_under
    dark = strays + ambient
    ratio = (1.0 + dark) / dark if dark > 0.0 else math.inf
    return Contrast(open_share, strays, ambient, ratio, math.log2(ratio))


def open_share_of(scene, spec) -> float:
    """Share of a projector's gate that its stencil leaves open (1 without a stencil)."""
    from projector.tracing.arrays import bitmap_of, gate_of

    if spec.stencil is None:
        return 1.0
    bitmap, gate = bitmap_of(spec, scene), gate_of(spec)
    rows, columns = bitmap.transmission.shape
    x, y = ((np.arange(count) - 0.5 * (count - 1)) * bitmap.pitch for count in (columns, rows))
    if gate.is_round:
        inside = x[None, :] ** 2 + y[:, None] ** 2 <= gate.half_width**2
        area = math.pi * gate.half_width**2
    else:
        inside = (np.abs(x)[None, :] <= gate.half_width) & (np.abs(y)[:, None] <= gate.half_height)
        area = 4.0 * gate.half_width * gate.half_height
    # Where the gate is larger than the bitmap there is metal.
    return min(float((bitmap.transmission * inside).sum(dtype=float)) * bitmap.pitch**2 / area, 1.0)


def ambient_stops_under(scene, spec) -> float | None:
    """How many stops the room's light lies under a projector's openings, where that is focused; None without [ambient].

    A flash comes whole within the open shutter, steady light counts for as long as it is open.
    """
    room, shutter = room_light(scene), scene.camera.shutter_s
    return None if room is None else math.log2(open_gate_light(scene, spec).during(shutter) / room.during(shutter))


def ambient_for(wanted_stops: float, open_share: float, lens_reflectance: float = LENS_REFLECTANCE, stencil_reflectance: float = STENCIL_REFLECTANCE) -> float | None:
    """How many stops under the pattern other light must lie for a wanted contrast; None if the veil alone spoils it."""
    if not (math.isfinite(wanted_stops) and wanted_stops > 0.0):
        raise SceneError(Fault(found=f"a wanted contrast of {wanted_stops:g} stops", allowed="more than 0 stops", key="wanted_stops"))
    left = 1.0 / (2.0**wanted_stops - 1.0) - veil(open_share, lens_reflectance, stencil_reflectance)
    return -math.log2(left) if left > 0.0 else None
