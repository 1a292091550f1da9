"""`sidewise two-readers`: two clinicians' readings of one patient side by side."""

from __future__ import annotations

from pathlib import Path

import typer


def two_readers(
    first: Path = typer.Argument(..., help="One clinician's examination (JSON)."),
    second: Path | None = typer.Argument(
        None, help="Another's of the same patient; without it, two who examined in the first."
    ),
) -> None:
    """Two clinicians' readings of one patient against published error; never who is right."""
    from sidewise.errors import UserError
    from sidewise.note.two_readers import readers_of, reading_by
    from sidewise.note.two_readers import two_readers as compared
    from sidewise.note.two_readers_text import two_readers_lines
    from sidewise.record import read_record
    from sidewise.regions import region_of_record, regions

    one = read_record(first, regions())
    if second is not None:
        other = read_record(second, regions())
    else:
        readers = readers_of(one)
        if len(readers) != 2:
            raise UserError(str(first), f"examined by {', '.join(readers)}", "by two clinicians",
                            "Give a second examination of the same patient.")  # fmt: skip
        one, other = (reading_by(one, name) for name in readers)
    for line in two_readers_lines(compared(one, other, region_of_record(one))):
        typer.echo(line)
