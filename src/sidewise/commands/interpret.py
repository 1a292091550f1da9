"""`sidewise interpret`: what the findings make more or less likely, and what must not be missed."""

from __future__ import annotations

import json
from pathlib import Path

import typer

from sidewise.ground.language import ENGLISH, LANGUAGES, chosen_language, speak
from sidewise.ground.settings import SETTINGS


def interpret(
    exam: Path = typer.Argument(..., help="An examination (JSON), or - for standard input."),
    setting: str = typer.Option("", help=f"One of {', '.join(SETTINGS)}."),
    as_json: bool = typer.Option(False, "--json", help="Print the whole result as JSON."),
    draws: int = typer.Option(500, min=100, max=2000, help="Parameter draws for the intervals."),
    case: bool = typer.Option(False, "--case", help="EXAM is a simulated case."),
    against: Path | None = typer.Option(
        None, help="What was said earlier (from --json): what would be said otherwise now."
    ),
    language: str = typer.Option(ENGLISH, help=f"One of {', '.join(LANGUAGES)}."),
    signed: bool = typer.Option(
        False,
        "--signed",
        help="What was said when it was signed: what would be said otherwise "
        "now. Of a folder, every examination in it.",
    ),
    again: bool = typer.Option(
        False,
        "--again",
        help="EXAM is a file of evidence (note --as evidence -o x.json): make its interpretation "
        "again and say what differs.",
    ),
) -> None:
    """Weigh the findings of one examination. Supports a clinician; does not diagnose."""
    if again:
        _make_again(exam)
        return
    if signed:
        _since_signing(exam, setting, draws)
        return
    from sidewise.reason import interpret as weigh
    from sidewise.record import read_record
    from sidewise.regions import region_of_record, regions

    if case:
        from sidewise.practice.case_file import NOTICE, read_case

        record = read_case(exam, regions()).record
        typer.echo(NOTICE, err=True)
    else:
        record = read_record(exam, regions())
    result = weigh(record, region_of_record(record), setting=setting or None, draws=draws)
    if as_json:
        typer.echo(json.dumps(result.to_json(), indent=1, ensure_ascii=False))
        return
    if against is not None:
        from sidewise.reason.conclusions import conclusion_changes, read_conclusion

        typer.echo("\n".join(conclusion_changes(read_conclusion(against), result).lines()))
        return
    from sidewise.note.meaning import meaning_text

    with speak(chosen_language(language)):
        typer.echo(meaning_text(result))


def _make_again(file: Path) -> None:
    from sidewise.reason.reproduction import reproduce
    from sidewise.regions import regions

    found = reproduce(file, regions())
    typer.echo("\n".join(found.lines()))
    if not found.is_same:
        raise typer.Exit(1)


def _since_signing(exam: Path, setting: str, draws: int) -> None:
    """Each signed record of a file or folder: what would be said otherwise than when signed."""
    from sidewise.errors import UserError
    from sidewise.reason import interpret as weigh
    from sidewise.reason.conclusions import changes_since_signing
    from sidewise.record import read_record
    from sidewise.regions import region_of_record, regions

    files = sorted(exam.glob("*.json")) if exam.is_dir() else [exam]
    if not files:
        raise UserError(str(exam), "no examination", "files of examinations, *.json")
    for file in files:
        record = read_record(file, regions())
        if record.signed is None:
            typer.echo(f"{record.id}: not signed.")
        elif record.signed.said is None:
            typer.echo(f"{record.id}: what was said when it was signed was not kept.")
        else:
            told = weigh(record, region_of_record(record), setting=setting or None, draws=draws)
            changes = changes_since_signing(record.signed.said, told)
            typer.echo("\n".join(changes.lines()))
