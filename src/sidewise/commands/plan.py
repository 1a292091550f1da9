"""`sidewise plan`: which items, in which order, within the minutes there are."""

from __future__ import annotations

from pathlib import Path

import typer

from sidewise.ground.settings import SETTINGS


def plan(
    minutes: float = typer.Option(..., help="The patient's time, preparing and closing in it."),
    exam: Path | None = typer.Option(
        None, "--for", metavar="EXAM", help="Go on from this examination (JSON), - for input."
    ),
    complaint: str = typer.Option("right", help="Without EXAM: left, right or both sides hurt."),
    age: int | None = typer.Option(None, min=0, max=120, help="Without EXAM: age in years."),
    setting: str = typer.Option("", help=f"One of {', '.join(SETTINGS)}."),
    region: str = typer.Option("", help="Without EXAM: the region."),
    as_json: bool = typer.Option(False, "--json", help="Print the whole plan as JSON."),
    card: Path | None = typer.Option(None, metavar="FILE", help="Write a pocket card (HTML)."),
    seconds: float = typer.Option(20.0, min=0.1, max=600, help="Computing time for the proof."),
) -> None:
    """The best examination for the time. Supports a clinician; does not diagnose."""
    from sidewise.plan import plan_examination, presentation
    from sidewise.record import read_record
    from sidewise.regions import region_of_record, regions

    if card is not None:
        _check_card(card)
    if exam is not None:
        record = read_record(exam, regions())
        known = region_of_record(record)
    else:
        known = regions().chosen(region)
        record = presentation(known.id, complaint, age)
    found = plan_examination(
        record, known, minutes, setting=setting or None, search_seconds=seconds
    )
    if card is not None:
        from sidewise.plan.pocket_card import pocket_card

        card.write_text(pocket_card(found), encoding="utf-8")
    if as_json:
        import json

        typer.echo(json.dumps(found.to_json(), indent=1, ensure_ascii=False))
        return
    from sidewise.plan.text import plan_text_lines

    typer.echo("\n".join(plan_text_lines(found)))


def _check_card(path: Path) -> None:
    from sidewise.errors import UserError

    if path.suffix.lower() not in (".html", ".htm"):
        raise UserError("--card", path.name, "a file that ends in .html")
    if not path.absolute().parent.is_dir():
        raise UserError("--card", str(path.parent), "a folder that exists")
