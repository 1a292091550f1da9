"""Keeps ledgers: every touch is one entry, checked against the whole before it is stored."""

from __future__ import annotations

import re
from collections import OrderedDict
from collections.abc import Iterable
from datetime import datetime
from threading import Lock
from typing import Any

from django.db import transaction
from django.db.models import Count, Max, Q

from sidewise.errors import UserError
from sidewise.protocol import load_protocol
from sidewise.record.check import check_finding
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
_read: OrderedDict[Any, tuple[int, tuple[Entry, ...]]] = OrderedDict()
_reading = Lock()


def entries_of(examination: Examination) -> list[Entry]:
    """The ledger, oldest first; only rows that this process has not read yet are fetched."""
    with _reading:
        last, known = _read.get(examination.pk, (0, ()))
    counts = examination.entries.aggregate(
        all=Count("pk"), read=Count("pk", filter=Q(pk__lte=last)), last=Max("pk")
    )
    if counts["read"] != len(known):
        # Another database stands here now (a restore, an erasure): nothing read before counts.
        last, known = 0, ()
    if counts["all"] > len(known):
        fresh = examination.entries.filter(pk__gt=last)
        known = (*known, *(_entry(row) for row in fresh))
        _keep(examination, counts["last"], known)
    return list(known)


def _keep(examination: Examination, last: int, entries: tuple[Entry, ...]) -> None:
    # Inside a transaction that may still be rolled back the numbers could be given out again.
    if len(entries) and not transaction.get_connection().in_atomic_block:
        with _reading:
            _read[examination.pk] = (last, entries)
            _read.move_to_end(examination.pk)
            while len(_read) > READ_LEDGERS:
                _read.popitem(last=False)


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
        _store(examination, entry)
        write(Act.WRITE, f"examination:{examination.pk}")
    return examination


def append(examination: Examination, new: Iterable[Entry]) -> Folded:
    """Add entries in order and return the new state; all of them or none.

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
    with transaction.atomic():
        locked = Examination.objects.select_for_update().get(pk=examination.pk)
        old = entries_of(locked)
        known = {entry.id for entry in old}
        fresh = [entry for entry in new if entry.id not in known]
        state = fold(str(locked.pk), [*old, *fresh])
        for entry in fresh:
            _store(locked, entry)
            _follow(locked, entry.deed, state)
        if fresh:
            # In the same transaction: no write without its line, no line without its write.
            write(Act.WRITE, f"examination:{locked.pk}")
    return state


def _refuse_null(entry: Entry) -> None:
    # PostgreSQL keeps no null character in JSON; SQLite would, and the two must not differ.
    if NULL.search(entry.model_dump_json()):
        raise UserError("the entry", "a null character", "text", "Type it again.")


def _store(examination: Examination, entry: Entry) -> None:
    LedgerEntry.objects.create(
        examination=examination,
        entry_id=entry.id,
        at=entry.at,
        by=entry.by,
        deed=entry.deed.model_dump(mode="json", by_alias=True, exclude_defaults=False),
    )


def _follow(examination: Examination, deed: Deed, state: Folded) -> None:
    if isinstance(deed, ContextSet):
        examination.examined_at = state.record.context.examined_at
    elif type(deed) in STATE_AFTER:
        examination.state = STATE_AFTER[type(deed)]
    else:
        return
    examination.save(update_fields=["examined_at", "state"])
