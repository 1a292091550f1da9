"""`sidewise read-line`: findings from a typed or dictated line, shown back for confirmation."""

from __future__ import annotations

import typer


def read_line(
    line: str = typer.Argument(..., help="The line, or - for standard input."),
    region: str = typer.Option("", help="The region; the only one if there is one."),
    as_json: bool = typer.Option(False, "--json", help="Print findings and places as JSON."),
) -> None:
    """Read a line of shorthand. Status 0 all understood; 1 something was not; 2 cannot be used."""
    from sidewise.protocol import load_protocol
    from sidewise.protocol.loader import regions
    from sidewise.record.line import read_line as read
    from sidewise.record.line.show import line_json, line_text

    text = _text(line)
    protocol = load_protocol(region or regions()[0])
    reading = read(text, protocol)
    typer.echo(line_json(reading) if as_json else line_text(reading, protocol))
    if not reading.whole:
        raise typer.Exit(1)


def _text(line: str) -> str:
    """The line itself, or what stands on standard input; UserError if there is nothing in it."""
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
