"""When the meaning is worked out: one weighing at a time, always of the newest state.

Weighing is pure computing, so a second one in the same process would only make both slower and
take the processor from touches. Requests that wait hold neither a lock nor a transaction of the
database, and only a few may wait at all: the others are told to ask again, so that a thread is
always left for a touch.
"""

from __future__ import annotations

import gc
import os
import sys
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from threading import BoundedSemaphore, Lock

from sidewise.web.examinations.models import Examination
from sidewise.web.examinations.state import Current, current

MOST_WAITING = max(1, int(os.environ.get("SIDEWISE_THREADS", "8")) - 2)
"""Of the threads that a worker has, how many may be busy with meanings or wait for one: two are
left for touches, which take some milliseconds each."""
GIVE_WAY_S = 0.0005
"""A weighing gives way to a waiting touch after this. A touch gives up the interpreter at each of
its ten queries; with CPython's own 5 ms it would wait behind a weighing ten times 5 ms."""


class _InTurn:
    """A lock that is given in the order in which it was asked for; a plain one is not."""

    def __init__(self) -> None:
        self._guard = Lock()
        self._taken = False
        self._queue: deque[Lock] = deque()

    def __enter__(self) -> None:
        with self._guard:
            if not self._taken:
                self._taken = True
                return
            mine = Lock()
            mine.acquire()
            self._queue.append(mine)
        mine.acquire()  # Let go by whoever is before this one.

    def __exit__(self, *_: object) -> None:
        with self._guard:
            if self._queue:
                self._queue.popleft().release()
            else:
                self._taken = False


_one_at_a_time = _InTurn()
_waiting = BoundedSemaphore(MOST_WAITING)


def weighed(examination: Examination) -> Current:
    """The newest state with its meaning known; waits for as long as that takes."""
    now = current(examination)
    if now.is_weighed:
        return now
    with _one_at_a_time:
        # What was asked about may be superseded by a touch stored while this waited.
        now = current(examination)
        with _giving_way():
            now.interpretation()
        _keep_out_of_collections()
    return now


@cache
def _keep_out_of_collections() -> None:
    # Once, when the knowledge is loaded: going through its 150,000 objects again and again holds up
    # every request of the process for some 50 ms each time.
    gc.collect()
    gc.freeze()


@contextmanager
def _giving_way() -> Iterator[None]:
    before = sys.getswitchinterval()
    sys.setswitchinterval(GIVE_WAY_S)
    try:
        yield
    finally:
        sys.setswitchinterval(before)


def weighed_soon(examination: Examination) -> Current | None:
    """The same, or None where too many wait already and this one should ask again."""
    now = current(examination)
    if now.is_weighed:
        return now
    if not _waiting.acquire(blocking=False):
        return None
    try:
        return weighed(examination)
    finally:
        _waiting.release()
