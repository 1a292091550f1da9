"""`sidewise import`: records taken in from tables, every fault with its row."""

from __future__ import annotations

from pathlib import Path

import typer


def import_(
    source: list[Path] = typer.Argument(
        ..., metavar="IN...", help="Tables (CSV, Parquet, XLSX; long or wide) or a folder of them."
    ),
    out: Path = typer.Option(..., "-o", "--out", help="Folder for one examination a record."),
    keep_good: bool = typer.Option(
        False, help="Write the records without faults; otherwise any fault stops everything."
    ),
) -> None:
    """Take records in from tables, each to a file of its own. Status 1: some were set aside."""
    from sidewise.commands.advance import show_progress
    from sidewise.exchange.tables.intake import error_of, take_in_records
    from sidewise.exchange.tables.record_source import record_source
    from sidewise.regions import regions

    found = record_source(source)
    with show_progress("Taking in", found.total) as progress:
        done = take_in_records(
            found.entries(regions()), out, keep_good=keep_good, progress=progress
        )
    typer.echo(f"{len(done.files):,} records: {out}")
    typer.echo("They are drafts: a table carries no signature.")
    if done.set_aside:
        for one in done.set_aside[:20]:
            typer.echo(error_of(one).message, err=True)
        if len(done.set_aside) > 20:
            typer.echo(f"... and {len(done.set_aside) - 20:,} more.", err=True)
        raise typer.Exit(1)
