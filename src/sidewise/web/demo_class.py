"""The invented clinic's class: five students by numbers, cases set, a few of them done."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Any

TITLE = "The teaching week"
STUDENTS = ("S1", "S2", "S3", "S4", "S5")
STIFF: dict[str, Any] = {"present": ["frozen"], "absent": ["others"], "flags": ["none"], "seed": 14,
         "difficulty": "usual", "hints": "some"}  # fmt: skip
ANY: dict[str, Any] = {"present": [], "absent": [], "flags": [], "seed": None, "difficulty": "hard",
       "hints": "none"}  # fmt: skip
SET = (("One patient for all", 7, STIFF), ("A patient for each", 14, ANY))
"""Title, days until it is due, and what is set; the second is left to whoever tries it."""


@dataclass(frozen=True, slots=True)
class Played:
    """What one student does with the first case, in lines of the typed room."""

    student: str
    lines: tuple[str, ...]


PLAYED = (
    Played("S1", ("ask onset", "ask fever", "ask night_pain", "prepare",
                  "move both external rotation", "move both abduction",
                  "chances frozen 85%, rest 5%", "finish plan mobilise, look again in six weeks")),
    Played("S2", ("prepare", "move painful external rotation", "move painful abduction",
                  "chances frozen 60%, rest 5%", "finish plan mobilise")),
    Played("S3", ("prepare", "feel both acj tenderness", "chances frozen 5%, rest 5%",
                  "finish plan rest")),
    Played("S4", ("ask onset", "prepare", "look both scars")),
)  # fmt: skip


def load_class(owner: Any) -> int:
    """The class as far as it is not there yet; how many cases of it are finished.

    Seconds for each case that is finished: feedback interprets several times.
    """
    from sidewise.web.classes.models import StudyClass
    from sidewise.web.practice.models import PracticeAttempt

    made: Any = StudyClass.objects.filter(owner=owner, title=TITLE).first() or _make_class(owner)
    first = made.assignments.filter(title=SET[0][0], withdrawn_at=None).first()
    for played in PLAYED if first is not None else ():
        member = made.members.filter(student__code=played.student).first()
        if member is not None:
            _play(member.student, first, played.lines)
    done = PracticeAttempt.objects.filter(finished_at__isnull=False)
    return done.filter(assignment__study_class=made).count()


def _make_class(owner: Any) -> Any:
    from django.utils import timezone

    from sidewise.regions import every_region
    from sidewise.web.classes.store import add_members, begin_class, set_work
    from sidewise.web.practice.store import KIND

    made = begin_class(owner, TITLE, next(iter(every_region())).id)
    add_members(made, [_student(code).username for code in STUDENTS], "")
    today = timezone.localdate()
    for title, days, what in SET:
        set_work(made, owner, title, "", today + timedelta(days=days), KIND, what)
    return made


def _student(code: str) -> Any:
    """An account without a way in: whoever wants to try it has a one-time link made for it."""
    from sidewise.web.accounts.models import Role, User

    made, fresh = User.objects.get_or_create(
        username=f"student-{code[1:]}", defaults={"role": Role.STUDENT, "code": code}
    )
    if fresh:
        made.set_unusable_password()
        made.save()
    return made


def _play(student: Any, assignment: Any, lines: tuple[str, ...]) -> None:
    """Go on where an earlier start stopped; what a person did meanwhile stays."""
    from sidewise.practice.room.line import parse_line
    from sidewise.web.practice.store import begin_assigned, opened, take

    found = opened(begin_assigned(student, assignment))
    steps = [step for line in lines for step in parse_line(found.room, line)]
    done = len(found.attempt.taken)
    for step in () if found.attempt.finished else steps[done:]:
        found = take(found, step, len(found.attempt.taken))
