"""The body of the note: the stages in the trade's order, both sides compared."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from sidewise.ground.language import mark_text, say_number, say_text, term
from sidewise.kinds import kind_of
from sidewise.note.completeness import Completeness, essential, open_labels
from sidewise.note.phrases import (
    normal_phrase,
    place_is_abnormal,
    place_is_normal,
    place_phrase,
    said_side,
)
from sidewise.protocol import Item, Protocol, Stage
from sidewise.reason.judging.called_for import places
from sidewise.reason.result import Difference, Interpretation
from sidewise.record import Record

Weight = Literal["abnormal", "variant", "one side", "measured", "open"]


@dataclass(frozen=True, slots=True)
class Line:
    """One finding compared between the sides, with a remark where there is something to say.

    weight: "abnormal" where a side is; "variant" where all that is abnormal is a variant of normal
    in this person; "one side" where the other was not examined or could not
    be; "open" where neither was; "measured" for a number that no rule calls normal or abnormal.
    """

    label: str
    right: str | None
    left: str | None
    both: str | None
    remark: str = ""
    weight: Weight = "measured"
    item: str = ""
    mode: str | None = None


@dataclass(frozen=True, slots=True)
class QuietRange:
    """A measured movement that needs no remark: active and passive range of each side."""

    label: str
    right: str
    left: str


@dataclass(frozen=True, slots=True)
class StageText:
    """One stage: what is normal on both sides in a list, then what is not, line by line.

    normal: things as they should be, and faults that are not there ("no bruising"); negative:
    manoeuvres with a negative result.
    """

    stage: Stage
    normal: tuple[str, ...]
    negative: tuple[str, ...]
    lines: tuple[Line, ...]
    ranges: tuple[QuietRange, ...]
    open: tuple[str, ...]


def stage_texts(
    protocol: Protocol, result: Interpretation, state: Completeness
) -> tuple[StageText, ...]:
    """Every stage in which anything was recorded, or something essential was left open."""
    told = _Told(
        _remarks(result),
        {(n.item, n.side, n.label): n.reason for n in result.withheld},
        frozenset((v.item, side) for v in result.variants if v.applied for side in v.sides),
    )
    texts = [_stage(stage, protocol, told, state) for stage in protocol.stages]
    return tuple(t for t in texts if t.normal or t.negative or t.lines or t.ranges or t.open)


@dataclass(frozen=True, slots=True)
class _Told:
    """What the interpretation says of an item: remarks, and why a place is withheld by a flag."""

    remarks: Remarks
    withheld: dict[tuple[str, str, str], str]
    variants: frozenset[tuple[str, str]]
    """Items and sides whose finding is a variant of normal."""


Remarks = dict[tuple[str, str | None], str]


def _remarks(result: Interpretation) -> Remarks:
    found: Remarks = {}
    for difference in result.differences:
        found[(difference.item, difference.mode)] = _difference_remark(difference)
    for variant in result.variants:
        if variant.applied:
            found[(variant.item, None)] = variant_remark(variant.label)
    return found


REAL = mark_text("real difference")


def variant_remark(label: str) -> str:
    """The remark of a finding that is a variant of normal in this person."""
    return say_text("normal variant: {label}", label=term(label))


def variant_named(remark: str) -> str:
    """The variant that a remark names; "" where it names none."""
    head = variant_remark("")
    return remark.removeprefix(head) if remark.startswith(head) else ""


def _difference_remark(difference: Difference) -> str:
    if difference.real is None:
        return ""
    size = f"{say_number(abs(difference.difference))}{'°' if difference.unit == 'degrees' else ''}"
    kind = term(REAL) if difference.real else say_text("difference within error:")
    if not difference.threshold:
        return f"{kind} {size}"
    limit = say_text("(error here {limit})", limit=f"{difference.threshold:.0f}")
    return f"{kind} {size} {limit}"


class _Sorted:
    """One stage being sorted into what is normal, what is not, and quiet ranges."""

    def __init__(self, record: Record, told: _Told) -> None:
        self.record, self.told = record, told
        self.normal: list[str] = []
        self.negative: list[str] = []
        self.lines: list[Line] = []
        self.ranges: list[QuietRange] = []

    def add(self, item: Item) -> None:
        quiet = _quiet_range(self.record, item, self.told.remarks)
        if quiet:
            self.ranges.append(quiet)
            return
        for mode in item.modes or (None,):
            self._add(item, mode)

    def _add(self, item: Item, mode: str | None) -> None:
        sides = ("right", "left") if item.paired else ("midline",)
        label = f"{item.label}, {term(mode)}" if mode else item.label
        if not any(_touched(self.record, item, side, mode) for side in sides):
            return
        if all(place_is_normal(self.record, item, side, mode) for side in sides):
            words, negative = normal_phrase(self.record, item, mode)
            (self.negative if negative else self.normal).append(words)
        else:
            self.lines.append(_line(item, mode, label, self.record, self.told))


def _stage(stage: Stage, protocol: Protocol, told: _Told, state: Completeness) -> StageText:
    found = _Sorted(state.record, told)
    for item in protocol.items_of(stage):
        found.add(item)
    left_open = (one for one in essential(state.unseen) if one.stage.id == stage.id)
    return StageText(
        stage,
        tuple(found.normal),
        tuple(found.negative),
        tuple(found.lines),
        tuple(found.ranges),
        open_labels(left_open),
    )


def _quiet_range(record: Record, item: Item, remarks: Remarks) -> QuietRange | None:
    """The numbers of a movement, if every reading is a painless one and no difference is real."""
    measures = [kind_of(limits) for limits in item.kinds if kind_of(limits).measure]
    if not item.paired or not any(kind.brief for kind in measures):
        return None
    sides = []
    for side in ("right", "left"):
        words = [_quiet_number(record, item, side, mode) for mode in item.modes or (None,)]
        if not all(words):
            return None
        sides.append("/".join(word for word in words if word))
    real = term(REAL)
    remarked = any(remarks.get((item.id, mode), "").startswith(real) for mode in item.modes)
    return None if remarked else QuietRange(item.label, *sides)


def _quiet_number(record: Record, item: Item, side: str, mode: str | None) -> str | None:
    found = record.at(item.id, side, mode)
    if len(found) != 1 or found[0].status != "examined" or found[0].note:
        return None
    value = found[0].value
    brief = kind_of(value).brief if value else None
    if brief is None or getattr(value, "pain", None):
        return None
    return brief(value)


def _touched(record: Record, item: Item, side: str, mode: str | None) -> bool:
    return any(finding.place == (item.id, side, mode) for finding in record.findings)


def _line(
    item: Item,
    mode: str | None,
    label: str,
    record: Record,
    told: _Told,
) -> Line:
    remarks = told.remarks
    remark = remarks.get((item.id, mode), "") or (remarks.get((item.id, None), "") if mode else "")
    weight = _weight(item, mode, record, told)
    where = (remark, weight, item.id, mode)
    if not item.paired:
        return Line(label, None, None, place_phrase(record, item, "midline", mode), *where)
    right, left = (
        _place_words(item, mode, label, side, record, told) for side in ("right", "left")
    )
    if right == left:
        return Line(label, None, None, right, *where)
    return Line(label, right, left, None, *where)


def _weight(item: Item, mode: str | None, record: Record, told: _Told) -> Weight:
    if told.remarks.get((item.id, mode), "").startswith(term(REAL)):
        return "abnormal"
    sides = ("right", "left") if item.paired else ("midline",)
    wrong = [side for side in sides if place_is_abnormal(record, item, side, mode)]
    if wrong:
        is_variant = all((item.id, side) in told.variants for side in wrong)
        return "variant" if is_variant else "abnormal"
    seen = [bool(record.examined(item.id, side, mode)) for side in sides]
    if all(seen):
        return "measured"
    return "one side" if any(seen) else "open"


def _place_words(
    item: Item, mode: str | None, label: str, side: str, record: Record, told: _Told
) -> str:
    """What was found at a place; where a flag withholds it, it says so."""
    if not _touched(record, item, side, mode):
        return told.withheld.get((item.id, side, label)) or say_text("not examined")
    return place_phrase(record, item, side, mode)


def line_words(line: Line) -> str:
    """One compared finding in words."""
    if line.both is not None:
        text = f"{line.label}: {line.both}"
    else:
        text = say_text("{label}: right {right}; left {left}",
                        label=line.label, right=line.right, left=line.left)  # fmt: skip
    return f"{text}. {line.remark}." if line.remark else f"{text}."


def unable_lines(record: Record, protocol: Protocol) -> Iterator[str]:
    """What could not be examined or was withheld, with the reason."""
    for item in protocol.items:
        for side, mode in places(item):
            for finding in record.at(item.id, side, mode):
                if finding.status in ("unable", "withheld"):
                    label = said_side(side, item.label) if item.paired else item.label
                    yield f"{label}: {term(finding.reason or '')}"
