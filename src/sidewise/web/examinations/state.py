"""What a ledger amounts to now: folded once, weighed once, kept for as long as it does not grow."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterable
from functools import cached_property
from threading import Lock
from typing import Any

from sidewise.note.completeness import Completeness
from sidewise.note.standing import Standing, standing
from sidewise.protocol import Protocol, load_protocol
from sidewise.reason.flags import Withheld, load_flags, withheld
from sidewise.record import Record
from sidewise.record.ledger import ContextSet, Entry, Folded, Stated, Undone, fold
from sidewise.web.examinations import store
from sidewise.web.examinations.models import Examination
from sidewise.web.examinations.store import Added, Ledger

KEPT = 200
"""Examinations kept in memory by one process; one takes about half a megabyte when weighed."""


def weigh(record: Record) -> Any:
    """The interpretation of a record: the one heavy call of the bedside."""
    from sidewise.reason import interpret
    from sidewise.reason.compiled import weighing

    weighing()
    return interpret(record)


class Current:
    """One examination as its ledger stands; everything is worked out once.

    `before` is an earlier state of the same examination, so that little has to be done again.
    """

    def __init__(self, ledger: Ledger, folded: Folded, before: Current | None = None) -> None:
        self.end = ledger.end
        self.entries = ledger.entries
        self.length = len(ledger.entries)
        self.folded = folded
        self._weighing = Lock()
        self._by_item: dict[str, Any] = {}
        self._start = before._standing if before is not None and before._stands else None
        self._weighed_before = before._last_weighed if before is not None else None

    @property
    def record(self) -> Record:
        """The record."""
        return self.folded.record

    @property
    def protocol(self) -> Protocol:
        """What can be examined in this region."""
        return load_protocol(self.record.region)

    @cached_property
    def _standing(self) -> Standing:
        found = standing(self.record, self._start)
        self._start = None
        return found

    @property
    def _stands(self) -> bool:
        return "_standing" in self.__dict__

    @property
    def completeness(self) -> Completeness:
        """Counts by stage, what is missing, and the flags."""
        return self._standing.completeness

    @cached_property
    def at_place(self) -> dict[tuple[str, str, str | None], dict[str, Any]]:
        """Live findings by place, each by the entry that holds it."""
        found: dict[tuple[str, str, str | None], dict[str, Any]] = {}
        for name, finding in self.holders.items():
            found.setdefault(finding.place, {})[name] = finding
        return found

    @cached_property
    def held_of(self) -> dict[str, tuple[str, ...]]:
        """The live entries of each item that has any, in order."""
        found: dict[str, tuple[str, ...]] = {}
        for name, finding in self.holders.items():
            found[finding.item] = (*found.get(finding.item, ()), name)
        return found

    @cached_property
    def context_entry(self) -> str:
        """The entry that last changed the context, or may have: names a state of it."""
        may = (ContextSet, Stated, Undone)
        changed = (e.id for e in reversed(self.entries) if isinstance(e.deed, may))
        return next(changed, self.entries[0].id)

    @cached_property
    def withheld(self) -> Withheld:
        """What the raised flags keep back."""
        return withheld(self.completeness.flags, load_flags(self.record.region))

    def interpretation(self) -> Any:
        """The meaning; two requests at once share one calculation."""
        with self._weighing:
            return self._interpretation

    @property
    def is_weighed(self) -> bool:
        """Whether the meaning is known already."""
        return "_interpretation" in self.__dict__

    @cached_property
    def _interpretation(self) -> Any:
        # An undo, or the same entry twice, leads back to a record that was weighed before.
        known, self._weighed_before = self._weighed_before, None
        if known is not None and known[0] == self.record:
            return known[1]
        return weigh(self.record)

    @property
    def _last_weighed(self) -> tuple[Record, Any] | None:
        if self.is_weighed:
            return self.record, self._interpretation
        return self._weighed_before

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
        live = [e for e in self.entries if e.id in self.holders or e.id in self.folded.statements]
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


_kept: OrderedDict[Any, Current] = OrderedDict()
_lock = Lock()


def current(examination: Examination) -> Current:
    """The state of the ledger as it is in the database now."""
    ledger = store.ledger_of(examination)
    before = _known(examination)
    if before is not None and before.end == ledger.end:
        return before
    return _keep(examination, Current(ledger, fold(str(examination.pk), ledger.entries), before))


def add(examination: Examination, new: Iterable[Entry]) -> Current:
    """Add entries, all or none, and return the state that they made."""
    added: Added = store.add(examination, new)
    before = _known(examination)
    if before is not None and before.end == added.ledger.end:
        return before
    return _keep(examination, Current(added.ledger, added.state, before))


def examiner_of(examination: Examination) -> str:
    """The examiner's name, which stands in the entry that opened the record and never changes."""
    known = _known(examination) or current(examination)
    return known.record.context.examiner


def _known(examination: Examination) -> Current | None:
    with _lock:
        return _kept.get(examination.pk)


def _keep(examination: Examination, now: Current) -> Current:
    with _lock:
        _kept[examination.pk] = now
        _kept.move_to_end(examination.pk)
        while len(_kept) > KEPT:
            _kept.popitem(last=False)
    return now
