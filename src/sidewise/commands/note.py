"""`sidewise note`: the note of one examination, for a colleague to act on."""

from __future__ import annotations

from pathlib import Path

import typer


def note(
    exam: Path = typer.Argument(..., help="An examination (JSON), or - for standard input."),
    form: str = typer.Option("text", "--as", help="text or html."),
    out: Path | None = typer.Option(None, "-o", "--out", help="Write to this file."),
    setting: str = typer.Option("", help="primary, msk_clinic, orthopaedic or emergency."),
) -> None:
    """Write the note: flags first, both sides compared, what was not examined, what it may mean."""
    from sidewise.errors import UserError
    from sidewise.note import note_html, note_text
    from sidewise.reason import interpret
    from sidewise.record import read_record

    writers = {"text": note_text, "html": note_html}
    if form not in writers:
        raise UserError("--as", form, " or ".join(writers))
    record = read_record(exam)
    text = writers[form](record, interpret(record, setting=setting or None))
    if out is None:
        typer.echo(text)
        return
    try:
        out.write_text(text + "\n", encoding="utf-8")
    except OSError as error:
        raise UserError(str(out), error.strerror, "a place that can be written to") from None
