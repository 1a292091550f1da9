"""Writes audit lines. Each carries the hash of the one before, so that none can be changed,
taken out or slipped in without breaking every later one.

The chain is not keyed: anyone may verify it. What stops a rewriting of the whole chain is that
seals are also noted outside the database (`anchors.py`), and that the database itself refuses to
change or delete a line.
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

from sidewise.web.audit import anchors
from sidewise.web.audit.models import AuditLine

START = "0" * 64
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


class Actor:
    """Who is asking, for as long as one request lasts."""

    def __init__(self, who: str = "", role: str = "", origin: str = "") -> None:
        self.who = who
        self.role = role
        self.origin = origin
        self.lines = 0


_actor: ContextVar[Actor | None] = ContextVar("actor", default=None)


def set_actor(actor: Actor | None) -> None:
    """Say who is asking from here on."""
    _actor.set(actor)


def write(
    act: Act, what: str = "", *, who: str = "", role: str = "", at: datetime | None = None
) -> AuditLine:
    """Add one line, in the caller's transaction if there is one: both are kept or neither."""
    if what and not WHAT.match(what):
        raise ValueError("an audit line names a thing by its number only")
    actor = _actor.get() or Actor(who="system")
    # No savepoint of its own: an error here must undo the caller's writes too.
    with transaction.atomic(savepoint=False):
        last = _locked_end()
        line = AuditLine(
            number=last.number + 1,
            at=at or timezone.now(),
            who=who or actor.who or "nobody",
            role=role or actor.role,
            act=act,
            what=what,
            origin=actor.origin,
        )
        line.seal = seal_of(line, last.seal)
        line.save(force_insert=True)
    actor.lines += 1
    if line.number % anchors.EVERY == 0:
        transaction.on_commit(lambda: anchors.note(line.number, line.seal))
    return line


def seal_of(line: AuditLine, before: str) -> str:
    """SHA-256 over the seal before and every field of this line, in one unambiguous form."""
    at = line.at.astimezone(UTC).isoformat()
    fields = [before, line.number, at, line.who, line.role, str(line.act), line.what, line.origin]
    return hashlib.sha256(json.dumps(fields, ensure_ascii=True).encode()).hexdigest()


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
