"""Seals noted outside the database: whoever rewrites the chain would have to change these too.

One line every `EVERY` audit lines and at each backup, in the data folder and in the log (which a
department sends to another machine).
"""

from __future__ import annotations

import logging
import os
from datetime import UTC, datetime
from pathlib import Path

from sidewise.web.home import home

EVERY = 100
logger = logging.getLogger("sidewise.audit")


def path() -> Path:
    """The file of anchors of this machine."""
    return home() / "audit-anchors"


def note(number: int, seal: str) -> None:
    """Add one anchor."""
    descriptor = os.open(path(), os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    with os.fdopen(descriptor, "a") as file:
        file.write(f"{number} {seal}\n")
    logger.info("audit anchor %d %s", number, seal)


def keep_up_to(number: int) -> None:
    """After a restore: later seals belong to the data that were replaced; kept beside."""
    kept = {n: seal for n, seal in noted().items() if n <= number}
    if path().exists():
        stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%S%f")
        path().rename(path().with_name(f"audit-anchors.before-restore-{stamp}"))
    for earlier, seal in kept.items():
        note(earlier, seal)


def noted() -> dict[int, str]:
    """Every anchor of this machine, by line number."""
    if not path().exists():
        return {}
    # A line that is none is passed over: a damaged file proves less, it must not stop a start.
    pairs = (line.split() for line in path().read_text(errors="replace").splitlines())
    noted: dict[int, str] = {}
    for pair in pairs:
        if len(pair) == 2 and _is_number(pair[0]):
            # The first note of a number counts: a rewritten chain adds its own after it.
            noted.setdefault(int(pair[0]), pair[1])
    return noted


def _is_number(text: str) -> bool:
    return text.isascii() and text.isdigit() and len(text) <= 18
