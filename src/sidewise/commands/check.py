"""`sidewise check`: are these files readable, complete, and free of raised flags?"""

from __future__ import annotations

from pathlib import Path

import typer

TABLES = (".csv", ".xlsx", ".parquet")


def check(
    files: list[Path] = typer.Argument(
        ..., help="Examinations (JSON) or mark tables; - for input."
    ),
) -> None:
    """Check files. Status 0 fine; 1 valid but incomplete or a flag raised; 2 cannot be used."""
    # Every file is read before anything is said, so that one bad file is not lost in the output.
    reports = [_table_report(file) if _is_table(file) else _record_report(file) for file in files]
    for text, _ in reports:
        typer.echo(text)
    if any(not complete for _, complete in reports):
        raise typer.Exit(1)


def _is_table(file: Path) -> bool:
    return file.suffix.lower() in TABLES


def _record_report(file: Path) -> tuple[str, bool]:
    from sidewise.note.completeness import completeness
    from sidewise.record import read_record

    summary = completeness(read_record(file))
    return summary.text(file.name), summary.complete


def _table_report(file: Path) -> tuple[str, bool]:
    from sidewise.assess.reading import check_marks

    summary = check_marks(file)
    return summary.text(), summary.complete
