"""Light scattered by haze: how much a length of it takes out of a beam, and where it sends what it takes.

Convention: cos θ = 1 for light that goes straight on.
"""

from __future__ import annotations

import math

from projector.jit import formula


@formula
def kept_share(extinction, distance):
    """Share of light left after a distance (m) in haze of that extinction (1/m): the Beer–Lambert law, exp(−σ·d)."""
    return math.exp(-extinction * distance)


@formula
def phase(cosine, asymmetry):
    """Share of scattered light per steradian (1/sr) at an angle with that cosine from straight on.

    L. G. Henyey & J. L. Greenstein, Astrophysical Journal 93, 70 (1941): its mean over the sphere is 1/4π, its mean
    cosine the asymmetry (−1 … 1; 0 scatters evenly, haze about 0.5 to 0.8).
    """
    squared = asymmetry * asymmetry
    base = 1.0 + squared - 2.0 * asymmetry * cosine
    return (1.0 - squared) / (4.0 * math.pi * base * math.sqrt(base))


def extinction_for_loss(loss_percent: float, distance: float) -> float:
    """Extinction (1/m) of haze that takes so many per cent of a beam over a distance (m), by Beer and Lambert's law."""
    return -math.log1p(-loss_percent / 100.0) / distance


def visual_range(extinction: float, contrast: float = 0.02) -> float:
    """How far (m) a dark thing can be seen against its surroundings in haze of extinction σ (1/m): −ln(contrast)/σ,
    3.912/σ at 2 % (H. Koschmieder, 1924; from memory). contrast: 0..1, the least that is seen.
    """
    return -math.log(contrast) / extinction
