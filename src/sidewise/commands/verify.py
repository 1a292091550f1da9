"""`sidewise verify`: is the audit chain whole, and does every record still fold?"""

from __future__ import annotations

from pathlib import Path

import typer


def verify(
    file: Path | None = typer.Option(None, "--backup", help="Check this backup file instead."),
    seal: str = typer.Option("", help="A seal noted elsewhere, as 'NUMBER:SEAL'."),
) -> None:
    """Verify the audit, the guards of the database and every record; status 2 if any is off."""
    from sidewise.errors import UserErrors
    from sidewise.web.keeping.shell import ready

    ready()
    from sidewise.web.keeping import verifying

    if file is not None:
        typer.echo(verifying.backup_words(file))
        return
    report = verifying.verify_all(verifying.noted_seal(seal))
    typer.echo(report.text())
    if report.problems:
        raise UserErrors(list(report.problems))
