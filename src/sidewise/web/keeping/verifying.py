"""Everything that can be checked without trusting the program that wrote it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from pydantic import ValidationError

from sidewise.errors import UserError
from sidewise.web.audit import anchors
from sidewise.web.audit.chain import Verdict, verify
from sidewise.web.examinations.models import Examination
from sidewise.web.examinations.store import folded
from sidewise.web.keeping import guard
from sidewise.web.keeping.backup import check


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
            f"records: {self.records} read and folded"
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
    """The chain against the seals noted outside, the guards, and the fold of every record."""
    audit = verify({**anchors.noted(), **noted})
    problems = []
    if not audit.whole:
        problems.append(UserError("audit", audit.broken, "a whole chain",
            "Stop the service, leave the database as it is, look at the last backup."))  # fmt: skip
    for table in guard.missing():
        problems.append(UserError("guard", f"none on {table}", "triggers that refuse changes",
            "Run `python -m sidewise.web.manage migrate`; find out who took them."))  # fmt: skip
    records, broken = _fold_all()
    return Report(audit, records, tuple(problems + broken))


def _fold_all() -> tuple[int, list[UserError]]:
    count, broken = 0, []
    for examination in Examination.objects.order_by("pk").iterator(chunk_size=200):
        count += 1
        try:
            folded(examination)
        except (UserError, ValidationError) as error:
            broken.append(UserError(f"examination {examination.pk}", type(error).__name__,
                "a ledger that folds", "Restore this record from a backup."))  # fmt: skip
    return count, broken


def backup_words(path: Path) -> str:
    """That a backup file is whole, in one line."""
    if not path.is_file():
        raise UserError("verify", str(path), "a file that exists")
    manifest = check(path)
    return (
        f"{path.name}: whole; {manifest.total} rows, made {manifest.made_at} by {manifest.version}"
    )
