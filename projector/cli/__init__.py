"""The command line: `projector COMMAND`. Commands live in modules beside this one; heavy imports inside them."""

from __future__ import annotations

import sys

import typer

from projector.cli import choose, light, live, look, measure, metering, render, size, studies, verify
from projector.cli.console import say
from projector.cli.mistakes import Commands, speak_our_words
from projector.cli.running import run_command_line, version

app = typer.Typer(
    cls=Commands,
    help="See before the shoot how a projected stencil lands: size, softness, colour fringes and light.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)
for module in (render, live, look, size, studies, light, metering, measure, choose, verify):
    module.add_commands(app)
speak_our_words(app)


@app.callback(invoke_without_command=True)
def _start(show_version: bool = typer.Option(False, "--version", help="Print the version.")) -> None:
    if show_version:
        say(version())
        raise typer.Exit(0)


def main() -> None:
    """Entry point of the installed command."""
    sys.exit(run_command_line(app, sys.argv[1:]))
