"""Published values of haze, computed again: what it keeps, where it scatters, and the air light of a small lamp."""

from __future__ import annotations

import math
from collections.abc import Callable

from scipy.integrate import quad

from projector.optics.scattering import kept_share, phase, visual_range
from projector.verification.published import HENYEY, PRINTED, Published

_SUN = "Sun et al., SIGGRAPH 2005 (closed form)"
_ISOTROPIC = "in-scattering integral, closed form (as of equiangular sampling, Kulla & Fajardo 2012)"
_DEFINITION = "definition of a phase function (Shendeleva, JEOS-RP 13, 2017)"


def _air_light(
    haze: float, candela: float, away_m: float, angle_deg: float, through_m: float, dims: bool = True
) -> float:
    """cd/m² of haze (1/m) that scatters evenly, along a view of some length, by a small lamp so far away at an angle
    off the view; dims: whether the haze takes light away, too.
    """
    aside, along = (away_m * part(math.radians(angle_deg)) for part in (math.sin, math.cos))

    def added(x: float) -> float:
        reach = math.hypot(aside, along - x)
        return haze * phase(0.0, 0.0) * candela * (kept_share(haze, x + reach) if dims else 1.0) / reach**2

    return quad(added, 0.0, through_m, epsabs=1e-13, limit=400)[0]


def _over_the_sphere(asymmetry: float, power: int) -> float:
    """∫ p(θ)·cosᵖ θ dω."""
    return quad(lambda cosine: 2.0 * math.pi * phase(cosine, asymmetry) * cosine**power, -1.0, 1.0, epsabs=1e-13)[0]


VALUES = (
    Published("haze kept", "haze of 0.05 /m over 4 m: share kept", 0.818731, "", 1e-6, PRINTED, "Beer–Lambert law"),
    Published("haze kept far", "haze of 0.1 /m over 5 m: share kept", 0.606531, "", 1e-6, PRINTED, "Beer–Lambert law"),
    Published(
        "visual range",
        "haze of 0.05 /m: how far 2 % of contrast are left",
        78.24,
        "m",
        0.01,
        "3.912 printed to three decimals",
        "Koschmieder, 3.912 over the extinction",
    ),
    Published("haze even", "scattering of asymmetry 0, anywhere", 0.0795775, "1/sr", 1e-7, PRINTED, HENYEY),
    Published("haze forward", "scattering of asymmetry 0.76, straight on", 2.431534, "1/sr", 1e-6, PRINTED, HENYEY),
    Published("haze aside", "scattering of asymmetry 0.3, to the side", 0.063634, "1/sr", 1e-6, PRINTED, HENYEY),
    Published("haze back", "scattering of asymmetry 0.5, straight back", 0.017684, "1/sr", 1e-6, PRINTED, HENYEY),
    Published(
        "haze ratio", "scattering of asymmetry 0.5: straight on over straight back", 27.0, "", 1e-9, PRINTED, HENYEY
    ),
    Published(
        "haze whole", "scattering of asymmetry 0.85, all directions together", 1.0, "", 1e-9, PRINTED, _DEFINITION
    ),
    Published("haze mean", "scattering of asymmetry 0.76: mean cosine", 0.76, "", 1e-9, PRINTED, _DEFINITION),
    Published(
        "air light",
        "100 cd at 4 m, 30° off the view, through 6 m of haze of 0.05 /m",
        0.29269147,
        "cd/m²",
        1e-7,
        PRINTED,
        _SUN,
    ),
    Published(
        "air light far",
        "1000 cd at 3 m, 60° off the view, through 10 m of haze of 0.02 /m",
        0.96733134,
        "cd/m²",
        1e-7,
        PRINTED,
        _SUN,
    ),
    Published(
        "air light dense",
        "1 cd at 2 m, 20° off the view, through 5 m of haze of 0.5 /m",
        0.03697255,
        "cd/m²",
        1e-7,
        PRINTED,
        _SUN,
    ),
    Published(
        "air light thin",
        "the first of these if haze took no light away",
        0.38797928,
        "cd/m²",
        1e-7,
        PRINTED,
        _ISOTROPIC,
    ),
    Published(
        "air light thin far",
        "the second of these if haze took no light away",
        1.10128401,
        "cd/m²",
        1e-7,
        PRINTED,
        _ISOTROPIC,
    ),
)

COMPUTE: dict[str, Callable[[], float]] = {
    "haze kept": lambda: kept_share(0.05, 4.0),
    "haze kept far": lambda: kept_share(0.1, 5.0),
    "visual range": lambda: visual_range(0.05),
    "haze even": lambda: phase(0.3, 0.0),
    "haze forward": lambda: phase(1.0, 0.76),
    "haze aside": lambda: phase(0.0, 0.3),
    "haze back": lambda: phase(-1.0, 0.5),
    "haze ratio": lambda: phase(1.0, 0.5) / phase(-1.0, 0.5),
    "haze whole": lambda: _over_the_sphere(0.85, 0),
    "haze mean": lambda: _over_the_sphere(0.76, 1),
    "air light": lambda: _air_light(0.05, 100.0, 4.0, 30.0, 6.0),
    "air light far": lambda: _air_light(0.02, 1000.0, 3.0, 60.0, 10.0),
    "air light dense": lambda: _air_light(0.5, 1.0, 2.0, 20.0, 5.0),
    "air light thin": lambda: _air_light(0.05, 100.0, 4.0, 30.0, 6.0, dims=False),
    "air light thin far": lambda: _air_light(0.02, 1000.0, 3.0, 60.0, 10.0, dims=False),
}
