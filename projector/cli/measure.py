"""The command that learns a lens from photographs of a projected edge."""

from __future__ import annotations

from dataclasses import replace
from json import dumps
from pathlib import Path
from typing import Annotated

import typer

from projector.answers.lenses import fit_row, lens_title, lens_words, measured_notes, missing_words, photograph_row
from projector.answers.typed import Mistyped, numbers_from, word_from
from projector.cli.numbers import number_option
from projector.cli.render import Json, Overwrite, out_option
from projector.cli.running import Reply, answered, progress_shown
from projector.faults import Fault

Number = float | None


def add_commands(app: typer.Typer) -> None:
    """Hang the command of this module on the application."""
    app.command("measure")(measure)


def _option(name: str, text: str, metavar: str):
    return typer.Option(name, help=text, show_default=False, metavar=metavar)


@answered
def measure(
    photographs: Annotated[
        list[Path],
        typer.Argument(
            help="Photographs of one projected edge, slanted by about 5°: TIFF, PNG or JPEG.", show_default=False
        ),
    ],
    mm_per_pixel: Annotated[Number, number_option("--mm-per-pixel", "Scale on the wall.")] = None,
    scale: Annotated[
        str | None,
        _option(
            "--scale", "Instead: x1,y1,x2,y2,mm: two points in pixels and their distance on the wall.", "<numbers>"
        ),
    ] = None,
    offsets_mm: Annotated[
        str | None,
        _option(
            "--offsets-mm",
            "Focus offset of each photograph, in order: -0.5,0,0.5 (positive: stencil away from the lens).",
            "<numbers>",
        ),
    ] = None,
    throw_m: Annotated[Number, number_option("--throw-m", "Distance of lens and wall.")] = None,
    focal_length_mm: Annotated[Number, number_option("--focal-length-mm", "Focal length of the lens.")] = None,
    focus_m: Annotated[
        Number, number_option("--focus-m", "Distance it is focused at with offset 0 (the throw if not given).")
    ] = None,
    f_number: Annotated[
        Number, number_option("--f-number", "Marked f-number; needed to fit a single photograph.")
    ] = None,
    gate_width_mm: Annotated[
        Number, number_option("--gate-width-mm", "Width of the gate; with --axis, lateral colour is reported.")
    ] = None,
    axis: Annotated[
        str | None, _option("--axis", "x,y in pixels where the middle of the beam meets the wall.", "<numbers>")
    ] = None,
    box: Annotated[
        list[str] | None,
        _option(
            "--box",
            "left,top,width,height in pixels round the edge; once for all photographs, or once for each.",
            "<numbers>",
        ),
    ] = None,
    coding: Annotated[
        str, typer.Option("--coding", help="How pixel values are coded: srgb, linear or gamma:2.2.", metavar="<coding>")
    ] = "srgb",
    source: Annotated[
        str,
        typer.Option("--source", help="The lamp: daylight (a flash), tungsten, led or equal_energy.", metavar="<lamp>"),
    ] = "daylight",
    source_k: Annotated[
        Number,
        number_option(
            "--source-k", "Its colour temperature (5600 if not given, 3200 for tungsten).", False, 1000.0, 25000.0
        ),
    ] = None,
    white_balance_k: Annotated[
        float, number_option("--white-balance-k", "White balance of the photographs.", True, 1000.0, 25000.0)
    ] = 5600.0,
    model: Annotated[
        str | None,
        _option(
            "--model",
            '"single" (one element, Abbe number) or "corrected" (secondary spectrum); without it the better of the'
            " two.",
            "<model>",
        ),
    ] = None,
    title: Annotated[str | None, _option("--title", "Title of the lens file.", "<text>")] = None,
    out: Annotated[
        Path | None, out_option("Where to write the lens file (.toml) and its figure (.png), without the ending.")
    ] = None,
    overwrite: Overwrite = False,
    json: Json = False,
) -> Reply:
    """Learn a lens from photographs of a projected slanted edge: widths, colour shifts and fringe, then pupil, focus
    and dispersion.
    """
    from projector.photometry.spectra import USUAL_TEMPERATURE_K, source_spectrum
    from projector.studies.lenses import measured_lens as study

    if (mm_per_pixel is None) == (scale is None):
        raise Mistyped(Fault("one of the two: --mm-per-pixel, or --scale x1,y1,x2,y2,mm", key="mm_per_pixel"))
    word_from(source, tuple(USUAL_TEMPERATURE_K), "source", "a lamp")
    try:
        source_spectrum(source, source_k)
    except ValueError as error:
        raise Mistyped(Fault(str(error), key="source_k", value=source_k)) from None
    if scale is not None:
        x1, y1, x2, y2, length = numbers_from("scale", scale, 5)
        mm_per_pixel = study.scale_from((x1, y1), (x2, y2), length)
    items = _photographs(photographs, offsets_mm, box, axis)
    missing = _missing(items, throw_m, focal_length_mm, f_number)
    warnings, set_up = [missing_words(missing)] if missing else [], None
    if not missing:
        if items[0].offset_mm is None:
            # One photograph alone needs no offset: it is taken as it was focused.
            items[0] = replace(items[0], offset_mm=0.0)
        set_up = study.SetUp(
            throw_m=throw_m,
            focal_length_mm=focal_length_mm,
            focus_m=focus_m or throw_m,
            source_kind=source,
            source_k=source_k,
            white_balance_k=white_balance_k,
            gate_width_mm=gate_width_mm,
            f_number=f_number,
        )
    paths = [] if out is None else _checked_paths(out, set_up, overwrite)
    found = study.measure(items, mm_per_pixel, coding, set_up, model, progress_shown(with_kernels=False, in_lines=True))
    name = lens_title(title, focal_length_mm)
    for path in paths:
        _write(path, found, set_up, name, mm_per_pixel, overwrite)
    rows = [
        photograph_row(photograph, reading)
        for photograph, reading in zip(found.photographs, found.readings, strict=True)
    ]
    result = {
        "mm_per_pixel": mm_per_pixel,
        "photographs": rows,
        "lens": None if found.fit is None else fit_row(found.fit),
    }
    return Reply(result, lens_words(found), paths, warnings + measured_notes(found))


def _photographs(paths, offsets_mm, box, axis):
    from projector.studies.lenses.measured_lens import EdgePhotograph

    offsets = numbers_from("offsets_mm", offsets_mm, len(paths)) if offsets_mm else [None] * len(paths)
    boxes = [tuple(int(value) for value in numbers_from("box", text, 4)) for text in box or ()]
    if len(boxes) not in (0, 1, len(paths)):
        raise Mistyped(
            Fault(f"{len(boxes)} boxes for {len(paths)} photographs; one for all, or one for each", key="box")
        )
    boxes = boxes * len(paths) if len(boxes) == 1 else boxes or [None] * len(paths)
    middle = numbers_from("axis", axis, 2) if axis else None
    return [
        EdgePhotograph(path, offset, part, middle) for path, offset, part in zip(paths, offsets, boxes, strict=True)
    ]


def _missing(items, throw_m, focal_length_mm, f_number) -> list[str]:
    """The options that a fit still needs."""
    needed = {"--throw-m": throw_m, "--focal-length-mm": focal_length_mm}
    missing = [name for name, value in needed.items() if value is None]
    if any(item.offset_mm is None for item in items) and len(items) > 1:
        missing.append("--offsets-mm")
    if len(items) == 1 and f_number is None:
        missing.append("--f-number (or more photographs at other focus offsets)")
    return missing


def _checked_paths(out: Path, set_up, overwrite: bool) -> list[Path]:
    from projector.files.records import check_writable, named_files

    lens_file, figure = named_files(out, "my-lens", (".toml", ".png"))
    paths = [figure] if set_up is None else [lens_file, figure]
    check_writable(paths, figure.stem, overwrite)
    return paths


def _write(path: Path, found, set_up, name: str, mm_per_pixel: float, overwrite: bool) -> None:
    from projector.files.records import TOML_MARK, record_of, written_whole
    from projector.reports.measured_figure import measured_figure
    from projector.reports.save import save_figure
    from projector.studies.lenses.measured_lens import lens_file_text

    about = record_of("measure", path.stem, "", photographs=[str(item.path.name) for item in found.photographs])
    if path.suffix == ".toml":
        with written_whole(path) as temporary:
            temporary.write_text(
                lens_file_text(found, set_up, name, mm_per_pixel) + TOML_MARK + dumps(about) + "\n", encoding="utf-8"
            )
        return
    save_figure(measured_figure(found, name), path, about, overwrite)
