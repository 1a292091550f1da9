"""Who of a class has done what was set, and what is late."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum


class WorkState(StrEnum):
    """How one student stands with one piece of work."""

    DONE = "done"
    DONE_LATE = "done late"
    BEGUN = "begun"
    OPEN = "open"
    OVERDUE = "overdue"
    NOT_SET = "not set"


@dataclass(frozen=True, slots=True)
class SetWork:
    """Work that was set: to a group, or to the whole class where `group` is empty."""

    key: str
    title: str
    due: date
    group: str = ""


@dataclass(frozen=True, slots=True)
class WorkDone:
    """That a student began a piece of work, and the day on which it was done."""

    work: str
    student: str
    done_on: date | None


@dataclass(frozen=True, slots=True)
class WorkLine:
    """One student: the state of each piece of work, in the order in which it was set."""

    student: str
    group: str
    states: tuple[WorkState, ...]

    @property
    def set_for(self) -> int:
        """How many were set for this student."""
        return sum(state is not WorkState.NOT_SET for state in self.states)

    @property
    def done(self) -> int:
        """How many are done, also those done late."""
        return sum(state in (WorkState.DONE, WorkState.DONE_LATE) for state in self.states)

    @property
    def overdue(self) -> int:
        """How many are past their day and not done."""
        return sum(state is WorkState.OVERDUE for state in self.states)


@dataclass(frozen=True, slots=True)
class ClassWork:
    """Who has done what: a line for each student, a column for each piece of work."""

    work: tuple[SetWork, ...]
    lines: tuple[WorkLine, ...]

    @property
    def waiting_for(self) -> tuple[str, ...]:
        """The students with something past its day."""
        return tuple(line.student for line in self.lines if line.overdue)


def class_work(
    groups: Mapping[str, str], work: Sequence[SetWork], done: Iterable[WorkDone], today: date
) -> ClassWork:
    """The table of a class.

    groups: each student's group ("" for none). What was set for a group is not set for others;
    what somebody did all the same is shown as done.
    """
    known = {(one.work, one.student): one for one in done}
    lines = tuple(
        WorkLine(
            student, group,
            tuple(_state(one, group, known.get((one.key, student)), today) for one in work),
        )
        for student, group in sorted(groups.items())
    )  # fmt: skip
    return ClassWork(tuple(work), lines)


def _state(work: SetWork, group: str, done: WorkDone | None, today: date) -> WorkState:
    if done is not None and done.done_on is not None:
        return WorkState.DONE if done.done_on <= work.due else WorkState.DONE_LATE
    if work.group and work.group != group:
        return WorkState.NOT_SET
    if today > work.due:
        return WorkState.OVERDUE
    return WorkState.OPEN if done is None else WorkState.BEGUN
