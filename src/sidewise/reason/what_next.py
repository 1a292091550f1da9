"""What would tell most next: flags first, then bits of information for the minutes they cost."""

from __future__ import annotations

from collections.abc import Iterator

from sidewise.protocol import Item, Protocol
from sidewise.protocol.model import Stage
from sidewise.reason.engine.gain import Gains
from sidewise.reason.flags import Withheld, load_flags
from sidewise.reason.judge import Judge
from sidewise.reason.net import SIDES, Layout
from sidewise.reason.result import MindChanger, Next, RedFlag
from sidewise.reason.rules import Ask, Is, leaves
from sidewise.record import Record

SHOWN = 8
SORENESS_COST = 0.5
"""Each degree of soreness counts like half the item's time again (our judgement)."""
FEWEST_BITS = 0.02
"""Less than this is not worth anybody's time (our judgement)."""


def what_next(
    layout: Layout | None,
    gains: Gains | None,
    judge: Judge,
    flags: tuple[RedFlag, ...],
    kept_back: Withheld,
) -> tuple[Next, ...]:
    """Unexamined items in the order in which they are worth examining.

    Items that screen a flag that is not excluded outrank all. Withheld items never appear.
    """
    first = tuple(_screens(judge, flags, kept_back))
    if layout is None or gains is None:
        return first[:SHOWN]
    told = {(entry.item, entry.side) for entry in first}
    rest = [n for n in _informative(layout, gains, judge) if (n.item, n.side) not in told]
    rest.sort(key=lambda entry: -(entry.bits_per_minute or 0))
    return (*first, *rest)[: max(SHOWN, len(first) + 3)]


def candidates(layout: Layout, judge: Judge, kept_back: Withheld) -> list[int]:
    """Readings of items not yet examined, not withheld, on a side that matters."""
    sides, places = _sides(judge.record), _places(judge.record)
    return [
        number
        for number, seat in enumerate(layout.seats)
        if (item := judge.protocol.by_id.get(seat.reading.item)) is not None
        and seat.side in sides
        and (item.id, seat.side if item.paired else "midline") not in places
        and not kept_back.wholly(item)
    ]


def variables_of_interest(layout: Layout) -> list[int]:
    """Conditions that could explain the complaint: of the sides that complain (of both if none
    does) and of the whole person. What never makes anybody complain is not worth a minute."""
    quiet = layout.painless_sides if len(layout.painless_sides) < len(SIDES) else ()
    felt = {c.id for c in layout.conditions.network if any(c.complaint_link)}
    return [
        number
        for number, variable in enumerate(layout.structure.variables)
        if variable.name.partition(".")[2] not in quiet and variable.name.partition(".")[0] in felt
    ]


def _sides(record: Record) -> tuple[str, ...]:
    return (*(record.context.complaint or ("right", "left")), "midline")


def _places(record: Record) -> set[tuple[str, str]]:
    """Where anything is recorded: an item tried and found impossible is not offered again."""
    return {(f.item, f.side) for f in record.findings if f.status != "not examined"}


def _screens(judge: Judge, flags: tuple[RedFlag, ...], kept_back: Withheld) -> Iterator[Next]:
    """What is missing for each flag that is not excluded, each question and item once."""
    rules = {rule.id: rule for rule in load_flags(judge.record.region).flags}
    seen: set[tuple[str, str]] = set()
    for flag in flags:
        if flag.status != "not excluded":
            continue
        asked = {
            leaf.ask if isinstance(leaf, Ask) else leaf.item
            for leaf in leaves(rules[flag.flag].when)
            if isinstance(leaf, Ask | Is)
        }
        for entry in _missing(judge, asked, flag, kept_back):
            if (entry.item, entry.side) not in seen:
                seen.add((entry.item, entry.side))
                yield entry


def _missing(judge: Judge, asked: set[str], flag: RedFlag, kept_back: Withheld) -> Iterator[Next]:
    """Questions and open items of the flag's own rule among the words that are missing."""
    protocol, missing, places = judge.protocol, set(flag.missing), _places(judge.record)
    for question in protocol.history:
        if question.id in asked and question.label in missing:
            yield Next(
                question.id, "midline", f"ask: {question.label}", None, 0.1, None, 0,
                flag.label, "as they are", "at eye level",
            )  # fmt: skip
    for item in protocol.items:
        if item.id not in asked or item.label not in missing or kept_back.wholly(item):
            continue
        sides = [side for side in _sides(judge.record) if (side == "midline") != item.paired]
        for side in sides:
            if (item.id, side) not in places:
                yield _next(protocol, item, side, None, flag.label)


def _informative(layout: Layout, gains: Gains, judge: Judge) -> Iterator[Next]:
    by_item: dict[str, list[int]] = {}
    for number in gains.readings:
        seat = layout.seats[number]
        by_item.setdefault(f"{seat.reading.item}|{seat.side}", []).append(number)
    for name, gain in gains.best_of(by_item).items():
        item_id, _, side = name.partition("|")
        if gain.bits >= FEWEST_BITS:
            yield _next(judge.protocol, judge.protocol.by_id[item_id], side, gain.bits, None)


def _next(
    protocol: Protocol, item: Item, side: str, bits: float | None, screens: str | None
) -> Next:
    minutes = item.seconds / 60
    cost = minutes * (1 + SORENESS_COST * item.soreness)
    guide = next((g for g in protocol.guides if g.stage is item.stage), None)
    return Next(
        item=item.id,
        side=side,
        label=_label(protocol, item),
        bits=bits,
        minutes=minutes,
        bits_per_minute=bits / cost if bits is not None else None,
        soreness=item.soreness,
        screens_flag=screens,
        patient=item.patient if guide is None or item.stage is not Stage.PREPARE else guide.patient,
        examiner=item.examiner,
    )


def _label(protocol: Protocol, item: Item) -> str:
    """The item's label, with its stage where another stage uses the same words."""
    same = sum(other.label == item.label for other in protocol.items)
    return f"{item.label} ({item.stage})" if same > 1 else item.label


def mind_changer(layout: Layout, gains: Gains, variable: int) -> MindChanger | None:
    """The unexamined result that would move one condition most, if any could."""
    change = gains.change_of_mind(variable)
    if change is None:
        return None
    seat = layout.seats[change.reading]
    return MindChanger(
        item=seat.reading.item,
        side=seat.side,
        reading=seat.reading.id,
        result="present" if change.present else "absent",
        posterior_if=change.then,
    )
