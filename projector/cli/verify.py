"""The command that holds the program to published numbers on the user's own machine."""

from __future__ import annotations

import typer

from projector.answers.listing import checks_words
from projector.cli.render import Json
from projector.cli.running import USER_INPUT, Reply, answered, progress_shown


def add_commands(app: typer.Typer) -> None:
    """Hang the command of this module on the application."""
    app.command("verify")(verify)


@answered
def verify(json: Json = False) -> Reply:
    """Compute published numbers again on this machine: what, source, expected, got, error, pass."""
    from projector.verification.checks import run_checks

    results = run_checks(progress_shown())
    rows = [
        {
            "what": item.published.what,
            "source": item.published.source,
            "expected": item.published.expected,
            "got": item.got,
            "error": item.error,
            "tolerance": item.published.tolerance,
            "unit": item.published.unit,
            "passed": item.passed,
            "tolerance_allows_for": item.published.why,
        }
        for item in results
    ]
    failed = [row for row in rows if not row["passed"]]
    words = [] if json else _table(rows)
    words.append(checks_words(len(rows) - len(failed), len(rows)))
    return Reply(
        {"checks": rows, "passed": len(rows) - len(failed), "failed": len(failed)},
        words,
        exit_code=USER_INPUT if failed else 0,
    )


def _table(rows) -> list[str]:
    from rich.console import Console
    from rich.table import Table

    table = Table(box=None, pad_edge=False)
    for name, side in (
        ("what", "left"),
        ("source", "left"),
        ("expected", "right"),
        ("got", "right"),
        ("error", "right"),
        ("", "left"),
        ("pass", "left"),
    ):
        table.add_column(name, justify=side, overflow="fold")
    for row in rows:
        table.add_row(
            row["what"],
            row["source"],
            f"{row['expected']:.6g}",
            f"{row['got']:.6g}",
            f"{row['error']:+.1e}",
            row["unit"],
            "yes" if row["passed"] else "NO",
        )
    console = Console(width=None, highlight=False)
    with console.capture() as captured:
        console.print(table)
    return captured.get().rstrip("\n").split("\n")
