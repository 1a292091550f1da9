"""What to do next and why, and what must not be missed, from what is known so far."""

from __future__ import annotations

from sidewise.errors import UserError
from sidewise.practice.room.attempt import Attempt
from sidewise.practice.room.chart import revealed_record
from sidewise.practice.room.place import Room
from sidewise.reason import interpret
from sidewise.reason.judging.flags import flag_book_of, red_flags
from sidewise.reason.judging.judge import Judge
from sidewise.reason.result import Next, RedFlag

DRAWS = 100
"""Parameter draws behind a suggestion: its order hardly hangs on them."""
FEW, MANY = 1, 3


def next_suggestions(room: Room, attempt: Attempt) -> tuple[Next, ...]:
    """What the reasoner would do next, what screens a flag first."""
    return interpret(revealed_record(room, attempt), room.region, draws=DRAWS).next


def must_not_be_missed(room: Room, attempt: Attempt) -> tuple[RedFlag, ...]:
    """Flags that are raised, or not excluded although something speaks for them."""
    judge = Judge(room.protocol, revealed_record(room, attempt))
    found = red_flags(judge, flag_book_of(room.region))
    return tuple(flag for flag in found if flag.status == "raised" or flag.called_for)


def hint_text(room: Room, attempt: Attempt, kind: str) -> str:
    """A hint at the attempt's level of help; UserError where none is given."""
    if attempt.hints == "none":
        raise UserError("hint", kind, "no hints in this attempt",
                        "Begin one with --hints some, or go on alone.")  # fmt: skip
    much = attempt.hints == "many"
    if kind == "flags":
        return "; ".join(_flag_text(flag, much) for flag in must_not_be_missed(room, attempt)) or (
            "Nothing found so far speaks for a flag; what was not asked or looked at may."
        )
    steps = next_suggestions(room, attempt)[: MANY if much else FEW]
    return "; ".join(_step_text(step, much) for step in steps) or "Nothing left would tell much."


def _flag_text(flag: RedFlag, much: bool) -> str:
    if not much:
        return flag.purpose
    missing = f" (still open: {', '.join(flag.missing)})" if flag.missing else ""
    return f"{flag.label}: {flag.status}{missing}"


def _step_text(step: Next, much: bool) -> str:
    side = "" if step.side == "midline" else f"{step.side} "
    if not much:
        return f"{side}{step.label}"
    why = step.screens_flag or step.tells
    return f"{side}{step.label} ({why}, {step.minutes:.1f} min)"
