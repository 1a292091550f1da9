"""Keeps cases and attempts, and brings them back as the pure room knows them."""

from __future__ import annotations

import hashlib
import json
import secrets
import zlib
from dataclasses import dataclass
from threading import Lock
from typing import Any

from django.db import IntegrityError, transaction
from django.utils import timezone

from sidewise.errors import UserError
from sidewise.knowledge.region import Region
from sidewise.practice import CaseWishes, practice_case
from sidewise.practice.actor_sheet import ActorSheet, actor_sheet
from sidewise.practice.case_file import (
    CaseFile,
    CaseTruth,
    case_file,
    case_text,
    parse_case,
    parse_truth,
    truth_text,
)
from sidewise.practice.feedback import FEEDBACK_FORMAT, Feedback, feedback
from sidewise.practice.outcome import case_outcome
from sidewise.practice.room import (
    Attempt,
    Room,
    Step,
    attempt_document,
    begin_attempt,
    open_room,
    parse_attempt,
    take_step,
)
from sidewise.practice.schedule import NextCase, next_case
from sidewise.regions import regions
from sidewise.web.accounts.models import User
from sidewise.web.audit.binding import gathered
from sidewise.web.audit.log import Act, write
from sidewise.web.classes.models import Assignment
from sidewise.web.classes.store import begin_work, finish_work
from sidewise.web.practice.models import PracticeAttempt, PracticeStep, SimulatedCase

KIND = "practice case"
"""What the practice room sets for a class, in an assignment's `kind`."""
MOST_UNPACKED = 5_000_000
SEEDS = 2**31
one_at_a_time = Lock()
"""Feedback computes; two at once would only take the processor from the bedside."""


class OtherTab(UserError):
    """A step that was sent from a page that is older than the attempt."""

    def __init__(self, seen: int, there: int) -> None:
        super().__init__(
            "this page", f"a step after {seen}, when {there} were taken", "the newest page",
            "This case went on in another tab or window. Nothing was done twice; what stands "
            "below is the case as it is now.",
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class OpenAttempt:
    """An attempt with the room it is in."""

    row: PracticeAttempt
    room: Room
    attempt: Attempt

    @property
    def warnings(self) -> tuple[str, ...]:
        """What must be read beside the case: another knowledge version."""
        return self.room.case.warnings[1:]


# ---------------------------------------------------------------- cases


def drawn_case(region: Region, seed: int, wishes: CaseWishes) -> SimulatedCase:
    """The case of a seed, drawn and kept; the same row where it was drawn before."""
    case = practice_case(region, seed, wishes)
    return keep_case(case_text(case).encode(), truth_text(case, region).encode(), None, "")


def keep_case(data: bytes, truth: bytes, owner: User | None, title: str) -> SimulatedCase:
    """A case with its truth, read whole and checked before anything is kept."""
    name = title or "case"
    read = parse_case(data, name, regions())
    try:
        told = parse_truth(json.loads(truth), "truth")
    except (ValueError, RecursionError) as error:
        raise UserError("truth", str(error), "a truth file in JSON") from None
    if told.case_hash != read.case_hash:
        raise UserError("truth: case_hash", told.case_hash, f"the hash of {name}",
                        "They are not of one case; nothing was kept.")  # fmt: skip
    document = json.loads(data)
    there = SimulatedCase.objects.filter(sha256=read.case_hash, owner=owner, title=title).first()
    if there is not None:
        return there
    with gathered():
        kept = SimulatedCase.objects.create(
            sha256=read.case_hash, region=read.record.region, owner=owner, title=title,
            knowledge_version=str(document.get("knowledge_version", ""))[:40],
            packed=zlib.compress(data), packed_truth=zlib.compress(truth),
        )  # fmt: skip
        write(Act.WRITE, f"simulated-case:{kept.key}")
    return kept


def case_bytes(case: SimulatedCase) -> bytes:
    """The case as it stands in its file; UserError where it is not the one that was kept."""
    data = _unpacked(case.packed)
    if hashlib.sha256(data).hexdigest() != case.sha256:
        raise UserError("case", "another content than was kept", "the case as it was kept",
                        "Tell whoever runs the service.")  # fmt: skip
    return data


def truth_of(case: SimulatedCase) -> CaseTruth:
    """What is true of a case."""
    return parse_truth(json.loads(_unpacked(case.packed_truth)))


def _unpacked(packed: bytes | memoryview) -> bytes:
    return zlib.decompressobj().decompress(bytes(packed), MOST_UNPACKED)


def wishes_from(what: dict[str, Any]) -> CaseWishes:
    """What was wished of a kind of case when it was set."""
    return CaseWishes(
        tuple(what.get("present", ())), tuple(what.get("absent", ())),
        tuple(what.get("flags", ())), None, None, what.get("difficulty", "usual"),
    )  # fmt: skip


def is_common(assignment: Assignment) -> bool:
    """Whether everybody to whom it is set has the same patient."""
    return "case" in assignment.what or assignment.what.get("seed") is not None


def common_case(assignment: Assignment) -> CaseFile | None:
    """The case that everybody has to whom it is set; None where each has a patient of their own."""
    what = assignment.what
    if "case" in what:
        return case_file_of(SimulatedCase.objects.get(key=what["case"]))
    if not is_common(assignment):
        return None
    region = regions().chosen(assignment.study_class.region)
    return case_file(practice_case(region, what["seed"], wishes_from(what)))


def case_file_of(case: SimulatedCase) -> CaseFile:
    """The case as its file says it, without its truth."""
    return parse_case(case_bytes(case), "case", regions())


def sheet_of(case: CaseFile) -> ActorSheet:
    """What an actor of this patient is told; nothing of the truth."""
    return actor_sheet(case, regions().chosen(case.record.region))


# ---------------------------------------------------------------- attempts


def begin_assigned(student: User, assignment: Assignment) -> PracticeAttempt:
    """The attempt at what was set: the one that is there, or a new one."""
    there = PracticeAttempt.objects.filter(student=student, assignment=assignment).first()
    if there is not None:
        return there
    what = assignment.what
    region = regions().chosen(assignment.study_class.region)
    if "case" in what:
        case = SimulatedCase.objects.get(key=what["case"])
    else:
        seed = what["seed"] if what.get("seed") is not None else secrets.randbelow(SEEDS)
        case = drawn_case(region, seed, wishes_from(what))
    with gathered():
        begin_work(assignment, student)
        return begin(student, case, what.get("hints", "none"), assignment)


def next_of(student: User, region: Region) -> NextCase:
    """The case that this student should examine next, and why."""
    rows = PracticeAttempt.objects.filter(
        student=student, finished_at__isnull=False, case__region=region.id
    )
    kept = rows.values_list("finished_at", "feedback")
    told = [(at, one) for at, one in kept if at and one and one.get("format") == FEEDBACK_FORMAT]
    return next_case(told, region, timezone.now())


def begin_next(student: User, region: Region, hints: str) -> PracticeAttempt:
    """Begin the case that is chosen for a student."""
    chosen = next_of(student, region)
    seed = secrets.randbelow(SEEDS)
    case = drawn_case(region, seed, chosen.wishes)
    return begin(student, case, hints, chosen=chosen.to_json())


def begin(
    student: User, case: SimulatedCase, hints: str, assignment: Assignment | None = None,
    chosen: dict[str, str] | None = None,
) -> PracticeAttempt:  # fmt: skip
    """A new attempt at a case, at which nothing was done yet."""
    room = room_of(case)
    document = attempt_document(begin_attempt(room, hints))  # type: ignore[arg-type]
    del document["steps"]
    with gathered():
        made = PracticeAttempt.objects.create(
            student=student, case=case, assignment=assignment, head=document, chosen=chosen
        )
        write(Act.WRITE, f"practice:{made.key}")
    return made


def room_of(case: SimulatedCase) -> Room:
    """The room of a case, without its truth."""
    return open_room(regions().chosen(case.region), case_file_of(case))


def opened(row: PracticeAttempt) -> OpenAttempt:
    """The attempt as it stands, with its room."""
    steps = list(row.steps.values_list("taken", flat=True))
    return OpenAttempt(row, room_of(row.case), parse_attempt({**row.head, "steps": steps}))


def take(found: OpenAttempt, step: Step, seen: int) -> OpenAttempt:
    """One more step, if nobody has taken any since `seen`; UserError where it cannot be taken."""
    if seen != len(found.attempt.taken):
        raise OtherTab(seen, len(found.attempt.taken))
    longer = take_step(found.room, found.attempt, step)
    last = longer.taken[-1].model_dump(mode="json", by_alias=True)
    # Worked out before the store is held: it interprets several times.
    told = _came_of(found, longer) if longer.finished else None
    try:
        with gathered(), transaction.atomic():
            PracticeStep.objects.create(attempt=found.row, number=seen + 1, taken=last)
            if told is not None:
                _end(found.row, longer, told)
            write(Act.WRITE, f"practice:{found.row.key}/{seen + 1}")
    except IntegrityError:
        # Of two at one moment one took the number.
        raise OtherTab(seen, seen + 1) from None
    return OpenAttempt(found.row, found.room, longer)


def _came_of(found: OpenAttempt, ended: Attempt) -> Feedback:
    """What came of it; kept, so that it says for ever what it said then."""
    with one_at_a_time:
        return feedback(found.room, ended, truth_of(found.row.case))


def _end(row: PracticeAttempt, ended: Attempt, told: Feedback) -> None:
    row.finished_at, row.feedback = timezone.now(), told.to_json()
    row.outcome = case_outcome(told, len(ended.taken))
    row.save(update_fields=["finished_at", "outcome", "feedback"])
    if row.assignment is not None:
        finish_work(row.assignment, row.student)
