"""`sidewise follow`: real change over one patient's visits, and what is within error."""

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
    from sidewise.measure import tables_of
    from sidewise.measure.visits.follow_up import follow as followed
    from sidewise.measure.visits.text import follow_document, follow_lines
    from sidewise.protocol import protocol_of
    from sidewise.record import read_record
    from sidewise.regions import region_of_record, regions

    if picture is not None:
        _check_picture(picture)
    records = [read_record(exam, regions()) for exam in exams]
    names = ["standard input" if exam == "-" else Path(exam).name for exam in exams]
    region = region_of_record(records[0])
    found = followed(records, protocol_of(region), tables_of(region), names=names)
    absent = region.without("error", "side_difference", "change")
    if picture is not None:
        from sidewise.ground.svg.shapes import write_picture
        from sidewise.measure.drawings.pictures import follow_picture

        write_picture(follow_picture(found), picture)
    if as_json:
        import json

        document = follow_document(found)
        document |= {"absent": absent} if absent else {}
        typer.echo(json.dumps(document, indent=1, ensure_ascii=False))
        return
    for line in (*follow_lines(found), *absent):
        typer.echo(line)


def _check_picture(path: Path) -> None:
    from sidewise.errors import UserError

    if path.suffix.lower() not in (".svg", ".png"):
        raise UserError("--picture", path.name, "a file that ends in .svg or .png")
    if not path.absolute().parent.is_dir():
        raise UserError("--picture", str(path.parent), "a folder that exists")
