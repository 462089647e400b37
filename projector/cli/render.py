"""Commands that render: preview and map."""

from __future__ import annotations

import os
from dataclasses import asdict, replace
from pathlib import Path
from typing import Annotated

import typer

from projector.answers.landing import (
    camera_blur_words,
    landing_words,
    map_notes,
    no_map_words,
    other_faces,
    summary_words,
)
from projector.answers.typed import Mistyped, point_from, quality_from, size_from
from projector.cli.numbers import whole_number_option
from projector.cli.running import Reply, answered, loaded_scene, progress_shown
from projector.faults import Fault, SceneError


def out_option(text: str):
    """The option that says where to write."""
    return path_option("--out", text, "-o")


def path_option(name: str, text: str, *short: str):
    """An option that takes a path to write to.

    SceneError if it ends as only a folder's does: where to write needs a name.
    """

    def path(typed: str) -> Path:
        if typed.startswith("--"):
            raise Mistyped(Fault(f"{typed} in the place of a name", "a file's name", f"{name} NAME", key=name))
        if typed.endswith(("/", os.sep)) or not typed:
            found = f"{typed} names a folder" if typed else "nothing was typed for it"
            raise SceneError(Fault(found, "a file's name, without its ending", f"{name} {typed}NAME", key=name))
        return Path(typed)

    return typer.Option(*short, name, help=text, show_default=False, parser=path, metavar="<path>")


SceneArgument = Annotated[
    Path, typer.Argument(help="A scene file, or the name of a shipped scene.", show_default=False)
]
With = Annotated[
    list[str] | None,
    typer.Option(
        "--with",
        "-w",
        help="Change a value for this run: projector.window.lens.f_number=4. May be repeated.",
        show_default=False,
    ),
]
Out = Annotated[Path | None, out_option("Where to write, without the ending.")]
Threads = Annotated[
    int | None,
    whole_number_option(
        "--threads", "Threads to use (default: the CPUs this process may use).", 1, 256, show_default=False
    ),
]
Seed = Annotated[int, whole_number_option("--seed", "Seed of everything random.", 0, 2**31 - 1)]
Json = Annotated[bool, typer.Option("--json", help="Answer with one JSON object.")]
Overwrite = Annotated[bool, typer.Option("--overwrite", help="Replace files that were made from something else.")]
Quality = Annotated[str, typer.Option("--quality", help='"quick" (6 wavelengths) or "fine" (18, more points a pixel).')]


def add_commands(app: typer.Typer) -> None:
    """Hang the commands of this module on the application."""
    app.command("preview")(preview)
    app.command("map")(map_)


@answered
def preview(
    scene: SceneArgument,
    out: Out = None,
    size: Annotated[str, typer.Option("--size", help="Picture size in pixels.")] = "960x720",
    quality: Quality = "fine",
    with_: With = None,
    only: Annotated[
        list[str] | None,
        typer.Option(
            "--only",
            help='Show the scene by this light alone: its name, or "ambient". May be repeated.',
            show_default=False,
        ),
    ] = None,
    clipped: Annotated[
        bool, typer.Option("--clipped", help="Also draw where each channel is clipped: NAME-marked.png.")
    ] = False,
    blocked: Annotated[
        bool, typer.Option("--blocked", help="Also draw where the picture is black: NAME-marked.png.")
    ] = False,
    stops_around: Annotated[
        str | None,
        typer.Option(
            "--stops-around",
            help=(
                'Also draw the picture in bands of a stop around a landmark or a point x,y,z in it, or around "key", a'
                " grey card (18 %) in light that the camera is set for: NAME-stops.png."
            ),
            show_default=False,
        ),
    ] = None,
    histogram: Annotated[
        bool, typer.Option("--histogram", help="Also draw how the tones spread: NAME-histogram.png.")
    ] = False,
    threads: Threads = None,
    seed: Seed = 0,
    save: Annotated[
        Path | None,
        path_option(
            "--save", "Save the scene with its changes as a scene file of its own, your comments kept: variant.toml."
        ),
    ] = None,
    overwrite: Overwrite = False,
    json: Json = False,
) -> Reply:
    """Render what the camera sees as a PNG, and say how large and how soft the pattern lands."""
    width, height = size_from(size)
    quality_from(quality)
    around = None if stops_around is None else point_from(stops_around, "stops_around")
    from projector.answers.pictures import clipping_note
    from projector.files.records import check_writable, default_name, named_files
    from projector.rendering.preview import preview as render_preview
    from projector.stage.stage import Stage
    from projector.studies.notes import scene_notes
    from projector.studies.pictures.clipping import clipping
    from projector.studies.pictures.stops_around import KEY, seen_at

    loaded, _ = loaded_scene(scene, with_)
    stage = Stage(loaded) if only is None else Stage(loaded).lit_by(*only)
    (path,) = named_files(out, "-only-".join([default_name(loaded), *([",".join(only)] if only else [])]), (".png",))
    if around is not None and around != KEY:
        seen_at(stage, width, height, around)
    wanted = _figures_wanted(path, clipped or blocked, stops_around is not None, histogram)
    check_writable([path, *wanted.values()], loaded.name, overwrite)
    saved = [] if save is None else [_saved_variant(scene, with_, save, overwrite)]
    picture = render_preview(
        stage, width=width, height=height, quality=quality, threads=threads, progress=progress_shown()
    )
    found = clipping(picture)
    notes = [*scene_notes(stage), *([note] if (note := clipping_note(found)) else [])]
    picture = replace(picture, about={**picture.about, "notes": notes})
    drawn, tones, tone_words = _tones(picture, wanted, around, clipped, blocked)
    picture.save(path, overwrite)
    for name, figure in drawn.items():
        save_figure_of(figure, wanted[name], picture.about, overwrite)
    result, words = _landed(stage)
    result |= {"width_px": width, "height_px": height, "clipping": None if found is None else asdict(found), **tones}
    return Reply(result, [*words, *tone_words], [path, *wanted.values(), *saved], notes)


def _figures_wanted(path: Path, marked: bool, stops: bool, histogram: bool) -> dict[str, Path]:
    """Which figures of a picture are asked for, and their files beside it."""
    asked = {"marked": marked, "stops": stops, "histogram": histogram}
    return {name: path.with_name(f"{path.stem}-{name}.png") for name, is_asked in asked.items() if is_asked}


def _tones(picture, wanted, around, clipped: bool, blocked: bool) -> tuple[dict, dict, list[str]]:
    """The figures of a picture's tones by name, their numbers and their words."""
    from projector.answers import pictures as answers
    from projector.studies.pictures.stops_around import stops_around
    from projector.studies.pictures.tones import histogram, marked

    figures, result, words = {}, {}, []
    if "marked" in wanted:
        figures["marked"] = found = marked(picture, clipped, blocked)
        result["marked"] = answers.marked_result(found)
    if "stops" in wanted:
        figures["stops"] = found = stops_around(picture, around)
        result["stops_around"], words = answers.stops_result(found), [*words, *answers.stops_words(found)]
    if "histogram" in wanted:
        figures["histogram"] = found = histogram(picture)
        result["histogram"], words = answers.histogram_result(found), [*words, *answers.histogram_words(found)]
    return figures, result, words


def save_figure_of(found, path: Path, about: dict, overwrite: bool) -> None:
    """Draw a result and write it as a file of its scene."""
    from projector.reports.drawn import figure_of
    from projector.reports.save import save_figure

    save_figure(figure_of(found), path, about, overwrite)


def _landed(stage) -> tuple[dict, list[str]]:
    """How the patterns land of the projectors that are on, and the camera's own blur: for programs, and in words."""
    from projector.studies.size.landed_light import landed_opening
    from projector.studies.size.landing import camera_blur, landing

    landings = [landing(stage, staged) for staged in stage.projectors]
    blurs = camera_blur(stage)
    openings = [
        landed_opening(stage, staged, item.throw_m) for staged, item in zip(stage.projectors, landings, strict=True)
    ]
    words = [
        line
        for item, opened in zip(landings, openings, strict=True)
        for line in landing_words(item, opened, stage.scene.camera.f_number)
    ]
    words += [camera_blur_words(item) for item in blurs]
    result = {
        "projectors": [{**asdict(item), **asdict(opened)} for item, opened in zip(landings, openings, strict=True)],
        "camera_blur": [asdict(item) for item in blurs],
    }
    return result, words


def _saved_variant(scene: Path, changes: list[str] | None, to: Path, overwrite: bool) -> Path:
    """The scene file that says what this one says with its changes."""
    from projector.files.records import named_files
    from projector.scene.reading.saving import save_scene

    (path,) = named_files(to, "variant", (".toml",))
    return save_scene(scene, path, changes, overwrite)


@answered
def map_(
    scene: SceneArgument,
    surface: Annotated[
        str | None,
        typer.Option(
            "--surface",
            "-s",
            help=(
                "Surface or sitter to map; of a box one face: NAME.front, .back, .left, .right, .top or .bottom (a"
                " scene's only surface need not be named)."
            ),
            show_default=False,
        ),
    ] = None,
    seen_by: Annotated[
        str | None,
        typer.Option(
            "--seen-by",
            help="Projector that a sitter or a mesh is mapped as seen by (default: the one that sees most of it).",
            show_default=False,
        ),
    ] = None,
    out: Out = None,
    across: Annotated[int, whole_number_option("--across", "Points across the map.", 16, 16384)] = 960,
    quality: Quality = "fine",
    with_: With = None,
    threads: Threads = None,
    seed: Seed = 0,
    overwrite: Overwrite = False,
    json: Json = False,
) -> Reply:
    """Map the light over a surface: NPZ and 32-bit TIFF with units and extent, and a figure with contours in stops."""
    quality_from(quality)
    from projector.files.records import check_writable, default_name, named_files
    from projector.rendering.maps.irradiance import irradiance_map
    from projector.rendering.maps.light_map import MAP_ENDINGS
    from projector.rendering.maps.map_grid import NotSeen
    from projector.reports.map_figure import map_figure, map_summary
    from projector.reports.save import save_figure

    loaded, warnings = loaded_scene(scene, with_)
    files = named_files(out, f"{default_name(loaded)}-{(surface or 'map').replace('.', '-')}", MAP_ENDINGS)
    check_writable(files, loaded.name, overwrite)
    try:
        found = irradiance_map(loaded, surface, across, quality, threads, progress_shown(), seed=seed, seen_by=seen_by)
    except NotSeen as error:
        (fault,) = error.faults
        return Reply(
            {"surface": surface, "is_reached": False}, [no_map_words(fault.found)], [], [*warnings, fault.found]
        )
    found.save(files[0], overwrite)
    save_figure(map_figure(found, loaded.title), files[2], found.about, overwrite)
    summary = map_summary(found)
    warnings = warnings + map_notes(found) + other_faces(loaded, surface, found.surface)
    return Reply(summary, summary_words(summary, found), files, warnings)
