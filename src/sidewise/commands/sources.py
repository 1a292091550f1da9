"""`sidewise sources`: where a figure comes from, and how well the fit reproduces the studies."""

from __future__ import annotations

import typer

from sidewise.commands.printing import print_document


def sources(
    item: str = typer.Argument("", help="An item, reading or condition; empty for an overview."),
    residuals: bool = typer.Option(False, "--residuals", help="Published rows against the model."),
    provenance: bool = typer.Option(
        False, "--provenance", help="How figures are known, by file; recalled ones first."
    ),
    region: str = typer.Option("", help="The region; may be left out where there is one."),
    as_json: bool = typer.Option(False, "--json", help="Of an item or a reading, as JSON."),
) -> None:
    """Show the studies behind an item, or how well the fit reproduces the published rows."""
    from sidewise.note.basis import basis_text, residual_text
    from sidewise.regions import regions

    chosen = regions().chosen(region)
    if as_json:
        from sidewise.schemas.documents import SOURCES_FORMAT, sources_of

        print_document(SOURCES_FORMAT, sources_of(item, chosen))
        return
    if provenance:
        from sidewise.note.provenance import provenance_text

        typer.echo(provenance_text(chosen))
        return
    typer.echo(residual_text(item, chosen) if residuals else basis_text(item, chosen))
