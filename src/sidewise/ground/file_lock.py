"""A lock of the operating system on an open file: shared by many, or held by one alone.

It ends when the file is closed, at the latest with the process, so it is never stale. Where there
is `fcntl` (Linux, macOS) it is flock. Windows locks ranges of bytes, each for one holder: there
whoever shares takes one of `SEATS` bytes, and whoever is alone takes all of them. They lie far
behind the end of the file, because Windows keeps others from reading a locked byte.
"""

from __future__ import annotations

import os
import time
from importlib import import_module
from importlib.util import find_spec
from io import IOBase, TextIOBase
from typing import Any

FIRST_SEAT = 1 << 30
SEATS = 64
"""How many may share a lock at once on Windows, where only one laptop is served."""
PAUSE_S = 0.01


def take_lock(file: IOBase | TextIOBase, *, alone: bool, wait: bool = False) -> bool:
    """Whether the lock of an open file is now held; it is given back by closing the file.

    alone: whether nobody else may hold it. wait: go on until it can be held.
    """
    take = _take_by_flock if find_spec("fcntl") else _take_by_seats
    held = take(file.fileno(), alone)
    while wait and not held:
        time.sleep(PAUSE_S)
        held = take(file.fileno(), alone)
    return held


def _take_by_flock(descriptor: int, alone: bool) -> bool:
    fcntl: Any = import_module("fcntl")
    kind = fcntl.LOCK_EX if alone else fcntl.LOCK_SH
    try:
        fcntl.flock(descriptor, kind | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True


def _take_by_seats(descriptor: int, alone: bool) -> bool:
    ranges = [(0, SEATS)] if alone else [(seat, 1) for seat in range(SEATS)]
    return any(_take_range(descriptor, FIRST_SEAT + seat, length) for seat, length in ranges)


def _take_range(descriptor: int, first: int, length: int) -> bool:
    msvcrt: Any = import_module("msvcrt")
    before = os.lseek(descriptor, 0, os.SEEK_CUR)
    os.lseek(descriptor, first, os.SEEK_SET)
    try:
        msvcrt.locking(descriptor, msvcrt.LK_NBLCK, length)
    except OSError:
        return False
    finally:
        os.lseek(descriptor, before, os.SEEK_SET)
    return True
