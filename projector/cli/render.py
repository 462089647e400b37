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
from projector.answers.typed import Mistyped, quality_from, size_from
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
    from projector.files.records import check_writable, default_name, named_files
    from projector.rendering.preview import preview as render_preview
    from projector.stage.stage import Stage
    from projector.studies.notes import scene_notes
    from projector.studies.size.landed_light import landed_opening
    from projector.studies.size.landing import camera_blur, landing

    loaded, _ = loaded_scene(scene, with_)
    (path,) = named_files(out, default_name(loaded), (".png",))
    check_writable([path], loaded.name, overwrite)
    saved = [] if save is None else [_saved_variant(scene, with_, save, overwrite)]
    stage = Stage(loaded)
    picture = render_preview(
        stage, width=width, height=height, quality=quality, threads=threads, progress=progress_shown()
    )
    notes = scene_notes(stage)
    replace(picture, about={**picture.about, "notes": notes}).save(path, overwrite)
    landings = [landing(stage, staged) for staged in stage.projectors]
    blurs = camera_blur(stage)
    openings = [
        landed_opening(stage, staged, item.throw_m) for staged, item in zip(stage.projectors, landings, strict=True)
    ]
    words = [
        line
        for item, opened in zip(landings, openings, strict=True)
        for line in landing_words(item, opened, loaded.camera.f_number)
    ]
    words += [camera_blur_words(item) for item in blurs]
    result = {
        "projectors": [{**asdict(item), **asdict(opened)} for item, opened in zip(landings, openings, strict=True)],
        "camera_blur": [asdict(item) for item in blurs],
        "width_px": width,
        "height_px": height,
    }
    return Reply(result, words, [path, *saved], notes)


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
