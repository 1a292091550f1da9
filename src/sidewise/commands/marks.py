"""`sidewise marks`: from a table of marks to fair decisions."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from sidewise.errors import UserError
from sidewise.teaching.sitting.option_words import OPTION_WORDS

if TYPE_CHECKING:
    from sidewise.teaching.sitting.sitting import Sitting
    from sidewise.teaching.sitting.years import Years


def marks(
    file: Path | None = typer.Argument(None, help="Marks as CSV, XLSX or Parquet; - for input."),
    columns: str | None = typer.Option(None, "--columns", help=OPTION_WORDS["columns"]),
    template: Path | None = typer.Option(
        None, "--template", help="Write an empty table to fill in, .csv or .xlsx, and stop."
    ),
    zeros: str = typer.Option("ask", "--zeros", help=OPTION_WORDS["zeros"]),
    codes: str = typer.Option("ask", "--codes", help=OPTION_WORDS["codes"]),
    as_json: bool = typer.Option(False, "--json", help="Print everything as JSON."),
    html: Path | None = typer.Option(
        None, "--html", help="Write the report with pictures to this file."
    ),
    sitting: str | None = typer.Option(None, "--sitting", help=OPTION_WORDS["sitting"]),
    leave_out: str | None = typer.Option(None, "--leave-out", help=OPTION_WORDS["leave_out"]),
    group: str | None = typer.Option(None, "--group", help=OPTION_WORDS["group"]),
    without: list[str] = typer.Option([], "--without", help=OPTION_WORDS["without"]),
    ratings: str | None = typer.Option(None, "--ratings", help=OPTION_WORDS["ratings"]),
    borderline: str | None = typer.Option(None, "--borderline", help=OPTION_WORDS["borderline"]),
    ratings_from: int | None = typer.Option(
        None, "--ratings-from", help=OPTION_WORDS["ratings_from"]
    ),
    positions: str | None = typer.Option(None, "--positions", help=OPTION_WORDS["positions"]),
    method: str = typer.Option("borderline regression", "--method", help=OPTION_WORDS["method"]),
    add_sem: float = typer.Option(0.0, "--add-sem", help=OPTION_WORDS["add_sem"]),
    stations_to_pass: int = typer.Option(
        0, "--stations-to-pass", help=OPTION_WORDS["stations_to_pass"]
    ),
    angoff: Path | None = typer.Option(None, "--angoff", help="Judges' table for Angoff's method."),
    ebel: Path | None = typer.Option(
        None, "--ebel", help="Judges' relevance and difficulty of items, for Ebel's method."
    ),
    ebel_shares: Path | None = typer.Option(
        None, "--ebel-shares", help="Share of marks expected by relevance and difficulty."
    ),
    hofstee: str | None = typer.Option(None, "--hofstee", help=OPTION_WORDS["hofstee"]),
    critical: str = typer.Option("hold", "--critical", help=OPTION_WORDS["critical"]),
    look_again: float | None = typer.Option(None, "--look-again", help=OPTION_WORDS["look_again"]),
    pass_mark: float | None = typer.Option(None, "--pass-mark", help=OPTION_WORDS["pass_mark"]),
    decide: bool = typer.Option(False, "--decide", help="The page of decisions only."),
    recall: int = typer.Option(0, "--recall", help=OPTION_WORDS["recall"]),
    by: str = typer.Option("", "--by", help=OPTION_WORDS["by"]),
    letters: Path | None = typer.Option(
        None, "--letters", help="Write letters to examiners, authors and students to this folder."
    ),
    argument: Path | None = typer.Option(
        None, "--argument", help="Write a one-page template of the validity argument, figures in."
    ),
    bank: Path | None = typer.Option(
        None, "--bank", help="A bank of stations of earlier sittings to stand beside."
    ),
    keep_in_bank: bool = typer.Option(
        False, "--keep-in-bank", help="Add this sitting's stations to the bank."
    ),
    draws: int = typer.Option(2000, "--draws", help=OPTION_WORDS["draws"]),
) -> None:
    """Stations, reliability, severity, pass marks and students near the mark.

    Supports a board's judgement; local rules of the examination come first.
    """
    from sidewise.ground.extras import require_extra

    require_extra("marks", "a table of marks")
    from sidewise.start_up import load_tables_library
    from sidewise.teaching.sitting.options import further_stations
    from sidewise.teaching.sitting.request import JudgesTables, MarksRequest

    if template is not None:
        _write_template(template)
        return
    if file is None:
        raise UserError(
            "file", None, "a table of marks", "Or --template marks.csv for an empty one."
        )
    load_tables_library((file, angoff, ebel, ebel_shares))
    asked = MarksRequest(
        columns=columns, zeros=zeros, codes=codes, sitting=sitting, leave_out=leave_out,
        group=group, without=tuple(without), ratings=ratings, borderline=borderline,
        ratings_from=ratings_from, positions=positions, method=method, add_sem=add_sem,
        stations_to_pass=stations_to_pass, hofstee=hofstee, critical=critical,
        look_again=look_again, pass_mark=pass_mark, recall=recall, by=by, draws=draws,
    )  # fmt: skip
    result = asked.analysed(file, JudgesTables(angoff, ebel, ebel_shares))
    if letters is not None:
        _write_letters(result, letters)
        return
    if argument is not None:
        _write_argument(result, argument)
        return
    years = _years(result, bank, keep_in_bank)
    _show(result, as_json, html, decide, further_stations(asked.recall), years)


def _years(result: Sitting, bank: Path | None, keep: bool) -> Years | None:
    """This sitting beside the bank; the bank grows only when asked."""
    if bank is None:
        if keep:
            raise UserError("keep-in-bank", "no bank", "--bank FILE as well", "")
        return None
    from sidewise.teaching.sitting.years import bank_rows, beside_earlier
    from sidewise.teaching.tables.station_bank import add_to_bank, read_bank

    found = beside_earlier(result, read_bank(bank))
    if keep:
        add_to_bank(bank, bank_rows(result))
    return found


def _write_letters(result: Sitting, folder: Path) -> None:
    from sidewise.teaching.report.letters import write_letters

    typer.echo(f"{write_letters(result, folder):,} letters written below {folder}.")


def _write_argument(result: Sitting, path: Path) -> None:
    from sidewise.ground.whole_file import write_text
    from sidewise.teaching.report.validity import validity_text

    write_text(path, validity_text(result))
    typer.echo(f"A template of the validity argument written to {path}.")


def _write_template(path: Path) -> None:
    from sidewise.teaching.tables.template import write_template

    write_template(path)
    typer.echo(f"An empty table of marks written to {path}.")


def _show(
    result: Sitting, as_json: bool, html: Path | None, decide: bool, recall: int,
    years: Years | None,
) -> None:  # fmt: skip
    """The report to its file; the rest to the screen."""
    if html is not None:
        from sidewise.ground.whole_file import write_text
        from sidewise.teaching.report.page import report_html

        write_text(html, report_html(result, made=date.today(), years=years))
    if as_json:
        from sidewise.teaching.report.as_json import json_text, sitting_data

        typer.echo(json_text(sitting_data(result, recall, years)))
    elif decide or recall:
        from sidewise.teaching.report.text import decisions_text

        typer.echo(decisions_text(result, recall))
    elif html is None:
        from sidewise.teaching.report.text import marks_text

        typer.echo(marks_text(result, years))
    else:
        typer.echo(f"Report written to {html}.")
