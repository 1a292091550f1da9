"""What a page showed, and what has come since: a signature covers what was seen."""

from __future__ import annotations

import re
from dataclasses import dataclass

from sidewise.errors import UserError
from sidewise.note.care import care_phrase
from sidewise.record.ledger import (
    Cared,
    Concluded,
    ContextSet,
    Entry,
    Found,
    Mirrored,
    Moved,
    Stated,
    Undone,
    ledger_digest,
)
from sidewise.web.examinations.state import Current
from sidewise.web.examinations.statements import label_of
from sidewise.web.examinations.typed_line import shown_finding

END = re.compile(r"([0-9]{1,6})\.([0-9a-f]{64})")


@dataclass(frozen=True, slots=True)
class NewEntry:
    """One entry that came after the page was shown."""

    by: str
    """Who made it."""
    words: str
    """What it says."""


def end_of(now: Current) -> str:
    """Where the ledger ends, for a hidden field: how many entries, and the digest of them all."""
    return f"{now.length}.{ledger_digest(now.entries)}"


def newer_than(seen: str, now: Current) -> tuple[Entry, ...] | None:
    """The entries that came after `seen`; None if it names no state of this ledger."""
    match = END.fullmatch(seen)
    if match is None or not 0 < int(match[1]) <= now.length:
        return None
    number = int(match[1])
    if ledger_digest(now.entries[:number]) != match[2]:
        return None
    return now.entries[number:]


def refuse_unseen(seen: str, acknowledged: list[str], now: Current) -> None:
    """UserError unless the page showed the ledger as it is and each raised flag is ticked."""
    newer = newer_than(seen, now)
    if newer is None:
        got, do = "a page that does not say what it showed", "Look through it, then sign."
        raise UserError("the signature", got, "the record as it is shown here", do)
    if newer:
        raise UserError("the signature", f"{len(newer)} entries made since the page was shown",
                        "the record as it is shown here",
                        "They are listed below. Look at them, then sign.")  # fmt: skip
    if left := [flag.label for flag in now.completeness.raised if flag.flag not in acknowledged]:
        raise UserError("the signature", "; ".join(left), "each raised flag acknowledged by name",
                        "Tick it to say that you have seen it, then sign.")  # fmt: skip


def in_words(entries: tuple[Entry, ...], now: Current) -> tuple[NewEntry, ...]:
    """Each entry as a person reads it."""
    return tuple(NewEntry(entry.by, _words(entry, now)) for entry in entries)


def _words(entry: Entry, now: Current) -> str:
    deed = entry.deed
    if isinstance(deed, Found):
        shown = shown_finding(deed.finding, now)
        return f"{shown.label}{f', {shown.where}' if shown.where else ''}: {shown.phrase}"
    if isinstance(deed, Stated):
        value = "unstated" if deed.value in (None, "") else deed.value
        return f"{label_of(now.protocol, deed.field)}: {value}"
    if isinstance(deed, Cared):
        return care_phrase(deed.entry, now.region)
    if isinstance(deed, Undone):
        return "taken back: " + "; ".join(_taken_back(deed, now))
    if isinstance(deed, Concluded):
        plan = "; ".join(deed.conclusion.plan)
        return f"impression: {deed.conclusion.impression or 'none'}; plan: {plan or 'none'}"
    if isinstance(deed, ContextSet):
        return "changed: " + ", ".join(sorted(deed.changes))
    if isinstance(deed, Mirrored | Moved):
        done = "right and left exchanged" if isinstance(deed, Mirrored) else "moved"
        return f"{done}: {deed.reason}"
    return deed.do


def _taken_back(deed: Undone, now: Current) -> list[str]:
    by_id = {entry.id: entry for entry in now.entries}
    return [_words(by_id[name], now) for name in deed.entries if name in by_id] or ["nothing"]
