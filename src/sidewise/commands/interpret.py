"""`sidewise interpret`: what the findings make more or less likely, and what must not be missed."""

from __future__ import annotations

import json
from pathlib import Path

import typer


def interpret(
    exam: Path = typer.Argument(..., help="An examination (JSON), or - for standard input."),
    setting: str = typer.Option("", help="primary, msk_clinic, orthopaedic or emergency."),
    as_json: bool = typer.Option(False, "--json", help="Print the whole result as JSON."),
    draws: int = typer.Option(500, min=100, max=2000, help="Parameter draws for the intervals."),
) -> None:
    """Weigh the findings of one examination. Supports a clinician; does not diagnose."""
    from sidewise.reason import interpret as weigh
    from sidewise.record import read_record

    result = weigh(read_record(exam), setting=setting or None, draws=draws)
    if as_json:
        typer.echo(json.dumps(result.to_json(), indent=1, ensure_ascii=False))
        return
    from sidewise.note.meaning import meaning_text

    typer.echo(meaning_text(result))
