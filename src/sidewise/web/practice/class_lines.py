"""A class's stored attempts as the figures take them, and the figures as its page shows them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from sidewise.practice.class_figures import (
    FindingMisread,
    PlayedCase,
    StudentProgress,
    played_case,
)
from sidewise.practice.feedback import FEEDBACK_FORMAT
from sidewise.web.classes.models import ClassMember, StudyClass
from sidewise.web.classes.store import members_of
from sidewise.web.practice.access import attempts_in
from sidewise.web.practice.models import PracticeAttempt

SHOWN = 10
"""Rows of a list, and cases of one student, on the page; the table has all cases."""


@dataclass(frozen=True, slots=True)
class ClassPractice:
    """What a class finished: its members with their names, their attempts, and those as figures."""

    members: Mapping[str, ClassMember]
    """By the name under which the figures know them, in the order of the class."""
    attempts: Mapping[int, Sequence[PracticeAttempt]]
    """By the key of the student, the latest first."""
    played: tuple[PlayedCase, ...]
    """Every attempt whose feedback can be read."""
    unread: int
    """Attempts whose feedback is not there or of another format: they are in no figure."""


def class_practice(study_class: StudyClass) -> ClassPractice:
    """All that a class finished, read at once."""
    members = names_of(members_of(study_class))
    name_by_key = {one.student_id: name for name, one in members.items()}
    attempts: dict[int, list[PracticeAttempt]] = {key: [] for key in name_by_key}
    played, unread = [], 0
    for one in attempts_in(study_class).order_by("-finished_at"):
        attempts[one.student_id].append(one)
        name = name_by_key[one.student_id]
        if (found := _played(one, name, members[name].group)) is None:
            unread += 1
        else:
            played.append(found)
    return ClassPractice(members, attempts, tuple(played), unread)


def names_of(members: Iterable[ClassMember]) -> dict[str, ClassMember]:
    """Members by the name they sign with; of two who sign alike each by the account as well.

    Nobody is told of another's missed flag because two codes were given alike.
    """
    there = list(members)
    times = Counter(one.student.signs_as for one in there)
    return {
        name if times[name] == 1 else f"{name} ({one.student.username})": one
        for one in there
        for name in (one.student.signs_as,)
    }


def _played(one: PracticeAttempt, name: str, group: str) -> PlayedCase | None:
    told = one.feedback or {}
    if one.finished_at is None or told.get("format") != FEEDBACK_FORMAT:
        return None
    title = one.assignment.title if one.assignment else ""
    return played_case(name, one.finished_at, told, title=title, group=group)


@dataclass(frozen=True, slots=True)
class StudentLine:
    """One student with the cases they finished."""

    member: ClassMember
    """Which student."""
    progress: StudentProgress
    """How they are doing."""
    attempts: tuple[PracticeAttempt, ...]
    """The latest first; not more than are shown."""
    more: int
    """How many more there are."""
    help_with: tuple[str, ...]
    """Why they may need help."""


UNREAD = ("finished a case, and none that can be read: nothing is known of them",)


def student_lines(
    found: ClassPractice, progress: Iterable[StudentProgress]
) -> tuple[StudentLine, ...]:
    """A line for each student, in the order of their progress."""
    lines = []
    for one in progress:
        member = found.members[one.student]
        attempts = found.attempts[member.student_id]
        more = max(0, len(attempts) - SHOWN)
        # Whoever finished what cannot be read is not said to have finished nothing.
        why = one.help_with if one.cases or not attempts else UNREAD
        lines.append(StudentLine(member, one, tuple(attempts[:SHOWN]), more, why))
    return tuple(lines)


@dataclass(frozen=True, slots=True)
class MisreadLine:
    """A finding that was weighed wrongly, its share with the interval in whole percent."""

    told: FindingMisread
    share: int
    low: int
    high: int


def misread_lines(misread: Iterable[FindingMisread]) -> tuple[MisreadLine, ...]:
    """The findings misread by most, not more than are shown."""
    return tuple(
        MisreadLine(one, *(round(100 * n) for n in (one.share, one.low, one.high)))
        for one in tuple(misread)[:SHOWN]
    )
