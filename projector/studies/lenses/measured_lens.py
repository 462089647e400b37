"""From photographs to a lens file: read every edge, fit the lens, write what is known of it and how surely."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from projector.faults import Fault, SceneError
from projector.files.bitmap_file import read_colours
from projector.photometry.colour import decode_srgb
from projector.rendering.workers import Progress
from projector.shown import Drawn
from projector.studies.lenses.lens_fit import LensFit, SetUp, fit_lens
from projector.studies.lenses.slanted_edge import EdgeReading, edge_reading

# How pixel values were coded when the raw file was developed.
CODINGS = ("srgb", "linear", "gamma:EXPONENT")


@dataclass(frozen=True)
class EdgePhotograph:
    """One photograph of a projected edge: file, focus offset (mm; None if only read), part to look at, optical axis
    (pixels).
    """

    path: Path
    offset_mm: float | None = None
    box: tuple[int, int, int, int] | None = None
    axis: tuple[float, float] | None = None


@dataclass(frozen=True, repr=False)
class MeasuredLens(Drawn):
    """The edges as read, the lens that explains them (None where only edges were read), and notes on the files."""

    photographs: list[EdgePhotograph]
    readings: list[EdgeReading]
    fit: LensFit | None
    notes: list[str] = field(default_factory=list)

    def _line(self) -> str:
        fit = f"f/{self.fit.f_number}" if self.fit is not None else "no lens fitted"
        return f"{len(self.readings)} photographs, {fit}"


def decoder(coding: str) -> Callable:
    """From coded values 0..1 to linear light: "srgb", "linear" or "gamma:2.2". SceneError for anything else."""
    if coding == "srgb":
        return decode_srgb
    if coding == "linear":
        return lambda coded: coded
    name, _, exponent = coding.partition(":")
    try:
        value = float(exponent)
    except ValueError:
        value = math.nan
    if name != "gamma" or not 0.5 <= value <= 5.0:
        raise SceneError(
            Fault(
                found=f'"{coding}" is not a coding',
                allowed=f"{', '.join(CODINGS)} with an exponent of 0.5 to 5",
                key="coding",
                example="gamma:2.2",
            )
        )
    return lambda coded: coded**value


def scale_from(first: tuple[float, float], second: tuple[float, float], length_mm: float) -> float:
    """mm per pixel from two points of the photograph (pixels) and their distance on the wall (mm).

    SceneError for points less than 10 pixels apart, or a length that is not above zero.

    >>> scale_from((100, 100), (100, 500), length_mm=200)
    0.5
    """
    pixels = math.dist(first, second)
    if not (pixels >= 10.0 and length_mm > 0.0):
        raise SceneError(
            Fault(
                found=f"two points {pixels:.1f} pixels and {length_mm:g} mm apart",
                allowed="10 pixels and more, and a length over zero",
                key="scale",
            )
        )
    return length_mm / pixels


def measure(
    photographs: Sequence[EdgePhotograph | Path | str],
    mm_per_pixel: float,
    coding: str = "srgb",
    set_up: SetUp | None = None,
    model: str | None = None,
    progress: Progress | None = None,
) -> MeasuredLens:
    """Read every photograph's edge; with a SetUp also fit the lens.

    photographs: each an EdgePhotograph, or only its path. mm_per_pixel: as `scale_from` finds it. coding: "srgb",
    "linear" or "gamma:2.2". SceneError with the faults of all photographs.
    """
    if not photographs:
        raise SceneError(Fault("no photographs", "one or more", key="photographs"))
    taken = [item if isinstance(item, EdgePhotograph) else EdgePhotograph(Path(item)) for item in photographs]
    progress = progress or Progress()
    decode = decoder(coding)
    if not (mm_per_pixel > 0.0 and math.isfinite(mm_per_pixel)):
        raise SceneError(Fault(found=f"{mm_per_pixel:g} mm a pixel", allowed="a scale over zero", key="mm_per_pixel"))
    offsets = [photograph.offset_mm for photograph in taken if photograph.offset_mm is not None]
    if set_up is not None and len(offsets) < len(taken):
        missing = ", ".join(photograph.path.name for photograph in taken if photograph.offset_mm is None)
        raise SceneError(
            Fault(
                f"no focus offset for {missing}",
                "the focus offset of each",
                "an EdgePhotograph with offset_mm for each",
                typed="--offsets-mm -0.5,0,0.5",
            )
        )
    readings, faults, notes = [], [], []
    for index, photograph in enumerate(taken):
        progress.tell("reading the photographs", index, len(taken))
        try:
            coded, remarks = read_colours(photograph.path, "photograph", photograph.box)
            left, top = photograph.box[:2] if photograph.box is not None else (0, 0)
            axis = None if photograph.axis is None else (photograph.axis[0] - left, photograph.axis[1] - top)
            readings.append(edge_reading(coded, decode, mm_per_pixel, None, axis, str(photograph.path)))
            notes += remarks
        except SceneError as error:
            faults += [replace(fault, file=fault.file or str(photograph.path)) for fault in error.faults]
    progress.tell("reading the photographs", len(taken), len(taken))
    if faults:
        raise SceneError(faults)
    fit = None if set_up is None else fit_lens(readings, offsets, set_up, model, progress)
    return MeasuredLens(taken, readings, fit, notes)


def lens_file_text(measured: MeasuredLens, set_up: SetUp, title: str, mm_per_pixel: float) -> str:
    """A lens file (TOML): [lens] for scenes, [measured] with every value's 95 % interval and what it was made from."""
    import tomlkit

    fit = measured.fit
    if fit is None:
        raise ValueError("only edges were read: there is no lens to write")
    document = tomlkit.document()
    document.add(tomlkit.comment("Measured from photographs of a projected edge."))
    document["title"] = title
    lens = tomlkit.table()
    lens["focal_length_mm"] = set_up.focal_length_mm
    lens["f_number"] = _rounded(fit.f_number)
    if fit.dispersion is not None:
        kind = tomlkit.inline_table()
        kind["abbe_number" if fit.model == "single" else "secondary_spectrum_mm"] = _rounded(fit.dispersion)
        lens["dispersion"] = kind
    if fit.lateral_colour_mm is not None and abs(fit.lateral_colour_mm.value) > fit.lateral_colour_mm.uncertainty:
        lens["lateral_colour_mm"] = _rounded(fit.lateral_colour_mm)
    document["lens"] = lens
    table = tomlkit.table()
    table.add(
        tomlkit.comment(
            "value and half width of its 95 % interval, from these photographs alone: the scale and the throw are taken"
            " as exact"
        )
    )
    for name, value in values_by_name(fit).items():
        table[name] = [_rounded(value), float(f"{value.uncertainty:.2g}")]
    table["model"] = fit.model
    table["residual_percent"] = round(100.0 * fit.residual, 3)
    table["throw_m"], table["focus_m"] = set_up.throw_m, set_up.focus_m
    table["mm_per_pixel"] = float(f"{mm_per_pixel:.6g}")
    table["photographs"] = [photograph.path.name for photograph in measured.photographs]
    table["offsets_mm"] = [photograph.offset_mm for photograph in measured.photographs]
    document["measured"] = table
    return tomlkit.dumps(document).rstrip() + "\n"


def values_by_name(fit: LensFit) -> dict:
    """The values of a fit that were found, by a name with its unit."""
    named = {
        "pupil_mm": fit.pupil_mm,
        "f_number": fit.f_number,
        "focus_error_mm": fit.focus_error_mm,
        "camera_blur_mm": fit.camera_blur_mm,
    }
    if fit.dispersion is not None:
        named["abbe_number" if fit.model == "single" else "secondary_spectrum_mm"] = fit.dispersion
    if fit.lateral_colour_mm is not None:
        named["lateral_colour_mm"] = fit.lateral_colour_mm
    return named


def _rounded(value) -> float:
    """A value to one digit more than its uncertainty carries."""
    digits = 2 - math.floor(math.log10(value.uncertainty)) if value.uncertainty > 0.0 else 6
    return float(round(value.value, min(max(digits, 0), 9)))
