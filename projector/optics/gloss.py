"""A smooth skin of some roughness over a matte body: what shines towards the eye, and what is left for the body.

The lobe is that of small mirrors turned this way and that: the distribution of T. Trowbridge & K. Reitz, J. Opt. Soc.
Am. 65, 531 (1975), with the shadowing of B. Smith (1967) in the height-correlated form of E. Heitz, J. Comput. Graph.
Tech. 3(2), 48 (2014), and Fresnel's equations. The body gets what the lobe does not send back, in and out, as in C.
Kelemen & L. Szirmay-Kalos, "A microfacet based coupled specular-matte BRDF model" (Eurographics 2001): a white body
under any skin sends back exactly all it gets, from every angle, and light paths may be turned round.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from projector.jit import formula

N_COSINES = 64
"""Entries of a table of what the lobe sends back, over the cosine: place i stands for (i + 0.5)/N_COSINES."""
_LEAST_ROUGHNESS = 0.02


class Gloss(NamedTuple):
    """Skins of k materials, ready for kernels.

    index (k,)      refractive index; 0: no skin, a matte material
    roughness (k,)  width of the distribution of the small mirrors (alpha; 0.1 polished, 0.5 dull)
    sent_back (k, N_COSINES)  share of light from an angle that the lobe sends back in all
    mean (k,)       the same under even light from everywhere
    """

    index: np.ndarray
    roughness: np.ndarray
    sent_back: np.ndarray
    mean: np.ndarray


@formula
def fresnel(cosine, index):
    """Share of unpolarised light that a smooth dielectric reflects at an angle with that cosine
    (Fresnel's equations, any optics text). index: refractive index over that of air.
    """
    sine_squared = (1.0 - cosine * cosine) / (index * index)
    if sine_squared >= 1.0:
        return 1.0
    inside = math.sqrt(1.0 - sine_squared)
    across = (cosine - index * inside) / (cosine + index * inside)
    along = (inside - index * cosine) / (inside + index * cosine)
    return 0.5 * (across * across + along * along)


@formula
def _mirrors_facing(cosine, roughness):
    """Small mirrors (per steradian and unit of surface) whose normal is at an angle with that cosine from the
    surface's.
    """
    squared = roughness * roughness
    base = cosine * cosine * (squared - 1.0) + 1.0
    return squared / (math.pi * base * base)


@formula
def _stretch(cosine, roughness):
    """√(1 + α²·tan²θ): how the small mirrors hide each other at grazing angles."""
    squared = cosine * cosine
    return math.sqrt(1.0 + roughness * roughness * (1.0 - squared) / max(squared, 1e-12))


@formula
def lobe(cosine_in, cosine_out, cosine_half, cosine_between, index, roughness):
    """The skin's reflection per steradian (1/sr), cosine of the incident light not counted.

    Cosines: of the incident and the outgoing direction with the surface's normal, of the direction half way between the
    two with the normal, and of the incident direction with the one half way.
    """
    if cosine_in <= 0.0 or cosine_out <= 0.0:
        return 0.0
    # 2·μi·μo / (μo·√(…μi) + μi·√(…μo)), over 4·μi·μo.
    hidden = cosine_out * cosine_in * (_stretch(cosine_in, roughness) + _stretch(cosine_out, roughness))
    return fresnel(cosine_between, index) * _mirrors_facing(cosine_half, roughness) * 0.5 / hidden


@formula
def lobe_share(gloss, material, cosine):
    """Share (0..1) of light from an angle with that cosine that a material's lobe sends back, read from its table."""
    place = min(max(cosine, 0.0), 1.0) * N_COSINES - 0.5
    low = min(max(math.floor(place), 0), N_COSINES - 2)
    share = min(max(place - low, 0.0), 1.0)
    return (1.0 - share) * gloss.sent_back[material, low] + share * gloss.sent_back[material, low + 1]


@formula
def body_share(gloss, material, cosine_in, cosine_out):
    """What the skin leaves of the matte body's reflection, in and out (Kelemen & Szirmay-Kalos): a factor, 1 where
    there is no skin. Cosines: of light coming in and going out with the surface's normal.
    """
    if gloss.index[material] <= 0.0:
        return 1.0
    left_in = 1.0 - lobe_share(gloss, material, cosine_in)
    left_out = 1.0 - lobe_share(gloss, material, cosine_out)
    return left_in * left_out / (1.0 - gloss.mean[material])


def make_gloss(index: np.ndarray, roughness: np.ndarray) -> Gloss:
    """Skins of materials by refractive index (k,) and roughness (k,); an index of 0 means no skin.

    The tables are integrals of the lobe over all outgoing directions, by small mirrors drawn as they are seen, so that
    a narrow lobe costs no more steps than a wide one.
    """
    index = np.asarray(index, float)
    roughness = np.maximum(np.asarray(roughness, float), _LEAST_ROUGHNESS)
    cosines = (np.arange(N_COSINES) + 0.5) / N_COSINES
    tables = np.zeros((index.size, N_COSINES))
    for row in range(index.size):
        if index[row] > 0.0:
            tables[row] = [_integral(float(c), float(index[row]), float(roughness[row])) for c in cosines]
    mean = 2.0 * (tables * cosines).mean(axis=1)
    return Gloss(index, roughness, tables, mean)


def _integral(cosine_in: float, index: float, roughness: float, n_out: int = 96, n_round: int = 64) -> float:
    """Share of light from an angle that the lobe sends back: the sum over the small mirrors' own directions.

    With h drawn so that D·cos θ_h is even over it, the lobe times the outgoing cosine is F·G·(i·h)/(μi·cos θ_h).
    """
    share = (np.arange(n_out) + 0.5) / n_out
    turn = (np.arange(n_round) + 0.5) / n_round * 2.0 * math.pi
    share, turn = np.meshgrid(share, turn, indexing="ij")
    half = np.sqrt((1.0 - share) / (1.0 + (roughness**2 - 1.0) * share))
    across = np.sqrt(1.0 - half**2)
    sine_in = math.sqrt(1.0 - cosine_in**2)
    between = across * np.cos(turn) * sine_in + half * cosine_in
    out = 2.0 * between * half - cosine_in
    seen = (between > 0.0) & (out > 0.0)
    out = np.where(seen, out, 1.0)
    stretch_in = math.sqrt(1.0 + roughness**2 * (1.0 - cosine_in**2) / cosine_in**2)
    stretch_out = np.sqrt(1.0 + roughness**2 * (1.0 - out**2) / out**2)
    kept = 2.0 / (stretch_in + stretch_out)
    inside = np.sqrt(1.0 - (1.0 - between**2) / index**2)
    across_r = (between - index * inside) / (between + index * inside)
    along_r = (inside - index * between) / (inside + index * between)
    reflected = 0.5 * (across_r**2 + along_r**2)
    return float(np.where(seen, reflected * kept * between / (cosine_in * half), 0.0).mean())
