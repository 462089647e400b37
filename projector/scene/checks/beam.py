"""What stands in a projector's beam, checked together: gate and stencil, blades, lateral colour, files."""

from __future__ import annotations

import math
from collections import Counter

from projector.faults import SceneError
from projector.optics.dispersion import lateral_colour_share
from projector.scene.checks.report import Report
from projector.scene.placement import pupil_bitmap, stencil_of
from projector.tracing.sight.outline import make_outline

# The ends of the spectrum, nm, and how far out of the gate's half width lateral colour may shift them.
_ENDS_NM, _LARGEST_COLOUR_SHIFT = (380.0, 730.0), 0.5
# How far out a drawn pupil's light may come from, in radii of the disc of its f-number: a patch of the gate is so many
# times wider than its light is, and to blur with it costs the square of that. A ring of 0.99 reaches 7.1 times as far.
_FARTHEST_REACH = 8.0
_GATE_EXAMPLES = {
    "round": 'gate = { shape = "round", diameter_mm = 40 }',
    "rectangle": 'gate = { shape = "rectangle", width_mm = 36, height_mm = 24 }',
}


def check_gate(report: Report, spec, path: tuple) -> None:
    """A gate with the sizes of its shape, and a stencil of about its size."""
    gate, key = spec.gate, f"projector.{spec.name}.gate"
    wanted = {"diameter_mm"} if gate.shape == "round" else {"width_mm", "height_mm"}
    for name in ("diameter_mm", "width_mm", "height_mm"):
        given = getattr(gate, name) is not None
        if name in wanted and not given:
            report.fault(
                (*path, "gate"),
                f"{key}.{name}",
                f"a {gate.shape} gate needs {name}",
                "its size in mm",
                _GATE_EXAMPLES[gate.shape],
            )
        elif given and name not in wanted:
            report.fault(
                (*path, "gate", name),
                f"{key}.{name}",
                f"{name} does not belong to a {gate.shape} gate",
                ", ".join(sorted(wanted)),
            )
    if spec.stencil is not None and not report.faults:
        across = gate.diameter_mm if gate.shape == "round" else max(gate.width_mm, gate.height_mm)
        if spec.stencil.width_mm > 2.0 * across:
            report.warnings.append(
                f"{spec.name}: the stencil ({spec.stencil.width_mm:g} mm) is more than twice as wide as the gate"
                f" ({across:g} mm); most of it is hidden."
            )
        elif spec.stencil.width_mm < 0.3 * across:
            report.warnings.append(
                f"{spec.name}: the stencil ({spec.stencil.width_mm:g} mm) fills little of the gate ({across:g} mm);"
                " what is around it counts as metal."
            )


def check_blades(report: Report, spec, path: tuple) -> None:
    """One blade a side, and none, nor two that face each other, that leave no light."""
    counts = Counter(blade.side for blade in spec.blade)
    for side, count in counts.items():
        if count > 1:
            report.fault(
                (*path, "blade"), f"projector.{spec.name}.blade", f"{count} blades on the {side}", "one blade a side"
            )
    gate = spec.gate
    reach = {
        blade.side: blade.insertion_mm for blade in spec.blade if blade.angle_deg == 0.0 and blade.offset_mm == 0.0
    }
    for one, other, across in (
        ("left", "right", gate.width_mm or gate.diameter_mm),
        ("top", "bottom", gate.height_mm or gate.diameter_mm),
    ):
        if (
            one in reach
            and other in reach
            and across is not None
            and reach[one] < across
            and reach[other] < across <= reach[one] + reach[other]
        ):
            report.fault(
                (*path, "blade"),
                f"projector.{spec.name}.blade",
                f"the {one} and {other} blades meet: {reach[one]:g} and {reach[other]:g} mm into a gate of {across:g}"
                " mm leave no light",
                f"less than {across:g} mm together",
            )
    for index, blade in enumerate(spec.blade):
        across = (
            gate.diameter_mm
            if gate.shape == "round"
            else (gate.width_mm if blade.side in ("left", "right") else gate.height_mm)
        )
        if across is not None and blade.insertion_mm >= across:
            report.fault(
                (*path, "blade", index),
                f"projector.{spec.name}.blade.{blade.side}.insertion_mm",
                f"{blade.insertion_mm:g} mm into a gate of {across:g} mm: no light is left",
                f"less than {across:g} mm",
            )


def check_lateral_colour(report: Report, spec, path: tuple) -> None:
    """Colours cannot land at wildly different sizes: with a small gate, a few millimetres would turn the picture inside
    out.
    """

    gate, lens = spec.gate, spec.lens
    sizes = (gate.diameter_mm,) if gate.shape == "round" else (gate.width_mm, gate.height_mm)
    if lens.lateral_colour_mm == 0.0 or None in sizes:
        return
    edge_mm = 0.5 * math.hypot(*sizes)
    glass = lens.dispersion.glass if lens.dispersion is not None else None
    try:
        limit = _LARGEST_COLOUR_SHIFT * edge_mm / float(abs(lateral_colour_share(_ENDS_NM, glass)).max())
    except ValueError:
        # An unknown glass is a fault of its own.
        return
    if abs(lens.lateral_colour_mm) > limit:
        report.fault(
            (*path, "lens", "lateral_colour_mm"),
            f"projector.{spec.name}.lens.lateral_colour_mm",
            f"{lens.lateral_colour_mm:g} mm of lateral colour in the edge of a gate that is {edge_mm:g} mm from the"
            " middle to there",
            f"at most {limit:.2g} mm here",
            "look at the unit",
        )


def check_files(report: Report, scene, spec, path: tuple) -> None:
    """Stencil and drawn pupil as their files have them."""
    if spec.stencil is not None:
        try:
            report.warnings += stencil_of(scene, spec).notes
        except SceneError as error:
            report.take(error, (*path, "stencil", "file"), f"projector.{spec.name}.stencil.file")
    shape = spec.pupil_shape
    if shape is not None and shape.shape == "bitmap" and shape.file is not None:
        place, key = (*path, "lens", "pupil"), f"projector.{spec.name}.lens.pupil.file"
        try:
            reach = make_outline("bitmap", bitmap=pupil_bitmap(scene, shape)).reach
        except SceneError as error:
            report.take(error, place, key)
            return
        if reach > _FARTHEST_REACH:
            report.fault(
                place,
                key,
                f"openings that reach {reach:.1f} times as far out as one disc of their area would",
                f"up to {_FARTHEST_REACH:g} times as far",
                "draw them larger or nearer the middle, which lies on the lens's axis",
            )
