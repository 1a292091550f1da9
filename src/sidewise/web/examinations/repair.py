"""A whole visit put right: moved to the patient whose it is, or right and left exchanged.

Before and after a signature. A signed revision is amended by the same act: it stays readable as
it was signed, and what is right now is to be looked through and signed again.
"""

from __future__ import annotations

from dataclasses import dataclass
from uuid import uuid4

from django.utils import timezone

from sidewise.errors import UserError
from sidewise.record.ledger import Amended, Deed, Entry, Mirrored, Moved
from sidewise.web.accounts.models import User
from sidewise.web.audit.binding import gathered
from sidewise.web.audit.log import Act, write
from sidewise.web.examinations.models import Examination, MovedVisit
from sidewise.web.examinations.signing_state import newer_than
from sidewise.web.examinations.state import Current, add, current
from sidewise.web.patients.access import patients_of, with_right
from sidewise.web.patients.models import Patient


@dataclass(frozen=True, slots=True)
class LeftTrace:
    """A visit that stood here and was moved, as this person may see it."""

    trace: MovedVisit
    readable: bool
    """Whether this person may open the patient to whom it went."""


def exchange_sides(examination: Examination, user: User, reason: str, seen: str) -> None:
    """Exchange right and left in the whole visit; UserError where it cannot be."""
    now = _as_seen(examination, seen)
    with gathered():
        add(examination, _entries(now, user, Mirrored(reason=reason), reason))
        write(Act.REPAIRED, f"examination:{examination.pk}")


def move_visit(
    examination: Examination, target: Patient, user: User, reason: str, seen: str
) -> None:
    """Move the visit to another patient, leaving a trace; UserError where it cannot be."""
    now = _as_seen(examination, seen)
    left = examination.patient
    if target.pk == left.pk:
        raise UserError("the patient", target.code, "another patient than this one",
                        "Type the code of the patient whose visit it is.")  # fmt: skip
    deed = Moved(was=now.record.context.patient, patient=target.code, reason=reason)
    entries = _entries(now, user, deed, reason)
    with gathered():
        add(examination, entries)
        moved = Examination.objects.select_for_update().get(pk=examination.pk)
        moved.patient = target
        moved.save(update_fields=["patient"])
        MovedVisit.objects.create(
            patient=left, visit=moved, moved_to=target, examined_at=moved.examined_at,
            was_signed=now.record.signed is not None, by=user.signs_as, at=entries[-1].at,
            reason=reason,
        )  # fmt: skip
        for patient in (left, target):
            write(Act.REPAIRED, f"patient:{patient.key}")
    examination.patient = target


def _as_seen(examination: Examination, seen: str) -> Current:
    """The visit as it stands, if the page showed it so; UserError if not."""
    now = current(examination)
    if newer_than(seen, now) != ():
        raise UserError("the visit", "something recorded since the page was shown",
                        "the visit as it was shown", "Look at it again, then put it right."
                        )  # fmt: skip
    return now


def _entries(now: Current, user: User, deed: Deed, reason: str) -> list[Entry]:
    """The repair; of a signed revision after an amendment for the same reason."""
    deeds = [Amended(reason=reason), deed] if now.record.signed is not None else [deed]
    stem, at = uuid4().hex, timezone.now()
    return [
        Entry(id=f"{stem}.{n}", at=at, by=user.signs_as, deed=one) for n, one in enumerate(deeds)
    ]


def patient_to_write(user: User, code: str) -> Patient:
    """The patient with this code whom `user` may write; UserError where there is not just one.

    Of a patient whom the user may not write nothing is learnt.
    """
    found = with_right(patients_of(user).filter(code=" ".join(code.split())), user, "pk")
    mine = [p for p in found if p.owner_id == user.pk or p.right]
    if len(mine) != 1:
        got = "no patient of that code" if not mine else f"{len(mine)} patients of that code"
        raise UserError("the code", got, "the code of one patient whom you may write to",
                        "Add the patient first, or ask the owner to share it with you."
                        )  # fmt: skip
    found_one: Patient = mine[0]
    return found_one


def traces_for(user: User, patient: Patient) -> tuple[LeftTrace, ...]:
    """The visits that were moved away from a patient, the latest first."""
    rows = list(patient.moved_away.select_related("moved_to", "visit"))
    wanted = [row.moved_to_id for row in rows]
    readable = (
        set(patients_of(user).filter(pk__in=wanted).values_list("pk", flat=True)) if rows else set()
    )
    return tuple(LeftTrace(row, row.moved_to_id in readable) for row in rows)


def later_visits_that_carried(examination: Examination, left: Patient) -> tuple[Examination, ...]:
    """Visits of the patient it left that carried something from it: another person's facts."""
    later = left.examinations.exclude(state=Examination.State.DISCARDED)
    return tuple(
        visit for visit in later
        if (follows := current(visit).record.context.follows) is not None
        and follows.record == str(examination.pk) and follows.carried
    )  # fmt: skip
