"""Time: whether movement smears while the light is on, whether a flash lights the whole frame, and whether a lamp on
the mains leaves bands.

Smear is speed times time. A lamp that swings n times while the shutter is open, L·(1 + m·cos), gives the mean L and up
to m·|sin πn / πn| more or less, by where in its swing the shutter opens (mean of a cosine over a window): nothing for
whole n.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from projector.faults import check_above_zero, check_within
from projector.photometry.exposure import USUAL_SYNC_S, duration_tenth_from_half, frame_share_lit_by_flash
from projector.shown import Shown

# Bands below a twentieth of a stop are not seen in a picture (common practice, no source).
LEAST_BAND_STOPS = 0.05


@dataclass(frozen=True, repr=False)
class Flicker(Shown):
    """A swinging lamp through a shutter: how many swings it holds, how far the brightest and the darkest band or frame
    lie apart at worst (stops), whether that passes, and the nearest shutter time that holds whole swings (s)."""

    cycles: float
    bands_stops: float
    passes: bool
    whole_shutter_s: float

    def _line(self) -> str:
        return f"{self.cycles:.3g} swings, bands of {self.bands_stops:.2f} stops, {'passes' if self.passes else 'seen'}"


@dataclass(frozen=True, repr=False)
class FlashInShutter(Shown):
    """What a shutter of two blinds lets a flash light: lit_frame_share of the frame, the rest dark; fading_frame_share
    of it fades towards the dark while the flash dies away. An estimate: the blinds are taken to cross in the sync time.
    """

    in_one_line = "{lit_frame_share:.2f} of the frame is lit"

    sync_s: float
    lit_frame_share: float
    fading_frame_share: float

    @property
    def is_whole(self) -> bool:
        """Whether the flash lights all of the frame."""
        return self.lit_frame_share >= 1.0


def flash_in_shutter(shutter_s: float, sync_s: float = USUAL_SYNC_S, flash_s: float | None = None) -> FlashInShutter:
    """How much of the frame a flash lights through a shutter time, for a camera's sync time.

    All in seconds; flash_s: the flash's t0.1, for what it fades by. SceneError for a number that is not above zero.

    >>> flash_in_shutter(shutter_s=1 / 400, sync_s=1 / 200).lit_frame_share
    0.5
    """
    check_above_zero(shutter_s=shutter_s, sync_s=sync_s)
    lit = frame_share_lit_by_flash(shutter_s, sync_s)
    if flash_s is not None:
        check_above_zero(flash_s=flash_s)
    return FlashInShutter(sync_s, lit, 0.0 if lit >= 1.0 or flash_s is None else min(flash_s / sync_s, lit))


def smear_mm(speed_m_per_s: float, light_s: float) -> float:
    """How far (mm) something moves while the light is on.

    Speed in m/s; light_s: the shutter time, or t0.1 of a flash (CIE ILV 17-26-071 for t0.5), in seconds. SceneError for
    a number that is not above zero.

    >>> smear_mm(speed_m_per_s=1, light_s=1 / 800)
    1.25
    """
    check_above_zero(speed_m_per_s=speed_m_per_s, light_s=light_s)
    return 1e3 * speed_m_per_s * light_s


def flash_length_s(t05_s: float) -> float:
    """t0.1 of a flash (s) from its t0.5 (s), which is what makers often print: 3.3 times, for an exponential decay.

    SceneError for a number that is not above zero.

    >>> round(flash_length_s(1 / 2000), 6)
    0.001661
    """
    check_above_zero(t05_s=t05_s)
    return duration_tenth_from_half(t05_s)


def flicker(shutter_s: float, lamp_hz: float, modulation: float = 1.0) -> Flicker:
    """Bands of a lamp that swings so many times a second, by so much of its mean, through a shutter time (s).

    lamp_hz: twice the mains' frequency, 100 or 120; modulation: 0 to 1. SceneError for a number out of its range.

    >>> flicker(shutter_s=1 / 50, lamp_hz=100).passes
    True
    """
    check_above_zero(shutter_s=shutter_s, lamp_hz=lamp_hz)
    check_within(0.0, 1.0, modulation=modulation)
    cycles = shutter_s * lamp_hz
    swing = modulation * abs(math.sin(math.pi * cycles)) / (math.pi * cycles)
    stops = math.log2((1.0 + swing) / (1.0 - swing)) if swing < 1.0 else math.inf
    return Flicker(cycles, stops, stops <= LEAST_BAND_STOPS, max(round(cycles), 1) / lamp_hz)
