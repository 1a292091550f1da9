"""The room: one learner, one simulated patient, and an append-only list of what was done.

Pure functions of a region, a case without its truth, and an attempt. What is there is found only
where it was looked for; what was not looked for stays not examined.
"""

from sidewise.practice.chances import CHANCE_WORDS, ChanceGroup
from sidewise.practice.room.advice import must_not_be_missed, next_suggestions
from sidewise.practice.room.attempt import (
    HINT_LEVELS,
    Ask,
    Attempt,
    Examine,
    Finish,
    Hint,
    Measure,
    State,
    Step,
    Taken,
)
from sidewise.practice.room.attempt_file import (
    ATTEMPT_FORMAT,
    OpenedAttempt,
    attempt_document,
    attempt_text,
    attempt_warnings,
    parse_attempt,
    read_attempt,
)
from sidewise.practice.room.chart import revealed_record
from sidewise.practice.room.costs import StepCost, step_cost
from sidewise.practice.room.place import Room, flag_choices, open_room, verb_of
from sidewise.practice.room.turn import begin_attempt, take_step

__all__ = [
    "ATTEMPT_FORMAT",
    "CHANCE_WORDS",
    "HINT_LEVELS",
    "Ask",
    "Attempt",
    "ChanceGroup",
    "Examine",
    "Finish",
    "Hint",
    "Measure",
    "OpenedAttempt",
    "Room",
    "State",
    "Step",
    "StepCost",
    "Taken",
    "attempt_document",
    "attempt_text",
    "attempt_warnings",
    "begin_attempt",
    "flag_choices",
    "must_not_be_missed",
    "next_suggestions",
    "open_room",
    "parse_attempt",
    "read_attempt",
    "revealed_record",
    "step_cost",
    "take_step",
    "verb_of",
]
