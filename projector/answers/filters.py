"""Sentences about filters: what each costs the lamp at hand, and what it does to its colour."""

from __future__ import annotations

from projector.phrases import percent

_KINDS = {"daylight": "daylight", "tungsten": "tungsten", "led": "an LED"}


def lamp_words(source) -> str:
    """A lamp, by its kind and its colour."""
    # Spectra take numpy, which the help of a command does not wait for.
    from projector.photometry.spectra import USUAL_TEMPERATURE_K

    if source.xy is not None:
        return "an LED set to x {:g}, y {:g}".format(*source.xy)
    if source.hue_deg is not None:
        saturation = 1.0 if source.saturation is None else source.saturation
        return f"an LED set to hue {source.hue_deg:g}°, saturation {saturation:g}"
    if source.kind == "equal_energy":
        return "light of equal energy"
    return f"{_KINDS[source.kind]} of {source.temperature_k or USUAL_TEMPERATURE_K[source.kind]:g} K"


def filter_lines(found, who: str = "") -> list[str]:
    """A table of filters before one lamp; who: the light whose lamp it is."""
    lamp = f"{who}: {lamp_words(found.source)}" if who else lamp_words(found.source)
    lines = [f"before {lamp} (x {found.x:.3f}, y {found.y:.3f})"]
    if not found.filters:
        return [f"{lamp}: no filters"]
    rows = [*found.filters, *([found.together] if found.together is not None and len(found.filters) > 1 else [])]
    width = max(len(item.name) for item in rows)
    lines += [f"    {item.name:{width}}  {_numbers(item)}" for item in rows]
    return lines


def shift_words(item) -> str:
    """What a filter does to the colour temperature: "+159 mired"; "" where its light is no white."""
    if item.mired_shift is None:
        return ""
    mireds = round(item.mired_shift)
    return f"{mireds:+d} mired".replace("-", "−") if mireds else "0 mired"


def _numbers(item) -> str:
    cost = f"{item.stops:5.2f} stops {percent(item.light_share):>7}"
    return f"{cost}  {shift_words(item):>10}  x {item.x:.3f}, y {item.y:.3f}  {item.swatch}"


def legend_words() -> str:
    """What the columns of the table mean."""
    return (
        "columns: what it costs this lamp, what it passes, its shift where the light stays a white, chromaticity, and"
        " white paper in that light as #rrggbb"
    )
