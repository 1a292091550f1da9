"""`sidewise sources`: where every figure comes from, and how well the studies are given back."""

from __future__ import annotations

import typer


def sources(
    item: str = typer.Argument("", help="An item, reading or condition; empty for an overview."),
    residuals: bool = typer.Option(False, "--residuals", help="Published rows against the model."),
) -> None:
    """Show the studies behind an item, or how the fitted model gives the published rows back."""
    from sidewise.note.basis import basis_text, residual_text

    typer.echo(residual_text(item) if residuals else basis_text(item))
