"""`sidewise follow`: what has changed over one patient's visits, and what is error."""

from __future__ import annotations

from pathlib import Path

import typer


def follow(
    exams: list[str] = typer.Argument(..., metavar="EXAM", help="Examinations, in order."),
    as_json: bool = typer.Option(False, "--json", help="The whole result as JSON."),
    picture: Path | None = typer.Option(
        None, "--picture", metavar="FILE", help="Draw the course as .svg or .png."
    ),
) -> None:
    """The course of each measure over visits: real changes, and those within error."""
    from sidewise.measure.follow_text import follow_document, follow_lines
    from sidewise.measure.visits import follow as followed
    from sidewise.protocol import load_protocol
    from sidewise.record import read_record

    if picture is not None:
        _check_picture(picture)
    records = [read_record(exam) for exam in exams]
    names = ["standard input" if exam == "-" else Path(exam).name for exam in exams]
    found = followed(records, load_protocol(records[0].region), names=names)
    if picture is not None:
        from sidewise.measure.draw import write_picture
        from sidewise.measure.pictures import follow_picture

        write_picture(follow_picture(found), picture)
    if as_json:
        import json

        typer.echo(json.dumps(follow_document(found), indent=1, ensure_ascii=False))
        return
    for line in follow_lines(found):
        typer.echo(line)


def _check_picture(path: Path) -> None:
    from sidewise.errors import UserError

    if path.suffix.lower() not in (".svg", ".png"):
        raise UserError("--picture", path.name, "a file that ends in .svg or .png")
    if not path.absolute().parent.is_dir():
        raise UserError("--picture", str(path.parent), "a folder that exists")
