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


def write_bytes_out(data: bytes, out: Path | None, suffix: str) -> None:
    """The bytes to this file; UserError without one, or where its name ends otherwise."""
    if out is None or out.suffix.lower() != suffix:
        raise UserError("--out", str(out) if out else None, f"a file that ends in {suffix}",
                        f"Name it with -o, as -o note{suffix}.")  # fmt: skip
    try:
        out.write_bytes(data)
    except OSError as error:
        raise UserError(str(out), error.strerror, "a place that can be written to") from None
    typer.echo(f"{out}: written, {max(len(data) // 1000, 1)} kB.")


def read_text(path: Path) -> str:
    """The text of a file; UserError where it cannot be read."""
    try:
        return path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise UserError(path.name, str(error), "a text file in UTF-8") from None
