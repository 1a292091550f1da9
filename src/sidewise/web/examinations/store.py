"""Ledgers in the database: every touch is one entry, checked against the whole before it is stored.

Nothing is remembered here. Whoever has read a ledger before hands it in as `known`, and only the
rows after it are read (`state.py` keeps them for the pages).
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from sidewise.errors import UserError
from sidewise.protocol import protocol_of
from sidewise.reason.judging.injections import check_injection
from sidewise.record.care import Injection
from sidewise.record.check import check_care, check_finding, check_statement
from sidewise.record.ledger import (
    Amended,
    Cared,
    ContextSet,
    Deed,
    Discarded,
    Entry,
    Folded,
    Found,
    Opened,
    Signed,
    Stated,
    fold_entries,
    signatures_that_do_not_fit,
)
from sidewise.record.model import Context
from sidewise.regions import region_of_record
from sidewise.web.accounts.models import User
from sidewise.web.audit.binding import gathered
from sidewise.web.audit.log import Act, acting_account, write
from sidewise.web.examinations.models import Examination, LedgerEntry
from sidewise.web.patients.models import Patient

NULL = re.compile(r"(?<!\\)(?:\\\\)*\\u0000")
TURNS = re.compile("[\u202a-\u202e\u2066-\u2069]")
"""Embeddings, overrides and isolates (Unicode Standard Annex 9, section 2)."""
STATE_AFTER = {
    Signed: Examination.State.SIGNED,
    Amended: Examination.State.DRAFT,
    Discarded: Examination.State.DISCARDED,
}


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


def read_ledger(examination: Examination, known: Ledger | None = None) -> Ledger:
    """The ledger as it is in the database now; rows that `known` holds are not read again."""
    if known is None or not known.entries:
        return _extended((), _rows(examination, 0))
    rows = _rows(examination, known.last)
    if not rows or (rows[0].pk, rows[0].entry_id) != known.end:
        # Another database stands here now (a restore): nothing read before counts.
        return _extended((), _rows(examination, 0))
    return known if len(rows) == 1 else _extended(known.entries, rows[1:])


def _rows(examination: Examination, first: int) -> list[LedgerEntry]:
    return list(examination.entries.filter(pk__gte=first))


def _extended(entries: tuple[Entry, ...], rows: list[LedgerEntry]) -> Ledger:
    return Ledger((*entries, *(_entry(row) for row in rows)), rows[-1].pk if rows else 0)


def entries_of(examination: Examination) -> list[Entry]:
    """The ledger's entries, oldest first."""
    return list(read_ledger(examination).entries)


def _entry(row: LedgerEntry) -> Entry:
    return Entry.model_validate({"id": row.entry_id, "at": row.at, "by": row.by, "deed": row.deed})


def folded(examination: Examination) -> Folded:
    """What the ledger amounts to, read and folded afresh."""
    return fold_entries(str(examination.pk), entries_of(examination))


def open_examination(
    patient: Patient, user: User, region: str, context: Context, entry_id: str, at: datetime
) -> Examination:
    """Begin an examination; its first entry carries the context."""
    with gathered():
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


def add(examination: Examination, new: Iterable[Entry], known: Ledger | None = None) -> Added:
    """Add entries in order; all of them or none. `known` is the ledger as it was read before.

    An entry that is there already is passed over, so a queue may be sent again. Raises UserError
    where an entry breaks the protocol or cannot follow; nothing is stored then.
    """
    new = list(new)
    for entry in new:
        _refuse_unseen(entry)
    protocol = protocol_of(region_of_record(examination))
    for entry in new:
        if isinstance(entry.deed, Found):
            check_finding(entry.deed.finding, protocol)
        elif isinstance(entry.deed, Stated):
            check_statement(entry.deed.field, entry.deed.value, protocol)
        elif isinstance(entry.deed, Cared):
            check_care(entry.deed.entry, protocol)
    with gathered():
        locked = Examination.objects.select_for_update().get(pk=examination.pk)
        old = read_ledger(locked, known)
        fresh = _not_there(old.entries, new)
        _refuse_unfit_signature(old, fresh)
        state = fold_entries(str(locked.pk), [*old.entries, *fresh])
        _refuse_against_flags(fresh, state)
        rows = _store(locked, fresh)
        for entry in fresh:
            _follow(locked, entry.deed, state)
        if fresh:
            # In the same transaction: no write without its line, no line without its write.
            write(Act.WRITE, f"examination:{locked.pk}")
    if not rows:
        return Added(old, state)
    return Added(Ledger((*old.entries, *fresh), rows[-1].pk), state)


def _not_there(old: tuple[Entry, ...], new: list[Entry]) -> list[Entry]:
    """Those that are new; UserError where an id is taken by something else, which would be lost."""
    there, fresh = {entry.id: entry for entry in old}, []
    for entry in new:
        known = there.setdefault(entry.id, entry)
        if known.deed != entry.deed:
            raise UserError("the entry", "another content under an id that is taken",
                            "the same content, or its own id", "Record it again.")  # fmt: skip
        if known is entry:
            fresh.append(entry)
    return fresh


def _refuse_unfit_signature(old: Ledger, fresh: list[Entry]) -> None:
    """Looked at under the lock: what came between the look and the signature is not signed."""
    if not any(isinstance(entry.deed, Signed) for entry in fresh):
        return
    known = {entry.id for entry in old.entries}
    unfit = signatures_that_do_not_fit([*old.entries, *fresh])
    if any(name not in known for name in unfit):
        raise UserError("the signature", "something recorded since the page was shown",
                        "the record as it was shown", "Look at it again, then sign.")  # fmt: skip


def _refuse_against_flags(fresh: list[Entry], state: Folded) -> None:
    """Looked at under the lock: a flag raised meanwhile stops an injection as well."""
    for entry in fresh:
        if isinstance(entry.deed, Cared) and isinstance(entry.deed.entry, Injection):
            record = state.record
            check_injection(entry.deed.entry, record, region_of_record(record))


def _refuse_unseen(entry: Entry) -> None:
    text = _text(entry)
    # PostgreSQL keeps no null character in JSON; SQLite would, and the two must not differ.
    if NULL.search(text):
        raise UserError("the entry", "a null character", "text", "Type it again.")
    # They make a note read otherwise than it was typed: "no pain" can look like "pain on".
    if TURNS.search(text):
        raise UserError("the words", "a character that turns the direction of text", "plain text",
                        "Type it again; pasted text can carry such characters.")  # fmt: skip


def _text(entry: Entry) -> str:
    try:
        return entry.model_dump_json()
    except (ValueError, RecursionError) as error:
        raise UserError("the entry", "half a character, or values too deep to write down", "text",
                        "Type it again.") from error  # fmt: skip


def _store(examination: Examination, entries: list[Entry]) -> list[LedgerEntry]:
    """One row each, in order, by one statement; with the account that asked, where one did."""
    account = acting_account()
    return LedgerEntry.objects.bulk_create(
        LedgerEntry(
            examination=examination,
            entry_id=entry.id,
            at=entry.at,
            by=entry.by,
            deed=entry.deed.model_dump(mode="json", by_alias=True, exclude_defaults=False),
            account=account,
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
