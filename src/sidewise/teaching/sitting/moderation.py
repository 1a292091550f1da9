"""What was taken out or changed before the decisions, by whom, and what that did to them."""

from __future__ import annotations

from dataclasses import replace

from sidewise.teaching.sitting.cautions import listed_names
from sidewise.teaching.sitting.moderation_log import ChangedDecision, ModerationLog
from sidewise.teaching.sitting.sitting import Sitting, analyse_sitting
from sidewise.teaching.tables.marks_table import Marks


def moderation_steps(e: Sitting) -> tuple[str, ...]:
    """What was left out of the table on request."""
    steps = []
    if e.options.without:
        steps.append(f"station {', '.join(e.options.without)} left out")
    if e.marks.left_out:
        rows = listed_names([str(row) for row in e.marks.left_out])
        steps.append(f"rows {rows} left out")
    return tuple(steps)


def moderation_log(before: Sitting, after: Sitting, by: str = "") -> ModerationLog:
    """The log of `after`, whose table or stations were changed, against `before`, untouched."""
    now = {r.student: r.decision for r in after.results}
    changed = tuple(
        ChangedDecision(r.student, r.decision, now[r.student])
        for r in before.results
        if r.student in now and now[r.student] != r.decision
    )
    gone = sum(r.student not in now for r in before.results)
    return ModerationLog(
        moderation_steps(after), by, before.rule.applied, after.rule.applied, changed, gone
    )


def moderated(untouched: Marks, after: Sitting, by: str = "") -> Sitting:
    """`after` with its log against the whole table under the same rules.

    Where the whole table cannot be read as it stands (rows were left out for that), there is
    nothing to compare with: read it with those rows first.
    """
    before = analyse_sitting(untouched, replace(after.options, without=()))
    return replace(after, moderation=moderation_log(before, after, by))
