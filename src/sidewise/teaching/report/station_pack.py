"""A station on paper: the sheet for the door, the examiner's, the actor's, and the mark sheet."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from html import escape

from sidewise.teaching.report.printed_sheets import sheet_section, sheets_page
from sidewise.teaching.stations.paper_marks import CODES
from sidewise.teaching.stations.station import SheetStep, Station

SECRET = "Not to be shown to candidates, and not to be kept after the day."
STOP = (
    "A patient or an actor who is really hurt or ill comes first: stop the station, help, and "
    "tell the organiser. What it means for the marks is decided afterwards."
)
CODE_OF = {answer: code for code, answer in CODES.items()}


def pack_page(stations: Sequence[Station]) -> str:
    """Everything of the stations to print, in their order."""
    return sheets_page(
        "Stations, to print", (part for station in stations for part in _sections(station))
    )


def mark_sheets_page(stations: Sequence[Station], rows: Sequence[Sequence[str]] = ()) -> str:
    """Mark sheets alone; with rows (circuit, session, examiner, student) one for each of them."""
    known = rows or [("", "", "", "")]
    return sheets_page(
        "Mark sheets", (_mark_sheet(station, row) for station in stations for row in known)
    )


def _sections(station: Station) -> Iterator[str]:
    yield sheet_section(station.title, _head(station, "for the candidate, at the door"),
                        f'<p class="task">{escape(station.candidate)}</p>'
                        f"<p>You have {station.minutes:g} minutes.</p>")  # fmt: skip
    yield sheet_section(station.title, _head(station, "for the examiner"), _examiners(station))
    if station.actor:
        yield sheet_section(station.title, _head(station, "for the patient actor"),
                            f'<p class="told">{escape(station.actor)}</p>'
                            f"<p>{escape(SECRET)}</p>")  # fmt: skip
    yield _mark_sheet(station, ("", "", "", ""))


def _head(station: Station, whom: str) -> str:
    return f"Station {station.id}, version {station.version}: {whom}"


def _examiners(station: Station) -> str:
    lists = (
        ("What a good performance shows", station.good),
        ("Critical errors", station.critical),
        ("What has to be in the room", station.equipment),
    )
    body = f'<p class="told">{escape(station.examiner)}</p>'
    body += "".join(_list(title, lines) for title, lines in lists if lines)
    return f"{body}<p>{escape(STOP)}</p><p>{escape(SECRET)}</p>"


def _list(title: str, lines: Sequence[str]) -> str:
    points = "".join(f"<li>{escape(line)}</li>" for line in lines)
    return f"<h3>{escape(title)}</h3><ul>{points}</ul>"


def _mark_sheet(station: Station, row: Sequence[str]) -> str:
    names = ("Circuit", "Session", "Examiner", "Student number")
    known = zip(names, row, strict=True)
    head = " ".join(
        f'<span class="boxes">{name} <span class="line">{escape(value)}&nbsp;</span></span>'
        for name, value in known
    )
    lines = "".join(map(_line, station.steps))
    body = (
        f'<p class="head">{head}</p>'
        "<p>Ring one box in each line. A line without a ring is a missing mark, not a zero.</p>"
        '<table><thead><tr><th scope="col">Step</th><th scope="col">Box</th>'
        f'<th scope="col">Points</th></tr></thead><tbody>{lines}</tbody></table>'
        f"{_rating(station)}{_critical(station)}"
        '<h3>Comment for the student</h3><p class="write">&nbsp;</p>'
    )
    return sheet_section(station.title, _head(station, "mark sheet"), body)


def _line(step: SheetStep) -> str:
    boxes = " ".join(
        f'<span class="boxes"><span class="box">{CODE_OF[answer]}</span>{escape(word)}</span>'
        for answer, word in step.words.items()
    )
    return (
        f'<tr><th scope="row">{escape(step.text)}</th><td>{boxes}</td><td>{step.weight:g}</td></tr>'
    )


def _rating(station: Station) -> str:
    words = " ".join(f'<span class="box">{escape(word)}</span>' for word in station.rating.words)
    return f"<h3>The performance as a whole</h3><p>{words}</p>"


def _critical(station: Station) -> str:
    if not station.critical:
        return ""
    lines = "".join(
        f'<li><span class="box">&nbsp;</span>{escape(line)}</li>' for line in station.critical
    )
    return (
        f"<h3>Critical errors (tick what happened, and say it in the comment)</h3><ul>{lines}</ul>"
    )
