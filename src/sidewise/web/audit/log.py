"""Writes audit lines. Each carries the hash of the one before, so that none can be changed,
taken out or slipped in without breaking every later one.

The seals are not keyed: anyone may verify them. What stops a rewriting of the whole chain is that
each line carries a mark made with a key outside the database (`keyed_digest.py`), that seals are
also noted outside (`anchors.py`, `head.py`), and that the database itself refuses to change or
delete a line. A line also binds what its act changed: the mark of every row as it stood afterwards.
"""

from __future__ import annotations

import hashlib
import json
import re
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum

from django.db import connection, transaction
from django.utils import timezone

from sidewise.web.audit import anchors, head, pending
from sidewise.web.audit.keyed_digest import mark_of
from sidewise.web.audit.models import AuditLine

START = "0" * 64
LINE = "line of the audit"
# Which thing, by its number only: a name, a code or a finding cannot pass.
WHAT = re.compile(r"^[a-z-]{1,40}(:[A-Za-z0-9-]{1,40}(/[A-Za-z0-9-]{1,40})?)?$")
LOCK = 0x51DE_A0D1  # any number of our own: PostgreSQL's advisory lock on the end of the chain


class Act(StrEnum):
    """What can be done to a record, an account or the store."""

    READ = "read"
    WRITE = "write"
    REFUSED = "refused"
    SIGN_IN = "sign in"
    SIGN_IN_FAILED = "sign in failed"
    SIGN_OUT = "sign out"
    SESSION_ENDED = "session ended"
    PASSWORD = "password changed"
    FACTOR = "second factor changed"
    LINK = "one-time link made"
    ACCOUNT = "account changed"
    EXPORT = "exported"
    HOLD = "hold set"
    HOLD_LIFTED = "hold lifted"
    ERASED = "erased"
    BACKUP = "backed up"
    RESTORED = "restored"
    REPAIRED = "put right"
    CHANGED = "rows changed"
    BOUND = "bound as it stands"


class Actor:
    """Who is asking, for as long as one request lasts."""

    def __init__(
        self, who: str = "", role: str = "", origin: str = "", account: int | None = None
    ) -> None:
        self.who = who
        self.account = account
        self.role = role
        self.origin = origin
        self.lines = 0


_actor: ContextVar[Actor | None] = ContextVar("actor", default=None)


def set_actor(actor: Actor | None) -> None:
    """Say who is asking from here on."""
    _actor.set(actor)


def acting_account() -> int | None:
    """The number of the account that asks; None for the program itself."""
    actor = _actor.get()
    return actor.account if actor is not None else None


def write(
    act: Act, what: str = "", *, who: str = "", role: str = "", at: datetime | None = None,
    marks: pending.Marks | None = None,
) -> AuditLine:  # fmt: skip
    """Add one line, in the caller's transaction if there is one: both are kept or neither.

    It binds every row that waits to be bound, and `marks` of anything else.
    """
    if what and not WHAT.match(what):
        raise ValueError("an audit line names a thing by its number only")
    actor = _actor.get() or Actor(who="system")
    # No savepoint of its own: an error here must undo the caller's writes too.
    with transaction.atomic(savepoint=False):
        # Read before the end of the chain is locked: others wait for it.
        bound = {**pending.taken(), **(marks or {})}
        last = _locked_end()
        line = AuditLine(
            number=last.number + 1,
            at=at or timezone.now(),
            who=who or actor.who or "nobody",
            role=role or actor.role,
            act=act,
            what=what,
            origin=actor.origin,
            bound=bound,
        )
        line.seal = seal_of(line, last.seal)
        line.mark = mark_of(LINE, line.seal)
        line.save(force_insert=True)
        transaction.on_commit(lambda: _note_outside(line, last))
    # That rows changed says less than what was done: a view's own line still follows.
    actor.lines += act != Act.CHANGED
    return line


def bind_rest() -> None:
    """A line for what still waits to be bound."""
    if marks := pending.taken():
        write(Act.CHANGED, "store", marks=marks)


def _note_outside(line: AuditLine, last: _End) -> None:
    furthest = head.noted()
    number = next(iter(furthest), 0)
    # Usually the line before is the one noted: no query is needed to know that it still stands.
    stands = {last.number: last.seal}
    if number not in stands and number:
        stands.update(AuditLine.objects.filter(number=number).values_list("number", "seal"))
    head.advance(line.number, line.seal, stands)
    if line.number % anchors.EVERY == 0:
        anchors.note(line.number, line.seal)


def seal_of(line: AuditLine, before: str) -> str:
    """SHA-256 over the seal before and every field of this line, in one unambiguous form."""
    at = line.at.astimezone(UTC).isoformat()
    fields: list[object] = [
        before, line.number, at, line.who, line.role, str(line.act), line.what, line.origin,
    ]  # fmt: skip
    # Lines of version 0.1.0 bound nothing; their seals stay what they were.
    if (bound := bound_in(line)) is not None:
        fields.append(bound)
    text = json.dumps(fields, ensure_ascii=True, sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()


def bound_in(line: AuditLine) -> pending.Marks | None:
    """What the line binds; None in a line of version 0.1.0, or read by its model."""
    return getattr(line, "bound", None)


def mark_in(line: AuditLine) -> str:
    """The line's mark; empty in a line of version 0.1.0, or read by its model."""
    return getattr(line, "mark", "")


@dataclass(frozen=True, slots=True)
class _End:
    """The number and the seal of the last line; 0 and `START` where there is none."""

    number: int
    seal: str


def _locked_end() -> _End:
    # SQLite has one writer at a time (IMMEDIATE); PostgreSQL is told to here.
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [LOCK])
    last = AuditLine.objects.order_by("-number").values_list("number", "seal").first()
    return _End(*last) if last else _End(0, START)
