"""`sidewise import`: records taken in from tables and FHIR documents, faults with their place."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from sidewise.exchange.fhir.reading import TakenBundle
    from sidewise.exchange.tables.record_source import Entry

SHOWN = 20
"""Reasons that are printed."""


def import_(
    source: list[Path] = typer.Argument(
        ..., metavar="IN...", help="Tables (CSV, Parquet, XLSX; long or wide), or FHIR documents."
    ),
    out: Path = typer.Option(..., "-o", "--out", help="Folder for one examination a record."),
    keep_good: bool = typer.Option(
        False, help="Write the records without faults; otherwise any fault stops everything."
    ),
    region: str = typer.Option("", help="The region of FHIR documents, where there are several."),
) -> None:
    """Take records in, each to a file of its own. Status 1: something was left behind."""
    from sidewise.commands.advance import show_progress
    from sidewise.exchange.fhir.reading import is_bundle, read_bundle
    from sidewise.exchange.tables.intake import error_of, take_in_records
    from sidewise.exchange.tables.record_source import record_source
    from sidewise.regions import regions

    documents = [path for path in source if is_bundle(path)]
    taken = [read_bundle(path, regions().chosen(region)) for path in documents]
    found = record_source([path for path in source if path not in documents])

    def entries() -> Iterator[Entry]:
        yield from (one.record for one in taken)
        yield from found.entries(regions())

    with show_progress("Taking in", found.total) as progress:
        done = take_in_records(entries(), out, keep_good=keep_good, progress=progress)
    typer.echo(f"{len(done.files):,} records: {out}")
    typer.echo("They are drafts: neither a table nor a document of another program is signed here.")
    for one in done.set_aside[:SHOWN]:
        typer.echo(error_of(one).message, err=True)
    if len(done.set_aside) > SHOWN:
        typer.echo(f"... and {len(done.set_aside) - SHOWN:,} more.", err=True)
    left = _tell_not_understood(documents, taken)
    if done.set_aside or left:
        raise typer.Exit(1)


def _tell_not_understood(documents: list[Path], taken: list[TakenBundle]) -> int:
    left = 0
    for path, one in zip(documents, taken, strict=True):
        rest = one.not_understood
        left += len(rest)
        if rest:
            head = f"{path.name}: {len(one.record.findings)} findings understood, not understood:"
            typer.echo(head, err=True)
        for thing in rest:
            typer.echo(f"  {thing.sentence}", err=True)
    return left
