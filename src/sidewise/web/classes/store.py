"""Keeps classes, members, codes and what was set; every change is bound by one audit line."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from django.db.models import QuerySet
from django.utils import timezone

from sidewise.errors import UserError, UserErrors
from sidewise.teaching.classes import (
    ClassWork,
    SetWork,
    WorkDone,
    class_work,
    join_codes,
    plain_code,
)
from sidewise.web.accounts.models import Role, User
from sidewise.web.accounts.sealing import digest
from sidewise.web.audit.binding import gathered
from sidewise.web.audit.log import Act, write
from sidewise.web.classes.models import Assignment, ClassMember, JoinCode, StudyClass, Work

CODES_LIVE = timedelta(days=14)


def begin_class(teacher: User, title: str, region_id: str) -> StudyClass:
    """A new class without anybody in it."""
    with gathered():
        made = StudyClass.objects.create(title=title, region=region_id, owner=teacher)
        write(Act.WRITE, f"class:{made.key}")
    return made


def add_members(study_class: StudyClass, names: list[str], group: str) -> int:
    """Students by the name or the code of their account; how many were new. All or none."""
    found = [_student(name) for name in names]
    missing = [name for name, one in zip(names, found, strict=True) if one is None]
    if missing:
        raise UserErrors([
            UserError("students", name, "the name or code of a student's account here",
                      "Ask whoever keeps accounts here to add them; nobody was added.")
            for name in missing
        ])  # fmt: skip
    there = set(study_class.members.values_list("student_id", flat=True))
    fresh = {one.pk: one for one in found if one is not None and one.pk not in there}
    with gathered():
        ClassMember.objects.bulk_create(
            [ClassMember(study_class=study_class, student=one, group=group)
             for one in fresh.values()]
        )  # fmt: skip
        write(Act.WRITE, f"class-members:{study_class.key}")
    return len(fresh)


def _student(name: str) -> User | None:
    students = User.objects.filter(role=Role.STUDENT, is_active=True)
    found: User | None = students.filter(username=name).first()
    return found or students.filter(code=name).first()


def move_member(member: ClassMember, group: str) -> None:
    """Put a student into a group, or into none."""
    with gathered():
        member.group = group
        member.save(update_fields=["group"])
        write(Act.WRITE, f"class-members:{member.study_class.key}/{member.student_id}")


def take_out(member: ClassMember) -> None:
    """Out of the class: its teachers see this student's practice no more."""
    with gathered():
        member.delete()
        write(Act.WRITE, f"class-members:{member.study_class.key}/{member.student_id}")


def make_codes(study_class: StudyClass, count: int, group: str) -> tuple[str, ...]:
    """Codes to hand out, shown once: only their digests are kept."""
    codes = join_codes(count)
    until = timezone.now() + CODES_LIVE
    with gathered():
        JoinCode.objects.bulk_create(
            [JoinCode(study_class=study_class, digest=digest(plain_code(code)), group=group,
                      expires_at=until) for code in codes]
        )  # fmt: skip
        write(Act.WRITE, f"class-codes:{study_class.key}")
    return codes


def join(student: User, typed: str) -> StudyClass | None:
    """Join by a code, which is used up; None where there is no such code any more."""
    now = timezone.now()
    with gathered():
        codes = JoinCode.objects.select_related("study_class")
        code = codes.filter(
            digest=digest(plain_code(typed)), used_at=None, expires_at__gt=now
        ).first()
        # Whoever changes the row first has it: of two at one moment one joins.
        taken = JoinCode.objects.filter(pk=code.pk if code else 0, used_at=None)
        if code is None or taken.update(used_at=now) == 0:
            return None
        ClassMember.objects.get_or_create(
            study_class=code.study_class, student=student, defaults={"group": code.group}
        )
        write(Act.WRITE, f"class-members:{code.study_class.key}/{student.pk}")
    return code.study_class


def set_work(
    study_class: StudyClass, by: User, title: str, group: str, due: date, kind: str,
    what: dict[str, Any],
) -> Assignment:  # fmt: skip
    """Work for the class or one of its groups."""
    with gathered():
        made = Assignment.objects.create(
            study_class=study_class, title=title, group=group, due=due, kind=kind, what=what,
            by=by.signs_as,
        )  # fmt: skip
        write(Act.WRITE, f"assignment:{study_class.key}/{made.key}")
    return made


def withdraw(assignment: Assignment) -> None:
    """It is set for nobody any more; what was done stays."""
    with gathered():
        assignment.withdrawn_at = timezone.now()
        assignment.save(update_fields=["withdrawn_at"])
        write(Act.WRITE, f"assignment:{assignment.study_class.key}/{assignment.key}")


def begin_work(assignment: Assignment, student: User) -> None:
    """A student began what was set."""
    Work.objects.get_or_create(assignment=assignment, student=student)


def finish_work(assignment: Assignment, student: User) -> None:
    """A student has done what was set; the first time counts."""
    rows = Work.objects.filter(assignment=assignment, student=student, done_at=None)
    rows.update(done_at=timezone.now())


def members_of(study_class: StudyClass) -> QuerySet[ClassMember]:
    """The students of a class with their accounts, by code."""
    return study_class.members.select_related("student").order_by("student__code", "student_id")


def work_of(study_class: StudyClass, members: list[ClassMember], today: date) -> ClassWork:
    """Who has done what of the work that is set."""
    known = {one.student_id: one for one in members}
    set_here = [
        SetWork(str(one.key), one.title, one.due, one.group)
        for one in study_class.assignments.filter(withdrawn_at=None)
    ]
    rows = Work.objects.filter(assignment__study_class=study_class, student__in=list(known))
    done = [
        WorkDone(str(row.assignment.key), known[row.student_id].student.signs_as,
                 timezone.localtime(row.done_at).date() if row.done_at else None)
        for row in rows.select_related("assignment")
    ]  # fmt: skip
    groups = {one.student.signs_as: one.group for one in members}
    return class_work(groups, set_here, done, today)
