"""`sidewise timetable`: who is where and when; made again when somebody is ill."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

from sidewise.errors import UserError

if TYPE_CHECKING:
    from sidewise.teaching.circuits.request import CircuitRequest
    from sidewise.teaching.circuits.timetable import Timetable
    from sidewise.teaching.circuits.timetable_file import TimetableDocument


def timetable(
    request: Path = typer.Argument(..., help="Stations, people, sessions and rules (YAML, JSON)."),
    out: Path | None = typer.Option(
        None, metavar="FOLDER", help="Write the timetable, sheets to print and calendars there."
    ),
    paper: list[Path] = typer.Option(
        [], "--paper", metavar="STATION", help="With --out: numbered mark sheets of this station."
    ),
    was: Path | None = typer.Option(
        None, metavar="FILE", help="The timetable so far (JSON): change as little as may be."
    ),
    without: str = typer.Option("", metavar="NAMES", help="People who cannot come after all."),
    done: str = typer.Option("", metavar="SESSIONS", help="With --was: sessions that are over."),
    check: Path | None = typer.Option(
        None, metavar="FILE", help="Only say what is wrong with this timetable (JSON)."
    ),
    as_json: bool = typer.Option(False, "--json", help="Print the timetable as JSON."),
    seconds: float = typer.Option(300.0, min=1, max=3600, help="Longest search."),
) -> None:
    """Circuits, people and rounds, and what they will tell of examiners. Local rules come first."""
    from sidewise.ground.extras import require_extra

    require_extra("marks", "a timetable")
    from sidewise.teaching.circuits.absences import request_without
    from sidewise.teaching.circuits.request_file import read_circuit_request
    from sidewise.teaching.circuits.timetable_file import read_timetable

    asked, over = read_circuit_request(request), tuple(_words(done))
    if check is not None:
        _say_faults(asked, read_timetable(check))
        return
    before = read_timetable(was) if was is not None else None
    if over and before is None:
        raise UserError("--done", done, "--was FILE as well", "It says who was where.")
    if names := _words(without):
        asked = request_without(asked, names, over, before)
    _make(asked, before, over, seconds, out, paper, as_json)


def _words(text: str) -> list[str]:
    return [word.strip() for word in text.split(",") if word.strip()]


def _say_faults(asked: CircuitRequest, found: Timetable) -> None:
    from sidewise.teaching.circuits.faults import timetable_faults

    faults = timetable_faults(asked, found)
    typer.echo("\n".join(faults) or "Every rule is kept.")
    if faults:
        raise typer.Exit(1)


def _make(
    asked: CircuitRequest, before: Timetable | None, over: tuple[str, ...], seconds: float,
    out: Path | None, paper: list[Path], as_json: bool,
) -> None:  # fmt: skip
    from sidewise.teaching.circuits.allocation import make_again, make_timetable
    from sidewise.teaching.circuits.outlook import severity_outlook
    from sidewise.teaching.circuits.timetable_file import timetable_document, timetable_text
    from sidewise.teaching.circuits.timetable_words import timetable_lines

    if before is None:
        found = make_timetable(asked, seconds)
    else:
        found = make_again(asked, before, over, seconds)
    outlook = severity_outlook(asked, found.timetable)
    document = timetable_document(asked, found, outlook)
    if out is not None:
        count = _write(asked, found.timetable, document, out, paper)
        typer.echo(f"{count} files written below {out}.", err=as_json)
    if as_json:
        typer.echo(timetable_text(document))
    elif out is None:
        typer.echo("\n".join(timetable_lines(asked, found, outlook)))
    else:
        typer.echo("\n".join(outlook.sentences))


def _write(
    asked: CircuitRequest, found: Timetable, document: TimetableDocument, out: Path,
    paper: list[Path],
) -> int:  # fmt: skip
    """Everything that is printed or handed out; how many files."""
    from datetime import UTC, datetime

    from sidewise.ground.whole_file import write_text
    from sidewise.teaching.circuits.calendars import person_calendars
    from sidewise.teaching.circuits.timetable_file import timetable_text
    from sidewise.teaching.report.timetable_pages import door_sheets, helper_sheets, student_sheets

    texts = {
        "timetable.json": timetable_text(document) + "\n",
        "students.html": student_sheets(asked, found),
        "examiners.html": helper_sheets(asked, found, "examiner"),
        "actors.html": helper_sheets(asked, found, "actor"),
        "doors.html": door_sheets(asked, found),
        **_paper(asked, found, paper),
    }
    for one in person_calendars(asked, found, datetime.now(UTC)):
        texts[f"calendars/{one.kind}-{one.person}.ics"] = one.content.decode("utf-8")
    try:
        (out / "calendars").mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UserError(str(out), error.strerror, "a folder that can be written to") from None
    for name, text in texts.items():
        write_text(out / name, text)
    return len(texts)


def _paper(asked: CircuitRequest, found: Timetable, paths: list[Path]) -> dict[str, str]:
    """Numbered mark sheets of stations, and the tables that they are typed into."""
    from sidewise.teaching.circuits.paper_rows import paper_rows
    from sidewise.teaching.report.station_pack import mark_sheets_page
    from sidewise.teaching.stations.paper_marks import entry_table
    from sidewise.teaching.stations.station_file import read_station

    texts = {}
    for path in paths:
        station = read_station(path)
        rows = paper_rows(asked, found, station.id)
        texts[f"marks-{station.id}.html"] = mark_sheets_page([station], rows)
        texts[f"entry-{station.id}.csv"] = entry_table(station, rows)
    return texts
