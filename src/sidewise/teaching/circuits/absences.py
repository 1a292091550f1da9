"""A request without people who cannot come after all."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import TypeVar

from sidewise.errors import UserError
from sidewise.ground.validation import validate_model
from sidewise.teaching.circuits.request import CircuitRequest, Helper
from sidewise.teaching.circuits.timetable import Timetable

Person = TypeVar("Person", bound=Helper)


def request_without(
    request: CircuitRequest, names: Collection[str], done: Sequence[str] = (),
    before: Timetable | None = None,
) -> CircuitRequest:  # fmt: skip
    """The request with these people absent from all sessions but those that are over.

    before: the timetable so far; a student who was examined in a session that is over stays.
    UserError for a name that nobody has.
    """
    known = {one.id for one in request.students}
    known |= {one.id for one in (*request.examiners, *request.actors)}
    strange = sorted(set(names) - known)
    if strange:
        raise UserError("without", ", ".join(strange), "people of the request")
    examined = {s.student for s in before.starts if s.session in done} if before else set()
    absent = set(names) - examined
    students = tuple(
        student.model_copy(update={
            "not_by": tuple(n for n in student.not_by if n not in absent or done),
            "apart": tuple(n for n in student.apart if n not in absent),
        })
        for student in request.students
        if student.id not in absent
    )  # fmt: skip
    left = {
        "students": students,
        "examiners": _still(request.examiners, absent, done),
        "actors": _still(request.actors, absent, done),
    }
    # Made anew, so that everything is checked again: nobody left is a fault too.
    plain = {name: getattr(request, name) for name in CircuitRequest.model_fields}
    return validate_model(CircuitRequest, plain | left, "without")


def _still(
    people: Sequence[Person], absent: Collection[str], done: Sequence[str]
) -> tuple[Person, ...]:
    """Those who are there, and those who were while it was their turn."""
    found = []
    for person in people:
        if person.id not in absent:
            apart = tuple(name for name in person.apart if name not in absent or done)
            found.append(person.model_copy(update={"apart": apart}))
        elif done:
            came = tuple(name for name in done if not person.sessions or name in person.sessions)
            # None named would mean any: who could come to none is left out.
            if came:
                found.append(person.model_copy(update={"sessions": came}))
    return tuple(found)
