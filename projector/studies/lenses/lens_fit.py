"""A lens from photographs of its edges: pupil, focus, dispersion and lateral colour that explain them, and how surely.

Every photograph shows one straight edge of the stencil on a wall square to the beam, at a known focus offset.
`edge_fit` finds the lens that explains them; here it is judged which of two kinds of glass it has, whether the offsets
run the right way, and what may be claimed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from projector.faults import Fault, SceneError
from projector.rendering.workers import Progress
from projector.shown import Shown
from projector.studies.lenses.edge_fit import EdgeFit, SetUp, Solves
from projector.studies.lenses.slanted_edge import N_BANDS, EdgeReading

MODELS = ("single", "corrected")
# Offsets that lie closer together than this (mm) cannot tell a pupil from a focus.
LEAST_OFFSET_SPAN_MM = 0.1
# What the fit itself may be off by, found on photographs rendered ray by ray: share of a value, and mm of focus. On
# clean ones it is a tenth of this; a JPEG that keeps colour at half the resolution, or colours pulled into sRGB in
# another way than cut off, take most of it, and no band of rows left out would tell.
METHOD_SHARE, METHOD_FOCUS_MM = 0.015, 0.008
# Beyond these a lens has no axial colour worth a name: no glass has an Abbe number over 100.
WEAKEST_ABBE, LEAST_SECONDARY_MM = 120.0, 0.01
# What is left over this, in units of noise, is more than noise: the offsets are then tried the other way round as well,
# and believed to be reversed if that leaves less than this share.
MOST_MISFIT, REVERSED_SHARE = 2.0, 0.7


@dataclass(frozen=True)
class Value:
    """A number and the half width of its 95 % interval."""

    value: float
    uncertainty: float

    def __str__(self) -> str:
        return f"{self.value:.4g} ± {self.uncertainty:.2g}"


@dataclass(frozen=True, repr=False)
class LensFit(Shown):
    """What photographs say of a lens.

    model "single" (dispersion is its Abbe number) or "corrected" (its secondary spectrum, mm); dispersion None if none
    is seen; pupil_mm, f_number: the pupil that light really fills; focus_error_mm: how far the sharp stencil place lies
    from offset 0; lateral_colour_mm: as a lens file states it, None if it could not be found; camera_blur_mm: standard
    deviation of the camera's own blur on the wall; residual: root mean square of what is left, in shares of full light;
    other_residual: the same for the other model. curves: for each photograph the fitted profiles (n, 3).
    """

    in_one_line = "{model}: f/{f_number}, pupil {pupil_mm} mm, camera blur {camera_blur_mm} mm"

    model: str
    pupil_mm: Value
    f_number: Value
    focus_error_mm: Value
    dispersion: Value | None
    lateral_colour_mm: Value | None
    camera_blur_mm: Value
    residual: float
    other_residual: float | None
    curves: list[np.ndarray]


def fit_lens(
    readings: list[EdgeReading],
    offsets_mm: list[float],
    set_up: SetUp,
    model: str | None = None,
    progress: Progress | None = None,
) -> LensFit:
    """Fit the lens to readings at focus offsets (mm; positive: stencil moved away from the lens).

    model None: the one of the two that explains the photographs better. SceneError if they do not suffice, are grey, or
    if the offsets run the wrong way.
    """
    _check(readings, offsets_mm, set_up, model)
    names = [model] if model else list(MODELS)
    solves = Solves(progress or Progress(), len(names) * EdgeFit.N_SOLVES)
    fits = [EdgeFit(readings, offsets_mm, set_up, name, solves) for name in names]
    best = min(fits, key=lambda fit: fit.residual)
    others = [fit.residual for fit in fits if fit is not best]
    found = _result(best, others[0] if others else None)
    if len(readings) > 1 and (found.dispersion is None or best.misfit > MOST_MISFIT):
        solves.total += len(names) * EdgeFit.N_SOLVES
        turned = [EdgeFit(readings, [-offset for offset in offsets_mm], set_up, name, solves) for name in names]
        _refuse_reversed(found, min(turned, key=lambda fit: fit.residual), offsets_mm)
    solves.finish()
    return found


def _refuse_reversed(found: LensFit, turned: EdgeFit, offsets_mm) -> None:
    """SceneError if the photographs fit a lens of glass with the offsets turned round, and not as they were given.

    To first order a pupil's blur is the same on both sides of sharp. What tells the sides apart is colour: a glass
    bends blue more than red, so blue is sharp with the stencil nearer to the lens. Without colour the sides cannot be
    separated by edges: they differ by offset over tube length, a hundredth, which is as much as an offset is known.
    """
    if (
        turned.residual > REVERSED_SHARE * found.residual
        or _result(turned, None).dispersion is None
        or turned.parameters[2] <= 0.0
    ):
        return
    listed = ",".join(f"{-offset or 0.0:g}" for offset in offsets_mm)
    raise SceneError(
        Fault(
            found=(
                f"the colours change the wrong way from photograph to photograph: {100.0 * found.residual:.1f} % of"
                f" full light is left unexplained, and {100.0 * turned.residual:.1f} % with the offsets turned round"
            ),
            allowed="offsets that count away from the lens, in the order of the photographs",
            try_=f"the photographs in the other order, or the offsets with the other sign: {listed}",
            key="offsets_mm",
            typed=f"the photographs in the other order, or the offsets with the other sign: --offsets-mm={listed}",
        )
    )


def _check(readings, offsets_mm, set_up: SetUp, model) -> None:
    faults = []
    if len(readings) != len(offsets_mm):
        faults.append(
            Fault(
                found=f"{len(readings)} photographs and {len(offsets_mm)} focus offsets",
                allowed="one offset for each photograph",
            )
        )
    if model is not None and model not in MODELS:
        faults.append(Fault(found=f'the model "{model}"', allowed=", ".join(MODELS)))
    grey = [str(index + 1) for index, reading in enumerate(readings) if reading.is_grey]
    if grey:
        faults.append(
            Fault(
                found=(
                    "grey photographs"
                    f" ({'all of them' if len(grey) == len(readings) else 'number ' + ', '.join(grey)}): how their"
                    " colours were mixed is lost, and with it up to a sixth of the pupil and a third of a millimetre"
                    " of focus"
                ),
                allowed="photographs in colour; of grey ones only the edges are read",
                try_="develop them in colour, or leave out the set-up to read the edges alone",
                typed="develop them in colour, or leave out --throw-m to read the edges alone",
            )
        )
    if len(readings) == 1 and set_up.f_number is None:
        faults.append(
            Fault(
                found="one photograph and no f-number",
                allowed="photographs at two or more focus offsets, or the f-number of the one",
                try_="its f-number in the set-up: 1.8",
                typed="--f-number 1.8",
            )
        )
    if len(offsets_mm) > 1 and np.ptp(offsets_mm) < LEAST_OFFSET_SPAN_MM:
        faults.append(
            Fault(
                found=f"focus offsets that differ by {np.ptp(offsets_mm):.3g} mm",
                allowed=f"{LEAST_OFFSET_SPAN_MM} mm or more",
                try_="move the stencil by half a millimetre and more to either side",
            )
        )
    if set_up.focus_m * 1e3 <= set_up.focal_length_mm or set_up.throw_m * 1e3 <= set_up.focal_length_mm:
        faults.append(
            Fault(
                found=f"a wall or focus nearer than the focal length of {set_up.focal_length_mm:g} mm",
                allowed="metres beyond it",
            )
        )
    if faults:
        raise SceneError(faults)


def _result(fit: EdgeFit, other_residual: float | None) -> LensFit:
    """What a fit found, with its 95 % intervals."""
    from scipy.special import stdtrit

    wide = float(stdtrit(N_BANDS - 1, 0.975))
    pupil, focus_error, dispersion, blur_squared, lateral = fit.parameters[:5]
    error = fit.standard_errors()
    blur = math.sqrt(blur_squared)
    # How much larger the blur may be: near none, nothing is known of how much smaller.
    blur_half = math.sqrt(blur_squared + wide * error[3]) - blur + METHOD_SHARE * blur
    half = wide * error + METHOD_SHARE * np.abs(fit.parameters)
    half[1] = wide * error[1] + 1e-3 * METHOD_FOCUS_MM
    # A dispersion within its own interval of none, or weaker than any glass has, is not claimed.
    seen = None
    if fit.model == "single" and dispersion > max(half[2], 1.0 / WEAKEST_ABBE):
        seen = Value(1.0 / dispersion, half[2] / dispersion**2)
    if fit.model == "corrected" and abs(dispersion) > max(half[2], 1e-3 * LEAST_SECONDARY_MM):
        seen = Value(1e3 * dispersion, 1e3 * half[2])
    focal_length = 1e-3 * fit.set_up.focal_length_mm
    return LensFit(
        model=fit.model,
        pupil_mm=Value(1e3 * pupil, 1e3 * half[0]),
        f_number=Value(focal_length / pupil, focal_length * half[0] / pupil**2),
        focus_error_mm=Value(1e3 * focus_error, 1e3 * half[1]),
        dispersion=seen,
        lateral_colour_mm=Value(1e3 * lateral, 1e3 * half[4] + 1e-3) if fit.has_lateral else None,
        camera_blur_mm=Value(1e3 * blur, 1e3 * blur_half),
        residual=fit.residual,
        other_residual=other_residual,
        curves=fit.curves(),
    )
