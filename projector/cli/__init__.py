"""The command line: `projector COMMAND`. Commands live in modules beside this one; heavy imports inside them."""

from __future__ import annotations

import typer

from projector.cli import choose, light, look, measure, render, size, studies, verify

app = typer.Typer(
    help="See before the shoot how a projected stencil lands: size, softness, colour fringes and light.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)
for module in (render, look, size, studies, light, measure, choose, verify):
    module.add_commands(app)


@app.callback(invoke_without_command=True)
def _start(show_version: bool = typer.Option(False, "--version", help="Print the version.")) -> None:
    if show_version:
        from projector.cli.answers import version

        print(version())
        raise typer.Exit(0)


def main() -> None:
    """Entry point of the installed command."""
    app()
