"""Everything that can be checked without trusting the program that wrote it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from django.db import DatabaseError, connections, transaction
from pydantic import ValidationError

from sidewise.errors import UserError
from sidewise.record.ledger import fold_entries, signatures_that_do_not_fit
from sidewise.schemas.documents import Verified, store_problem
from sidewise.web.audit.chain import (
    NEW_KEY,
    NOT_MARKED,
    UNREADABLE,
    Outside,
    Verdict,
    noted_outside,
    verify,
)
from sidewise.web.audit.log import Act, write
from sidewise.web.examinations.models import Examination
from sidewise.web.examinations.store import entries_of
from sidewise.web.keeping import content, guard
from sidewise.web.keeping.backup import check_opened
from sidewise.web.keeping.envelope import UNSEALED, opened
from sidewise.web.keeping.snapshot import snapshot


@dataclass(frozen=True, slots=True)
class Report:
    """What was read, and what is off."""

    audit: Verdict
    records: int
    problems: tuple[UserError, ...]

    def text(self) -> str:
        """For the screen."""
        state = "whole" if self.audit.whole else f"BROKEN: {self.audit.broken}"
        return (
            f"audit: {self.audit.lines} lines, {state}; "
            f"{self.audit.anchors} seals noted outside agree\n"
            f"last seal: {self.audit.lines}:{self.audit.last_seal}\n"
            f"bound by the audit: {len(self.audit.bound)} things compared\n"
            f"records: {self.records} read and folded"
        )

    def as_document(self) -> Verified:
        """For another program."""
        return Verified(
            whole=self.audit.whole and not self.problems,
            audit_lines=self.audit.lines,
            last_seal=self.audit.last_seal,
            anchors=self.audit.anchors,
            bound=len(self.audit.bound),
            records=self.records,
            problems=tuple(store_problem(error) for error in self.problems),
        )


def noted_seal(text: str) -> dict[int, str]:
    """A seal from paper, 'NUMBER:SEAL'."""
    if not text:
        return {}
    number, _, seal = text.partition(":")
    if not number.isdecimal() or len(seal) != 64:
        raise UserError("--seal", text, "NUMBER:SEAL as printed by `sidewise verify`")
    return {int(number): seal.lower()}


def verify_all(noted: dict[int, str]) -> Report:
    """The chain against what was noted outside, all that it binds, the database's own check of
    itself, the guards, the signatures and the fold of every record.

    Read from a copy that stands still, so that people may go on working.
    """
    # Noted before the copy is made: what is noted afterwards may stand in no line of it.
    expected = noted_outside(noted)
    with snapshot() as alias:
        return _verified(expected, alias)


def _verified(expected: Outside, alias: str) -> Report:
    problems = _own_check(alias)
    audit = verify(expected, alias)
    if not audit.whole:
        problems.append(UserError("audit", audit.broken, "a whole chain",
            f"Last known good: {audit.last_good or 'none'}. Stop the service, leave the database "
            "as it is, look at the last backup."))  # fmt: skip
    problems += [each.as_error() for each in _differences(audit, alias)]
    for table in guard.missing(alias):
        problems.append(UserError("guard", f"none on {table}", "triggers that refuse changes",
            "Run `python -m sidewise.web.manage migrate`; find out who took them."))  # fmt: skip
    records, broken = _fold_all(alias)
    return Report(audit, records, tuple(problems + broken))


def _differences(audit: Verdict, alias: str) -> Iterator[content.Difference]:
    """What differs; over a broken chain only what its whole part binds, not what came later."""
    for found in content.differences(audit, alias):
        if audit.whole or found.last_good is not None:
            yield found


def _own_check(alias: str) -> list[UserError]:
    """What SQLite finds wrong with its own file; PostgreSQL has no such check in one statement."""
    if connections[alias].vendor != "sqlite":
        return []
    found: list[str] = []
    try:
        with connections[alias].cursor() as cursor:
            for check in ("integrity_check", "foreign_key_check"):
                cursor.execute(f"PRAGMA {check}")
                found += [" ".join(map(str, row)) for row in cursor.fetchall()]
    except DatabaseError as error:
        found.append(str(error))
    return [UserError("database", text, "a file that is whole", content.DO)
            for text in found if text != "ok"]  # fmt: skip


def _fold_all(alias: str) -> tuple[int, list[UserError]]:
    count, broken = 0, []
    rows = Examination.objects.using(alias).order_by("pk")
    try:
        for examination in rows.iterator(chunk_size=200):
            count += 1
            broken += _folds(examination)
    except UNREADABLE as error:
        broken.append(UserError("examinations", type(error).__name__, "rows that can be read",
            "Restore them from a backup."))  # fmt: skip
    return count, broken


def _folds(examination: Examination) -> list[UserError]:
    try:
        entries = entries_of(examination)
        fold_entries(str(examination.pk), entries)
        unfit = signatures_that_do_not_fit(entries)
    except (UserError, ValidationError, *UNREADABLE) as error:
        return [UserError(f"examination {examination.pk}", type(error).__name__,
            "a ledger that folds", "Restore this record from a backup.")]  # fmt: skip
    return [UserError(f"examination {examination.pk}", f"signature {name}",
        "a signature over the entries before it", content.DO) for name in unfit]  # fmt: skip


def accept(report: Report) -> str:
    """Bind everything as it stands, once a person has looked; only over a chain that is whole."""
    if not report.audit.whole:
        raise UserError("--accept", report.audit.broken, "a whole chain",
                        "A broken chain is never mended: restore a backup. If the keeping key "
                        "was lost, say --new-key.")  # fmt: skip
    with transaction.atomic():
        count = content.bind_everything()
    return f"{len(report.problems)} problem(s) accepted; {count} things bound as they stand."


def take_new_key(report: Report) -> str:
    """The keeping key was lost: bind everything with the present one from here on."""
    if report.audit.whole or not report.audit.broken.endswith(NOT_MARKED):
        raise UserError("--new-key", report.audit.broken or "a whole chain",
                        "a chain whose lines are marked with another key")  # fmt: skip
    with transaction.atomic():
        write(Act.BOUND, NEW_KEY)
        count = content.bind_everything()
    after = verify()
    if not after.whole:
        return f"Bound with the present key; but the chain is broken: {after.broken}."
    return f"{count} things bound with the present key. Backups of before need the lost one."


def backup_words(path: Path) -> str:
    """That a backup file is whole, in one line, and what an old one cannot prove."""
    if not path.is_file():
        raise UserError("verify", str(path), "a file that exists")
    with opened(path) as archive:
        manifest = check_opened(archive)
        made = f"made {manifest.made_at} by {manifest.version}"
        words = f"{path.name}: whole; {manifest.total} rows, {made}"
        return words if archive.sealed else f"{words}\n{UNSEALED}"
