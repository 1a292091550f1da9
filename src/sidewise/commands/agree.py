"""`sidewise agree`: do examiners find the same as the reference, and as each other?"""

from __future__ import annotations

from pathlib import Path

import typer


def agree(
    file: Path = typer.Argument(..., help="Findings as CSV, XLSX or Parquet; - for input."),
    as_json: bool = typer.Option(False, "--json", help="Print everything as JSON."),
) -> None:
    """Agreement of hands, item by item, with intervals; sides that may be exchanged are named."""
    from sidewise.assess.findings import read_findings
    from sidewise.assess.hands import agreement_of_hands

    result = agreement_of_hands(read_findings(file))
    if as_json:
        from sidewise.assess.as_json import dumps, hands_data

        typer.echo(dumps(hands_data(result)))
        return
    from sidewise.assess.text import hands_text

    typer.echo(hands_text(result))
