"""Exposure: meters, flash, stops, guide numbers. lx, s, lx·s, ISO arithmetic speed; plain numbers, arrays pass too.

The equations of ISO 2720:1974 for incident light, N²/t = E·S/C, and for flash, N² = H·S/C (the same with H = E·t;
ISO 10157 covers meters that read lx·s).
"""

from __future__ import annotations

import math

import numpy as np

from projector.jit import formula

# ISO 2720:1974 leaves 240–400 for a flat receptor and 320–540 for a dome; 250 and 330 are common practice.
C_FLAT = 250.0
C_DOME = 330.0
METER_CONSTANTS = {"flat": C_FLAT, "dome": C_DOME}
# Reflected light, N²/t = L·S/K: ISO 2720:1974 leaves 10.6–13.4; 12.5 is common practice.
K_REFLECTED = 12.5
# The shortest time at which a shutter of two blinds is open over the whole frame, where nobody says better: common
# practice, no source; cameras have 1/160 to 1/320 s, shutters within the lens 1/500 s and shorter.
USUAL_SYNC_S = 1.0 / 200.0


@formula
def illuminance_for_settings(f_number, shutter_s, iso, meter_constant=C_FLAT):
    """Steady illuminance in lx that an incident meter answers with these settings: E = C·N²/(t·S) (ISO 2720)."""
    return meter_constant * f_number**2 / (shutter_s * iso)


def even_light_constant(receptor: str, meter_constant: float | None = None) -> float:
    """C (lx·s) of a receptor ("flat", "dome") in light that is even from all sides, for the illuminance on what lies in
    it.

    The constants hold for light from the front. A dome answers (1 + cos θ)/2 (ISO 2720, the projected area of a
    hemisphere) from every direction: under a radiance L all round 2·π·L, where a flat receptor, and every surface of
    the scene, gets π·L.
    """
    return (meter_constant or METER_CONSTANTS[receptor]) * (0.5 if receptor == "dome" else 1.0)


@formula
def luminous_exposure_for_flash(f_number, iso, meter_constant=C_FLAT):
    """Luminous exposure in lx·s of a flash that meters at this f-number: H = C·N²/S (ISO 2720 with H = E·t)."""
    return meter_constant * f_number**2 / iso


@formula
def f_number_for_luminous_exposure(luminous_exposure, iso, meter_constant=C_FLAT):
    """The f-number an incident meter shows for H in lx·s: N = √(H·S/C) (ISO 2720 with H = E·t)."""
    return (luminous_exposure * iso / meter_constant) ** 0.5


@formula
def f_number_for_illuminance(illuminance, shutter_s, iso, meter_constant=C_FLAT):
    """The f-number an incident meter shows for a steady E in lx: N = √(E·t·S/C) (ISO 2720)."""
    return (illuminance * shutter_s * iso / meter_constant) ** 0.5


def light_for_reading(f_number, iso, shutter_s=None, meter_constant=C_FLAT):
    """What a meter's settings say of the light: lx of steady light; without a shutter time lx·s, of a flash."""
    if shutter_s is None:
        return luminous_exposure_for_flash(f_number, iso, meter_constant)
    return illuminance_for_settings(f_number, shutter_s, iso, meter_constant)


def f_number_for_light(level, iso, shutter_s=None, meter_constant=C_FLAT):
    """The f-number a meter shows for steady light (lx) at a shutter time (s); without one for a flash (lx·s)."""
    if shutter_s is None:
        return f_number_for_luminous_exposure(level, iso, meter_constant)
    return f_number_for_illuminance(level, shutter_s, iso, meter_constant)


@formula
def shutter_for_illuminance(illuminance, f_number, iso, meter_constant=C_FLAT):
    """The exposure time in s an incident meter shows: t = C·N²/(E·S) (ISO 2720)."""
    return meter_constant * f_number**2 / (illuminance * iso)


@formula
def luminance_for_settings(f_number, shutter_s, iso, reflected_constant=K_REFLECTED):
    """Luminance in cd/m² that a reflected-light meter answers with these settings: L = K·N²/(t·S) (ISO 2720)."""
    return reflected_constant * f_number**2 / (shutter_s * iso)


@formula
def combined_luminous_exposure(flash_luminous_exposure, steady_illuminance, shutter_s):
    """lx·s of flash and steady light together: H + E·t. The flash is taken as whole within the open shutter."""
    return flash_luminous_exposure + steady_illuminance * shutter_s


@formula
def picture_scale(f_number, iso):
    """Linear picture value per lx·s on a perfect white: S/(250·N²), so that reflectance ρ at the metered H renders as
    ρ.

    Always the flat receptor's constant (ISO 2720): a dome changes what a meter shows, not what the sensor receives.
    """
    return iso / (C_FLAT * f_number**2)


def stops_between(exposure, reference):
    """Stops, log2 of a ratio of exposures (or illuminances) in one unit, any shape; positive is brighter. Nothing at
    all is −inf.
    """
    with np.errstate(divide="ignore"):
        return np.log2(np.asarray(exposure, dtype=float) / reference)


def stops_between_f_numbers(f_number, reference):
    """Stops of light from one f-number to another, 2·log2(N/N₀): positive for a higher f-number, which meters more
    light.
    """
    return 2.0 * np.log2(np.asarray(f_number, dtype=float) / reference)


def exposure_value(f_number: float, shutter_s: float, iso: float = 100.0) -> float:
    """EV at ISO 100, log2(N²/t · 100/S) (ISO 2720)."""
    return math.log2(f_number**2 / shutter_s * 100.0 / iso)


def illuminance_for_exposure_value(ev_at_iso_100: float, meter_constant: float = C_FLAT) -> float:
    """lx for an EV at ISO 100: C/100·2^EV (ISO 2720), 2.5·2^EV for a flat receptor."""
    return meter_constant / 100.0 * 2.0**ev_at_iso_100


def guide_number(luminous_intensity_time: float, iso: float = 100.0, meter_constant: float = C_FLAT) -> float:
    """Guide number in metres of a flash of so many cd·s: N·d = √(I·S/C) (ISO 1230 with the inverse-square law)."""
    return math.sqrt(luminous_intensity_time * iso / meter_constant)


def f_number_for_guide_number(guide_number_m: float, distance_m: float, iso: float = 100.0) -> float:
    """N = GN/d at ISO 100, more by √(S/100) (ISO 1230); GN and d in metres."""
    return guide_number_m / distance_m * math.sqrt(iso / 100.0)


def marked_time(seconds: float) -> str:
    """A time as shutters are marked: 1/200 s for 0.005; from 0.3 s on, and where no whole part fits, in seconds."""
    parts = 1.0 / seconds
    return f"1/{parts:.0f} s" if parts > 3.0 and abs(round(parts) / parts - 1.0) < 0.005 else f"{seconds:.3g} s"


@formula
def frame_share_lit_by_flash(shutter_s, sync_s=USUAL_SYNC_S):
    """Share of the frame that a flash lights: all of it up to the sync time, beyond it the strip between the two
    blinds.

    Times in s. The blinds are taken to cross the frame in the sync time and the flash to be short and fired when the
    first has crossed, so that the slit is shutter : sync of the frame (geometry of a shutter with two blinds). An
    estimate.
    """
    return min(shutter_s / sync_s, 1.0)


@formula
def flash_share_within(open_time, decay_time):
    """Share of a flash's light that falls within t of its peak, 1 − e^(−t/τ), for an exponential decay; t and τ in s.

    The customary single-pulse model; then t0.5 = τ·ln 2 (CIE ILV 17-26-071 defines the half-peak duration).
    """
    return -math.expm1(-open_time / decay_time)


def decay_time_from_half_peak(duration_half_peak_s: float) -> float:
    """τ (s) of the exponential model from t0.5 (s), the time above half of the peak (CIE ILV 17-26-071): t0.5/ln 2."""
    return duration_half_peak_s / math.log(2.0)


def duration_tenth_from_half(duration_half_peak_s: float) -> float:
    """t0.1 (s), the time above a tenth of the peak, from t0.5: × ln 10/ln 2 = 3.32 in the exponential model."""
    return duration_half_peak_s * math.log(10.0) / math.log(2.0)


def stops_cut_by_shutter(open_time_s: float, duration_half_peak_s: float) -> float:
    """Stops of a flash that a shutter cuts off if it closes so long (s) after the peak (exponential model)."""
    return -math.log2(flash_share_within(open_time_s, decay_time_from_half_peak(duration_half_peak_s)))
