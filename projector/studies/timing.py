"""Time: whether movement smears while the light is on, and whether a lamp on the mains leaves bands.

Smear is speed times time. A lamp that swings n times while the shutter is open, L·(1 + m·cos), gives the mean L and up to
m·|sin πn / πn| more or less, by where in its swing the shutter opens (mean of a cosine over a window): nothing for whole n.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from projector.photometry.exposure import duration_tenth_from_half
from projector.scene.faults import Fault, SceneError

# Bands below a twentieth of a stop are not seen in a picture (common practice, no source).
LEAST_BAND_STOPS = 0.05


@dataclass(frozen=True)
class Flicker:
    """A swinging lamp through a shutter: how many swings it holds, how far the brightest and the darkest band or frame lie
    apart at worst (stops), whether that passes, and the nearest shutter time that holds whole swings (s)."""

    cycles: float
    bands_stops: float
    passes: bool
    whole_shutter_s: float


def smear_mm(speed_m_per_s: float, light_s: float) -> float:
    """How far (mm) something moves while the light is on: the shutter time, or t0.1 of a flash (CIE ILV 17-26-071 for t0.5)."""
    _check(speed_m_per_s=speed_m_per_s, light_s=light_s)
    return 1e3 * speed_m_per_s * light_s


def flash_length_s(t05_s: float) -> float:
    """t0.1 of a flash from its t0.5, which is what makers often print: 3.3 times, for an exponential decay."""
    _check(t05_s=t05_s)
    return duration_tenth_from_half(t05_s)


def flicker(shutter_s: float, lamp_hz: float, modulation: float = 1.0) -> Flicker:
    """Bands of a lamp that swings so many times a second (twice the mains' frequency: 100 or 120), by so much of its mean."""
    _check(shutter_s=shutter_s, lamp_hz=lamp_hz)
    if not 0.0 <= modulation <= 1.0:
        raise SceneError(Fault(found=f"modulation = {modulation:g}", allowed="a share from 0 to 1", key="modulation"))
    cycles = shutter_s * lamp_hz
    swing = modulation * abs(math.sin(math.pi * cycles)) / (math.pi * cycles)
    stops = math.log2((1.0 + swing) / (1.0 - swing)) if swing < 1.0 else math.inf
    return Flicker(cycles, stops, stops <= LEAST_BAND_STOPS, max(round(cycles), 1) / lamp_hz)


def _check(**values: float) -> None:
    faults = [Fault(found=f"{name} = {value:g}", allowed="a number above zero", key=name) for name, value in values.items() if not (math.isfinite(value) and value > 0.0)]
    if faults:
        raise SceneError(faults)
