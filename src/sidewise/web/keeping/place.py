"""Who uses the data folder: a restore that would replace the database waits for nobody unseen.

A lock of the operating system on a file in the data folder, shared by everything that uses
the database and held alone by a restore. It ends with the process that holds it, however that ends,
so it is never stale; what stands in the file is only for people.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import TextIO

from sidewise.errors import UserError
from sidewise.ground.file_lock import take_lock
from sidewise.web.home import home

WAIT = (
    "Stop the service (or wait for the command), then try again. The hold ends with the process; "
    "if the process is gone, so is the hold."
)
KEPT: list[TextIO] = []
"""Open for as long as the process lives."""


def path() -> Path:
    """The file of this data folder."""
    return home() / "in-use"


def hold_for_life(what: str) -> None:
    """The service: from here until the process ends. UserError while a restore is going on."""
    KEPT.append(_held(what, alone=False))


@contextmanager
def held(what: str, *, alone: bool = False) -> Iterator[None]:
    """For the time of one command; `alone` is refused while anybody else uses the folder."""
    file = _held(what, alone=alone)
    try:
        yield
    finally:
        file.close()


def _held(what: str, *, alone: bool) -> TextIO:
    descriptor = os.open(path(), os.O_RDWR | os.O_CREAT | os.O_APPEND, 0o600)
    file = os.fdopen(descriptor, "a+")
    if not take_lock(file, alone=alone):
        users = _users(file)
        file.close()
        raise UserError("the data folder", f"in use by {users}", "nobody using it", WAIT)
    if alone:
        file.truncate(0)
    file.write(f"{os.getpid()} {datetime.now(UTC):%Y-%m-%dT%H:%M:%SZ} {what}\n")
    file.flush()
    return file


def _users(file: TextIO) -> str:
    file.seek(0)
    lines = [line.split(maxsplit=2) for line in file.read().splitlines()]
    alive = [parts for parts in lines if len(parts) == 3 and _is_alive(parts[0])]
    told = [f"{what} (process {number} since {since})" for number, since, what in alive]
    return ", ".join(told) or "a process whose name was not noted"


def _is_alive(number: str) -> bool:
    if not number.isdecimal():
        return False
    if sys.platform == "win32":
        # There os.kill ends the process that is asked for; who noted a name is told unasked.
        return True
    try:
        os.kill(int(number), 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True
