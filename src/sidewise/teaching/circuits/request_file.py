"""The request for a timetable from its file, with its lists of people beside it as tables."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from datetime import timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

from sidewise.errors import UserError, UserErrors
from sidewise.ground.documents import parse_document, read_document_text
from sidewise.ground.tables import parse_table
from sidewise.ground.validation import validate_model
from sidewise.teaching.circuits.request import CIRCUITS_FORMAT, CircuitRequest

PEOPLE = ("students", "examiners", "actors")
LISTS = ("not_by", "apart", "sessions", "stations", "languages")
FLAGS = {"yes": True, "no": False}


def read_circuit_request(path: Path) -> CircuitRequest:
    """A request from a YAML or JSON file. `students: students.csv` names a table beside the file
    with a column for each field. UserErrors with everything that is wrong."""
    document = parse_document(read_document_text(path), path.name)
    for kind in PEOPLE:
        if isinstance(document.get(kind), str):
            document[kind] = _people(path.parent / Path(document[kind]).name)
    return circuit_request(document, path.name)


def circuit_request(document: dict[str, Any], name: str) -> CircuitRequest:
    """A request from plain data. name: of its file, as errors say it."""
    if document.get("format") != CIRCUITS_FORMAT:
        raise UserError(f"{name}: format", document.get("format"), f'"{CIRCUITS_FORMAT}"',
                        "The first line of a request says so.")  # fmt: skip
    request = validate_model(CircuitRequest, document, name)
    if faults := list(request_faults(request)):
        raise UserErrors([one.inside(name) for one in faults])
    return request


def _people(path: Path) -> list[dict[str, Any]]:
    """Rows of a table of people: empty cells are left out, lists are separated by spaces."""
    rows = parse_table(read_document_text(path), path.name)
    return [{name: _value(name, cell) for name, cell in row.items() if cell} for row in rows]


def _value(name: str, cell: str) -> Any:
    if name in LISTS:
        return cell.split()
    return FLAGS.get(cell.casefold(), cell) if name in ("wheelchair", "new") else cell


def request_faults(request: CircuitRequest) -> Iterator[UserError]:
    """Names that are there twice or not at all, and what cannot be walked or timed."""
    for kind in (*PEOPLE, "circuits", "sessions"):
        yield from _twice(kind, (one.id for one in getattr(request, kind)))
    yield from _twice("places", request_stations(request))
    yield from _places(request)
    yield from _names(request)
    yield from _times(request)


def request_stations(request: CircuitRequest) -> list[str]:
    """The stations in the order of the places."""
    return [place.station for place in request.places if place.kind == "station"]


def _twice(kind: str, names: Iterable[str]) -> Iterator[UserError]:
    again = [name for name, count in Counter(names).items() if count > 1]
    if again:
        yield UserError(kind, f"{', '.join(again[:8])} more than once", "everyone once",
                        "Two people may have one number: look, before one is deleted.")  # fmt: skip


def _places(request: CircuitRequest) -> Iterator[UserError]:
    kinds = [place.kind for place in request.places]
    for k, place in enumerate(request.places):
        if (place.kind == "station") != bool(place.station):
            yield UserError(f"places[{k}].station", place.station or None,
                            "a name for a station, and for nothing else")  # fmt: skip
        if place.kind == "preparation" and kinds[(k + 1) % len(kinds)] != "station":
            yield UserError(f"places[{k}]", "preparation", "a station behind it")
    if kinds and kinds[-1] == "preparation":
        yield UserError(f"places[{len(kinds) - 1}]", "preparation at the end",
                        "its station behind it", "Begin the order elsewhere.")  # fmt: skip
    for circuit in request.circuits:
        if circuit.rooms and len(circuit.rooms) != len(kinds):
            yield UserError(f"circuits.{circuit.id}.rooms", f"{len(circuit.rooms)} rooms",
                            f"{len(kinds)}, one for each place")  # fmt: skip


def _names(request: CircuitRequest) -> Iterator[UserError]:
    known = {kind: {one.id for one in getattr(request, kind)} for kind in (*PEOPLE, "sessions")}
    circuits = {circuit.id for circuit in request.circuits}
    for session in request.sessions:
        yield from _strangers(f"sessions.{session.id}.circuits", session.circuits, circuits)
    for student in request.students:
        where = f"students.{student.id}"
        yield from _strangers(f"{where}.not_by", student.not_by, known["examiners"])
        yield from _strangers(f"{where}.apart", student.apart, known["students"] - {student.id})
        yield from _strangers(f"{where}.sessions", student.sessions, known["sessions"])
    for kind in ("examiners", "actors"):
        for person in getattr(request, kind):
            where = f"{kind}.{person.id}"
            yield from _strangers(f"{where}.stations", person.stations, set(request.stations))
            yield from _strangers(f"{where}.sessions", person.sessions, known["sessions"])
            yield from _strangers(f"{where}.apart", person.apart, known[kind] - {person.id})


def _strangers(where: str, names: Iterable[str], known: set[str]) -> Iterator[UserError]:
    for name in names:
        if name not in known:
            yield UserError(where, name, f"one of {', '.join(sorted(known)[:12])}")


def _times(request: CircuitRequest) -> Iterator[UserError]:
    length = request.rounds(request.sessions[0].id)[-1][1] - request.sessions[0].starts
    for earlier, later in pairwise(request.ordered_sessions):
        if later.starts < earlier.starts + length:
            yield UserError(f"sessions.{later.id}.starts", later.starts.isoformat(),
                            f"at least {minutes_text(length)} after {earlier.id} starts",
                            "A session lasts as many rounds as it has places.")  # fmt: skip


def minutes_text(length: timedelta) -> str:
    """A length of time in minutes."""
    return f"{length.total_seconds() / 60:g} minutes"
