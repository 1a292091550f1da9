"""`sidewise backup`: one checked file of everything, made while the service runs."""

from __future__ import annotations

from pathlib import Path

import typer


def backup(
    target: Path = typer.Argument(..., help="The file to write; never overwritten."),
) -> None:
    """Back up every record, account and audit line into one file, and read it back."""
    from sidewise.web.keeping.shell import store

    with store("sidewise backup"):
        from sidewise.web.keeping.backup import back_up, where_the_key_is

        manifest = back_up(target)
        typer.echo(f"{target}: {manifest.total} rows in {len(manifest.tables)} tables, read back.")
        typer.echo(f"audit line {manifest.audit_lines} {manifest.audit_seal}")
        typer.echo(f"Encrypted. It opens only with {where_the_key_is()}: keep a copy elsewhere.")
