"""Commands about light and time: contrast, filters and timing."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

from projector.answers.chosen import chosen_projectors
from projector.answers.filters import filter_lines, legend_words
from projector.answers.light import contrast_words, no_light_note, no_light_words, room_words, row_without_numbers
from projector.answers.typed import point_from, word_from
from projector.cli.numbers import number_option, refuse_beside_a_scene, refuse_unused
from projector.cli.render import Json, Out, Overwrite, With
from projector.cli.running import Reply, answered, loaded_scene
from projector.cli.studies import Number, Only, checked_figure_path
from projector.faults import Fault, SceneError, check_above_zero
from projector.phrases import NOT_ENOUGH


def add_commands(app: typer.Typer) -> None:
    """Hang the commands of this module on the application."""
    app.command("contrast")(contrast)
    app.command("filters")(filters)
    app.command("timing")(timing)


@answered
def contrast(
    scene: Annotated[
        Path | None,
        typer.Argument(help="A scene: its stencils, its room, and all its projectors.", show_default=False),
    ] = None,
    at: Annotated[
        list[str] | None,
        typer.Option(
            "--at",
            help=(
                "Landmark or point on the surface that is asked about. May be repeated (default: what each projector's"
                " axis lands on)."
            ),
            show_default=False,
        ),
    ] = None,
    open_share: Annotated[
        Number, number_option("--open-share", "Open share of the stencil, instead of a scene.")
    ] = None,
    ambient_stops_under: Annotated[
        Number,
        number_option(
            "--ambient-stops-under",
            "All other light, in stops under the pattern (default: the scene's room and other projectors).",
        ),
    ] = None,
    lens_reflectance: Annotated[
        float, number_option("--lens-reflectance", "Share of light that the lens sends back.", True)
    ] = 0.04,
    stencil_reflectance: Annotated[
        float, number_option("--stencil-reflectance", "Share that the stencil's front sends forward again.", True)
    ] = 0.60,
    wanted_stops: Annotated[
        Number,
        number_option(
            "--wanted-stops", "Wanted contrast: answers with how far under the pattern other light must lie."
        ),
    ] = None,
    projector: Only = None,
    with_: With = None,
    json: Json = False,
) -> Reply:
    """How grey the black parts of the pattern land: stray light between lens and stencil, the room's light, and other
    projectors'.
    """
    from projector.studies.light import contrast as study

    if (scene is None) == (open_share is None):
        raise SceneError(
            Fault(
                found="neither or both of a scene and an open share",
                allowed="one of them",
                try_="projector contrast --open-share 0.3 --ambient-stops-under 2",
            )
        )
    reflectances = (lens_reflectance, stencil_reflectance)
    if scene is None:
        refuse_unused(
            {"at": at, "projector": projector, "with": with_},
            (),
            "an open share stands for stencil and scene",
            "name a scene instead: projector contrast my-scene.toml --wanted-stops 4",
        )
        found, warnings = (
            [({"projector": "stencil"}, study.contrast(open_share, ambient_stops_under, *reflectances))],
            [],
        )
    else:
        loaded, warnings = loaded_scene(scene, with_)
        found, notes = _contrasts(loaded, at, projector, ambient_stops_under, reflectances)
        warnings = [*warnings, *notes]
    rows, words = [], []
    for place, item in found:
        if item is None:
            rows.append({**row_without_numbers(study.Contrast), **place})
            words.append(no_light_words(place["projector"], place["at"], place["light"]["words"]))
            continue
        name = f"{place['projector']} on {place['surface']}" if "surface" in place else place["projector"]
        rows.append({**place, **asdict(item)})
        words.append(contrast_words(name, item))
        if wanted_stops is not None:
            room = rows[-1]["ambient_stops_under_wanted"] = study.ambient_for(
                wanted_stops, item.open_share, *reflectances
            )
            words.append(f"{name}: " + room_words(wanted_stops, room, item))
    return Reply({"projectors": rows}, words, [], warnings)


def _contrasts(scene, at, projector: str | None, ambient_stops_under: float | None, reflectances):
    """Where each pattern is asked about and its contrast there, None where none of its light lands; and what a program
    should notice.
    """
    from projector.stage.stage import Stage
    from projector.studies.light import contrast as study
    from projector.studies.light.light_at import axis_point, light_at

    stage, found, notes = Stage(scene), [], []
    for spec in chosen_projectors(scene, projector):
        for reference in [point_from(text) for text in at] if at else [axis_point(stage, spec)]:
            arrives = light_at(stage, spec, reference)
            place = {"projector": spec.name, "at": arrives.at, "light": arrives.as_dict()}
            if not arrives.has_edges:
                notes.append(no_light_note(arrives))
                found.append((place, None))
                continue
            place["surface"] = arrives.surface
            if ambient_stops_under is not None:
                found.append(
                    (place, study.contrast(study.open_share_of(stage, spec), ambient_stops_under, *reflectances))
                )
            else:
                found.append(
                    (
                        place,
                        study.contrast_where_it_lands(stage, spec, arrives.place, arrives.surface, *reflectances),
                    )
                )
    return found, notes


@answered
def filters(
    scene: Annotated[
        Path | None,
        typer.Argument(help="A scene: the lamps of its lights, and the filters before them.", show_default=False),
    ] = None,
    filter: Annotated[
        list[str] | None,
        typer.Option(
            "--filter",
            "-f",
            help=(
                "A filter by its name, or the CSV file of one. May be repeated: a stack (default: the scene's own;"
                " without a scene all that have a name)."
            ),
            show_default=False,
        ),
    ] = None,
    source: Annotated[
        str | None,
        typer.Option(
            "--source",
            help="The lamp, without a scene: daylight (a flash; if not given), tungsten, led or equal_energy.",
            show_default=False,
        ),
    ] = None,
    temperature_k: Annotated[
        Number, number_option("--temperature-k", "Its colour temperature (default: 5600, tungsten 3200).")
    ] = None,
    light: Annotated[
        str | None, typer.Option("--light", help="Only this light of the scene (default: all).", show_default=False)
    ] = None,
    with_: With = None,
    out: Out = None,
    overwrite: Overwrite = False,
    json: Json = False,
) -> Reply:
    """What filters cost the lamp at hand in stops, how far they shift it, and what its light looks like; -o draws
    swatches.
    """
    from projector.scene.model import Source
    from projector.studies.light import filters as study

    if scene is None:
        refuse_unused({"light": light, "with": with_}, (), "they say something of a scene", "name a scene")
        kind = word_from(source or "daylight", ("daylight", "tungsten", "led", "equal_energy"), "source", "a lamp")
        lamp = Source(kind=kind, temperature_k=temperature_k)
        path = checked_figure_path(out, "filters", overwrite)
        answers = [("", study.filter_list(lamp, filter))]
        warnings: list[str] = []
    else:
        refuse_beside_a_scene(
            {"source": source, "temperature_k": temperature_k}, "--with projector.NAME.source.kind=led"
        )
        loaded, warnings = loaded_scene(scene, with_)
        path = checked_figure_path(out, loaded.name, overwrite)
        answers = [(spec.name, _filters_before(study, loaded, spec, filter)) for spec in study.lights_of(loaded, light)]
    words = [line for name, found in answers for line in filter_lines(found, name)]
    if any(found.filters for _, found in answers):
        words.append(legend_words())
    if path is not None:
        _save_filter_figure(answers, path, loaded if scene is not None else None, overwrite)
    rows = [{"light": name or None, **_as_row(found)} for name, found in answers]
    return Reply({"lights": rows}, words, [path] if path else [], warnings)


def _filters_before(study, scene, spec, names: list[str] | None):
    """The filters that are asked about before the lamp of one light: those named, or its own."""
    if names is None:
        return study.filters_in(scene, spec.name)
    # A file is typed as it lies from here; else it is looked for beside the scene.
    typed = [str(Path(name).resolve()) if Path(name).is_file() else name for name in names]
    return study.filter_list(spec.source, typed, scene.folder, scene.camera.white_balance_k)


def _as_row(found) -> dict:
    """A list of filters for programs, without the curves."""
    together = None if found.together is None else _without_curve(found.together)
    return {
        "source": found.source.model_dump(exclude_none=True),
        "x": found.x,
        "y": found.y,
        "filters": [_without_curve(item) for item in found.filters],
        "together": together,
    }


def _without_curve(item) -> dict:
    return {key: value for key, value in asdict(item).items() if key != "transmittance"}


def _save_filter_figure(answers, path: Path, scene, overwrite: bool) -> None:
    from projector.files.records import record, record_of
    from projector.reports.filters_figure import filters_figure
    from projector.reports.save import save_figure

    about = record_of("filters", "filters", "") if scene is None else record(scene, "filters")
    save_figure(filters_figure(answers), path, about, overwrite)


@answered
def timing(
    shutter_s: Annotated[Number, number_option("--shutter-s", "Shutter time, such as 1/200 or 0.005.")] = None,
    speed_m_per_s: Annotated[
        Number, number_option("--speed-m-per-s", "How fast something moves: answers with its smear.")
    ] = None,
    flash_t01_s: Annotated[
        Number, number_option("--flash-t01-s", "How long a flash stays above a tenth of its peak, at the power used.")
    ] = None,
    flash_t05_s: Annotated[
        Number, number_option("--flash-t05-s", "The same above half of its peak, where only that is printed.")
    ] = None,
    sync_s: Annotated[
        Number,
        number_option(
            "--sync-s",
            "Sync time of your camera: the shortest at which a flash lights the whole frame (default: 1/200).",
        ),
    ] = None,
    lamp_hz: Annotated[
        Number,
        number_option(
            "--lamp-hz", "Swings of a steady lamp a second (100 or 120 on the mains): answers with its bands."
        ),
    ] = None,
    modulation: Annotated[
        Number, number_option("--modulation", "How far it swings, of its mean (default: 1, all of it).")
    ] = None,
    json: Json = False,
) -> Reply:
    """Whether movement freezes, by flash or by shutter, whether a flash lights the whole frame, and whether a lamp on
    the mains leaves bands.
    """
    numbers = {
        "shutter_s": shutter_s,
        "speed_m_per_s": speed_m_per_s,
        "flash_t01_s": flash_t01_s,
        "flash_t05_s": flash_t05_s,
        "sync_s": sync_s,
        "lamp_hz": lamp_hz,
        "modulation": modulation,
    }
    check_above_zero(**{name: value for name, value in numbers.items() if name != "modulation"})
    from projector.answers.timing import asked_by, unused_beside
    from projector.answers.timing import timing as timing_answer

    asked = asked_by(numbers)
    for unused in unused_beside(asked, numbers):
        refuse_unused({name: numbers[name] for name in unused.names}, (), unused.why, unused.try_)
    if not asked.anything:
        raise SceneError(
            Fault(
                found=NOT_ENOUGH,
                allowed="a speed with a shutter or a flash; a flash with a shutter; or a lamp with a shutter",
                try_="projector timing --speed-m-per-s 1 --flash-t01-s 0.00125",
            )
        )
    return Reply(*timing_answer(numbers, asked))
