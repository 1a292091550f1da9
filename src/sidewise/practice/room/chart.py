"""What is known so far: the record of what was asked, measured and found, and nothing else."""

from __future__ import annotations

from typing import Any

from sidewise.practice.room.attempt import Ask, Attempt, Measure
from sidewise.practice.room.place import Room
from sidewise.record import Record

ONSET = "onset"


def revealed_record(room: Room, attempt: Attempt) -> Record:
    """The record of an attempt. What was not asked or examined is not in it."""
    history: dict[str, str] = {}
    vitals: dict[str, float] = {}
    more: dict[str, Any] = {}
    for taken in attempt.taken:
        step = taken.step
        if isinstance(step, Ask) and step.question == ONSET:
            more["onset"] = taken.answer or None
        elif isinstance(step, Ask):
            history[step.question] = taken.answer
        elif isinstance(step, Measure):
            vitals[step.vital] = float(taken.answer)
    context = room.context.model_copy(update={"history": history, "vitals": vitals, **more})
    findings = tuple(finding for taken in attempt.taken for finding in taken.findings)
    # Made anew: a copy of the hidden record would carry along what that record has worked out.
    return Record(id=room.hidden.id, region=room.region.id, context=context, findings=findings)
