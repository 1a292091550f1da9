"""`sidewise backup`: one checked file of everything, made while the service runs."""

from __future__ import annotations

from pathlib import Path

import typer


def backup(
    target: Path = typer.Argument(..., help="The file to write; never overwritten."),
) -> None:
    """Back up every record, account and audit line into one file, and read it back."""
    from sidewise.web.keeping.shell import ready

    ready()
    from sidewise.web.keeping.backup import back_up

    manifest = back_up(target)
    typer.echo(f"{target}: {manifest.total} rows in {len(manifest.tables)} tables, read back.")
    typer.echo(f"audit line {manifest.audit_lines} {manifest.audit_seal}")
    typer.echo("It holds patients' records: keep it encrypted, and the signing key apart from it.")
