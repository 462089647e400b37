"""The command that holds a meter into a scene."""

from __future__ import annotations

from typing import Annotated

import typer

from projector.answers.typed import point_from, word_from
from projector.cli.numbers import number_option, refuse_unused
from projector.cli.render import Json, Out, Overwrite, SceneArgument, With
from projector.cli.running import Reply, answered, loaded_scene
from projector.cli.studies import Number


def add_commands(app: typer.Typer) -> None:
    """Hang the command of this module on the application."""
    app.command("meter")(meter)


@answered
def meter(
    scene: SceneArgument,
    points: Annotated[
        list[str] | None,
        typer.Argument(
            help=(
                "Landmarks, or points x,y,z in metres, to hold the meter at (default: what the camera is focused on)."
            ),
            show_default=False,
            metavar="POINT",
        ),
    ] = None,
    receptor: Annotated[
        str,
        typer.Option(
            "--receptor", help='"dome", which faces the camera, or "flat", which lies on what it is held against.'
        ),
    ] = "dome",
    towards: Annotated[
        str | None,
        typer.Option(
            "--towards",
            help='What the receptor faces instead: "camera", "surface", a light, a landmark or a point.',
            show_default=False,
        ),
    ] = None,
    key: Annotated[
        str | None,
        typer.Option(
            "--key", help="The light that the others are compared with (default: the brightest at the first point)."
        ),
    ] = None,
    speed_m_per_s: Annotated[
        Number, number_option("--speed-m-per-s", "How fast something moves: answers with its smear.")
    ] = None,
    flash_t01_s: Annotated[
        Number, number_option("--flash-t01-s", "How long a flash stays above a tenth of its peak, for that.")
    ] = None,
    sync_s: Annotated[
        Number, number_option("--sync-s", "Sync time of your camera: says how much of the frame a flash lights.")
    ] = None,
    lamp_hz: Annotated[
        Number, number_option("--lamp-hz", "Swings of the steady lamps a second: answers with their bands.")
    ] = None,
    losses: Annotated[
        bool, typer.Option("--losses", help="Say what stop, lens, filters, grid, diffuser and stencil cost each light.")
    ] = False,
    out: Out = None,
    with_: With = None,
    overwrite: Overwrite = False,
    json: Json = False,
) -> Reply:
    """Hold a light meter into a scene: each light alone and all together, in lux, f-numbers, stops and ratios."""
    from projector.answers import metering
    from projector.files.records import check_writable, named_files, record
    from projector.stage.stage import Stage
    from projector.studies.light.meter import meters
    from projector.studies.notes import unstated_notes

    word_from(receptor, ("dome", "flat"), "receptor", "a receptor")
    if speed_m_per_s is None:
        refuse_unused({"flash_t01_s": flash_t01_s}, (), "it is for what moves", "add --speed-m-per-s 1")
    loaded, warnings = loaded_scene(scene, with_)
    files = [] if out is None else named_files(out, "", (".png",))
    check_writable(files, loaded.name, overwrite)
    asked = [point_from(text) for text in points] if points else [loaded.camera.focus or loaded.camera.aim]
    facing = None if towards is None else point_from(towards, "towards")
    stage = Stage(loaded)
    readings = meters(stage, asked, receptor, key, facing)
    times = {"speed_m_per_s": speed_m_per_s, "flash_t01_s": flash_t01_s, "sync_s": sync_s, "lamp_hz": lamp_hz}
    result, words = metering.in_time(readings, times)
    words = [*(line for found in readings for line in metering.meter_words(found)), *words]
    if losses:
        from projector.studies.light.losses import losses as losses_of

        found = losses_of(stage)
        words += metering.losses_words(found)
        result = {**result, "losses": [{"light": item.light, **item.parts()} for item in found]}
    if files:
        from projector.reports.meter_figure import meter_figure
        from projector.reports.save import save_figure

        save_figure(meter_figure(readings, loaded.title), files[0], record(loaded, "meter"), overwrite)
    warnings = [*warnings, *unstated_notes(loaded), *metering.no_light_notes(readings)]
    return Reply({"points": [metering.meter_result(found) for found in readings], **result}, words, files, warnings)
