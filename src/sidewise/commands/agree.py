"""`sidewise agree`: do examiners agree with the reference, and with each other?"""

from __future__ import annotations

from pathlib import Path

import typer


def agree(
    file: Path = typer.Argument(..., help="Findings as CSV, XLSX or Parquet; - for input."),
    as_json: bool = typer.Option(False, "--json", help="Print everything as JSON."),
) -> None:
    """Agreement between examiners, item by item, with intervals, and exchanged sides."""
    from sidewise.ground.extras import require_extra

    require_extra("marks", "a table of findings")
    from sidewise.start_up import load_tables_library

    load_tables_library((file,))
    from sidewise.teaching.hands.hands import agreement_of_hands
    from sidewise.teaching.tables.findings_table import read_findings

    result = agreement_of_hands(read_findings(file))
    if as_json:
        from sidewise.teaching.report.as_json import hands_data, json_text

        typer.echo(json_text(hands_data(result)))
        return
    from sidewise.teaching.report.hands_text import hands_text

    typer.echo(hands_text(result))
