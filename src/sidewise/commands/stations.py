"""`sidewise stations`: stations checked, drafted, printed, and their paper sheets typed back."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

from sidewise.errors import UserError

if TYPE_CHECKING:
    from sidewise.knowledge.region import Region
    from sidewise.teaching.stations.station import Station


def stations(
    files: list[Path] = typer.Argument(None, help="Stations, a YAML or JSON file each."),
    draft: str = typer.Option(
        "", "--draft", metavar="ITEMS", help="Print a draft with these items."
    ),
    name: str = typer.Option("station-1", "--name", help="What the draft is called."),
    minutes: float = typer.Option(8.0, min=1, max=60, help="Minutes of the draft."),
    case: Path | None = typer.Option(
        None, "--case", help="A case from `sidewise case`, for the draft's actor sheet."
    ),
    region: str = typer.Option("", help="The draft's region."),
    pack: Path | None = typer.Option(
        None, metavar="FILE", help="Write all sheets to print (HTML)."
    ),
    entry: Path | None = typer.Option(
        None, metavar="FILE", help="Write the table to type one station's paper sheets into (CSV)."
    ),
    typed: Path | None = typer.Option(
        None, metavar="FILE", help="Print the marks of one station's typed sheets (CSV)."
    ),
    numbers: Path | None = typer.Option(
        None, metavar="FILE", help="With --typed: a timetable (JSON) whose students there are."
    ),
    sitting: str = typer.Option("1", help="With --typed: what the sitting is called."),
) -> None:
    """Stations of an examination: check, blueprint, paper. Local rules come first."""
    if draft:
        _print_draft(draft, name, minutes, region, case)
        return
    if not files:
        raise UserError("files", None, "stations to read", "Or --draft ITEMS to begin with one.")
    from sidewise.regions import regions
    from sidewise.teaching.stations.station_set import read_stations

    found = read_stations(files, regions())
    if typed is not None:
        _print_typed(_only(found), typed, numbers, sitting)
        return
    if entry is not None or pack is not None:
        _write_paper(found, entry, pack)
        return
    _print_blueprint(found)


def _write_paper(found: tuple[Station, ...], entry: Path | None, pack: Path | None) -> None:
    from sidewise.ground.whole_file import write_text
    from sidewise.teaching.report.station_pack import pack_page
    from sidewise.teaching.stations.paper_marks import entry_table

    if entry is not None:
        write_text(entry, entry_table(_only(found)))
        typer.echo(f"An entry table for {found[0].id} written to {entry}.")
    if pack is not None:
        write_text(pack, pack_page(found))
        typer.echo(f"{len(found)} stations to print written to {pack}.")


def _only(found: tuple[Station, ...]) -> Station:
    if len(found) != 1:
        raise UserError("files", f"{len(found)} stations", "one station", "A table is of one.")
    return found[0]


def _print_typed(station: Station, path: Path, numbers: Path | None, sitting: str) -> None:
    from sidewise.ground.documents import read_document_text
    from sidewise.teaching.stations.paper_marks import marks_csv, typed_sheets

    students = _students(numbers) if numbers is not None else None
    text = read_document_text(path)
    found = typed_sheets(station, text, path.name, sitting=sitting, students=students)
    for line in found.warnings:
        typer.echo(line, err=True)
    typer.echo(marks_csv(found.rows), nl=False)


def _students(timetable: Path) -> frozenset[str]:
    from sidewise.teaching.circuits.timetable_file import read_timetable

    return frozenset(start.student for start in read_timetable(timetable).starts)


def _print_draft(items: str, name: str, minutes: float, region: str, case: Path | None) -> None:
    from sidewise.regions import regions
    from sidewise.teaching.stations.station_draft import draft_station
    from sidewise.teaching.stations.station_file import station_text

    chosen = regions().chosen(region)
    wanted = [word.strip() for word in items.split(",") if word.strip()]
    actor = _actor_text(case, chosen) if case is not None else ""
    made = draft_station(chosen, wanted, name=name, minutes=minutes, actor=actor)
    typer.echo(station_text(made), nl=False)


def _actor_text(case: Path, region: Region) -> str:
    from sidewise.practice.actor_sheet import actor_sheet, actor_text
    from sidewise.practice.case_file import read_case

    return actor_text(actor_sheet(read_case(case, {region.id: region}), region))


def _print_blueprint(found: tuple[Station, ...]) -> None:
    from sidewise.evidence.conditions import conditions_of
    from sidewise.regions import regions
    from sidewise.teaching.stations.blueprint import blueprint, blueprint_lines
    from sidewise.teaching.stations.station_cautions import set_cautions, station_cautions

    named = {station.region for station in found if station.region}
    region = regions()[named.pop()] if len(named) == 1 else None
    labels = {}
    if region is not None and region.has("conditions"):
        labels = {name: one.label for name, one in conditions_of(region).by_id.items()}
    lines = blueprint_lines(blueprint(found, region, labels))
    asked = [line for station in found for line in station_cautions(station, region, labels)]
    if care := [*asked, *set_cautions(found)]:
        lines += ["", "To be asked by a second person:", *(f"  {line}" for line in care)]
    typer.echo("\n".join(lines))
