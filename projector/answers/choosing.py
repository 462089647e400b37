"""Sentences about where a light may stand."""

from __future__ import annotations


def place_words(number: int, item, target, iso: float) -> list[str]:
    x, y, z = item.position_m
    lens = (
        item.lens
        if not item.is_own
        else "the scene's own lens"
        if item.lens == "own"
        else f"{item.lens}, the scene's own"
    )
    focus = f"focused on {target if isinstance(target, str) else 'the target'}" + (
        f", then the stencil {item.focus_offset_mm:.3f} mm away from the lens" if item.focus_offset_mm else ""
    )
    words = [
        (
            f"{number}. {lens}, at f/{item.f_number:g}: throw {item.throw_m:.3f} m, lens at ({x:.3f}, {y:.3f}, {z:.3f})"
            f" m, {item.angle_deg:.0f}° off the camera's line; {focus}"
        ),
        (
            f"   rendered: {item.got_width_m:.3f} m wide, edges {item.got_edge_mm:.2f} mm, colour fringes"
            f" {item.fringe_mm:.2f} mm; meters f/{item.meter_f_number:.1f} at ISO {iso:g}, {item.spare_stops:+.1f}"
            " stops against the wish"
        ),
    ]
    return words if item.carried_over is None else [*words, f"   {item.carried_over}"]
