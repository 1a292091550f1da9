"""A finished case: what to do differently, what was true, and what the findings weigh."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.http import HttpResponse
from django.utils.safestring import SafeString, mark_safe
from django.views.decorators.http import require_GET

from sidewise.practice.calibration_picture import calibration_picture
from sidewise.practice.feedback import ChanceCalibration, chance_calibration
from sidewise.practice.room import revealed_record
from sidewise.reason import interpret
from sidewise.reason.result import RedFlag
from sidewise.web.accounts.models import Role
from sidewise.web.accounts.permissions import SignedInRequest, roles
from sidewise.web.anatomy.poses import PoseShown, poses_of
from sidewise.web.pages import show
from sidewise.web.practice import store
from sidewise.web.practice.access import seen_attempt
from sidewise.web.practice.models import PracticeAttempt
from sidewise.web.practice.room_lines import (
    BinLine,
    GroupLine,
    PartingLine,
    WeighedLine,
    bin_lines,
    group_lines,
    moments,
    parting_line,
    weighed_of,
)
from sidewise.web.practice.store import OpenAttempt

DRAWS = 200
"""Parameter draws behind the second look: its intervals are for learning, not for a decision."""


@dataclass(frozen=True, slots=True)
class ResultPage:
    """What the page of a finished case is given."""

    found: OpenAttempt
    """The attempt with its room."""
    is_own: bool
    """Whether the student looks, and not a teacher."""
    told: dict[str, Any]
    """The feedback as it was kept when the case ended."""
    groups: tuple[GroupLine, ...]
    """What was said, what the findings warranted, and what was there."""
    parting: PartingLine | None
    """When the two parted."""
    weighed: tuple[tuple[str, tuple[WeighedLine, ...]], ...]
    """By side: what the findings that were made speak for."""
    raised: tuple[RedFlag, ...]
    """Flags that the findings raise."""
    not_excluded: tuple[RedFlag, ...]
    """Flags that are not excluded although something speaks for them, or nobody asked."""
    poses: tuple[PoseShown, ...]
    """The movements that were measured, drawn as they are."""
    path: tuple[tuple[int, str], ...]
    """What was done, with its minute."""


@dataclass(frozen=True, slots=True)
class CalibrationPage:
    """What the page of a student's chances over all their cases is given."""

    cases: int
    """How many were finished."""
    found: ChanceCalibration | None
    """How the chances agree with what was there; None before the first case."""
    picture: SafeString
    """The same, drawn."""
    lines: tuple[BinLine, ...]
    """The same, as a table."""


@require_GET
def result(request: SignedInRequest, attempt: UUID) -> HttpResponse:
    """The result of a finished case, for its student and the teachers of a class of theirs."""
    row = seen_attempt(request.user, attempt)
    found = store.opened(row)
    record = revealed_record(found.room, found.attempt)
    with store.one_at_a_time:
        weighed = interpret(record, found.room.region, draws=DRAWS)
    sides = (*((f"patient's {name}", part.conditions) for name, part in weighed.sides.items()),
             ("whole person", weighed.whole_person.conditions))  # fmt: skip
    told = row.feedback or {}
    context = ResultPage(
        found=found, is_own=row.student_id == request.user.pk, told=told,
        groups=group_lines(told), parting=parting_line(told),
        weighed=tuple((name, weighed_of(part)) for name, part in sides if weighed_of(part)),
        raised=tuple(flag for flag in weighed.red_flags if flag.status == "raised"),
        not_excluded=tuple(
            flag for flag in weighed.red_flags if flag.status != "raised" and flag.called_for
        ),
        poses=poses_of(record, found.room.region), path=tuple(moments(found.attempt)),
    )  # fmt: skip
    return show(request, "practice/result.html", context)


@roles(Role.STUDENT)
@require_GET
def calibration(request: SignedInRequest) -> HttpResponse:
    """How the chances one states agree with what is there, over all of one's cases."""
    rows = PracticeAttempt.objects.filter(student=request.user, finished_at__isnull=False)
    told = [one["groups"] for one in rows.values_list("outcome", flat=True) if one]
    pairs = [(group["stated"], group["there"]) for groups in told for group in groups]
    found = chance_calibration([p for p, _ in pairs], [t for _, t in pairs]) if pairs else None
    # Drawn by the program from figures alone: no word of a person stands in it.
    picture = mark_safe(calibration_picture(found) if found else "")
    context = CalibrationPage(len(told), found, picture, bin_lines(found.bins if found else ()))
    return show(request, "practice/calibration.html", context)
