"""Keeps learners' visits: begun with consent, added to, handed in, countersigned, emptied."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta
from typing import Any

from django.db import IntegrityError, transaction
from django.utils import timezone

from sidewise.errors import UserError
from sidewise.knowledge.region import Region
from sidewise.practice.supervised import compare_hands, learner_record
from sidewise.record import Finding, Record
from sidewise.regions import regions
from sidewise.web.accounts.models import Role, User
from sidewise.web.audit.binding import gathered
from sidewise.web.audit.log import Act, write
from sidewise.web.examinations.models import Examination
from sidewise.web.examinations.state import current
from sidewise.web.supervised.models import LearnerFinding, LearnerVisit

MOST = 600
"""Findings and takings back of one visit."""


class OlderPage(UserError):
    """Something sent from a page that is older than the visit."""

    def __init__(self) -> None:
        super().__init__(
            "this page", "an older state of your record", "the newest page",
            "It went on in another tab or window. Nothing was done twice; what stands below is "
            "your record as it is now.",
        )  # fmt: skip


def begin_visit(
    examination: Examination, supervisor: User, name: str, how: str, minutes: int
) -> LearnerVisit:
    """A learner may examine now; UserError where they may not."""
    student = _student(name)
    now = current(examination)
    if examination.state != Examination.State.DRAFT:
        raise UserError("the examination", examination.state, "one that is not signed yet",
                        "A student examines before you sign.")  # fmt: skip
    if any(one.is_open() for one in examination.learner_visits.filter(student=student)):
        raise UserError("student", name, "a student who is not examining already")
    with gathered():
        made = LearnerVisit.objects.create(
            examination=examination, student=student, supervisor=supervisor,
            region=examination.region, complaint=list(now.record.context.complaint),
            consent_how=how, until=timezone.now() + timedelta(minutes=minutes),
        )  # fmt: skip
        write(Act.WRITE, f"learner-visit:{made.key}/{examination.pk}")
    return made


def _student(name: str) -> User:
    students = User.objects.filter(role=Role.STUDENT, is_active=True)
    found: User | None = students.filter(username=name).first()
    found = found or students.filter(code=name).first()
    if found is None:
        raise UserError("student", name, "the name or code of a student's account here",
                        "Ask whoever keeps accounts here to add them.")  # fmt: skip
    return found


def visit_region(visit: LearnerVisit) -> Region:
    """The region that is examined."""
    return regions().chosen(visit.region)


def findings_standing(visit: LearnerVisit) -> dict[int, Finding]:
    """What was found and not taken back, by the number under which it was kept."""
    kept: dict[int, Finding] = {}
    for row in visit.findings.all():
        if "found" in row.deed:
            found = Finding.model_validate(row.deed["found"])
            kept = {n: one for n, one in kept.items() if not found.takes_the_place_of(one)}
            kept[row.number] = found
        else:
            kept.pop(row.deed["taken_back"], None)
    return kept


def record_of(visit: LearnerVisit, found: Iterable[Finding]) -> Record:
    """The learner's record, which does not say whose it is."""
    return learner_record(
        str(visit.key), visit_region(visit), tuple(visit.complaint), visit.student.signs_as, found
    )


def add(visit: LearnerVisit, deeds: list[dict[str, Any]], seen: int) -> None:
    """Findings and takings back, all or none; UserError where the page was older than the visit."""
    there = visit.findings.count()
    if seen != there:
        raise OlderPage
    if there + len(deeds) > MOST:
        raise UserError("your record", there + len(deeds), f"at most {MOST} entries")
    try:
        with gathered(), transaction.atomic():
            LearnerFinding.objects.bulk_create(
                LearnerFinding(visit=visit, number=there + place, deed=deed)
                for place, deed in enumerate(deeds, 1)
            )
            write(Act.WRITE, f"learner-visit:{visit.key}/{there + len(deeds)}")
    except IntegrityError:
        raise OlderPage from None


def _mark(visit: LearnerVisit, **fields: Any) -> None:
    with gathered():
        for name, value in fields.items():
            setattr(visit, name, value)
        visit.save(update_fields=list(fields))
        write(Act.WRITE, f"learner-visit:{visit.key}")


def hand_in_visit(visit: LearnerVisit) -> None:
    """The learner is done: from here on they see nothing of the patient."""
    if not visit.findings.exists():
        raise UserError("your record", "nothing", "at least one finding")
    _mark(visit, handed_in_at=timezone.now())


def end_visit(visit: LearnerVisit) -> None:
    """The supervisor ends it: the learner sees nothing of the patient from here on."""
    if visit.ended_at is None:
        _mark(visit, ended_at=timezone.now())


def end_consent(visit: LearnerVisit) -> None:
    """The patient does not agree any more; whoever calls sees to it that what was found goes."""
    if visit.withdrawn_at is None:
        _mark(visit, withdrawn_at=timezone.now())


def empty(visit: LearnerVisit) -> None:
    """What was found and said is gone; within `erasing("supervised")`."""
    LearnerFinding.objects.filter(visit=visit).delete()
    visit.feedback, visit.remark, visit.emptied_at = None, "", timezone.now()
    visit.save(update_fields=["feedback", "remark", "emptied_at"])


def may_be_countersigned(visit: LearnerVisit) -> str:
    """Why what the learner found is not shown yet; "" where it is.

    The supervisor's own findings are frozen by their signature before they see any other.
    """
    if visit.withdrawn_at or visit.emptied_at:
        return "What the student found was erased."
    if visit.handed_in_at is None:
        return "The student has not handed in yet."
    if visit.examination.state != Examination.State.SIGNED:
        return "Sign your own examination first: you see what the student found only then."
    return ""


def countersign_visit(visit: LearnerVisit, supervisor: User, remark: str) -> None:
    """The supervisor has seen it; how the two compare is kept for the learner."""
    if why := may_be_countersigned(visit):
        raise UserError("countersign", why, "a visit that was handed in, and your signature")
    if visit.countersigned_at is not None:
        raise UserError("countersign", "a visit countersigned before", "one that is not")
    _mark(visit, countersigned_at=timezone.now(), countersigned_by=supervisor.signs_as,
          remark=remark, feedback=comparison_of(visit).to_json())  # fmt: skip


def comparison_of(visit: LearnerVisit) -> Any:
    """The learner's findings beside those that the supervisor signed."""
    mine = record_of(visit, findings_standing(visit).values())
    return compare_hands(mine, current(visit.examination).record, visit_region(visit))
