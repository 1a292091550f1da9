"""What was left out: flags, essentials, the other side; and what hurt for nothing."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from sidewise import network as engine
from sidewise.practice.case_file import CaseTruth
from sidewise.practice.feedback.warrant import Moment, moment_of
from sidewise.practice.room import Attempt, Examine, Room, revealed_record
from sidewise.protocol import Item
from sidewise.reason.judging.flags import URGENCIES, flag_book_of, red_flags
from sidewise.reason.judging.judge import Judge
from sidewise.reason.judging.rules import Ask as Question
from sidewise.reason.judging.rules import Is, leaves
from sidewise.reason.result import Interpretation, RedFlag
from sidewise.reason.weighing.layout import network_layout
from sidewise.reason.weighing.step_worth import BITS_FOR_SORENESS
from sidewise.record import OTHER, Record

SORE = 2
"""Degrees of soreness from which a step has to be worth what it hurts (our judgement)."""


@dataclass(frozen=True, slots=True)
class MissedFlag:
    """A flag that stands in this patient and was not named.

    seen: whether what was found raised it all the same. through: the question or item by which it
    would have been found, "" where it was; how: how that is done. do: what it asks for.
    """

    flag: str
    label: str
    seen: bool
    through: str
    through_label: str
    how: str
    do: str


@dataclass(frozen=True, slots=True)
class ItemLeft:
    """An item of which something was left out or done without need, and why it matters."""

    item: str
    label: str
    why: str = ""


def missed_flags(
    room: Room, attempt: Attempt, truth: CaseTruth
) -> tuple[tuple[MissedFlag, ...], tuple[str, ...]]:
    """Flags of the whole patient that were not named, the gravest first; and those, by label,
    that only stray signs raise which the learner never met.

    The gravest: by urgency; then what the illness causes before a stray sign, what was found and
    not named before what was not looked for, and what a question tells before what is examined.
    """
    end = attempt.end
    named = set(end.flags) if end else set()
    seen = _raised(room, revealed_record(room, attempt))
    there, grounded = _raised(room, room.hidden), _raised(room, _without_strays(room, truth))
    missed: dict[MissedFlag, tuple[int, bool, bool, bool]] = {}
    for name, flag in there.items():
        if name in truth.flags and name not in named and (name in seen or name in grounded):
            through, label, how = ("", "", "") if name in seen else _way_to(room, attempt, name)
            one = MissedFlag(name, flag.label, name in seen, through, label, how, flag.do)
            missed[one] = (URGENCIES.index(flag.urgency), name not in grounded, not one.seen,
                           through not in room.protocol.history_by_id)  # fmt: skip
    stray = [
        flag.label for name, flag in there.items()
        if name in truth.flags and name not in {*named, *seen, *grounded}
    ]  # fmt: skip
    return tuple(sorted(missed, key=lambda one: missed[one])), tuple(stray)


def _raised(room: Room, record: Record) -> dict[str, RedFlag]:
    found = red_flags(Judge(room.protocol, record), flag_book_of(room.region))
    return {flag.flag: flag for flag in found if flag.status == "raised"}


def _without_strays(room: Room, truth: CaseTruth) -> Record:
    """The patient without items of which a reading is there that nothing in them causes."""
    structure = network_layout(room.region, room.context.complaint).structure
    present = {f"{name}.{side}" if side else name for name, side in truth.present}
    stray = set()
    for reading in structure.readings:
        if truth.readings.get(reading.name) and not present & set(reading.parents):
            name, _, side = reading.name.partition(".")
            stray.add((room.protocol.readings_by_id[name].item, side or "midline"))
    kept = tuple(f for f in room.hidden.findings if (f.item, f.side) not in stray)
    context = room.hidden.context
    history = {k: v for k, v in context.history.items() if (k, "midline") not in stray}
    return Record(
        id=room.hidden.id,
        region=room.region.id,
        context=context.model_copy(update={"history": history}),
        findings=kept,
    )


def _way_to(room: Room, attempt: Attempt, flag: str) -> tuple[str, str, str]:
    """The first question or item of a flag's rule that speaks for it here and was not taken."""
    protocol = room.protocol
    asked = {getattr(one.step, "question", "") for one in attempt.taken}
    done = {finding.item for one in attempt.taken for finding in one.findings}
    rule = next(one for one in flag_book_of(room.region).flags if one.id == flag)
    for leaf in leaves(rule.when):
        if isinstance(leaf, Question) and leaf.ask not in asked:
            if room.hidden.context.answer(leaf.ask) == "yes":
                question = protocol.history_by_id[leaf.ask]
                return question.id, question.label, f'Ask: "{question.say}" {question.why}'
        elif isinstance(leaf, Is) and leaf.item in protocol.by_id and leaf.item not in done:
            judge, item = Judge(protocol, room.hidden), protocol.by_id[leaf.item]
            sides = ("left", "right") if item.paired else ("midline",)
            if any(judge.criterion(leaf.criterion, item.id, side).state == "met" for side in sides):
                return item.id, item.label, item.how
    return "", "", ""


def essentials_left(interpretation: Interpretation) -> tuple[ItemLeft, ...]:
    """Essentials of a full examination that were not done.

    First what this patient calls for, and of that what the reasoner would do next: of many things
    left out the one that tells most is the one to learn from.
    """
    place = {one.item: number for number, one in reversed([*enumerate(interpretation.next)])}
    last = len(place)
    found: dict[str, ItemLeft] = {}
    for one in sorted(
        interpretation.not_examined,
        key=lambda one: (not one.called_for, place.get(one.item, last)),
    ):
        if one.essential or one.called_for:
            found.setdefault(one.item, ItemLeft(one.item, one.label, one.called_for))
    return tuple(found.values())


def not_compared(room: Room, attempt: Attempt) -> tuple[ItemLeft, ...]:
    """Items done on a side that hurts and not on the other."""
    return tuple(_one_sided(room, attempt, of_painful=True))


def wrong_side(room: Room, attempt: Attempt) -> tuple[ItemLeft, ...]:
    """Items done only on a side that does not hurt."""
    return tuple(_one_sided(room, attempt, of_painful=False))


def _one_sided(room: Room, attempt: Attempt, *, of_painful: bool) -> Iterator[ItemLeft]:
    complaint = room.context.complaint
    sides: dict[str, set[str]] = {}
    for one in attempt.taken:
        for finding in one.findings:
            if finding.side in OTHER:
                sides.setdefault(finding.item, set()).add(finding.side)
    for name, done in sides.items():
        item = room.protocol.by_id[name]
        if len(done) == 1 and not room.protocol.stage_of(item).sets_up:
            (side,) = done
            if (side in complaint) == of_painful:
                other = OTHER[side]
                yield ItemLeft(name, item.label, f"only the {side} side, not the {other}")


def needless_soreness(room: Room, attempt: Attempt) -> tuple[ItemLeft, ...]:
    """Sore steps that could be expected to tell less than their soreness asks for, when taken.

    Only of items of which a figure says what they tell; what a flag called for is never needless.
    """
    found = []
    for number, one in enumerate(attempt.taken):
        step = one.step
        if isinstance(step, Examine) and one.findings:
            item = room.protocol.by_id[step.item]
            if item.soreness >= SORE:
                moment = moment_of(revealed_record(room, attempt.until(number)), room.region)
                if (bits := expected_bits(moment, item)) is not None:
                    least = BITS_FOR_SORENESS[item.soreness]
                    if bits < least:
                        why = f"it could tell {bits:.2f} bits; so sore a step is worth from {least}"
                        found.append(ItemLeft(item.id, item.label, why))
    return tuple(found)


def expected_bits(moment: Moment, item: Item) -> float | None:
    """Bits that an item can be expected to tell on the sides that hurt; None without a figure."""
    seats = moment.layout.seats
    numbers = [one for one in moment.still if seats[one].reading.item == item.id]
    if not numbers:
        return None
    gains = engine.gains(moment.network, moment.evidence, numbers, list(moment.interest))
    by_side: dict[str, list[int]] = {}
    for number in numbers:
        by_side.setdefault(seats[number].side, []).append(number)
    return sum(gain.bits for gain in gains.best_of(by_side).values())
