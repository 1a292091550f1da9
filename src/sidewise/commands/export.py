"""`sidewise export`: records as tables with their dictionary, de-identified if asked."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from sidewise.exchange.tables.export import ExportSummary

SHOWN = 10
"""Groups and reasons that are printed."""


def export(
    source: list[Path] = typer.Argument(
        ..., metavar="IN...", help="Examinations (JSON), folders of them, or tables."
    ),
    out: Path = typer.Option(..., "-o", "--out", help="A new folder to write."),
    form: str = typer.Option("csv", "--as", help="csv, parquet or xlsx."),
    shape: str = typer.Option("long", help="long: a row a finding; wide: a row a record."),
    deidentified: bool = typer.Option(
        False, "--de-identified", help="New numbers, moved dates, 90 for 90 or older."
    ),
    free_text: bool = typer.Option(False, help="Keep free text in a de-identified export."),
) -> None:
    """Export records as tables with a dictionary. Status 1: some were set aside."""
    from sidewise.commands.advance import show_progress
    from sidewise.exchange.tables.export import ExportWish, export_tables
    from sidewise.exchange.tables.record_source import record_source
    from sidewise.regions import regions

    wish = ExportWish(form, shape, deidentified, free_text)
    found = record_source(source)
    with show_progress("Exporting", found.total) as progress:
        entries = (found.mixed_entries if deidentified else found.entries)(regions())
        done = export_tables(entries, out, regions(), wish, progress=progress)
    typer.echo(
        f"{done.records:,} records of {done.patients:,} patients, {done.findings:,} findings: {out}"
    )
    for remark in wish.remarks:
        typer.echo(remark)
    if done.disputed:
        typer.echo(f"{done.disputed:,} records have statements in dispute, which tables lack.")
    _warn_of_groups(done)
    if done.set_aside:
        _tell_set_aside(done, out)
        raise typer.Exit(1)


def _warn_of_groups(done: ExportSummary) -> None:
    from sidewise.exchange.tables.small_groups import FEWEST

    if not done.exposed:
        return
    typer.echo(f"SMALL GROUPS: {done.exposed:,} patients have fewer than {FEWEST} alike:")
    for group in done.small_groups[:SHOWN]:
        typer.echo(f"  {group.sentence}")
    if len(done.small_groups) > SHOWN:
        typer.echo(f"  and {len(done.small_groups) - SHOWN:,} groups more")


def _tell_set_aside(done: ExportSummary, out: Path) -> None:
    from sidewise.exchange.tables.export import ASIDE
    from sidewise.exchange.tables.intake import error_of

    typer.echo(f"Set aside, {len(done.set_aside):,} reasons:", err=True)
    for one in done.set_aside[:SHOWN]:
        typer.echo(error_of(one).message, err=True)
    if (out / ASIDE).exists():
        typer.echo(f"All of them: {out / ASIDE}", err=True)
