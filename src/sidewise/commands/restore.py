"""`sidewise restore`: restores a backup, and proves that it is identical."""

from __future__ import annotations

from pathlib import Path

import typer


def restore(
    source: Path = typer.Argument(..., help="A file that `sidewise backup` wrote."),
    replace: bool = typer.Option(
        False, "--replace", help="Put it in place of present data; those are kept beside."
    ),
) -> None:
    """Restore a backup. A damaged or foreign file is refused and nothing is changed."""
    from sidewise.errors import UserError
    from sidewise.web.keeping.shell import store

    if not source.is_file():
        raise UserError("restore", str(source), "a file that exists")
    with store("sidewise restore", alone=True):
        from sidewise.web.keeping.restore import restore as put_back

        done = put_back(source, replace=replace)
    typer.echo(f"{done.manifest.total} rows restored; each table compared with its SHA-256.")
    if done.caution:
        typer.echo(done.caution)
    if done.former:
        typer.echo(f"The data that were here are kept in {done.former}.")
    if done.erased_again:
        typer.echo(f"{done.erased_again} record(s) erased since the backup were erased again.")
