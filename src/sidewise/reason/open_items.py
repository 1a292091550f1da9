"""What is still open in a record: not examined, unable, withheld, in conflict."""

from __future__ import annotations

from collections.abc import Iterator

from sidewise.protocol import Item, Protocol
from sidewise.reason.flags import Withheld
from sidewise.reason.result import NotDone
from sidewise.record import Record


def _places(item: Item) -> Iterator[tuple[str, str | None]]:
    for side in ("right", "left") if item.paired else ("midline",):
        for mode in item.modes or (None,):
            yield side, mode


def _not_done(item: Item, side: str, mode: str | None, reason: str) -> NotDone:
    label = f"{item.label}, {mode}" if mode else item.label
    return NotDone(item.id, side, label, reason, item.role == "essential")


def not_examined(
    record: Record, protocol: Protocol, kept_back: Withheld
) -> tuple[tuple[NotDone, ...], tuple[NotDone, ...]]:
    """Items without a finding: those still to be examined, and those a raised flag withholds."""
    still: list[NotDone] = []
    withheld: list[NotDone] = []
    touched = {finding.place for finding in record.findings if finding.status != "not examined"}
    for item in protocol.items:
        for side, mode in _places(item):
            if (item.id, side, mode) in touched:
                continue
            reason = kept_back.why(item, mode)
            target = withheld if reason else still
            target.append(_not_done(item, side, mode, reason or "not examined"))
    return tuple(still), tuple(withheld)


def unable(record: Record, protocol: Protocol) -> tuple[NotDone, ...]:
    """What was tried or considered and could not, or must not, be done, with the reason."""
    return tuple(
        _not_done(protocol.item(f.item), f.side, f.mode, f"{f.status}: {f.reason}")
        for f in record.findings
        if f.status in ("unable", "withheld")
    )


def conflicts(record: Record, protocol: Protocol) -> tuple[NotDone, ...]:
    """Places with contradicting values; they count as not examined until settled."""
    return tuple(
        _not_done(protocol.item(c.item), c.side, c.mode, "values contradict each other")
        for c in record.conflicts
    )
