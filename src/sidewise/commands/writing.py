"""What a command made, to a file or to the screen."""

from __future__ import annotations

from pathlib import Path

import typer

from sidewise.errors import UserError


def write_out(text: str, out: Path | None) -> None:
    """The text to this file, or printed; UserError if the file cannot be written."""
    if out is None:
        typer.echo(text)
        return
    try:
        out.write_text(text + "\n", encoding="utf-8")
    except OSError as error:
        raise UserError(str(out), error.strerror, "a place that can be written to") from None
