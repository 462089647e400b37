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


def measured_notes(found) -> list[str]:
    """What to know before trusting a MeasuredLens: of its files, of every edge, and of the fit."""
    said: dict[str, list[str]] = {}
    for photograph, reading in zip(found.photographs, found.readings, strict=True):
        for remark in _remarks(reading):
            said.setdefault(remark, []).append(photograph.path.name)
    notes = [*found.notes, *(f"{', '.join(names)}: {remark}" for remark, names in said.items())]
    return notes if found.fit is None else notes + _fit_remarks(found.fit, found.photographs)


def _remarks(reading) -> list[str]:
    found = []
    if reading.is_grey:
        found.append("a grey photograph: it tells how wide the edge is, and nothing about colour.")
    if min(reading.widths_mm) < 2.0 * reading.pixel_mm:
        found.append("the edge is under two pixels wide: this is the camera's own sharpness. Go nearer.")
    if max(reading.noise) > 0.02:
        found.append(
            f"noisy: a value of the edge is sure to {100.0 * max(reading.noise):.0f} % only. More light, or a taller"
            " box."
        )
    return found + _cut_remarks(reading)


def _cut_remarks(reading) -> list[str]:
    """What black and white cut off makes the rise shorter than it was, and the pupil small."""
    found = []
    if reading.cut.dark_side:
        where = "" if len(reading.cut.dark_side) == 3 or reading.is_grey else f" in {listed(reading.cut.dark_side)}"
        found.append(
            f"the dark side is black throughout{where}: if the blacks were cut in development, the foot of the edge is"
            " gone and the pupil comes out too small (by 4 % for a twentieth of full light). Develop it again with the"
            " blacks open."
        )
    for channels, end, cure in (
        (reading.cut.below_black, "black", "develop to a larger colour space"),
        (reading.cut.above_white, "white", "expose half a stop less"),
    ):
        if channels:
            found.append(
                f"beside the edge {listed(channels)} {'is' if len(channels) == 1 else 'are'} cut off at {end}:"
                f" the file cannot hold the colour of the fringe, and the pupil may come out too small; {cure}."
            )
    return found


def _fit_remarks(fit, photographs) -> list[str]:
    found = []
    sharp = -fit.focus_error_mm.value
    offsets = [photograph.offset_mm for photograph in photographs]
    if len(offsets) > 1 and not min(offsets) < sharp < max(offsets):
        found.append(
            f"all photographs lie on one side of the sharp place ({sharp:+.2f} mm): one beyond it makes the pupil and"
            " the colours surer."
        )
    if fit.residual > 0.02:
        found.append(
            f"the model leaves {100.0 * fit.residual:.1f} % of full light unexplained: an edge that is not straight,"
            " uneven light, another pupil than a disc, or a wrong coding."
        )
    if fit.dispersion is None:
        found.append("no axial colour beyond the uncertainty, or less than any glass has: the lens file states none.")
        if len(offsets) > 1 and abs(sharp) > fit.focus_error_mm.uncertainty:
            found.append(
                "without axial colour nothing shows which way the offsets run: if they are reversed, it is sharp at"
                f" {-sharp:+.2f} mm and not at {sharp:+.2f} mm."
            )
    elif fit.dispersion.value < 0.0:
        found.append(
            "blue and red are sharp nearer than yellow, which hardly any lens does: if the offsets are reversed, the"
            " secondary spectrum and the sharp place have the other sign."
        )
    return found
