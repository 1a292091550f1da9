"""What a ledger amounts to now: folded once, weighed once, kept for as long as it does not grow.

The one cache of ledgers. What it holds counts only if the database's last entry is still the one
it ends with, so a process never shows what another has added to since.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cached_property
from threading import Lock
from typing import Any
from uuid import UUID

from django.db import transaction

from sidewise.ground.cache import LastUsed
from sidewise.ground.language import language
from sidewise.knowledge.region import Region
from sidewise.note.completeness import Completeness
from sidewise.note.standing import Standing, standing
from sidewise.protocol import Protocol
from sidewise.protocol.figure import FigureData, atlas_of, figure_of
from sidewise.protocol.translation import shown_protocol
from sidewise.reason.judging.flags import Withheld, flag_book_of, withheld
from sidewise.reason.judging.injections import against_injection
from sidewise.reason.result import RedFlag
from sidewise.record import Record
from sidewise.record.ledger import (
    ContextSet,
    Entry,
    Folded,
    Mirrored,
    Moved,
    Stated,
    Undone,
    fold_entries,
)
from sidewise.regions import region_of_record
from sidewise.web.examinations import store
from sidewise.web.examinations.following import Place, Then, values_then
from sidewise.web.examinations.models import Examination
from sidewise.web.examinations.store import Ledger

KEPT = 200
"""Examinations kept in memory by one process; one takes about half a megabyte when weighed."""


def weigh(record: Record) -> Any:
    """The interpretation of a record: the one heavy call of the bedside."""
    from sidewise.reason import interpret
    from sidewise.reason.weighing.warm_up import fulfil_wish

    fulfil_wish()
    return interpret(record, region_of_record(record))


class Current:
    """One examination as its ledger stands; everything is worked out once.

    `before` is an earlier state of the same examination, so that little has to be done again.
    """

    def __init__(self, ledger: Ledger, folded: Folded, before: Current | None = None) -> None:
        self.ledger = ledger
        self._protocol = shown_protocol(region_of_record(folded.record))
        self.entries = ledger.entries
        self.length = len(ledger.entries)
        self.folded = folded
        self._weighing = Lock()
        self._by_item: dict[str, Any] = {}
        self._start = before._standing if before is not None and before._stands else None
        self._called_before = self._start.completeness.called if self._start else None
        self._weighed_before = before._last_weighed if before is not None else None
        self._last_before = before._last_known if before is not None else None

    @property
    def record(self) -> Record:
        """The record."""
        return self.folded.record

    @cached_property
    def region(self) -> Region:
        """The region it is an examination of; one record is of one region for good."""
        return region_of_record(self.record)

    @property
    def protocol(self) -> Protocol:
        """What can be examined in this region, in the words of the language it was opened in."""
        return self._protocol

    @property
    def figure(self) -> FigureData:
        """The region's figure; it has no places where the region has none."""
        return figure_of(self.region)

    @property
    def has_atlas(self) -> bool:
        """Whether the region's figure can be drawn."""
        return atlas_of(self.region) is not None

    @cached_property
    def _standing(self) -> Standing:
        found = standing(self.record, self.region, self._start)
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
    def last_time(self) -> Mapping[Place, Then]:
        """What was found at each place at the visit that this one follows."""
        follows = self.record.context.follows
        if follows is None:
            return {}
        if self._last_before is not None and self._last_before[0] == follows.record:
            return self._last_before[1]
        return values_then(follows, self.record.id, self.protocol)

    @property
    def _last_known(self) -> tuple[str, Mapping[Place, Then]] | None:
        follows = self.record.context.follows
        known = "last_time" in self.__dict__
        return (follows.record, self.last_time) if follows is not None and known else None

    @cached_property
    def newly_called(self) -> frozenset[str]:
        """Items that the latest entries called for, or no longer call for."""
        if self._called_before is None:
            return frozenset()
        return frozenset(self._called_before.keys() ^ self.completeness.called.keys())

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
        may = (ContextSet, Stated, Undone, Mirrored, Moved)
        changed = (e.id for e in reversed(self.entries) if isinstance(e.deed, may))
        return next(changed, self.entries[0].id)

    @cached_property
    def withheld(self) -> Withheld:
        """What the raised flags keep back."""
        return withheld(self.completeness.flags, flag_book_of(self.region))

    @cached_property
    def against_injection(self) -> tuple[RedFlag, ...]:
        """The raised flags that stop an injection until they are acknowledged by name."""
        return against_injection(self.completeness.flags, flag_book_of(self.region))

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
        held = self.holders.keys() | self.folded.statements.keys() | self.folded.care.keys()
        live = [entry for entry in self.entries if entry.id in held]
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


ledgers: LastUsed[tuple[UUID, str], Current] = LastUsed(KEPT)
"""By examination and language: what is worked out holds words."""


def _key(examination: Examination) -> tuple[UUID, str]:
    return (examination.pk, language())


def current(examination: Examination) -> Current:
    """The state of the ledger as it is in the database now."""
    before = ledgers.get(_key(examination))
    ledger = store.read_ledger(examination, before.ledger if before else None)
    if before is not None and before.ledger.end == ledger.end:
        return before
    state = fold_entries(str(examination.pk), ledger.entries)
    return ledgers.put(_key(examination), Current(ledger, state, before))


def add(examination: Examination, new: Iterable[Entry]) -> Current:
    """Add entries, all or none, and return the state that they made."""
    before = ledgers.get(_key(examination))
    added = store.add(examination, new, before.ledger if before else None)
    if before is not None and before.ledger.end == added.ledger.end:
        return before
    now = Current(added.ledger, added.state, before)
    # Not before it is certain: a caller's transaction may still be rolled back.
    key = _key(examination)
    transaction.on_commit(lambda: _keep(key, now))
    return now


def _keep(key: tuple[UUID, str], now: Current) -> None:
    ledgers.put(key, now)


def examiner_of(examination: Examination) -> str:
    """The examiner's name, which stands in the entry that opened the record and never changes."""
    known = ledgers.get(_key(examination)) or current(examination)
    return known.record.context.examiner
