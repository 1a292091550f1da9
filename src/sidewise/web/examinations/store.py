"""Keeps ledgers: every touch is one entry, checked against the whole before it is stored."""

from __future__ import annotations

import re
from collections import OrderedDict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from threading import Lock
from typing import Any

from django.db import transaction

from sidewise.errors import UserError
from sidewise.protocol import load_protocol
from sidewise.record.check import check_finding, check_statement
from sidewise.record.ledger import (
    Amended,
    ContextSet,
    Deed,
    Discarded,
    Entry,
    Folded,
    Found,
    Opened,
    Signed,
    Stated,
    fold,
)
from sidewise.record.model import Context
from sidewise.web.audit.log import Act, write
from sidewise.web.examinations.models import Examination, LedgerEntry
from sidewise.web.patients.models import Patient

NULL = re.compile(r"(?<!\\)(?:\\\\)*\\u0000")
STATE_AFTER = {
    Signed: Examination.State.SIGNED,
    Amended: Examination.State.DRAFT,
    Discarded: Examination.State.DISCARDED,
}


READ_LEDGERS = 300
"""Ledgers whose entries one process keeps read; a row is never changed, so it is read once."""


@dataclass(frozen=True, slots=True)
class Ledger:
    """Every entry of one examination, oldest first, and the number of the last one's row."""

    entries: tuple[Entry, ...]
    last: int

    @property
    def end(self) -> tuple[int, str]:
        """Tells one state of a ledger from any other: rows are only ever added.

        The entry's id stands beside the number of its row because a number can be given out
        again after a rollback or a restore; the id is random.
        """
        return self.last, self.entries[-1].id


_read: OrderedDict[Any, Ledger] = OrderedDict()
_reading = Lock()


def ledger_of(examination: Examination) -> Ledger:
    """The ledger as it is in the database now; rows that this process has read are not again."""
    with _reading:
        known = _read.get(examination.pk)
    rows = _rows(examination, known.last if known else 0)
    if known and rows and (rows[0].pk, rows[0].entry_id) == known.end:
        if len(rows) == 1:
            return known
        entries = (*known.entries, *(_entry(row) for row in rows[1:]))
    else:
        # Another database stands here now (a restore): nothing read before counts.
        rows = _rows(examination, 0) if known else rows
        entries = tuple(_entry(row) for row in rows)
    return _keep(examination, Ledger(entries, rows[-1].pk if rows else 0))


def _rows(examination: Examination, first: int) -> list[LedgerEntry]:
    return list(examination.entries.filter(pk__gte=first))


def _keep(examination: Examination, ledger: Ledger) -> Ledger:
    with _reading:
        if ledger.entries:
            _read[examination.pk] = ledger
            _read.move_to_end(examination.pk)
        while len(_read) > READ_LEDGERS:
            _read.popitem(last=False)
    return ledger


def entries_of(examination: Examination) -> list[Entry]:
    """The ledger's entries, oldest first."""
    return list(ledger_of(examination).entries)


def _entry(row: LedgerEntry) -> Entry:
    return Entry.model_validate({"id": row.entry_id, "at": row.at, "by": row.by, "deed": row.deed})


def folded(examination: Examination) -> Folded:
    """What the ledger amounts to."""
    return fold(str(examination.pk), entries_of(examination))


def open_examination(
    patient: Patient, user: object, region: str, context: Context, entry_id: str, at: datetime
) -> Examination:
    """Begin an examination; its first entry carries the context."""
    with transaction.atomic():
        examination = Examination.objects.create(
            patient=patient, region=region, examined_at=context.examined_at, created_by=user
        )
        entry = Entry(
            id=entry_id, at=at, by=context.examiner, deed=Opened(region=region, context=context)
        )
        _store(examination, [entry])
        write(Act.WRITE, f"examination:{examination.pk}")
    return examination


@dataclass(frozen=True, slots=True)
class Added:
    """A ledger with what was added, and what it amounts to."""

    ledger: Ledger
    state: Folded


def append(examination: Examination, new: Iterable[Entry]) -> Folded:
    """As `add`; returns the new state alone."""
    return add(examination, new).state


def add(examination: Examination, new: Iterable[Entry]) -> Added:
    """Add entries in order; all of them or none.

    An entry that is there already is passed over, so a queue may be sent again. Raises UserError
    where an entry breaks the protocol or cannot follow; nothing is stored then.
    """
    new = list(new)
    for entry in new:
        _refuse_null(entry)
    protocol = load_protocol(examination.region)
    for entry in new:
        if isinstance(entry.deed, Found):
            check_finding(entry.deed.finding, protocol)
        elif isinstance(entry.deed, Stated):
            check_statement(entry.deed.field, entry.deed.value, protocol)
    with transaction.atomic():
        locked = Examination.objects.select_for_update().get(pk=examination.pk)
        old = ledger_of(locked)
        known = {entry.id for entry in old.entries}
        fresh = [entry for entry in new if entry.id not in known]
        state = fold(str(locked.pk), [*old.entries, *fresh])
        rows = _store(locked, fresh)
        for entry in fresh:
            _follow(locked, entry.deed, state)
        if fresh:
            # In the same transaction: no write without its line, no line without its write.
            write(Act.WRITE, f"examination:{locked.pk}")
    if not rows:
        return Added(old, state)
    return Added(_keep(examination, Ledger((*old.entries, *fresh), rows[-1].pk)), state)


def _refuse_null(entry: Entry) -> None:
    # PostgreSQL keeps no null character in JSON; SQLite would, and the two must not differ.
    if NULL.search(entry.model_dump_json()):
        raise UserError("the entry", "a null character", "text", "Type it again.")


def _store(examination: Examination, entries: list[Entry]) -> list[LedgerEntry]:
    """One row each, in order, by one statement."""
    return LedgerEntry.objects.bulk_create(
        LedgerEntry(
            examination=examination,
            entry_id=entry.id,
            at=entry.at,
            by=entry.by,
            deed=entry.deed.model_dump(mode="json", by_alias=True, exclude_defaults=False),
        )
        for entry in entries
    )


def _follow(examination: Examination, deed: Deed, state: Folded) -> None:
    if isinstance(deed, ContextSet):
        examination.examined_at = state.record.context.examined_at
    elif type(deed) in STATE_AFTER:
        examination.state = STATE_AFTER[type(deed)]
    else:
        return
    examination.save(update_fields=["examined_at", "state"])
