"""A timetable as a document, and read again to be changed on the day."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, Literal

from sidewise.errors import UserError
from sidewise.ground.documents import parse_document, read_document_text
from sidewise.ground.frozen import Frozen
from sidewise.ground.validation import validate_model
from sidewise.teaching.circuits.allocation import Allocation
from sidewise.teaching.circuits.outlook import SeverityOutlook
from sidewise.teaching.circuits.request import CircuitRequest
from sidewise.teaching.circuits.timetable import (
    TIMETABLE_FORMAT,
    Duty,
    DutyKind,
    Start,
    Timetable,
)


class PlacedStudent(Frozen):
    """A student and the number (from 1) of the place where they begin."""

    session: str
    circuit: str
    place: int
    student: str


class PlacedHelper(Frozen):
    """An examiner or an actor at the place (from 1) where they sit for a session."""

    session: str
    circuit: str
    place: int
    kind: DutyKind
    person: str


class AllocationFigures(Frozen):
    """How good the timetable is. cost and bound: what the solver reached, and the least that could
    still be; the same where it is proven."""

    runs: int
    slow: int
    moves: int
    cost: int
    bound: int
    proven: bool


class OutlookFigures(Frozen):
    """What will be told of examiners' severity, in points; null where nothing can be told."""

    sets: tuple[tuple[str, ...], ...]
    errors: dict[str, float | None]
    mean: float | None
    worst: float | None
    sentences: tuple[str, ...]


class TimetableDocument(Frozen):
    """Everything that is written of a timetable."""

    format: Literal["sidewise-timetable/1"]
    sitting: str
    starts: tuple[PlacedStudent, ...]
    duties: tuple[PlacedHelper, ...]
    figures: AllocationFigures
    severity: OutlookFigures


def timetable_document(
    request: CircuitRequest, found: Allocation, outlook: SeverityOutlook
) -> TimetableDocument:
    """The document of a timetable that was made."""
    return TimetableDocument(
        format=TIMETABLE_FORMAT,
        sitting=request.sitting,
        starts=tuple(
            PlacedStudent(session=s.session, circuit=s.circuit, place=s.place + 1,
                          student=s.student)
            for s in found.timetable.starts
        ),
        duties=tuple(
            PlacedHelper(session=d.session, circuit=d.circuit, place=d.place + 1, kind=d.kind,
                         person=d.person)
            for d in found.timetable.duties
        ),
        figures=AllocationFigures(
            runs=found.runs, slow=found.slow, moves=found.moves, cost=found.cost,
            bound=found.bound, proven=found.proven,
        ),
        severity=OutlookFigures(
            sets=outlook.sets, errors=outlook.errors, mean=outlook.mean, worst=outlook.worst,
            sentences=outlook.sentences,
        ),
    )  # fmt: skip


def timetable_text(document: TimetableDocument) -> str:
    """The document as JSON."""
    plain = document.model_dump(mode="json")
    return json.dumps(plain, indent=1, ensure_ascii=False, allow_nan=False)


def read_timetable(path: Path) -> Timetable:
    """A timetable that was written before; UserErrors where it is none."""
    document: dict[str, Any] = parse_document(read_document_text(path), path.name)
    if document.get("format") != TIMETABLE_FORMAT:
        raise UserError(f"{path.name}: format", document.get("format"), f'"{TIMETABLE_FORMAT}"',
                        "Only `sidewise timetable --json` writes it.")  # fmt: skip
    found = validate_model(TimetableDocument, document, path.name)
    return Timetable(
        tuple(sorted(Start(s.session, s.circuit, s.place - 1, s.student) for s in found.starts)),
        tuple(sorted(
            Duty(d.session, d.circuit, d.place - 1, d.kind, d.person) for d in found.duties
        )),
    )  # fmt: skip
