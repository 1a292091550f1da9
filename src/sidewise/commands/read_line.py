"""`sidewise read-line`: findings from a typed or dictated line, shown back for confirmation."""

from __future__ import annotations

import typer


def read_line(
    line: str = typer.Argument(..., help="The line, or - for standard input."),
    region: str = typer.Option("", help="The region; may be left out where there is one."),
    as_json: bool = typer.Option(False, "--json", help="Print findings and places as JSON."),
) -> None:
    """Read a line of shorthand. Status 0 all understood; 1 partly understood; 2 unusable."""
    from sidewise.record.line import read_line as read
    from sidewise.record.line.display import line_json, line_text
    from sidewise.regions import regions

    text = _text(line)
    chosen = regions().chosen(region)
    reading = read(text, chosen)
    typer.echo(line_json(reading) if as_json else line_text(reading, chosen))
    if not reading.whole:
        raise typer.Exit(1)


def _text(line: str) -> str:
    """The line itself, or standard input; UserError if it is empty."""
    import sys

    from sidewise.errors import UserError

    if line == "-":
        try:
            line = sys.stdin.buffer.read().decode("utf-8-sig")
        except UnicodeDecodeError:
            raise UserError("standard input", "bytes that are not UTF-8", "text in UTF-8") from None
    if not line.strip(" \t\r\n;"):
        raise UserError("line", line, 'an entry such as "Neer R pos"')
    return line
