"""Sentences about a picture's tones."""

from __future__ import annotations

from projector.phrases import listed, percent, signed

# Where less of what clips is the pattern's own, dimming its lamp does not help.
_MOSTLY_OTHERS = 0.7


def clipping_note(found) -> str | None:
    """What clips in a large part of the pattern and what would bring it back; None where nothing does."""
    if found is None or not found.is_large:
        return None
    large = [name for name, share in found.shares.items() if share >= 0.5 * found.shares[found.channel]]
    few = [f"{name} in {percent(share)}" for name, share in found.shares.items() if name not in large and share > 0.0]
    who = "all three channels clip" if len(large) == 3 else f"{listed(large)} clip{'s' if len(large) == 1 else ''}"
    said = f"{who} in {percent(found.shares[found.channel])} of the pattern"
    if few:
        said += f" ({listed(few)})"
    it = "it" if len(large) == 1 else "them"
    said += f": {found.stops_less:.1f} stops less light bring {it} back"
    if found.pattern_share < _MOSTLY_OTHERS:
        return (
            f"{said}; only {percent(found.pattern_share)} of the light there is the pattern's, so look to the other"
            " lights first (--only shows one alone)."
        )
    said += f", at the camera or by a neutral filter of {found.neutral_density:.2f} before the lamp"
    if found.white_balance_k is None:
        return said + "."
    return f"{said}; {_balance_words(found)}."


def _balance_words(found) -> str:
    """What another white balance gains by itself, and the filter that does the same."""
    gains = min(found.white_balance_stops, found.stops_less)
    what = f"{gains:.1f} of them" if gains < found.stops_less - 0.05 else "as much"
    said = f"white balance at {found.white_balance_k:.0f} K, the lamp's own, saves {what}"
    if found.mired_shift is None:
        return said
    return (
        f"{said}, and so does a filter of {signed(found.mired_shift, 0)} mired before the lamp, which takes"
        f" {found.filter_stops:.1f} stops of its light besides"
    )


def histogram_words(found) -> list[str]:
    """The ends of a histogram."""
    clipped = ", ".join(f"{name} {percent(share)}" for name, share in found.clipped_share.items())
    return [f"clipped: {clipped} of the picture; black, all three channels: {percent(found.blocked_share)}"]


def histogram_result(found) -> dict:
    """A histogram for programs."""
    return {
        "codes": list(range(256)),
        "stops_over_grey_card": found.stops_over_grey.tolist(),
        "pixels": dict(zip(found.clipped_share, found.counts.tolist(), strict=True)),
        "n_pixels": found.n_pixels,
        "clipped_share": found.clipped_share,
        "blocked_share": found.blocked_share,
    }


def marked_result(found) -> dict:
    """How much of a picture is marked, for programs; keys only for what was asked."""
    result: dict = {}
    if found.clipped is not None:
        names = ("red", "green", "blue")
        result["clipped_share"] = {name: float(found.clipped[..., i].mean()) for i, name in enumerate(names)}
    if found.blocked is not None:
        result["blocked_share"] = float(found.blocked.mean())
    return result


def stops_words(found) -> list[str]:
    """Where most of a picture lies around its reference, and how far white is from there."""
    near = found.shares[-1] + found.shares[0] + found.shares[1]
    return [
        f"stops around {found.reference}: {percent(near)} of the picture lies within a stop and a half of it, white is"
        f" clipped {abs(found.white_stops):.1f} stops {'over' if found.white_stops >= 0.0 else 'under'} it"
    ]


def stops_result(found) -> dict:
    """The bands of a picture for programs."""
    return {
        "reference": found.reference,
        "level": found.level,
        "white_stops": found.white_stops,
        "share_by_stop": {f"{band:+d}" if band else "0": share for band, share in found.shares.items()},
    }
