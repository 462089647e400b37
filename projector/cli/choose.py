"""Commands that help to choose: sheet (many pictures side by side) and place (where to put the light)."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from projector.answers.choosing import NO_READING, not_saved, places_words, relaxation_words, saved_words, sheet_words
from projector.answers.chosen import one_projector
from projector.answers.typed import axis_from, point_from, quality_from, room_from, size_from
from projector.cli.numbers import number_option, refuse_unused, whole_number_option
from projector.cli.render import (
    Json,
    Out,
    Overwrite,
    Quality,
    SceneArgument,
    Threads,
    With,
    path_option,
)
from projector.cli.running import Reply, answered, loaded_scene, progress_shown
from projector.faults import check_above_zero


def add_commands(app: typer.Typer) -> None:
    """Hang the commands of this module on the application."""
    app.command("sheet")(sheet)
    app.command("place")(place)


@answered(kept_when_stopped="finished pictures are kept, and the same command goes on from them")
def sheet(
    scene: SceneArgument,
    rows: Annotated[
        str | None,
        typer.Option(
            "--rows",
            help="KEY=VALUE,VALUE,… down the sheet: projector.window.stencil.file=window,blinds",
            show_default=False,
        ),
    ] = None,
    columns: Annotated[
        str | None,
        typer.Option(
            "--columns",
            help="KEY=FIRST:LAST:COUNT or KEY=VALUE,… across it: projector.window.focus.offset_mm=-1:1:5",
            show_default=False,
        ),
    ] = None,
    size: Annotated[str, typer.Option("--size", help="Size of each picture in pixels.")] = "480x360",
    quality: Quality = "quick",
    with_: With = None,
    out: Out = None,
    threads: Threads = None,
    scheduler: Annotated[
        str | None,
        typer.Option(
            "--scheduler",
            help="Render on a Dask cluster instead: the address of its scheduler, tcp://host:8786.",
            show_default=False,
        ),
    ] = None,
    overwrite: Overwrite = False,
    json: Json = False,
) -> Reply:
    """Compare: one or two keys of a scene over some values, one contact sheet (PNG, PDF) and its numbers (CSV, JSON).

    Finished pictures are kept beside it; a sheet that was stopped goes on from them.
    """
    width, height = size_from(size)
    quality_from(quality)
    from projector.files.records import check_writable, default_name, named_files, record
    from projector.reports.contact_sheet import layout, save_sheet
    from projector.studies.choosing import comparison as study
    from projector.studies.choosing.sheet_cells import UNCHANGED, Axis

    loaded, _ = loaded_scene(scene, with_)
    axes = tuple(UNCHANGED if text is None else Axis(*axis_from(text)) for text in (rows, columns))
    paths = named_files(out, f"{default_name(loaded)}-sheet", (".png", ".pdf", ".csv", ".json"))
    stem = paths[0].with_suffix("")
    check_writable(paths, loaded.name, overwrite)
    cells = study.comparison(
        loaded,
        *axes,
        width,
        height,
        quality,
        stem.with_name(stem.name + "-cells"),
        threads,
        progress_shown(),
        scheduler,
    )
    shared, single, _ = study.sheet_notes(cells)
    notes = [*shared, *single]
    about = {
        **record(loaded, "sheet", rows=rows, columns=columns, width=width, height=height, quality=quality),
        "notes": notes,
    }
    save_sheet(cells, layout(cells, *axes, loaded.title or loaded.name), stem, about, overwrite)
    numbers = study.sheet_rows(cells, *axes)
    _write_numbers(numbers, paths[2], paths[3], about)
    return Reply({"cells": numbers}, [sheet_words(*axes)], paths, notes)


def _write_numbers(numbers: list[dict], csv_path: Path, json_path: Path, about: dict) -> None:
    import csv
    import json as json_text

    from projector.answers.as_json import finite
    from projector.files.records import written_whole

    with written_whole(csv_path) as temporary, temporary.open("w", newline="", encoding="utf-8") as file:
        file.write(f"#{json_text.dumps(about)}\n")
        writer = csv.DictWriter(file, list(numbers[0]))
        writer.writeheader()
        writer.writerows(
            {key: " ".join(row[key]) if key == "notes" else row.get(key) for key in numbers[0]} for row in numbers
        )
    with written_whole(json_path) as temporary:
        temporary.write_text(
            json_text.dumps({"record": about, "cells": finite(numbers)}, ensure_ascii=False, indent=1, allow_nan=False)
            + "\n",
            encoding="utf-8",
        )


@answered
def place(
    scene: SceneArgument,
    width_m: Annotated[float, number_option("--width-m", "Wanted pattern width at the target, square to the beam.")],
    edge_mm: Annotated[float, number_option("--edge-mm", "Wanted edge width there, 10–90 %.")],
    f_number: Annotated[
        float, number_option("--f-number", "What the meter should show there at least, gate open.", True)
    ] = 4.0,
    iso: Annotated[float, number_option("--iso", "The meter's ISO.", True)] = 400.0,
    room: Annotated[
        str, typer.Option("--room", help="Room: width x depth x height, m; depth counts from the farthest surface.")
    ] = "5x6x2.7",
    angle_max_deg: Annotated[
        float, number_option("--angle-max-deg", "Largest angle off the line from target to camera.", True)
    ] = 60.0,
    lens: Annotated[
        list[str] | None,
        typer.Option(
            "--lens",
            help=(
                "A lens at hand: a lens file, or \"own\" for the scene's. May be repeated; default: the scene's own and"
                " all shipped ones."
            ),
            show_default=False,
        ),
    ] = None,
    at: Annotated[
        str | None,
        typer.Option("--at", help="Target: landmark or x,y,z (default: the projector's aim).", show_default=False),
    ] = None,
    projector: Annotated[
        str | None,
        typer.Option(
            "--projector",
            help="Which projector's lamp, gate and stencil, where the scene has several.",
            show_default=False,
        ),
    ] = None,
    with_: With = None,
    out: Out = None,
    save: Annotated[
        Path | None,
        path_option(
            "--save",
            "Save an answer as a scene of its own that renders to the same numbers, your comments kept: best.toml.",
            "--write",
        ),
    ] = None,
    answer: Annotated[
        int | None,
        whole_number_option("--answer", "Which answer to save (default: the first).", 1, 1000, show_default=False),
    ] = None,
    overwrite: Overwrite = False,
    json: Json = False,
) -> Reply:
    """Place it for me: throw, lens, stop, focus offset and position for a wanted width and softness, most light first,
    then least fringe; -o draws the room, --save keeps an answer as a scene. Or what has to give.
    """
    room_m = room_from(room)
    if save is None:
        refuse_unused({"answer": answer}, (), "it says which answer is saved, and none is", "--save best.toml")
    answer = answer or 1
    check_above_zero(width_m=width_m, edge_mm=edge_mm, f_number=f_number, iso=iso, angle_max_deg=angle_max_deg)
    from dataclasses import asdict

    from projector.cli.studies import checked_figure_path
    from projector.stage.stage import Stage
    from projector.studies.choosing import where_to_stand as study

    loaded, warnings = loaded_scene(scene, with_)
    spec = one_projector(loaded, projector)
    wishes = study.Wishes(width_m, edge_mm, f_number, iso, room_m, angle_max_deg)
    study.check_wishes(wishes)
    path, saved = checked_figure_path(out, loaded.name, overwrite), _checked_scene_path(scene, save, overwrite)
    progress_shown()
    target = point_from(at) if at else spec.aim
    places = study.place(Stage(loaded), spec, wishes, lens, target)
    answers, relaxations = places
    files = []
    if path is not None:
        from projector.files.records import record
        from projector.reports.place_figure import room_figure
        from projector.reports.save import save_figure

        save_figure(room_figure(places), path, record(loaded, "place"), overwrite)
        files.append(path)
    words = places_words(answers, relaxations, target, wishes.iso)
    if not spec.power_is_stated:
        warnings = [*warnings, NO_READING]
    if saved is not None and answer <= len(answers):
        from projector.scene.reading.saving import save_scene

        files.append(
            save_scene(scene, saved, [*(with_ or ()), *study.changes_for(spec, answers[answer - 1], target)], overwrite)
        )
        words.append(saved_words(answer))
    elif saved is not None:
        warnings = [*warnings, not_saved(saved, answer)]
    return Reply(
        {
            "answers": [asdict(item) for item in answers],
            "relaxations": [{**asdict(item), "words": relaxation_words(item)} for item in relaxations],
            "saved_answer": answer if saved in files else None,
        },
        words,
        files,
        warnings,
    )


def _checked_scene_path(scene: Path, save: Path | None, overwrite: bool) -> Path | None:
    """Where a scene is saved, if one is wanted. SceneError, before any work, where it may not be written."""
    if save is None:
        return None
    from projector.faults import SceneError
    from projector.files.finding import find_scene
    from projector.files.records import named_files, place_faults
    from projector.scene.reading.saving import check_goal

    (path,) = named_files(save, "best", (".toml",))
    check_goal(find_scene(scene), path, overwrite)
    if faults := place_faults([path]):
        raise SceneError(faults)
    return path
