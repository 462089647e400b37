"""Commands about edges: sharpness and fringe; and what commands on a scene share."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

from projector.answers.chosen import chosen_projectors, points_for
from projector.answers.edges import (
    blur_words,
    colour_words,
    compromise_words,
    edge_label,
    fringe_words,
    meanings,
    named_focuses,
    sharpness_meanings,
    sharpness_words,
    wanted_words,
)
from projector.answers.light import NO_FIGURE, no_light_note, no_light_words, numbers_beside, row_without_numbers
from projector.cli.numbers import number_option, refuse_beside_a_scene, refuse_unused
from projector.cli.render import Json, Out, Overwrite, SceneArgument, With
from projector.cli.running import Reply, answered, loaded_scene
from projector.faults import Fault, SceneError, check_above_zero
from projector.phrases import NOT_ENOUGH

At = Annotated[
    list[str] | None,
    typer.Option(
        "--at",
        help=(
            'Landmark or point: sitter.left_eye, or "0.1,1.5,-0.9" in metres. May be repeated (default: each'
            " projector's focus)."
        ),
        show_default=False,
    ),
]
Only = Annotated[
    str | None, typer.Option("--projector", help="Only this projector (default: all).", show_default=False)
]
Number = float | None


def add_commands(app: typer.Typer) -> None:
    """Hang the commands of this module on the application."""
    app.command("sharpness")(sharpness)
    app.command("fringe")(fringe)


def checked_figure_path(out: Path | None, scene_name: str, overwrite: bool) -> Path | None:
    """Where a figure goes, if one is wanted. SceneError, before any work, where it may not be written."""
    from projector.files.records import check_writable

    path = figure_path(out)
    if path is not None:
        check_writable([path], scene_name, overwrite)
    return path


def figure_path(out: Path | None) -> Path | None:
    """Where a figure goes; .png unless another ending is given."""
    from projector.files.records import named_files

    return (
        None if out is None else named_files(out, "figure", (".pdf",) if out.suffix.lower() == ".pdf" else (".png",))[0]
    )


@answered
def sharpness(
    scene: Annotated[
        Path | None,
        typer.Argument(
            help="A scene file, or the name of a shipped scene; without one, numbers for a square wall.",
            show_default=False,
        ),
    ] = None,
    at: At = None,
    within_mm: Annotated[
        Number, number_option("--within-mm", "Wanted edge width: answers with the depth and the stop for it.")
    ] = None,
    focal_length_mm: Annotated[Number, number_option("--focal-length-mm", "Focal length, without a scene.")] = None,
    f_number: Annotated[Number, number_option("--f-number", "Stop of the lens, without a scene.")] = None,
    throw_m: Annotated[Number, number_option("--throw-m", "Distance it is focused at, without a scene.")] = None,
    wall_m: Annotated[Number, number_option("--wall-m", "Distance of the wall or skin, if it is another one.")] = None,
    stencil_off_mm: Annotated[
        Number, number_option("--stencil-off-mm", "Stencil off its plane; positive: towards the lamp.")
    ] = None,
    glass: Annotated[
        str | None,
        typer.Option(
            "--glass", help="Glass of a single element: answers with the blue and the red disc.", show_default=False
        ),
    ] = None,
    projector: Only = None,
    with_: With = None,
    out: Out = None,
    overwrite: Overwrite = False,
    json: Json = False,
) -> Reply:
    """How soft edges land at points you name, what limits them, which detail survives, how large the light is for
    shadows; -o draws width over focus offset.
    """
    check_above_zero(within_mm=within_mm)
    numbers = {
        "focal_length_mm": focal_length_mm,
        "f_number": f_number,
        "throw_m": throw_m,
        "wall_m": wall_m,
        "stencil_off_mm": stencil_off_mm,
        "glass": glass,
    }
    if scene is None:
        others = {"at": at, "projector": projector, "with": with_, "out": out, "overwrite": overwrite}
        refuse_unused(
            {**numbers, "within_mm": within_mm, **others},
            (*numbers, "within_mm"),
            "without a scene the answer goes by numbers, and has no figure",
            "name a scene: projector sharpness my-scene.toml -o softness",
        )
        return _blur_from_numbers(numbers, within_mm)
    refuse_beside_a_scene(numbers, "--with changes a value of the scene: projector.NAME.lens.f_number=4")
    return _sharpness_in_scene(scene, at, within_mm, projector, with_, out, overwrite)


def _blur_from_numbers(numbers: dict, within_mm) -> Reply:
    from projector.studies.edges.blur import blur

    if any(numbers[name] is None for name in ("focal_length_mm", "f_number", "throw_m")):
        raise SceneError(
            Fault(
                found=NOT_ENOUGH,
                allowed="a scene; or a focal length, a stop and the throw it is focused at",
                try_="projector sharpness --focal-length-mm 85 --f-number 1.8 --throw-m 2 --wall-m 2.06",
            )
        )
    found = blur(**{name: value for name, value in numbers.items() if value is not None}, within_mm=within_mm)
    return Reply(asdict(found), blur_words(found, numbers["glass"], within_mm))


def _sharpness_in_scene(scene, at, within_mm, projector, with_, out, overwrite) -> Reply:
    from projector.cli.running import progress_shown
    from projector.stage.stage import Stage
    from projector.studies.edges import sharpness as study
    from projector.studies.edges.focus_curve import compromise
    from projector.studies.light.light_at import light_at

    loaded, warnings = loaded_scene(scene, with_)
    path = checked_figure_path(out, loaded.name, overwrite)
    progress_shown()
    stage = Stage(loaded)
    rows, words, asked, compromises, wanted = [], [], [], [], []
    for spec in chosen_projectors(loaded, projector):
        reached = []
        for reference in points_for(stage, spec, at):
            arrives = light_at(stage, spec, reference)
            warnings = [*warnings, *([] if arrives.arrives else [no_light_note(arrives)])]
            if not arrives.has_edges:
                rows.append(
                    {
                        **row_without_numbers(study.Sharpness),
                        "projector": spec.name,
                        "at": arrives.at,
                        "light": arrives.as_dict(),
                    }
                )
                words.append(no_light_words(arrives.projector, arrives.at, arrives.words))
                continue
            found = study.sharpness(stage, spec, reference, within_mm, arrives)
            rows.append({**asdict(found), "light": arrives.as_dict()})
            words += [wanted_words(found, item) for item in found.wanted_focuses] + sharpness_words(found, arrives)
            wanted += [
                (focused.offset_mm, found, focused.focus_m) for item in found.wanted_focuses for focused in item.focuses
            ]
            reached.append(reference)
        asked += [(spec, reference) for reference in reached]
        if len(reached) > 1:
            best = compromise(stage, spec, reached)
            compromises.append({"projector": spec.name, **asdict(best)})
            words.append(compromise_words(spec.name, best))
    if path is not None and not asked:
        path, warnings = None, [*warnings, NO_FIGURE]
    if path is not None:
        _draw_focus(stage, asked, within_mm, wanted, path, overwrite)
    if asked:
        words.append(meanings())
    result = {"points": rows, "compromises": compromises, "words": sharpness_meanings()}
    return Reply(result, words, [path] if path else [], warnings)


def _draw_focus(stage, asked, within_mm, wanted, path: Path, overwrite: bool) -> None:
    """Edge width over focus offset for pairs of projector and reference, as far as the focuses that give the wanted
    width.
    """
    from projector.files.records import record
    from projector.reports.save import save_figure
    from projector.reports.study_figures import focus_figure
    from projector.studies.edges.focus_curve import focus_curve, offsets_to_show

    offsets = offsets_to_show(stage, asked, [offset for offset, *_ in wanted])
    curves = [focus_curve(stage, spec, reference, offsets) for spec, reference in asked]
    figure, about = focus_figure(curves, within_mm, named_focuses(asked, wanted)), record(stage.scene, "sharpness")
    save_figure(figure, path, about, overwrite)


@answered
def fringe(
    scene: SceneArgument,
    at: At = None,
    lens: Annotated[
        list[str] | None,
        typer.Option("--lens", help="A lens file to compare with. May be repeated.", show_default=False),
    ] = None,
    tolerance_arcmin: Annotated[
        float, number_option("--tolerance-arcmin", "What may pass, in arc-minutes from the camera.", True)
    ] = 1.0,
    tolerance_pixels: Annotated[
        float,
        number_option("--tolerance-pixels", "What may pass, in camera pixels; the larger of the two counts.", True),
    ] = 1.0,
    projector: Only = None,
    with_: With = None,
    out: Out = None,
    overwrite: Overwrite = False,
    json: Json = False,
) -> Reply:
    """How wide and of what colour fringes are at points you name, whether they pass, what would cure them; -o draws
    edges of lenses.
    """
    check_above_zero(tolerance_arcmin=tolerance_arcmin, tolerance_pixels=tolerance_pixels)
    from projector import studies as study
    from projector.stage.stage import Stage
    from projector.studies.light.light_at import light_at

    loaded, warnings = loaded_scene(scene, with_)
    path = checked_figure_path(out, loaded.name, overwrite)
    stage = Stage(loaded)
    rows, words, strips = [], [], []
    for spec in chosen_projectors(loaded, projector):
        for reference in points_for(stage, spec, at):
            for name, item in [
                ("as it is", spec),
                *((name, study.with_lens(loaded, spec, name)) for name in lens or ()),
            ]:
                arrives = light_at(stage, item, reference)
                if not arrives.arrives and no_light_note(arrives) not in warnings:
                    warnings = [*warnings, no_light_note(arrives)]
                if not arrives.has_edges:
                    rows.append(
                        {
                            **row_without_numbers(study.Fringe),
                            "projector": spec.name,
                            "at": arrives.at,
                            "lens": name,
                            "cures": [],
                            "light": arrives.as_dict(),
                        }
                    )
                    words.append(no_light_words(arrives.projector, arrives.at, arrives.words))
                    continue
                found = study.fringe(stage, item, reference, tolerance_arcmin, tolerance_pixels, name, arrives)
                cures = [] if found.passes else study.cures(stage, item, reference, found)
                rows.append({**asdict(found), "cures": [asdict(cure) for cure in cures], "light": arrives.as_dict()})
                words += fringe_words(found, cures)
                if not arrives.arrives:
                    words.append(numbers_beside(arrives))
                if out is not None:
                    colours = study.shown_edge(stage, item, reference)
                    label = edge_label(item, found)
                    strips.append((label, colours.positions_mm, colours.linear_rgb, colour_words(found)))
    if path is not None and not strips:
        path, warnings = None, [*warnings, NO_FIGURE]
    if path is not None:
        from projector.files.records import record
        from projector.reports.save import save_figure
        from projector.reports.study_figures import lens_strip_figure

        save_figure(
            lens_strip_figure(strips, "Edges as the camera sees them, magnified"),
            path,
            record(loaded, "fringe"),
            overwrite,
        )
    return Reply({"points": rows}, words, [path] if path else [], warnings)
