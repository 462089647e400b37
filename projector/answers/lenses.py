"""Sentences about a lens measured from photographs."""

from __future__ import annotations

from dataclasses import asdict

from projector.phrases import listed, millimetres, percent


def lens_title(title: str | None, focal_length_mm: float | None) -> str:
    """What a measured lens is called in its file, where nobody named it."""
    return title or (f"Measured lens, {focal_length_mm:g} mm" if focal_length_mm else "Measured edges")


def missing_words(missing: list[str]) -> str:
    """That edges were read and no lens was fitted, for want of some numbers."""
    return f"the edges are read, no lens is fitted; for that give {listed(missing)}."


def photograph_row(photograph, reading) -> dict:
    """What one photograph says, for programs: units in the keys."""
    about = {
        "file": str(photograph.path),
        "offset_mm": photograph.offset_mm,
        "angle_deg": reading.angle_deg,
        "grey": reading.is_grey,
    }
    red, green, blue = reading.widths_mm
    if reading.is_grey:
        return {**about, "width_mm": green}
    return {
        **about,
        "width_red_mm": red,
        "width_green_mm": green,
        "width_blue_mm": blue,
        "shift_red_mm": reading.shift_red_mm,
        "shift_blue_mm": reading.shift_blue_mm,
        "fringe_area_mm": reading.fringe_area_mm,
    }


def fit_row(fit) -> dict:
    """The lens that fits the photographs, for programs: units in the keys."""
    from projector.studies.lenses.measured_lens import values_by_name

    values = {name: asdict(value) for name, value in values_by_name(fit).items()}
    return {"model": fit.model, **values, "residual": fit.residual, "residual_of_other_model": fit.other_residual}


def photograph_name(photograph) -> str:
    """A photograph by its file and, where it has one, its focus offset (mm)."""
    offset = photograph.offset_mm
    return (
        photograph.path.name if offset is None else f"{photograph.path.name} at {offset:{'+g' if offset else 'g'}} mm"
    )


def _width_words(reading) -> str:
    red, green, blue = reading.widths_mm
    if reading.is_grey:
        return f"{millimetres(green)}, in grey"
    return (
        f"red {red:.2f}, green {green:.2f}, blue {millimetres(blue)}; against green, red lies"
        f" {_signed(reading.shift_red_mm)}"
        f" and blue {_signed(reading.shift_blue_mm)} mm; fringe area {millimetres(reading.fringe_area_mm)}"
    )


def _signed(value: float, digits: int = 2) -> str:
    """A number with its sign, which nothing has none of."""
    text = f"{value:+.{digits}f}"
    return text.lstrip("+-") if float(text) == 0.0 else text


def lens_words(found) -> list[str]:
    """What the photographs say, edge by edge, and the lens that fits them."""
    words = []
    for photograph, reading in zip(found.photographs, found.readings, strict=True):
        words.append(
            f"{photograph_name(photograph)}: edge slanted {abs(reading.angle_deg):.1f}°, 10–90 %"
            f" {_width_words(reading)}"
        )
    fit = found.fit
    if fit is None:
        return words
    words.append(
        f"pupil {fit.pupil_mm} mm, f/{fit.f_number}; sharp at an offset of {_signed(-fit.focus_error_mm.value, 3)} mm"
        f" (± {fit.focus_error_mm.uncertainty:.3f})"
    )
    kind = "Abbe number" if fit.model == "single" else "secondary spectrum, mm,"
    words.append(
        f"{'a single element' if fit.model == 'single' else 'a corrected lens'}: "
        + (f"{kind} {fit.dispersion}" if fit.dispersion else "no axial colour beyond the uncertainty")
    )
    if fit.lateral_colour_mm is not None:
        words.append(
            f"lateral colour at the gate's edge {fit.lateral_colour_mm} mm (450 to 650 nm; positive: blue lands larger)"
        )
    blur = fit.camera_blur_mm
    # Of a blur near none only its upper end is known.
    blurred = f"under {blur.value + blur.uncertainty:.2g}" if blur.value < blur.uncertainty else str(blur)
    words.append(
        f"camera and artwork blur {blurred} mm on the wall; {percent(fit.residual)} of full light is left"
        " unexplained (± are 95 % intervals, with the scale and the throw taken as exact)"
    )
    return words
