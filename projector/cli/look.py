"""Commands that look at files: check, scenes, stencils, gear, schema."""

from __future__ import annotations

from json import dumps, loads
from pathlib import Path
from typing import Annotated

import typer

from projector.answers.listing import nothing_wrong, scenes_words, stencils_words
from projector.cli.console import json_text
from projector.cli.render import Json, Overwrite, SceneArgument, With, out_option
from projector.cli.running import Reply, answered
from projector.files.finding import shipped_folder


def add_commands(app: typer.Typer) -> None:
    """Hang the commands of this module on the application."""
    app.command("check")(check)
    app.command("scenes", epilog=f"They are in {shipped_folder('scene')}. Copy one and change it.")(scenes)
    app.command("stencils", epilog=f"They are in {shipped_folder('stencil')}. Any bitmap of yours works as well.")(
        stencils
    )
    app.command("gear")(gear)
    app.command("schema")(schema)


@answered
def check(scene: SceneArgument, with_: With = None, json: Json = False) -> Reply:
    """Say everything that is wrong with a scene, all at once, and what is unusual about it."""
    from projector.cli.running import loaded_scene
    from projector.studies.light.light_at import focus_notes

    loaded, warnings = loaded_scene(scene, with_)
    warnings = [*warnings, *focus_notes(loaded)]
    counts = {
        "projectors": len(loaded.projector),
        "lights": len(loaded.light),
        "surfaces": len(loaded.surface),
        "figures": len(loaded.figure),
    }
    words = [nothing_wrong(scene, *counts.values())]
    return Reply(
        {"title": loaded.title, **counts, "hash": loaded.digest()}, words, [], [str(item) for item in warnings]
    )


@answered
def scenes(json: Json = False) -> Reply:
    """List the scenes that come with the program, and the folder they are in."""
    from projector.files.finding import list_scenes

    found = list_scenes()
    folder = shipped_folder("scene")
    words = scenes_words({path.stem: title for path, title in found}, folder)
    return Reply(
        {
            "folder": str(folder),
            "scenes": [{"name": path.stem, "title": title, "file": str(path)} for path, title in found],
        },
        words,
    )


@answered
def stencils(json: Json = False) -> Reply:
    """List the stencils that come with the program, and the folder they are in."""
    from projector.stencils.drawing.catalogue import list_stencils

    folder = shipped_folder("stencil")
    found = list_stencils(folder)
    rows = [{"name": name, "description": description, "open_share": share} for name, description, share in found]
    words = stencils_words({name: (description, share) for name, description, share in found}, folder)
    return Reply({"folder": str(folder), "stencils": rows}, words)


@answered
def gear(
    table: Annotated[
        Path, typer.Argument(help="A table of your gear, or the name of a shipped one.", show_default=False)
    ],
    setting: Annotated[
        list[str] | None,
        typer.Option(
            "--setting",
            help='A dial setting, "1/4", "1/4 +0.3" or "25 %": answers with what a meter shows. May be repeated.',
            show_default=False,
        ),
    ] = None,
    unit: Annotated[
        str | None, typer.Option("--unit", help="Only this unit (default: all).", show_default=False)
    ] = None,
    json: Json = False,
) -> Reply:
    """Say what is wrong with a table of your own gear, or what a meter shows of each unit, at full power and as set."""
    from projector.answers.gear import dial_words, gear_lines
    from projector.faults import SceneError
    from projector.scene.model import Gear, level_of
    from projector.scene.reading.gear_file import load_gear

    known = load_gear(table)
    if unit is not None:
        known = Gear(title=known.title, unit=(known.unit[unit],))
    found = []
    for item in known.unit:
        for typed in setting or ():
            try:
                found.append((item.name, typed, level_of(known, item.name, typed)))
            except SceneError as error:
                if unit is not None:
                    raise
                found.append((item.name, typed, error.faults[0].found))
    rows = [
        {
            "unit": item.name,
            "full": item.reading.model_dump(exclude_none=True),
            "dial": dial_words(item),
            "settings": [
                {"setting": typed, "reading": None, "why": level}
                if isinstance(level, str)
                else {"setting": typed, "reading": level.model_dump(exclude_none=True), "why": None}
                for name, typed, level in found
                if name == item.name
            ],
        }
        for item in known.unit
    ]
    return Reply({"title": known.title, "units": rows}, gear_lines(known, found))


@answered
def schema(
    out: Annotated[Path | None, out_option("File to write (default: print it).")] = None,
    overwrite: Overwrite = False,
    json: Json = False,
) -> Reply:
    """Write the JSON schema of the scene format, for editors that check while you type."""
    from projector.faults import Fault, SceneError
    from projector.files.records import place_faults, written_whole
    from projector.scene.model import scene_schema

    found = scene_schema()
    if out is None:
        return Reply(found, [json_text(found, indent=2)])
    faults = place_faults([out])
    if faults:
        raise SceneError(faults)
    if out.exists() and not overwrite and not _is_our_schema(out, found):
        raise SceneError(
            Fault(
                found=f"{out} is there already",
                allowed="a new name, or a schema written before",
                try_="another name, or --overwrite",
                file=str(out),
            )
        )
    with written_whole(out) as temporary:
        temporary.write_text(dumps(found, indent=2, ensure_ascii=False) + "\n", encoding="utf-8")
    return Reply({"title": found["title"]}, [], [out])


def _is_our_schema(path: Path, schema_now: dict) -> bool:
    try:
        return loads(path.read_text(encoding="utf-8")).get("title", "").startswith(schema_now["title"].split(",")[0])
    except (OSError, ValueError, AttributeError):
        return False
