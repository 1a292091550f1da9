"""The feedback on one finished attempt: what was missed first, then how well it was judged."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from sidewise.errors import UserError
from sidewise.practice.case_file import NOTICE, CaseTruth
from sidewise.practice.feedback.advice import OneThing, one_thing
from sidewise.practice.feedback.gathering import Gathering, gathering
from sidewise.practice.feedback.omissions import (
    ItemLeft,
    MissedFlag,
    essentials_left,
    missed_flags,
    needless_soreness,
    not_compared,
    wrong_side,
)
from sidewise.practice.feedback.partings import Parting, StatedMoment, gravest_parting
from sidewise.practice.feedback.scores import ChanceScore, score_chances
from sidewise.practice.feedback.warrant import moment_of, true_groups, warranted_chances
from sidewise.practice.room import Attempt, Finish, Hint, Room, State, revealed_record
from sidewise.reason import interpret
from sidewise.reason.result import Interpretation

FEEDBACK_FORMAT = "sidewise-feedback/1"
MOST_BECAUSE = 3
LUCKY = 0.02
"""A Brier score so much better than that of perfect reading is luck (our judgement)."""


@dataclass(frozen=True, slots=True)
class GroupChance:
    """One group at the end: stated, warranted by the same findings, and whether it was there.

    because: what moved it most, in words, the strongest first.
    """

    group: str
    label: str
    stated: float
    warranted: float
    there: bool
    because: tuple[str, ...]


@dataclass(frozen=True)
class Feedback:
    """Everything that is said of one attempt. flags_missed stands first: no score makes up for one.

    flags_there: by id. named_in_vain: flags that were named and do not stand. flags_by_chance:
    those that only stray signs nobody met would raise, which is nothing to have missed. stated,
    perfect: scores of the learner and of perfect reading of the same findings. truth: conditions in
    words. moments: every statement with what was warranted then. complaint: the sides of which
    chances are stated; what another side has does not count. lucky: nearer to the truth than these
    findings allow.
    """

    case: str
    region: str
    flags_missed: tuple[MissedFlag, ...]
    flags_there: tuple[str, ...]
    named_in_vain: tuple[str, ...]
    flags_by_chance: tuple[str, ...]
    one_thing: OneThing
    stated: ChanceScore
    perfect: ChanceScore
    groups: tuple[GroupChance, ...]
    truth: tuple[str, ...]
    parting: Parting | None
    moments: tuple[StatedMoment, ...]
    essentials_left_out: tuple[ItemLeft, ...]
    not_compared: tuple[ItemLeft, ...]
    swapped: tuple[ItemLeft, ...]
    needless: tuple[ItemLeft, ...]
    gathering: Gathering
    seconds: int
    soreness: float
    hints: int
    plan: str
    knowledge_version: str
    complaint: tuple[str, ...] = ()
    lucky: bool = False
    notice: str = NOTICE

    def to_json(self) -> dict[str, Any]:
        """The feedback as plain data, with its format named first."""
        return {"format": FEEDBACK_FORMAT, **dataclasses.asdict(self)}


def feedback(room: Room, attempt: Attempt, truth: CaseTruth) -> Feedback:
    """The feedback on a finished attempt; UserError where it is not, or the truth is another's."""
    end = attempt.end
    if end is None:
        raise UserError("attempt", f"{len(attempt.taken)} steps", "a finished attempt",
                        "Finish it first: the truth is told only then.")  # fmt: skip
    if not truth.case_hash == attempt.case_hash == room.case.case_hash:
        raise UserError("truth", truth.case, f"the truth of {room.hidden.id}",
                        "Case, truth and attempt are not of one patient.")  # fmt: skip
    moments = stated_moments(room, attempt)
    last = moments[-1]
    told = interpret(revealed_record(room, attempt), room.region)
    there = true_groups(room.region, truth.present, room.hidden.context.complaint)
    stated = attempt.stated
    order = [group.id for group in room.groups]
    true = [name in there for name in order]
    missed, by_chance = missed_flags(room, attempt, truth)
    compared, swapped = not_compared(room, attempt), wrong_side(room, attempt)
    essentials, sore = essentials_left(told), needless_soreness(room, attempt)
    parting = gravest_parting(moments)
    own = score_chances([stated[name] for name in order], true)
    perfect = score_chances([last.warranted[name] for name in order], true)
    return Feedback(
        case=attempt.case,
        region=attempt.region,
        flags_missed=missed,
        flags_there=truth.flags,
        named_in_vain=tuple(name for name in end.flags if name not in truth.flags),
        flags_by_chance=by_chance,
        one_thing=one_thing(room, attempt, missed, swapped, compared, essentials, parting, sore,
                            {name: (stated[name], last.warranted[name]) for name in order},
                            sum(flag.status == "not excluded" for flag in told.red_flags)),
        stated=own,
        perfect=perfect,
        groups=tuple(_groups(room, stated, last.warranted, there, told)),
        truth=tuple(_truth_words(room, truth)),
        parting=parting,
        moments=moments,
        essentials_left_out=essentials,
        not_compared=compared,
        swapped=swapped,
        needless=sore,
        gathering=gathering(room, attempt),
        seconds=attempt.seconds,
        soreness=attempt.soreness,
        hints=sum(isinstance(one.step, Hint) for one in attempt.taken),
        plan=end.plan,
        knowledge_version=told.knowledge_version,
        complaint=room.context.complaint,
        lucky=perfect.brier - own.brier > LUCKY,
    )  # fmt: skip


def stated_moments(room: Room, attempt: Attempt) -> tuple[StatedMoment, ...]:
    """Every statement of chances, the end among them, with what was warranted then."""
    found = []
    for number, one in enumerate(attempt.taken):
        if isinstance(one.step, Finish) or (isinstance(one.step, State) and one.step.chances):
            so_far = attempt.until(number + 1)
            warranted = warranted_chances(moment_of(revealed_record(room, so_far), room.region))
            found.append(StatedMoment(number + 1, dict(so_far.stated), warranted))
    return tuple(found)


def _groups(
    room: Room,
    stated: dict[str, float],
    warranted: dict[str, float],
    there: set[str],
    told: Interpretation,
) -> Iterator[GroupChance]:
    for group in room.groups:
        names = {member.partition(":")[0] for member in group.members}
        yield GroupChance(
            group.id, group.label, stated[group.id], warranted[group.id], group.id in there,
            _because(room, names, told),
        )  # fmt: skip


def _because(room: Room, names: set[str], told: Interpretation) -> tuple[str, ...]:
    """What moved the likeliest of a group, the strongest first."""
    complaint = room.context.complaint or ("left", "right")
    own = [
        one
        for side in (
            *(told.sides[side] for side in complaint if side in told.sides),
            told.whole_person,
        )
        for one in side.conditions
        if one.condition in names and one.posterior is not None
    ]
    if not own:
        return ()
    moved = sorted(max(own, key=lambda one: one.estimate).because, key=lambda one: -abs(one.effect))
    words = (
        f"{'' if move.side == 'midline' else move.side + ' '}{move.label} ({move.found}) "
        f"{'for' if move.effect > 0 else 'against'} it"
        for move in moved
    )
    return tuple(dict.fromkeys(words))[:MOST_BECAUSE]


def _truth_words(room: Room, truth: CaseTruth) -> Iterator[str]:
    from sidewise.evidence.conditions import conditions_of

    known = conditions_of(room.region).by_id
    for (name, side), level in truth.present.items():
        label = known[name].label if name in known else name
        words = f"{side} {label}" if side else label
        yield words if level in ("present", "") else f"{words}: {level}"
