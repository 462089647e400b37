"""Commands about size and shape: throw and straighten."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from projector.answers.chosen import chosen_projectors, one_projector
from projector.answers.size import size_in_scene, straight_row, straight_words
from projector.answers.throwing import SIZE_EXAMPLE, answer_to, asked_by, further_back, size_from_numbers, size_of
from projector.cli.numbers import number_option, refuse_beside_a_scene, refuse_unused
from projector.cli.render import Json, Out, Overwrite, SceneArgument, With
from projector.cli.running import Reply, answered, loaded_scene
from projector.cli.studies import Number, Only, figure_path
from projector.faults import check_above_zero


def add_commands(app: typer.Typer) -> None:
    """Hang the commands of this module on the application."""
    app.command("throw")(throw)
    app.command("straighten")(straighten)


@answered
def throw(
    scene: Annotated[
        Path | None, typer.Argument(help="A scene: the true outline on its surfaces.", show_default=False)
    ] = None,
    focal_length_mm: Annotated[Number, number_option("--focal-length-mm", "Focal length of the lens.")] = None,
    beam_angle_deg: Annotated[
        Number, number_option("--beam-angle-deg", "Nominal full beam angle, instead of a lens.")
    ] = None,
    lit_width_mm: Annotated[Number, number_option("--lit-width-mm", "Lit width of the stencil in the gate.")] = None,
    lit_height_mm: Annotated[Number, number_option("--lit-height-mm", "Lit height (the width if not given).")] = None,
    throw_m: Annotated[Number, number_option("--throw-m", "Distance of lens and wall.")] = None,
    width_m: Annotated[
        Number,
        number_option(
            "--width-m",
            "Wanted width: answers with the lens for a throw, or the throw for a lens, a beam angle or a scene; with a"
            " throw alone, the angle.",
        ),
    ] = None,
    height_m: Annotated[Number, number_option("--height-m", "Wanted height beside the wanted width.")] = None,
    travel_mm: Annotated[
        Number, number_option("--travel-mm", "Lens travel past infinity: answers with the nearest focus.")
    ] = None,
    f_number: Annotated[
        Number,
        number_option("--f-number", "With --travel-mm and --throw-m: the blur where the lens cannot focus so near."),
    ] = None,
    to_m: Annotated[
        Number, number_option("--to-m", "With lens and throw: how size and light change on moving there.")
    ] = None,
    with_: With = None,
    out: Out = None,
    overwrite: Overwrite = False,
    json: Json = False,
) -> Reply:
    """Size: lens, gate and throw to pattern width, and back; on a scene's surfaces the true outline."""
    numbers = {
        "focal_length_mm": focal_length_mm,
        "beam_angle_deg": beam_angle_deg,
        "lit_width_mm": lit_width_mm,
        "lit_height_mm": lit_height_mm,
        "throw_m": throw_m,
        "height_m": height_m,
        "travel_mm": travel_mm,
        "f_number": f_number,
        "to_m": to_m,
    }
    check_above_zero(**numbers, width_m=width_m)
    others = {"out": out, "overwrite": overwrite}
    if scene is not None:
        refuse_beside_a_scene(numbers, "--width-m for how far back; --with changes a value of the scene")
        refuse_unused(
            others,
            (),
            "throw draws figures of numbers, not of a scene",
            "projector map my-scene.toml -o light draws where the light lands",
        )
        return _throw_in_scene(scene, with_, width_m)
    numbers["width_m"] = width_m
    asked = asked_by(numbers)
    refuse_unused(
        {**numbers, "with": with_, **others},
        (*asked.used, *(others if asked.name == "size" else ())),
        asked.why,
        f"leave it out; or ask for a size: {SIZE_EXAMPLE}",
    )
    if asked.name != "size":
        return Reply(*answer_to(asked, numbers))
    found = size_from_numbers(numbers)
    return _with_throw_figure(found, *size_of(found, numbers), out, overwrite)


def _with_throw_figure(found, result, words, out, overwrite) -> Reply:
    path = figure_path(out)
    if path is None:
        return Reply(result, words)
    from projector import studies
    from projector.cli.running import version
    from projector.reports.save import save_figure
    from projector.reports.study_figures import throw_figure

    about = {
        "program": "projector",
        "version": version(),
        "command": "throw",
        "scene": "throw",
        "settings": {"focal_length_mm": found.focal_length_mm, "lit_width_mm": found.lit_width_mm},
    }
    save_figure(throw_figure(studies, found.focal_length_mm, found.lit_width_mm, found.throw_m), path, about, overwrite)
    return Reply(result, words, [path])


def _throw_in_scene(path: Path, with_, width_m) -> Reply:
    from projector import studies as study
    from projector.stage.stage import Stage
    from projector.studies.size import landed_light as light_study
    from projector.studies.size.landing import landing

    scene, warnings = loaded_scene(path, with_)
    stage = Stage(scene)
    rows, words = [], []
    for spec in chosen_projectors(scene, None):
        formula, opening, landed = (
            landing(stage, spec),
            light_study.opening(stage, spec),
            light_study.landed_light(stage, spec),
        )
        # A sitter has no outline: what goes past one is followed on the surface that gets most of it.
        surfaces = {item.name: item.share for item in landed if item.sitter is None}
        on = formula.lands_on if formula.lands_on in surfaces else max(surfaces, key=surfaces.get, default=None)
        outline = study.landed_outline(stage, spec, on=on)
        row, lines = size_in_scene(spec.name, formula, opening, landed, outline)
        words += lines
        if width_m is not None:
            row["wanted"], line = further_back(spec.name, formula, spec.lens.focal_length_mm, width_m)
            words.append(line)
        rows.append(row)
    return Reply({"projectors": rows}, words, [], warnings)


@answered
def straighten(
    scene: SceneArgument,
    projector: Only = None,
    keep_size: Annotated[
        bool,
        typer.Option(
            "--keep-size",
            help=(
                "As large as on a wall square to the beam, even if the gate cuts some of it off; else as large as goes"
                " whole."
            ),
        ),
    ] = False,
    with_: With = None,
    out: Out = None,
    overwrite: Overwrite = False,
    json: Json = False,
) -> Reply:
    """Draw the stencil that lands straight on a tilted wall: a PNG to put in the old one's place."""
    import numpy as np

    from projector.faults import Fault, SceneError
    from projector.files.records import check_writable, default_name, place_faults, record, write_png
    from projector.photometry.colour import encode_srgb
    from projector.scene.placement import stencil_path
    from projector.studies.size.straightened import straightened

    loaded, warnings = loaded_scene(scene, with_)
    spec = one_projector(loaded, projector)
    path = figure_path(out) or Path(f"{default_name(loaded)}-straight.png")
    if path.suffix != ".png":
        raise SceneError(
            Fault(found=f"{path} is not a PNG", allowed="a name that ends in .png, or none", file=str(path))
        )
    if (
        spec.stencil is not None
        and not place_faults([path])
        and path.exists()
        and path.samefile(stencil_path(loaded, spec))
    ):
        raise SceneError(
            Fault(
                found=f"{path} is the stencil that {spec.name} has in its gate",
                allowed="another name, or the stencil as it was drawn",
                try_="-o with another name",
                file=str(path),
            )
        )
    check_writable([path], loaded.name, overwrite)
    new = straightened(loaded, spec, keep_size=keep_size)
    # Written in the old stencil's own terms, so that only the file's name changes in the scene.
    values = 1.0 - new.transmission if spec.stencil.inverted else new.transmission
    values = encode_srgb(values) if spec.stencil.grey == "glass" else values
    write_png(
        path,
        np.round(255.0 * np.clip(values, 0.0, 1.0)).astype(np.uint8),
        record(loaded, "straighten", projector=spec.name),
    )
    return Reply(straight_row(spec.name, new), straight_words(spec, new, path, keep_size), [path], warnings)
