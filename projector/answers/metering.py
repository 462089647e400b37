"""What a meter shows, in words: a table of the lights at a point, and what follows from it."""

from __future__ import annotations

from dataclasses import asdict

from projector.answers import timing
from projector.optics.penumbra import SUN_DEG
from projector.photometry.exposure import marked_time, stops_between
from projector.phrases import listed, percent, signed

# An open gate is said apart where it gives more than the pattern by a twentieth of a stop.
_SAME = 2.0**0.05
_TITLES = ("light", "gathered", "meter shows", "against key", "against the camera", "share", "looks", "shadow edges")


def meter_words(found) -> list[str]:
    """A table of one point: every light alone and all together, the ratios, and the sizes' measure."""
    receptor = "a dome" if found.receptor == "dome" else "a flat receptor"
    words = [
        f"{_where(found)}: {receptor} that faces {found.towards}, ISO {found.iso:g}, {marked_time(found.shutter_s)};"
        f" the camera is set to f/{found.camera_f_number:g}"
    ]
    if found.together.f_number is None:
        reasons = [f"    {item.light}: {item.no_light}" for item in found.lights]
        return [f"{words[0]}: no light falls there", *reasons]
    rows = [_TITLES, *(_row(item, found.key) for item in found.lights if item.alone.f_number is not None)]
    if len(found.lights) > 1:
        rows.append(_together(found.together))
    words += [f"    {line}" for line in _aligned(rows)]
    for item in found.lights:
        if item.no_light is not None:
            what = "no light" if item.alone.f_number is None else "only what other surfaces send"
            words.append(f"    {item.light}: {what}; {item.no_light}")
    return [*words, *(f"    {line}" for line in _compared(found))]


def _where(found) -> str:
    """The point, and what the meter is held against where its name does not say so."""
    if found.on is None:
        return f"{found.at}, in the air"
    return found.at if found.at.startswith(f"{found.on}.") else f"{found.at} on {found.on}"


def no_light_notes(readings) -> list[str]:
    """What a program should notice: points that no light gets to."""
    return [f"no light falls at {found.at}." for found in readings if found.together.f_number is None]


def _row(item, key: str | None) -> tuple[str, ...]:
    alone = item.alone
    own = "key" if item.light == key else "" if item.stops_over_key is None else signed(item.stops_over_key)
    return (
        item.light,
        _gathered(alone, item.is_stated),
        _shown(alone),
        own,
        signed(alone.stops_over_camera),
        percent(item.share),
        "" if item.longest_deg is None else _size(item.longest_deg, item.shortest_deg),
        "" if item.shadow_mm is None else f"{item.shadow_mm:.1f} mm",
    )


def _together(together) -> tuple[str, ...]:
    return (
        "together",
        f"{_amount(together.lx_s)} lx·s",
        _shown(together),
        "",
        signed(together.stops_over_camera),
        "",
        "",
        "",
    )


def _gathered(alone, is_stated: bool) -> str:
    """What a light gives, in the unit of its kind; a light whose power was not stated is taken to meter right."""
    text = f"flash {_amount(alone.lx_s_flash)} lx·s" if alone.flash_share > 0.5 else f"steady {_amount(alone.lx)} lx"
    return text if is_stated else f"({text})"


def _amount(value: float) -> str:
    """Three figures, thousands apart: "0.569", "22", "65 300"; no exponent but for next to nothing."""
    if value < 1000.0:
        return f"{value:.3g}"
    digits = len(f"{value:.0f}") - 3
    return f"{round(value, -digits):,.0f}".replace(",", " ")


def _shown(metered) -> str:
    """Thirds as marked, and as a display has it where that says more."""
    if metered.f_number_shown == metered.f_number_marked:
        return metered.f_number_marked
    return f"{metered.f_number_marked} ({metered.f_number_shown})"


def _size(longest: float, shortest: float) -> str:
    return " × ".join(f"{angle:.{0 if angle >= 10.0 else 1 if angle >= 2.0 else 2}f}°" for angle in (longest, shortest))


def _aligned(rows) -> list[str]:
    """Rows as lines whose columns stand under each other; a column with nothing but its title is left out."""
    columns = [column for column in zip(*rows, strict=True) if any(column[1:])]
    widths = [max(map(len, column)) for column in columns]
    lines = zip(*columns, strict=True)
    return ["   ".join(text.ljust(width) for text, width in zip(line, widths, strict=True)).rstrip() for line in lines]


def _compared(found) -> list[str]:
    """Which light is the key, the two ratios, flash and steady light, and what the sizes are to be held against."""
    words = []
    if found.key is not None and len(found.lights) > 1:
        is_dark = not any(item.light == found.key and item.alone.lx_s > 0.0 for item in found.lights)
        dark = ": none of its light falls here, so nothing is compared with it" if is_dark else ""
        chosen = ": the brightest here (--key names another)" if found.is_key_chosen else ""
        words.append(f"{found.key} is the key{dark or chosen}")
    if found.key_to_rest is not None:
        lights, sides = found.key_to_rest, found.key_and_rest_to_rest
        words.append(
            f"{found.key} against all else as the fill: {_ratio(lights)} as key : fill, {_ratio(sides)} as key + fill :"
            f" fill, {float(stops_between(sides, lights)):.2f} stops apart"
        )
    for item in found.lights:
        gate, alone = item.open_gate, item.alone
        if gate is not None and gate.f_number is not None and gate.lx_s > _SAME * alone.lx_s:
            less = "" if alone.f_number is None else f", {float(stops_between(gate.lx_s, alone.lx_s)):.1f} stops more"
            words.append(f"{item.light} without stencil and blades: {_shown(gate)}{less}")
    share = found.together.flash_share
    if 0.0005 < share < 0.9995:
        words.append(f"flash {percent(share)}, steady light {percent(1.0 - share)}: the shutter moves that alone")
    bounced = [(item.light, item.bounced_share) for item in found.lights if 0.005 < item.bounced_share < 1.0]
    if bounced:
        shares = listed([f"{percent(share)} of {name}" for name, share in bounced])
        words.append(f"from other surfaces: {shares}")
    unstated = [item.light for item in found.lights if not item.is_stated]
    if unstated:
        words.append(
            f"{listed(unstated)}, in brackets: no reading, so this is how the lights lie to each other and to the"
            " camera, not how much light there is"
        )
    if any(item.longest_deg is not None for item in found.lights):
        words.append(f"the sun looks {SUN_DEG:.2f}° wide; shadow edges are those of something 50 mm off, a nose")
    return words


def _ratio(value: float) -> str:
    if value < 1.0:
        return f"1 : {1.0 / value:.3g}" if value > 1e-3 else "under 1 : 1000"
    return f"{value:.3g} : 1" if value < 1000.0 else "over 1000 : 1"


def meter_result(found) -> dict:
    """The same for programs."""
    return asdict(found)


def in_time(readings, numbers: dict[str, float | None]) -> timing.Said:
    """Movement in the light of the flashes and of the shutter, the share of the frame that a flash lights, and the
    bands of a lamp, at the scene's shutter time.

    numbers: speed_m_per_s, flash_t01_s, sync_s, lamp_hz; None where not given.
    """
    has_flash = any(found.together.lx_s_flash > 0.0 for found in readings)
    has_steady = any(found.together.lx > 0.0 for found in readings)
    asked = timing.AskedOfTime(
        lights=numbers["sync_s"] is not None and has_flash,
        moves=numbers["speed_m_per_s"] is not None,
        swings=numbers["lamp_hz"] is not None and has_steady,
    )
    given = {**numbers, "shutter_s": readings[0].shutter_s, "flash_t05_s": None, "modulation": None}
    result, words = timing.timing(given, asked) if asked.anything else ({}, [])
    if asked.moves and has_flash and numbers["flash_t01_s"] is None:
        words.append("a flash freezes by its own length, which no scene says: add --flash-t01-s 1/800")
    if numbers["lamp_hz"] is not None and not has_steady:
        words.append("no steady light falls there: a lamp's swings leave no bands")
    if numbers["sync_s"] is not None and not has_flash:
        words.append("no flash falls there: a shutter shorter than the sync time does no harm")
    return result, words


_PARTS = {
    "stop_stops": "its stop {}",
    "lens_stops": "its lens {}",
    "filters_stops": "filters {}",
    "grid_stops": "its grid {} of all its light, none straight ahead",
    "diffuser_stops": "diffusion {}",
    "stencil_mean_stops": "its stencil {} in the mean, nothing where it is open",
}


def losses_words(found) -> list[str]:
    """What stands in each light's way, in stops."""
    words = ["what stands in the light's way, in stops:"]
    for item in found:
        parts = [_PARTS[name].format(f"{stops:.1f}") for name, stops in item.parts().items()]
        words.append(f"    {item.light}: {', '.join(parts) or 'nothing'}")
    return words
