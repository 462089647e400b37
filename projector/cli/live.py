"""The command that opens the live page."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from projector.cli.console import say, say_error
from projector.cli.numbers import whole_number_option
from projector.cli.render import Threads
from projector.cli.running import Reply, answered

Port = Annotated[
    int | None,
    whole_number_option("--port", "Port to listen on (default: a free one).", 1024, 65535, show_default=False),
]


def add_commands(app: typer.Typer) -> None:
    """Hang the commands of this module on the application."""
    app.command("live")(live)


@answered
def live(
    scene: Annotated[
        Path | None,
        typer.Argument(help="A scene file, or the name of a shipped scene (a list if not given).", show_default=False),
    ] = None,
    port: Port = None,
    open_browser: Annotated[
        bool, typer.Option("--open/--no-open", help="Open the page in the browser of this machine.")
    ] = True,
    threads: Threads = None,
) -> Reply:
    """Turn a scene's rings on a page in the browser and see the picture follow; Ctrl-C ends it."""
    import logging

    from projector import jit
    from projector.live.scenes import SceneList
    from projector.live.server import listening, serve

    logging.basicConfig(format="%(name)s: %(message)s", level=logging.WARNING)
    scenes = SceneList(Path.cwd(), scene)
    taken = listening(port=port or 0)
    if not jit.kernels_are_compiled():
        say_error("First run: compiling, about a minute, once.")

    def started(address: str) -> None:
        say(f"The page is at {address}")
        say("It can be reached from this machine only. Ctrl-C ends it.")
        if open_browser:
            import webbrowser

            webbrowser.open(address)

    serve(scenes, taken, started, threads)
    return Reply({"ended": True}, ["The page is closed."])
