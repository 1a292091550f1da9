"""`sidewise marks`: from a table of marks to fair decisions."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from sidewise.assess.examination import Examination


def marks(
    file: Path = typer.Argument(..., help="Marks as CSV, XLSX or Parquet; - for input."),
    as_json: bool = typer.Option(False, "--json", help="Print everything as JSON."),
    html: Path | None = typer.Option(
        None, "--html", help="Write the report with pictures to this file."
    ),
    sitting: str | None = typer.Option(
        None, "--sitting", help="One sitting of a file with several."
    ),
    leave_out: str | None = typer.Option(
        None, "--leave-out", help="Rows to leave out, as 17,45-50."
    ),
    group: str | None = typer.Option(
        None, "--group", help="Column that says a student's group, to compare groups with care."
    ),
    without: list[str] = typer.Option([], "--without", help="A station to leave out."),
    ratings: str | None = typer.Option(
        None, "--ratings", help="Words of the rating, lowest first."
    ),
    borderline: str | None = typer.Option(
        None, "--borderline", help="Which of them is borderline."
    ),
    method: str = typer.Option("borderline regression", "--method", help="What sets the mark."),
    add_sem: float = typer.Option(0.0, "--add-sem", help="Standard errors added to the mark."),
    stations_to_pass: int = typer.Option(0, "--stations-to-pass", help="Stations to be passed."),
    angoff: Path | None = typer.Option(None, "--angoff", help="Judges' table for Angoff's method."),
    hofstee: str | None = typer.Option(None, "--hofstee", help="Judges' limits, as 50,66,4,40."),
    draws: int = typer.Option(2000, "--draws", help="Bootstrap draws; 0 for none."),
) -> None:
    """Stations, reliability, severity, pass marks and students near the mark.

    Supports a board's judgement; local rules of the examination come first.
    """
    from sidewise.assess.columns import rating_scale
    from sidewise.assess.examination import examine
    from sidewise.assess.judges_file import read_angoff
    from sidewise.assess.options import Options, hofstee_box, row_numbers
    from sidewise.assess.reading import read_marks

    scale = rating_scale(ratings, borderline)
    rows = row_numbers(leave_out)
    table = read_marks(file, scale=scale, leave_out=rows, sitting=sitting, group=group)
    options = Options(
        method=method,
        add_sem=add_sem,
        stations_to_pass=stations_to_pass,
        without=tuple(without),
        draws=draws,
        angoff=read_angoff(angoff, table) if angoff else None,
        hofstee=hofstee_box(hofstee) if hofstee else None,
    )
    _show(examine(table, options), as_json, html)


def _show(result: Examination, as_json: bool, html: Path | None) -> None:
    """The report to its file; the rest to the screen."""
    if html is not None:
        from sidewise.assess.report import report_html
        from sidewise.assess.writing import write_text

        write_text(html, report_html(result))
    if as_json:
        from sidewise.assess.as_json import dumps, examination_data

        typer.echo(dumps(examination_data(result)))
    elif html is None:
        from sidewise.assess.text import marks_text

        typer.echo(marks_text(result))
    else:
        typer.echo(f"Report written to {html}.")
