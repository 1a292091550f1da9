"""One finished case of one student, as far as a class's figures need it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sidewise.errors import UserError
from sidewise.practice.feedback import FEEDBACK_FORMAT


@dataclass(frozen=True, slots=True)
class Weighed:
    """How one group's chance was stated beside what the findings warranted, and what moved it.

    because: as in the feedback, "ITEM (what was found) for it" or "against it".
    """

    label: str
    stated: float
    warranted: float
    because: tuple[str, ...]


@dataclass(frozen=True)
class PlayedCase:
    """A case that a student finished. at: when, with its time zone. title: under which it was set,
    and group: of the student; both "" where there is none.

    flags: labels of those missed. brier, perfect: of the student and of perfect reading of the
    same findings. left: label of every item left out, by what was wrong with it.
    """

    student: str
    at: datetime
    case: str
    region: str
    flags: tuple[str, ...]
    brier: float
    perfect: float
    weighed: tuple[Weighed, ...]
    left: Mapping[str, tuple[str, ...]]
    seconds: int
    soreness: float
    hints: int
    one_thing: str
    title: str = ""
    group: str = ""

    @property
    def excess(self) -> float:
        """How much further from the truth than perfect reading of the same findings, Brier."""
        return self.brier - self.perfect


NOT_COMPARED, WRONG_SIDE, SORE, CALLED_FOR = (
    "not compared", "only the side that does not hurt", "sore for little", "called for, left out",
)  # fmt: skip
LISTS = {NOT_COMPARED: "not_compared", WRONG_SIDE: "swapped", SORE: "needless"}


def played_case(
    student: str, at: datetime, told: Mapping[str, Any], *, title: str = "", group: str = ""
) -> PlayedCase:
    """A case from its stored feedback; UserError for another format, or a time without zone."""
    if told.get("format") != FEEDBACK_FORMAT:
        raise UserError("feedback", told.get("format"), f'"{FEEDBACK_FORMAT}"')
    if at.tzinfo is None:
        raise UserError("feedback: at", str(at), "a time with its zone")
    left = {what: _labels(told[field]) for what, field in LISTS.items()}
    # An essential that this patient did not call for is left out for want of time, and no fault.
    called = [one for one in told["essentials_left_out"] if one["why"]]
    return PlayedCase(
        student=student,
        at=at,
        case=told["case"],
        region=told["region"],
        flags=_labels(told["flags_missed"]),
        brier=told["stated"]["brier"],
        perfect=told["perfect"]["brier"],
        weighed=tuple(
            Weighed(one["label"], one["stated"], one["warranted"], tuple(one["because"]))
            for one in told["groups"]
        ),
        left={**left, CALLED_FOR: _labels(called)},
        seconds=told["seconds"],
        soreness=told["soreness"],
        hints=told["hints"],
        one_thing=told["one_thing"]["kind"],
        title=title,
        group=group,
    )


def _labels(some: Any) -> tuple[str, ...]:
    return tuple(dict.fromkeys(one["label"] for one in some))
