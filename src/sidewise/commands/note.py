"""`sidewise note`: the note of one examination, for a colleague to act on."""

from __future__ import annotations

from pathlib import Path

import typer

from sidewise.ground.language import ENGLISH, LANGUAGES, chosen_language, speak
from sidewise.ground.settings import SETTINGS


def note(
    exam: Path = typer.Argument(..., help="An examination (JSON), or - for standard input."),
    form: str = typer.Option("text", "--as", help="text, html or line."),
    out: Path | None = typer.Option(None, "-o", "--out", help="Write to this file."),
    setting: str = typer.Option("", help=f"One of {', '.join(SETTINGS)}."),
    language: str = typer.Option(ENGLISH, help=f"One of {', '.join(LANGUAGES)}."),
) -> None:
    """Write the note: one page to act on, then everything; or one line for a referral."""
    from sidewise.commands.writing import write_out
    from sidewise.errors import UserError
    from sidewise.note import note_html, note_text, referral_line
    from sidewise.reason import interpret
    from sidewise.record import read_record
    from sidewise.regions import region_of_record, regions

    writers = {"text": note_text, "html": note_html, "line": referral_line}
    if form not in writers:
        raise UserError("--as", form, " or ".join(writers))
    record = read_record(exam, regions())
    region = region_of_record(record)
    result = interpret(record, region, setting=setting or None)
    with speak(chosen_language(language)):
        write_out(writers[form](record, result, region), out)
