"""What is still open in a record: not examined, unable, withheld, in conflict."""

from __future__ import annotations

from collections.abc import Mapping

from sidewise.protocol import Item, Protocol
from sidewise.protocol.visits import VisitKind
from sidewise.reason.judging.called_for import is_needed_mode, is_wanted, places
from sidewise.reason.judging.flags import Withheld
from sidewise.reason.judging.visit_calls import visit_of
from sidewise.reason.result import NotDone
from sidewise.record import Record


def _not_done(
    item: Item,
    side: str,
    mode: str | None,
    reason: str,
    called: Mapping[str, str],
    kind: VisitKind,
) -> NotDone:
    label = f"{item.label}, {mode}" if mode else item.label
    because = called.get(item.id, "") if is_needed_mode(item, mode) else ""
    return NotDone(item.id, side, label, reason, is_wanted(item, mode, (), kind), because)


def has_entry(record: Record, item: str, side: str, mode: str | None) -> bool:
    """Whether anything settled stands there but that it was not examined."""
    return any(finding.status != "not examined" for finding in record.at(item, side, mode))


def not_examined(
    record: Record, protocol: Protocol, kept_back: Withheld, called: Mapping[str, str]
) -> tuple[tuple[NotDone, ...], tuple[NotDone, ...]]:
    """Items without a finding: those still to be examined, and those a raised flag withholds.

    called: what the record calls for, with why. What is in conflict is in `conflicts` alone.
    """
    kind = visit_of(record, protocol)
    still: list[NotDone] = []
    withheld: list[NotDone] = []
    for item in protocol.items:
        for side, mode in places(item):
            disputed = record.disputed_at(item.id, side, mode)
            if disputed or has_entry(record, item.id, side, mode):
                continue
            reason = kept_back.why(item, mode)
            target = withheld if reason else still
            target.append(_not_done(item, side, mode, reason or "not examined", called, kind))
    return tuple(still), tuple(withheld)


def unable(record: Record, protocol: Protocol, called: Mapping[str, str]) -> tuple[NotDone, ...]:
    """What was tried or considered and could not, or must not, be done, with the reason."""
    kind = visit_of(record, protocol)
    return tuple(
        _not_done(protocol.item(f.item), f.side, f.mode, f"{f.status}: {f.reason}", called, kind)
        for f in record.findings
        if f.status in ("unable", "withheld")
    )


def conflicts(record: Record, protocol: Protocol, called: Mapping[str, str]) -> tuple[NotDone, ...]:
    """Places with contradicting values; they count as not examined until settled."""
    kind = visit_of(record, protocol)
    return tuple(
        _not_done(
            protocol.item(c.item), c.side, c.mode, "values contradict each other", called, kind
        )
        for c in record.conflicts
    )
