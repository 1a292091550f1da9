"""`sidewise case`: a simulated patient for practice, with the truth apart."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

from sidewise.ground.settings import SETTINGS

if TYPE_CHECKING:
    from sidewise.knowledge.region import Region
    from sidewise.practice import PracticeCase


def case(
    seed: int = typer.Option(..., min=0, help="The same seed gives the same case."),
    present: list[str] = typer.Option(
        [], "--with", metavar="CONDITION", help="A condition to have: frozen, cuff:LEVEL ..."
    ),
    absent: list[str] = typer.Option(
        [], "--without", metavar="CONDITION", help="One not to have; others: all not asked for."
    ),
    flag: list[str] = typer.Option([], help="A red flag that must stand, or none."),
    age: int | None = typer.Option(None, help="In years, from 18."),
    setting: str = typer.Option("", help=f"One of {', '.join(SETTINGS)}."),
    difficulty: str = typer.Option("usual", help="How misleading: easy, usual or hard."),
    region: str = typer.Option("", help="The region."),
    to: Path | None = typer.Option(None, "--to", metavar="FILE", help="Write the case here."),
    truth: Path | None = typer.Option(None, metavar="FILE", help="Write the truth here."),
    actor: Path | None = typer.Option(
        None,
        metavar="FILE",
        help="Write the sheet for a patient actor: a page if .html, else text.",
    ),
) -> None:
    """Make a simulated patient for practice. Nothing it writes can be read as a patient."""
    from sidewise.practice import CaseWishes, practice_case
    from sidewise.practice.case_file import case_text, truth_text
    from sidewise.regions import regions

    for path in (to, truth, actor):
        _check_place(path)
    known = regions().chosen(region)
    wishes = CaseWishes(
        tuple(present), tuple(absent), tuple(flag), age, setting or None, difficulty
    )
    made = practice_case(known, seed, wishes)
    if truth is not None:
        truth.write_text(truth_text(made, known), encoding="utf-8")
    if actor is not None:
        actor.write_text(_sheet(made, known, page=actor.suffix == ".html"), encoding="utf-8")
    if to is None:
        typer.echo(case_text(made), nl=False)
    else:
        to.write_text(case_text(made), encoding="utf-8")
        typer.echo(f"{made.id}: {made.story.opening}")


def _sheet(made: PracticeCase, region: Region, *, page: bool) -> str:
    from sidewise.practice.actor_sheet import actor_page, actor_sheet, actor_text
    from sidewise.practice.case_file import case_file

    sheet = actor_sheet(case_file(made), region)
    return actor_page(sheet) if page else actor_text(sheet)


def _check_place(path: Path | None) -> None:
    from sidewise.errors import UserError

    if path is not None and not path.absolute().parent.is_dir():
        raise UserError("FILE", str(path.parent), "a folder that exists")
