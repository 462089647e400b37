"""Commands that look at files: check, scenes, stencils, schema."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Optional

import typer

from projector.cli.answers import Answer, answered
from projector.cli.render import Json, Overwrite, SceneArgument, With


def add_commands(app: typer.Typer) -> None:
    """Hang the commands of this module on the application."""
    app.command("check")(check)
    app.command("scenes")(scenes)
    app.command("stencils")(stencils)
    app.command("schema")(schema)


@answered
def check(scene: SceneArgument, with_: With = None, json: Json = False) -> Answer:
    """Say everything that is wrong with a scene, all at once, and what is unusual about it."""
    from projector.scene.faults import SceneError
    from projector.scene.reader import check as check_scene

    loaded, faults, warnings = check_scene(scene, with_ or ())
    if faults:
        raise SceneError(faults)
    counts = {"projectors": len(loaded.projector), "surfaces": len(loaded.surface), "figures": len(loaded.figure)}
    words = [f"{scene}: nothing wrong; " + ", ".join(f"{number} {name}" for name, number in counts.items())]
    return Answer({"title": loaded.title, **counts, "hash": loaded.digest()}, words, [], [str(item) for item in warnings])


@answered
def scenes(json: Json = False) -> Answer:
    """List the scenes that come with the program."""
    from projector.scene.reader import list_scenes

    found = list_scenes()
    width = max((len(path.stem) for path, _ in found), default=0)
    return Answer({"scenes": [{"name": path.stem, "title": title, "file": str(path)} for path, title in found]}, [f"{path.stem:{width}}  {title}" for path, title in found])


@answered
def stencils(json: Json = False) -> Answer:
    """List the stencils that come with the program."""
    from projector.scene.reader import shipped_folder
    from projector.scene.stencil_drawings import list_stencils

    found = list_stencils(shipped_folder("stencil"))
    width = max((len(name) for name, *_ in found), default=0)
    rows = [{"name": name, "description": description, "open_share": share} for name, description, share in found]
    return Answer({"stencils": rows}, [f"{row['name']:{width}}  {row['description']} ({row['open_share']:.0%} open)" for row in rows])


@answered
def schema(
    out: Annotated[Optional[Path], typer.Option("-o", "--out", help="File to write (default: print it).", show_default=False)] = None,
    overwrite: Overwrite = False,
    json: Json = False,
) -> Answer:
    """Write the JSON schema of the scene format, for editors that check while you type."""
    import json as json_text

    from projector.rendering.files import written_whole
    from projector.scene.faults import Fault, SceneError
    from projector.scene.model import scene_schema

    found = scene_schema()
    text = json_text.dumps(found, indent=2, ensure_ascii=False)
    if out is None:
        return Answer(found, [text])
    if out.exists() and not overwrite and not _is_our_schema(out, found):
        raise SceneError(Fault(found=f"{out} is there already", allowed="a new name, or a schema written before", try_="another name, or --overwrite", file=str(out)))
    if not out.parent.is_dir():
        raise SceneError(Fault(found=f"the folder {out.parent} does not exist", allowed="a folder that is there", try_="make it first", file=str(out)))
    with written_whole(out) as temporary:
        temporary.write_text(text + "\n")
    return Answer({"title": found["title"]}, [], [out])


def _is_our_schema(path: Path, schema_now: dict) -> bool:
    import json as json_text

    try:
        return json_text.loads(path.read_text()).get("title", "").startswith(schema_now["title"].split(",")[0])
    except (OSError, ValueError, AttributeError):
        return False


