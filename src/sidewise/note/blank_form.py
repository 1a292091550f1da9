"""A blank form for paper: what a kind of visit asks, both sides, in the order of the protocol.

Every row carries the name that a typed line knows and the words that may be written, so that a
filled form is typed back row by row: the name, the side, the mode, and what was written.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from sidewise.kinds import Limits, kind_of
from sidewise.knowledge.region import Region
from sidewise.protocol import Item, Protocol, Stage, protocol_of
from sidewise.protocol.visits import VisitKind
from sidewise.reason.judging.called_for import is_needed_mode
from sidewise.record.line import line_words_of

MOST_WORDS = 7
"""Words of a closed list that a row has room for."""
HOW_TO_TYPE = (
    "To type it back: the name in the middle, R or L, and what you wrote; rows parted by "
    "semicolons. What was left blank stays not examined."
)


@dataclass(frozen=True, slots=True)
class BlankRow:
    """One row: the item and mode, the name to type, what may be written, and whether it has sides.

    words: closed lists as a line takes them; a number has its unit.
    """

    item: str
    mode: str | None
    label: str
    name: str
    words: tuple[str, ...]
    paired: bool


@dataclass(frozen=True, slots=True)
class BlankStage:
    """A stage with its rows, and where patient and examiner are."""

    title: str
    patient: str
    examiner: str
    rows: tuple[BlankRow, ...]


@dataclass(frozen=True, slots=True)
class BlankForm:
    """The whole form: the kind of visit, questions, vital signs, then the stages."""

    title: str
    heading: str
    before: str
    head: tuple[str, ...]
    questions: tuple[str, ...]
    vitals: tuple[str, ...]
    stages: tuple[BlankStage, ...]


HEAD = ("code", "date and time", "examiner", "age", "sex", "writing hand", "complaint, which side",
        "since (weeks)", "onset", "pain, 0 to 10")  # fmt: skip


def form_for_paper(region: Region, kind: VisitKind) -> BlankForm:
    """The form of this kind of visit; a full one has what is essential and what screens flags."""
    protocol = protocol_of(region)
    return BlankForm(
        title=f"{protocol.label}: {kind.name}",
        heading=kind.heading,
        before=kind.before,
        head=HEAD,
        questions=tuple(entry.label for entry in protocol.history if entry.core),
        vitals=tuple(f"{vital.label}, {vital.unit}" for vital in protocol.vitals),
        stages=tuple(_stages(region, protocol, kind)),
    )


def _stages(region: Region, protocol: Protocol, kind: VisitKind) -> Iterator[BlankStage]:
    for stage in protocol.stages:
        if rows := tuple(_rows(region, protocol, stage, kind)):
            yield BlankStage(str(stage), stage.patient, stage.examiner, rows)


def _rows(region: Region, protocol: Protocol, stage: Stage, kind: VisitKind) -> Iterator[BlankRow]:
    names = line_words_of(region).names
    for item in protocol.items_of(stage):
        if not kind.tallies(item):
            continue
        words = written_words(item)
        name = names.get(item.id, item.id.replace("_", " "))
        for mode in item.modes or (None,):
            if is_needed_mode(item, mode):
                yield BlankRow(item.id, mode, item.label, name, words, item.paired)


def written_words(item: Item) -> tuple[str, ...]:
    """What may be written for an item, in the words that a typed line reads."""
    # Where a number can be written, it comes first: it says more than a look.
    by_number = sorted(item.offered, key=lambda limits: kind_of(limits).measure is None)
    return tuple(dict.fromkeys(word for limits in by_number for word in _words(limits)))


def _words(limits: Limits) -> Iterator[str]:
    kind = kind_of(limits)
    touches = [*kind.bedside.touches(limits, {})]
    for touch in touches[:MOST_WORDS]:
        value = kind.value.model_validate(touch.value)
        yield " ".join(kind.line.write(value, limits))
    if not touches:
        yield kind.measure.words if kind.measure else "in words"
