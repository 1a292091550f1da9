"""`sidewise check`: are these files readable, complete, and free of raised flags?"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

from sidewise.commands.printing import print_document

if TYPE_CHECKING:
    from sidewise.record import Record
    from sidewise.schemas.documents import CheckedFile

TABLES = (".csv", ".xlsx", ".parquet")


def check(
    files: list[Path] = typer.Argument(
        ..., help="Examinations (JSON) or mark tables; - for input."
    ),
    columns: str | None = typer.Option(
        None, "--columns", help="Confirm what a sheet's columns are: yes, or 'mark=Score; ...'."
    ),
    zeros: str = typer.Option(
        "ask", "--zeros", help="Students with zeros only: ask, absent or real."
    ),
    case: bool = typer.Option(False, "--case", help="The files are simulated cases."),
    truth: Path | None = typer.Option(
        None, metavar="FILE", help="With --case: the truth of the one case; was it changed?"
    ),
    codes: str = typer.Option(
        "ask", "--codes", help="Codes that differ in case or spaces only: ask, join or apart."
    ),
    as_json: bool = typer.Option(False, "--json", help="Print what was found as JSON."),
) -> None:
    """Check files. Status 0 fine; 1 valid but incomplete or a flag raised; 2 cannot be used."""
    if case and truth is not None:
        from sidewise.practice.case_file import check_truth

        check_truth(truth, files[0])
    # Every file is read before anything is said, so that one bad file is not lost in the output.
    reports = [
        _table_report(file, columns, zeros, codes)
        if _is_table(file)
        else _record_report(file, case)
        for file in files
    ]
    complete = all(report.complete for report in reports)
    if as_json:
        from sidewise.schemas.documents import CHECK_FORMAT, Checked

        print_document(CHECK_FORMAT, Checked(complete, tuple(reports)))
    else:
        typer.echo("\n".join(line for report in reports for line in report.lines))
    if not complete:
        raise typer.Exit(1)


def _is_table(file: Path) -> bool:
    return file.suffix.lower() in TABLES


def _record_report(file: Path, case: bool) -> CheckedFile:
    from sidewise.note.completeness import completeness
    from sidewise.reason.judging.injections import flags_not_acknowledged
    from sidewise.record import read_record
    from sidewise.regions import region_of_record, regions
    from sidewise.schemas.documents import checked_examination

    record, warnings = _case_record(file) if case else (read_record(file, regions()), ())
    region = region_of_record(record)
    summary = completeness(record, region)
    against = tuple(flag.label for flag in flags_not_acknowledged(record, region))
    named = [f"  INJECTED AGAINST A RAISED FLAG: {label}" for label in against]
    # That it is simulated stands above what was found, in the same output.
    lines = (*warnings, *summary.text(file.name).split("\n"), *named)
    return checked_examination(file.name, summary, against, lines)


def _case_record(file: Path) -> tuple[Record, tuple[str, ...]]:
    from sidewise.practice.case_file import read_case
    from sidewise.regions import regions

    read = read_case(file, regions())
    return read.record, read.warnings


def _table_report(file: Path, columns: str | None, zeros: str, codes: str) -> CheckedFile:
    from sidewise.ground.extras import require_extra

    require_extra("marks", file.name)
    from sidewise.schemas.documents import checked_marks
    from sidewise.teaching.tables.marks_table import check_marks
    from sidewise.teaching.tables.plausible import codes_answer, zeros_answer

    summary = check_marks(
        file, columns=columns, zeros=zeros_answer(zeros), alike=codes_answer(codes)
    )
    return checked_marks(file.name, summary.complete, tuple(summary.text().split("\n")))
