"""Timetables as iCalendar (RFC 5545), one file a person, for the calendar they use anyway.

An entry says where to be and when, and nothing of what is examined: calendars are synchronised to
phones and seen by others.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any, NamedTuple
from uuid import NAMESPACE_URL, uuid5

from sidewise.ground.extras import require_extra
from sidewise.teaching.circuits.request import CircuitRequest
from sidewise.teaching.circuits.timetable import Timetable, duty_rounds, student_day

PRODUCT = "-//sidewise//timetable//EN"
SPACE = uuid5(NAMESPACE_URL, "urn:sidewise:timetable")


class PersonCalendar(NamedTuple):
    """A person's calendar: of which list they are, their number, and the file's content."""

    kind: str
    person: str
    content: bytes


class _Entry(NamedTuple):
    session: str
    circuit: str
    begins: datetime
    ends: datetime


def person_calendars(
    request: CircuitRequest, timetable: Timetable, made: datetime
) -> Iterator[PersonCalendar]:
    """A calendar for every student, examiner and actor of the timetable. made: when it was made,
    by which a calendar tells a later version from an earlier one."""
    require_extra("planning", "a calendar")
    entries: dict[tuple[str, str], list[_Entry]] = {}
    for start in timetable.starts:
        rounds = list(student_day(request, timetable, start))
        entry = _Entry(start.session, start.circuit, rounds[0].begins, rounds[-1].ends)
        entries.setdefault(("student", start.student), []).append(entry)
    for duty in timetable.duties:
        rounds = list(duty_rounds(request, timetable, duty))
        entry = _Entry(duty.session, duty.circuit, rounds[0].begins, rounds[-1].ends)
        entries.setdefault((duty.kind, duty.person), []).append(entry)
    for (kind, person), own in entries.items():
        yield PersonCalendar(kind, person, _calendar(request, kind, person, own, made))


def _calendar(
    request: CircuitRequest, kind: str, person: str, entries: list[_Entry], made: datetime
) -> bytes:
    from icalendar import Calendar

    found = Calendar()
    found.add("prodid", PRODUCT)
    found.add("version", "2.0")
    found.add("method", "PUBLISH")
    for entry in sorted(entries):
        found.add_component(_event(request, kind, person, entry, made))
    content: bytes = found.to_ical()
    return content


def _event(request: CircuitRequest, kind: str, person: str, entry: _Entry, made: datetime) -> Any:
    from icalendar import Event

    # Of the sitting, the person and the session, not of the circuit: when somebody is moved the
    # entry moves, and none is left behind.
    name = f"{request.sitting}/{kind}/{person}/{entry.session}"
    event = Event()
    event.add("uid", str(uuid5(SPACE, name)))
    event.add("dtstamp", made.astimezone(UTC))
    event.add("dtstart", entry.begins.astimezone(UTC))
    event.add("dtend", entry.ends.astimezone(UTC))
    event.add("summary", f"Examination {request.sitting}: session {entry.session}")
    event.add("location", f"Circuit {entry.circuit}")
    return event
