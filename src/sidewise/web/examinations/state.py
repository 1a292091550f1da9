"""What a ledger amounts to now: folded once, weighed once, kept for as long as it does not grow."""

from __future__ import annotations

from collections import OrderedDict
from functools import cached_property
from threading import Lock
from typing import Any

from sidewise.note.completeness import Completeness, completeness
from sidewise.protocol import Protocol, load_protocol
from sidewise.reason.flags import Withheld, load_flags, withheld
from sidewise.record import Record
from sidewise.record.ledger import Folded, Found, fold
from sidewise.web.examinations.models import Examination
from sidewise.web.examinations.store import entries_of

KEPT = 200
"""Ledgers kept in memory by one process; one takes about half a megabyte when weighed."""


def weigh(record: Record) -> Any:
    """The interpretation of a record: the one heavy call of the bedside."""
    from sidewise.reason import interpret

    return interpret(record)


class Current:
    """One examination as it stands after `length` entries; everything is worked out once."""

    def __init__(self, examination: Examination, entries: list[Any]) -> None:
        self.entries = entries
        self.length = len(entries)
        self.folded: Folded = fold(str(examination.pk), entries)
        self._weighing = Lock()
        self._by_item: dict[str, Any] = {}

    @property
    def record(self) -> Record:
        """The record."""
        return self.folded.record

    @property
    def protocol(self) -> Protocol:
        """What can be examined in this region."""
        return load_protocol(self.record.region)

    @cached_property
    def completeness(self) -> Completeness:
        """Counts by stage, what is missing, and the flags."""
        return completeness(self.record)

    @cached_property
    def withheld(self) -> Withheld:
        """What the raised flags keep back."""
        return withheld(self.completeness.flags, load_flags(self.record.region))

    def interpretation(self) -> Any:
        """The meaning; two requests at once share one calculation."""
        with self._weighing:
            return self._interpretation

    @cached_property
    def _interpretation(self) -> Any:
        return weigh(self.record)

    def once(self, name: str, work: Any) -> Any:
        """What `work` gives for one item, worked out once."""
        if name not in self._by_item:
            self._by_item[name] = work()
        return self._by_item[name]

    @cached_property
    def last_touch(self) -> tuple[str, ...]:
        """The live entries of the latest touch, which one undo takes back together.

        Entries made by one touch share the part of their id before the dot.
        """
        live = [e for e in self.entries if isinstance(e.deed, Found) and e.id in self.holders]
        if not live:
            return ()
        stem = live[-1].id.partition(".")[0]
        return tuple(entry.id for entry in live if entry.id.partition(".")[0] == stem)

    @property
    def holders(self) -> dict[str, Any]:
        """Live findings by the entry that holds them."""
        return self.folded.holders

    @property
    def saved_at(self) -> Any:
        """When the latest entry was made."""
        return self.entries[-1].at


_kept: OrderedDict[tuple[Any, int], Current] = OrderedDict()
_lock = Lock()


def current(examination: Examination) -> Current:
    """The state of the ledger as it is in the database now."""
    key = (examination.pk, examination.entries.count())
    with _lock:
        if key in _kept:
            _kept.move_to_end(key)
            return _kept[key]
    found = Current(examination, entries_of(examination))
    with _lock:
        _kept[(examination.pk, found.length)] = found
        while len(_kept) > KEPT:
            _kept.popitem(last=False)
    return found
