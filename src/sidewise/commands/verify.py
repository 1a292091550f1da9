"""`sidewise verify`: is everything as the program left it, and does every record still fold?"""

from __future__ import annotations

from pathlib import Path

import typer

from sidewise.commands.printing import print_document


def verify(
    file: Path | None = typer.Option(None, "--backup", help="Check this backup file instead."),
    seal: str = typer.Option("", help="A seal noted elsewhere, as 'NUMBER:SEAL'."),
    accept: bool = typer.Option(
        False, "--accept", help="Afterwards bind everything as it stands now; leaves a line."
    ),
    new_key: bool = typer.Option(
        False, "--new-key", help="The keeping key was lost: bind everything with the present one."
    ),
    as_json: bool = typer.Option(False, "--json", help="Print what was found as JSON."),
) -> None:
    """Verify audit, rows, shape and pages of the database; status 2 if anything is off."""
    from sidewise.errors import UserErrors
    from sidewise.web.keeping.shell import store

    with store("sidewise verify"):
        from sidewise.web.keeping import verification

        if file is not None:
            typer.echo(verification.backup_words(file))
            return
        report = verification.verify_all(verification.noted_seal(seal))
        if as_json:
            from sidewise.schemas.documents import VERIFICATION_FORMAT

            print_document(VERIFICATION_FORMAT, report.as_document())
        else:
            typer.echo(report.text())
        if new_key:
            typer.echo(verification.take_new_key(report))
            return
        if accept:
            typer.echo(verification.accept(report))
        if report.problems:
            raise UserErrors(list(report.problems))
