"""The glossy receiver: light on materials with a skin as it is seen along a direction, what the skin leaves of the body
and the skin's own lobe. A projector's pupil is small: the lobe towards its middle stands for all of it; even light has
a table. The highlights of larger lights: `highlights`.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from projector.geometry import add_scaled, dot, normalised, subtract
from projector.jit import formula, kernel
from projector.optics.gloss import Gloss, body_share, lobe, lobe_share
from projector.tracing.light.area import N_PATTERNS, N_RAYS, row_of
from projector.tracing.light.shine import rays_to
from projector.tracing.sight.outline import make_outline

_COUNTS = (4, 8, 16, 32)
# How near to grazing a skin is looked at: a smooth normal may lean away from who looks at a rim.
_LEAST_COSINE = 1.0 / 128.0
# Rays along the lobe of a point in penumbra that is on its own.
N_RAYS_ALONE = 64


class Glossy(NamedTuple):
    """A receiver with a direction to look along: the skins of its materials, and where the eye (m) is.

    nodes (60, 2)  Gauss's places in −1 … 1 and their weights, of 4, 8, 16 and 32 places; those of n begin at n − 4
    rays (256, 2)   places in the square −1 … 1 that rays along lobes go by, spread as `Shine.rays`
    """

    gloss: Gloss
    eye: tuple
    nodes: np.ndarray
    rays: np.ndarray


def glossy_from(gloss: Gloss, eye) -> Glossy:
    """Skins (k,) looked at from a place (3,) m."""
    nodes = np.concatenate([np.column_stack(np.polynomial.legendre.leggauss(count)) for count in _COUNTS])
    return Glossy(gloss, tuple(map(float, eye)), nodes, _square_rays())


@lru_cache(maxsize=1)
def _square_rays() -> np.ndarray:
    square = make_outline("rectangle")
    return rays_to(square)[: N_PATTERNS * N_RAYS] / np.array(square.half_sizes)


@formula
def is_glossy(glossy, material):
    """Whether a material (−1: nothing) has a skin."""
    return material >= 0 and glossy.gloss.index[material] > 0.0


@formula
def view_from(glossy, point, normal):
    """(direction to the eye, unit; its cosine with the normal)."""
    towards = normalised(subtract(glossy.eye, point))
    return towards, max(dot(normal, towards), _LEAST_COSINE)


@formula
def sent_back(gloss, material, normal, view, way):
    """What goes to the eye of light along a way (towards the light, any length), over what a white matte surface sends:
    (the factor on the body's reflection, the lobe), both 0 below the horizon.
    """
    towards, cosine_out = view
    way = normalised(way)
    cosine_in = dot(normal, way)
    if cosine_in <= 0.0:
        return 0.0, 0.0
    half = normalised(add_scaled(way, towards, 1.0))
    skin = lobe(
        cosine_in, cosine_out, dot(half, normal), dot(half, way), gloss.index[material], gloss.roughness[material]
    )
    return body_share(gloss, material, cosine_in, cosine_out), math.pi * skin


@kernel
def tint_glossy(values, body, skin, materials, table, white, start, stop, out):
    """What materials send back of one light: body by table (k, 3), lobe by what a white one sends (3,), into out
    (n, 3) float32.
    """
    for i in range(start, stop):
        material = materials[i]
        for channel in range(3):
            out[i, channel] = 0.0
            if material >= 0:
                out[i, channel] = values[i] * body[i] * table[material, channel] + skin[i] * white[channel]


@kernel
def look_from_eye(glossy, points, place, values, start, stop, out):
    """A small light's values (n, 6), what bodies send back and what white ones would, as the eye sees them: out (n, 3).

    place: of the light's middle (3,) m.
    """
    for i in range(start, stop):
        material = points.materials[i]
        body, skin = 1.0, 0.0
        if is_glossy(glossy, material):
            point, normal = row_of(points.positions, i), row_of(points.normals, i)
            view = view_from(glossy, point, normal)
            body, skin = sent_back(glossy.gloss, material, normal, view, subtract(place, point))
        for channel in range(3):
            out[i, channel] = body * values[i, channel] + skin * values[i, 3 + channel]


@kernel
def fill_even_lobes(glossy, points, start, stop, shares):
    """Share (n,) float32 of even light from all sides that the skin of points start … stop sends to the eye; the body
    sends its own share of the rest.
    """
    for i in range(start, stop):
        shares[i] = 0.0
        if is_glossy(glossy, points.materials[i]):
            _, cosine = view_from(glossy, row_of(points.positions, i), row_of(points.normals, i))
            shares[i] = lobe_share(glossy.gloss, points.materials[i], cosine)
