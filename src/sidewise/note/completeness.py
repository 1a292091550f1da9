"""How complete an examination is, and whether a flag is raised: what `sidewise check` says."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

from sidewise.protocol import Item, Protocol, load_protocol
from sidewise.protocol.model import Stage
from sidewise.reason.flags import load_flags, red_flags, unasked_core, withheld
from sidewise.reason.judge import Judge
from sidewise.reason.result import RedFlag
from sidewise.record import Record


@dataclass(frozen=True, slots=True)
class Missing:
    """An essential item without a finding on one side."""

    item: Item
    side: str
    mode: str | None


@dataclass(frozen=True, slots=True)
class Completeness:
    """What is still open in a record."""

    record: Record
    done: dict[Stage, tuple[int, int]]
    missing: tuple[Missing, ...]
    flags: tuple[RedFlag, ...]
    conflicts: int
    not_asked: tuple[str, ...]

    @property
    def complete(self) -> bool:
        """Nothing essential open, every core question asked, no conflict, no flag raised."""
        return not (self.missing or self.conflicts or self.not_asked or self.raised)

    def text(self, name: str) -> str:
        """A few lines for the command line."""
        examined = sum(finding.status == "examined" for finding in self.record.findings)
        lines = [f"{name}: valid; {examined} findings; {self.record.context.patient}"]
        lines += [f"  RAISED: {flag.label} ({flag.urgency})" for flag in self.raised]
        if self.conflicts:
            lines.append(f"  {self.conflicts} conflict(s): cannot be signed until settled")
        if self.not_asked:
            lines.append(f"  not asked: {', '.join(self.not_asked)}")
        if self.missing:
            counts = Counter(missing.item.stage for missing in self.missing)
            detail = ", ".join(f"{stage} {number}" for stage, number in counts.items())
            lines.append(f"  essential findings open: {len(self.missing)} ({detail})")
        return "\n".join(lines if len(lines) > 1 else [f"{lines[0]}; complete"])

    @property
    def raised(self) -> tuple[RedFlag, ...]:
        """The flags that are raised."""
        return tuple(flag for flag in self.flags if flag.status == "raised")


def places(item: Item) -> Iterator[tuple[str, str | None]]:
    """Every side and mode in which an item can be examined, the patient's right first."""
    sides = ("right", "left") if item.paired else ("midline",)
    for side in sides:
        for mode in item.modes or (None,):
            yield side, mode


def completeness(record: Record) -> Completeness:
    """How complete the record is, by stage; withheld items are not counted as missing."""
    protocol = load_protocol(record.region)
    book = load_flags(record.region)
    return completeness_with(record, red_flags(Judge(protocol, record), book))


def completeness_with(record: Record, flags: tuple[RedFlag, ...]) -> Completeness:
    """The same where the record's flags are known already."""
    protocol = load_protocol(record.region)
    kept_back = withheld(flags, load_flags(record.region))
    essential = [item for item in protocol.items if item.role == "essential"]
    missing = tuple(
        Missing(item, side, mode)
        for item in essential
        for side, mode in places(item)
        if not record.at(item.id, side, mode) and not kept_back.why(item, mode)
    )
    return Completeness(
        record=record,
        done=_by_stage(record, protocol),
        missing=missing,
        flags=flags,
        conflicts=len(record.conflicts),
        not_asked=unasked_core(protocol, Judge(protocol, record)),
    )


def _by_stage(record: Record, protocol: Protocol) -> dict[Stage, tuple[int, int]]:
    done = {stage: [0, 0] for stage in Stage}
    for item in protocol.items:
        if item.role == "optional":
            continue
        done[item.stage][1] += 1
        if all(record.at(item.id, side, mode) for side, mode in places(item)):
            done[item.stage][0] += 1
    return {stage: (counts[0], counts[1]) for stage, counts in done.items()}
