"""How complete an examination is, and whether a flag is raised: the one place that says so.

The strip of stages, the page before a signature, the note and `sidewise check` all ask here. A
complete examination has an entry for every item that its kind of visit has (the full one: what is
essential) and for every item that is called for, on both sides and in the modes that are needed;
what a raised flag withholds is not asked for. Screening looks of a full examination count in the
tally of their stage. What is optional and not called for never counts.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from sidewise.ground.language import say_text, term
from sidewise.knowledge.region import Region
from sidewise.note.phrases import group_labels
from sidewise.protocol import Item, Protocol, Stage, protocol_of
from sidewise.protocol.translation import shown_protocol
from sidewise.protocol.visits import VisitKind
from sidewise.reason.judging.called_for import is_needed_mode, is_wanted, places
from sidewise.reason.judging.flags import (
    Withheld,
    flag_book_of,
    red_flags,
    unasked_core,
    withheld,
)
from sidewise.reason.judging.judge import Judge
from sidewise.reason.judging.open_items import has_entry
from sidewise.reason.judging.results import record_with_results
from sidewise.reason.judging.visit_calls import visit_of, wanted_calls
from sidewise.reason.result import Interpretation, RedFlag
from sidewise.record import Record


@dataclass(frozen=True, slots=True)
class Missing:
    """An item that this examination needs without a finding on one side.

    because: why it is called for; empty for what belongs to every visit of its kind.
    """

    stage: Stage
    item: Item
    side: str
    mode: str | None
    because: str = ""

    @property
    def label(self) -> str:
        """The item with its mode."""
        return f"{self.item.label}, {term(self.mode)}" if self.mode else self.item.label


@dataclass(frozen=True, slots=True)
class Completeness:
    """What is still open in a record.

    done: by the id of each stage, items done and in all. called: the items that the record calls
    for, each with why. kind: the kind of visit. left_out: what a full examination has, this kind
    of visit has not, and nobody examined.
    """

    record: Record
    done: dict[str, tuple[int, int]]
    missing: tuple[Missing, ...]
    flags: tuple[RedFlag, ...]
    conflicts: int
    not_asked: tuple[str, ...]
    called: Mapping[str, str]
    kind: VisitKind
    left_out: tuple[Item, ...]

    @property
    def unseen(self) -> tuple[Missing, ...]:
        """What is open without being in conflict, which is said by itself."""
        disputed = self.record.disputed_places
        return tuple(m for m in self.missing if (m.item.id, m.side, m.mode) not in disputed)

    @property
    def complete(self) -> bool:
        """Nothing this kind of visit needs open, all core questions asked, no conflict, no flag."""
        return not (self.missing or self.conflicts or self.not_asked or self.raised)

    def text(self, name: str) -> str:
        """A few lines for the command line."""
        examined = sum(finding.status == "examined" for finding in self.record.findings)
        lines = [f"{name}: valid; {examined} findings; {self.record.context.patient}"]
        if not self.kind.is_full:
            lines[0] += f"; {self.kind.name}, not a full one"
        lines += [f"  RAISED: {flag.label} ({flag.urgency})" for flag in self.raised]
        if self.conflicts:
            lines.append(f"  {self.conflicts} conflict(s): cannot be signed until settled")
        if self.not_asked:
            lines.append(f"  not asked: {', '.join(self.not_asked)}")
        if always := essential(self.missing):
            counts = Counter(str(missing.stage) for missing in always)
            detail = ", ".join(f"{stage} {number}" for stage, number in counts.items())
            what = (
                "essential findings" if self.kind.is_full else f"findings of the {self.kind.name}"
            )
            lines.append(f"  {what} open: {len(always)} ({detail})")
        lines += [f"  called for and open: {words}" for words in called_for_lines(self.missing)]
        return "\n".join(lines if len(lines) > 1 else [f"{lines[0]}; complete"])

    @property
    def raised(self) -> tuple[RedFlag, ...]:
        """The flags that are raised."""
        return tuple(flag for flag in self.flags if flag.status == "raised")


def essential(missing: Iterable[Missing]) -> tuple[Missing, ...]:
    """What is open of that which belongs to every examination of this kind of visit."""
    return tuple(one for one in missing if not one.because)


def by_reason(missing: Iterable[Missing]) -> dict[str, tuple[str, ...]]:
    """What is called for and open, by name, under the reason that calls for it."""
    found: dict[str, list[Missing]] = {}
    for one in missing:
        if one.because:
            found.setdefault(one.because, []).append(one)
    return {why: open_labels(those) for why, those in found.items()}


def called_for_lines(missing: Iterable[Missing]) -> list[str]:
    """A line for each reason: what it calls for, then why."""
    return [
        say_text("{names}. Why: {why}", names=group_labels(names), why=term(why))
        for why, names in by_reason(missing).items()
    ]


def open_labels(missing: Iterable[Missing]) -> tuple[str, ...]:
    """Each item once, with its side where only one is open."""
    sides: dict[str, list[str]] = {}
    for one in missing:
        sides.setdefault(one.label, []).append(one.side)
    return tuple(_sided(label, found) for label, found in sides.items())


def _sided(label: str, sides: list[str]) -> str:
    return label if len(sides) > 1 or sides == ["midline"] else f"{label} ({term(sides[0])})"


def completeness(record: Record, region: Region) -> Completeness:
    """How complete the record is, by stage; withheld items are not counted as missing."""
    record = record_with_results(record, protocol_of(region))
    flags = red_flags(Judge(protocol_of(region), record), flag_book_of(region))
    return completeness_with(record, region, flags, wanted_calls(record, region, flags))


def completeness_of(record: Record, result: Interpretation, region: Region) -> Completeness:
    """The same beside an interpretation, whose flags it takes over."""
    record = record_with_results(record, protocol_of(region))
    called = wanted_calls(record, region, result.red_flags)
    return completeness_with(record, region, result.red_flags, called)


def completeness_with(
    record: Record, region: Region, flags: tuple[RedFlag, ...], called: Mapping[str, str]
) -> Completeness:
    """The same where the record's flags and what it calls for are known already."""
    protocol = shown_protocol(region)
    kept_back = withheld(flags, flag_book_of(region))
    wanted = _Wanted(record, protocol, kept_back, called, visit_of(record, protocol))
    return Completeness(
        record=record,
        done=_by_stage(wanted),
        missing=tuple(_missing(wanted)),
        flags=flags,
        conflicts=len(record.conflicts),
        not_asked=unasked_core(protocol, Judge(protocol, record)),
        called=called,
        kind=wanted.kind,
        left_out=tuple(_left_out(wanted)),
    )


@dataclass(frozen=True, slots=True)
class _Wanted:
    """What a record is held against: its kind of visit, what is called for and what is withheld."""

    record: Record
    protocol: Protocol
    kept_back: Withheld
    called: Mapping[str, str]
    kind: VisitKind

    def has_entry(self, item: Item, side: str, mode: str | None) -> bool:
        return has_entry(self.record, item.id, side, mode)


def _missing(of: _Wanted) -> Iterator[Missing]:
    for item in of.protocol.items:
        for side, mode in places(item):
            wanted = is_wanted(item, mode, of.called, of.kind)
            if not wanted or of.has_entry(item, side, mode) or of.kept_back.why(item, mode):
                continue
            because = "" if of.kind.has(item) else of.called[item.id]
            yield Missing(of.protocol.stage_of(item), item, side, mode, because)


def _left_out(of: _Wanted) -> Iterator[Item]:
    """What a full examination has and this kind of visit has not, where nothing was found."""
    if of.kind.is_full:
        return
    for item in of.protocol.items:
        if item.role == "optional" or of.kind.has(item) or item.id in of.called:
            continue
        if not any(of.has_entry(item, side, mode) for side, mode in places(item)):
            yield item


def _by_stage(of: _Wanted) -> dict[str, tuple[int, int]]:
    """Items done and in all; an item that is wholly withheld and has no entry is not counted."""
    done = {stage.id: [0, 0] for stage in of.protocol.stages}
    for item in of.protocol.items:
        if not of.kind.tallies(item) and item.id not in of.called:
            continue
        entries = [
            of.has_entry(item, side, mode)
            for side, mode in places(item)
            if is_needed_mode(item, mode)
            and (of.has_entry(item, side, mode) or not of.kept_back.why(item, mode))
        ]
        if entries:
            done[item.stage][1] += 1
            done[item.stage][0] += all(entries)
    return {stage: (counts[0], counts[1]) for stage, counts in done.items()}
